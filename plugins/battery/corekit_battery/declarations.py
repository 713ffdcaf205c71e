"""What the battery system asks about, measures, looks at and can have done."""

from __future__ import annotations

from enum import Enum

import corekit as ck

battery = ck.System("battery", "Battery and charging")

# ---- what to beware of, in our words; local rules and the vehicle manufacturer's instructions come first

# Common practice, from memory; source: battery-hazard
SPARK = (
    "A battery gives off hydrogen that explodes, AGM and gel batteries too: no flame, no spark, no smoking"
    " near it, and no metal objects on top."
)
ACID = (
    "Battery acid burns eyes and skin: wear goggles and gloves, keep plenty of water at hand, rinse"
    " off at once. Acid in an eye: rinse it with water for 15 minutes and see a doctor."
)
SHORT = (
    "A tool across both posts can weld itself on and cause burns: take off rings and watches, cover"
    " the other post."
)
MEMORY = (
    "Disconnecting the battery may lock doors and radio, lose settings and upset restraint systems:"
    " read the manufacturer's instructions first; negative off first and on last."
)
HIGH_VOLTAGE = (
    "A vehicle with a high-voltage drive is out of scope here: what has orange cables is left to people"
    " trained for it."
)
# As the handbooks have it; source: jump-order
CLAMPS = (
    "Jump leads: the last clamp goes on bare engine metal, 30 cm or more from the discharged battery,"
    " and comes off first."
)
MOVING = (
    "Keep hands, sleeves and leads clear of belts and fans; gear in neutral, parking brake on,"
    " outdoors or with exhaust extraction."
)
# What the handbooks say of frozen batteries; source: frozen
DAMAGED = "Do not charge, load or jump-start a battery that is frozen, cracked, swollen or leaking."
# Common practice, from memory; source: battery-hazard
RUNAWAY = (
    "Current that rises at a steady voltage, or a case above 50 °C: charger off at the mains, not at its"
    " clamps."
)
LITHIUM_CARE = (
    "A lithium battery: only a charger made for it, at most 14.6 V, no desulphating or recondition mode,"
    " never below 0 °C."
)


class BatteryType(Enum):
    FLOODED = "flooded"
    EFB = "EFB"
    AGM = "AGM"
    GEL = "gel"
    LITHIUM = "lithium"


class Caps(Enum):
    REMOVABLE = "removable"
    SEALED = "sealed"


class FullAcid(Enum):
    """Specific gravity of the full battery, as its manufacturer gives it."""

    G1265 = "1.265"
    G1280 = "1.280"
    G1300 = "1.300"


class Control(Enum):
    FIXED = "fixed"
    MANAGED = "smart charging"


class Case(Enum):
    SOUND = "sound"
    SWOLLEN = "swollen"
    CRACKED = "cracked"
    LEAKING = "leaking"
    FROZEN = "frozen"


class Level(Enum):
    RIGHT = "correct"
    LOW = "low"
    BARE = "plates exposed"


class Terminals(Enum):
    TIGHT = "clean and tight"
    LOOSE = "loose"
    CORRODED = "corroded"


class SurfaceCharge(Enum):
    TAKEN_OFF = "removed"
    LEFT = "not removed"


class Loads(Enum):
    OFF = "off"
    ON = "on"


class Cranks(Enum):
    WELL = "normal"
    SLOWLY = "slow"
    RATTLES = "rattles"
    CLICKS = "one click"
    SILENT_BRIGHT = "silent, lights stay bright"
    SILENT_DIM = "silent, lights go dim"
    NOT = "no crank"
    SOMETIMES = "intermittent no crank"


class Lamp(Enum):
    OUT = "goes out"
    ON = "stays on"
    FLICKERS = "flickers"


class InUse(Enum):
    CHARGED = "stays charged"
    FLAT_STANDING = "goes flat while parked"
    FLAT_DRIVING = "goes flat while driving"
    SOONER = "runs down sooner than before"


class Settles(Enum):
    SETTLED = "settled"
    FALLING = "still falling"


class Cut(Enum):
    """What the parasitic draw does while one fuse is pulled."""

    GONE = "gone"
    FALLS = "drops"
    STAYS = "no change"


