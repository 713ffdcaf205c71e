"""Fault tables and limits.toml: every fault is told at once, each with its key path."""

from __future__ import annotations

import math
from collections.abc import Iterator
from copy import deepcopy
from enum import Enum
from pathlib import Path
from typing import Annotated, Any

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.assess.outcome import Outcome, all_outcomes
from corekit.fault import DataFileError
from corekit.testing import Bench


class Sound(Enum):
    LOUD = "loud"
    FAINT = "faint"
    RATTLING = "rattling"


horn = ck.System("horn", "Horn")
horn.measurand("voltage", "V", "Voltage", possible=(0, 30), usual=(9, 15), accuracy="0.1 V")
horn.measurand(
    "current", "A", "Current", possible=(0, 30), usual=(1, 10), accuracy="0.1 A", places=("left", "right")
)
horn.observation("sound", "Sound", Sound)
horn.operation("clean", "Clean the contacts")
horn.operation("exchange", "Exchange the horn")
horn.part("contact", "Contacts")
horn.trait("kind", "Kind", Sound)
horn.trait("age", "Age", units=("s",))
LOST = "horn." + "lost"  # a code that no check names; in one piece it would stand in the text of this module


@horn.check("Drop")
def drop(case: ck.Case, read: Annotated[ck.Reading, horn.measurands["horn.voltage"]]) -> Iterator[ck.Finding]:
    yield case.advise(ck.Claim("horn.drop"), "{value}.", read)


GOOD: dict[str, Any] = {
    "faults": {
        "dirt": {
            "per_1000": 6.5,
            "name": "Dirt",
            "why": "rain",
            "calls_for": "horn.clean",
            "part": "contact",
            "life": 8,
            "only": {"horn.kind": ["loud"]},
        },
        "broken": {"per_1000": 1, "why": "seldom seen", "refer": "a horn specialist"},
    },
    "test": {
        "voltage": {
            "bins": {"measurand": "horn.voltage", "at": ["9 V", "11500 mV"]},
            "question": "Voltage?",
            "minutes": 2,
            "outcomes": ["none", "low", "full"],
            "sound": "full",
            "none": [0.0, 0.1, 0.9],
            "otherwise": [0.0, 0.1, 0.9],
            "outside": [0.05, 0.15, 0.8],
            "given": {"dirt": {"p": [0.2, 0.7, 0.1], "why": "lost on the way", "direct": "low"}},
        },
        "current": {
            "bins": {"measurand": "horn.current", "place": "left", "at": ["1 A"]},
            "question": "Current?",
            "minutes": 2,
            "outcomes": ["no", "yes"],
            "sound": "yes",
            "none": [0.1, 0.9],
            "otherwise": [0.1, 0.9],
        },
        "sound": {
            "seen": {"of": "horn.sound", "answers": ["loud", ["faint", "rattling"]]},
            "question": "Sound?",
            "minutes": 0.5,
            "outcomes": ["well", "ill"],
            "sound": "well",
            "none": [0.5, 0.5],
            "otherwise": [0.5, 0.5],
        },
        "grade": {
            "grade": {"check": "horn.drop", "answers": ["none", ["some", "much"]]},
            "wants": "horn.voltage",
            "question": "How much is lost?",
            "minutes": 5,
            "outcomes": ["nothing", "something"],
            "sound": "nothing",
            "none": [0.9, 0.1],
            "otherwise": [0.9, 0.1],
        },
        "age": {
            "trait": {"of": "horn.age", "at": ["60 s", "300 s"]},
            "question": "How old?",
            "minutes": 0,
            "outcomes": ["new", "used", "old"],
            "sound": "new",
            "none": [0.4, 0.3, 0.3],
            "otherwise": [0.4, 0.3, 0.3],
        },
        "codes": {
            "codes": ["B1234"],
            "question": "Is the code set?",
            "minutes": 2,
            "outcomes": ["set", "not set"],
            "sound": "not set",
            "none": [0.1, 0.9],
            "otherwise": [0.1, 0.9],
        },
        "check": {
            "check": "horn.drop",
            "wants": "horn.voltage",
            "question": "Drop?",
            "minutes": 5,
            "outcomes": ["small", "large"],
            "sound": "small",
            "none": [0.5, 0.5],
            "otherwise": [0.5, 0.5],
        },
    },
    "symptoms": {"clicks": {"dirt": 0.3}},
    "when": {"wet": {"dirt": 2}},
}


def changed(path: str, value: Any) -> dict[str, Any]:
    """The good table with one thing changed; `path` is dotted, a value of `...` takes it away."""
    data = deepcopy(GOOD)
    holder: Any = data
    *way, last = path.split("/")
    for key in way:
        holder = holder[key]
    if value is ...:
        del holder[last]
    else:
        holder[last] = value
    return data


def told(data: dict[str, Any]) -> list[str]:
    with pytest.raises(DataFileError) as error:
        horn.fault_table(data, "faults.toml of horn")
    assert str(error.value).startswith("faults.toml of horn cannot be used:")
    return [str(fault) for fault in error.value.faults]


