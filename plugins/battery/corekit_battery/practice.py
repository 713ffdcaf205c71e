"""The supply of a practice car: battery, joints, cables, starter, alternator and what draws current while
parked.

Every size is an estimate of ours from memory of the work, unless its line says more; conclusions drawn from
practice cars have to survive each estimate moved by a third. Two things are not ours: voltages at rest follow
the published scale of state of charge (12.65, 12.45, 12.24, 12.06, 11.89 V for full to empty in quarters,
flooded, from memory of battery handbooks), and the resistance follows from the cranking rating (SAE J537:
7.2 V at -18 °C).
"""

from __future__ import annotations

import random

import attrs

from corekit.practice import At, Car, Practice, estimate

from .declarations import battery

# ---- sizes


@attrs.frozen(kw_only=True)
class Supply:
    """The 12-volt supply as it stands.

    Attributes:
        kind: Battery type, in the words of the trait. capacity: Label, Ah. rating: Label, A by SAE J537.
        age: years. left: Share of its capacity and cranking current that is left. charge: 0 to 1.
        dead_cells: Cells without voltage. holds: What it loses by itself, A. case: As it looks.
        posts, cables: Resistance of each clamp on its post, and of each side's cable, Ω.
        turning: Resistance of the sound starter as a load while it turns the engine, Ω.
        starter: works, open or stalled. command: the start command arrives.
        asleep: Draw with the modules asleep, A; awake: before that. through_alternator: the part of it that
            goes through diodes.
        regulated: Voltage that the alternator is regulated to at 25 °C. most: Its largest current, A.
        uneven: AC voltage at its own terminal, V. wired: its wiring is whole. belt: share of the current
            that the belt carries. loads: What the running vehicle uses, lights and blower on, A.
        warmth: of the battery, °C. rested: hours since it was last charged or run.
        left_on: it is flat because a lamp was left on.
        cold: share of resistance per kelvin below 25 °C. emptied: by what multiple an empty battery's
            resistance is larger. surface: V that go with the first seconds of any large load.
        slows, rattles, stops: V below 12.6 V at the starter from which it turns slowly, rattles, stands.
        takes: A that a full and an empty battery take, as shares of its capacity, at 14.4 V.
    """

    kind: str
    capacity: float
    rating: float
    age: float
    left: float
    charge: float = 0.92
    dead_cells: int = 0
    holds: float = estimate(0.004)
    case: str = "sound"
    posts: float = estimate(0.0002)
    cables: float = estimate(0.0005)
    turning: float = estimate(0.05)
    starter: str = "works"
    command: bool = True
    asleep: float = estimate(0.02)
    awake: float = estimate(4.0)
    through_alternator: float = 0.0
    regulated: float = 14.4
    most: float = 120.0
    uneven: float = estimate(0.03)
    wired: bool = True
    belt: float = 1.0
    loads: float = estimate(45.0)
    warmth: float = 15.0
    rested: float = 10.0
    left_on: bool = False
    cold: float = estimate(0.012)
    emptied: float = estimate(3.0)
    surface: float = estimate(0.4)
    slows: float = estimate(4.2)
    rattles: float = estimate(6.1)
    stops: float = estimate(8.1)
    takes: tuple[float, float] = estimate((0.02, 0.47))


def _sound(draw: random.Random) -> Supply:
    capacity = draw.choice((44.0, 60.0, 70.0, 95.0))
    kind = draw.choice(("flooded", "EFB", "AGM"))
    return Supply(
        kind=kind,
        capacity=capacity,
        rating=round(capacity * draw.uniform(8.5, 10.5), -1),
        age=round(draw.uniform(1.0, 5.0), 0),
        left=draw.uniform(0.86, 1.0),
        charge=draw.uniform(0.82, 0.97),
        asleep=draw.uniform(0.008, 0.03),
        regulated=draw.uniform(14.1, 14.6),
        most=draw.choice((90.0, 120.0, 150.0)),
        loads=draw.uniform(30.0, 50.0),
        warmth=draw.uniform(2.0, 25.0),
        rested=draw.uniform(9.0, 40.0),
        turning=draw.uniform(0.04, 0.06),
    )


