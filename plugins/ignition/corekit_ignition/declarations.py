"""What the ignition system asks about, measures, looks at and can have done."""

from __future__ import annotations

import corekit as ck

from .answers import (
    IN_SCOPE,
    Banks,
    CapLook,
    CoilLook,
    CoilPairs,
    CoilType,
    DropMeter,
    Face,
    Fitted,
    Kind,
    LeadLook,
    LeadType,
    Path,
    PlugType,
    Routing,
    Spark,
    Switching,
    Wires,
)
from .cautions import (
    ALONE,
    CRANK,
    HIGH_VOLTAGE,
    HOT,
    IMPLANT,
    KICK,
    MOVING,
    NEGATIVE_OFF,
    NO_FUEL,
    NO_HYBRID,
    NO_LAMP,
    OFF,
    TESTER,
    THREAD,
    WORK,
)

ignition = ck.System("ignition", "Ignition", api="1.0")

CYLINDERS = tuple(f"cylinder {number}" for number in range(1, 13))
COILS = tuple(f"coil {number}" for number in range(1, 13))
LEADS = (*(f"lead {number}" for number in range(1, 13)), "coil lead")


# ---- what counts the cylinders; coils and leads it does not count: some engines have two plugs in each

cylinders = ignition.trait(
    "cylinders",
    "Number of cylinders",
    units=("count",),
    possible=(1, 12),
    tells="how many cylinders the engine has",
)

# ---- what can fail or be renewed

ignition_coil = ignition.part("coil", "Ignition coil", places=COILS)
plug_leads = ignition.part("leads", "Plug lead", places=LEADS)
spark_plugs = ignition.part("plugs", "Spark plug", places=CYLINDERS, places_by=cylinders)
distributor_cap = ignition.part("cap", "Distributor cap and rotor")
coil_boots = ignition.part("boots", "Coil boot", places=CYLINDERS, places_by=cylinders)
feed_wiring = ignition.part("feed", "Feed of the ignition")
ground_wiring = ignition.part("ground", "Ground of the ignition")
plug_wells = ignition.part("wells", "Plug wells", places=CYLINDERS, places_by=cylinders)
coil_switching = ignition.part("switching", "Coil switching: points, module or wiring")
crank_sensor = ignition.part("crank_sensor", "Crankshaft or camshaft sensor")
injectors = ignition.part("injectors", "Injector", places=CYLINDERS, places_by=cylinders)
intake = ignition.part("intake", "Intake, behind the air mass meter")
engine_itself = ignition.part("engine", "Engine: compression")
fuel_supply = ignition.part("fuel", "Fuel supply")

# ---- what the vehicle is fitted with