class RippleMeter(Enum):
    FIT = "true RMS, AC coupled"
    OTHER = "other meter or range"


# ---- what can fail or be renewed

starter_battery = battery.part("battery", "Starter battery")

# ---- what the vehicle is fitted with

battery_type = battery.trait(
    "type",
    "Battery type",
    BatteryType,
    part=starter_battery,
    how=(
        "On its label; a stop-start car has AGM (flat plate) or EFB. LiFePO4, Li-ion or 12.8 V on the label:"
        " lithium."
    ),
)
caps = battery.trait(
    "caps",
    "Cell caps",
    Caps,
    part=starter_battery,
    how="Sealed: no caps to turn, or a cover that is not meant to come off. Nothing is pried open.",
)
full_acid = battery.trait(
    "acid",
    "Specific gravity when full",
    FullAcid,
    part=starter_battery,
    how="From the battery's data sheet.",
)
rating = battery.trait(
    "rating",
    "Cranking rating",
    units=("A SAE", "A EN", "A IEC", "A DIN", "A CA"),
    possible=(50, 2000),
    part=starter_battery,
    how="On its label, always with the name of the test.",
)
capacity = battery.trait(
    "capacity",
    "20-hour capacity",
    units=("Ah",),
    possible=(10, 300),
    part=starter_battery,
    how="Ah on its label.",
)
full_voltage = battery.trait(
    "full_voltage",
    "Open-circuit voltage when known to be full",
    units=("V",),
    possible=(12.3, 13.4),
    part=starter_battery,
    how="Read after a full charge and a night's rest; it is better than any table.",
)
control = battery.trait(
    "charging_control",
    "Charging control",
    Control,
    how="Smart charging: a sensor on the negative clamp, and the voltage varies on purpose.",
)
alternator_rating = battery.trait(
    "alternator_rating",
    "Alternator rating",
    units=("A",),
    possible=(5, 500),
    how="On its rating plate; hot and at full speed.",
)

# ---- what to measure

