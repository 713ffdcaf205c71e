"""What the EGR system asks about, measures, looks at and can have done."""

from __future__ import annotations

from enum import Enum

import corekit as ck

egr = ck.System("egr", "Exhaust gas recirculation", api="1.0")

# ---- what to beware of, in our words; local rules and the vehicle manufacturer's instructions come first

GAS = (  # source: carbon-monoxide
    "Exhaust contains carbon monoxide, which has no smell: run the engine only outdoors or with"
    " exhaust extraction; stop at any alarm."
)
HOT = (  # source: workshop-cautions
    "Exhaust pipe, EGR valve and cooler can be hotter than 200 °C: let them cool, or wear"
    " heat-resistant gloves."
)
MOVING = (
    "Keep hands, sleeves, hoses and leads clear of belts and fans, and an electric fan can start with"
    " the key off; wheels chocked, parking brake on, gear in park or neutral."
)
CARBON = (  # source: workshop-cautions
    "Goggles, gloves and a P3 mask against soot, and no dry brush; none of it may fall into the intake."
)
NO_SPRAY = "No cleaning spray into a running diesel: it can run away, or break."
BELOW = "Never under a vehicle that only a jack holds: level, hard ground, chocks and stands."
KEEP = (  # source: tampering-us, source: defeat-eu
    "Exhaust gas recirculation is an emission control. It is repaired here, never blanked off, deleted or"
    " coded out; the law forbids that in many places. A plate fitted for a test never drives."
)
WARRANTY = (  # source: emission-warranty
    "Ask first whether an emission warranty still covers it. Codes erased before an inspection leave the"
    " monitors not ready."
)
SHORTLY = "At idle hold the valve open for 5 s at most."
GENTLY = (  # source: sensor-span-earlier
    "Never more than 8 inHg on the sensor: the pump used to test a valve can destroy it."
)


class Valve(Enum):
    VACUUM = "vacuum, with regulator"
    BACK_PRESSURE = "vacuum, back-pressure type"
    ELECTRIC = "electric motor"
    SOLENOID = "electric solenoid"


class Sensor(Enum):
    LATER = "differential pressure, later type"
    EARLIER = "differential pressure, earlier type"
    POSITION = "valve position"
    AIR_MASS = "air mass meter only"
    NONE = "no sensor"


class Layout(Enum):
    BEFORE = "before the valve"
    BEHIND = "behind the valve"


class Cooler(Enum):
    FITTED = "fitted"
    NOT_FITTED = "not fitted"


class Regulator(Enum):
    DUTY = "duty cycle"
    SWITCH = "on/off"


class Engine(Enum):
    PETROL = "petrol"
    DIESEL = "diesel"


class Reaction(Enum):
    ROUGH = "runs rough"
    STALLS = "stalls"
    SLIGHT = "changes slightly"
    NONE = "no change"


class Stem(Enum):
    MOVES = "moves"
    PARTLY = "moves partly"
    STICKS = "does not move"


class Hoses(Enum):
    SOUND = "sound"
    CRACKED = "cracked"
    OFF = "off its port"
    LOOSE = "loose or softened"
    SWAPPED = "swapped"
    BLOCKED = "blocked"


class VacuumHoses(Enum):
    SOUND = "sound"
    CRACKED = "cracked"
    OFF = "off its port"
    BLOCKED = "blocked"
    CAP = "a cap or plug is loose or gone"


class Deposits(Enum):
    CLEAN = "clean"
    THIN = "light deposits"
    CHOKED = "choked"


#: Kinds of valve, and of sensor, that much has in common.
ELECTRIC = (Valve.ELECTRIC, Valve.SOLENOID)
BY_VACUUM = (Valve.VACUUM, Valve.BACK_PRESSURE)
WITH_SUPPLY = (Sensor.LATER, Sensor.EARLIER, Sensor.POSITION)
WITH_HOSES = (Sensor.LATER, Sensor.EARLIER)
WITHOUT_HOSES = (Sensor.POSITION, Sensor.AIR_MASS, Sensor.NONE)


# ---- what can fail or be renewed

egr_valve = egr.part("valve", "EGR valve")
egr_sensor = egr.part("sensor", "EGR sensor")
egr_regulator = egr.part("regulator", "Vacuum regulator")
egr_passage = egr.part("passage", "EGR passage and orifice")
egr_ports = egr.part("ports", "Sensing ports of the metering tube")
egr_hoses = egr.part("sensing_hoses", "EGR sensor hoses")
egr_vacuum_hoses = egr.part("vacuum_hoses", "Vacuum hoses")
egr_vent_filter = egr.part("vent_filter", "Vent filter of the vacuum regulator")
egr_wiring = egr.part("wiring", "EGR wiring")