practice = Practice(battery, _sound)

# ---- what can be wrong with it


@practice.fault(
    "worn",
    "A worn-out battery: {size} of it was left.",
    size=(25, 55),
    unit="%",
    mends="replace",
    named="worn_out",
)
def worn(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, left=size / 100.0, age=max(car.age, 5.0), charge=0.75, holds=0.01)


@practice.fault(
    "flat",
    "A sound battery, discharged to {size}.",
    size=(2, 25),
    unit="%",
    mends="charge",
    named="used_flat",
)
def flat(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, charge=size / 100.0, left_on=True)


@practice.fault("dead_cell", "A dead cell in the battery.", mends="replace", named="dead_cell")
def dead_cell(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, dead_cells=1, charge=0.5, holds=0.5, age=max(car.age, 4.0))


@practice.fault("swollen", "A swollen battery.", mends="replace", named="swollen_case")
def swollen(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, case="swollen", left=0.5, charge=0.6)


@practice.fault(
    "joint",
    "A joint of {size} between post and clamp.",
    size=(8, 60),
    unit="mΩ",
    mends="clean_contacts",
    named="contact",
    comes_and_goes=True,
)
def joint(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, posts=size / 1000.0)


@practice.fault(
    "cable",
    "A cable of the starting circuit with {size}.",
    size=(6, 40),
    unit="mΩ",
    mends="repair_cable",
    named="cable",
    comes_and_goes=True,
)
def cable(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, cables=size / 1000.0)


@practice.fault(
    "draw", "The parked car drew {size}.", size=(180, 1500), unit="mA", mends="trace_draw", named="drain"
)
def draw(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, asleep=size / 1000.0, charge=0.35)


@practice.fault(
    "leak",
    "A diode of the alternator let {size} through in the parked car.",
    size=(180, 900),
    unit="mA",
    mends="charging_repair",
    named="alt_leak",
)
def leak(car: Supply, size: float) -> Supply:
    return attrs.evolve(
        car, asleep=car.asleep + size / 1000.0, through_alternator=size / 1000.0, charge=0.35, uneven=0.6
    )


@practice.fault(
    "weak",
    "An alternator that gave no more than {size}.",
    size=(4, 25),
    unit="A",
    mends="charging_repair",
    named="alternator",
)
def weak(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, most=size, charge=0.3, uneven=0.5)


@practice.fault("wire", "A broken wire at the alternator.", mends="charging_repair", named="link")
def wire(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, wired=False, charge=0.25)


@practice.fault(
    "belt",
    "The alternator's belt carried {size}.",
    size=(5, 30),
    unit="%",
    mends="charging_repair",
    named="belt",
)
def belt(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, belt=size / 100.0, charge=0.3)


@practice.fault(
    "over",
    "An alternator regulated to {size}.",
    size=(15.6, 17.0),
    unit="V",
    mends="charging_repair",
    named="overcharge",
    is_known=True,
)
def over(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, regulated=size, charge=1.0)


@practice.fault("starter", "A starter with burnt contacts.", named="starter", comes_and_goes=True)
def starter(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, starter="open")


@practice.fault(
    "command", "The start command did not reach the starter.", named="enable", comes_and_goes=True
)
def command(car: Supply, size: float) -> Supply:
    return attrs.evolve(car, command=False)


# ---- how it behaves

#: Volts at rest, 25 °C, at 0, 25, 50, 75 and 100 % of charge.
_AT_REST = {
    "flooded": (11.89, 12.06, 12.24, 12.45, 12.65),
    "EFB": (11.9, 12.1, 12.3, 12.5, 12.72),
    "AGM": (11.8, 12.05, 12.3, 12.55, 12.85),
}
_CELL = 2.1  # V
_CRANKING_DROP = 3.0  # V that a sound battery loses at its rated current at 25 °C: 7.2 V are left at -18 °C
_FULL = 12.6  # V


