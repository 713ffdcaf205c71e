"""What a booster at the starter, a battery on loan and a hand at the crank pulley lead to."""

from __future__ import annotations

from typing import Any

import pytest
from corekit_battery import battery

import corekit as ck
from corekit.testing import shown

WEAK = {"told": "flat soon after a full charge", "cranks": "slowly", "age": "over 5 years"}


@pytest.mark.parametrize(
    ("key", "answer", "says", "tells"),
    [
        ("engine_by_hand", "turns as usual", "not what holds the starter", "turns freely"),
        ("engine_by_hand", "hard to turn", "Do not crank on", "do not try to start it"),
        ("engine_by_hand", "does not turn", "engine workshop", "do not try to start it"),
        ("booster", "cranks well", "what it passes by", "cranks well"),
        ("booster", "cranks better", "clips may hold it back", "not well"),
        ("booster", "as before", "Read the control terminal", "makes no difference"),
        ("loan", "made no difference", "is not the cause", "is not the cause"),
        ("loan", "gone with it, back with the old one", "goes with the battery", "came back"),
        ("loan", "gone, and not back with the old one", "tightened", "stayed away"),
    ],
)
def test_each_answer_is_told_in_both_voices_and_only_advises(
    bench: Any, key: str, answer: str, says: str, tells: str
) -> None:
    finding = bench.see(key, answer).finding(f"battery.{key}")
    assert says in str(finding.text) and tells in str(finding.for_customer)
    assert finding.verdict is ck.Verdict.ADVICE and finding.evidence == (f"seen-{key}",)


@pytest.mark.parametrize(
    ("answer", "urgency"),
    [
        ("turns as usual", ck.Urgency.NOTHING),
        ("hard to turn", ck.Urgency.BEFORE_DRIVING),
        ("does not turn", ck.Urgency.BEFORE_DRIVING),
    ],
)
def test_an_engine_that_is_hard_to_turn_is_not_cranked_on(
    bench: Any, answer: str, urgency: ck.Urgency
) -> None:
    assert bench.see("engine_by_hand", answer).finding("battery.engine_by_hand").urgency is urgency


@pytest.mark.parametrize(
    ("answer", "work"),
    [
        ("made no difference", ""),
        ("gone with it, back with the old one", "battery.replace"),
        ("gone, and not back with the old one", ""),  # the charge, or the clamps: it parts them not
    ],
)
def test_only_a_complaint_that_comes_back_with_the_old_battery_speaks_for_a_new_one(
    bench: Any, answer: str, work: str
) -> None:
    assert bench.see("loan", answer).finding("battery.loan").calls_for == work


@pytest.mark.parametrize(
    ("result", "is_called"), [("gone and back", True), ("no difference", False), ("gone for good", False)]
)
def test_a_battery_worn_by_every_sign_is_called_for_once_a_loan_has_shown_it(
    result: str, is_called: bool
) -> None:
    found = shown(battery, None, ("cranks_slowly",), **WEAK, cell_spread="alike", loan=result)
    assert found.calls_for("replace") is is_called


def test_a_loan_parts_battery_from_starter_and_a_booster_the_supply_from_the_starter() -> None:
    before = shown(battery, None, ("cranks_slowly",), told="none of these", cranks="slowly").chances
    for result, likelier, rarer in (
        ({"loan": "no difference"}, "starter", "worn_out"),
        ({"booster": "as before"}, "starter", "cable"),
        ({"booster": "well"}, "cable", "starter"),
    ):
        after = shown(
            battery, None, ("cranks_slowly",), told="none of these", cranks="slowly", **result
        ).chances
        assert after[likelier] / after[rarer] > 5 * before[likelier] / before[rarer]


@pytest.mark.parametrize(("result", "gone"), [("turns", "stiff"), ("does not turn", "starter")])
def test_a_hand_at_the_pulley_parts_a_stiff_engine_from_its_starter(result: str, gone: str) -> None:
    made = {"told": "none of these", "cranks": "slowly", "stud": "full voltage, still or dragging"}
    before = shown(battery, None, ("cranks_slowly",), **made).chances
    after = shown(battery, None, ("cranks_slowly",), **made, by_hand=result).chances
    other = {"stiff": "starter", "starter": "stiff"}[gone]
    assert after[gone] < 0.3 * before[gone] and after[other] > before[other]


def test_a_charge_that_did_not_take_reads_as_before() -> None:
    told = {"told": "stood or short trips"}
    low, full = (
        shown(battery, None, ("stop_start_gone",), **told, charged_voltage=read).chances["undercharged"]
        for read in ("low", "charged")
    )
    assert low / (1 - low) > 10 * full / (1 - full)
