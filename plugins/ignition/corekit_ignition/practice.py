"""The ignition of a practice car, of three kinds: distributor, wasted spark and coil on plug.

Every size is an estimate of ours, unless its line says more; conclusions drawn from practice cars have to
survive each estimate moved by a third. A cylinder fires while its coil can reach more than its plug demands;
injector, compression, mixture and crank signal are beside it, so that a visit can end there.
"""

from __future__ import annotations

import random
from typing import TypeVar

import attrs

from corekit.practice import At, Car, Practice, Trial, estimate

from .declarations import ignition

_T = TypeVar("_T")
DISTRIBUTOR, WASTED, ON_PLUG = "distributor", "wasted spark", "coil on plug"


@attrs.frozen(kw_only=True)
class Ignition:
    """The system as it stands.

    Attributes:
        kind: Of three. cylinders: How many. it: The cylinder that a fault of one cylinder is in.
        gaps: Of each plug, mm. faces: Of each plug, in the words of the answer.
        reach: What each coil can reach, kV. primary, secondary: Ω of each coil's windings; 0 kV and an open
            secondary go together.
        leads: Resistance of each, kΩ. boots: Of each, in the words of the answer.
        feed, ground: Volts lost to and from the coils while they draw current. switched: a command arrives.
        cap: In the words of the answer. well: what stands in the plug's well. crank: crank signal there.
        injector: it fails in its cylinder. pressed: share of its compression left there.
        leak: air behind the meter, share of idle air. pressure: fuel pressure, share of what is right.
        tracks, cap_tracks: Share of the voltage that a path to ground in the cylinder, or in the cap, takes.
        at_zero, per_gap: kV demanded under load, fixed part and per mm of gap; idles: share of it at idle.
        per_volt: Share of its reach that a coil loses with each volt of its supply.
        peak: A of a coil's primary with 12 V. tight: share of its compression that a cylinder needs to fire;
            fed: of the fuel pressure; lean: air leak from which some cylinders miss.
    """

    kind: str
    cylinders: int
    it: int
    gaps: tuple[float, ...]
    faces: tuple[str, ...]
    reach: tuple[float, ...] = estimate()
    primary: tuple[float, ...]
    secondary: tuple[float, ...]
    leads: tuple[float, ...]
    boots: tuple[str, ...]
    feed: float = 0.15
    ground: float = 0.05
    switched: bool = True
    cap: str = "sound"
    well: str = "dry"
    crank: bool = True
    injector: bool = True
    pressed: float = 1.0
    leak: float = 0.0
    pressure: float = 1.0
    tracks: float = estimate(0.7)
    cap_tracks: float = estimate(0.6)
    at_zero: float = estimate(4.0)
    per_gap: float = estimate(13.0)
    idles: float = estimate(0.6)
    per_volt: float = estimate(0.2)
    peak: float = estimate(7.5)
    tight: float = estimate(0.7)
    fed: float = estimate(0.7)
    lean: float = estimate(0.15)


