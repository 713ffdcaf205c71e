"""The brakes of a practice car: air in the fluid, or a master cylinder whose seal lets fluid past."""

import math

import attrs

from corekit.practice import At, Car, Practice, estimate

from . import brakes


@attrs.frozen(kw_only=True)
class Hydraulics:
    """`air`: share of the pedal's pressure that air takes up. `past`: share that slips past the seal.
    `keeps`: seconds in which a seal that lets all past loses two thirds.
    """

    ratio: float = 4.0
    bore: float = 0.0254  # m
    air: float = 0.0
    past: float = 0.0
    keeps: float = estimate(30.0)


practice = Practice(brakes, lambda draw: Hydraulics(ratio=draw.uniform(3.5, 5.0)))


@practice.fault(
    "air", "Air took up {size} of the pressure.", size=(25, 60), unit="%", mends="bleed", named="air"
)
def air(car: Hydraulics, size: float) -> Hydraulics:
    return attrs.evolve(car, air=size / 100)


@practice.fault(
    "seal",
    "{size} of the fluid slipped past the seal.",
    size=(30, 80),
    unit="%",
    mends="replace_master_cylinder",
    named="master_cylinder",
)
def seal(car: Hydraulics, size: float) -> Hydraulics:
    return attrs.evolve(car, past=size / 100)


@practice.sets("pedal_force")
def pedal_force(car: Car, at: At) -> float:
    return 300.0


@practice.reads("line_pressure")
def line_pressure(car: Car, at: At) -> float:
    now = practice.own(car)
    made = at.setup.get("brakes.pedal_force", 300.0) * now.ratio / (math.pi / 4 * now.bore**2) / 1e5  # bar
    return made * (1 - now.air) * (1 - now.past)


@practice.records("pressure_held")
def pressure_held(car: Car, at: At) -> list[tuple[float, float]]:
    now, full = practice.own(car), line_pressure(car, at)
    return [(second, full * math.exp(-now.past * second / now.keeps)) for second in range(0, 61, 5)]


@practice.sees("pedal")
def pedal(car: Car, at: At) -> str:
    now = practice.own(car)
    return "sinks slowly under steady pressure" if now.past > 0.1 else "spongy" if now.air > 0.1 else "firm"


@practice.sees("pumped")
def pumped(car: Car, at: At) -> str:
    return "comes up and gets firm" if practice.own(car).air > 0.1 else "stays as it was"


@practice.sees("behind_pedal")
def behind_pedal(car: Car, at: At) -> str:
    return "wet" if practice.own(car).past > 0.5 else "dry"


@practice.sees("first_fluid")
def first_fluid(car: Car, at: At) -> str:
    return "bubbles" if practice.own(car).air > 0.1 else "runs clear"


@practice.reads("boiling_point")
def boiling_point(car: Car, at: At) -> float:
    return 215.0


@practice.fits("pedal_ratio")
def pedal_ratio(car: Car) -> str:
    return f"{practice.own(car).ratio:.2f}"


@practice.fits("master_bore")
def master_bore(car: Car) -> str:
    return "25.4 mm"


@practice.does("bleed")
def bleed(car: Hydraulics, work: str) -> Hydraulics:
    return attrs.evolve(car, air=0.0)


@practice.does("replace_master_cylinder")
def replace(car: Hydraulics, work: str) -> Hydraulics:
    return attrs.evolve(car, past=0.0, air=0.0)


@practice.needs("bleed")
def needs_bleeding(car: Car) -> bool:
    return practice.own(car).air > 0.1


@practice.needs("replace_master_cylinder")
def needs_cylinder(car: Car) -> bool:
    return practice.own(car).past > 0.1


@practice.tells
def complaints(car: Car) -> list[str]:
    return ["brakes.soft_pedal"] if pedal(car, At()) != "firm" else []
