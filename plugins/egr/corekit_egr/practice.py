"""The exhaust-gas recirculation of a practice car, of two kinds: a vacuum valve with a differential-pressure
sensor, and a valve with an electric motor and position feedback; petrol engine.

Every size is an estimate of ours, unless its line says more; conclusions drawn from practice cars have to
survive each estimate moved by a third. Pressure across an orifice goes with the square of the flow
(ISO 5167-2, form alone).
"""

from __future__ import annotations

import math
import random

import attrs

from corekit.practice import At, Car, Practice, estimate

from .declarations import egr

VACUUM, MOTOR = "vacuum, with regulator", "electric motor"


@attrs.frozen(kw_only=True)
class Egr:
    """The system as it stands.

    Attributes:
        valve: Kind of valve. later: The sensor is of the later type. litres: Displacement.
        supply: Vacuum at the regulator's inlet, warm idle, inHg. gives: Share of it that the regulator
            passes on at full command. lets: Vacuum at the valve with the regulator unpowered, inHg.
        coil: Resistance of the regulator's winding, Ω.
        hose, diaphragm: Vacuum that the hose to the valve, and the valve, lose in a minute, inHg of ten.
        moves: Share of its way that the stem or flap moves. shut: Share that stays open at rest.
        passage: Share of the flow that carbon leaves. soot: deposits, in the words of the answer.
        zero: Sensor's signal without pressure, V. slope: share of the sound sensor's.
        upstream, downstream: share of the pressure that reaches it through each hose.
        ports: share that the ports of the tube pass on. commanded: a command arrives.
        grounded: loss on the sensor's ground, V. fed: supply and command at the motor are good.
        current: A of the motor. reported: the position signal follows; off: by how much it reads too far, %.
        full: kPa across the orifice with the valve wide open at 2500 rpm. opens, is_open: inHg from which a
            vacuum valve begins to open, and at which it is open.
        pulls: inHg of a hand pump on a sound valve. at_shut: kPa in the manifold at warm idle; adds: kPa more
            with the valve wide open. warm, hot: °C of the tube at idle, and by how much it warms up.
        rough, stalls: Share of full flow at idle from which the engine runs roughly, and stalls.
    """

    valve: str
    later: bool
    litres: float
    supply: float = 18.0
    gives: float = estimate(0.75)
    lets: float = 0.0
    coil: float = 40.0
    hose: float = estimate(0.1)
    diaphragm: float = estimate(0.1)
    moves: float = 1.0
    shut: float = 0.0
    passage: float = 1.0
    soot: str = "light deposits"
    zero: float = 1.0
    slope: float = 1.0
    upstream: float = 1.0
    downstream: float = 1.0
    ports: float = 1.0
    commanded: bool = True
    grounded: float = estimate(0.01)
    fed: bool = True
    current: float = estimate(1.2)
    reported: bool = True
    off: float = 0.0
    full: float = estimate(14.0)
    opens: float = estimate(4.0)
    is_open: float = estimate(10.0)
    pulls: float = estimate(14.0)
    at_shut: float = estimate(34.0)
    adds: float = estimate(12.0)
    warm: float = estimate(60.0)
    hot: float = estimate(120.0)
    rough: float = estimate(0.3)
    stalls: float = estimate(0.6)


def _sound(draw: random.Random) -> Egr:
    later = draw.random() < 0.6
    return Egr(
        valve=VACUUM if draw.random() < 0.6 else MOTOR,
        later=later,
        litres=draw.choice((1.6, 2.0, 2.5, 3.0)),
        supply=draw.uniform(16.5, 20.0),
        gives=draw.uniform(0.65, 0.85),
        coil=draw.uniform(32.0, 55.0),
        zero=draw.uniform(0.95, 1.05) if later else draw.uniform(0.42, 0.5),
        soot=draw.choice(("clean", "light deposits")),
        current=draw.uniform(0.8, 1.6),
    )


practice = Practice(egr, _sound)

# ---- what can be wrong with it


@practice.fault(
    "passage",
    "A passage with {size} of its flow left.",
    size=(3, 25),
    unit="%",
    mends="clean",
    named=("passage", "motor_passage"),
)
def passage(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, passage=size / 100.0, soot="choked")


@practice.fault(
    "ports",
    "Ports of the metering tube that passed on {size}.",
    size=(0, 15),
    unit="%",
    mends="clean",
    named="ports",
)
def ports(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, ports=size / 100.0, valve=VACUUM)


