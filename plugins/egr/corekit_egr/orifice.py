"""Flow by the pressure across an orifice: the full equation, the root law, what carbon leaves of it, and the
check of relative flow.

The full equation holds for plates of 12.5 mm and more in pipes of 50 mm and more (source: orifice-limits). An
EGR orifice is smaller: of its flow we only say how much there is of what there should be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Annotated

import corekit as ck

from .declarations import egr, pressure_open

RESOLVED = 1000.0  # Pa: below this the zero of a sensor outweighs the flow; source: sensor-rails
REVERSED = -200.0  # Pa; source: sensor-rails

# The gas constant below is in J/(kg K) and the viscosity in Pa s, both taken as numbers: the table of kinds
# has neither. A tap is given by its distance from the plate in pipe diameters: corner 0 and 0, D and D/2 1
# and 0.47.


@egr.calculation(source="discharge-coefficient")
def discharge_coefficient(
    pipe: Annotated[float, ck.Input("m", "Inner diameter of the pipe", above=0)],
    bore: Annotated[float, ck.Input("m", "Bore of the orifice", above=0)],
    reynolds: Annotated[float, ck.Input("1", "Reynolds number of the pipe", above=0)],
    upstream_tap: Annotated[float, ck.Input("1", "Upstream tapping distance over pipe diameter", 0, 1)],
    downstream_tap: Annotated[float, ck.Input("1", "Downstream tapping distance over pipe diameter", 0, 1)],
) -> Annotated[float, ck.Output("1", "Discharge coefficient")]:
    """Discharge coefficient of an orifice plate (Reader-Harris and Gallagher).

    Below a Reynolds number of 3700 two further terms of the library it was read in are used; the standard has
    none there.

    >>> round(discharge_coefficient.si(0.07391, 0.0222, 111742.0, 0.34366, 0.34366), 6)
    0.599033

    Raises:
        ValueError: the bore is no smaller than the pipe.
    """
    b = _bore_over_pipe(bore, pipe)
    a = (19000 * b / reynolds) ** 0.8
    m2 = 2 * downstream_tap / (1 - b)
    low = reynolds < 3700
    steep = max((1e6 / reynolds) ** 0.3, 22.7 - 0.0047 * reynolds) if low else (1e6 / reynolds) ** 0.3
    behind = (m2 - 0.8 * m2**1.1) * (1 + 8 * math.log10(3700 / reynolds) if low else 1.0)
    before = (
        (0.043 + 0.080 * math.exp(-10 * upstream_tap) - 0.123 * math.exp(-7 * upstream_tap))
        * (1 - 0.11 * a)
        * b**4
        / (1 - b**4)
    )
    small = 0.011 * (0.75 - b) * (2.8 - pipe / 0.0254) if pipe < 0.07112 else 0.0
    plain = (
        0.5961
        + 0.0261 * b**2
        - 0.216 * b**8
        + 0.000521 * (1e6 * b / reynolds) ** 0.7
        + (0.0188 + 0.0063 * a) * b**3.5 * steep
    )
    return float(plain + before - 0.031 * behind * b**1.3 + small)


@egr.calculation(source="expansibility")
def expansibility(
    pipe: Annotated[float, ck.Input("m", "Inner diameter of the pipe", above=0)],
    bore: Annotated[float, ck.Input("m", "Bore of the orifice", above=0)],
    upstream: Annotated[float, ck.Input("Pa abs", "Pressure before the orifice", above=0)],
    downstream: Annotated[float, ck.Input("Pa abs", "Pressure behind the orifice", above=0)],
    kappa: Annotated[float, ck.Input("1", "Isentropic exponent of the gas", 1.05, 1.7)],
) -> Annotated[float, ck.Output("1", "Expansibility factor")]:
    """What the gas's own expansion in the orifice leaves of the flow; for a downstream pressure of 0.80 of
    the upstream one or more.

    >>> round(expansibility.si(0.0739, 0.0222, 1e5, 9.9e4, 1.4), 7)
    0.9974739

    Raises:
        ValueError: the pressure falls by more than a fifth.
    """
    if not 0.8 <= downstream / upstream <= 1:
        raise ValueError("The pressure behind the orifice must be 0.80 to 1 of that before it.")
    b = bore / pipe
    return float(1 - (0.351 + 0.256 * b**4 + 0.93 * b**8) * (1 - (downstream / upstream) ** (1 / kappa)))


@egr.calculation(source="orifice-flow")
def orifice_flow(
    pipe: Annotated[float, ck.Input("m", "Inner diameter of the pipe", above=0)],
    bore: Annotated[float, ck.Input("m", "Bore of the orifice", above=0)],
    upstream: Annotated[float, ck.Input("Pa abs", "Pressure before the orifice", above=0)],
    across: Annotated[float, ck.Input("Pa diff", "Pressure across the orifice", 0)],
    temperature: Annotated[float, ck.Input("K", "Gas temperature before the orifice", 233.15, 1273.15)],
    gas: Annotated[float, ck.Input("1", "Specific gas constant", 200, 500)],
    viscosity: Annotated[float, ck.Input("1", "Dynamic viscosity of the gas", 1e-6, 1e-4)],
    kappa: Annotated[float, ck.Input("1", "Isentropic exponent of the gas", 1.05, 1.7)],
    upstream_tap: Annotated[float, ck.Input("1", "Upstream tapping distance over pipe diameter", 0, 1)],
    downstream_tap: Annotated[float, ck.Input("1", "Downstream tapping distance over pipe diameter", 0, 1)],
) -> Annotated[float, ck.Output("kg/s", "Mass flow")]:
    """Mass flow through an orifice plate by the pressure across it.

    `gas` in J/(kg K), `viscosity` in Pa s. The Reynolds number, on which the coefficient depends a little, is
    found by repetition.

    >>> flow = orifice_flow.si(0.016, 0.008, 103000.0, 5000.0, 573.15, 287.0, 2.98e-5, 1.34, 0.0, 0.0)
    >>> round(flow * 1000, 4)
    2.5489

    Raises:
        ValueError: the bore is no smaller than the pipe, or the pressure falls by more than a fifth.
    """
    if across == 0.0:
        return 0.0
    b = _bore_over_pipe(bore, pipe)
    density = upstream / (gas * temperature)
    ideal = (
        expansibility.si(pipe, bore, upstream, upstream - across, kappa)
        * math.pi
        / 4
        * bore**2
        * math.sqrt(2 * across * density)
        / math.sqrt(1 - b**4)
    )
    flow = 0.6 * ideal
    for _ in range(60):
        reynolds = 4 * flow / (math.pi * pipe * viscosity)
        again = discharge_coefficient.si(pipe, bore, reynolds, upstream_tap, downstream_tap) * ideal
        if abs(again - flow) <= 1e-13 * again:
            break
        flow = again
    return again


@egr.calculation(source="orifice-flow")
def pressure_for_flow(
    pipe: Annotated[float, ck.Input("m", "Inner diameter of the pipe", above=0)],
    bore: Annotated[float, ck.Input("m", "Bore of the orifice", above=0)],
    upstream: Annotated[float, ck.Input("Pa abs", "Pressure before the orifice", above=0)],
    flow: Annotated[float, ck.Input("kg/s", "Mass flow", above=0)],
    temperature: Annotated[float, ck.Input("K", "Gas temperature before the orifice", 233.15, 1273.15)],
    gas: Annotated[float, ck.Input("1", "Specific gas constant", 200, 500)],
    viscosity: Annotated[float, ck.Input("1", "Dynamic viscosity of the gas", 1e-6, 1e-4)],
    kappa: Annotated[float, ck.Input("1", "Isentropic exponent of the gas", 1.05, 1.7)],
    upstream_tap: Annotated[float, ck.Input("1", "Upstream tapping distance over pipe diameter", 0, 1)],
    downstream_tap: Annotated[float, ck.Input("1", "Downstream tapping distance over pipe diameter", 0, 1)],
) -> Annotated[float, ck.Output("Pa diff", "Pressure across the orifice")]:
    """Pressure across an orifice plate that lets this flow through.

    >>> round(pressure_for_flow.si(0.016, 0.008, 103000.0, 2e-3, 573.15, 287.0, 2.98e-5, 1.34, 0.0, 0.0), 0)
    3011.0

    Raises:
        ValueError: the bore is no smaller than the pipe, or no fall of up to a fifth of the pressure is
            enough.
    """
    return _zero_of(
        lambda across: (
            orifice_flow.si(
                pipe, bore, upstream, across, temperature, gas, viscosity, kappa, upstream_tap, downstream_tap
            )
            - flow
        ),
        1e-6 * upstream,
        0.1999 * upstream,
    )


@egr.calculation(source="orifice-flow")
def bore_for_flow(
    pipe: Annotated[float, ck.Input("m", "Inner diameter of the pipe", above=0)],
    upstream: Annotated[float, ck.Input("Pa abs", "Pressure before the orifice", above=0)],
    across: Annotated[float, ck.Input("Pa diff", "Pressure across the orifice", above=0)],
    flow: Annotated[float, ck.Input("kg/s", "Mass flow", above=0)],
    temperature: Annotated[float, ck.Input("K", "Gas temperature before the orifice", 233.15, 1273.15)],
    gas: Annotated[float, ck.Input("1", "Specific gas constant", 200, 500)],
    viscosity: Annotated[float, ck.Input("1", "Dynamic viscosity of the gas", 1e-6, 1e-4)],
    kappa: Annotated[float, ck.Input("1", "Isentropic exponent of the gas", 1.05, 1.7)],
    upstream_tap: Annotated[float, ck.Input("1", "Upstream tapping distance over pipe diameter", 0, 1)],
    downstream_tap: Annotated[float, ck.Input("1", "Downstream tapping distance over pipe diameter", 0, 1)],
) -> Annotated[float, ck.Output("m", "Bore of the orifice")]:
    """Bore of the orifice that lets this flow through at this pressure.

    >>> bore = bore_for_flow.si(0.016, 103000.0, 5000.0, 2.5e-3, 573.15, 287.0, 2.98e-5, 1.34, 0.0, 0.0)
    >>> round(bore * 1000, 3)
    7.928

    Raises:
        ValueError: no bore between a tenth and three quarters of the pipe does.
    """
    return _zero_of(
        lambda bore: (
            orifice_flow.si(
                pipe, bore, upstream, across, temperature, gas, viscosity, kappa, upstream_tap, downstream_tap
            )
            - flow
        ),
        0.1 * pipe,
        0.75 * pipe,
    )


def _bore_over_pipe(bore: float, pipe: float) -> float:
    if bore >= pipe:
        raise ValueError(
            f"The bore of an orifice is smaller than its pipe; got {bore * 1000:g} mm in a pipe of"
            f" {pipe * 1000:g} mm. Look whether the two were exchanged."
        )
    return bore / pipe


def _zero_of(of: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function passes zero, by halving."""
    if of(low) > 0 or of(high) < 0:
        raise ValueError("There is no answer in the range of the equation.")
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if of(middle) < 0 else (low, middle)
    return (low + high) / 2


