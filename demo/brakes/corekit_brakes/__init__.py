"""Hydraulic brakes: does the pressure at the wheels fit the foot, and do left and right pull alike?"""

import math
from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

brakes = ck.System("brakes", "Hydraulic brakes", api="1.0")


class Pedal(Enum):
    FIRM = "firm"
    SPONGY = "spongy"
    SINKS = "sinks slowly under steady pressure"


soft = brakes.symptom(
    "soft_pedal",
    "The brake pedal goes soft or sinks",
    group="senses",
    none=0.0004,
    why="a long pedal that was always so",
    outside=0.002,
    first_step="whether the brakes hold, before the vehicle is moved",
)


class Pumped(Enum):
    SAME = "stays as it was"
    RISES = "comes up and gets firm"


class Drips(Enum):
    DRY = "dry"
    WET = "wet"


class Fluid(Enum):
    CLEAR = "runs clear"
    BUBBLES = "bubbles"


PRESS = "Chock the wheels; nobody under the vehicle. Brake fluid harms skin, eyes and paint."

cylinder = brakes.part("master_cylinder", "Master cylinder")
pedal_ratio = brakes.trait(
    "pedal_ratio",
    "Pedal ratio",
    units=("1",),
    possible=(1, 10),
    how="Length of the pedal over its short arm.",
    tells="how the pedal multiplies the foot",
)
bore = brakes.trait("master_bore", "Master cylinder bore", units=("mm",), possible=(10, 50), part=cylinder)

force = brakes.measurand(
    "pedal_force",
    "N",
    "Pedal force",
    possible=(0, 3000),
    usual=(20, 1500),
    accuracy="2 % + 5 N",
    where="Gauge between foot and pedal.",
    how="Engine off, steady foot, vacuum in the servo used up.",
    hazard=PRESS,
    tells="how hard the pedal was pressed",
)
pressure = brakes.measurand(
    "line_pressure",
    "bar gauge",
    "Pressure at the bleed screw",
    possible=(0, 300),
    usual=(0, 200),
    accuracy="2 % + 1 bar",
    places=("front left", "front right", "rear left", "rear right"),
    conditions=(force,),
    where="Gauge in place of the bleed screw.",
    how="The same force on the pedal at each wheel.",
    hazard=PRESS,
    tells="the pressure that reaches the wheel",
)

held = brakes.record(
    "pressure_held",
    "Pressure under a steady foot",
    of=pressure,
    over="s",
    places=(),
    how="Gauge at one bleed screw; a steady foot for a minute, engine off.",
    settled=("1 bar", "20 s"),
    tells="how the brakes hold their pressure",
)

pedal = brakes.observation(
    "pedal",
    "Pedal feel, engine off",
    Pedal,
    how="Three firm strokes, then hold.",
    tells="how the pedal feels",
    tells_each={
        Pedal.FIRM: "The brake pedal is firm.",
        Pedal.SPONGY: "The brake pedal is spongy.",
        Pedal.SINKS: "The brake pedal sinks slowly when it is held down.",
    },
)

pumped = brakes.observation(
    "pumped",
    "Pedal after pumping",
    Pumped,
    how="Pump quickly five times, then hold; where it was firm from the start it stays as it was.",
    tells="what pumping does to the pedal",
    tells_each={
        Pumped.SAME: "Pumping does not change the pedal.",
        Pumped.RISES: "The pedal gets firm when it is pumped.",
    },
)
behind = brakes.observation(
    "behind_pedal",
    "Push rod and servo behind the master cylinder",
    Drips,
    part=cylinder,
    how="A finger or paper under the push rod, and the seam to the servo.",
    tells="whether fluid gets out behind the pedal",
    tells_each={
        Drips.DRY: "It is dry behind the brake pedal.",
        Drips.WET: "Fluid gets out behind the pedal.",
    },
)

first_fluid = brakes.observation(
    "first_fluid",
    "First fluid out of the bleed screws",
    Fluid,
    how="A clear hose into a bottle with a little fluid; one stroke at each screw, the farthest first.",
    hazard=PRESS,
    tells="what comes out of the brakes when they are opened",
    tells_each={
        Fluid.CLEAR: "The brake fluid runs without bubbles.",
        Fluid.BUBBLES: "Air bubbles come out of the brakes.",
    },
)