kind = ignition.trait(
    "kind",
    "Ignition type",
    Kind,
    how=(
        "Wasted spark: one coil fires two plugs at once. Magneto and capacitor discharge are named to be"
        " set apart:"
        " nothing here speaks of them."
    ),
    tells="the kind of ignition",
)
coil_pairs = ignition.trait(
    "coil_pairs",
    "Cylinders that share a coil",
    CoilPairs,
    how="Wasted spark: follow the two leads of each coil, or its numbers.",
    tells="which cylinders share an ignition coil",
)
banks = ignition.trait(
    "banks",
    "Banks of cylinders",
    Banks,
    how=(
        "From the manufacturer's counting: cylinders of one bank share a head, mostly a fuse, a ground and a"
        " camshaft."
    ),
    tells="how the cylinders are counted",
)
drop_meter = ignition.trait(
    "drop_meter",
    "How voltage drops are read",
    DropMeter,
    how=(
        "A coil draws its current for a few hundredths of the time: an averaging meter then shows so much"
        " of a"
        " drop and no more. Peak hold, a scope or a record shows it; so does any meter where the coil's"
        " current"
        " is held on, as by closed points."
    ),
    tells="how the cables were measured",
)
coil_type = ignition.trait(
    "coil_type",
    "Coil type",
    CoilType,
    part=ignition_coil,
    how="What switches it: breaker points, or a module or ECU.",
    tells="what switches the ignition coil",
)
coil_wires = ignition.trait(
    "coil_wires",
    "Wires at the coil",
    Wires,
    how="At its connector. Two: the coil alone. Three or four: a driver inside, switched by 5 V logic.",
    tells="how many wires the ignition coil has",
)
ballast = ignition.trait(
    "ballast",
    "Ballast resistor",
    Fitted,
    how="A resistor or resistance wire in the feed; bypassed while cranking.",
    tells="what limits the coil's current",
)
diode = ignition.trait(
    "diode",
    "Diode in the secondary",
    Fitted,
    part=ignition_coil,
    how="From the coil's data; many coil-on-plug coils have one.",
    tells="how the ignition coil is built inside",
)
inductance = ignition.trait(
    "inductance",
    "Primary inductance",
    units=("mH",),
    possible=(0.3, 20),
    part=ignition_coil,
    how="From the coil's data.",
    tells="how the ignition coil is built",
)
coil_resistance = ignition.trait(
    "coil_resistance",
    "Primary resistance, from data",
    units=("Ω",),
    possible=(0.1, 10),
    part=ignition_coil,
    how="At 20 °C.",
    tells="how the ignition coil is built",
)
current_limit = ignition.trait(
    "current_limit",
    "Current limit",
    units=("A",),
    possible=(1, 30),
    how="Of module or ECU, from its data.",
    tells="how much current the coil may take",
)
off_time = ignition.trait(
    "off_time",
    "Burn and recovery time",
    units=("ms",),
    possible=(0.2, 5),
    how="Between two charges; from data or a scope trace.",
    tells="how long a spark lasts",
)
proposed_inductance = ignition.trait(
    "proposed_inductance",
    "Primary inductance of a proposed coil",
    units=("mH",),
    possible=(0.3, 20),
    tells="another ignition coil",
)
proposed_resistance = ignition.trait(
    "proposed_resistance",
    "Primary resistance of a proposed coil",
    units=("Ω",),
    possible=(0.1, 10),
    how="At 20 °C.",
    tells="another ignition coil",
)
proposed_limit = ignition.trait(
    "proposed_limit",
    "Current limit with a proposed coil",
    units=("A",),
    possible=(1, 30),
    tells="another ignition coil",
)
compression_ratio = ignition.trait(
    "compression_ratio",
    "Compression ratio",
    units=("1",),
    possible=(5, 20),
    tells="how far the engine compresses",
)
lead_type = ignition.trait(
    "lead_type",
    "Plug leads",
    LeadType,
    part=plug_leads,
    how="Printed on the lead; coil-on-plug ignition has none.",
    tells="the kind of leads",
)
plug_type = ignition.trait(
    "plug_type",
    "Spark plugs",
    PlugType,
    part=spark_plugs,
    how="An R in the plug's number usually means a resistor.",
    tells="the kind of spark plugs",
)
rotor_type = ignition.trait(
    "rotor",
    "Rotor arm",
    PlugType,
    part=distributor_cap,
    how="Measure along it, or read its number.",
    tells="a part of the distributor",
)

# ---- what to measure