@practice.fault(
    "slope",
    "A sensor with {size} of its slope.",
    size=(0, 30),
    unit="%",
    mends="replace_sensor",
    named="sensor",
)
def slope(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, slope=size / 100.0, valve=VACUUM)


@practice.fault(
    "zero",
    "A sensor whose zero had drifted by {size}.",
    size=(0.35, 1.2),
    unit="V",
    mends="replace_sensor",
    named="sensor_zero",
    comes_and_goes=True,
)
def zero(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, zero=car.zero + size, valve=VACUUM)


@practice.fault(
    "upstream",
    "An upstream sensor hose that passed on {size}.",
    size=(0, 20),
    unit="%",
    mends="replace_sensing_hoses",
    named="upstream_hose",
)
def upstream(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, upstream=size / 100.0, valve=VACUUM)


@practice.fault(
    "regulator",
    "A regulator that passed on {size} of its vacuum.",
    size=(0, 15),
    unit="%",
    mends="replace_regulator",
    named="regulator",
)
def regulator(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, gives=size / 100.0, valve=VACUUM)


@practice.fault(
    "lets",
    "A regulator that let {size} through while it was off.",
    size=(5, 14),
    unit="inHg",
    mends="replace_regulator",
    named="regulator_open",
)
def lets(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, lets=size, valve=VACUUM)


@practice.fault("coil", "A regulator with an open coil.", mends="replace_regulator", named="regulator_coil")
def coil(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, coil=1e6, gives=0.0, valve=VACUUM)


@practice.fault(
    "hose",
    "A vacuum hose that lost {size} of ten in a minute.",
    size=(6, 10),
    unit="inHg",
    mends="replace_vacuum_hose",
    named=("valve_hose", "vacuum_hose"),
)
def hose(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, hose=size, valve=VACUUM)


@practice.fault(
    "diaphragm",
    "A diaphragm that lost {size} of ten in a minute.",
    size=(7, 10),
    unit="inHg",
    mends="replace_valve",
    named="diaphragm",
)
def diaphragm(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, diaphragm=size, valve=VACUUM)


@practice.fault(
    "carbon",
    "A valve that carbon held shut: it moved {size} of its way.",
    size=(0, 8),
    unit="%",
    mends="clean",
    named=("valve_carbon", "soot_valve"),
)
def carbon(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, moves=size / 100.0, soot="choked", current=2.6)


@practice.fault(
    "seat",
    "Carbon kept the valve {size} open.",
    size=(15, 40),
    unit="%",
    mends="clean",
    named=("valve_seat", "soot_seat"),
)
def seat(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, shut=size / 100.0, soot="choked")


@practice.fault("motor", "The valve's motor had failed.", mends="replace_valve", named="valve_motor")
def motor(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, moves=0.0, current=0.0, valve=MOTOR)


@practice.fault(
    "position", "The valve's position sensor had failed.", mends="replace_valve", named="valve_position"
)
def position(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, reported=False, valve=MOTOR)


@practice.fault(
    "gear",
    "A motor whose worn gear moved the valve {size} of its way.",
    size=(12, 45),
    unit="%",
    mends="replace_valve",
    named="valve_motor",
)
def gear(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, moves=size / 100.0, valve=MOTOR)  # teeth that slip do not load the motor


@practice.fault(
    "drifted",
    "A position sensor that read {size} too far.",
    size=(15, 40),
    unit="%",
    mends="replace_valve",
    named="valve_position",
)
def drifted(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, off=size, valve=MOTOR)


@practice.fault(
    "supply",
    "A supply hose that left {size} of vacuum.",
    size=(2, 7),
    unit="inHg",
    mends="replace_vacuum_hose",
    named="vacuum_hose",
)
def supply(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, supply=size, valve=VACUUM)


@practice.fault(
    "wiring",
    "No command reached the valve.",
    mends="repair_wiring",
    named=("wiring", "motor_wiring"),
    comes_and_goes=True,
)
def wiring(car: Egr, size: float) -> Egr:
    return attrs.evolve(car, commanded=False, fed=False)


# ---- how it behaves

_LATER, _EARLIER = 0.11, 0.1412  # V per kPa; the earlier type's from memory of its transfer line