def at_rest(car: Supply) -> float:
    """Volts with nothing switched on."""
    scale = _AT_REST[car.kind]
    place = max(0.0, min(1.0, car.charge)) * 4.0
    low = min(3, int(place))
    return scale[low] + (place - low) * (scale[low + 1] - scale[low]) - _CELL * car.dead_cells


def resistance(car: Supply) -> float:
    """Of the battery alone, Ω."""
    sound = _CRANKING_DROP / car.rating * (1.0 + car.cold * (25.0 - car.warmth))
    return (
        float(sound / car.left**1.3)
        * (1.0 + car.emptied * (1.0 - car.charge) ** 2)
        * (1.0 + 0.3 * car.dead_cells)
    )


@attrs.frozen
class Cranking:
    """Amperes, and volts at posts, clamps and the starter's stud."""

    current: float
    posts: float
    clamps: float
    starter: float


def cranking(car: Supply) -> Cranking:
    """What flows and stands where while somebody tries to start it."""
    inside, joints, cables = resistance(car), 2.0 * car.posts, 2.0 * car.cables
    weak = car.charge < 0.12
    load = car.turning
    if not car.command:
        return Cranking(0.5, at_rest(car) - 0.02, at_rest(car) - 0.02, at_rest(car) - 0.02)
    if car.starter == "open" or weak:
        load = 2.0 if car.starter == "open" else 0.4
    source = at_rest(car) - (car.surface if load < 1.0 else 0.05)
    current = max(0.0, source) / (inside + joints + cables + load)
    posts = source - current * inside
    clamps = posts - current * joints
    return Cranking(current, posts, clamps, clamps - current * cables)


def turns(car: Supply) -> str:
    """How it cranks, in the words of the answer."""
    now = cranking(car)
    if not car.command:
        return "silent, lights stay bright"
    if car.starter == "open":
        return "one click"
    if car.charge < 0.12 or now.starter < _FULL - car.stops:
        return "silent, lights go dim"
    if now.starter < _FULL - car.rattles:
        return "rattles"
    return "slow" if now.starter < _FULL - car.slows else "normal"


def accepts(car: Supply, voltage: float) -> float:
    """Amperes that the battery takes at a voltage."""
    full, empty = car.takes
    share = full + (empty - full) * (1.0 - car.charge)
    takes = car.capacity * share * car.left * (2.0 if car.dead_cells else 1.0)
    return takes * max(0.0, min(1.2, (voltage - at_rest(car)) / 1.8))


@attrs.frozen
class Running:
    """Volts at the posts, amperes of the alternator and into the battery."""

    posts: float
    output: float
    into: float


def running(car: Supply) -> Running:
    """With the engine at fast idle, lights and blower on."""
    wanted = car.regulated - 0.008 * (car.warmth - 25.0)
    most = car.most * car.belt if car.wired else 0.0
    needed = car.loads + accepts(car, wanted)
    if most >= needed:
        return Running(wanted, needed, needed - car.loads)
    missing = car.loads - most
    if missing <= 0.0:  # enough for the loads: the voltage stays where the battery takes the rest
        share = (most - car.loads) / max(1e-6, needed - car.loads)
        volts = at_rest(car) + share * (wanted - at_rest(car))
        return Running(volts, most, most - car.loads)
    return Running(at_rest(car) - 0.1 - missing * resistance(car), most, -missing)


# ---- what a meter shows


def _own(car: Car) -> Supply:
    return practice.own(car)


@practice.reads("temperature")
def temperature(car: Car, at: At) -> float:
    return _own(car).warmth


@practice.reads("rest_time")
def rest_time(car: Car, at: At) -> float:
    return _own(car).rested


@practice.reads("open_circuit_voltage")
def open_circuit_voltage(car: Car, at: At) -> float:
    return at_rest(_own(car))