def test_a_good_table_is_read_as_it_stands() -> None:
    table = horn.fault_table(GOOD, "here")
    dirt, broken = table.faults.values()
    assert (dirt.key, dirt.name, dirt.per_1000, dirt.why, dirt.calls_for) == (
        "dirt",
        "Dirt",
        6.5,
        "rain",
        "horn.clean",
    )
    assert (dirt.part, dirt.life, dict(dirt.only)) == ("horn.contact", 8.0, {"horn.kind": ("loud",)})
    assert (broken.name, broken.calls_for, broken.refer) == ("broken", "", "a horn specialist")
    voltage = table.tests["voltage"]
    assert (voltage.measurand, voltage.at, voltage.sound, voltage.given["dirt"].direct) == (
        "horn.voltage",
        (9.0, 11.5),
        "full",
        ("low",),
    )
    assert (table.tests["current"].place, table.tests["sound"].answers, table.tests["check"].code) == (
        "left",
        (("loud",), ("faint", "rattling")),
        "horn.drop",
    )
    grade, age = table.tests["grade"], table.tests["age"]
    assert (grade.graded, grade.answers) == ("horn.drop", (("none",), ("some", "much")))
    assert (age.trait, age.at, age.minutes, age.asked_for) == ("horn.age", (60.0, 300.0), 0.0, "horn.age")
    assert (table.symptoms["clicks"], table.when["wet"]) == ({"dirt": 0.3}, {"dirt": 2.0})


def test_bins_of_a_vehicle_fitted_otherwise_have_their_own_limits() -> None:
    fitted = {"horn.kind": {"loud": ["8 V", "11 V"], "faint": ["7 V", "10500 mV"]}}
    table = horn.fault_table(changed("test/voltage/bins/fitted", fitted), "here")
    assert table.tests["voltage"].at == (9.0, 11.5)
    assert table.tests["voltage"].at_fitted == {"horn.kind": {"loud": (8.0, 11.0), "faint": (7.0, 10.5)}}


def test_what_a_danger_bars_is_barred_while_it_stands() -> None:
    row = {
        "seen": {"horn.sound": ["rattling"]},
        "tests": ["voltage"],
        "works": ["horn.clean"],
        "why": "loose",
    }
    table = horn.fault_table({**GOOD, "not_while": [row]}, "here")
    assert "voltage" in table.barred({"horn.sound": "rattling"})
    assert "horn.clean" in table.barred({"horn.sound": "rattling"})
    assert "voltage" not in table.barred({"horn.sound": "loud"})
    assert "current" not in table.barred({"horn.sound": "rattling"})
    assert "voltage" not in table.barred({})


def test_nothing_is_ever_impossible_or_certain() -> None:
    for row in (test := horn.fault_table(GOOD, "here").tests["voltage"]).none, test.otherwise:
        assert row == pytest.approx([0.002 / 1.002, 0.1 / 1.002, 0.9 / 1.002])


def test_what_is_plainly_seen_may_be_rarer_on_a_sound_vehicle_than_any_reading_but_never_impossible() -> None:
    for least, read in ((0.0, 0.0001), (0.0001, 0.0001), (0.0003, 0.0003)):
        seen = horn.fault_table(changed("test/sound/none", [1 - least, least]), "here").tests["sound"]
        assert seen.none[1] == pytest.approx(read, rel=0.001)


