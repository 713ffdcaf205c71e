"""The drain log: judged once it has settled and everything may be asleep, and not before."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import corekit as ck
from corekit.testing import Bench, assessed

VISIT = """
job = "a"
reason = "Flat after three days."
vehicle = {{ plate = "DEMO-1" }}
traits = {{ "battery.capacity" = "70 Ah", "battery.type" = "AGM" }}
[[step]]
{rows}
"""


def log(bench: Bench, *points: str, **more: Any) -> Bench:
    """Points as `minutes:milliamperes`."""
    pairs = [point.split(":") for point in points]
    return bench.record("drain_log", *((f"{at} min", f"{read} mA") for at, read in pairs), **more)


OF_THE_DRAW = ("battery.parasitic_draw", "battery.draw_settling", "battery.draw_by_log", "battery.days")


def codes(bench: Bench) -> list[str]:
    return [found.code for found in bench.findings() if found.code in OF_THE_DRAW]


def test_a_log_that_settled_high_after_half_an_hour_is_judged_and_says_when_it_settled(bench: Bench) -> None:
    log(bench, "0:3000", "10:900", "20:180", "30:181", "40:179").fit("capacity", "70 Ah").fit("type", "AGM")
    found = bench.finding("battery.parasitic_draw")
    assert found.verdict is ck.Verdict.ADVICE and found.calls_for == "battery.trace_draw"
    # the mean of 180, 181 and 179 mA; between the samples at 10 and 20 minutes
    assert found.value is not None and found.value.number == pytest.approx(0.180)
    assert "settled at 180 mA 15 min after it was locked" in str(found)
    assert "recent vehicles may take as long" in str(found)
    assert "settled 15 min after" in str(found.customer_text)
    # As for a reading of 180 mA: (1.0 - 0.5) · 70 Ah / (24 h · 0.18 A + 0.02 / 30 · 70 Ah) = 8.01 d
    days = bench.finding("battery.days")
    assert days.value is not None and days.value.number / 86400 == pytest.approx(8.01, abs=0.02)


def test_a_log_that_settled_within_the_limit_passes_however_short(bench: Bench) -> None:
    found = log(bench, "0:3000", "2:20", "12:20").finding("battery.parasitic_draw")
    assert (found.urgency, found.calls_for) == (ck.Urgency.NOTHING, "")


@pytest.mark.parametrize(("end", "judged"), [("29", False), ("30", True)])
def test_a_log_above_the_limit_is_judged_from_half_an_hour_on(bench: Bench, end: str, judged: bool) -> None:
    log(bench, "0:3000", "10:180", f"{end}:180")
    assert ("battery.parasitic_draw" in codes(bench)) is judged
    assert ("battery.draw_settling" in codes(bench)) is not judged


@pytest.mark.parametrize(("since", "settled"), [("30", True), ("30.1", False)])
def test_it_has_settled_after_ten_minutes_of_staying_the_same(
    bench: Bench, since: str, settled: bool
) -> None:
    log(bench, "0:3000", f"{since}:180", "40:180")
    assert ("battery.parasitic_draw" in codes(bench)) is settled


@pytest.mark.parametrize(("last", "settled"), [("200", True), ("201", False)])
def test_it_stays_the_same_within_ten_milliamperes_to_both_sides(
    bench: Bench, last: str, settled: bool
) -> None:
    log(bench, "0:3000", "20:180", "40:180", f"41:{last}")
    assert ("battery.parasitic_draw" in codes(bench)) is settled


@pytest.mark.parametrize("state", ["a latch open", "key within 5 m", "diagnostic plug in"])
def test_what_was_kept_awake_is_not_judged(bench: Bench, state: str) -> None:
    found = (
        log(bench, "0:3000", "20:180", "40:180").see("parked_state", state).finding("battery.draw_settling")
    )
    assert found.verdict is ck.Verdict.UNDECIDED and found.calls_for == ""
    assert found.next_test == "battery.parasitic_draw"


def test_a_log_that_was_steady_from_its_first_sample_tells_no_time_to_sleep(bench: Bench) -> None:
    found = log(bench, "30:20", "45:20").finding("battery.parasitic_draw")
    assert "after it was locked" not in str(found) and "after it was" not in str(found.customer_text)


def test_a_settled_log_counts_in_place_of_a_reading_and_says_so_where_they_differ(bench: Bench) -> None:
    log(bench, "0:3000", "20:20", "40:20").read("parasitic_draw", "900 mA", setup={"sleep_time": "3 min"})
    assert bench.finding("battery.parasitic_draw").urgency is ck.Urgency.NOTHING
    assert "900 mA" in str(bench.finding("battery.draw_by_log"))


def test_a_reading_counts_while_the_log_has_not_settled(bench: Bench) -> None:
    log(bench, "0:3000", "20:2000").read("parasitic_draw", "180 mA", setup={"sleep_time": "40 min"})
    found = bench.finding("battery.parasitic_draw")
    assert found.calls_for == "battery.trace_draw" and found.value is not None
    assert found.value.number == pytest.approx(0.18)


def test_without_a_log_nothing_is_said_of_one(bench: Bench) -> None:
    bench.read("parasitic_draw", "20 mA", setup={"sleep_time": "40 min"})
    assert not [gap for gap in bench.gaps() if gap.wants == "battery.drain_log"]
    assert [gap.wants for gap in Bench(bench.system).gaps("key_off")] == ["battery.parasitic_draw"]


def test_nothing_is_concluded_at_a_battery_that_bars_every_test(bench: Bench) -> None:
    log(bench, "0:3000", "20:180", "40:180").see("heat", "hot")
    assert codes(bench) == []


def test_the_fault_table_reads_the_draw_of_a_log_as_that_of_a_reading(bench: Bench) -> None:
    (made,) = [
        one for one in log(bench, "0:3000", "20:180", "40:180").shown().outcomes if one.test.key == "drain"
    ]
    # 180 mA lies above 100 mA, far beyond the uncertainty of 3 % + 10 mA
    assert made.weights[made.test.outcomes.index("over 100 mA")] > 0.95


def test_a_log_after_the_work_shows_that_it_worked(tmp_path: Path) -> None:
    rows = """
    records = [ {{ of = "battery.drain_log", points = ["0 min: 3 A", "20 min: 180 mA", "40 min: 180 mA"] }} ]
    [[step]]
    repaired = {{ operation = "battery.trace_draw" }}
    [[step]]
    [[step.records]]
    of = "battery.drain_log"
    points = ["0 min: 3 A", "15 min: {after}", "40 min: {after}"]
    """
    shown = {
        after: assessed(VISIT.format(rows=rows.format(after=after))).repairs[0].proof.name
        for after in ("18 mA", "180 mA")
    }
    assert shown["18 mA"] == "SHOWN" and shown["180 mA"] != "SHOWN"