@egr.calculation(source="orifice-flow")
def flow_ratio(
    across: Annotated[float, ck.Input("Pa diff", "Pressure across the orifice", 0)],
    reference: Annotated[float, ck.Input("Pa diff", "Pressure across it at the reference flow", above=0)],
) -> Annotated[float, ck.Output("1", "Flow over the reference flow")]:
    """Relative flow: the root of the ratio of two pressures across one orifice.

    Against the full equation it is a few per cent too steep.

    >>> flow_ratio.si(8000.0, 2000.0)
    2.0
    """
    return math.sqrt(across / reference)


@egr.calculation(source="orifice-flow")
def flow_error(
    across: Annotated[float, ck.Input("Pa diff", "Pressure across the orifice", above=0)],
    zero: Annotated[float, ck.Input("Pa diff", "Pressure by which the sensor's zero is off")],
) -> Annotated[float, ck.Output("1", "Flow that is read too much, as a share")]:
    """How much too much flow a sensor tells whose zero is off by this pressure; below zero it tells too
    little, and −1 is none at all. Where little flows a small error of the zero is a large one of the flow.

    >>> round(flow_error.si(2000.0, 2000.0), 4)
    0.4142
    >>> round(flow_error.si(20000.0, 2000.0), 4)
    0.0488
    """
    return math.sqrt(max(0.0, across + zero) / across) - 1.0


