"""Fault tables: two faults at once, what must come before a test, what it spoils, how long it waits."""

from __future__ import annotations

import math
from copy import deepcopy
from enum import Enum
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.fault import DataFileError
from corekit.plugin.faults import FaultTest


class Answer(Enum):
    YES = "yes"
    NO = "no"


lamp = ck.System("lamp", "Lamp")
for name in ("glows", "clicks", "warm"):
    lamp.observation(name, name.title(), Answer)


def asks(name: str, **more: Any) -> dict[str, Any]:
    return {
        "seen": {"of": f"lamp.{name}", "answers": ["yes", "no"]},
        "question": f"{name}?",
        "minutes": 2,
        "outcomes": ["yes", "no"],
        "sound": "yes",
        "none": [0.9, 0.1],
        "otherwise": [0.9, 0.1],
        "outside": [0.8, 0.2],
        **more,
    }


GOOD: dict[str, Any] = {
    "faults": {
        "bulb": {"per_1000": 4, "why": "it burns out"},
        "relay": {"per_1000": 2, "why": "its contacts burn"},
        "pairs": [{"of": ["bulb", "relay"], "per_1000": 0.5, "why": "one surge took both"}],
    },
    "test": {
        "glows": asks("glows", given={"bulb": {"p": [0.1, 0.9]}, "relay": {"p": [0.3, 0.7]}}),
        "clicks": asks(
            "clicks",
            after={"glows": ["no"]},
            given={"relay": {"p": [0.2, 0.8]}, "bulb+relay": {"p": [0.4, 0.6]}},
        ),
        "warm": asks("warm", waits=20, spoils=["glows", "clicks"]),
    },
}


def changed(path: str, value: Any) -> dict[str, Any]:
    data = deepcopy(GOOD)
    holder: Any = data
    *way, last = path.split("/")
    for key in way:
        holder = holder[int(key) if isinstance(holder, list) else key]
    if value is ...:
        del holder[last]
    else:
        holder[int(last) if isinstance(holder, list) else last] = value
    return data


def told(data: dict[str, Any]) -> list[str]:
    with pytest.raises(DataFileError) as error:
        lamp.fault_table(data, "faults.toml of lamp")
    return [str(fault) for fault in error.value.faults]


def test_pairs_order_and_waiting_are_read() -> None:
    table = lamp.fault_table(GOOD, "here")
    pair = table.pairs["bulb+relay"]
    assert (pair.of, pair.per_1000, pair.why) == (("bulb", "relay"), 0.5, "one surge took both")
    assert list(table.faults) == ["bulb", "relay"]
    assert (table.tests["clicks"].after, table.tests["warm"].spoils, table.tests["warm"].waits) == (
        {"glows": ("no",)},
        ("glows", "clicks"),
        20.0,
    )


def test_a_table_without_them_is_as_good_as_before() -> None:
    plain = deepcopy(GOOD)
    del (
        plain["faults"]["pairs"],
        plain["test"]["clicks"]["after"],
        plain["test"]["clicks"]["given"]["bulb+relay"],
    )
    plain["test"]["warm"] = asks("warm")
    table = lamp.fault_table(plain, "here")
    assert (
        table.pairs,
        table.tests["clicks"].after,
        table.tests["warm"].spoils,
        table.tests["warm"].waits,
    ) == ({}, {}, (), 0.0)