def at_valve(car: Egr, vacuum: float) -> float:
    """Vacuum that reaches the valve of what the regulator gives: leaks behind it let it down."""
    left = max(0.0, 1.0 - 0.09 * car.hose)
    return vacuum * left * (0.15 if car.diaphragm > 5.0 else 1.0)


def outlet(car: Egr) -> float:
    """Vacuum at the regulator's outlet, commanded to 80 %, inHg."""
    return car.supply * car.gives if car.commanded else car.lets


def _lifted(car: Egr, vacuum: float) -> float:
    """Share of its way that a vacuum valve which moves freely is lifted."""
    return max(0.0, min(1.0, (vacuum - car.opens) / (car.is_open - car.opens)))


def opening(car: Egr, *, by_hand: bool) -> float:
    """Share of its flow that the valve lets through when it is opened."""
    if car.valve == MOTOR:
        return stands(car, 60.0) / 60.0
    vacuum = (1.0 if car.diaphragm > 5.0 else car.pulls) if by_hand else at_valve(car, outlet(car))
    lifted = _lifted(car, vacuum)
    return max(car.shut, lifted * car.moves)


def stands(car: Egr, wanted: float) -> float:
    """Where a motor valve stands, %, that is moved until it reads what is wanted: one whose sensor reads too
    far stops short by that.
    """
    reached = max(0.0, wanted - car.off) * car.moves if car.commanded and car.fed else 0.0
    return max(100.0 * car.shut, reached)


def at_rest(car: Egr) -> float:
    """Share of its flow with nothing commanded."""
    if car.valve == MOTOR:
        return car.shut
    lifted = _lifted(car, at_valve(car, car.lets))
    return max(car.shut, lifted * car.moves)


def flow(car: Egr, share: float) -> float:
    """Relative flow, 0 to 1, behind a restricted passage."""
    return share * car.passage


def _good_zero(car: Egr) -> float:
    """V of a new sensor of its type without pressure."""
    return 1.0 if car.later else 0.46


def signal(car: Egr, share: float) -> float:
    """Of the pressure sensor at this opening, V."""
    pressure = car.full * flow(car, share) ** 2
    seen = pressure * car.ports * car.upstream * (2.0 - car.downstream)
    return min(
        4.9, max(0.05, car.zero + car.slope * (_LATER if car.later else _EARLIER) * seen + car.grounded)
    )


# ---- what a meter shows


def _own(car: Car) -> Egr:
    return practice.own(car)


def _is_vacuum(car: Car) -> bool:
    return _own(car).valve == VACUUM


@practice.sets("barometer")
def barometer(car: Car, at: At) -> float:
    return 99.0


@practice.sets("altitude")
def altitude(car: Car, at: At) -> float:
    return 200.0


@practice.sets("engine_speed")
def engine_speed(car: Car, at: At) -> float:
    return 2500.0


@practice.sets("hand_vacuum")
def hand_vacuum(car: Car, at: At) -> float:
    return 5.0


@practice.sets("hand_pressure")
def hand_pressure(car: Car, at: At) -> float:
    return 15.0


@practice.sets("duty")
def duty(car: Car, at: At) -> float:
    return 80.0 if _own(car).commanded else 0.0


@practice.sets("commanded")
def commanded(car: Car, at: At) -> float:
    return 60.0


@practice.sets("coil_temperature")
def coil_temperature(car: Car, at: At) -> float:
    return 40.0


@practice.sets("smoke_pressure")
def smoke_pressure(car: Car, at: At) -> float:
    return 3.0


@practice.reads("sensor_supply", "supply_unplugged")
def sensor_supply(car: Car, at: At) -> float | None:
    return 5.0 if _is_vacuum(car) else None


@practice.reads("sensor_ground")
def sensor_ground(car: Car, at: At) -> float:
    return _own(car).grounded


@practice.reads("signal_zero", "signal_vented", "signal_seen")
def signal_zero(car: Car, at: At) -> float | None:
    return signal(_own(car), 0.0) if _is_vacuum(car) else None


@practice.reads("signal_unplugged")
def signal_unplugged(car: Car, at: At) -> float | None:
    return 0.02 if _is_vacuum(car) else None


@practice.reads("signal_idle")
def signal_idle(car: Car, at: At) -> float | None:
    now = _own(car)
    return signal(now, 0.5 * at_rest(now)) if _is_vacuum(car) else None


