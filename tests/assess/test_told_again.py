"""What was told and is seen again is one witness and not two; what is not seen again still speaks.

Expected values are worked out by hand from the rows below, with 0.85 for *shown again*, 0.05 for *looks sound
just then* and 0.10 for whatever the row says.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import Any

import pytest

from corekit.assess.hypotheses import Complaint, joint
from corekit.plugin.faults import OUTSIDE, FaultTable
from corekit.testing.evidence import shown
from corekit.testing.kit.simulated import moved

from .brakes import brakes


def table(retells: Mapping[str, list[str]]) -> FaultTable:
    """Two faults of which one is told four times as often as the other, and a look that repeats it."""

    def row(*p: float) -> dict[str, Any]:
        return {"p": list(p), "why": "by hand"}

    return brakes.fault_table(
        {
            "faults": {
                "often": {"per_1000": 10, "why": "x", "refer": "somebody"},
                "seldom": {"per_1000": 10, "why": "x", "refer": "somebody"},
            },
            "test": {
                "look": {
                    "seen": {"of": "brakes.pedal", "answers": ["firm", "spongy", "sinks"]},
                    "question": "How does it look?",
                    "minutes": 1,
                    "outcomes": ["well", "badly", "oddly"],
                    "sound": "well",
                    "retells": retells,
                    "none": [0.9, 0.05, 0.05],
                    "otherwise": [0.9, 0.05, 0.05],
                    "outside": [0.8, 0.1, 0.1],
                    "given": {"often": row(0.1, 0.8, 0.1), "seldom": row(0.7, 0.2, 0.1)},
                }
            },
            "symptoms": {"clicks": {"often": 0.8, "seldom": 0.2}},
        },
        "here",
    )


AGAIN = {"clicks": ["badly"]}


def test_a_fault_shows_again_what_was_told_of_it_whichever_it_is() -> None:
    tables = joint(
        {"brakes": table(AGAIN)}, Complaint(symptoms=("clicks",)), {}, {"brakes"}, ["brakes.often"]
    )
    look = tables.tests["brakes.look"].test
    for fault, expected in (
        ("brakes.often", (0.055, 0.9325, 0.0125)),
        ("brakes.seldom", (0.115, 0.8725, 0.0125)),
        (OUTSIDE, (0.125, 0.8625, 0.0125)),
    ):
        assert tables.row("brakes", look, frozenset({fault})) == pytest.approx(expected)
    assert tables.row("brakes", look, frozenset()) == pytest.approx((0.9, 0.05, 0.05))


@pytest.mark.parametrize(("retells", "factor"), [(AGAIN, 0.9325 / 0.8725), ({}, 0.8 / 0.2)])
def test_what_was_told_and_is_seen_again_is_no_second_witness(
    retells: Mapping[str, list[str]], factor: float
) -> None:
    def ratio(**made: str) -> float:
        alone = shown(brakes, table(retells), ("clicks",), **made).together
        return alone[frozenset({"often"})] / alone[frozenset({"seldom"})]

    assert ratio(look="badly") / ratio() == pytest.approx(factor)


def test_without_the_complaint_the_same_look_counts_in_full() -> None:
    def ratio(**made: str) -> float:
        alone = shown(brakes, table(AGAIN), None, **made).together
        return alone[frozenset({"often"})] / alone[frozenset({"seldom"})]

    assert ratio(look="badly") / ratio() == pytest.approx(0.8 / 0.2)


def test_a_simulated_vehicle_shows_what_its_own_moved_table_says_and_not_the_mechanic_s() -> None:
    known = table({})
    own = moved(known, random.Random(4))
    for faults in (frozenset(), frozenset({"often"}), frozenset({"seldom"})):
        row = own.row(known.tests["look"], faults)
        assert row == own.row(own.tests["look"], faults) != known.row(known.tests["look"], faults)