winding_temperature = ignition.measurand(
    "winding_temperature",
    "°C",
    "Winding temperature",
    possible=(-40, 150),
    usual=(-10, 110),
    accuracy="5 °C",
    how=(
        "Contact or infra-red thermometer on the coil's body; a coil that was running is hotter"
        " inside, so let it stand half an hour."
    ),
    hazard=HOT,
    tells="how warm the ignition coil is",
)
engine_speed = ignition.measurand(
    "engine_speed",
    "rpm",
    "Engine speed",
    possible=(0, 12000),
    usual=(50, 7500),
    accuracy="50 rpm",
    how="Tachometer or scan tool, where it misfires.",
    tells="how fast the engine turns",
)
supply_key_on = ignition.measurand(
    "supply_key_on",
    "V",
    "Coil supply voltage, key on",
    possible=(0, 20),
    usual=(0, 15.5),
    only={kind: IN_SCOPE},
    accuracy="0.5 % + 0.05 V",
    where="Coil feed terminal to battery negative.",
    how="Coil plugged in, current flowing; back-probe the connector.",
    hazard=f"{HIGH_VOLTAGE} {NO_LAMP} {NO_HYBRID}",
    tells="the voltage at the ignition coil, switched on",
)
supply_cranking = ignition.measurand(
    "supply_cranking",
    "V",
    "Coil supply voltage while cranking",
    possible=(0, 15),
    usual=(0, 12.8),
    only={kind: IN_SCOPE},
    accuracy="0.5 % + 0.05 V",
    where="Coil feed terminal to battery negative.",
    how="The steady value while cranking; the battery's own voltage at the same time.",
    hazard=f"{NO_FUEL} {HIGH_VOLTAGE} {MOVING} {CRANK} {ALONE}",
    tells="the voltage at the ignition coil while starting",
)
supply_running = ignition.measurand(
    "supply_running",
    "V",
    "Coil supply voltage, engine running",
    possible=(0, 20),
    usual=(0, 18),
    only={kind: IN_SCOPE},
    accuracy="0.5 % + 0.05 V",
    conditions=(engine_speed,),
    where="Coil feed terminal to battery negative.",
    how="At the speed where it misfires; the battery's own voltage at the same time.",
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="the voltage at the ignition coil, engine running",
)
feed_drop = ignition.measurand(
    "feed_drop",
    "V",
    "Voltage drop, positive side, battery to coil",
    possible=(0, 15),
    usual=(0, 8),
    conditions=(engine_speed,),
    only={kind: IN_SCOPE},
    accuracy="0.5 % + 0.02 V",
    where=("Battery positive to the coil's feed terminal; with a ballast resistor, to its feed end."),
    how=(
        "While the coil draws current, cranking or running: peak hold, a scope or a record, for a meter"
        " averages."
    ),
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="what the cable to the ignition coil loses",
)
ground_drop = ignition.measurand(
    "ground_drop",
    "V",
    "Voltage drop, ground side",
    possible=(0, 15),
    usual=(0, 4),
    conditions=(engine_speed,),
    only={kind: IN_SCOPE},
    accuracy="0.5 % + 0.02 V",
    where="Ground of coil or module to battery negative.",
    how="While the coil draws current: peak hold, a scope or a record, for a meter averages.",
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="what the ignition's way back to the battery loses",
)
primary_resistance = ignition.measurand(
    "primary_resistance",
    "Ω",
    "Primary resistance",
    possible=(0, 200),
    usual=(0.2, 6),
    accuracy="1 % + 0.3 Ω",
    places=COILS,
    conditions=(winding_temperature,),
    where=(
        "Between the two thin terminals; a single coil is coil 1, a coil-on-plug coil has its"
        " cylinder's number."
    ),
    how=("Null the meter leads first, or use four wires; wait until the reading is steady."),
    hazard=f"{OFF} {HOT}",
    tells="the thick wire inside the ignition coil",
)
secondary_resistance = ignition.measurand(
    "secondary_resistance",
    "kΩ",
    "Secondary resistance",
    possible=(0, 200),
    usual=(2, 40),
    accuracy="2 % + 0.1 kΩ",
    places=COILS,
    conditions=(winding_temperature,),
    where="High-voltage terminal to the terminal its data name.",
    how="20 kΩ range or higher, noting the display's unit.",
    hazard=f"{OFF} {HOT}",
    tells="the thin wire inside the ignition coil",
)
lead_length = ignition.measurand(
    "lead_length",
    "m",
    "Lead length",
    possible=(0.02, 3),
    usual=(0.1, 1.5),
    accuracy="0.02 m",
    places=LEADS,
    how="End to end.",
    tells="how long the leads are",
)
lead_resistance = ignition.measurand(
    "lead_resistance",
    "kΩ",
    "Lead resistance",
    possible=(0, 10000),
    usual=(0.05, 2000),  # a broken lead reads some hundred kΩ; 5 kΩ typed in Ω are 5000
    accuracy="2 % + 0.1 kΩ",
    places=LEADS,
    only={kind: (Kind.DISTRIBUTOR, Kind.WASTED)},
    where="From end to end, including the boots if they stay on.",
    how="20 kΩ range or higher, noting the display's unit; bend the lead while reading.",
    hazard=f"{HIGH_VOLTAGE} {HOT} Pull on the boot, never on the lead.",
    tells="how well the spark plug leads carry the spark",
)
dwell = ignition.measurand(
    "dwell",
    "ms",
    "Dwell (coil charge time)",
    possible=(0, 60),
    usual=(0.5, 25),
    accuracy="3 % + 0.05 ms",
    conditions=(engine_speed,),
    only={kind: IN_SCOPE},
    how="Time the coil is switched on for one spark, from a scope trace.",
    hazard=f"{HIGH_VOLTAGE} {KICK} {IMPLANT}",
    tells="how long the ignition coil is charged",
)
peak_current = ignition.measurand(
    "peak_current",
    "A",
    "Peak primary current",
    possible=(0, 60),
    usual=(1, 20),
    accuracy="3 % + 0.2 A",
    places=COILS,
    conditions=(engine_speed,),
    where="Current clamp around one primary wire.",
    only={kind: IN_SCOPE},
    how=(
        "Current clamp set to zero first; the value just before the spark. Better the whole rise, as a"
        " record."
    ),
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="how much current the ignition coil takes",
)
charging_ramp = ignition.record(
    "ramp",
    "Primary current while charging",
    of=peak_current,
    over="ms",
    over_title="Time since switching on",
    possible=(-3, 60),
    usual=(-1, 20),
    over_possible=(-50, 100),
    where="Current clamp around one primary wire.",
    how=(
        "One charge of the coil, from before it is switched on until past the spark: time and amperes as a"
        " scope or"
        " logger writes them, or five points and more by hand. Clamp set to zero first."
    ),
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="how the ignition coil's current rises",
)
available_voltage = ignition.measurand(
    "available_voltage",
    "kV",
    "Available voltage",
    possible=(0, 80),
    usual=(10, 50),
    accuracy="10 % + 1 kV",
    places=COILS,
    only={kind: IN_SCOPE},
    how="Rated probe and earthed tester with a wide gap, for one second only.",
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {TESTER} {NO_FUEL}",
    tells="how strong a spark the ignition coil can give",
)
firing_voltage = ignition.measurand(
    "firing_voltage",
    "kV",
    "Firing voltage",
    possible=(0, 60),
    usual=(3, 30),
    accuracy="10 % + 0.5 kV",
    places=CYLINDERS,
    places_by=cylinders,
    conditions=(engine_speed,),
    how="Rated high-voltage clip on each lead in turn, at the same steady speed.",
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {MOVING}",
    tells="what each spark needs",
)
plug_gap = ignition.measurand(
    "plug_gap",
    "mm",
    "Plug gap",
    possible=(0, 5),
    usual=(0.4, 2),
    accuracy="0.03 mm",  # half a step of 0.05 mm between two wires, and the wire; an estimate of ours
    places=CYLINDERS,
    places_by=cylinders,
    part=spark_plugs,
    where="Between the electrodes, at the narrowest point.",
    how="Wire gauge; nothing pressed against the insulator.",
    hazard=HOT,
    tells="the gap of the spark plugs",
)
revolutions = ignition.measurand(
    "revolutions",
    "count",
    "Revolutions counted",
    possible=(1, 1000000),
    usual=(100, 20000),
    accuracy="1",
    how="As the scan tool shows, mostly 200 or 1000; otherwise speed times minutes.",
    tells="how many turns were counted",
)
misfires = ignition.measurand(
    "misfires",
    "count",
    "Misfires counted",
    possible=(0, 100000),
    usual=(0, 5000),
    accuracy="0.5",
    places=CYLINDERS,
    places_by=cylinders,
    conditions=(revolutions, engine_speed),
    how=(
        "Scan tool, misfire counters of every cylinder over the same revolutions, engine warm, under"
        " the load where it misfires; record zeros too. Who looks for the cylinder by hand cuts its injector,"
        " never its coil: fuel that does not burn ruins the catalyst."
    ),
    hazard=f"{MOVING} On the road somebody else drives; off the throttle when the lamp flashes.",
    tells="how often each cylinder did not fire",
)

