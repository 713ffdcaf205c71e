"""Tests of the example plugin: its calculation against arithmetic done by hand, its checks on a bench."""

import math

import pytest
from corekit_brakes import brakes, expected_pressure
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.testing import Bench, nonconformities


def test_a_foot_of_300_newtons_makes_the_pressure_that_paper_and_pencil_give():
    # 300 N × 4 on a bore of one inch: 1200 N / (π/4 × 0.0254² m²); definition of pressure
    assert expected_pressure.si(300.0, 4.0, 0.0254) == pytest.approx(1200 / (math.pi * 0.0254**2 / 4))


def bench(left, right, feel="firm"):
    made = Bench(brakes).fit("pedal_ratio", "4").fit("master_bore", "25.4 mm").see("pedal", feel)
    made.read("pedal_force", "300 N").read("line_pressure", left, place="front left")
    return made.read("line_pressure", right, place="front right")


def test_a_wheel_that_gets_too_little_is_named_and_only_advised_on():
    found = bench("24 bar", "10 bar").findings("brakes.pressure")
    assert [finding.place for finding in found if finding.calls_for] == ["front right"]
    assert all(finding.verdict is ck.Verdict.ADVICE for finding in found)


@pytest.mark.parametrize(
    ("feel", "work"),
    [("sinks slowly under steady pressure", "replace_master_cylinder"), ("spongy", "bleed")],
)
def test_a_pedal_that_sinks_speaks_for_the_master_cylinder_and_a_spongy_one_for_bleeding(feel, work):
    assert bench("10 bar", "10 bar", feel).findings("brakes.pressure")[0].calls_for == f"brakes.{work}"


def test_a_missing_wheel_is_named_as_a_gap():
    assert [gap.wants for gap in bench("20 bar", "20 bar").gaps("alike")] == ["brakes.line_pressure"] * 2


@given(st.floats(1, 3000), st.floats(1, 10), st.floats(0.01, 0.05), st.floats(1.01, 1.5))
def test_more_foot_never_makes_less_pressure(newtons, ratio, bore, more):
    assert expected_pressure.si(newtons * more, ratio, bore) > expected_pressure.si(newtons, ratio, bore)


def test_how_the_pressure_falls_under_a_steady_foot_is_told():
    made = Bench(brakes).record("pressure_held", ("0 s", "24 bar"), ("60 s", "21.5 bar"))
    assert made.finding("brakes.held").value.number == pytest.approx(-2.5e5)


def test_its_practice_car_conforms():
    others = ("declarations", "sources", "calculations", "checks", "fault table", "figures", "words")
    found = nonconformities(brakes, visits=8, without=(*others, "simulated visits"))
    assert [str(one) for _, one in found] == []