rest_time = battery.measurand(
    "rest_time",
    "h",
    "Rest time before the reading",
    possible=(0, 8760),
    usual=(0, 500),
    accuracy="5 % + 0.1 h",
    how="Since the engine last ran, the charger was disconnected or a load was on.",
)
temperature = battery.measurand(
    "temperature",
    "°C",
    "Battery temperature",
    possible=(-50, 80),
    usual=(-25, 55),
    accuracy="3 °C",
    where="The battery's own side wall or post, not the air.",
    how="Contact or infra-red thermometer on a dull spot; it lags behind the air by hours.",
)
open_circuit_voltage = battery.measurand(
    "open_circuit_voltage",
    "V",
    "Open-circuit voltage",
    part=starter_battery,
    possible=(0, 16),
    usual=(10.5, 13.2),
    accuracy="0.5 % + 0.02 V",
    conditions=(rest_time, temperature),
    where="On the posts themselves, not on the clamps.",
    how="Everything off, doors closed, modules asleep.",
    hazard=f"{ACID} {SPARK} {SHORT}",
)
gravity = battery.measurand(
    "specific_gravity",
    "1",
    "Specific gravity",
    part=starter_battery,
    possible=(1.0, 1.35),
    usual=(1.1, 1.3),
    accuracy="0.005",
    conditions=(temperature,),
    places=("cell 1", "cell 2", "cell 3", "cell 4", "cell 5", "cell 6"),
    where="Cell 1 is the one at the positive post.",
    how="Hydrometer or refractometer, acid mixed, no water added just before.",
    hazard=ACID,
)
cranking_voltage = battery.measurand(
    "cranking_voltage",
    "V",
    "Voltage while cranking",
    possible=(0, 15),
    usual=(6, 12.5),
    accuracy="0.5 % + 0.05 V",
    places=("posts", "clamps"),
    conditions=(temperature,),
    where="Once with the probes on the posts, once on the clamps.",
    how=(
        "Fuel or ignition disabled, the steady value while cranking; a slow meter or a one-second log"
        " misses the dip."
    ),
    hazard=f"{MOVING} {SPARK}",
)
load_current = battery.measurand(
    "load_current",
    "A",
    "Load set for the test",
    possible=(0, 2000),
    usual=(50, 800),
    accuracy="3 % + 5 A",
    how="Half the cranking rating on the label.",
)
load_time = battery.measurand(
    "load_time",
    "s",
    "Time under load",
    possible=(0, 60),
    usual=(5, 30),
    accuracy="1 s",
    how="15 s, read at the end.",
)
load_voltage = battery.measurand(
    "load_voltage",
    "V",
    "Voltage under load",
    part=starter_battery,
    possible=(0, 14),
    usual=(5, 12.5),
    accuracy="0.5 % + 0.05 V",
    conditions=(load_current, load_time, temperature),
    where="On the posts, the meter's probes inside the load clamps.",
    how="Charged to 75 % or more; read at the end of 15 s, load still on.",
    hazard=f"{DAMAGED} {SPARK} Caps on, goggles on, load off before the clamps are moved.",
)
engine_speed = battery.measurand(
    "engine_speed",
    "rpm",
    "Engine speed at the charging reading",
    possible=(0, 8000),
    usual=(500, 3500),
    accuracy="50 rpm",
)
charging_voltage = battery.measurand(
    "charging_voltage",
    "V",
    "Charging voltage",
    possible=(0, 20),
    usual=(11.5, 15.6),
    accuracy="0.5 % + 0.02 V",
    conditions=(engine_speed, temperature),
    where="On the posts, engine running.",
    how="Fast idle, lights and blower on, after a minute or two.",
    hazard=f"{MOVING} {SPARK}",
)
sleep_time = battery.measurand(
    "sleep_time",
    "min",
    "Wait before the parasitic draw was read",
    possible=(0, 1440),
    usual=(1, 120),
    accuracy="2 min",
    how=(
        "Since the last door, key or lock was used; half an hour, on recent vehicles up to 75 minutes. Key"
        " more than 5 m away, diagnostic plug out."
    ),
)
drain = battery.measurand(
    "parasitic_draw",
    "mA",
    "Parasitic draw",
    possible=(0, 30000),
    usual=(1, 3000),
    accuracy="3 % + 10 mA",
    conditions=(sleep_time,),
    where="Around the negative lead.",
    how=(
        "With the modules asleep, latches closed by hand, key more than 5 m away, diagnostic plug out. Clamp"
        " meter, or a bridging lead before the battery clamp comes off: cutting the supply wakes the modules"
        " again."
    ),
    hazard=f"No door, no key, no cranking with a meter in the circuit. {MEMORY}",
)
drain_log = battery.record(
    "drain_log",
    "Drain log",
    of=drain,
    over="min",
    over_title="Time since it was locked",
    possible=(0, 100000),
    usual=(0, 20000),  # awake a vehicle draws several amperes; an estimate of ours
    over_possible=(0, 2880),
    settled=("10 mA", "10 min"),  # a module that still falls asleep draws more; an estimate of ours
    where="Clamp or logger around the negative lead.",
    how=(
        "From the moment it is locked, latches closed by hand, key more than 5 m away, diagnostic plug out,"
        " until it has stayed the same for 10 minutes; half an hour at least, on recent vehicles up to 75"
        " minutes."
    ),
)
unwoken_drain = battery.measurand(
    "undisturbed_draw",
    "mA",
    "Parasitic draw before the vehicle was woken",
    possible=(0, 30000),
    usual=(0, 3000),
    accuracy="3 % + 10 mA",
    where="Around the negative lead.",
    how=(
        "Meter just connected, nothing switched since. The parked vehicle is never in this state: wake"
        " it, read again."
    ),
    hazard=f"No door, no key, no cranking with a meter in the circuit. {MEMORY}",
)
starter_current = battery.measurand(
    "starter_current",
    "A",
    "Starter current",
    possible=(0, 3000),
    usual=(40, 1200),
    accuracy="3 % + 5 A",
    where="Current clamp around every lead on that post.",
    how="The steady value while cranking, not the first peak.",
    hazard=MOVING,
)
cable_drop = battery.measurand(
    "voltage_drop",
    "V",
    "Voltage drop in the starting circuit",
    possible=(0, 15),
    usual=(0, 1.5),
    accuracy="0.5 % + 0.01 V",
    conditions=(starter_current, temperature),
    places=("positive side", "ground side", "positive post to clamp", "negative post to clamp"),
    where=(
        "Positive side: post to starter stud. Ground side: post to starter body. Probes on the posts,"
        " not on the clamps."
    ),
    how="While cranking; if nothing turns, with the load that shows the trouble.",
    hazard=f"{MOVING} {SHORT}",
)
starter_voltage = battery.measurand(
    "starter_voltage",
    "V",
    "Voltage at the starter",
    possible=(0, 15),
    usual=(5, 12.5),
    accuracy="0.5 % + 0.02 V",
    conditions=(starter_current,),
    where="Starter stud to starter body.",
    how="While cranking, the steady value.",
    hazard=MOVING,
)
sample_interval = battery.measurand(
    "sample_interval",
    "s",
    "Time between two samples",
    possible=(1e-6, 3600),
    usual=(1e-5, 60),
    accuracy="1 %",
    how="Of the log or the bus, not of the screen.",
)
logged_minimum = battery.measurand(
    "logged_minimum",
    "V",
    "Lowest voltage in a logged start",
    part=starter_battery,
    possible=(0, 15),
    usual=(4, 12.5),
    accuracy="0.5 % + 0.1 V",
    conditions=(sample_interval,),
    where="Wherever the log takes it; an ECU sees less than the posts.",
    how="The lowest value of the whole start.",
)
small_load_current = battery.measurand(
    "small_load_current",
    "A",
    "Current of the small load",
    possible=(0, 200),
    usual=(0.05, 60),
    accuracy="3 % + 0.05 A",
    how="Clamp around the negative lead.",
)
small_load_voltage = battery.measurand(
    "small_load_voltage",
    "V",
    "Voltage with a small load, engine off",
    possible=(0, 16),
    usual=(10.5, 13.2),
    accuracy="0.5 % + 0.02 V",
    conditions=(small_load_current, temperature),
    places=("posts", "fuse box", "ECU"),
    how="Key on or lights on, engine off. This is not an open-circuit voltage.",
)
ripple = battery.measurand(
    "ripple",
    "V",
    "AC ripple",
    possible=(0, 5),
    usual=(0, 1.5),
    accuracy="3 % + 0.01 V",
    places=("posts", "alternator"),
    conditions=(engine_speed,),
    where="Battery posts; the alternator's own terminal shows more.",
    how="AC volts, about 2000 rpm, lights and blower on.",
    hazard=f"{MOVING} {SPARK}",
)
alternator_output = battery.measurand(
    "alternator_output",
    "A",
    "Alternator output",
    possible=(0, 500),
    usual=(1, 300),
    accuracy="3 % + 2 A",
    conditions=(engine_speed,),
    where="Current clamp around the alternator's output lead.",
    how="2000 to 2500 rpm, all loads on.",
    hazard=f"{MOVING} {SPARK}",
)
charger_voltage = battery.measurand(
    "charger_voltage",
    "V",
    "Charger voltage",
    possible=(0, 20),
    usual=(12.5, 15.6),
    accuracy="0.5 % + 0.02 V",
    conditions=(temperature,),
    where="On the posts, charger on.",
    how="At the end of the charge, when it no longer rises.",
    hazard=f"{DAMAGED} {SPARK} {RUNAWAY} {LITHIUM_CARE}",
)
tester_figure = battery.measurand(
    "tester_figure",
    "A",
    "Cranking amps by the tester",
    part=starter_battery,
    possible=(0, 3000),
    usual=(30, 1500),
    accuracy="10 %",
    conditions=(temperature,),
    how=(
        "An estimate from the battery's conductance, in the rating system that the tester was set to;"
        " meaningless below 75 % charge."
    ),
)
discharge_current = battery.measurand(
    "discharge_current",
    "A",
    "Current of the discharge test",
    possible=(0, 500),
    usual=(0.1, 100),
    accuracy="3 % + 0.05 A",
    how="About a twentieth of its Ah; at a higher current it delivers less, and that is reckoned with.",
)
discharge_fall = battery.measurand(
    "discharge_fall",
    "V",
    "Voltage drop when the discharge began",
    part=starter_battery,
    possible=(0, 5),
    usual=(0, 2),
    accuracy="0.005 V",
    how="Reading before, less the reading a few seconds after the load went on.",
)
delivered = battery.measurand(
    "delivered",
    "Ah",
    "Capacity delivered down to 10.5 V",
    part=starter_battery,
    possible=(0, 1000),
    usual=(1, 400),
    accuracy="3 %",
    conditions=(discharge_current, temperature),
    how="From full, with a known steady current, at a known temperature.",
    hazard=f"{DAMAGED} {SPARK}",
)