def _sound(draw: random.Random) -> Ignition:
    kind = draw.choice((DISTRIBUTOR, WASTED, ON_PLUG))
    cylinders = draw.choice((4, 6))
    coils = {DISTRIBUTOR: 1, WASTED: cylinders // 2, ON_PLUG: cylinders}[kind]
    return Ignition(
        kind=kind,
        cylinders=cylinders,
        it=draw.randrange(cylinders),
        gaps=tuple(draw.uniform(0.85, 0.98) for _ in range(cylinders)),
        faces=("tan or pale grey",) * cylinders,
        reach=(draw.uniform(28.0, 32.0),) * coils,
        primary=tuple(draw.uniform(0.6, 0.7) for _ in range(coils)),
        secondary=tuple(draw.uniform(9.0, 10.0) for _ in range(coils)),
        leads=tuple(draw.uniform(4.0, 8.0) for _ in range(cylinders)),
        boots=("sound",) * cylinders,
    )


practice = Practice(ignition, _sound)


def _coil_of(car: Ignition, cylinder: int) -> int:
    """Index of the coil that fires a cylinder; a pair is the first with the last, as `1 with 4, 2 with 3`."""
    if car.kind == ON_PLUG:
        return cylinder
    return 0 if car.kind == DISTRIBUTOR else min(cylinder, car.cylinders - 1 - cylinder)


def _at(values: tuple[float, ...], place: int, value: float) -> tuple[float, ...]:
    return (*values[:place], value, *values[place + 1 :])


# ---- what can be wrong with it


@practice.fault(
    "worn", "Plugs worn to {size}.", size=(1.5, 2.2), unit="mm", mends="replace_plugs", named="worn_plugs"
)
def worn(car: Ignition, size: float) -> Ignition:
    gaps = tuple(size * (0.97 + 0.06 * n / car.cylinders) for n in range(car.cylinders))
    return attrs.evolve(car, gaps=gaps, faces=("worn, rounded electrodes",) * car.cylinders)


@practice.fault("insulator", "A plug with a cracked insulator.", mends="replace_plugs", named="broken_plug")
def insulator(car: Ignition, size: float) -> Ignition:
    faces = tuple("cracked insulator" if n == car.it else one for n, one in enumerate(car.faces))
    return attrs.evolve(car, faces=faces)


@practice.fault(
    "turns",
    "A coil with shorted turns, that reached {size}.",
    size=(5, 12),
    unit="kV",
    mends="replace_coil",
    named="bad_coil",
    comes_and_goes=True,
)
def turns(car: Ignition, size: float) -> Ignition:
    coil = _coil_of(car, car.it)
    secondary = _at(car.secondary, coil, car.secondary[coil] * 0.55)
    return attrs.evolve(car, reach=_at(car.reach, coil, size), secondary=secondary)


@practice.fault(
    "lead", "A plug lead of {size}.", size=(60, 900), unit="kΩ", mends="replace_leads", named="bad_lead"
)
def lead(car: Ignition, size: float) -> Ignition:
    kind = car.kind if car.kind != ON_PLUG else WASTED
    sound = (
        car
        if kind == car.kind
        else attrs.evolve(
            car,
            kind=kind,
            reach=car.reach[: car.cylinders // 2],
            primary=car.primary[: car.cylinders // 2],
            secondary=car.secondary[: car.cylinders // 2],
        )
    )
    return attrs.evolve(sound, leads=_at(sound.leads, sound.it, size))


@practice.fault("boot", "A coil boot that leaked to ground.", mends="replace_boots", named="bad_boot")
def boot(car: Ignition, size: float) -> Ignition:
    cylinders = car.cylinders
    boots = tuple("burnt or tracked" if n == car.it else "sound" for n in range(cylinders))
    return attrs.evolve(
        car,
        kind=ON_PLUG,
        reach=(30.0,) * cylinders,
        primary=(0.65,) * cylinders,
        secondary=(9.5,) * cylinders,
        boots=boots,
    )


@practice.fault(
    "feed",
    "{size} lost on the way to the coils.",
    size=(2.5, 5),
    unit="V",
    mends="repair_supply",
    named="weak_supply",
    comes_and_goes=True,
)
def feed(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(car, feed=size)


@practice.fault(
    "ground",
    "{size} lost on the coils' ground.",
    size=(1.5, 4),
    unit="V",
    mends="repair_ground",
    named="bad_ground",
    comes_and_goes=True,
)
def ground(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(car, ground=size)


@practice.fault("cap", "A distributor cap with a carbon track.", mends="replace_cap", named="bad_cap")
def cap(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(
        car,
        kind=DISTRIBUTOR,
        reach=car.reach[:1],
        primary=car.primary[:1],
        secondary=car.secondary[:1],
        cap="cracked or tracked",
    )


@practice.fault("well", "Water in a plug's well.", named="wet_well")
def well(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(car, well="water in it")


@practice.fault(
    "switching",
    "Coils that were not switched.",
    mends="repair_switching",
    named="no_switching",
    comes_and_goes=True,
)
def switching(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(car, switched=False)


@practice.fault("crank", "No crank signal.", named="no_crank_signal", comes_and_goes=True)
def crank(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(car, crank=False, switched=False)


@practice.fault("injector", "An injector that did not open.", named="injector")
def injector(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(car, injector=False)


@practice.fault(
    "compression", "A cylinder with {size} of its compression.", size=(20, 55), unit="%", named="compression"
)
def compression(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(car, pressed=size / 100.0)


@practice.fault("air", "An air leak of {size} of the idle air.", size=(20, 45), unit="%", named="air_leak")
def air(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(car, leak=size / 100.0)


@practice.fault("fuel", "{size} of the fuel pressure.", size=(35, 65), unit="%", named="fuel")
def fuel(car: Ignition, size: float) -> Ignition:
    return attrs.evolve(car, pressure=size / 100.0)


# ---- how it behaves


def demanded(car: Ignition, cylinder: int) -> float:
    """kV that a plug asks for under load; a cracked one fires early, outside the gap."""
    if car.faces[cylinder] == "cracked insulator":
        return 5.0
    return (car.at_zero + car.per_gap * car.gaps[cylinder]) * (
        0.6 + 0.4 * (car.pressed if cylinder == car.it else 1.0)
    )


def reached(car: Ignition, coil: int) -> float:
    """kV that a coil reaches with the supply as it is."""
    missing = max(0.0, car.feed + car.ground - 0.2)
    return car.reach[coil] * max(0.1, 1.0 - car.per_volt * missing)


def available(car: Ignition, cylinder: int) -> float:
    """kV that reach the plug."""
    reach = reached(car, _coil_of(car, cylinder))
    lost = 0.0
    leaks = car.boots[cylinder] != "sound" or car.leads[cylinder] > 40.0
    if leaks or (cylinder == car.it and car.well != "dry"):
        lost = car.tracks
    if car.kind == DISTRIBUTOR and car.cap != "sound" and cylinder in (car.it, (car.it + 1) % car.cylinders):
        lost = max(lost, car.cap_tracks)
    return reach * (1.0 - lost)


def sparks(car: Ignition, cylinder: int) -> bool:
    return (
        car.switched
        and available(car, cylinder) > demanded(car, cylinder)
        and (car.faces[cylinder] != "cracked insulator")
    )


def misses(car: Ignition, cylinder: int) -> bool:
    """Whether a cylinder misfires under load, for whatever reason."""
    here = cylinder == car.it
    if not sparks(car, cylinder) or (here and (not car.injector or car.pressed < car.tight)):
        return True
    return car.pressure < car.fed or (car.leak > car.lean and cylinder % 2 == 0)


def which(car: Ignition) -> list[int]:
    return [cylinder for cylinder in range(car.cylinders) if misses(car, cylinder)]


def _own(car: Car) -> Ignition:
    return practice.own(car)


def _n(at: At) -> int:
    """The index that a place names: `cylinder 3` is 2; of the coil lead it is beyond all."""
    number = at.place.rpartition(" ")[2]
    return int(number) - 1 if number.isdigit() else 99 if at.place else 0


def _runs(car: Ignition) -> bool:
    return car.switched


# ---- what a meter shows


@practice.sets("engine_speed")
def engine_speed(car: Car, at: At) -> float:
    return 2500.0


@practice.sets("winding_temperature")
def winding_temperature(car: Car, at: At) -> float:
    return 25.0


@practice.sets("revolutions")
def revolutions(car: Car, at: At) -> float:
    return 1000.0


@practice.reads("supply_key_on")
def supply_key_on(car: Car, at: At) -> float:
    return 12.4 - 0.6 * _own(car).feed


@practice.reads("supply_cranking")
def supply_cranking(car: Car, at: At) -> float:
    return 10.4 - _own(car).feed


@practice.reads("supply_running")
def supply_running(car: Car, at: At) -> float | None:
    return 14.2 - _own(car).feed if _runs(_own(car)) else None


@practice.reads("feed_drop")
def feed_drop(car: Car, at: At) -> float:
    return _own(car).feed


@practice.reads("ground_drop")
def ground_drop(car: Car, at: At) -> float:
    return _own(car).ground


@practice.reads("primary_resistance")
def primary_resistance(car: Car, at: At) -> float | None:
    now = _own(car)
    return now.primary[_n(at)] if _n(at) < len(now.primary) else None


@practice.reads("secondary_resistance")
def secondary_resistance(car: Car, at: At) -> float | None:
    now = _own(car)
    return now.secondary[_n(at)] if _n(at) < len(now.secondary) else None


@practice.reads("lead_length")
def lead_length(car: Car, at: At) -> float | None:
    now = _own(car)
    return 0.5 if now.kind != ON_PLUG and _n(at) < now.cylinders else None


@practice.reads("lead_resistance")
def lead_resistance(car: Car, at: At) -> float | None:
    now = _own(car)
    return now.leads[_n(at)] if now.kind != ON_PLUG and _n(at) < now.cylinders else None


@practice.reads("peak_current")
def peak_current(car: Car, at: At) -> float | None:
    now = _own(car)
    if _n(at) >= len(now.reach) or not now.switched:
        return None
    return now.peak * (12.0 - now.feed - now.ground) / 12.0


@practice.reads("available_voltage")
def available_voltage(car: Car, at: At) -> float | None:
    now = _own(car)
    return reached(now, _n(at)) if _n(at) < len(now.reach) and now.switched else None


@practice.reads("firing_voltage")
def firing_voltage(car: Car, at: At) -> float | None:
    now = _own(car)
    if _n(at) >= now.cylinders or not now.switched or now.kind == ON_PLUG:
        return None
    return min(available(now, _n(at)), now.idles * demanded(now, _n(at)))


@practice.reads("plug_gap", "removed_gap")
def plug_gap(car: Car, at: At) -> float | None:
    now = _own(car)
    return now.gaps[_n(at)] if _n(at) < now.cylinders else None


@practice.reads("plug_distance")
def plug_distance(car: Car, at: At) -> float:
    return 130000.0 if "worn, rounded electrodes" in _own(car).faces else 25000.0


@practice.reads("plug_insulation")
def plug_insulation(car: Car, at: At) -> float | None:
    now = _own(car)
    if _n(at) >= now.cylinders:
        return None
    return 0.5 if now.faces[_n(at)] == "cracked insulator" else 500.0


@practice.reads("misfires")
def misfires(car: Car, at: At) -> float | None:
    now = _own(car)
    if _n(at) >= now.cylinders or not _runs(now):
        return None
    return float(140 + 7 * _n(at)) if misses(now, _n(at)) else float(_n(at) % 2)


@practice.reads("compression")
def compression_pressure(car: Car, at: At) -> float | None:
    now = _own(car)
    if _n(at) >= now.cylinders:
        return None
    return 12.0 * (now.pressed if _n(at) == now.it else 1.0)


@practice.reads("speed_drop")
def speed_drop(car: Car, at: At) -> float | None:
    now = _own(car)
    if _n(at) >= now.cylinders or not _runs(now):
        return None
    return 3.0 if misses(now, _n(at)) else 60.0


@practice.reads("intake_pressure")
def intake_pressure(car: Car, at: At) -> float:
    return 85.0


# ---- what an eye sees and an ear hears


@practice.sees("plug_face")
def plug_face(car: Car, at: At) -> str | None:
    now = _own(car)
    if _n(at) >= now.cylinders:
        return None
    return (
        "wet with fuel"
        if now.faces[_n(at)].startswith("tan") and not sparks(now, _n(at))
        else now.faces[_n(at)]
    )


@practice.sees("spark")
def spark(car: Car, at: At) -> str | None:
    now = _own(car)
    if _n(at) >= now.cylinders:
        return None
    reaches = available(attrs.evolve(now, well="dry"), _n(at)) if now.switched else 0.0
    return "every time" if reaches > 20.0 else "weak or intermittent" if reaches > 2.0 else "none"


@practice.sees("spark_at_coil")
def spark_at_coil(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.kind != DISTRIBUTOR:
        return None
    return "none" if not now.switched else "every time" if reached(now, 0) > 20.0 else "weak or intermittent"


@practice.sees("boot_look")
def boot_look(car: Car, at: At) -> str | None:
    now = _own(car)
    return now.boots[_n(at)] if now.kind == ON_PLUG and _n(at) < now.cylinders else None


@practice.sees("lead_look")
def lead_look(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.kind == ON_PLUG or _n(at) >= now.cylinders:
        return None
    return "burnt or tracked" if now.leads[_n(at)] > 400.0 else "sound"


@practice.sees("lead_path")
def lead_path(car: Car, at: At) -> str | None:
    now = _own(car)
    return "shows a value" if now.kind != ON_PLUG and _n(at) < now.cylinders else None


@practice.sees("coil_look")
def coil_look(car: Car, at: At) -> str | None:
    return "sound" if _n(at) < len(_own(car).reach) else None


@practice.sees("routing")
def routing(car: Car, at: At) -> str:
    return "clear of it"


@practice.sees("timing_marks")
def timing_marks(car: Car, at: At) -> str:
    return "right"


@practice.sees("cap_look")
def cap_look(car: Car, at: At) -> str | None:
    return _own(car).cap if _own(car).kind == DISTRIBUTOR else None


@practice.sees("tower_gap")
def tower_gap(car: Car, at: At) -> str | None:
    return "no change" if _own(car).kind == DISTRIBUTOR else None


@practice.sees("secondary_path")
def secondary_path(car: Car, at: At) -> str | None:
    return "shows a value" if _n(at) < len(_own(car).secondary) else None


@practice.sees("switching")
def switching_seen(car: Car, at: At) -> str:
    return "pulses" if _own(car).switched else "stays high"


@practice.sees("heat")
def heat(car: Car, at: At) -> str:
    return "does not depend on it"


@practice.sees("ohms_compared")
def ohms_compared(car: Car, at: At) -> str | None:
    now = _own(car)
    if len(now.secondary) < 2:
        return None
    return "one differs" if min(now.secondary) < 0.8 * max(now.secondary) else "all alike"


@practice.sees("where")
def where(car: Car, at: At) -> str | None:
    now = _own(car)
    found = which(now)
    if not _runs(now):
        return None
    if not found:
        return "none seen"
    return (
        "all cylinders"
        if len(found) == now.cylinders
        else "one cylinder"
        if len(found) == 1
        else "some cylinders"
    )


@practice.sees("wells")
def wells(car: Car, at: At) -> str | None:
    now = _own(car)
    return None if _n(at) >= now.cylinders else now.well if _n(at) == now.it else "dry"


@practice.sees("mist")
def mist(car: Car, at: At) -> str | None:
    now = _own(car)
    if not _runs(now):
        return None
    leaks = now.cap != "sound" or "burnt or tracked" in now.boots or max(now.leads) > 400.0
    return "sparks are seen" if leaks else "nothing changes"


@practice.sees("points_look")
def points_look(car: Car, at: At) -> str | None:
    return None  # every practice car is switched by a module


@practice.sees("rpm")
def rpm(car: Car, at: At) -> str:
    return "shown" if _own(car).crank else "none"


@practice.sees("trims")
def trims(car: Car, at: At) -> str | None:
    now = _own(car)
    if not _runs(now):
        return None
    return "lean at idle only" if now.leak > 0.1 else "lean under load" if now.pressure < 0.8 else "usual"


@practice.sees("intake_smoke")
def intake_smoke(car: Car, at: At) -> str:
    return "leaks" if _own(car).leak > 0.1 else "tight"


@practice.sees("ripplecrank")
def ripplecrank(car: Car, at: At) -> str:
    return "one low" if _own(car).pressed < 0.75 else "even"


@practice.sees("inject")
def inject(car: Car, at: At) -> str:
    return "stays, and all alike" if _own(car).injector else "moves with the injector"


@practice.sees("pressure")
def pressure(car: Car, at: At) -> str:
    return "right" if _own(car).pressure > 0.85 else "low"


@practice.sees("boot")
def boot_alone(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.kind != ON_PLUG or not which(now):
        return None
    return "goes with the boot alone" if now.boots[which(now)[0]] != "sound" else "stays"


def _swap(car: Ignition, *, is_it: bool) -> str | None:
    """What comes of a swap of a part with another cylinder's; None where no single cylinder misfires."""
    if len(which(car)) != 1 or not _runs(car):
        return None
    return "followed it" if is_it else "stayed with the cylinder"


@practice.sees("coil_swap")
def coil_swap(car: Car, at: At) -> str | None:
    now = _own(car)
    return _swap(now, is_it=min(now.reach) < 15.0) if now.kind == ON_PLUG else None


@practice.sees("plug_swap")
def plug_swap(car: Car, at: At) -> str | None:
    now = _own(car)
    return _swap(now, is_it="cracked insulator" in now.faces)


@practice.sees("lead_swap")
def lead_swap(car: Car, at: At) -> str | None:
    now = _own(car)
    return _swap(now, is_it=max(now.leads) > 40.0) if now.kind != ON_PLUG else None


@practice.codes
def codes(car: Car) -> list[str]:
    now = _own(car)
    if not now.crank:
        return ["P0335"]
    if not now.switched:
        return []
    found = which(now)
    if len(found) > 2:
        return ["P0300"]
    return [f"P030{cylinder + 1}" for cylinder in found]


practice.refuses("these cars have no breaker points and no pickup winding", "condenser", "pickup_resistance")
practice.refuses("nobody brought a scope", "dwell", "ramp", "burn_time", "burn_voltage")
practice.refuses(
    "it is not known of these cars",
    "rotor",
    "current_limit",
    "compression_ratio",
    "coil_resistance",
    "inductance",
    "off_time",
)
practice.refuses(
    "nothing is proposed yet", "proposed_gap", "proposed_resistance", "proposed_inductance", "proposed_limit"
)

# ---- what it is fitted with


@practice.fits("cylinders")
def cylinders(car: Car) -> str:
    return str(_own(car).cylinders)


@practice.fits("banks")
def banks(car: Car) -> str:
    return "one bank"


@practice.fits("drop_meter")
def drop_meter(car: Car) -> str:
    return "peak hold, scope or record"


@practice.fits("kind")
def kind(car: Car) -> str:
    return _own(car).kind


@practice.fits("coil_pairs")
def coil_pairs(car: Car) -> str | None:
    now = _own(car)
    if now.kind != WASTED:
        return None
    return "1 with 4, 2 with 3" if now.cylinders == 4 else "1 with 6, 2 with 5, 3 with 4"


@practice.fits("electrodes")
def electrodes(car: Car) -> str:
    return "nickel"


@practice.fits("coil_type")
def coil_type(car: Car) -> str:
    return "electronic"


@practice.fits("coil_wires")
def coil_wires(car: Car) -> str:
    return "two wires"


@practice.fits("ballast")
def ballast(car: Car) -> str:
    return "not fitted"


@practice.fits("diode")
def diode(car: Car) -> str:
    return "not fitted"


@practice.fits("lead_type")
def lead_type(car: Car) -> str | None:
    return "carbon" if _own(car).kind != ON_PLUG else None


@practice.fits("plug_type")
def plug_type(car: Car) -> str:
    return "with resistor"


# ---- what work does, and whether it is needed


@practice.does("replace_plugs")
def replace_plugs(car: Ignition, work: str) -> Ignition:
    return attrs.evolve(car, gaps=(0.9,) * car.cylinders, faces=("new",) * car.cylinders)


@practice.does("set_gaps")
def set_gaps(car: Ignition, work: str) -> Ignition:
    return attrs.evolve(car, gaps=(0.9,) * car.cylinders)


@practice.does("replace_coil")
def replace_coil(car: Ignition, work: str) -> Ignition:
    coil = car.reach.index(min(car.reach))
    sound = max(car.secondary)
    return attrs.evolve(
        car, reach=_at(car.reach, coil, max(30.0, car.reach[coil])), secondary=_at(car.secondary, coil, sound)
    )


@practice.does("replace_leads")
def replace_leads(car: Ignition, work: str) -> Ignition:
    return attrs.evolve(car, leads=(6.0,) * car.cylinders)


@practice.does("replace_boots")
def replace_boots(car: Ignition, work: str) -> Ignition:
    return attrs.evolve(car, boots=("sound",) * car.cylinders)


@practice.does("replace_cap")
def replace_cap(car: Ignition, work: str) -> Ignition:
    return attrs.evolve(car, cap="sound")


@practice.does("repair_supply")
def repair_supply(car: Ignition, work: str) -> Ignition:
    return attrs.evolve(car, feed=0.15)


@practice.does("repair_ground")
def repair_ground(car: Ignition, work: str) -> Ignition:
    return attrs.evolve(car, ground=0.05)


@practice.does("repair_switching")
def repair_switching(car: Ignition, work: str) -> Ignition:
    return attrs.evolve(car, switched=car.crank)


@practice.shows_at
def misfiring(car: Car, part: str) -> list[str]:
    now = _own(car)
    called = {"ignition.coil": "coil", "ignition.leads": "lead"}.get(part, "cylinder")
    return [f"{called} {cylinder + 1}" for cylinder in which(now)] if _runs(now) else []


@practice.does("coil", "plugs", "leads", "boots")
def swapped(car: Ignition, trial: Trial) -> Ignition | None:
    """Two of a kind exchanged between two cylinders."""
    here, there = (_n(At(name)) for name in (trial.place, trial.other))
    if trial.how != "swapped" or not trial.place or max(here, there) >= car.cylinders:
        return None
    part = trial.part.rpartition(".")[2]
    if part == "coil" and car.kind == ON_PLUG:
        return attrs.evolve(
            car,
            reach=_exchanged(car.reach, here, there),
            primary=_exchanged(car.primary, here, there),
            secondary=_exchanged(car.secondary, here, there),
        )
    if part == "plugs":
        gaps = _exchanged(car.gaps, here, there)
        return attrs.evolve(car, gaps=gaps, faces=_exchanged(car.faces, here, there))
    if part == "leads" and car.kind != ON_PLUG:
        return attrs.evolve(car, leads=_exchanged(car.leads, here, there))
    if part == "boots" and car.kind == ON_PLUG:
        return attrs.evolve(car, boots=_exchanged(car.boots, here, there))
    return None


def _exchanged(values: tuple[_T, ...], here: int, there: int) -> tuple[_T, ...]:
    found = list(values)
    found[here], found[there] = found[there], found[here]
    return tuple(found)


@practice.needs("replace_plugs")
def needs_plugs(car: Car) -> bool | None:
    now = _own(car)
    if max(now.gaps) > 1.3 or "cracked insulator" in now.faces:
        return True
    return None if max(now.gaps) > 1.1 else False


@practice.needs("set_gaps")
def needs_gaps(car: Car) -> bool | None:
    return None if max(_own(car).gaps) > 1.1 else False


@practice.needs("replace_coil")
def needs_coil(car: Car) -> bool:
    return min(_own(car).reach) < 15.0


@practice.needs("replace_leads")
def needs_leads(car: Car) -> bool:
    now = _own(car)
    return now.kind != ON_PLUG and max(now.leads) > 40.0


@practice.needs("replace_boots")
def needs_boots(car: Car) -> bool:
    now = _own(car)
    return now.kind == ON_PLUG and "burnt or tracked" in now.boots


@practice.needs("replace_cap")
def needs_cap(car: Car) -> bool:
    return _own(car).kind == DISTRIBUTOR and _own(car).cap != "sound"


@practice.needs("repair_supply")
def needs_supply(car: Car) -> bool | None:
    now = _own(car)
    return True if now.feed > 1.2 else None if now.feed > 0.5 else False


@practice.needs("repair_ground")
def needs_ground(car: Car) -> bool | None:
    now = _own(car)
    return True if now.ground > 0.8 else None if now.ground > 0.3 else False


@practice.needs("repair_switching")
def needs_switching(car: Car) -> bool:
    return not _own(car).switched and _own(car).crank


@practice.tells
def complaints(car: Car) -> list[str]:
    now = _own(car)
    if not now.switched:
        return ["cranks_no_start"]
    found = which(now)
    if not found:
        return []
    return ["misses_under_load", "engine_lamp"] if len(found) < now.cylinders else ["no_power", "engine_lamp"]