@egr.calculation(source="restriction-exponents")
def flow_left(
    diameter: Annotated[float, ck.Input("1", "Share of the diameter left open", 0, 1)],
    exponent: Annotated[float, ck.Input("1", "Exponent, 2 for an orifice, 2.5 for a pipe", 2, 4)],
) -> Annotated[float, ck.Output("1", "Share of the flow left")]:
    """What is left of the flow when carbon leaves this share of the diameter: exponent 2 for an orifice, 2.5
    for a pipe, 4 where it creeps.

    >>> flow_left.si(0.75, 2.0)
    0.5625
    """
    return float(diameter**exponent)


@egr.calculation(source="restriction-series")
def flow_left_in_series(
    area_ratio: Annotated[float, ck.Input("1", "Clean passage area over orifice area", above=0)],
    diameter: Annotated[float, ck.Input("1", "Share of the passage diameter left open", above=0, high=1)],
) -> Annotated[float, ck.Output("1", "Share of the flow left")]:
    """What is left of the flow through a passage and the metering orifice when the passage keeps only a share
    of its clean diameter.

    >>> round(flow_left_in_series.si(4.0, 0.5), 3)
    0.729
    """
    return math.sqrt((1 + 1 / area_ratio**2) / (1 + 1 / (area_ratio * diameter**2) ** 2))