# ---- what to look at

surface_charge = battery.observation(
    "surface_charge",
    "Surface charge",
    SurfaceCharge,
    how="Headlamps on for 15 s, off, then 3 min of waiting removes it.",
)
case_seen = battery.observation(
    "case",
    "Battery case",
    Case,
    part=starter_battery,
    how="All sides, lid and posts; in frost look for bulging and ice.",
    hazard=ACID,
)
level = battery.observation(
    "level",
    "Electrolyte level",
    Level,
    part=starter_battery,
    how="Only where caps come off; the plates must be covered.",
    hazard=ACID,
)
terminals = battery.observation(
    "terminals",
    "Posts and clamps",
    Terminals,
    how="Turn each clamp by hand; look under it too.",
    hazard=SHORT,
)
loads = battery.observation("charging_loads", "Lights and blower at the charging reading", Loads)
cranks = battery.observation(
    "cranks",
    "Engine cranking",
    Cranks,
    how=(
        "Once, before anything is touched, headlamps on, watch them and listen. 10 s at most, then 60 s of"
        " rest for the starter."
    ),
    hazard=MOVING,
)
charge_lamp = battery.observation("charge_warning_light", "Charge warning light, engine running", Lamp)
in_use = battery.observation("in_use", "Battery in daily use", InUse, how="As reported by the driver.")
settles = battery.observation("draw_settles", "Whether the parasitic draw is still falling", Settles)
circuit_cut = battery.observation(
    "circuit_cut",
    "Parasitic draw with one fuse pulled",
    Cut,
    places=(
        "body",
        "audio",
        "alarm",
        "lighting",
        "engine control",
        "charging",
        "comfort",
        "trailer",
        "aftermarket",
        "other",
    ),
    how="One fuse at a time, the current read before and after; pulling a fuse can wake other modules.",
    hazard=MEMORY,
)
ripple_meter = battery.observation("ripple_meter", "Meter used for the ripple", RippleMeter)

