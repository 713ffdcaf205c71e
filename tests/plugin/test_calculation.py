"""Calculations called with values, readings and quantities of pint."""

from __future__ import annotations

import math
from typing import Annotated, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

import corekit as ck
from corekit import units
from corekit.model.measurand import Measurand
from corekit.plugin.reading import Reading

horn = ck.System("horn", "Horn")
voltage = horn.measurand(
    "voltage", "mV", "Voltage", possible=(0, 30000), usual=(9000, 15000), accuracy="0.1 V"
)


@horn.calculation(source="ohm")
def resistance(
    volts: Annotated[float, ck.Input("V", "Voltage across it", 0, 60)],
    amperes: Annotated[float, ck.Input("A", "Current through it", above=0, below=100)],
) -> Annotated[float, ck.Output("Ω", "Resistance")]:
    """Resistance of what carries a current.

    More words.
    """
    return volts / amperes


@horn.calculation(source="s")
def above_freezing(
    temperature: Annotated[float, ck.Input("K", "Temperature of the air", 223.15, 373.15)],
) -> Annotated[float, ck.Output("K diff", "Degrees above freezing")]:
    return temperature - 273.15


V = ck.Value("voltage", 12.0, {"meter.gain": 0.06}, frozenset({"r1"}))
A = ck.Value("current", 3.0, {"clamp.gain": 0.03}, frozenset({"r2"}))


def read(of: Measurand, value: ck.Value) -> Reading:
    return Reading(measurand=of, value=value, typed="")


def quantity(number: float, unit: str) -> Any:
    return units.registry().Quantity(number, unit)


def test_it_takes_values_in_order_and_by_name() -> None:
    for result in (resistance(V, A), resistance(V, amperes=A), resistance(amperes=A, volts=V)):
        assert (result.kind, result.number) == ("resistance", 4.0)
        assert result.u == pytest.approx((ufloat(12, 0.06) / ufloat(3, 0.03)).std_dev, rel=1e-4)
        assert result.rests_on == {"r1", "r2"}


def test_it_takes_a_reading_with_its_uncertainty_and_evidence() -> None:
    assert resistance(read(voltage, V), A) == resistance(V, A)


def test_it_takes_quantities_of_pint_in_any_unit() -> None:
    result = resistance(quantity(12000, "millivolt"), quantity(3, "ampere"))
    assert (result.number, result.u, result.kind) == (4.0, 0.0, "resistance")
    assert resistance(V, quantity(3000, "milliampere")).number == pytest.approx(4.0)
    assert above_freezing(quantity(25, "degree_Celsius")).number == pytest.approx(25.0)


@given(st.floats(0, 60), st.floats(0.1, 99))
def test_the_bare_function_gives_the_same_number(volts: float, amperes: float) -> None:
    assert (
        resistance.si(volts, amperes)
        == resistance(ck.exact("voltage", volts), ck.exact("current", amperes)).number
        == volts / amperes
    )


def test_its_title_is_the_whole_first_paragraph_on_however_many_lines_it_stands() -> None:
    @horn.calculation(source="ohm")
    def reach(
        volts: Annotated[float, ck.Input("V", "Voltage across it", 0, 60)],
    ) -> Annotated[float, ck.Output("m", "Distance")]:
        """How far a horn is heard: the square root of
        its voltage.

        More words.
        """
        return math.sqrt(volts)

    assert reach.title == "How far a horn is heard: the square root of its voltage."


def test_the_declaration_can_be_read_off_it() -> None:
    assert (resistance.key, resistance.title, resistance.source) == (
        "horn.resistance",
        "Resistance of what carries a current.",
        "ohm",
    )
    assert (resistance.output.unit, resistance.output.label, resistance.output.kind) == (
        "Ω",
        "Resistance",
        "resistance",
    )
    assert [
        (name, one.unit, one.label, one.kind, one.range_words(str)) for name, one in resistance.inputs.items()
    ] == [
        ("volts", "V", "Voltage across it", "voltage", "at least 0 and at most 60"),
        ("amperes", "A", "Current through it", "current", "above 0 and below 100"),
    ]


@pytest.mark.parametrize(
    ("args", "named", "error", "words"),
    [
        ((A, A), {}, ValueError, ["volts must be a voltage in V", "got a current"]),
        ((V,), {}, TypeError, ["needs amperes in A"]),
        ((), {"amperes": A}, TypeError, ["needs volts in V"]),
        ((V, A, A), {}, TypeError, ["takes volts, amperes", "3 in order"]),
        ((V, A), {"ohms": A}, TypeError, ["takes volts, amperes", "ohms"]),
        ((12.0, A), {}, TypeError, ["volts", "12.0", ".si"]),
        (("12 V", A), {}, TypeError, ["volts", "'12 V'", ".si"]),
        (
            (ck.exact("voltage", 61.0), A),
            {},
            ValueError,
            ["volts must be at least 0 and at most 60 V", "got 61 V"],
        ),
        (
            (V, ck.exact("current", 0.0)),
            {},
            ValueError,
            ["amperes must be above 0 and below 100 A", "got 0 A"],
        ),
        ((V, ck.exact("current", 100.0)), {}, ValueError, ["got 100 A"]),
        ((quantity(3, "ampere"), A), {}, ValueError, ["cannot be taken for a voltage in V"]),
    ],
    ids=[
        "kind",
        "missing",
        "missing first",
        "surplus",
        "unknown name",
        "bare number",
        "text",
        "above",
        "at an open end",
        "at the other open end",
        "pint of another kind",
    ],
)
def test_what_does_not_fit_is_refused_with_its_name_and_unit(
    args: tuple[Any, ...], named: dict[str, Any], error: type[Exception], words: list[str]
) -> None:
    with pytest.raises(error) as refusal:
        resistance(*args, **named)
    assert [word for word in words if word not in str(refusal.value)] == []


def test_a_name_given_in_order_and_again_is_refused() -> None:
    with pytest.raises(TypeError, match="volts"):
        resistance(V, A, volts=V)


def test_uncertainty_that_reaches_outside_the_range_uses_the_inner_side() -> None:
    # 100 A is the end, so from 90 A a step of 20 A is taken downwards only: 12/70 − 12/90 Ω; a step to both
    # sides would give 0.0312 Ω.
    assert resistance(V, ck.Value("current", 90.0, {"r": 20.0})).budget["r"] == pytest.approx(
        12 / 90 - 12 / 70
    )


def test_ends_without_above_and_below_belong_to_the_range() -> None:
    within = ck.Input("Pa", "Pressure", 0, 1500)
    assert [bool(within.fault(number)) for number in (-0.001, 0, 1500, 1500.001)] == [
        True,
        False,
        False,
        True,
    ]
    outside = ck.Input("Pa", "Pressure", above=0, below=1500)
    assert [bool(outside.fault(number)) for number in (0, 0.001, 1499.999, 1500)] == [
        True,
        False,
        False,
        True,
    ]
    assert ck.Input("Pa", "Pressure").fault(math.inf) == ""
