"""The cooling of a practice car.

Every size is an estimate of ours from memory of the work, unless its line says more; conclusions drawn from
practice cars have to survive each estimate moved by a third. Through a hole goes what Torricelli's law gives,
with the discharge coefficient of a sharp edge (0.6, handbooks of hydraulics, from memory).
"""

from __future__ import annotations

import math

import attrs

from corekit.practice import At, Car, Practice, estimate

from .declarations import cooling


@attrs.frozen(kw_only=True)
class Cooling:
    """The cooling as it stands.

    Attributes:
        opens: Marked opening temperature, °C. marked: Pressure marked on the cap, bar. frost: °C.
        stands: Share that the thermostat stands open when cold. shut: it does not open at all.
        turns: the fan's motor turns. switched: it is switched on. cap: Share of its marking at which the cap
            opens. pump, radiator, hose: Diameter of the hole there, mm. gas: Exhaust into the coolant, L/min.
        level: Share of the coolant that is there.
        outside: °C. colder: K below its thermostat that an engine stays which is cooled from the start.
        hotter: K above, at most, with nothing moving air or coolant. boils: K more for each L/min of gas.
        air: Air above the coolant, mL: it gives way while a leak takes coolant.
        seeps: mm from which a hole drips; below it leaves a crust. empties: mm from which nothing is left.
        keeps: Share of its marking from which a cap loses no coolant.
    """

    opens: float
    marked: float = 1.1
    frost: float = -35.0
    stands: float = 0.0
    shut: bool = False
    turns: bool = True
    switched: bool = True
    cap: float = 1.0
    pump: float = 0.0
    radiator: float = 0.0
    hose: float = 0.0
    gas: float = 0.0
    level: float = 1.0
    outside: float = 15.0
    colder: float = estimate(32.0)
    hotter: float = estimate(36.0)
    boils: float = estimate(8.0)
    air: float = estimate(500.0)
    seeps: float = estimate(0.25)
    empties: float = estimate(1.2)
    keeps: float = estimate(0.7)


practice = Practice(
    cooling,
    lambda draw: Cooling(
        opens=draw.choice((82.0, 87.0, 88.0, 92.0)),
        marked=draw.choice((1.0, 1.1, 1.4)),
        frost=draw.uniform(-39.0, -33.0),
        cap=draw.uniform(0.97, 1.08),
        outside=draw.uniform(2.0, 25.0),
    ),
)

# ---- what can be wrong with it


@practice.fault(
    "open",
    "A thermostat that stood {size} open from the cold start on.",
    size=(60, 100),
    unit="%",
    mends="replace_thermostat",
    named="thermostat_open",
)
def stands_open(car: Cooling, size: float) -> Cooling:
    return attrs.evolve(car, stands=min(1.0, size / 100.0))


@practice.fault(
    "shut", "A thermostat that did not open.", mends="replace_thermostat", named="thermostat_shut"
)
def stays_shut(car: Cooling, size: float) -> Cooling:
    return attrs.evolve(car, shut=True)


@practice.fault("fan", "A fan motor that did not turn.", mends="replace_fan", named="fan_dead")
def fan_dead(car: Cooling, size: float) -> Cooling:
    return attrs.evolve(car, turns=False)


@practice.fault("control", "A fan that nothing switched on.", named="fan_control", comes_and_goes=True)
def fan_control(car: Cooling, size: float) -> Cooling:
    return attrs.evolve(car, switched=False)


@practice.fault(
    "cap",
    "A cap that opened at {size} of its marking.",
    size=(15, 55),
    unit="%",
    mends="replace_cap",
    named="cap_weak",
)
def weak_cap(car: Cooling, size: float) -> Cooling:
    return attrs.evolve(car, cap=size / 100.0, level=0.6)


@practice.fault(
    "pump",
    "A hole of {size} at the water pump's shaft.",
    size=(0.2, 1.0),
    unit="mm",
    mends="replace_pump",
    named="pump_leak",
)
def pump_leak(car: Cooling, size: float) -> Cooling:
    return attrs.evolve(car, pump=size, level=0.5)