@pytest.mark.parametrize(
    ("path", "value", "where"),
    [
        ("faults/none", {"per_1000": 1, "why": "x"}, "faults.none: is the core's own; expected no fault of"),
        ("faults/outside", {"per_1000": 1, "why": "x"}, "faults.outside: is the core's own; expected no"),
        (
            "faults/dirt/weight",
            3,
            "faults.dirt.weight: is a share among visits with a complaint; write per_1000",
        ),
        (
            "faults/dirt/why",
            ...,
            "faults.dirt.why: is missing; expected on what ground the prevalence stands",
        ),
        ("faults/dirt/why", " ", "faults.dirt.why: is empty; expected on what ground the prevalence stands"),
        ("faults/dirt/per_1000", 1000, "faults.dirt.per_1000: is 1000.0; expected a number below 1000"),
        ("faults/dirt/part", "bell", 'faults.dirt.part: there is no part "horn.bell"; expected horn.contact'),
        ("faults/dirt/life", 0, "faults.dirt.life: is the number 0; expected a number above 0"),
        ("faults/dirt/only", {"horn.size": ["loud"]}, 'faults.dirt.only."horn.size": there is no trait'),
        (
            "faults/dirt/only",
            {"horn.kind": ["soft"]},
            'faults.dirt.only."horn.kind": "soft" is not an answer of horn.kind; expected "loud", "faint" or',
        ),
        (
            "symptoms/clicks",
            {"dust": 0.3},
            'symptoms.clicks.dust: there is no fault "dust"; expected broken or',
        ),
        ("symptoms/clicks", {"dirt": 1}, "symptoms.clicks.dirt: is 1.0; expected a chance between 0 and 1"),
        ("symptoms/clicks", {"dirt": 0}, "symptoms.clicks.dirt: is 0.0; expected a chance between 0 and 1"),
        ("symptoms/hums_a_tune", {"dirt": 0.3}, 'symptoms.hums_a_tune: there is no symptom "hums_a_tune"'),
        ("when/rain", {"dirt": 2}, 'when.rain: there is no circumstance "rain"; expected cold, hot, load,'),
        ("when/wet", {"dirt": 0}, "when.wet.dirt: is 0.0; expected a factor above 0"),
        ("when/wet", {"dust": 2}, 'when.wet.dust: there is no fault "dust"; expected broken or dirt'),
        ("faults", [], "faults: is a list; expected a table { … }"),
        ("faults/dirt", 5, "faults.dirt: is the number 5; expected a table { … }"),
        ("faults/dirt/per_1000", 0, "faults.dirt.per_1000:"),
        ("faults/dirt/per_1000", -1, "faults.dirt.per_1000:"),
        ("faults/dirt/per_1000", "often", "faults.dirt.per_1000:"),
        ("faults/dirt/per_1000", math.inf, "faults.dirt.per_1000:"),
        ("faults/dirt/per_1000", math.nan, "faults.dirt.per_1000:"),
        ("faults/dirt/per_1000", True, "faults.dirt.per_1000:"),
        ("faults/dirt/per_1000", ..., "faults.dirt.per_1000:"),
        (
            "faults/dirt/colour",
            "red",
            "faults.dirt.colour: is not a key here; expected one of per_1000, why, name, part",
        ),
        ("faults/dirt/name", 5, 'faults.dirt.name: is the number 5; write "5"'),
        (
            "faults/dirt/calls_for",
            "horn.polish",
            'faults.dirt.calls_for: there is no operation "horn.polish"; expected horn.clean',
        ),
        (
            "faults/dirt/calls_for",
            ["horn.clean"],
            "faults.dirt.calls_for: is a list; expected text in quotes",
        ),
        (
            "tests",
            {},
            "tests: is not a key here; write one of faults, test, symptoms, when, not_while, relieved"
            ' (perhaps "test")',
        ),
        ("test", [], "test: is a list; expected a table { … }"),
        ("test/voltage", "x", 'test.voltage: is the text "x"; expected a table { … }'),
        (
            "test/voltage/minute",
            1,
            "test.voltage.minute: is not a key here; write one of question, minutes, waits, outcomes, sound,",
        ),
        ("test/voltage/minutes", -1, "test.voltage.minutes: is -1.0; expected hands-on minutes, 0 for"),
        ("test/voltage/minutes", "2 min", "test.voltage.minutes:"),
        ("test/voltage/minutes", math.inf, "test.voltage.minutes:"),
        ("test/voltage/minutes", math.nan, "test.voltage.minutes:"),
        ("test/voltage/minutes", ..., "test.voltage.minutes:"),
        ("test/voltage/question", ..., "test.voltage.question: is missing; expected what the test answers"),
        ("test/voltage/question", 7, 'test.voltage.question: is the number 7; write "7"'),
        ("test/voltage/outcomes", ["none", "none", "full"], "test.voltage.outcomes:"),
        ("test/voltage/outcomes", "none", 'test.voltage.outcomes: is the text "none"; expected a list [ … ]'),
        ("test/voltage/outcomes", ["full"], "test.voltage.outcomes:"),
        ("test/voltage/sound", "loud", "test.voltage.sound:"),
        ("test/voltage/sound", ..., "test.voltage.sound:"),
        (
            "test/voltage/otherwise",
            [0.1, 0.9],
            "test.voltage.otherwise: is [0.1, 0.9]; expected 3 probabilities, one for each outcome,"
            " that sum to",
        ),
        ("test/voltage/otherwise", [0.1, 0.1, 0.9], "test.voltage.otherwise: is [0.1, 0.1, 0.9]; expected 3"),
        (
            "test/voltage/otherwise",
            [-0.1, 0.2, 0.9],
            "test.voltage.otherwise: is [-0.1, 0.2, 0.9]; expected 3",
        ),
        (
            "test/voltage/otherwise",
            [math.nan, 0.5, 0.5],
            "test.voltage.otherwise[0]: is nan; expected a finite",
        ),
        (
            "test/voltage/otherwise",
            ["0.1", 0.1, 0.8],
            'test.voltage.otherwise[0]: is the text "0.1"; expected a',
        ),
        ("test/voltage/otherwise", [True, False, False], "test.voltage.otherwise[0]: is true, a yes or no"),
        ("test/voltage/otherwise", 0.5, "test.voltage.otherwise: is the number 0.5; expected a list"),
        (
            "test/voltage/otherwise",
            ...,
            "test.voltage.otherwise: is missing; expected a probability for each",
        ),
        ("test/voltage/given", [], "test.voltage.given: is a list; expected a table { … }"),
        (
            "test/voltage/given/dirt",
            [0.1, 0.1, 0.8],
            "test.voltage.given.dirt: is a list; expected a table { … }",
        ),
        (
            "test/voltage/given/dust",
            {"p": [0.2, 0.7, 0.1]},
            'test.voltage.given.dust: there is no fault "dust"; expected dirt or broken',
        ),
        ("test/voltage/given/dirt/p", [0.2, 0.7], "test.voltage.given.dirt.p:"),
        ("test/voltage/given/dirt/p", ..., "test.voltage.given.dirt.p:"),
        (
            "test/voltage/given/dirt/direct",
            "loud",
            'test.voltage.given.dirt.direct: "loud" is not an outcome; expected none, low or full',
        ),
        (
            "test/voltage/given/dirt/likely",
            1,
            "test.voltage.given.dirt.likely: is not a key here; expected one of p, why, direct",
        ),
        (
            "test/voltage/bins",
            ...,
            "test.voltage: has nothing to say where the outcome comes from; expected exactly one of"
            " bins, check,",
        ),
        (
            "test/voltage/check",
            "horn.drop",
            "test.voltage: has bins and check to say where the outcome comes from; expected exactly"
            " one of bins,",
        ),
        (
            "test/voltage/bins/measurand",
            "horn.volume",
            'test.voltage.bins.measurand: there is no measurand "horn.volume"; expected horn.current or',
        ),
        (
            "test/voltage/bins/measurand",
            ...,
            "test.voltage.bins: names neither; expected either a measurand or",
        ),
        (
            "test/voltage/bins/check",
            "horn.drop",
            "test.voltage.bins: names both; expected either a measurand",
        ),
        (
            "test/voltage/bins/at",
            ["9 V"],
            'test.voltage.bins.at: is ["9 V"]; expected 2 rising limits between 3 outcomes',
        ),
        ("test/voltage/bins/at", ["11 V", "9 V"], "test.voltage.bins.at:"),
        ("test/voltage/bins/at", ["9 V", "9000 mV"], "test.voltage.bins.at:"),
        ("test/voltage/bins/at", ["9 V", "eleven"], "test.voltage.bins.at[1]:"),
        ("test/voltage/bins/at", ["9 A", "10 V"], "test.voltage.bins.at[0]:"),
        ("test/voltage/bins/at", [9, 11], 'test.voltage.bins.at[0]: is the number 9; write "9"'),
        (
            "test/voltage/bins/place",
            "left",
            "test.voltage.bins.place: horn.voltage is read at one place only",
        ),
        (
            "test/voltage/bins/places",
            "left",
            "test.voltage.bins.places: is not a key here; write one of measurand, check, place, at,"
            ' fitted (perhaps "place")',
        ),
        (
            "test/current/bins/place",
            "middle",
            'test.current.bins.place: horn.current is read at left or right, not at "middle"; expected'
            " left or",
        ),
        (
            "test/current/bins/place",
            ...,
            'test.current.bins.place: horn.current is read at left or right, not at ""; expected left'
            " or right",
        ),
        (
            "test/sound/seen",
            "horn.sound",
            'test.sound.seen: is the text "horn.sound"; expected a table { … }',
        ),
        (
            "test/sound/seen/of",
            "horn.noise",
            'test.sound.seen.of: there is no observation "horn.noise"; expected horn.sound',
        ),
        ("test/sound/seen/of", ..., "test.sound.seen.of:"),
        (
            "test/sound/seen/answers",
            ["loud"],
            'test.sound.seen.answers: is ["loud"]; expected one answer, or a list of several, for each of',
        ),
        ("test/sound/seen/answers", ["loud", "loud"], "test.sound.seen.answers:"),
        (
            "test/sound/seen/answers",
            ["loud", "faintly"],
            'test.sound.seen.answers[1]: "faintly" is not an answer of horn.sound; expected "loud",'
            ' "faint" or "rattling"',
        ),
        (
            "test/check/check",
            "lamp.drop",
            'test.check.check: is "lamp.drop"; expected the code of a finding, which begins with horn.',
        ),
        ("test/check/check", "", "test.check.check:"),
        ("test/check/check", 5, "test.check.check:"),
        (
            "test/check/outcomes",
            ["a", "b", "c"],
            "test.check.outcomes: are 3; expected two for a check without beyond, pass and fail in",
        ),
        ("test/check/wants", ..., 'test.check.wants: is missing; write "horn.…"'),
        ("test/grade/wants", ..., 'test.grade.wants: is missing; write "horn.…"'),
        ("test/check/rests_on", ["bell"], 'test.check.rests_on: there is no part "horn.bell"; expected'),
        (
            "test/check/only",
            {"horn.size": ["x"]},
            'test.check.only."horn.size": there is no trait "horn.size"',
        ),
        ("test/check/again", 0.49, "test.check.again: is 0.49; expected a chance from 0.5 to below 1"),
        ("test/check/again", 1.0, "test.check.again: is 1.0; expected a chance from 0.5 to below 1"),
        ("test/check/none", ..., "test.check.none: is missing; expected a probability for each outcome on a"),
        ("test/check/none", [0.5, 0.4], "test.check.none: is [0.5, 0.4]; expected 2 probabilities"),
        ("test/check/outside", [0.5, 0.4], "test.check.outside: is [0.5, 0.4]; expected 2 probabilities"),
        ("test/check/beyond", ["0 V", "1 V"], 'test.check.beyond: is ["0 V", "1 V"]; expected 1 rising'),
        ("test/check/beyond", ["much"], "test.check.beyond[0]:"),
        ("test/check/beyond", ["nan %"], "test.check.beyond[0]:"),
        ("test/sound/beyond", ["0 V"], "test.sound.beyond: stands without a check"),
        ("test/voltage/outside", ..., "test: has no row for outside in any test; write outside = [0.9, 0.1]"),
        (
            "test/voltage/bins/fitted",
            {"horn.size": {"x": ["8 V", "11 V"]}},
            'test.voltage.bins.fitted."horn.size":',
        ),
        (
            "test/voltage/bins/fitted",
            {"horn.kind": {"soft": ["8 V", "11 V"]}},
            'test.voltage.bins.fitted."horn.kind".soft: is no answer of it; expected "loud",',
        ),
        (
            "test/voltage/bins/fitted",
            {"horn.age": {"60 s": ["8 V", "11 V"]}},
            'test.voltage.bins.fitted."horn.age"."60 s": is no answer of it; expected no answer:',
        ),
        (
            "test/voltage/bins/fitted",
            {"horn.kind": {"loud": ["8 V"]}},
            'test.voltage.bins.fitted."horn.kind".loud: is ["8 V"]; expected 2 rising limits',
        ),
        (
            "test/voltage/bins/fitted",
            {"horn.kind": {"loud": ["8 A", "11 V"]}},
            'test.voltage.bins.fitted."horn.kind".loud[0]:',
        ),
        ("test/voltage/bins", {"check": "horn.drop", "at": ["1 V", "2 A"]}, "test.voltage.bins.at: is ["),
        ("test/voltage/bins", {"check": "horn.drop", "at": ["1 V", "2"]}, "test.voltage.bins.at[1]:"),
        ("test/voltage/bins", {"check": "horn.drop", "at": ["1 V", "2 V"]}, "test.voltage.wants: is missing"),
        ("test/grade/grade/check", LOST, "test.grade.grade.check: no check of the system yields"),
        ("test/check/check", LOST, "test.check.check: no check of the system yields"),
        ("test/grade/grade/answers", ["none", "none"], 'test.grade.grade.answers: is ["none", "none"]'),
        ("test/grade/grade/unsaid", "loud", 'test.grade.grade.unsaid: "loud" is no outcome of this test'),
        ("test/age/trait/of", "horn.size", 'test.age.trait.of: there is no trait "horn.size"; expected'),
        ("test/age/trait/at", ["60 s"], 'test.age.trait.at: is ["60 s"]; expected 2 rising limits'),
        ("test/age/trait/at", ["60 V", "70 V"], "test.age.trait.at[0]:"),
        ("test/codes/codes", ["Q12"], "test.codes.codes[0]:"),
        (
            "test/codes/outcomes",
            ["a", "b", "c"],
            "test.codes.outcomes: are 3; expected two for trouble codes",
        ),
        (
            "test/codes/given",
            {"dirt": {"p": [0.5, 0.5], "direct": "set"}},
            "test.codes.given.dirt.direct: a trouble code names no part",
        ),
        ("test/sound/retells", {"hums_a_tune": ["rattling"]}, "test.sound.retells.hums_a_tune:"),
        ("test/sound/retells", {"clicks": ["loud"]}, "test.sound.retells.clicks[0]: there is no outcome"),
        (
            "test/sound/retells",
            {"clicks": ["well"]},
            'test.sound.retells.clicks[0]: "well" is what a sound vehicle',
        ),
        ("test/check/after", {"check": ["small"]}, 'test.check.after.check: there is no other test "check"'),
        ("test/check/wants", "horn.volume", "test.check.wants:"),
        ("not_while", [{"seen": {"horn.smell": ["burnt"]}, "why": "x"}], 'not_while[0].seen."horn.smell":'),
        ("not_while", [{"seen": {"horn.sound": ["hot"]}, "why": "x"}], 'not_while[0].seen."horn.sound":'),
        ("not_while", [{"seen": {}, "why": "x", "tests": ["blow"]}], "not_while[0].tests: there is no test"),
        ("not_while", [{"seen": {}, "why": "x", "works": ["horn.blow"]}], "not_while[0].works: there is no"),
        ("not_while", [{"seen": {"horn.sound": ["loud"]}}], "not_while[0].why: is missing"),
        (
            "relieved",
            [{"by": "horn.blow", "faults": [], "why": "x"}],
            "relieved[0].by: there is no operation",
        ),
        (
            "relieved",
            [{"by": "horn.blow", "faults": ["rust"], "why": "x"}],
            "relieved[0].faults: there is no",
        ),
        ("relieved", [{"by": "horn.blow", "faults": []}], "relieved[0].why: is missing"),
    ],
    ids=lambda part: part if isinstance(part, str) else repr(part)[:20],
)
def test_what_cannot_be_meant_is_told_with_its_key_path(path: str, value: Any, where: str) -> None:
    assert [fault for fault in told(changed(path, value)) if fault.startswith(where)]


