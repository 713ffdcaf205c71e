"""What the battery system asks about, measures, looks at and can have done."""

from __future__ import annotations

import corekit as ck

from .answers import (
    CASE_TOLD,
    CRANKS_TOLD,
    CUT_TOLD,
    IN_USE_TOLD,
    LAMP_TOLD,
    LEVEL_TOLD,
    LOADS_TOLD,
    RIPPLE_METER_TOLD,
    SETTLES_TOLD,
    SURFACE_CHARGE_TOLD,
    TERMINALS_TOLD,
    BatteryType,
    Caps,
    Case,
    Control,
    Cranks,
    Cut,
    FullAcid,
    InUse,
    Lamp,
    Level,
    Loads,
    Program,
    RippleMeter,
    Settles,
    SurfaceCharge,
    Terminals,
)
from .cautions import ACID, CLAMPS, DAMAGED, HIGH_VOLTAGE, LITHIUM_CARE, MEMORY, MOVING, RUNAWAY, SHORT, SPARK

battery = ck.System("battery", "Battery and charging", api="1.0")

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
    tells="whether the battery can be opened",
)
full_acid = battery.trait(
    "acid",
    "Specific gravity when full",
    FullAcid,
    part=starter_battery,
    how="From the battery's data sheet.",
    tells="how strong the battery's acid is when it is full",
)
rating = battery.trait(
    "rating",
    "Cranking rating",
    units=("A SAE", "A EN", "A IEC", "A DIN", "A CA"),
    possible=(50, 2000),
    part=starter_battery,
    how="On its label, always with the name of the test.",
    tells="the starting current on the battery's label",
)
capacity = battery.trait(
    "capacity",
    "20-hour capacity",
    units=("Ah",),
    possible=(10, 300),
    part=starter_battery,
    how="Ah on its label.",
    tells="the size of the battery on its label",
)
full_voltage = battery.trait(
    "full_voltage",
    "Open-circuit voltage when known to be full",
    units=("V",),
    possible=(12.3, 13.4),
    part=starter_battery,
    how="Read after a full charge and a night's rest; it is better than any table.",
    tells="the battery's voltage when it is known to be full",
)
control = battery.trait(
    "charging_control",
    "Charging control",
    Control,
    how="Smart charging: a sensor on the negative clamp, and the voltage varies on purpose.",
    tells="how the car controls the charging",
)
alternator_rating = battery.trait(
    "alternator_rating",
    "Alternator rating",
    units=("A",),
    possible=(5, 500),
    how="On its rating plate; hot and at full speed.",
    tells="the size of the alternator",
)