@practice.fault(
    "radiator",
    "A hole of {size} in the radiator.",
    size=(0.2, 1.5),
    unit="mm",
    mends="replace_radiator",
    named="radiator_leak",
)
def radiator_leak(car: Cooling, size: float) -> Cooling:
    return attrs.evolve(car, radiator=size, level=0.5)


@practice.fault(
    "hose",
    "A hose leak of {size}.",
    size=(0.2, 1.5),
    unit="mm",
    mends="replace_hose",
    named="hose_leak",
)
def hose_leak(car: Cooling, size: float) -> Cooling:
    return attrs.evolve(car, hose=size, level=0.5)


@practice.fault(
    "gasket", "{size} of exhaust gas into the coolant.", size=(1, 4), unit="L/min", named="head_gasket"
)
def gasket(car: Cooling, size: float) -> Cooling:
    return attrs.evolve(car, gas=size, level=0.6)


# ---- how it behaves

_DENSITY = 1050.0  # kg/m³, half glycol
_SHARP_EDGE = 0.6
_ATMOSPHERE = 1.013e5  # Pa


def holes(car: Cooling) -> dict[str, float]:
    """Place → diameter of the hole there, mm."""
    return {"radiator": car.radiator, "hoses": car.hose, "water pump": car.pump}


def leaking(diameter: float, pressure: float) -> float:
    """m³/s through a hole of so many mm under so many Pa (Torricelli)."""
    return _SHARP_EDGE * math.pi / 4.0 * (diameter / 1000.0) ** 2 * math.sqrt(2.0 * pressure / _DENSITY)


def fallen(car: Cooling, pressure: float, seconds: float = 600.0) -> float:
    """Bar that are lost in this time: the air above the coolant gives way (Boyle)."""
    kept = (pressure * 1e5 + _ATMOSPHERE) * car.air * 1e-6
    room, now, step = car.air * 1e-6, pressure * 1e5, 1.0
    for _ in range(int(seconds / step)):
        room += step * sum(leaking(hole, now) for hole in holes(car).values())
        now = max(0.0, kept / room - _ATMOSPHERE)
    return pressure - now / 1e5


def settles(car: Cooling) -> float:
    """°C at which it stays at idle, warmed up."""
    if car.shut or not (car.turns and car.switched) or car.level < 0.2:
        return car.opens + car.hotter
    cold = car.colder * car.stands
    return car.opens + 3.0 - cold + min(car.hotter, car.boils * car.gas)


def is_empty(car: Cooling) -> bool:
    return car.level < 0.9 and max(holes(car).values()) >= car.empties


def loses(car: Cooling) -> bool:
    """Whether coolant goes missing."""
    return max(holes(car).values()) > 0.0 or car.cap < car.keeps or car.gas > 0.0


# ---- what a meter shows


def _own(car: Car) -> Cooling:
    return practice.own(car)


@practice.sets("air_pressure")
def air_pressure(car: Car, at: At) -> float:
    return 990.0


@practice.reads("temperature")
def temperature(car: Car, at: At) -> float:
    return min(135.0, settles(_own(car)))


@practice.records("warm_up")
def warm_up(car: Car, at: At) -> list[tuple[float, float]]:
    now = _own(car)
    goal = min(135.0, settles(now))
    return [(s, goal - (goal - now.outside) * math.exp(-s / 240.0)) for s in range(0, 1501, 60)]


@practice.reads("cap_opens")
def cap_opens(car: Car, at: At) -> float:
    return _own(car).marked * _own(car).cap


@practice.reads("pressure_fall")
def pressure_fall(car: Car, at: At) -> float:
    now = _own(car)
    return min(now.marked, 0.02 + fallen(now, now.marked))


@practice.reads("fan_supply")
def fan_supply(car: Car, at: At) -> float:
    return 13.6 if _own(car).switched else 0.1


@practice.reads("frost_protection")
def frost_protection(car: Car, at: At) -> float:
    return _own(car).frost


# ---- what an eye sees