@pytest.mark.parametrize(
    ("path", "value", "line"),
    [
        (
            "faults/pairs",
            {"of": ["bulb", "relay"]},
            "faults.pairs[0].per_1000: is missing",
        ),
        ("faults/pairs/0", 5, "faults.pairs[0]: is the number 5; expected a table { … }"),
        (
            "faults/pairs/0/of",
            ["bulb"],
            'faults.pairs[0].of: is ["bulb"]; expected two different faults of bulb, relay',
        ),
        (
            "faults/pairs/0/of",
            ["bulb", "bulb"],
            'faults.pairs[0].of: is ["bulb", "bulb"]; expected two different faults of bulb, relay',
        ),
        (
            "faults/pairs/0",
            {"of": ["bulb", "relay"], "weight": 2, "why": "x"},
            "faults.pairs[0].weight: is a share among visits with a complaint; write per_1000 = 5",
        ),
        (
            "faults/pairs/0/why",
            ...,
            "faults.pairs[0].why: is missing; expected on what ground the prevalence stands",
        ),
        (
            "faults/pairs/0/of",
            ["bulb", "none"],
            'faults.pairs[0].of: is ["bulb", "none"]; expected two different faults of bulb, relay',
        ),
        (
            "faults/pairs/0/of",
            ["bulb", "fuse"],
            'faults.pairs[0].of: is ["bulb", "fuse"]; expected two different faults of bulb, relay',
        ),
        ("faults/pairs/0/of", "bulb", 'faults.pairs[0].of: is the text "bulb"; expected a list [ … ]'),
        (
            "faults/pairs/0/per_1000",
            0,
            "faults.pairs[0].per_1000: is the number 0; expected a number above 0, without quotes",
        ),
        (
            "faults/pairs/0/per_1000",
            math.nan,
            "faults.pairs[0].per_1000: is the number nan; expected a number above 0, without quotes",
        ),
        ("faults/pairs/0/why", 5, 'faults.pairs[0].why: is the number 5; write "5"'),
        (
            "faults/pairs/0/often",
            5,
            "faults.pairs[0].often: is not a key here; expected one of of, per_1000, why",
        ),
        (
            "faults/pairs",
            [GOOD["faults"]["pairs"][0], {"of": ["relay", "bulb"], "per_1000": 1, "why": "x"}],
            "faults.pairs[1].of: relay and bulb are a pair already",
        ),
        (
            "faults/bulb+relay",
            {"per_1000": 1, "why": "x"},
            'faults."bulb+relay": has a + in its name, which stands between two of a pair; expected a'
            " plain name",
        ),
        (
            "test/clicks/given/relay+bulb",
            {"p": [0.5, 0.5]},
            'test.clicks.given."relay+bulb": there is no fault "relay+bulb"; expected bulb, relay or',
        ),
        (
            "test/clicks/given/bulb+relay/direct",
            "no",
            'test.clicks.given."bulb+relay".direct: two faults together are no part; write direct in'
            " the row of",
        ),
        ("test/clicks/after", ["glows"], "test.clicks.after: is a list; expected a table { … }"),
        ("test/clicks/after/glows", "no", 'test.clicks.after.glows: is the text "no"; expected a list [ … ]'),
        (
            "test/clicks/after/glows",
            ["dark"],
            'test.clicks.after.glows: is ["dark"]; expected outcomes of glows: yes, no',
        ),
        (
            "test/clicks/after/glows",
            [],
            "test.clicks.after.glows: is []; expected outcomes of glows: yes, no",
        ),
        (
            "test/clicks/after/hums",
            ["no"],
            'test.clicks.after.hums: there is no other test "hums"; expected glows or warm',
        ),
        (
            "test/clicks/after/clicks",
            ["no"],
            'test.clicks.after.clicks: there is no other test "clicks"; expected glows or warm',
        ),
        ("test/warm/spoils", "glows", 'test.warm.spoils: is the text "glows"; expected a list [ … ]'),
        (
            "test/warm/spoils",
            ["hums"],
            'test.warm.spoils[0]: there is no other test "hums"; expected clicks or glows',
        ),
        (
            "test/warm/spoils",
            ["warm"],
            'test.warm.spoils[0]: there is no other test "warm"; expected clicks or glows',
        ),
        (
            "test/glows/after",
            {"clicks": ["no"]},
            "test.glows: comes before itself by after and spoils; write the table without one of them",
        ),
        (
            "test/glows/spoils",
            ["warm"],
            "test.glows: comes before itself by after and spoils; write the table without one of them",
        ),
        ("test/warm/waits", 0, "test.warm.waits: is the number 0; expected a number above 0, without quotes"),
        (
            "test/warm/waits",
            "long",
            'test.warm.waits: is the text "long"; expected a number above 0, without quotes',
        ),
    ],
)
def test_what_cannot_be_meant_is_told_in_one_line_with_its_key_path(path: str, value: Any, line: str) -> None:
    assert [fault for fault in told(changed(path, value)) if fault.startswith(line)]
    assert all("\n" not in fault for fault in told(changed(path, value)))


JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-2, 2)
    | st.floats()
    | st.sampled_from(["", "none", "bulb", "relay", "glows", "warm", "no"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["of", "per_1000", "glows", "warm", "p"]), inner, max_size=3)
    ),
    max_leaves=6,
)


@given(
    st.sampled_from(
        [
            "faults/pairs",
            "faults/pairs/0",
            "faults/pairs/0/of",
            "test/clicks/after",
            "test/clicks/after/glows",
            "test/warm/spoils",
        ]
    ),
    JUNK,
)
def test_whatever_stands_there_is_read_or_told_and_never_breaks_the_reader(path: str, junk: Any) -> None:
    try:
        table = lamp.fault_table(changed(path, junk), "here")
    except DataFileError as error:
        assert error.faults
    else:
        for key in table.pairs:
            assert set(table.pairs[key].of) <= set(table.faults)
        assert all(set(test.after) | set(test.spoils) <= set(table.tests) for test in table.tests.values())


# ---- what a pair shows


def test_a_pair_looks_sound_only_where_both_faults_let_it() -> None:
    # none 0.9; bulb leaves 0.1 of 0.9, relay 0.3 of 0.9: 0.9 · (0.1 / 0.9) · (0.3 / 0.9) = 1 / 30.
    table = lamp.fault_table(GOOD, "here")
    both = frozenset({"bulb", "relay"})
    assert table.row(table.tests["glows"], both) == pytest.approx((1 / 30, 29 / 30))
    assert table.row(table.tests["clicks"], both) == pytest.approx((0.4, 0.6))  # its own row
    assert table.row(table.tests["warm"], both) == pytest.approx((0.9, 0.1))  # neither has to do with it


ROW = st.lists(st.floats(0.01, 1), min_size=3, max_size=3).map(
    lambda parts: tuple(part / math.fsum(parts) for part in parts)
)


@given(ROW, ROW, ROW)
def test_two_faults_never_look_sounder_than_one_and_make_a_whole(
    none: tuple[float, ...], one: tuple[float, ...], other: tuple[float, ...]
) -> None:
    test = FaultTest(
        key="t",
        question="?",
        minutes=1,
        outcomes=("a", "b", "c"),
        sound="b",
        none=none,
        otherwise=none,
        given={},
    )
    both = test.together([one, other])
    assert math.fsum(both) == pytest.approx(1, abs=1e-12)
    assert both[1] <= min(none[1], one[1], other[1]) + 1e-12
    assert all(p > 0 for p in both)
    assert both == pytest.approx(test.together([other, one]))
    assert test.together([none, none]) == pytest.approx(none)


def test_two_faults_that_are_met_together_no_more_often_than_by_chance_are_no_pair() -> None:
    # By chance: 4/996 · 2/998 = 8.048e-6, so 0.00805 of 1000.
    for per_1000, taken in ((0.0080, False), (0.0081, True)):
        data = changed("faults/pairs/0/per_1000", per_1000)
        if taken:
            assert lamp.fault_table(data, "here").pairs["bulb+relay"].per_1000 == per_1000
        else:
            (fault,) = told(data)
            assert fault.startswith("faults.pairs[0].per_1000: is 0.008, and by chance the two are")


@pytest.mark.parametrize("per_1000", [1000, 1e9])
def test_not_every_vehicle_has_a_pair(per_1000: float) -> None:
    assert told(changed("faults/pairs/0/per_1000", per_1000)) == [
        f"faults.pairs[0].per_1000: is {float(per_1000)}; expected a number below 1000, of 1000 vehicles"
    ]