def test_a_single_fault_is_told_once() -> None:
    for path, value in (
        ("faults/dirt/per_1000", 0),
        ("faults/dirt/weight", 3),
        ("test/check/wants", ...),
        ("faults/dirt/why", ""),
        ("test/voltage/minutes", -1),
        ("test/voltage/bins/measurand", "horn.volume"),
        ("test/sound/seen/of", "x"),
    ):
        assert len(told(changed(path, value))) == 1


def test_all_faults_are_told_at_once() -> None:
    data = deepcopy(GOOD)
    data["faults"]["dirt"] |= {"per_1000": 0, "calls_for": "horn.polish", "colour": 1, "part": "bell"}
    data["faults"]["broken"] |= {"weight": 3, "why": ""}
    data["faults"]["outside"] = {"per_1000": 1, "why": "x"}
    data["faults"]["pairs"] = [{"of": ["dirt", "dust"], "weight": 1, "why": "x"}]
    del data["test"]["voltage"]["outside"]
    data["test"]["voltage"] |= {"minutes": -1, "sound": "loud", "question": "", "otherwise": [1]}
    data["test"]["voltage"]["bins"] = {"measurand": "horn.volume", "at": ["9 V"]}
    data["test"]["voltage"]["given"]["dust"] = {"p": [0.5, 0.5], "direct": "loud"}
    data["test"]["sound"]["outcomes"] = ["well"]
    data["test"]["current"]["bins"]["place"] = "middle"
    data["test"]["grade"] |= {"rests_on": ["bell"], "only": {"horn.size": ["x"]}}
    del data["test"]["grade"]["wants"]
    del data["test"]["codes"]["none"]
    data["test"]["codes"]["spoils"] = ["check"]
    data["test"]["check"] |= {"check": LOST, "after": {"codes": ["set"]}, "spoils": ["codes"]}
    data["symptoms"] |= {"hums_a_tune": {"dirt": 0.3}, "clicks": {"dirt": 2}}
    data["when"]["rain"] = {"dirt": 2}
    data["surplus"] = 1
    paths = [fault.split(": ", 1)[0] for fault in told(data)]
    assert set(paths) == {
        "faults.pairs[0].weight",
        "faults.pairs[0].of",
        "faults.dirt.per_1000",
        "faults.dirt.calls_for",
        "faults.dirt.colour",
        "faults.dirt.part",
        "faults.broken.weight",
        "faults.broken.why",
        "faults.outside",
        "surplus",
        "symptoms.hums_a_tune",
        "symptoms.clicks.dirt",
        "when.rain",
        "test",
        "test.voltage.minutes",
        "test.voltage.sound",
        "test.voltage.question",
        "test.voltage.otherwise",
        "test.voltage.bins.measurand",
        "test.voltage.given.dust",
        "test.voltage.given.dust.p",
        "test.voltage.given.dust.direct",
        "test.sound.outcomes",
        "test.sound.none",
        "test.sound.otherwise",
        "test.sound.seen.answers",
        "test.current.bins.place",
        "test.grade.rests_on",
        'test.grade.only."horn.size"',
        "test.grade.wants",
        "test.codes.none",
        "test.codes",
        "test.check.check",
        "test.check",
    }