@practice.reads("cranking_voltage")
def cranking_voltage(car: Car, at: At) -> float:
    now = cranking(_own(car))
    return now.posts if at.place == "posts" else now.clamps


@practice.reads("logged_minimum")
def logged_minimum(car: Car, at: At) -> float:
    return cranking(_own(car)).clamps - 1.0


@practice.reads("starter_current")
def starter_current(car: Car, at: At) -> float:
    return cranking(_own(car)).current


@practice.reads("starter_voltage")
def starter_voltage(car: Car, at: At) -> float:
    return cranking(_own(car)).starter


@practice.reads("control_voltage")
def control_voltage(car: Car, at: At) -> float:
    now = _own(car)
    return max(0.0, cranking(now).clamps - 0.3) if now.command else 0.0


@practice.reads("voltage_drop")
def voltage_drop(car: Car, at: At) -> float:
    now = _own(car)
    ohms = {
        "positive side": now.posts + now.cables,
        "ground side": now.posts + now.cables,
        "positive post to clamp": now.posts,
        "negative post to clamp": now.posts,
    }[at.place]
    return cranking(now).current * ohms


@practice.sets("load_current")
def load_current(car: Car, at: At) -> float:
    return round(_own(car).rating / 2.0, -1)


@practice.sets("load_time")
def load_time(car: Car, at: At) -> float:
    return 15.0


@practice.reads("load_voltage")
def load_voltage(car: Car, at: At) -> float:
    now = _own(car)
    drawn = at.setup.get("battery.load_current", now.rating / 2.0)
    return max(0.0, at_rest(now) - now.surface - 1.2 * drawn * resistance(now))


@practice.reads("tester_figure")
def tester_figure(car: Car, at: At) -> float:
    now = _own(car)
    return now.rating * now.left * (1.0 - 0.3 * (1.0 - now.charge)) * (0.6 if now.dead_cells else 1.0)


@practice.sets("engine_speed")
def engine_speed(car: Car, at: At) -> float:
    return 1500.0


@practice.sets("running_time")
def running_time(car: Car, at: At) -> float:
    return 3.0


@practice.reads("charging_voltage")
def charging_voltage(car: Car, at: At) -> float:
    return running(_own(car)).posts


@practice.reads("alternator_output")
def alternator_output(car: Car, at: At) -> float:
    return running(_own(car)).output


@practice.reads("battery_current")
def battery_current(car: Car, at: At) -> float:
    return running(_own(car)).into


@practice.reads("ripple")
def ripple(car: Car, at: At) -> float:
    now = _own(car)
    uneven = now.uneven if now.wired else 0.005
    return uneven if at.place == "alternator" else 0.5 * uneven


@practice.sets("sleep_time")
def sleep_time(car: Car, at: At) -> float:
    return 60.0


@practice.reads("parasitic_draw")
def parasitic_draw(car: Car, at: At) -> float:
    return 1000.0 * _own(car).asleep


@practice.reads("undisturbed_draw")
def undisturbed_draw(car: Car, at: At) -> float:
    return 1000.0 * _own(car).asleep


@practice.records("drain_log")
def drain_log(car: Car, at: At) -> list[tuple[float, float]]:
    now = _own(car)
    return [
        (minute, 1000.0 * (now.awake if minute < 2 else 0.6 + now.asleep if minute < 18 else now.asleep))
        for minute in range(0, 61, 2)
    ]


@practice.sets("small_load_current")
def small_load_current(car: Car, at: At) -> float:
    return 12.0


@practice.reads("small_load_voltage")
def small_load_voltage(car: Car, at: At) -> float:
    now = _own(car)
    drawn = at.setup.get("battery.small_load_current", 12.0)
    posts = at_rest(now) - 0.05 - drawn * resistance(now)
    return posts if at.place == "posts" else posts - drawn * (2.0 * now.posts + 0.008)


@practice.sets("sample_interval")
def sample_interval(car: Car, at: At) -> float:
    return 0.005


