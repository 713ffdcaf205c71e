"""Reads shared/symptoms.toml and shared/trials.toml, which say what `complaints.py` holds."""

from __future__ import annotations

import attrs

from .complaints import Hazard, Shows, Symptom, SymptomGroup, SymptomList, TrialList, Way
from .datafile import Positive, read_toml, required_field, structured, table
from .fault import Faults
from .reference import data_path


@table
class _SymptomRow:
    words: str = required_field("what a customer says", default="")
    none: Positive = required_field("a chance between 0 and 1", default=Positive(0.01))
    why: str = required_field("why somebody without a fault tells it", default="")
    outside: Positive = required_field("a chance between 0 and 1", default=Positive(0.01))
    first_step: str = ""
    codes: bool = False


@table
class _GroupRow:
    words: str = required_field("the heading", default="")
    symptoms: list[str] = required_field("the symptoms below it", factory=list)


@table
class _HazardRow:
    words: str = required_field("how it shows", default="")
    do: str = required_field("what to do now", default="")
    symptoms: list[str] = attrs.field(factory=list)


@table
class _WordsRow:
    words: str = required_field("what a customer says", default="")


@table
class _ShowsRow:
    words: str = required_field("what a customer says", default="")
    share: Positive = required_field("a share between 0 and 1", default=Positive(1.0))


@table
class _OutsideRow:
    per_1000: Positive = required_field("how many of 1000 vehicles", default=Positive(1.0))
    why: str = required_field("the reason", default="")


@table
class _SymptomFile:
    outside: _OutsideRow = required_field("the prevalence of what lies outside", factory=_OutsideRow)
    groups: dict[str, _GroupRow] = attrs.field(factory=dict)
    symptoms: dict[str, _SymptomRow] = attrs.field(factory=dict)
    hazards: dict[str, _HazardRow] = attrs.field(factory=dict)
    circumstances: dict[str, _WordsRow] = attrs.field(factory=dict)
    shows: dict[str, _ShowsRow] = attrs.field(factory=dict)


@table
class _WayRow:
    words: str = required_field("what was done", default="")
    results: list[str] = required_field("what can come of it", factory=list)
    fails: Positive = Positive(0.0)
    fails_why: str = ""
    provokes: bool = False
    this_part: Positive = Positive(0.0)
    other: Positive = Positive(0.0)
    none: Positive = Positive(0.0)
    telling: list[str] = attrs.field(factory=list)
    undone: bool = False
    trap: str = ""


@table
class _TrialFile:
    results: dict[str, _WordsRow] = attrs.field(factory=dict)
    ways: dict[str, _WayRow] = attrs.field(factory=dict)


def read_symptoms(name: str) -> SymptomList:
    """The symptoms of a file that comes with corekit.

    Raises:
        DataFileError: everything that is wrong with it, at once.
    """
    data, faults = read_toml(data_path(name), name), Faults()
    form = structured(data, _SymptomFile, faults)
    for key, row in form.symptoms.items():
        for field in ("none", "outside"):
            if not 0 < getattr(row, field) < 1:
                faults.add(("symptoms", key, field), f"is {getattr(row, field)}", "a chance between 0 and 1")
    if form.outside.per_1000 >= 1000:
        faults.add(("outside", "per_1000"), f"is {form.outside.per_1000}", "a number below 1000")
    for key, shown in form.shows.items():
        if shown.share > 1:
            faults.add(("shows", key, "share"), f"is {shown.share}", "a share above 0, at most 1")
    for key, hazard in form.hazards.items():
        for symptom in hazard.symptoms:
            if symptom not in form.symptoms:
                faults.add(
                    ("hazards", key, "symptoms"), f"there is no symptom {symptom}", "one of [symptoms]"
                )
    _check_groups(form, faults)
    faults.refuse(data, name)
    listed = {
        key: Symptom(
            key=key,
            words=row.words,
            none=row.none,
            why=row.why,
            outside=row.outside,
            first_step=row.first_step,
            codes=row.codes,
        )
        for key, row in form.symptoms.items()
    }
    return SymptomList(
        symptoms=listed,
        groups=tuple(
            SymptomGroup(
                key=key, words=group.words, symptoms=tuple(listed[symptom] for symptom in group.symptoms)
            )
            for key, group in form.groups.items()
        ),
        hazards=tuple(
            Hazard(key=key, words=row.words, do=row.do, symptoms=tuple(row.symptoms))
            for key, row in form.hazards.items()
        ),
        circumstances={key: row.words for key, row in form.circumstances.items()},
        shows={key: Shows(key=key, words=row.words, share=row.share) for key, row in form.shows.items()},
        outside_per_1000=form.outside.per_1000,
    )


def _check_groups(form: _SymptomFile, faults: Faults) -> None:
    """Every symptom stands below one heading, or nobody could choose it on a screen."""
    below = [symptom for group in form.groups.values() for symptom in group.symptoms]
    for key, group in form.groups.items():
        for symptom in group.symptoms:
            if symptom not in form.symptoms:
                faults.add(("groups", key, "symptoms"), f"there is no symptom {symptom}", "one of [symptoms]")
    for symptom in form.symptoms:
        if below.count(symptom) != 1:
            got = f"stands below {below.count(symptom)} headings"
            faults.add(("symptoms", symptom), got, "one heading of [groups]")


def read_trials(name: str) -> TrialList:
    """The ways of trial of a file that comes with corekit.

    Raises:
        DataFileError: everything that is wrong with it, at once.
    """
    data, faults = read_toml(data_path(name), name), Faults()
    form = structured(data, _TrialFile, faults)
    for key, row in form.ways.items():
        for field, results in (("results", row.results), ("telling", row.telling)):
            for result in results:
                if result not in form.results:
                    faults.add(("ways", key, field), f"there is no result {result}", "one of [results]")
        for field in ("fails", "this_part", "other", "none"):
            if getattr(row, field) >= 1:
                faults.add(("ways", key, field), f"is {getattr(row, field)}", "a chance below 1")
        if row.provokes and not (row.none > 0 and row.other > 0 and row.this_part > 0 and row.telling):
            expected = "chances this_part, other and none, and the results that are telling"
            faults.add(("ways", key), "provokes without saying how often", expected)
    faults.refuse(data, name)
    return TrialList(
        results={key: row.words for key, row in form.results.items()},
        ways={
            key: Way(
                key=key,
                words=row.words,
                results=tuple(row.results),
                fails=row.fails,
                fails_why=row.fails_why,
                provokes=row.provokes,
                this_part=row.this_part,
                other=row.other,
                none=row.none,
                telling=tuple(row.telling),
                undone=row.undone,
                trap=row.trap,
            )
            for key, row in form.ways.items()
        },
    )
