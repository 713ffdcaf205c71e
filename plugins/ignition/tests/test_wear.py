"""How far the plugs have run, what their gaps say beside it, and what comes and goes with a misfire."""

from __future__ import annotations

import json
from typing import Any

import pytest
from corekit_ignition import ignition

import corekit as ck
from corekit.testing import assessed

NICKEL, NOBLE = "nickel", "platinum or iridium"


@pytest.mark.parametrize(
    ("made", "run", "grade"),
    [
        # nickel lasts 30,000 to 60,000 km, noble metal 90,000 to 150,000 km; a distance is told within 5 %
        (NICKEL, "20000 km", "within"),
        (NICKEL, "45000 km", "near"),
        (NICKEL, "80000 km", "past"),
        (NOBLE, "80000 km", "within"),
        (NOBLE, "120000 km", "near"),
        (NOBLE, "190000 km", "past"),
        ("", "20000 km", "within"),
        ("", "80000 km", "near"),
        ("", "190000 km", "past"),
    ],
)
def test_a_distance_is_held_against_what_plugs_of_their_metal_last(
    four: Any, made: str, run: str, grade: str
) -> None:
    if made:
        four.fit("electrodes", made)
    found = four.read("plug_distance", run).finding("ignition.plug_distance")
    assert (found.verdict, found.grade, found.calls_for) == (ck.Verdict.ADVICE, grade, "")


def test_this_engines_own_interval_comes_before_what_is_usual(four: Any) -> None:
    four.fit("electrodes", NOBLE).specify("plug_distance", high="60000 km")
    found = four.read("plug_distance", "80000 km").finding("ignition.plug_distance")
    assert found.grade == "past" and "this engine's interval" in str(found.text)


@pytest.mark.parametrize(
    ("gap", "faster"),
    # nickel after 40,000 km: 0.16 mm in 10,000 km on 0.9 mm is 1.54 mm; 0.2 mm more are allowed for
    [("1.35 mm", False), ("1.70 mm", False), ("1.80 mm", True)],
)
def test_a_gap_that_wore_faster_than_its_distance_explains_asks_for_the_reason(
    four: Any, gap: str, faster: bool
) -> None:
    four.fit("electrodes", NICKEL).specify("plug_gap", low="0.8 mm", high="0.9 mm")
    four.read("plug_gap", gap, place="cylinder 2").read("plug_distance", "40000 km")
    found = four.finding("ignition.gap_wear")
    assert ("more than" in str(found.text)) is faster
    assert "1.30 to 1.54 mm" in str(found.text)
    assert (found.urgency is ck.Urgency.THIS_VISIT) is faster and not found.calls_for


def test_plugs_of_noble_metal_wear_a_fifth_of_that_at_most(four: Any) -> None:
    four.fit("electrodes", NOBLE).specify("plug_gap", low="0.8 mm", high="0.9 mm")
    four.read("plug_gap", "1.35 mm", place="cylinder 2").read("plug_distance", "40000 km")
    assert "0.94 to 1.03 mm" in str(four.finding("ignition.gap_wear").text)


def _held(*steps: dict[str, Any], shows: str) -> dict[str, float]:
    data = {
        "job": "a",
        "reason": "as told",
        "vehicle": {"description": "a car", "no_vin": "not told"},
        "complaint": {"symptoms": ["misses_under_load"], "shows": shows},
        "traits": {"ignition.kind": "coil on plug", "ignition.cylinders": "4"},
        "step": list(steps),
    }
    return {one.fault: one.probability for one in assessed(json.dumps(data)).suspects}


WORN = {
    "seen": [{"of": "ignition.plug_face", "place": "cylinder 1", "is": "worn, rounded electrodes"}],
}


def _times(step: dict[str, Any], shows: str) -> float:
    """How many times a step makes worn plugs likelier beside a bad coil."""
    before, after = _held(shows=shows), _held(step, shows=shows)
    return (after["worn_plugs"] / after["bad_coil"]) / (before["worn_plugs"] / before["bad_coil"])


def test_a_worn_plug_says_as_much_where_the_misfire_shows_now_and_then() -> None:
    # what an eye sees on the bench is there while the engine runs well
    assert _times(WORN, "now and then") == pytest.approx(_times(WORN, "always"), rel=0.1)


def test_a_spark_that_is_good_now_says_less_where_the_misfire_shows_now_and_then() -> None:
    good = {"seen": [{"of": "ignition.spark", "place": "cylinder 1", "is": "every time"}]}
    assert _held(good, shows="now and then")["bad_coil"] > _held(good, shows="always")["bad_coil"]


def test_what_is_worn_marked_or_stored_does_not_come_and_go_and_what_runs_does() -> None:
    assert ignition.faults is not None
    lasting = {key for key, test in ignition.faults.tests.items() if test.lasting}
    assert {"plug_face", "plug_gap", "plug_distance", "wells", "misfire_code", "compression"} <= lasting
    assert not lasting & {"where", "where_seen", "spark", "switching", "rpm", "coil_swap", "feed", "pressure"}
