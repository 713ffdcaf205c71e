"""The complaint and what was tried, in words and as data, and the symptoms that no system speaks to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import attrs

from ..assess.hypotheses import CONCERNS
from ..assess.stage import standing_traits
from ..complaints import AGAIN, CHECK_UP, Symptom, symptoms, trials
from ..model.job import Job, stage_name
from ..model.personal import Personal
from ..model.records import Complained, Retold, Tried
from ..plugin.faults import FaultTable, Only
from ..plugin.host import Plugins


def complaint_words(record: Complained) -> str:
    """Symptoms, circumstances and how often, in the customer's words."""
    known = symptoms()
    told = [known.symptoms[key].words for key in record.symptoms if key in known.symptoms]
    when = [known.circumstances[key].lower() for key in record.circumstances if key in known.circumstances]
    shows = known.shows.get(record.shows)
    return ", ".join([*told, *when, *([shows.words.lower()] if shows else [])])


def tried_words(record: Tried, words: str = "") -> str:
    """How it was tried and what came of it; `words`: what was said of that in words."""
    known = trials()
    way = known.ways.get(record.how)
    done = [way.words.lower() if way else record.how]
    if record.swapped_with:
        done.append(f"with {record.swapped_with}")
    if record.before:
        done.append("before this visit")
    came = (
        "" if record.result == "other" and words else known.results.get(record.result, record.result).lower()
    )
    quoted = f"“{words}”" if words else ""
    return f"{', '.join(done)}: {', '.join(filter(None, (came, quoted)))}"


def retold_words(record: Retold) -> str:
    """How the complaint was when it was looked at again."""
    return trials().results.get(record.result, record.result).lower()


@attrs.frozen(kw_only=True)
class ComplaintNow:
    """The complaint after the last repair, as a screen asks about it.

    Attributes:
        words: What was told by the list. answers: Key and words of what can be said of it now.
        said: What was said of it at this stage, in entry `entry`; both empty while nothing was.
        seldom: How often it shows, where that is not always: it may only be away for now.
    """

    words: str
    answers: tuple[tuple[str, str], ...]
    said: str = ""
    entry: str = ""
    seldom: str = ""


def complaint_now(job: Job) -> ComplaintNow | None:
    """What to ask of the complaint after a repair; None where nothing was repaired, or nothing told."""
    told = job.complained
    if not job.stage or (told is None and job.opened.words is None):
        return None
    said = [noted for noted in job.retold if noted.record.stage == job.stage]
    shows = symptoms().shows.get(told.shows) if told is not None else None
    return ComplaintNow(
        words=complaint_words(told) if told is not None else "",
        answers=tuple((key, trials().results[key]) for key in AGAIN),
        said=retold_words(said[-1].record) if said else "",
        entry=said[-1].id if said else "",
        seldom=shows.words.lower() if shows is not None and shows.share < 1 else "",
    )


def complaint_sentences(job: Job, plugins: Plugins, texts: Mapping[str, str]) -> list[str]:
    """What was told by the list, what no system speaks to, what was tried, and how it was afterwards."""
    said = [f"{complaint_words(job.complained)}."] if job.complained is not None else []
    said += [not_covered_words(symptom) for symptom in not_covered(job, plugins)]
    for noted in job.tried:
        record = noted.record
        words = texts.get(record.words.hash, "removed") if isinstance(record.words, Personal) else ""
        place = f", {record.place}" if record.place else ""
        what = f"{plugins.title(record.part)}{place}, {tried_words(record, words)}"
        said.append(f"Tried, {stage_name(record.stage)}: {what}.")
    said += [
        f"The complaint, {stage_name(noted.record.stage)}: {retold_words(noted.record)}."
        for noted in job.retold
    ]
    return said


def complaint_data(job: Job, plugins: Plugins) -> dict[str, Any]:
    """The complaint, what was tried and how it was afterwards, as plain data."""
    told = job.complained or Complained()
    return {
        "symptoms": list(told.symptoms),
        "circumstances": list(told.circumstances),
        "shows": told.shows,
        "words": complaint_words(told),
        "not_covered": [
            {"symptom": symptom.key, "words": symptom.words, "first_step": symptom.first_step}
            for symptom in not_covered(job, plugins)
        ],
        "tried": [
            {
                "part": noted.record.part,
                "place": noted.record.place,
                "how": noted.record.how,
                "with": noted.record.swapped_with,
                "result": noted.record.result,
                "before": noted.record.before,
                "stage": stage_name(noted.record.stage),
            }
            for noted in job.tried
        ],
        "again": [
            {"stage": stage_name(noted.record.stage), "result": noted.record.result} for noted in job.retold
        ],
    }


def not_covered(job: Job, plugins: Plugins) -> Sequence[Symptom]:
    """The symptoms of the complaint that no installed system speaks to: no fault that can be met on this
    vehicle shows them much more often than a vehicle without a fault does.
    """
    told = job.complained
    if told is None:
        return ()
    known = symptoms().symptoms
    fitted = {key: noted.record.answer for key, noted in standing_traits(job, job.stage, plugins).items()}
    tables = [system.faults for system in plugins.systems.values() if system.faults is not None]
    return tuple(
        known[key]
        for key in told.symptoms
        if key in known
        and key != CHECK_UP
        and not any(_speaks_to(table, known[key], fitted) for table in tables)
    )


def not_covered_words(symptom: Symptom) -> str:
    """That nobody speaks to it, with its one first step.

    >>> bare = Symptom(key="hums", words="It hums", none=0.01, why="", outside=0.02)
    >>> not_covered_words(bare)
    '“It hums”: no installed system speaks to this. It is found elsewhere.'
    """
    first = f"First step: {symptom.first_step}" if symptom.first_step else "It is found elsewhere."
    return f"“{symptom.words}”: no installed system speaks to this. {first}"


def _speaks_to(table: FaultTable, symptom: Symptom, fitted: Mapping[str, str]) -> bool:
    return any(
        chance >= CONCERNS * symptom.none
        and fault in table.faults
        and _may_apply(table.faults[fault].only, fitted)
        for fault, chance in table.symptoms.get(symptom.key, {}).items()
    )


def _may_apply(only: Only, fitted: Mapping[str, str]) -> bool:
    """False where a known trait rules it out."""
    return all(fitted[trait] in answers for trait, answers in only.items() if fitted.get(trait))
