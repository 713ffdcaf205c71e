"""Named thresholds of the ignition's checks, just inside and just outside."""

from __future__ import annotations

from typing import Any

import pytest

import corekit as ck


def read_each(bench: Any, of: str, typed: list[str], **how: Any) -> Any:
    for number, text in enumerate(typed, 1):
        bench.read(of, text, place=f"cylinder {number}", **how)
    return bench


# ---- firing voltages: the highest is held against the mean of the others, 1.2 times of it at most
# (source: firing-apart)


def firing(bench: Any, *kilovolts: float) -> ck.Finding:
    bench.describe("clip", "0.1 %")
    read_each(bench, "firing_voltage", [f"{volts} kV" for volts in kilovolts], using="clip")
    found: ck.Finding = bench.finding("ignition.firing_apart")
    return found


@pytest.mark.parametrize("high", [12.5, 12.8])
def test_a_firing_voltage_that_would_pass_only_when_diluted_by_itself_stands_out(
    four: Any, high: float
) -> None:
    diluted = high / ((10 + 10 + 10 + high) / 4)
    assert diluted < 1.2 < high / 10, "the figures are chosen so"
    found = firing(four, 10, 10, high, 10)
    assert found.value is not None and found.value.number == pytest.approx(high / 10)
    assert found.probability is not None and found.probability < 0.05


def test_of_three_cylinders_the_highest_is_held_against_the_other_two(four: Any) -> None:
    found = firing(four, 10, 11, 13.5)  # 13.5 / 10.5; with itself 13.5 / 11.5 = 1.17
    assert found.value is not None and found.value.number == pytest.approx(13.5 / 10.5)
    assert found.probability is not None and found.probability < 0.05


@pytest.mark.parametrize(("high", "alike"), [(11.8, True), (12.2, False)])
def test_firing_voltages_lie_apart_from_a_fifth_above_the_mean_of_the_others(
    four: Any, high: float, alike: bool
) -> None:
    found = firing(four, 10, 10, 10, high)
    assert found.probability is not None
    assert (found.probability > 0.95, found.probability < 0.05) == (alike, not alike)