# ---- what to look at

plug_face = ignition.observation(
    "plug_face",
    "Spark plug appearance",
    Face,
    places=CYLINDERS,
    places_by=cylinders,
    part=spark_plugs,
    how="All of them, in order, side by side.",
    hazard=HOT,
    tells="what the spark plugs look like",
    tells_each={
        Face.TAN: "The spark plugs look as they should.",
        Face.SOOT: "The spark plugs are black with soot.",
        Face.OIL: "The spark plugs are oily.",
        Face.FUEL: "The spark plugs are wet with fuel.",
        Face.BURNT: "The spark plugs were too hot.",
        Face.WORN: "The spark plugs are worn.",
        Face.CRACKED: "A spark plug is cracked.",
        Face.NEW: "The spark plugs are new.",
    },
)
spark = ignition.observation(
    "spark",
    "Spark at the spark tester",
    Spark,
    places=CYLINDERS,
    places_by=cylinders,
    how="Earthed tester with a set gap in place of the plug, hands off, a few seconds of cranking.",
    hazard=f"{HIGH_VOLTAGE} {IMPLANT} {TESTER} {NO_FUEL} {MOVING} {CRANK} {ALONE}",
    tells="whether there is a spark",
    tells_each={
        Spark.STEADY: "There is a spark every time.",
        Spark.WEAK: "The spark is weak, or comes and goes.",
        Spark.NONE: "There is no spark.",
    },
)
boot_look = ignition.observation(
    "boot_look",
    "Coil boots",
    LeadLook,
    places=CYLINDERS,
    places_by=cylinders,
    only={kind: (Kind.OWN_COIL,)},
    part=coil_boots,
    how="Coil out: look inside and along the boot in good light; its spring too.",
    hazard=f"{HIGH_VOLTAGE} {HOT}",
    tells="the rubber boots of the ignition coils",
    tells_each={
        LeadLook.SOUND: "The rubber boots look as they should.",
        LeadLook.LOOSE: "A rubber boot was not seated properly.",
        LeadLook.CRACKED: "A rubber boot is cracked or hard.",
        LeadLook.TRACKED: "A rubber boot is burnt through.",
    },
)
lead_look = ignition.observation(
    "lead_look",
    "Plug lead and boots",
    LeadLook,
    places=LEADS,
    only={kind: (Kind.DISTRIBUTOR, Kind.WASTED)},
    part=plug_leads,
    how="Bend it, look inside both boots.",
    hazard=f"{HIGH_VOLTAGE} {HOT}",
    tells="the leads to the spark plugs",
    tells_each={
        LeadLook.SOUND: "The leads to the spark plugs look as they should.",
        LeadLook.LOOSE: "A lead was not seated properly.",
        LeadLook.CRACKED: "A lead is cracked or worn.",
        LeadLook.TRACKED: "A lead is burnt through.",
    },
)
coil_look = ignition.observation(
    "coil_look",
    "Coil and its tower",
    CoilLook,
    places=COILS,
    part=ignition_coil,
    how="Tower, body and connector in good light; fine dark lines are carbon tracks, a bulge is heat.",
    hazard=f"{HIGH_VOLTAGE} {HOT}",
    tells="what the ignition coils look like",
    tells_each={
        CoilLook.SOUND: "The ignition coil looks as it should.",
        CoilLook.TRACKED: "The ignition coil is cracked.",
        CoilLook.SWOLLEN: "The ignition coil has been too hot.",
    },
)
routing = ignition.observation(
    "routing",
    "Leads and boots beside the exhaust",
    Routing,
    how="Along every lead and boot, engine cold: what lies on a header or its shield.",
    hazard=HOT,
    tells="whether leads lie on the hot exhaust",
    tells_each={
        Routing.CLEAR: "The leads lie clear of the hot exhaust.",
        Routing.CLOSE: "A lead lies too close to the hot exhaust.",
    },
)
cap_look = ignition.observation(
    "cap_look",
    "Distributor cap and rotor",
    CapLook,
    only={kind: (Kind.DISTRIBUTOR,)},
    how="Inside and out, in good light; fine dark lines are carbon tracks.",
    hazard=HIGH_VOLTAGE,
    tells="the part that hands the sparks to the cylinders",
    tells_each={
        CapLook.SOUND: "The part that hands out the sparks looks as it should.",
        CapLook.WORN: "The part that hands out the sparks is worn.",
        CapLook.TRACKED: "The part that hands out the sparks is cracked.",
    },
)
secondary_path = ignition.observation(
    "secondary_path",
    "Secondary winding on the ohmmeter",
    Path,
    places=COILS,
    how="On the highest range.",
    hazard=OFF,
    tells="the thin wire inside the ignition coil",
    tells_each={
        Path.VALUE: "The thin wire inside the coil is whole.",
        Path.OPEN: "The thin wire inside the coil cannot be measured like this.",
    },
)
switching = ignition.observation(
    "switching",
    "Coil switched side while cranking",
    Switching,
    how=(
        "Scope, or a meter that shows frequency or duty: it must pulse with every spark. Two wires: at the"
        " coil's switched terminal. Three or four: at the command wire, which pulses to about 5 V and rests"
        " low."
    ),
    hazard=f"{NO_FUEL} {HIGH_VOLTAGE} {KICK} {NO_LAMP} {MOVING} {CRANK} {ALONE}",
    tells="whether the ignition coil is switched",
    tells_each={
        Switching.SWINGS: "The ignition coil is switched on and off.",
        Switching.HIGH: "The ignition coil is never switched.",
        Switching.LOW: "The ignition coil is never switched.",
    },
)