# ---- what can be done

replace = battery.operation(
    "replace",
    "Replace the battery",
    shown_by=load_voltage,
    replaces=starter_battery,
    hazard=f"{MEMORY} {SHORT} {ACID} {HIGH_VOLTAGE}",
)
charge = battery.operation(
    "charge",
    "Charge the battery",
    shown_by=open_circuit_voltage,
    as_test=(5, 240),
    hazard=(
        f"{DAMAGED} {SPARK} Charger off while its leads are connected or removed; keep the place"
        f" ventilated. {RUNAWAY} {LITHIUM_CARE} {CLAMPS} {HIGH_VOLTAGE}"
    ),
)
clean_contacts = battery.operation(
    "clean_contacts",
    "Clean and tighten posts and clamps",
    shown_by=cranking_voltage,
    hazard=f"{MEMORY} {SHORT}",
)
repair_cable = battery.operation(
    "repair_cable",
    "Repair cables and connections of the starting circuit",
    shown_by=cable_drop,
    hazard=f"{MEMORY} {SHORT}",
)
find_drain = battery.operation(
    "trace_draw", "Trace and repair the parasitic draw", shown_by=drain, hazard=MEMORY
)
charging_repair = battery.operation(
    "charging_repair",
    "Repair the charging system",
    shown_by=charging_voltage,
    hazard=f"{MOVING} {MEMORY} {HIGH_VOLTAGE}",
)