@practice.reads("signal_open")
def signal_open(car: Car, at: At) -> float | None:
    now = _own(car)
    return signal(now, opening(now, by_hand=True)) if _is_vacuum(car) else None


@practice.reads("signal_free")
def signal_free(car: Car, at: At) -> float | None:
    now = attrs.evolve(_own(car), passage=1.0)
    return signal(now, opening(now, by_hand=True)) if _is_vacuum(car) else None


@practice.reads("signal_pumped")
def signal_pumped(car: Car, at: At) -> float | None:
    now = _own(car)
    pressure = 3.38639 * at.setup.get("egr.hand_vacuum", 5.0)
    slope = now.slope * (_LATER if now.later else _EARLIER)
    return min(4.9, now.zero + slope * pressure) if _is_vacuum(car) else None


@practice.reads("signal_upstream")
def signal_upstream(car: Car, at: At) -> float | None:
    now = _own(car)
    slope = now.slope * (_LATER if now.later else _EARLIER)
    return min(4.9, now.zero + slope * at.setup.get("egr.hand_pressure", 15.0)) if _is_vacuum(car) else None


@practice.reads("pressure_open")
def pressure_open(car: Car, at: At) -> float | None:
    now = _own(car)
    seen = now.ports * now.upstream
    return now.full * flow(now, opening(now, by_hand=True)) ** 2 * seen if _is_vacuum(car) else None


@practice.reads("manifold_shut")
def manifold_shut(car: Car, at: At) -> float:
    now = _own(car)
    return now.at_shut + now.adds * flow(now, at_rest(now))


@practice.reads("manifold_open")
def manifold_open(car: Car, at: At) -> float:
    now = _own(car)
    return now.at_shut + now.adds * flow(now, opening(now, by_hand=True))


@practice.reads("tube_shut")
def tube_shut(car: Car, at: At) -> float:
    now = _own(car)
    return now.warm + now.hot * math.sqrt(flow(now, at_rest(now)))


@practice.reads("tube_open")
def tube_open(car: Car, at: At) -> float:
    now = _own(car)
    return now.warm + now.hot * math.sqrt(flow(now, opening(now, by_hand=True)))


@practice.reads("supply_vacuum")
def supply_vacuum(car: Car, at: At) -> float | None:
    return _own(car).supply if _is_vacuum(car) else None


@practice.reads("vacuum_off")
def vacuum_off(car: Car, at: At) -> float | None:
    now = _own(car)
    return at_valve(now, now.lets) if _is_vacuum(car) else None


@practice.reads("vacuum_on")
def vacuum_on(car: Car, at: At) -> float | None:
    now = _own(car)
    return at_valve(now, outlet(now)) if _is_vacuum(car) else None


@practice.reads("vacuum_outlet")
def vacuum_outlet(car: Car, at: At) -> float | None:
    return outlet(_own(car)) if _is_vacuum(car) else None


@practice.reads("hold_loss")
def hold_loss(car: Car, at: At) -> float | None:
    return _own(car).diaphragm if _is_vacuum(car) else None


@practice.reads("hose_loss")
def hose_loss(car: Car, at: At) -> float | None:
    return _own(car).hose if _is_vacuum(car) else None


@practice.reads("coil")
def coil_resistance(car: Car, at: At) -> float | None:
    return _own(car).coil if _is_vacuum(car) else None


@practice.reads("error")
def error(car: Car, at: At) -> float:
    now = _own(car)
    wanted = at.setup.get("egr.commanded", 60.0)
    return max(-100.0, min(100.0, 100.0 * (flow(now, opening(now, by_hand=False)) - 1.0))) if wanted else 0.0


@practice.reads("position")
def position_reported(car: Car, at: At) -> float | None:
    now = _own(car)
    wanted = at.setup.get("egr.commanded", 60.0)
    if now.valve != MOTOR:
        return None
    return min(100.0, stands(now, wanted) + now.off) if now.reported else 0.0


@practice.reads("position_closed")
def position_closed(car: Car, at: At) -> float | None:
    now = _own(car)
    return (3.0 + 100.0 * now.shut + now.off if now.reported else 0.0) if now.valve == MOTOR else None


@practice.reads("position_learned")
def position_learned(car: Car, at: At) -> float | None:
    return 3.0 if _own(car).valve == MOTOR else None