# ---- what the vehicle is fitted with

engine = egr.trait("engine", "Engine", Engine)
valve_type = egr.trait(
    "valve",
    "EGR valve",
    Valve,
    part=egr_valve,
    how=(
        "A hose on top: vacuum; a connector and no hose: electric, with two pins for its winding a solenoid,"
        " with a gear housing a motor. Whether it is a back-pressure type is in its documents."
    ),
    tells="Valve of the exhaust return",
)
sensor_type = egr.trait(
    "sensor",
    "EGR sensor",
    Sensor,
    part=egr_sensor,
    how=(
        "Two hoses: differential pressure, the later type mostly plastic, the earlier metal. On the"
        " valve itself: valve position. On many diesels the air mass meter alone reports the flow."
    ),
    tells="Sensor of the exhaust return",
    formerly={"none": Sensor.NONE},
)
layout = egr.trait(
    "layout",
    "Metering orifice",
    Layout,
    how="Where the two sensing hoses join the EGR tube: before the valve, or between valve and manifold.",
    tells="Where the sensor's hoses sit",
)
cooler_fitted = egr.trait(
    "cooler",
    "EGR cooler",
    Cooler,
    how="A box in the EGR pipe with two coolant hoses.",
    tells="Cooler of the exhaust return",
)
regulator_type = egr.trait(
    "regulator",
    "Vacuum regulator",
    Regulator,
    part=egr_regulator,
    how="Between the vacuum source and the valve; two hoses, one connector.",
    tells="Kind of the valve's control",
)

# ---- what to measure

