"""Fault tables and limits.toml: every fault is told at once, each with its key path."""

from __future__ import annotations

import math
from copy import deepcopy
from enum import Enum
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.fault import DataFileError


class Sound(Enum):
    LOUD = "loud"
    FAINT = "faint"


horn = ck.System("horn", "Horn")
horn.measurand("voltage", "V", "Voltage", possible=(0, 30), usual=(9, 15), accuracy="0.1 V")
horn.measurand(
    "current", "A", "Current", possible=(0, 30), usual=(1, 10), accuracy="0.1 A", places=("left", "right")
)
horn.observation("sound", "Sound", Sound)
horn.operation("clean", "Clean the contacts")

GOOD: dict[str, Any] = {
    "faults": {
        "none": {"weight": 3, "name": "None"},
        "outside": {"weight": 1},
        "dirt": {"weight": 6.5, "name": "Dirt", "why": "rain", "calls_for": "horn.clean"},
    },
    "test": {
        "voltage": {
            "bins": {"measurand": "horn.voltage", "at": ["9 V", "11500 mV"]},
            "question": "Voltage?",
            "minutes": 2,
            "outcomes": ["none", "low", "full"],
            "sound": "full",
            "otherwise": [0.0, 0.1, 0.9],
            "given": {"dirt": {"p": [0.2, 0.7, 0.1], "why": "lost on the way", "direct": "low"}},
        },
        "current": {
            "bins": {"measurand": "horn.current", "place": "left", "at": ["1 A"]},
            "question": "Current?",
            "minutes": 2,
            "outcomes": ["no", "yes"],
            "sound": "yes",
            "otherwise": [0.1, 0.9],
        },
        "sound": {
            "seen": {"of": "horn.sound", "answers": ["loud", "faint"]},
            "question": "Sound?",
            "minutes": 0.5,
            "outcomes": ["well", "ill"],
            "sound": "well",
            "otherwise": [0.5, 0.5],
        },
        "check": {
            "check": "horn.drop",
            "wants": "horn.voltage",
            "question": "Drop?",
            "minutes": 5,
            "outcomes": ["small", "large"],
            "sound": "small",
            "otherwise": [0.5, 0.5],
        },
    },
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
    assert [(fault.key, fault.name, fault.weight, fault.calls_for) for fault in table.faults.values()] == [
        ("none", "None", 3.0, ""),
        ("outside", "outside", 1.0, ""),
        ("dirt", "Dirt", 6.5, "horn.clean"),
    ]
    voltage = table.tests["voltage"]
    assert (voltage.measurand, voltage.at, voltage.sound, voltage.given["dirt"].direct) == (
        "horn.voltage",
        (9.0, 11.5),
        "full",
        "low",
    )
    assert (table.tests["current"].place, table.tests["sound"].answers, table.tests["check"].code) == (
        "left",
        ("loud", "faint"),
        "horn.drop",
    )


def test_nothing_is_ever_impossible_or_certain() -> None:
    row = horn.fault_table(GOOD, "here").tests["voltage"].otherwise
    assert row == pytest.approx([0.005 / 1.005, 0.1 / 1.005, 0.9 / 1.005])


@pytest.mark.parametrize(
    ("path", "value", "where"),
    [
        (
            "faults",
            ...,
            "faults.none: is missing; expected a vehicle with none of these faults, with its weight;"
            " every table",
        ),
        (
            "faults/none",
            ...,
            "faults.none: is missing; expected a vehicle with none of these faults, with its weight;"
            " every table",
        ),
        (
            "faults/outside",
            ...,
            "faults.outside: is missing; expected something outside this system, with its weight;"
            " every table",
        ),
        ("faults", [], "faults: is a list; expected a table { … }"),
        ("faults/dirt", 5, "faults.dirt: is the number 5; expected a table { … }"),
        ("faults/dirt/weight", 0, "faults.dirt.weight:"),
        ("faults/dirt/weight", -1, "faults.dirt.weight:"),
        ("faults/dirt/weight", "often", "faults.dirt.weight:"),
        ("faults/dirt/weight", math.inf, "faults.dirt.weight:"),
        ("faults/dirt/weight", math.nan, "faults.dirt.weight:"),
        ("faults/dirt/weight", True, "faults.dirt.weight:"),
        ("faults/dirt/weight", ..., "faults.dirt.weight:"),
        (
            "faults/dirt/colour",
            "red",
            "faults.dirt.colour: is not a key here; expected one of weight, name, why, calls_for",
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
        ("tests", {}, 'tests: is not a key here; write one of faults, test (perhaps "test")'),
        ("test", [], "test: is a list; expected a table { … }"),
        ("test/voltage", "x", 'test.voltage: is the text "x"; expected a table { … }'),
        (
            "test/voltage/minute",
            1,
            "test.voltage.minute: is not a key here; write one of question, minutes, waits, outcomes, sound,",
        ),
        ("test/voltage/minutes", 0, "test.voltage.minutes:"),
        ("test/voltage/minutes", "2 min", "test.voltage.minutes:"),
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
            'test.voltage.given.dust: there is no fault "dust"; expected none, outside or dirt',
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
        ("test/voltage/bins/measurand", ..., "test.voltage.bins.measurand:"),
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
            "test.voltage.bins.places: is not a key here; write one of measurand, place, at (perhaps"
            ' "place")',
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
            'test.sound.seen.answers: is ["loud"]; expected one answer for each of the 2 outcomes',
        ),
        ("test/sound/seen/answers", ["loud", "loud"], "test.sound.seen.answers:"),
        (
            "test/sound/seen/answers",
            ["loud", "faintly"],
            'test.sound.seen.answers[1]: "faintly" is not an answer of horn.sound; expected "loud" or'
            ' "faint"',
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
            "test.check.outcomes: are 3; expected two for a check, pass and fail in this order",
        ),
        ("test/check/wants", "horn.volume", "test.check.wants:"),
    ],
    ids=lambda part: part if isinstance(part, str) else repr(part)[:20],
)
def test_what_cannot_be_meant_is_told_with_its_key_path(path: str, value: Any, where: str) -> None:
    assert [fault for fault in told(changed(path, value)) if fault.startswith(where)]


def test_a_single_fault_is_told_once() -> None:
    for path, value in (
        ("faults/dirt/weight", 0),
        ("test/voltage/minutes", 0),
        ("test/voltage/bins/measurand", "horn.volume"),
        ("test/sound/seen/of", "x"),
    ):
        assert len(told(changed(path, value))) == 1


def test_all_faults_are_told_at_once() -> None:
    data = deepcopy(GOOD)
    data["faults"]["dirt"] |= {"weight": 0, "calls_for": "horn.polish", "colour": 1}
    del data["faults"]["outside"]
    data["test"]["voltage"] |= {"minutes": 0, "sound": "loud", "question": "", "otherwise": [1]}
    data["test"]["voltage"]["bins"] = {"measurand": "horn.volume", "at": ["9 V"]}
    data["test"]["voltage"]["given"]["dust"] = {"p": [0.5, 0.5], "direct": "loud"}
    data["test"]["sound"]["outcomes"] = ["well"]
    data["test"]["sound"]["seen"]["answers"] = ["loud", "faintly"]
    data["test"]["check"]["check"] = "lamp.drop"
    data["surplus"] = 1
    paths = [fault.split(": ", 1)[0] for fault in told(data)]
    assert set(paths) == {
        "faults.dirt.weight",
        "faults.dirt.calls_for",
        "faults.dirt.colour",
        "faults.outside",
        "surplus",
        "test.voltage.minutes",
        "test.voltage.sound",
        "test.voltage.question",
        "test.voltage.otherwise",
        "test.voltage.bins.measurand",
        "test.voltage.given.dust",
        "test.voltage.given.dust.p",
        "test.voltage.given.dust.direct",
        "test.sound.outcomes",
        "test.sound.otherwise",
        "test.sound.seen.answers",
        "test.sound.seen.answers[1]",
        "test.check.check",
    }


JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-2, 2)
    | st.floats()
    | st.sampled_from(["", "none", "dirt", "horn.voltage", "9 V", "full"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["none", "p", "weight", "at", "of", "bins", "outcomes"]), inner, max_size=3
        )
    ),
    max_leaves=6,
)
PLACES = [
    "faults",
    "faults/none",
    "faults/dirt",
    "faults/dirt/weight",
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
    "test/voltage/sound",
]


@given(st.sampled_from(PLACES), JUNK)
def test_whatever_stands_in_a_table_is_read_or_told_and_never_breaks_the_reader(path: str, junk: Any) -> None:
    try:
        table = horn.fault_table(changed(path, junk), "here")
    except DataFileError as error:
        assert error.faults
    else:
        assert all(math.isfinite(fault.weight) and fault.weight > 0 for fault in table.faults.values())
        for test in table.tests.values():
            for row in (test.otherwise, *(row.p for row in test.given.values())):
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