@practice.sets("evening_voltage")
def evening_voltage(car: Car, at: At) -> float:
    return at_rest(attrs.evolve(_own(car), charge=1.0))


@practice.sets("night_time")
def night_time(car: Car, at: At) -> float:
    return 12.0


@practice.reads("night_voltage")
def night_voltage(car: Car, at: At) -> float:
    now = _own(car)
    lost = 12.0 * now.holds / (now.capacity * now.left)
    return at_rest(attrs.evolve(now, charge=1.0 - lost))


@practice.sets("accepting_voltage")
def accepting_voltage(car: Car, at: At) -> float:
    return 14.4


@practice.sets("accepting_time")
def accepting_time(car: Car, at: At) -> float:
    return 5.0


@practice.reads("accepted_current")
def accepted_current(car: Car, at: At) -> float:
    return min(30.0, accepts(_own(car), 14.4))


@practice.sets("charge_elapsed")
def charge_elapsed(car: Car, at: At) -> float:
    return 400.0 if at.place == "later" else 360.0


@practice.reads("charge_current")
def charge_current(car: Car, at: At) -> float:
    """At the end of a charge: what its own loss takes, and in a dead cell what the others boil off."""
    now = _own(car)
    return now.holds + now.capacity * (0.05 if now.dead_cells else 0.004)


@practice.sets("discharge_current")
def discharge_current(car: Car, at: At) -> float:
    return round(_own(car).capacity / 20.0, 1)


@practice.reads("delivered")
def delivered(car: Car, at: At) -> float | None:
    """To 10.5 V; what five cells hold, they hold below it."""
    now = _own(car)
    return now.capacity * now.left * (0.04 if now.dead_cells else 1.0) if now.charge > 0.95 else None


@practice.reads("charger_voltage")
def charger_voltage(car: Car, at: At) -> float:
    return 14.4  # a dead cell leaves the others to take it, and they boil


# ---- what an eye sees and an ear hears


@practice.sees("cranks")
def cranks(car: Car, at: At) -> str:
    return turns(_own(car))


@practice.sees("case")
def case(car: Car, at: At) -> str:
    return _own(car).case


@practice.sees("terminals")
def terminals(car: Car, at: At) -> str:
    return "corroded" if _own(car).posts > 0.015 else "clean and tight"


@practice.sees("heat")
def heat(car: Car, at: At) -> str:
    return "hissing or smells of rotten eggs" if _own(car).regulated > 16.5 else "none"


@practice.sees("belt")
def belt_seen(car: Car, at: At) -> str:
    return "tight and whole" if _own(car).belt > 0.7 else "slack or glazed"


@practice.sees("charge_warning_light")
def charge_warning_light(car: Car, at: At) -> str:
    now = _own(car)
    return "stays on" if not now.wired or running(now).into < -5.0 else "goes out"


@practice.sees("charge_light_key_on")
def charge_light_key_on(car: Car, at: At) -> str:
    return "lights up" if _own(car).wired else "stays dark"


@practice.sees("alternator_lead")
def alternator_lead(car: Car, at: At) -> str:
    return "current flows" if _own(car).through_alternator >= 0.05 else "no current"


@practice.sees("engine_by_hand")
def engine_by_hand(car: Car, at: At) -> str:
    return "turns as usual"


@practice.sees("booster")
def booster(car: Car, at: At) -> str:
    now = _own(car)
    helped = attrs.evolve(now, charge=1.0, left=1.0, posts=0.0005, cables=0.0005, dead_cells=0)
    how = {"normal": 0, "slow": 1}
    with_it = how.get(turns(helped), 2)
    if with_it == 0:
        return "cranks well"
    return "cranks better" if with_it < how.get(turns(now), 2) else "as before"


@practice.sees("loan")
def loan(car: Car, at: At) -> str:
    now = _own(car)
    if now.left < 0.6 or now.dead_cells or now.holds > 0.1:
        return "gone with it, back with the old one"
    elsewhere = now.starter == "open" or not now.command or not now.wired or now.asleep > 0.1
    return "made no difference" if elsewhere else "gone, and not back with the old one"