charger = battery.trait(
    "charger",
    "Rated current of the charger",
    units=("A",),
    possible=(0.5, 200),
    how="On its rating plate.",
    tells="the size of the charger",
)
charged_from = battery.trait(
    "charged_from",
    "Voltage when the charge began",
    units=("V",),
    possible=(0, 16),
    how="On the posts, just before the charger went on.",
    tells="the battery's voltage when the charge began",
)
charged_for = battery.trait(
    "charged_for",
    "Time it was charged",
    units=("h", "min"),
    possible=(0.02, 200),
    how="From the charger's start to its end.",
    tells="how long the battery was charged",
)
charger_program = battery.trait(
    "charger_program",
    "Program of the charger",
    Program,
    how="As set or shown on it.",
    tells="how the charger was set",
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
    tells="how long the car had stood",
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
    tells="how warm the battery was",
)
open_circuit_voltage = battery.measurand(
    "open_circuit_voltage",
    "V",
    "Open-circuit voltage",
    part=starter_battery,
    possible=(0, 16),
    usual=(6, 13.6),
    accuracy="0.5 % + 0.02 V",
    conditions=(rest_time, temperature),
    where="On the posts themselves, not on the clamps.",
    how="Everything off, doors closed, modules asleep.",
    hazard=f"{ACID} {SPARK} {SHORT}",
    tells="the battery's voltage with nothing switched on",
)
gravity = battery.measurand(
    "specific_gravity",
    "1",
    "Specific gravity",
    part=starter_battery,
    possible=(1.0, 1.35),
    usual=(1.03, 1.32),
    accuracy="0.005",
    conditions=(temperature,),
    places=("cell 1", "cell 2", "cell 3", "cell 4", "cell 5", "cell 6"),
    where="Cell 1 is the one at the positive post.",
    how="Hydrometer or refractometer, acid mixed, no water added just before.",
    hazard=ACID,
    tells="how strong the battery's acid is",
)
cranking_voltage = battery.measurand(
    "cranking_voltage",
    "V",
    "Voltage while cranking",
    possible=(0, 15),
    usual=(2, 12.8),
    accuracy="0.5 % + 0.05 V",
    places=("posts", "clamps"),
    conditions=(temperature,),
    where="Once with the probes on the posts, once on the clamps.",
    how=(
        "Fuel or ignition disabled, the steady value while cranking; a slow meter or a one-second log"
        " misses the dip."
    ),
    hazard=f"{MOVING} {SPARK}",
    tells="the battery's voltage while the starter turns",
)
load_current = battery.measurand(
    "load_current",
    "A",
    "Load set for the test",
    possible=(0, 2000),
    usual=(50, 800),
    accuracy="3 % + 5 A",
    how="Half the cranking rating on the label.",
    tells="how hard the battery was loaded",
)
load_time = battery.measurand(
    "load_time",
    "s",
    "Time under load",
    possible=(0, 60),
    usual=(5, 30),
    accuracy="1 s",
    how="15 s, read at the end.",
    tells="how long the battery was loaded",
)
load_voltage = battery.measurand(
    "load_voltage",
    "V",
    "Voltage under load",
    part=starter_battery,
    possible=(0, 14),
    usual=(2, 12.8),
    accuracy="0.5 % + 0.05 V",
    conditions=(load_current, load_time, temperature),
    where="On the posts, the meter's probes inside the load clamps.",
    how="Charged to 75 % or more; read at the end of 15 s, load still on.",
    hazard=f"{DAMAGED} {SPARK} Caps on, goggles on, load off before the clamps are moved.",
    tells="the battery's voltage, loaded as a starter loads it",
)
engine_speed = battery.measurand(
    "engine_speed",
    "rpm",
    "Engine speed at the charging reading",
    possible=(0, 8000),
    usual=(500, 3500),
    accuracy="50 rpm",
    tells="how fast the engine ran",
)
charging_voltage = battery.measurand(
    "charging_voltage",
    "V",
    "Charging voltage",
    possible=(0, 20),
    usual=(10.5, 17.5),
    accuracy="0.5 % + 0.02 V",
    conditions=(engine_speed, temperature),
    where="On the posts, engine running.",
    how="Fast idle, lights and blower on, after a minute or two.",
    hazard=f"{MOVING} {SPARK}",
    tells="the voltage that charges the battery, engine running",
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
    tells="how long the car had been left alone",
)
drain = battery.measurand(
    "parasitic_draw",
    "mA",
    "Parasitic draw",
    possible=(0, 30000),
    usual=(0, 15000),
    accuracy="3 % + 10 mA",
    conditions=(sleep_time,),
    where="Around the negative lead.",
    how=(
        "With the modules asleep, latches closed by hand, key more than 5 m away, diagnostic plug out. Clamp"
        " meter, or a bridging lead before the battery clamp comes off: cutting the supply wakes the modules"
        " again."
    ),
    hazard=f"No door, no key, no cranking with a meter in the circuit. {MEMORY}",
    tells="the current that the parked car uses",
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
    tells="the current of the parked car over time",
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
    tells="the current of the parked car before it was woken",
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
    tells="the current that the starter takes",
)
cable_drop = battery.measurand(
    "voltage_drop",
    "V",
    "Voltage drop in the starting circuit",
    possible=(0, 15),
    usual=(0, 6),
    accuracy="0.5 % + 0.01 V",
    conditions=(starter_current, temperature),
    places=("positive side", "ground side", "positive post to clamp", "negative post to clamp"),
    where=(
        "Positive side: post to starter stud. Ground side: post to starter body. Probes on the posts,"
        " not on the clamps."
    ),
    how="While cranking; if nothing turns, with the load that shows the trouble.",
    hazard=f"{MOVING} {SHORT}",
    tells="what the starter's wiring loses",
)
starter_voltage = battery.measurand(
    "starter_voltage",
    "V",
    "Voltage at the starter",
    possible=(0, 15),
    usual=(0, 12.8),
    accuracy="0.5 % + 0.02 V",
    conditions=(starter_current,),
    where="Starter stud to starter body.",
    how="While cranking, the steady value.",
    hazard=MOVING,
    tells="the voltage that reaches the starter",
)
sample_interval = battery.measurand(
    "sample_interval",
    "s",
    "Time between two samples",
    possible=(1e-6, 3600),
    usual=(1e-5, 60),
    accuracy="1 %",
    how="Of the log or the bus, not of the screen.",
    tells="how often the recording looks",
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
    tells="the lowest voltage in the recording of a start",
)
small_load_current = battery.measurand(
    "small_load_current",
    "A",
    "Current of the small load",
    possible=(0, 200),
    usual=(0.05, 60),
    accuracy="3 % + 0.05 A",
    how="Clamp around the negative lead.",
    tells="the current with a little switched on",
)
small_load_voltage = battery.measurand(
    "small_load_voltage",
    "V",
    "Voltage with a small load, engine off",
    possible=(0, 16),
    usual=(5, 13.6),
    accuracy="0.5 % + 0.02 V",
    conditions=(small_load_current, temperature),
    places=("posts", "fuse box", "ECU"),
    how="Key on or lights on, engine off. This is not an open-circuit voltage.",
    tells="the voltage with a little switched on",
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
    tells="how even the charging current is",
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
    tells="the current that the alternator gives",
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
    tells="the voltage of the charger",
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
    tells="what the battery tester shows",
)
discharge_current = battery.measurand(
    "discharge_current",
    "A",
    "Current of the discharge test",
    possible=(0, 500),
    usual=(0.1, 100),
    accuracy="3 % + 0.05 A",
    how="About a twentieth of its Ah; at a higher current it delivers less, and that is reckoned with.",
    tells="the current of the test that empties the battery",
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
    tells="how far the voltage fell when that test began",
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
    tells="what the battery delivered before it was empty",
)

