"""What can be read, seen, fitted and done on an engine's cooling."""

from __future__ import annotations

from enum import Enum

import corekit as ck

cooling = ck.System("cooling", "Engine cooling", api="1.0")

HOT_CAP = (
    "Never open a hot cap: coolant and steam burn at once. Wait until the engine is cold and the hose soft."
)
FAN = "The fan may start by itself, also with the engine off. Hands, hair and sleeves out of its way."
ANTIFREEZE = (
    "Antifreeze is poisonous: catch all of it, and let no animal near. Local rules say where it goes."
)
HOT_ENGINE = (
    "Engine and hoses are hot, and the fan may start by itself. Touch hoses with the back of the hand."
)
RAISED = f"{HOT_CAP} {ANTIFREEZE}"


class Level(Enum):
    MARKS = "between the marks"
    LOW = "below the lower mark"
    EMPTY = "none to be seen"


class Fan(Enum):
    RUNS = "comes on as the engine gets hot"
    NEVER = "stays off although the engine is hot"
    ALWAYS = "runs from the cold start on"


class Hose(Enum):
    LATE = "stays cool and gets hot when the engine is warm"
    EARLY = "gets warm together with the engine"
    NEVER = "stays cool although the engine is hot"


class Wet(Enum):
    DRY = "dry"
    CRUSTED = "crusted, dry now"
    DRIPS = "drips"


class Fluid(Enum):
    SAME = "keeps its colour"
    TURNS = "turns colour"


thermostat = cooling.part("thermostat", "Thermostat")
fan_motor = cooling.part("fan_motor", "Fan motor")
cap = cooling.part("cap", "Pressure cap")
pump = cooling.part("water_pump", "Water pump")
radiator = cooling.part("radiator", "Radiator")
hoses = cooling.part("hoses", "Coolant hoses")
head_gasket = cooling.part("head_gasket", "Head gasket")

marked_opening = cooling.trait(
    "thermostat_marking",
    "Opening temperature marked on the thermostat, or from the papers",
    units=("°C",),
    possible=(60, 110),
    part=thermostat,
    how="Stamped on the housing or in the vehicle's papers; most are 82 °C to 92 °C.",
    tells="the temperature at which the thermostat opens",
)
cap_marking = cooling.trait(
    "cap_marking",
    "Pressure marked on the cap",
    units=("bar gauge",),
    possible=(0.3, 2.5),
    part=cap,
    how="Stamped on the cap; a 100 means 1.0 bar. Read it with the engine cold.",
    tells="the pressure that the cap is made for",
)

air_pressure = cooling.measurand(
    "air_pressure",
    "mbar abs",
    "Air pressure here",
    possible=(500, 1100),
    usual=(850, 1040),
    accuracy="10 mbar",
    lasting=True,
    how="Barometer, or live data with the engine off; the weather report's is for sea level.",
    tells="the air pressure outside",
)
temperature = cooling.measurand(
    "temperature",
    "°C",
    "Coolant temperature",
    possible=(-40, 140),
    usual=(-20, 115),
    accuracy="3 °C",
    where="Live data, or a probe on the metal of the thermostat housing.",
    how="Warmed up until it stays for three minutes, heater and air conditioning off; best as a record.",
    hazard=HOT_ENGINE,
    tells="the temperature of the coolant",
)
warm_up = cooling.record(
    "warm_up",
    "Warm-up",
    of=temperature,
    over="s",
    settled=("3 °C", "3 min"),
    how="From a cold start until the temperature stays, ten to twenty minutes, at fast idle or on the road.",
    tells="how the engine warms up",
)
cooling.from_channel(warm_up, "coolant_temperature", during="warm-up")
cap_opens = cooling.measurand(
    "cap_opens",
    "bar gauge",
    "Pressure at which the cap opens",
    possible=(0, 4),
    usual=(0.5, 2),
    accuracy="3 % + 0.03 bar",
    part=cap,
    where="Cap on the tester, off the vehicle.",
    how="Engine cold. Wet the seal, pump slowly until the needle stays.",
    hazard=HOT_CAP,
    tells="the pressure at which the cap opens",
)
pressure_fall = cooling.measurand(
    "pressure_fall",
    "bar diff",
    "Pressure lost in ten minutes",
    possible=(0, 3),
    usual=(0, 1.5),
    accuracy="0.03 bar",
    where="Tester in place of the cap.",
    how="Engine cold. Pump to what is marked on the cap and no further; read again after ten minutes.",
    hazard=HOT_CAP,
    tells="how much pressure is lost in ten minutes",
)
fan_supply = cooling.measurand(
    "fan_supply",
    "V",
    "Voltage at the fan's plug, engine hot",
    possible=(0, 20),
    usual=(0, 15),
    accuracy="0.5 % + 0.02 V",
    part=fan_motor,
    where="Probes on the two thick wires, plug in place.",
    how="Engine hot enough for the fan, or the fan switched on by the scan tool.",
    hazard=FAN,
    tells="the voltage that the fan gets",
)
frost = cooling.measurand(
    "frost_protection",
    "°C",
    "Protected against frost down to",
    possible=(-52, 0),
    usual=(-45, 0),
    accuracy="2 °C",
    where="A drop from the expansion tank on a refractometer's scale for ethylene glycol.",
    how="Engine cold. A scale for propylene glycol reads another thing.",
    hazard=RAISED,
    tells="how much frost the coolant stands",
)