def test_the_limits_of_odds_are_told_just_outside_and_taken_just_inside() -> None:
    assert horn.fault_table(changed("faults/dirt/per_1000", 999.9), "here").faults["dirt"].per_1000 == 999.9
    assert told(changed("faults/dirt/per_1000", 1000)) == [
        "faults.dirt.per_1000: is 1000.0; expected a number below 1000, of 1000 vehicles"
    ]
    assert horn.fault_table(changed("test/check/again", 0.5), "here").tests["check"].again == 0.5


def test_faults_that_no_test_and_no_symptom_tells_apart_are_told() -> None:
    data = changed("test/voltage/given", {})
    del data["symptoms"]
    (fault,) = told(data)
    assert fault.startswith(
        "faults.broken: no test tells dirt and broken apart, and each calls for other work"
    )
    data["test"]["check"]["given"] = {"broken": {"p": [0.5, 0.5]}}
    assert told(data) == [fault]  # a row that says the same as otherwise tells nothing
    data["test"]["check"]["given"] = {"broken": {"p": [0.4, 0.6]}}
    assert horn.fault_table(data, "here").faults.keys() == {"dirt", "broken"}


def test_faults_that_call_for_two_works_are_told_where_nothing_tells_them_apart() -> None:
    data = changed("test/voltage/given", {})
    data["faults"]["broken"] |= {"calls_for": "horn.exchange"}
    del data["faults"]["broken"]["refer"], data["symptoms"]
    (fault,) = told(data)
    assert fault.startswith("faults.broken: no test tells dirt and broken apart")