wanted = brakes.setting(
    "boiling_point_wanted",
    "Boiling point at which the fluid is renewed",
    units=("°C",),
    possible=(140, 260),
    default="180 °C",
    how="Long descents and heavy trailers ask for more.",
)
boiling = brakes.measurand(
    "boiling_point",
    "°C",
    "Boiling point of the brake fluid",
    possible=(100, 330),
    usual=(140, 280),
    accuracy="5 °C",
    where="Tester that boils a drop from the reservoir.",
    how="A pen that only tells water by its conductance is no reading.",
    tells="how hot the brake fluid may get",
)

renew = brakes.operation(
    "replace_master_cylinder",
    "Replace the master cylinder",
    shown_by=pressure,
    replaces=cylinder,
    hazard=PRESS,
    tells="The cylinder behind the brake pedal is renewed, and the air is let out of the brakes.",
)
bleed = brakes.operation(
    "bleed",
    "Bleed the brakes",
    shown_by=pressure,
    hazard=PRESS,
    tells="The air is let out of the brakes.",
)


@brakes.calculation(source="pressure-is-force-over-area")
def expected_pressure(
    force: Annotated[float, ck.Input("N", "Pedal force", 0, 3000)],
    ratio: Annotated[float, ck.Input("1", "Pedal ratio", 1, 10)],
    bore: Annotated[float, ck.Input("m", "Master cylinder bore", 0.01, 0.05)],
) -> Annotated[float, ck.Output("Pa gauge", "Pressure in the lines")]:
    """Pressure that a foot makes behind a master cylinder, without servo and friction.

    >>> round(expected_pressure.si(300.0, 4.0, 0.0254))
    2368230
    """
    return force * ratio / (math.pi / 4 * bore**2)


@brakes.calculation(source="seal-friction")
def least_pressure(
    expected: Annotated[float, ck.Input("Pa gauge", "Expected pressure", 0)],
) -> Annotated[float, ck.Output("Pa gauge", "Lowest pressure at a wheel")]:
    """What must arrive at a wheel when seals and hoses have taken their part.

    >>> least_pressure.si(1e6)
    850000.0
    """
    return 0.85 * expected


@brakes.calculation(source="pressure-is-force-over-area")
def share(
    one: Annotated[float, ck.Input("Pa gauge", "Pressure on one side", 0)],
    other: Annotated[float, ck.Input("Pa gauge", "Pressure on the other", 0)],
) -> Annotated[float, ck.Output("1", "Lower over higher")]:
    """The smaller of two pressures as a share of the larger.

    Raises:
        ValueError: there is none on either side.

    >>> share.si(8e6, 1e7)
    0.8
    """
    if max(one, other) == 0:
        raise ValueError("There is no pressure on either side.")
    return min(one, other) / max(one, other)


@brakes.calculation(source="pressure-is-force-over-area")
def mean(
    one: Annotated[float, ck.Input("Pa gauge", "Pressure on one side", 0)],
    other: Annotated[float, ck.Input("Pa gauge", "Pressure on the other", 0)],
) -> Annotated[float, ck.Output("Pa gauge", "Mean of both")]:
    """The mean of two pressures.

    >>> mean.si(8e6, 1e7)
    9000000.0
    """
    return (one + other) / 2


@brakes.derived_reading(
    "front_pressure",
    "bar gauge",
    "Mean pressure at the front",
    possible=(0, 300),
    usual=(0, 200),
    accuracy="2 % + 1 bar",
    how="From both front wheels by itself.",
    tells="the pressure at the front brakes",
)
def front_pressure(lines: Annotated[list[ck.Reading], pressure]) -> ck.Value | None:
    at = {line.place: line.value for line in lines}
    if "front left" not in at or "front right" not in at:
        return None
    return mean(at["front left"], at["front right"])


FITS = ck.Says(
    passes="Pressure at the {place} wheel {value}; {limit} is expected from the pedal force.",
    fails="Pressure at the {place} wheel only {value}; {limit} is expected from the pedal force.",
    undecided="Pressure at the {place} wheel {value}: too close to the {limit} expected to call.",
)
FITS_PLAIN = ck.Tells(
    passes="The {place} brake gets the pressure expected from the pedal.",
    fails="The {place} brake gets less pressure than expected from the pedal.",
    undecided="The {place} brake gets about as little pressure as can be expected from the pedal.",
)


@brakes.check("Pressure against pedal force")
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
    for line in lines:
        claim = ck.Claim("brakes.pressure", evidence=[foot], calls_for=work)
        yield case.judge(line, limit, claim, FITS, FITS_PLAIN)


