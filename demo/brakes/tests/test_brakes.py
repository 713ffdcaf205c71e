"""Tests of the example plugin: its calculation against arithmetic done by hand, its checks by
calling them.
"""

import math

import pytest
from corekit_brakes import Pedal, alike, brakes, expected_pressure, fits, force, pressure
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck


def reading(of, number, place="", u=0.0):
    return ck.Reading(
        measurand=of,
        value=ck.Value(of.kind, number, {f"{of.key}{place}.rest": u}, frozenset({f"{of.key}{place}"})),
        typed="",
        place=place,
    )


def case(check):
    return ck.Case(system=brakes, check=check.title)


def test_a_foot_of_300_newtons_makes_the_pressure_that_paper_and_pencil_give():
    # 300 N × 4 on a bore of one inch: 1200 N / (π/4 × 0.0254² m²); definition of pressure
    assert expected_pressure.si(300.0, 4.0, 0.0254) == pytest.approx(1200 / (math.pi * 0.0254**2 / 4))


def lines(left, right):
    return [reading(pressure, left, "front left", 1e4), reading(pressure, right, "front right", 1e4)]


def judge(foot, left, right, feel=None):
    return list(
        fits(case(fits), lines(left, right), foot, ck.exact("ratio", 4.0), ck.exact("length", 0.0254), feel)
    )


def test_a_wheel_that_gets_too_little_is_named_and_only_advised_on():
    found = judge(reading(force, 300.0, u=1.0), 2.3e6, 1.0e6)
    assert [finding.place for finding in found if finding.calls_for] == ["front right"]
    assert all(finding.verdict is ck.Verdict.ADVICE for finding in found)


def test_a_pedal_that_sinks_speaks_for_the_master_cylinder_and_a_spongy_one_for_bleeding():
    assert (
        judge(reading(force, 300.0, u=1.0), 1.0e6, 1.0e6, Pedal.SINKS)[0].calls_for
        == "brakes.replace_master_cylinder"
    )
    assert judge(reading(force, 300.0, u=1.0), 1.0e6, 1.0e6, Pedal.SPONGY)[0].calls_for == "brakes.bleed"


def test_a_missing_wheel_is_named_as_a_gap():
    found = list(alike(case(alike), lines(2e6, 2e6)))
    assert [type(item).__name__ for item in found] == ["Finding", "Gap", "Gap"]


@given(st.floats(1, 3000), st.floats(1, 10), st.floats(0.01, 0.05), st.floats(1.01, 1.5))
def test_more_foot_never_makes_less_pressure(newtons, ratio, bore, more):
    assert expected_pressure.si(newtons * more, ratio, bore) > expected_pressure.si(newtons, ratio, bore)