barometer = egr.measurand(
    "barometer",
    "kPa abs",
    "Barometric pressure",
    possible=(50, 110),
    usual=(70, 106),
    accuracy="1 kPa",
    lasting=True,
    where="At the vehicle, from its ECU or a barometer.",
    how="Absolute pressure on site, not a weather service's figure corrected to sea level.",
    tells="Air pressure outside",
)
engine_speed = egr.measurand(
    "engine_speed",
    "rpm",
    "Engine speed at the reading",
    possible=(0, 8000),
    usual=(500, 3500),
    accuracy="25 rpm",
)
sensor_supply = egr.measurand(
    "sensor_supply",
    "V",
    "EGR sensor supply voltage",
    possible=(0, 16),
    usual=(0, 5.5),
    accuracy="0.5 % + 0.02 V",
    only={sensor_type: WITH_SUPPLY},
    stands_until=(egr_sensor, egr_wiring),
    where="At the sensor connector, supply against sensor ground.",
    how="Key on, engine off, connector plugged in, back-probed.",
    tells="The sensor's supply",
)
sensor_ground = egr.measurand(
    "sensor_ground",
    "V",
    "Voltage drop on the sensor ground",
    possible=(-1, 16),
    usual=(-0.05, 5.5),
    accuracy="0.5 % + 0.003 V",
    only={sensor_type: WITH_SUPPLY},
    stands_until=(egr_sensor, egr_wiring),
    where="Sensor ground against battery negative.",
    how="Key on, engine off, connector plugged in.",
    tells="The sensor's way back to the battery",
)
signal_zero = egr.measurand(
    "signal_zero",
    "V",
    "Sensor signal, valve closed, engine off",
    possible=(-0.5, 16),
    usual=(-0.05, 5.5),
    accuracy="0.5 % + 0.02 V",
    conditions=(sensor_supply,),
    stands_until=(egr_sensor, egr_wiring, egr_hoses),
    where="At the sensor connector, signal against sensor ground.",
    how="Key on, engine off, valve closed, connector and hoses on.",
)
hand_vacuum = egr.measurand(
    "hand_vacuum",
    "inHg diff",
    "Vacuum applied to the sensor",
    possible=(0, 30),
    usual=(1, 8),
    accuracy="3 % + 0.2 inHg",
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    where="On the downstream port, the one nearer the intake.",
    how="Hand pump, both sensing hoses off.",
    hazard=GENTLY,
)
signal_pumped = egr.measurand(
    "signal_pumped",
    "V",
    "Sensor signal with hand pump",
    possible=(-0.5, 16),
    usual=(-0.05, 5.5),
    accuracy="0.5 % + 0.02 V",
    conditions=(hand_vacuum, sensor_supply),
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    where="At the sensor connector, signal against sensor ground.",
    how=(
        "Key on, engine off, about 5 inHg on the downstream port; it must return to its starting value"
        " when released."
    ),
    hazard=GENTLY,
)
signal_open = egr.measurand(
    "signal_open",
    "V",
    "Sensor signal, valve open",
    possible=(-0.5, 16),
    usual=(-0.05, 5.5),
    accuracy="0.5 % + 0.02 V",
    conditions=(sensor_supply, engine_speed),
    where="At the sensor connector, signal against sensor ground.",
    how="Engine warm, valve opened by hand pump or by command.",
    hazard=f"{GAS} {MOVING} {HOT} {SHORTLY}",
)
manifold_shut = egr.measurand(
    "manifold_shut",
    "kPa abs",
    "Manifold pressure, valve closed",
    possible=(5, 300),
    usual=(20, 110),
    accuracy="1 kPa",
    conditions=(engine_speed,),
    where="From the ECU, or a gauge on the manifold (then barometer less vacuum).",
    how="Engine warm, 75 °C or more, speed steady.",
    hazard=f"{GAS} {MOVING}",
    tells="Pressure in the engine's intake, valve closed",
)
manifold_open = egr.measurand(
    "manifold_open",
    "kPa abs",
    "Manifold pressure, valve open",
    possible=(5, 300),
    usual=(20, 110),
    accuracy="1 kPa",
    conditions=(engine_speed,),
    where="Same place, same speed, right after.",
    how="Valve opened by hand pump or by command.",
    hazard=f"{GAS} {MOVING} {HOT} {SHORTLY}",
    tells="Pressure in the engine's intake, valve open",
)
pressure_open = egr.measurand(
    "pressure_open",
    "kPa diff",
    "Pressure across the metering orifice, valve open",
    possible=(-40, 100),
    usual=(0, 40),
    accuracy="2 % + 0.1 kPa",
    conditions=(engine_speed,),
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    where="Between the two sensing hoses, upstream less downstream.",
    how="Gauge between both hoses, zeroed first.",
    hazard=f"{GAS} {MOVING} {HOT} {SHORTLY}",
    tells="Pressure of the exhaust flow, valve open",
)
tube_shut = egr.measurand(
    "tube_shut",
    "°C",
    "EGR tube temperature, valve closed",
    possible=(-40, 700),
    usual=(10, 200),
    accuracy="5 °C",
    where="On the tube downstream of the valve, on a matt spot; shiny metal reads low.",
    how="Engine warm, valve closed for some minutes.",
    hazard=f"{GAS} {HOT} {BELOW}",
    tells="How warm the pipe of the exhaust return is, valve closed",
)
tube_open = egr.measurand(
    "tube_open",
    "°C",
    "EGR tube temperature, valve open",
    possible=(-40, 700),
    usual=(20, 400),
    accuracy="5 °C",
    where="Same spot.",
    how="At 1500 to 2000 rpm, one minute after the valve was opened.",
    hazard=f"{GAS} {MOVING} {HOT} {BELOW}",
    tells="How warm the pipe of the exhaust return is, valve open",
)
supply_vacuum = egr.measurand(
    "supply_vacuum",
    "inHg diff",
    "Vacuum at the regulator inlet",
    possible=(0, 31),
    usual=(0, 26),
    accuracy="3 % + 0.5 inHg",
    conditions=(barometer, engine_speed),
    stands_until=(egr_vacuum_hoses,),
    only={valve_type: BY_VACUUM},
    where="On the supply hose of the regulator, with a T-piece.",
    how="Engine warm, at idle.",
    hazard=f"{GAS} {MOVING}",
    tells="Vacuum that reaches the valve's control",
)
vacuum_off = egr.measurand(
    "vacuum_off",
    "inHg diff",
    "Vacuum at the valve, regulator unplugged",
    possible=(0, 31),
    usual=(0, 22),
    accuracy="3 % + 0.2 inHg",
    only={valve_type: BY_VACUUM},
    where="On the hose to the valve, with a T-piece.",
    how="Engine warm, at idle, regulator unplugged.",
    hazard=f"{GAS} {MOVING}",
    tells="Vacuum at the valve when nothing is asked",
)
duty = egr.measurand(
    "duty",
    "%",
    "Duty cycle at the regulator connector",
    possible=(0, 100),
    usual=(0, 95),
    accuracy="2 points",
    only={valve_type: BY_VACUUM},
    where="At the regulator connector, back-probed.",
    how=(
        "A meter that shows duty cycle; a plain voltage there is only an average. An on/off regulator shows"
        " 0 or 100 %."
    ),
    tells="When the valve is told to open",
)
vacuum_on = egr.measurand(
    "vacuum_on",
    "inHg diff",
    "Vacuum at the valve, regulator commanded",
    possible=(0, 31),
    usual=(0, 22),
    accuracy="3 % + 0.2 inHg",
    conditions=(duty,),
    only={valve_type: BY_VACUUM},
    where="On the hose to the valve, with a T-piece.",
    how="Engine warm, regulator commanded by the scan tool, or on a road test with a second person reading.",
    hazard=f"{GAS} {MOVING} {SHORTLY}",
    tells="Vacuum at the valve when it is told to open",
)
hold_loss = egr.measurand(
    "hold_loss",
    "inHg diff",
    "Vacuum loss of the valve in one minute",
    possible=(0, 31),
    usual=(0, 15),
    accuracy="3 % + 0.2 inHg",
    only={valve_type: BY_VACUUM},
    where="Hand pump straight on the valve.",
    how=(
        "Pump to 10 inHg, wait 5 s, then read the loss over 60 s; engine off. Not a back-pressure valve: it"
        " lets its vacuum go by design."
    ),
    hazard=HOT,
)
vacuum_outlet = egr.measurand(
    "vacuum_outlet",
    "inHg diff",
    "Vacuum at the regulator outlet, commanded",
    possible=(0, 31),
    usual=(0, 22),
    accuracy="3 % + 0.2 inHg",
    conditions=(duty,),
    part=egr_regulator,
    only={valve_type: BY_VACUUM},
    where="Straight on the regulator's outlet, the hose to the valve off.",
    how="Engine warm, same command as for the reading at the valve.",
    hazard=f"{GAS} {MOVING} {SHORTLY}",
    tells="What the valve's control gives",
)
hose_loss = egr.measurand(
    "hose_loss",
    "inHg diff",
    "Vacuum loss of the hose in one minute",
    possible=(0, 31),
    usual=(0, 15),
    accuracy="3 % + 0.2 inHg",
    part=egr_vacuum_hoses,
    only={valve_type: BY_VACUUM},
    where="Hand pump on one end of the hose, the other end plugged.",
    how="Pump to 10 inHg, wait 5 s, then read the loss over 60 s; engine off; bend the hose meanwhile.",
    hazard=HOT,
)
coil_temperature = egr.measurand(
    "coil_temperature",
    "°C",
    "Regulator coil temperature",
    possible=(-40, 160),
    usual=(-10, 120),
    accuracy="5 °C",
    where="On its housing.",
    how="At the time the resistance is read.",
    tells="How warm the valve's control was",
)
coil = egr.measurand(
    "coil",
    "Ω",
    "Regulator coil resistance",
    possible=(0, 10_000_000),
    usual=(2, 300),
    accuracy="1 % + 0.5 Ω",
    conditions=(coil_temperature,),
    only={valve_type: BY_VACUUM},
    where="Across the two pins, unplugged.",
    how="Lead resistance subtracted; an open coil reads far above 200 Ω.",
    tells="Electrical part of the valve's control",
)