def test_faults_that_one_work_cures_need_no_test_that_tells_them_apart() -> None:
    data = changed("test/voltage/given", {})
    data["faults"]["broken"] |= {"calls_for": "horn.clean"}
    del data["faults"]["broken"]["refer"], data["symptoms"]
    assert set(horn.fault_table(data, "here").faults) == {"dirt", "broken"}


def test_a_symptom_alone_tells_two_faults_apart() -> None:
    data = changed("test/voltage/given", {})
    data["symptoms"]["clicks"] = {"dirt": 0.3, "broken": 0.6}
    assert set(horn.fault_table(data, "here").faults) == {"dirt", "broken"}


def test_of_two_outcomes_beyond_a_limit_one_step_parts_them_by_share_or_by_amount() -> None:
    share = horn.fault_table(changed("test/check/beyond", ["50 %"]), "here").tests["check"]
    assert (share.beyond, share.relative) == ((0.5,), True)
    amount = horn.fault_table(changed("test/check/beyond", ["500 mV"]), "here").tests["check"]
    assert (amount.beyond, amount.relative) == ((0.5,), False)


JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-2, 2)
    | st.floats()
    | st.sampled_from(["", "none", "dirt", "horn.voltage", "9 V", "full"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["none", "p", "per_1000", "weight", "at", "of", "bins", "outcomes"]),
            inner,
            max_size=3,
        )
    ),
    max_leaves=6,
)
PLACES = [
    "faults",
    "faults/dirt",
    "faults/pairs",
    "faults/dirt/per_1000",
    "test",
    "test/voltage",
    "test/voltage/bins",
    "test/voltage/bins/at",
    "test/voltage/outcomes",
    "test/voltage/given",
    "test/voltage/given/dirt",
    "test/voltage/given/dirt/p",
    "test/sound/seen",
    "test/sound/seen/answers",
    "test/sound/seen/of",
    "test/check/check",
    "test/check/beyond",
    "test/check/again",
    "test/grade/grade",
    "test/age/trait",
    "test/age/trait/at",
    "test/voltage/sound",
    "test/voltage/none",
    "symptoms",
    "symptoms/clicks",
    "when/wet",
]