@practice.reads("drive_current")
def drive_current(car: Car, at: At) -> float | None:
    now = _own(car)
    return (now.current if now.commanded and now.fed else 0.0) if now.valve == MOTOR else None


# ---- what an eye sees and an ear hears


@practice.sees("reaction")
def reaction(car: Car, at: At) -> str | None:
    now = _own(car)
    runs = flow(now, opening(now, by_hand=True))
    return (
        "stalls"
        if runs > now.stalls
        else "runs rough"
        if runs > now.rough
        else "changes slightly"
        if runs > 0.08
        else "no change"
    )


@practice.sees("bypass")
def bypass(car: Car, at: At) -> str | None:
    return ("engine reacts" if reaction(car, at) != "no change" else "no change") if _is_vacuum(car) else None


@practice.sees("stem")
def stem(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != VACUUM or now.diaphragm > 5.0:
        return None if now.valve != VACUUM else "does not move"
    return "moves" if now.moves > 0.7 else "moves partly" if now.moves > 0.1 else "does not move"


@practice.sees("sensing_hoses")
def sensing_hoses(car: Car, at: At) -> str | None:
    now = _own(car)
    return (
        ("cracked" if min(now.upstream, now.downstream) < 0.5 else "sound") if now.valve == VACUUM else None
    )


@practice.sees("vacuum_hoses")
def vacuum_hoses(car: Car, at: At) -> str | None:
    now = _own(car)
    return ("cracked" if now.hose > 4.0 or now.supply < 10.0 else "sound") if _is_vacuum(car) else None


@practice.sees("deposits")
def deposits(car: Car, at: At) -> str:
    return _own(car).soot


@practice.sees("flap")
def flap(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != MOTOR:
        return None
    return (
        "jams with soot"
        if now.soot == "choked" and (now.moves < 0.5 or now.shut > 0.1)
        else "thin soot, moves"
    )


@practice.sees("rough")
def rough(car: Car, at: At) -> str:
    now = _own(car)
    return "idles roughly" if flow(now, at_rest(now)) > 0.1 else "idles evenly"


@practice.sees("pulses")
def pulses(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != VACUUM:
        return None
    return "missing at one" if min(now.ports, now.upstream, now.downstream) < 0.3 else "felt at both"


@practice.sees("ports")
def ports_seen(car: Car, at: At) -> str | None:
    return ("blocked" if _own(car).ports < 0.3 else "free") if _is_vacuum(car) else None


@practice.sees("seat")
def seat_seen(car: Car, at: At) -> str:
    return "leaks" if _own(car).shut > 0.05 else "tight"


@practice.sees("coil_path")
def coil_path(car: Car, at: At) -> str | None:
    return ("reads open" if _own(car).coil > 1e3 else "reads a value") if _is_vacuum(car) else None


@practice.sees("exhaust")
def exhaust(car: Car, at: At) -> str:
    return "as built and tight"


@practice.sees("vent_filter")
def vent_filter(car: Car, at: At) -> str | None:
    return "clean" if _is_vacuum(car) else None


@practice.sees("vacuum_drive")
def vacuum_drive(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != VACUUM:
        return None
    return "comes and goes with the throttle" if at_valve(now, outlet(now)) > 4.0 else "never any"


@practice.sees("idle_plugged")
def idle_plugged(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != VACUUM:
        return None
    return "idles roughly all the same" if flow(now, now.shut) > 0.1 else "idles evenly then"


@practice.sees("sweep")
def sweep(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != MOTOR:
        return None
    if not now.reported or not now.commanded or not now.fed or now.moves < 0.1:
        return "does not follow"
    short = now.moves < 0.8 or now.shut > 0.05 or now.off > 10.0  # it never reads what its closed end should
    return "slow or short of the ends" if short else "follows"


@practice.sees("learned")
def learned(car: Car, at: At) -> str | None:
    now = _own(car)
    return (
        ("off the learned value" if now.shut > 0.05 or now.off > 5.0 or not now.reported else "as learned")
        if now.valve == MOTOR
        else None
    )


@practice.sees("fed")
def fed(car: Car, at: At) -> str | None:
    return ("good under load" if _own(car).fed else "bad") if _own(car).valve == MOTOR else None


@practice.sees("motor_current")
def motor_current(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != MOTOR:
        return None
    runs = now.current if now.commanded and now.fed else 0.0
    return "no current" if runs < 0.1 else "high" if runs > 2.2 else "usual"


@practice.sees("position_by_hand")
def position_by_hand(car: Car, at: At) -> str | None:
    return ("follows" if _own(car).reported else "stays") if _own(car).valve == MOTOR else None


@practice.sees("sound")
def sound(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != MOTOR:
        return None
    if not now.commanded or not now.fed or now.current < 0.1:
        return "silent"
    if now.moves < 0.7:
        return "strains against something" if now.soot == "choked" else "runs on, clicks or rattles"
    return "runs evenly"


@practice.sees("driven_off")
def driven_off(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != MOTOR:
        return None
    if not now.commanded or not now.fed or now.current < 0.1:
        return "does not move"
    return "moves all the way with force" if now.moves > 0.7 else "slips, or stops short"


@practice.sees("stops")
def stops(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != MOTOR:
        return None
    if now.off > 5.0:
        return "off at both by as much"
    return "off at one of them" if not now.reported or now.shut > 0.05 else "as learned at both"


@practice.sees("stem_by_hand")
def stem_by_hand(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != VACUUM:
        return None
    return (
        "moves and springs back"
        if now.moves > 0.7
        else "moves partly, or grates"
        if now.moves > 0.1
        else "does not move"
    )


@practice.sees("sensor_beside")
def sensor_beside(car: Car, at: At) -> str | None:
    if not _is_vacuum(car):
        return None
    apart = abs(_own(car).zero - _good_zero(_own(car)))
    return "another by 0.2 V or more" if apart >= 0.2 else "the same"


@practice.sees("monitor_result")
def monitor_result(car: Car, at: At) -> str:
    return "fails" if codes(car) else "passes"


@practice.sees("read_against")
def read_against(car: Car, at: At) -> str:
    return "sensor ground at the plug"


@practice.sees("vacuum_smoke")
def vacuum_smoke(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.valve != VACUUM:
        return None
    if now.hose > 4.0 or now.supply < 10.0:
        return "from a vacuum hose"
    if now.lets > 2.0:
        return "from the regulator's valve port, unpowered"
    return "from the valve's diaphragm or stem" if now.diaphragm > 5.0 else "nowhere"


@practice.sees("intake_smoke")
def intake_smoke(car: Car, at: At) -> str:
    now = _own(car)
    return "from the upstream sensor hose" if now.upstream < 0.5 and now.valve == VACUUM else "tight"


@practice.sees("maker_flow", "maker_signal", "maker_hose")
def maker(car: Car, at: At) -> str:
    return "not of that"


@practice.codes
def codes(car: Car) -> list[str]:
    now = _own(car)
    found = []
    if now.valve == MOTOR:
        if not now.commanded or not now.fed or now.current == 0.0:
            found.append("P0403")
        if not now.reported:
            found.append("P0405")
        if now.off > 10.0:
            found.append("P0404")
        if now.moves < 0.5 and now.reported:
            found.append("P042E")
    if now.valve == VACUUM and (now.coil > 1e3 or not now.commanded):
        found.append("P0403")
    if now.valve == VACUUM and now.zero > (1.35 if now.later else 0.8):
        found.append("P0406")
    if (now.valve == VACUUM and signal(now, opening(now, by_hand=False)) < now.zero + 0.25) or flow(
        now, opening(now, by_hand=False)
    ) < 0.3:
        found.append("P0401")
    if flow(now, at_rest(now)) > 0.1:
        found.append("P0402")
    return found


practice.refuses(
    "these cars have petrol engines without an air mass meter",
    "intake_air",
    "air_shut",
    "air_open",
    "air_mass",
    "air_drop",
    "throttle",
)
practice.refuses("these cars have no cooler in it", "coolant", "cooler_drop")
practice.refuses("these cars have no back-pressure valve", "raised")
practice.refuses("its codes were not cleared", "monitor")

# ---- what it is fitted with


@practice.fits("engine")
def engine(car: Car) -> str:
    return "petrol"


@practice.fits("valve")
def valve(car: Car) -> str:
    return _own(car).valve


@practice.fits("sensor")
def sensor(car: Car) -> str:
    now = _own(car)
    if now.valve == MOTOR:
        return "valve position"
    return "differential pressure, later type" if now.later else "differential pressure, earlier type"


@practice.fits("layout")
def layout(car: Car) -> str | None:
    return "before the valve" if _is_vacuum(car) else None


@practice.fits("cooler")
def cooler(car: Car) -> str:
    return "not fitted"


@practice.fits("regulator")
def regulator_kind(car: Car) -> str | None:
    return "duty cycle" if _is_vacuum(car) else None


@practice.fits("displacement")
def displacement(car: Car) -> str:
    return f"{_own(car).litres:g} L"


# ---- what work does, and whether it is needed


@practice.does("clean")
def clean(car: Egr, work: str) -> Egr:
    held = car.soot == "choked"
    return attrs.evolve(
        car,
        passage=1.0,
        ports=1.0,
        soot="clean",
        shut=0.0 if held else car.shut,
        moves=1.0 if held and car.current > 0.0 else car.moves,
        current=1.2 if held and car.current > 2.2 else car.current,
    )


@practice.does("clean_filter")
def clean_filter(car: Egr, work: str) -> Egr:
    return car


@practice.does("replace_valve")
def replace_valve(car: Egr, work: str) -> Egr:
    return attrs.evolve(car, diaphragm=0.1, moves=1.0, shut=0.0, current=1.2, reported=True, off=0.0)


@practice.does("replace_sensor")
def replace_sensor(car: Egr, work: str) -> Egr:
    return attrs.evolve(car, zero=_good_zero(car), slope=1.0)


@practice.does("replace_regulator")
def replace_regulator(car: Egr, work: str) -> Egr:
    return attrs.evolve(car, gives=0.75, lets=0.0, coil=40.0)


@practice.does("replace_sensing_hoses")
def replace_sensing_hoses(car: Egr, work: str) -> Egr:
    return attrs.evolve(car, upstream=1.0, downstream=1.0)


@practice.does("replace_vacuum_hose")
def replace_vacuum_hose(car: Egr, work: str) -> Egr:
    return attrs.evolve(car, hose=0.1, supply=max(18.0, car.supply))


@practice.does("repair_wiring")
def repair_wiring(car: Egr, work: str) -> Egr:
    return attrs.evolve(car, commanded=True, fed=True, grounded=0.01)


@practice.needs("clean")
def needs_clean(car: Car) -> bool | None:
    now = _own(car)
    if now.passage < 0.4 or (now.valve == VACUUM and now.ports < 0.3):
        return True
    if now.soot == "choked" and (now.moves < 0.5 or now.shut > 0.1):
        return True
    return None if now.soot != "clean" else False


@practice.needs("clean_filter")
def needs_clean_filter(car: Car) -> bool:
    return False


@practice.needs("replace_valve")
def needs_valve(car: Car) -> bool:
    now = _own(car)
    if now.valve == MOTOR:
        fails = not now.reported or now.off > 10.0 or now.current == 0.0
        return fails or (now.soot != "choked" and now.moves < 0.5)
    return now.diaphragm > 4.0 or (now.soot != "choked" and (now.moves < 0.5 or now.shut > 0.1))


@practice.needs("replace_sensor")
def needs_sensor(car: Car) -> bool:
    now = _own(car)
    return now.valve == VACUUM and (now.slope < 0.6 or abs(now.zero - _good_zero(now)) > 0.25)


@practice.needs("replace_regulator")
def needs_regulator(car: Car) -> bool:
    now = _own(car)
    return now.valve == VACUUM and (now.gives < 0.4 or now.lets > 2.0 or now.coil > 200.0)


@practice.needs("replace_sensing_hoses")
def needs_sensing_hoses(car: Car) -> bool:
    now = _own(car)
    return now.valve == VACUUM and min(now.upstream, now.downstream) < 0.5


@practice.needs("replace_vacuum_hose")
def needs_vacuum_hose(car: Car) -> bool:
    return _is_vacuum(car) and (_own(car).hose > 4.0 or _own(car).supply < 10.0)


@practice.needs("repair_wiring")
def needs_wiring(car: Car) -> bool:
    now = _own(car)
    return not now.commanded or (now.valve == MOTOR and not now.fed) or now.grounded > 0.1


@practice.tells
def complaints(car: Car) -> list[str]:
    now = _own(car)
    found = ["engine_lamp"] if codes(car) else []
    return ["idles_roughly", *found] if flow(now, at_rest(now)) > 0.1 else found
