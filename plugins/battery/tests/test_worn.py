"""What tells a worn battery beside the load test: its capacity from full, and a tester's estimate.

60 % of the label's Ah and 80 % and 60 % of its rating are estimates of ours (sources capacity-left,
tester-share); 100 Ah discharged with 5 A, its 20-hour current, at 25 °C should give 100 Ah.
"""

from __future__ import annotations

from typing import Any

import pytest

import corekit as ck

FULL = "current fell and stayed low"
RESTED = {"rest_time": "12 h", "temperature": "21 °C"}


def discharged(bench: Any, gave: str, *, full: bool = True) -> ck.Finding:
    bench.describe("exact", "0.1 %").fit("capacity", "100 Ah").fit("type", "flooded")
    bench.read("delivered", gave, using="exact", setup={"temperature": "25 °C"})
    if full:
        bench.see("charge_end", FULL)
    return bench.read("discharge_current", "5 A", using="exact").finding("battery.capacity_left")  # type: ignore[no-any-return]


@pytest.mark.parametrize(("gave", "called"), [("59 Ah", True), ("61 Ah", False), ("72 Ah", False)])
def test_a_battery_that_holds_less_than_three_fifths_from_full_speaks_for_a_new_one(
    bench: Any, gave: str, called: bool
) -> None:
    assert (discharged(bench, gave).calls_for == "battery.replace") is called


def test_a_capacity_of_a_battery_that_nobody_saw_full_sells_none(bench: Any) -> None:
    assert not discharged(bench, "40 Ah", full=False).calls_for


@pytest.mark.parametrize(
    ("amps", "grade"),
    # 600 A on the label; the tester is known to 10 % (half-width), 480 and 360 A part the grades
    [("560 A", "as rated"), ("480 A", ""), ("420 A", "less"), ("360 A", ""), ("300 A", "far less")],
)
def test_a_testers_estimate_is_graded_against_the_rating_and_left_open_at_an_edge(
    bench: Any, amps: str, grade: str
) -> None:
    bench.meter().describe("tester", "2 %").fit("type", "flooded").fit("acid", "1.265").fit(
        "rating", "600 A SAE"
    )
    bench.read("open_circuit_voltage", "12.65 V", using="meter", setup=RESTED)
    finding = bench.read("tester_figure", amps, using="tester").finding("battery.tester")
    assert finding.grade == grade and finding.verdict is ck.Verdict.ADVICE and not finding.calls_for