# ---- what to look at

surface_charge = battery.observation(
    "surface_charge",
    "Surface charge",
    SurfaceCharge,
    how="Headlamps on for 15 s, off, then 3 min of waiting removes it.",
    tells="whether the last charge had settled",
    tells_each=SURFACE_CHARGE_TOLD,
)
case_seen = battery.observation(
    "case",
    "Battery case",
    Case,
    part=starter_battery,
    how="All sides, lid and posts; in frost look for bulging and ice.",
    hazard=ACID,
    tells="the case of the battery",
    tells_each=CASE_TOLD,
)
level = battery.observation(
    "level",
    "Electrolyte level",
    Level,
    part=starter_battery,
    how="Only where caps come off; the plates must be covered.",
    hazard=ACID,
    tells="how much acid the battery holds",
    tells_each=LEVEL_TOLD,
)
terminals = battery.observation(
    "terminals",
    "Posts and clamps",
    Terminals,
    how="Turn each clamp by hand; look under it too.",
    hazard=SHORT,
    tells="the battery's connections",
    tells_each=TERMINALS_TOLD,
)
loads = battery.observation(
    "charging_loads",
    "Lights and blower at the charging reading",
    Loads,
    tells="whether lights and blower were on",
    tells_each=LOADS_TOLD,
)
cranks = battery.observation(
    "cranks",
    "Engine cranking",
    Cranks,
    how=(
        "Once, before anything is touched, headlamps on, watch them and listen. 10 s at most, then 60 s of"
        " rest for the starter."
    ),
    hazard=MOVING,
    tells="how the engine turns over",
    tells_each=CRANKS_TOLD,
)
charge_lamp = battery.observation(
    "charge_warning_light",
    "Charge warning light, engine running",
    Lamp,
    tells="the battery lamp while the engine runs",
    tells_each=LAMP_TOLD,
)
in_use = battery.observation(
    "in_use",
    "Battery in daily use",
    InUse,
    how="As reported by the driver.",
    tells="how the battery does in daily use",
    tells_each=IN_USE_TOLD,
)
settles = battery.observation(
    "draw_settles",
    "Whether the parasitic draw is still falling",
    Settles,
    tells="whether the current of the parked car had settled",
    tells_each=SETTLES_TOLD,
)
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
    tells="the current of the parked car with one fuse pulled",
    tells_each=CUT_TOLD,
)
ripple_meter = battery.observation(
    "ripple_meter",
    "Meter used for the ripple",
    RippleMeter,
    tells="the meter that was used",
    tells_each=RIPPLE_METER_TOLD,
)

# ---- what can be done

replace = battery.operation(
    "replace",
    "Replace the battery",
    shown_by=load_voltage,
    replaces=starter_battery,
    hazard=f"{MEMORY} {SHORT} {ACID} {HIGH_VOLTAGE}",
    tells="The old battery is taken out, and a new one of the right kind is fitted.",
)
charge = battery.operation(
    "charge",
    "Charge the battery",
    shown_by=open_circuit_voltage,
    as_test=(5, 240),
    asks=(charged_from, charged_for, charger, charger_program),
    hazard=(
        f"{DAMAGED} {SPARK} Charger off while its leads are connected or removed; keep the place"
        f" ventilated. {RUNAWAY} {LITHIUM_CARE} {CLAMPS} {HIGH_VOLTAGE}"
    ),
    tells="The battery is charged until it is full.",
)
clean_contacts = battery.operation(
    "clean_contacts",
    "Clean and tighten posts and clamps",
    shown_by=cranking_voltage,
    hazard=f"{MEMORY} {SHORT}",
    tells="The connections at the battery are cleaned and tightened.",
)
repair_cable = battery.operation(
    "repair_cable",
    "Repair cables and connections of the starting circuit",
    shown_by=cable_drop,
    hazard=f"{MEMORY} {SHORT}",
    tells="The cables between the battery and the starter are put in order.",
)
find_drain = battery.operation(
    "trace_draw",
    "Trace and repair the parasitic draw",
    shown_by=drain,
    hazard=MEMORY,
    tells="Whatever uses current while the car is parked is found and put right.",
)
charging_repair = battery.operation(
    "charging_repair",
    "Repair the charging system",
    shown_by=charging_voltage,
    hazard=f"{MOVING} {MEMORY} {HIGH_VOLTAGE}",
    tells="What keeps the engine from charging the battery is put right.",
)