ALIKE = ck.Says(
    passes="Pressure left and right {place} alike: the lower is {value} of the higher.",
    fails="Pressure left and right {place} differs: the lower is {value} of the higher; {limit} is usual.",
    undecided="Pressure left and right {place} too close to the limit to call: {value}; {limit} is usual.",
)
ALIKE_PLAIN = ck.Tells(
    passes="The left and right {place} brakes get about the same pressure.",
    fails="One {place} brake gets less pressure than the other, by more than is usual.",
    undecided="One {place} brake gets less pressure than the other, by about as much as is usual at most.",
)


@brakes.check("Brake balance left to right")
def alike(case: ck.Case, lines: Annotated[list[ck.Reading], pressure]) -> Iterator[ck.Finding | ck.Gap]:
    for axle in ("front", "rear"):
        claim = ck.Claim("brakes.alike", of=pressure, unit="%", place=axle, calls_for=bleed)
        for pair in case.pairs(lines, f"{axle} left", f"{axle} right"):
            if isinstance(pair, ck.Gap):
                yield pair
            elif not any(line.value.number for line in pair):
                yield case.gap(pressure, f"No pressure at either {axle} wheel, so nothing to compare.")
            else:
                yield case.judge(share(*pair), case.limit("brakes.alike"), claim, ALIKE, ALIKE_PLAIN)


@brakes.check("Pressure under a steady foot")
def holds(case: ck.Case, record: Annotated[ck.Record | None, held]) -> Iterator[ck.Finding | ck.Gap]:
    change = record.change(record.start, record.end) if record is not None else None
    if change is not None:
        claim = ck.Claim("brakes.held", unit="bar diff", urgency=ck.Urgency.NOTHING)
        tells = "How the brakes hold their pressure was recorded."
        yield case.advise(claim, "Under a steady foot the pressure changed by {value}.", change, tells=tells)


@brakes.check("Pedal feel")
def feels(case: ck.Case, feel: Annotated[Pedal, pedal]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.visual(
        pedal,
        ck.Claim("brakes.feel", urgency=ck.Urgency.BEFORE_DRIVING),
        "The pedal is firm." if feel is Pedal.FIRM else "The pedal is not firm: the brakes are not in order.",
        passes=feel is Pedal.FIRM,
        tells="The brake pedal is firm." if feel is Pedal.FIRM else "The brake pedal does not get firm.",
    )


def over_the_pedal(foot: ck.Reading, front: ck.Reading) -> ck.Figure:
    chart = ck.Chart(x=(0, 1500), y=(0, 200))
    bar = front.number / 1e5
    marks = [
        *chart.scales([0, 500, 1000, 1500], [0, 50, 100, 150, 200], "pedal force, N", "at the front, bar"),
        chart.line([(0, 0), (foot.number, bar)], dashed=True),
        *chart.dot(foot.number, bar, 2 * front.value.u / 1e5),
    ]
    told = f"With {foot.shown} on the pedal the front brakes have {front.shown}."
    return chart.figure(marks, "Pressure over the pedal force", told)


@brakes.check("Front brakes over the pedal", not_while=["brakes.feel"])
def front(
    case: ck.Case, read: Annotated[ck.Reading, front_pressure], foot: Annotated[ck.Reading, force]
) -> Iterator[ck.Finding | ck.Gap]:
    claim = ck.Claim(
        "brakes.front", evidence=[foot], urgency=ck.Urgency.NOTHING, figure=over_the_pedal(foot, read)
    )
    tells = "The pressure at the front brakes was measured."
    yield case.advise(
        claim, "{value} at the front under {foot}.", read, tells=tells, values={"foot": foot.shown}
    )


@brakes.check("Brake fluid")
def fluid(
    case: ck.Case, at: Annotated[ck.Reading, boiling], least: Annotated[ck.Value, wanted]
) -> Iterator[ck.Finding | ck.Gap]:
    limit = case.computed_limit("brakes.fluid", "fluid-boils", low=least)
    yield case.judge(
        at,
        limit,
        ck.Claim("brakes.fluid", urgency=ck.Urgency.PLAN_IT),
        ck.Says(
            passes="The fluid boils at {value}; {limit} is wanted.",
            fails="The fluid boils at {value} already, and {limit} is wanted: renew it.",
            undecided="The fluid boils at {value}: too close to call, {limit} is wanted.",
        ),
        ck.Tells(
            passes="The brake fluid stands the heat of long descents.",
            fails="The brake fluid has taken up water and should be renewed.",
            undecided="The brake fluid stands about as much heat as it should at least.",
        ),
    )


@ck.hookimpl
def corekit_system() -> ck.System:
    return brakes