level = cooling.observation(
    "level",
    "Coolant level, engine cold",
    Level,
    how="At the expansion tank's marks from outside; the cap stays shut.",
    hazard=HOT_CAP,
    tells="the coolant level",
    tells_each={
        Level.MARKS: "The coolant level is right.",
        Level.LOW: "The coolant level is too low.",
        Level.EMPTY: "There is no coolant to be seen.",
    },
)
fan = cooling.observation(
    "fan",
    "Fan",
    Fan,
    how="Air conditioning off. Let the engine get hot at idle; stop before the gauge's hot mark.",
    hazard=FAN,
    tells="whether the fan runs",
    tells_each={
        Fan.RUNS: "The fan comes on as it should.",
        Fan.NEVER: "The fan stays off although the engine is hot.",
        Fan.ALWAYS: "The fan runs all the time.",
    },
)
upper_hose = cooling.observation(
    "upper_hose",
    "Hose from the thermostat to the radiator",
    Hose,
    part=thermostat,
    how="Back of the hand on the hose at the radiator, every minute from a cold start.",
    hazard=HOT_ENGINE,
    tells="when the hose to the radiator gets hot",
    tells_each={
        Hose.LATE: "The thermostat opens when the engine is warm.",
        Hose.EARLY: "The thermostat lets coolant through from the start.",
        Hose.NEVER: "The thermostat stays shut although the engine is hot.",
    },
)
wet = cooling.observation(
    "wet",
    "Leaks",
    Wet,
    places=("radiator", "hoses", "water pump"),
    how="Torch and mirror, the system cold and under the tester's pressure.",
    hazard=HOT_CAP,
    tells="where coolant leaks",
    tells_each={
        Wet.DRY: "It is dry here.",
        Wet.CRUSTED: "Coolant has leaked here before.",
        Wet.DRIPS: "Coolant drips here.",
    },
)
block_test = cooling.observation(
    "block_test",
    "Test fluid over the coolant",
    Fluid,
    how="Engine cold to begin with, level a hand below the neck, tester on it, then idle for five minutes.",
    hazard=HOT_CAP,
    tells="whether exhaust gas gets into the coolant",
    tells_each={
        Fluid.SAME: "No exhaust gas was found in the coolant.",
        Fluid.TURNS: "Exhaust gas gets into the coolant.",
    },
)

fill = cooling.operation(
    "fill",
    "Fill and bleed the cooling system",
    shown_by=temperature,
    hazard=RAISED,
    tells="The right coolant is filled in and the air let out.",
)
replace_thermostat = cooling.operation(
    "replace_thermostat",
    "Replace the thermostat",
    shown_by=temperature,
    replaces=thermostat,
    hazard=RAISED,
    tells="A new thermostat holds the engine at its temperature.",
)
replace_fan = cooling.operation(
    "replace_fan",
    "Replace the fan motor",
    shown_by=temperature,
    replaces=fan_motor,
    hazard=f"{FAN} Battery disconnected first.",
    tells="A new fan motor blows air through the radiator again.",
)
replace_cap = cooling.operation(
    "replace_cap",
    "Replace the pressure cap",
    shown_by=cap_opens,
    replaces=cap,
    hazard=HOT_CAP,
    tells="A new cap holds the pressure, so that the coolant boils later.",
)
replace_pump = cooling.operation(
    "replace_pump",
    "Replace the water pump",
    shown_by=pressure_fall,
    replaces=pump,
    hazard=RAISED,
    tells="A new water pump holds the coolant and moves it.",
)
replace_radiator = cooling.operation(
    "replace_radiator",
    "Replace the radiator",
    shown_by=pressure_fall,
    replaces=radiator,
    hazard=RAISED,
    tells="A new radiator holds the coolant.",
)
replace_hose = cooling.operation(
    "replace_hose",
    "Replace the leaking hose",
    shown_by=pressure_fall,
    replaces=hoses,
    hazard=RAISED,
    tells="A new hose holds the coolant.",
)