# ---- what to look at

reaction = egr.observation(
    "reaction",
    "Engine reaction to opening the valve",
    Reaction,
    stands_until=(egr_valve, egr_passage),
    how=(
        "Warm, at idle; 4 to 12 inHg from a hand pump on the valve, or the scan tool's command. Plug"
        " the hose that was pulled off. Not a back-pressure valve, which stays closed at idle."
    ),
    hazard=f"{GAS} {MOVING} {HOT} {SHORTLY}",
    tells_each={
        Reaction.ROUGH: "With the valve opened the engine runs rough, as it should: exhaust gas flows back.",
        Reaction.STALLS: "With the valve opened the engine stops, as it should: exhaust gas flows back.",
        Reaction.SLIGHT: "With the valve opened the engine hardly changes: little exhaust gas flows back.",
        Reaction.NONE: "With the valve opened the engine does not change: no exhaust gas flows back.",
    },
)
stem = egr.observation(
    "stem",
    "EGR valve stem",
    Stem,
    stands_until=(egr_valve,),
    only={valve_type: BY_VACUUM},
    how="Watch it, or feel it with a glove, while vacuum or command is applied and released.",
    hazard=HOT,
    tells="Whether the valve moves",
    tells_each={
        Stem.MOVES: "The valve moves freely.",
        Stem.PARTLY: "The valve moves only part of its way.",
        Stem.STICKS: "The valve does not move.",
    },
)
sensing_hoses = egr.observation(
    "sensing_hoses",
    "Pressure sensor hoses",
    Hoses,
    only={valve_type: BY_VACUUM, sensor_type: WITH_HOSES},
    how="Bend them, check the ends, blow through them with the sensor off; upstream to upstream.",
    hazard=HOT,
    tells_each={
        Hoses.SOUND: "The hoses of the exhaust flow sensor are sound.",
        Hoses.CRACKED: "A hose of the exhaust flow sensor is cracked.",
        Hoses.OFF: "A hose of the exhaust flow sensor is off.",
        Hoses.LOOSE: "A hose of the exhaust flow sensor is loose or soft.",
        Hoses.SWAPPED: "The two hoses of the exhaust flow sensor are swapped.",
        Hoses.BLOCKED: "A hose of the exhaust flow sensor is blocked.",
    },
    formerly={"off": Hoses.OFF},
)
vacuum_hoses = egr.observation(
    "vacuum_hoses",
    "Vacuum hoses",
    VacuumHoses,
    only={valve_type: BY_VACUUM},
    how="From the source to the regulator and on to the valve; bend them.",
    hazard=HOT,
    tells_each={
        VacuumHoses.SOUND: "The vacuum hoses are sound.",
        VacuumHoses.CRACKED: "A vacuum hose is cracked.",
        VacuumHoses.OFF: "A vacuum hose is off.",
        VacuumHoses.BLOCKED: "A vacuum hose is blocked.",
        VacuumHoses.CAP: "A vacuum connection is not closed as it should be.",
    },
    formerly={"off": VacuumHoses.OFF},
)
deposits = egr.observation(
    "deposits",
    "Carbon deposits in valve and passage",
    Deposits,
    how="Valve removed, look and push a rod into the ports on both sides, engine cold.",
    hazard=f"{HOT} {CARBON} {BELOW}",
    tells_each={
        Deposits.CLEAN: "The passage of the exhaust gas is clean.",
        Deposits.THIN: "The passage of the exhaust gas has a little carbon, as usual.",
        Deposits.CHOKED: "The passage of the exhaust gas is choked with carbon.",
    },
)