@practice.sees("told")
def told(car: Car, at: At) -> str:
    now = _own(car)
    if now.left_on:
        return "something left on"
    if not now.wired or now.most * now.belt < 0.8 * now.loads:
        return "flat while driving, or light on"
    return "flat soon after a full charge" if now.asleep > 0.1 or now.holds > 0.1 else "none of these"


@practice.sees("in_use")
def in_use(car: Car, at: At) -> str:
    now = _own(car)
    if not now.wired or now.most * now.belt < 0.8 * now.loads:
        return "goes flat while driving"
    if now.asleep > 0.1 or now.holds > 0.1:
        return "goes flat while parked"
    return "runs down sooner than before" if now.left < 0.6 else "stays charged"


@practice.sees("surface_charge")
def surface_charge(car: Car, at: At) -> str:
    return "removed"


@practice.sees("charging_loads")
def charging_loads(car: Car, at: At) -> str:
    return "on"


@practice.sees("draw_settles")
def draw_settles(car: Car, at: At) -> str:
    return "settled"


@practice.sees("parked_state")
def parked_state(car: Car, at: At) -> str:
    return "locked, latches shut, key over 5 m away, diagnostic plug out"


@practice.sees("circuit_cut")
def circuit_cut(car: Car, at: At) -> str:
    now = _own(car)
    if now.through_alternator >= 0.05:
        return "gone" if at.place == "charging" else "no change"
    return "gone" if at.place == "audio" and now.asleep > 0.1 else "no change"


@practice.sees("ripple_meter")
def ripple_meter(car: Car, at: At) -> str:
    return "true RMS, AC coupled"


@practice.sees("charge_end")
def charge_end(car: Car, at: At) -> str | None:
    return "current fell and stayed low" if "battery.charge" in car.done else None


@practice.sees("charge_place")
def charge_place(car: Car, at: At) -> str:
    return "outdoors"


@practice.sees("registration_needed")
def registration_needed(car: Car, at: At) -> str:
    return "no"


@practice.sees("registered")
def registered(car: Car, at: At) -> str:
    return "not needed on this vehicle"


@practice.sees("discharged_by")
def discharged_by(car: Car, at: At) -> str | None:
    now = _own(car)
    if now.left_on:
        return "something left on"
    if not now.wired or now.most * now.belt < 0.8 * now.loads:
        return "not charged while driving"
    return "drawn down while parked" if now.asleep > 0.1 else None


practice.refuses("the battery of these cars is sealed", "specific_gravity", "hydrometer", "level", "acid")
practice.refuses("nobody stays for a discharge of hours", "discharge_fall")
practice.refuses("it is not known of these cars", "full_voltage", "label_voltage", "reserve")
practice.refuses(
    "how the car is used was not told",
    "trip_time",
    "trips_per_week",
    "idle_share",
    "driving_loads",
    "outside_temperature",
    "restarts_per_trip",
)
practice.refuses("it belongs to the mechanic, not to the car", "charger", "charge_hours", "charge_room")
practice.refuses("it was not read before the charger went on", "charged_from")

# ---- what it is fitted with


@practice.fits("type")
def kind(car: Car) -> str:
    return _own(car).kind


@practice.fits("caps")
def caps(car: Car) -> str:
    return "sealed"


@practice.fits("rating")
def rating(car: Car) -> str:
    return f"{_own(car).rating:.0f} A SAE"


@practice.fits("capacity")
def capacity(car: Car) -> str:
    return f"{_own(car).capacity:.0f} Ah"


@practice.fits("age")
def age(car: Car) -> str:
    return f"{_own(car).age:.0f} years"


@practice.fits("charging_control")
def charging_control(car: Car) -> str:
    return "fixed"


@practice.fits("drive")
def drive(car: Car) -> str:
    return "combustion engine"