@given(st.sampled_from(PLACES), JUNK)
def test_whatever_stands_in_a_table_is_read_or_told_and_never_breaks_the_reader(path: str, junk: Any) -> None:
    try:
        table = horn.fault_table(changed(path, junk), "here")
    except DataFileError as error:
        assert error.faults
    else:
        assert all(0 < fault.per_1000 < 1000 for fault in table.faults.values())
        for test in table.tests.values():
            for row in (test.none, test.otherwise, *(row.p for row in test.given.values())):
                assert len(row) == len(test.outcomes)
                assert math.fsum(row) == pytest.approx(1)


# ---- limits.toml


SOURCES = '[[source]]\nkey = "book"\ntitle = "An invented book"\nbasis = "handbook"\nstatus = "read"\n'


def with_limits(folder: Path, text: str) -> ck.System:
    (folder / "sources.toml").write_text(SOURCES)
    (folder / "limits.toml").write_text(text)
    return ck.System("horn", "Horn", folder=folder)


def test_limits_are_read_in_the_coherent_unit_with_their_source(tmp_path: Path) -> None:
    text = (
        '[[limit]]\nkey = "horn.voltage"\nlow = 9\nhigh = 14500\nunit = "mV"\nsource = "book"\nwidth_low ='
        ' 100\nwidth_high = 400\nwhy = "two books differ"\nonly_advises = true\nnote = "warm"\n'
    )
    (limit,) = with_limits(tmp_path, text.replace("9\n", "9000\n")).limits.values()
    assert limit.low is not None
    assert limit.high is not None
    assert (limit.key, limit.low.number, limit.high.number, limit.low.kind, limit.note, limit.decides) == (
        "horn.voltage",
        9.0,
        14.5,
        "voltage",
        "warm",
        False,
    )
    assert limit.source.title == "An invented book"
    # 100 mV and 400 mV at k = 2
    assert (limit.low.u, limit.high.u, limit.why) == (
        pytest.approx(0.05),
        pytest.approx(0.2),
        "two books differ",
    )


def test_a_system_without_files_has_no_limits_sources_or_faults(tmp_path: Path) -> None:
    system = ck.System("horn", "Horn", folder=tmp_path)
    assert (system.limits, system.sources, system.faults) == ({}, {}, None)


WEAK_SOURCE = (
    SOURCES + '[[source]]\nkey = "habit"\ntitle = "common practice"\nbasis = "practice"\nstatus = "none"\n'
)


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("high = 0.1\nwidth = 0.13\nwhy = 'x'", "with a width of ± 0.13 V no reading could ever pass"),
        (
            "low = 9\nhigh = 10\nwidth = 0.52\nwhy = 'x'",
            "with a width of ± 0.52 V no reading could ever pass",
        ),
        ("low = 9\nwidth = 0.5", "the width has no reason"),
        ("low = 9\nwhy = 'x'", "there is no width that it could be the reason of"),
        ("low = 9\nwidth = -1\nwhy = 'x'", "-1 is negative"),
        ("low = 9\nhigh = 10\nwidth_low = 0.1\nwhy = 'x'", "only one end has a width"),
        ("low = 9\nwidth_high = 0.1\nwidth_low = 0.1\nwhy = 'x'", "the limit has no high end"),
        ("low = 9\nwidth_low = 0.1\nwidth = 0.1\nwhy = 'x'", "it stands beside width_low or width_high"),
        ("low = 9\nwidth = 0\nwhy = 'x'\nsource = 'habit'", "it is 0, and the source is practice, none"),
    ],
)
def test_a_width_that_cannot_be_is_refused_when_the_limits_are_read(
    tmp_path: Path, row: str, says: str
) -> None:
    source = "" if "source" in row else "source = 'book'\n"
    system = with_limits(tmp_path, f'[[limit]]\nkey = "horn.a"\nunit = "V"\n{source}{row}\n')
    (tmp_path / "sources.toml").write_text(WEAK_SOURCE)
    with pytest.raises(ValueError, match=r"limits\.toml of horn cannot be used") as error:
        _ = system.limits
    assert says in str(error.value)