@practice.sees("level")
def level(car: Car, at: At) -> str:
    now = _own(car)
    if is_empty(now):
        return "none to be seen"
    return "below the lower mark" if now.level < 0.9 else "between the marks"


@practice.sees("fan")
def fan(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.stands > 0.5 or is_empty(now):
        return None  # it does not get hot enough for the fan, or is not run
    runs = now.turns and now.switched
    return "comes on as the engine gets hot" if runs else "stays off although the engine is hot"


@practice.sees("upper_hose")
def upper_hose(car: Car, at: At) -> str:
    now = _own(car)
    if now.shut:
        return "stays cool although the engine is hot"
    if now.stands > 0.3:
        return "gets warm together with the engine"
    return "stays cool and gets hot when the engine is warm"


@practice.sees("wet")
def wet(car: Car, at: At) -> str:
    now = _own(car)
    hole = holes(now)[at.place]
    return "drips" if hole >= now.seeps else "crusted, dry now" if hole > 0.0 else "dry"


@practice.sees("block_test")
def block_test(car: Car, at: At) -> str:
    return "turns colour" if _own(car).gas > 0.2 else "keeps its colour"


@practice.codes
def codes(car: Car) -> list[str]:
    now = _own(car)
    return ["P0128"] if settles(now) < now.opens - 11.0 else []


# ---- what it is fitted with


@practice.fits("thermostat_marking")
def thermostat_marking(car: Car) -> str:
    return f"{_own(car).opens:g} °C"


@practice.fits("cap_marking")
def cap_marking(car: Car) -> str:
    return f"{_own(car).marked:g} bar gauge"


# ---- what work does, and whether it is needed


@practice.does("fill")
def fill(car: Cooling, work: str) -> Cooling:
    return attrs.evolve(car, level=1.0, frost=-36.0)


@practice.does("replace_thermostat")
def replace_thermostat(car: Cooling, work: str) -> Cooling:
    return attrs.evolve(car, stands=0.0, shut=False, level=1.0)


@practice.does("replace_fan")
def replace_fan(car: Cooling, work: str) -> Cooling:
    return attrs.evolve(car, turns=True)


@practice.does("replace_cap")
def replace_cap(car: Cooling, work: str) -> Cooling:
    return attrs.evolve(car, cap=1.0, level=1.0)


@practice.does("replace_pump")
def replace_pump(car: Cooling, work: str) -> Cooling:
    return attrs.evolve(car, pump=0.0, level=1.0)


@practice.does("replace_radiator")
def replace_radiator(car: Cooling, work: str) -> Cooling:
    return attrs.evolve(car, radiator=0.0, level=1.0)


@practice.does("replace_hose")
def replace_hose(car: Cooling, work: str) -> Cooling:
    return attrs.evolve(car, hose=0.0, level=1.0)


@practice.needs("fill")
def needs_fill(car: Car) -> bool | None:
    now = _own(car)
    return None if now.level < 0.9 or now.frost > -28.0 else False


@practice.needs("replace_thermostat")
def needs_thermostat(car: Car) -> bool | None:
    now = _own(car)
    return True if now.shut or now.stands > 0.3 else None if now.stands > 0.1 else False


@practice.needs("replace_fan")
def needs_fan(car: Car) -> bool:
    return not _own(car).turns


@practice.needs("replace_cap")
def needs_cap(car: Car) -> bool | None:
    now = _own(car)
    return True if now.cap < 0.75 else None if now.cap < 0.9 else False


@practice.needs("replace_pump")
def needs_pump(car: Car) -> bool:
    return _own(car).pump > 0.0


@practice.needs("replace_radiator")
def needs_radiator(car: Car) -> bool:
    return _own(car).radiator > 0.0


@practice.needs("replace_hose")
def needs_hose(car: Car) -> bool:
    return _own(car).hose > 0.0


@practice.tells
def complaints(car: Car) -> list[str]:
    now = _own(car)
    found = ["overheats"] if settles(now) > 110.0 or is_empty(now) else []
    if loses(now) and now.level < 0.9:
        found.append("white_smoke_coolant_lost")
    if codes(car):
        found.append("engine_lamp")
    return found