# ---- what can be done

replace_plugs = ignition.operation(
    "replace_plugs",
    "Replace the spark plugs",
    shown_by=misfires,
    replaces=spark_plugs,
    tells="The old spark plugs come out, and new ones are fitted.",
    hazard=f"{WORK} {THREAD}",
)
set_gaps = ignition.operation(
    "set_gaps",
    "Set the plug gaps",
    shown_by=plug_gap,
    tells="The gaps of the spark plugs are set.",
    hazard=f"{WORK} {THREAD}",
)
replace_coil = ignition.operation(
    "replace_coil",
    "Replace the ignition coil",
    shown_by=misfires,
    replaces=ignition_coil,
    tells="The old ignition coil is taken out, and a new one is fitted.",
    hazard=WORK,
)
replace_leads = ignition.operation(
    "replace_leads",
    "Replace the plug leads",
    shown_by=misfires,
    replaces=plug_leads,
    tells="The old leads to the spark plugs are taken off, and new ones are fitted.",
    hazard=WORK,
)
replace_boots = ignition.operation(
    "replace_boots",
    "Replace the coil boots",
    shown_by=misfires,
    replaces=coil_boots,
    tells="The old rubber boots of the ignition coils are taken off, and new ones are fitted.",
    hazard=WORK,
)
replace_cap = ignition.operation(
    "replace_cap",
    "Replace distributor cap and rotor",
    shown_by=misfires,
    replaces=distributor_cap,
    tells="The part that hands the sparks to the cylinders is renewed.",
    hazard=WORK,
)
repair_supply = ignition.operation(
    "repair_supply",
    "Repair the ignition supply",
    shown_by=feed_drop,
    tells="The wiring that feeds the ignition is put in order.",
    hazard=f"{WORK} {NEGATIVE_OFF}",
)
repair_ground = ignition.operation(
    "repair_ground",
    "Repair the ignition ground",
    shown_by=ground_drop,
    tells="The wiring by which the current of the ignition flows back is put in order.",
    hazard=f"{WORK} {NEGATIVE_OFF}",
)
repair_switching = ignition.operation(
    "repair_switching",
    "Repair the coil switching (points, module or wiring)",
    shown_by=peak_current,
    tells="What switches the ignition coil on and off is put in order.",
    hazard=f"{WORK} {NO_FUEL}",
)