def test_a_width_in_a_unit_with_an_offset_is_a_difference(tmp_path: Path) -> None:
    row = 'high = 51.6\nunit = "°C"\nsource = "book"\nwidth = 2\nwhy = "x"\n'
    (limit,) = with_limits(tmp_path, f'[[limit]]\nkey = "horn.a"\n{row}').limits.values()
    assert limit.high is not None and limit.high.u == pytest.approx(1.0)


def test_a_limit_without_a_width_only_advises_whatever_its_source(tmp_path: Path) -> None:
    row = '[[limit]]\nkey = "horn.a"\nlow = 9\nunit = "V"\nsource = "book"\n'
    (limit,) = with_limits(tmp_path, row).limits.values()
    assert not limit.decides


def test_all_faults_of_a_list_of_limits_are_told_at_once(tmp_path: Path) -> None:
    rows = {
        '.source (horn.a): there is no source "nobody"; expected a key of sources.toml: book': (
            'key = "horn.a"\nlow = 1\nunit = "V"\nsource = "nobody"'
        ),
        ".source (horn.b): is missing; expected a key of sources.toml": 'key = "horn.b"\nlow = 1\nunit = "V"',
        ".key: is missing; expected the name of the limit": 'low = 1\nunit = "V"\nsource = "book"',
        " (horn.c): The limit horn.c needs a low end": 'key = "horn.c"\nunit = "V"\nsource = "book"',
        ".unit (horn.d): There is no unit": (
            'key = "horn.d"\nlow = 1\nunit = "volts of sort"\nsource = "book"'
        ),
        ".unit (horn.e): ": 'key = "horn.e"\nlow = 1\nunit = "bar"\nsource = "book"',
        ".lower (horn.f): is not a key here; write one of key, low, high, unit, source, width, width_low": (
            'key = "horn.f"\nlower = 1\nlow = 1\nunit = "V"\nsource = "book"'
        ),
        '.low (horn.g): is the text "1 V"; expected a number': (
            'key = "horn.g"\nlow = "1 V"\nunit = "V"\nsource = "book"'
        ),
        ".high (horn.h): is a list; expected a number": (
            'key = "horn.h"\nhigh = [1]\nunit = "V"\nsource = "book"'
        ),
        " (horn.i): The low end of the limit horn.i lies above its high end": (
            'key = "horn.i"\nlow = 2\nhigh = 1\nunit = "V"\nsource = "book"'
        ),
        ".low (horn.j): is nan; expected a finite number": (
            'key = "horn.j"\nlow = nan\nunit = "V"\nsource = "book"'
        ),
        '.only_advises (horn.k): is the text "sure"; expected true or false': (
            'key = "horn.k"\nlow = 1\nunit = "V"\nsource = "book"\nonly_advises = "sure"'
        ),
        '.key (horn.m): there already is a limit "horn.m"': (
            'key = "horn.m"\nlow = 1\nunit = "V"\nsource = "book"'
        ),
    }
    good = '[[limit]]\nkey = "horn.m"\nlow = 1\nunit = "V"\nsource = "book"\n'
    text = good + "".join(f"[[limit]]\n{row}\n" for row in rows.values()) + "[other]\n"
    with pytest.raises(ValueError, match=r"limits\.toml of horn cannot be used") as error:
        _ = with_limits(tmp_path, text).limits
    lines = [line.strip() for line in str(error.value).splitlines()[1:]]
    assert lines[-1] == "other: is not a key here; expected one of limit"
    assert len(lines) == len(rows) + 1
    for place, (words, line) in enumerate(zip(rows, lines[:-1], strict=True), 1):
        assert line.startswith(f"limit[{place}]{words}")
    assert "bar gauge" in lines[5]


@pytest.mark.parametrize("text", ["limit = 5\n", "limit = [1, 2]\n", '[limit]\nkey = "horn.a"\n'])
def test_limits_that_are_no_list_of_tables_are_refused_in_words(tmp_path: Path, text: str) -> None:
    with pytest.raises(
        ValueError, match=r"limit: is .*; expected a list of tables, each \[\[ … \]\]|limit\[1\]: .*a table"
    ):
        _ = with_limits(tmp_path, text).limits


@pytest.mark.parametrize("at", [(), (1.0,)], ids=["by its limit", "in bins"])
def test_a_finding_that_names_no_value_is_no_outcome_of_its_test(at: tuple[float, ...]) -> None:
    table = horn.fault_table(GOOD, "here")
    test = attrs.evolve(table.tests["check"], at=at)
    case = Bench(horn).case()
    said = case.advise(ck.Claim("horn.drop"), "The horn was not pressed.")
    assert all_outcomes(attrs.evolve(table, tests={"check": test}), case, [said]) == []


def test_an_outcome_shows_plainly_what_it_is_nearly_sure_of_unless_it_is_held_open() -> None:
    test = horn.fault_table(GOOD, "here").tests["check"]
    made = Outcome(test=test, weights=(0.03, 0.97), evidence=())
    assert (made.plain, made.plain_among(["large"]), made.plain_among(["small"])) == ("large", "large", "")
    assert attrs.evolve(made, settled=False).plain == ""
    assert attrs.evolve(made, weights=(0.2, 0.8)).plain == ""