# ---- what can be done. Blanking off is not among it and never will be.

clean = egr.operation(
    "clean",
    "Clean the EGR valve and its passages",
    shown_by=manifold_open,
    way="cleaned_passage",
    tells="The valve and the passages that lead exhaust gas back are cleaned.",
    hazard=f"{HOT} {CARBON} {NO_SPRAY} {KEEP}",
)
clean_filter = egr.operation(
    "clean_filter",
    "Clean the vacuum regulator's vent filter",
    shown_by=vacuum_off,
    way="cleaned",
    tells="The air filter of the part that opens the valve is cleaned.",
    hazard=f"{HOT} {KEEP}",
)
replace_valve = egr.operation(
    "replace_valve",
    "Replace the EGR valve",
    shown_by=manifold_open,
    replaces=egr_valve,
    tells="The valve that leads exhaust gas back is renewed.",
    hazard=f"{HOT} {CARBON} {BELOW} {KEEP} {WARRANTY}",
)
replace_sensor = egr.operation(
    "replace_sensor",
    "Replace the EGR sensor",
    shown_by=signal_pumped,
    replaces=egr_sensor,
    tells="The sensor that measures the exhaust gas led back is renewed.",
    hazard=f"{HOT} {KEEP} {WARRANTY}",
)
replace_regulator = egr.operation(
    "replace_regulator",
    "Replace the vacuum regulator",
    shown_by=vacuum_on,
    or_shown_by=[vacuum_off],
    replaces=egr_regulator,
    tells="The part that opens the valve is renewed.",
    hazard=f"{HOT} {KEEP} {WARRANTY}",
)
replace_sensing_hoses = egr.operation(
    "replace_sensing_hoses",
    "Replace the EGR sensor hoses",
    shown_by=signal_open,
    way="renewed",
    tells="The hoses of the sensor that measures the exhaust gas are renewed.",
    hazard=f"{HOT} {KEEP}",
)
replace_vacuum_hose = egr.operation(
    "replace_vacuum_hose",
    "Replace the vacuum hose",
    shown_by=vacuum_on,
    way="renewed",
    tells="The hose that works the valve is renewed.",
    hazard=f"{HOT} {MOVING} {KEEP}",
)
repair_wiring = egr.operation(
    "repair_wiring",
    "Repair the EGR wiring",
    shown_by=sensor_supply,
    or_shown_by=[sensor_ground],
    tells="The wiring of the sensor and the valve is put in order.",
    hazard=KEEP,
)