@practice.fits("alternator_rating")
def alternator_rating(car: Car) -> str:
    now = _own(car)
    return f"{now.most:.0f} A" if now.most >= 60.0 else "120 A"


@practice.fits("stop_start")
def stop_start(car: Car) -> str:
    return "none"


@practice.fits("charged_for")
def charged_for(car: Car) -> str | None:
    return "12 h" if "battery.charge" in car.done else None


@practice.fits("charger_program")
def charger_program(car: Car) -> str:
    return "AGM or cold" if _own(car).kind == "AGM" else "flooded or usual"


# ---- what work does, and whether it is needed


@practice.does("replace")
def replace(car: Supply, work: str) -> Supply:
    return attrs.evolve(
        car,
        left=1.0,
        charge=0.95,
        dead_cells=0,
        holds=0.004,
        case="sound",
        age=0.0,
        rested=20.0,
        left_on=False,
    )


@practice.does("charge")
def charge(car: Supply, work: str) -> Supply:
    return attrs.evolve(car, charge=1.0, rested=12.0)


@practice.does("clean_contacts")
def clean_contacts(car: Supply, work: str) -> Supply:
    return attrs.evolve(car, posts=0.0002)


@practice.does("repair_cable")
def repair_cable(car: Supply, work: str) -> Supply:
    return attrs.evolve(car, cables=0.0005)


@practice.does("trace_draw")
def trace_draw(car: Supply, work: str) -> Supply:
    return attrs.evolve(car, asleep=0.02 + car.through_alternator)


@practice.does("charging_repair")
def charging_repair(car: Supply, work: str) -> Supply:
    asleep = car.asleep - car.through_alternator
    return attrs.evolve(
        car,
        most=max(car.most, 120.0),
        wired=True,
        belt=1.0,
        regulated=14.4,
        uneven=0.03,
        asleep=asleep,
        through_alternator=0.0,
    )


@practice.needs("replace")
def needs_replace(car: Car) -> bool | None:
    now = _own(car)
    if now.dead_cells or now.case != "sound" or now.left < 0.6:
        return True
    return None if now.left < 0.75 else False


@practice.needs("charge")
def needs_charge(car: Car) -> bool | None:
    now = _own(car)
    return True if now.charge < 0.65 else None if now.charge < 0.85 else False


@practice.needs("clean_contacts")
def needs_clean_contacts(car: Car) -> bool | None:
    now = _own(car)
    return True if now.posts > 0.003 else None if now.posts > 0.001 else False


@practice.needs("repair_cable")
def needs_repair_cable(car: Car) -> bool | None:
    now = _own(car)
    return True if now.cables > 0.004 else None if now.cables > 0.0015 else False


@practice.needs("trace_draw")
def needs_trace_draw(car: Car) -> bool | None:
    now = _own(car)
    drawn = now.asleep - now.through_alternator
    if drawn <= 0.1 and now.through_alternator > 0.05:
        return None  # whoever traces it ends at the alternator
    return True if drawn > 0.1 else None if drawn > 0.045 else False


@practice.needs("charging_repair")
def needs_charging_repair(car: Car) -> bool | None:
    now = _own(car)
    if not now.wired or now.belt < 0.5 or now.regulated > 15.4 or now.through_alternator > 0.05:
        return True
    return now.most < now.loads


@practice.tells
def complaints(car: Car) -> list[str]:
    now = _own(car)
    how = turns(now)
    found = {
        "silent, lights go dim": ["does_nothing"],
        "silent, lights stay bright": ["does_nothing"],
        "one click": ["clicks"],
        "rattles": ["clicks"],
        "slow": ["cranks_slowly"],
    }.get(how, [])
    if now.asleep > 0.1:
        found = [*found, "flat_standing"]
    if not now.wired:
        found = [*found, "battery_lamp"]
    elif running(now).into < -5.0:
        found = [*found, "flat_driving"]
    if now.regulated > 15.4:
        found = [*found, "smells_of_eggs"]
    return found