@egr.check("Relative flow at the metering orifice")
def relative_flow(
    case: ck.Case, across: Annotated[ck.Reading, pressure_open]
) -> Iterator[ck.Finding | ck.Gap]:
    """Against this vehicle's own figure only; in grams per second nothing is said."""
    if across.number < REVERSED:
        yield case.inconclusive(
            ck.Claim("egr.relative_flow", next_test=pressure_open),
            (
                "Across the metering orifice it reads {value}, below zero: the two hoses are swapped,"
                " or the zero has drifted. Zero the gauge again."
            ),
            across,
            tells="What was read cannot be right; it has to be measured again.",
        )
        return
    if across.number < RESOLVED:
        yield case.inconclusive(
            ck.Claim("egr.relative_flow", next_test=pressure_open),
            (
                "Across the metering orifice it reads {value}. So little cannot be told from the zero of the"
                " gauge; read again at a higher engine speed."
            ),
            across,
            tells="So small a value cannot be told from none; it has to be measured again.",
        )
        return
    if not case.is_specified(pressure_open):
        yield case.does_not_apply(
            "The pressure across the metering orifice can be judged only with this vehicle's"
            " specification; none was entered."
        )
        return
    limit = case.limit(pressure_open)
    share = flow_ratio(across.value, limit.low) if limit.low is not None else None
    yield case.judge(
        across,
        limit,
        ck.Claim("egr.relative_flow"),
        ck.Says(
            passes=(
                "With the valve open the pressure across the metering orifice is {read}{share};"
                " {limit} is required."
            ),
            fails=(
                "With the valve open the pressure across the metering orifice is only {read}{share};"
                " {limit} is required."
                if case.side(across, limit) is ck.Side.BELOW
                else (
                    "With the valve open the pressure across the metering orifice is {read}; {limit}"
                    " is required. So high a reading can also mean that the orifice itself is"
                    " restricted."
                )
            ),
            undecided=(
                "With the valve open the pressure across the metering orifice is {read}{share}, too"
                " close to {limit} to call."
            ),
        ),
        ck.Tells(
            passes="With the valve open the exhaust flow is as required.",
            fails="With the valve open the exhaust flow is not as required.",
            undecided="Whether the exhaust flow is as required could not be told yet.",
        ),
        values={
            "read": ck.show(across.value, "kPa diff", uncertainty=False),
            "share": (
                f", which is {ck.show(share, '%', uncertainty=False)} of the lowest flow required"
                if share is not None
                else ""
            ),
        },
    )
