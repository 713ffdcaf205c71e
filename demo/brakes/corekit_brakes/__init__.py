"""Hydraulic brakes: does the pressure at the wheels fit the foot, and do left and right pull alike?"""

import math
from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

brakes = ck.System("brakes", "Hydraulic brakes")


class Pedal(Enum):
    FIRM = "firm"
    SPONGY = "spongy"
    SINKS = "sinks slowly under steady pressure"


PRESS = "Chock the wheels; nobody under the vehicle. Brake fluid harms skin, eyes and paint."

cylinder = brakes.part("master_cylinder", "Master cylinder")
pedal_ratio = brakes.trait(
    "pedal_ratio",
    "Pedal ratio",
    units=("1",),
    possible=(1, 10),
    how="Length of the pedal over its short arm.",
)
bore = brakes.trait(
    "master_bore", "Bore of the master cylinder", units=("mm",), possible=(10, 50), part=cylinder
)

force = brakes.measurand(
    "pedal_force",
    "N",
    "Force on the pedal",
    possible=(0, 3000),
    usual=(20, 1500),
    accuracy="2 % + 5 N",
    where="Gauge between foot and pedal.",
    how="Engine off, steady foot, no servo left.",
    hazard=PRESS,
)
pressure = brakes.measurand(
    "line_pressure",
    "bar gauge",
    "Pressure at the bleeder",
    possible=(0, 300),
    usual=(0, 200),
    accuracy="2 % + 1 bar",
    places=("front left", "front right", "rear left", "rear right"),
    conditions=(force,),
    where="Gauge in place of the bleed screw.",
    how="The same force on the pedal at each wheel.",
    hazard=PRESS,
)

pedal = brakes.observation("pedal", "Pedal feel, engine off", Pedal, how="Three firm strokes, then hold.")

renew = brakes.operation(
    "replace_master_cylinder",
    "Replace the master cylinder",
    shown_by=pressure,
    replaces=cylinder,
    hazard=PRESS,
)
bleed = brakes.operation("bleed", "Bleed the brakes", shown_by=pressure, hazard=PRESS)


@brakes.calculation(source="pressure-is-force-over-area")
def expected_pressure(
    force: Annotated[float, ck.Input("N", "Force on the pedal", 0, 3000)],
    ratio: Annotated[float, ck.Input("1", "Pedal ratio", 1, 10)],
    bore: Annotated[float, ck.Input("m", "Bore of the master cylinder", 0.01, 0.05)],
) -> Annotated[float, ck.Output("Pa gauge", "Pressure in the lines")]:
    """Pressure that a foot makes behind a master cylinder, without servo and friction.

    >>> round(expected_pressure.si(300.0, 4.0, 0.0254))
    2368230
    """
    return force * ratio / (math.pi / 4 * bore**2)


@brakes.calculation(source="seal-friction")
def least_pressure(
    expected: Annotated[float, ck.Input("Pa gauge", "Pressure of the foot", above=0)],
) -> Annotated[float, ck.Output("Pa gauge", "Least at a wheel")]:
    """What must arrive at a wheel when seals and hoses have taken their part.

    >>> least_pressure.si(1e6)
    850000.0
    """
    return 0.85 * expected


@brakes.calculation(source="pressure-is-force-over-area")
def share(
    one: Annotated[float, ck.Input("Pa gauge", "Pressure on one side", above=0)],
    other: Annotated[float, ck.Input("Pa gauge", "Pressure on the other", above=0)],
) -> Annotated[float, ck.Output("1", "Weaker over stronger")]:
    """The smaller of two pressures as a share of the larger.

    >>> share.si(8e6, 1e7)
    0.8
    """
    return min(one, other) / max(one, other)


FITS = ck.Says(
    passes="At the {place} wheel {value} arrive; {limit} is what the foot makes.",
    fails="At the {place} wheel only {value} arrive; {limit} is what the foot makes.",
    undecided="At the {place} wheel {value} arrive: too close to what the foot makes ({limit}) to call.",
)


@brakes.check("Pressure fits the foot")
def fits(
    case: ck.Case,
    lines: Annotated[list[ck.Reading], pressure],
    foot: Annotated[ck.Reading, force],
    ratio: Annotated[ck.Value, pedal_ratio],
    size: Annotated[ck.Value, bore],
    feel: Annotated[Pedal | None, pedal],
) -> Iterator[ck.Finding | ck.Gap]:
    least = least_pressure(expected_pressure(foot, ratio, size))
    limit = case.computed_limit("brakes.pressure", "seal-friction", low=least)
    work = renew if feel is Pedal.SINKS else bleed
    for line in lines:  # one finding per wheel
        yield case.judge(line, limit, ck.Claim("brakes.pressure", evidence=[foot], calls_for=work), FITS)


ALIKE = ck.Says(
    passes="Left and right {place} pull alike: the weaker reaches {value} of the stronger.",
    fails="Left and right {place} differ: the weaker reaches {value} of the stronger; {limit} is usual.",
    undecided="Left and right {place} are too close to the limit to call: {value}, usual is {limit}.",
)


@brakes.check("Left and right pull alike")
def alike(case: ck.Case, lines: Annotated[list[ck.Reading], pressure]) -> Iterator[ck.Finding | ck.Gap]:
    for axle in ("front", "rear"):
        claim = ck.Claim("brakes.alike", of=pressure, unit="%", place=axle, calls_for=bleed)
        for pair in case.pairs(lines, f"{axle} left", f"{axle} right"):
            if isinstance(pair, ck.Gap):
                yield pair
            else:
                yield case.judge(share(*pair), case.limit("brakes.alike"), claim, ALIKE)


@ck.hookimpl
def corekit_system() -> ck.System:
    return brakes
