"""What is asked, read and looked at to tell battery, cables, starter, alternator and drain apart."""

from __future__ import annotations

from enum import Enum

from .cautions import (
    DAMAGED,
    HIGH_VOLTAGE,
    MEMORY,
    MOVING,
    SHORT,
    SPARK,
)
from .declarations import (
    battery,
    starter_battery,
    temperature,
)

# ---- what to beware of, in our words; local rules and the vehicle manufacturer's instructions come first

CRANKING = (
    "Crank for 10 s at most, then let the starter rest for 60 s. Stop-start or remote start: key away,"
    " bonnet open."
)
LIVE = (
    "Live work beside a lead without a fuse: insulated probes fixed before anybody turns the key, no ring, no"
    " watch. With a pacemaker keep 0.3 m away from a running ignition."
)
ROADSIDE = (
    "At the roadside wear high-visibility clothing (EN ISO 20471) and have the customer stand off the road;"
    " never under a vehicle that stands on a jack alone."
)
TRAINED = (
    "Local rules and the manufacturer's instructions come first; what they leave to trained people is left"
    " to them."
)
GAS = (
    "AGM and gel batteries give off hydrogen too: ventilated, never opened. Charger off at the mains before"
    " its clamps are moved, and at once if the case gets hot."
)


class WentFlat(Enum):
    LEFT_ON = "something left on"
    STOOD = "stood, or short trips only"
    SOON_AGAIN = "flat soon after a full charge"
    DRIVING = "flat while driving, or light on"
    NONE = "none of these"


class Drive(Enum):
    ENGINE = "combustion engine"
    MILD = "mild hybrid"
    HYBRID = "hybrid"
    ELECTRIC = "electric"


class Belt(Enum):
    SOUND = "tight and whole"
    SLIPS = "slack or glazed"
    OFF = "torn or missing"


class LightKeyOn(Enum):
    LIT = "lights up"
    DARK = "stays dark"


class AlternatorLead(Enum):
    NONE = "no current"
    FLOWS = "current flows"


# ---- what can fail beside the battery

clamps = battery.part("clamps", "Posts and clamps")
cables = battery.part("cables", "Cables and ground straps of the starting circuit")
alternator = battery.part("alternator", "Alternator with its regulator")
charging_wiring = battery.part("charging_wiring", "Wiring of the alternator")
belt = battery.part("belt", "Alternator drive belt")
consumers = battery.part("consumers", "What draws current while parked")
mains_charger = battery.part("mains_charger", "Charger that is used on the battery")
starter = battery.part("starter", "Starter motor with its solenoid")
start_command = battery.part("start_command", "Start command circuit")
engine = battery.part("engine", "Engine and what it drives")

# ---- what the vehicle is fitted with

age = battery.trait(
    "age",
    "Battery age",
    units=("years",),
    possible=(0, 30),
    part=starter_battery,
    how="From the date code on its case or post, or from the invoice; a first look of a minute.",
)
drive = battery.trait(
    "drive",
    "Drive",
    Drive,
    how="Hybrid and electric vehicles charge the 12-V battery by a converter when ready; most have no"
    " starter.",
)

# ---- what the customer tells, and what a look shows

told = battery.observation(
    "told",
    "What the customer says about it",
    WentFlat,
    how="Asked before anything is touched; where two fit, the one that comes first in time.",
    tells="what you told us about it",
    tells_each={
        WentFlat.LEFT_ON: "You told us that something was left on.",
        WentFlat.STOOD: "You told us that the car stood, or makes short trips only.",
        WentFlat.SOON_AGAIN: "You told us that it was flat soon after a full charge.",
        WentFlat.DRIVING: "You told us that it went flat while driving, or that the lamp was on.",
        WentFlat.NONE: "Nothing you told us explains a flat battery.",
    },
)
belt_seen = battery.observation(
    "belt",
    "Alternator drive belt",
    Belt,
    part=belt,
    how="Engine off, key away: whole, seated, no gloss; pressed by the thumb it gives a little.",
    hazard=f"{MOVING} A fan can start by itself with the key off.",
    tells="the belt that drives the alternator",
    tells_each={
        Belt.SOUND: "The belt that drives the alternator is tight and whole.",
        Belt.SLIPS: "The belt that drives the alternator is slack or glazed.",
        Belt.OFF: "The belt that drives the alternator is torn or missing.",
    },
)
light_key_on = battery.observation(
    "charge_light_key_on",
    "Charge warning light, key on, engine off",
    LightKeyOn,
    how="Key on, engine not started. It has to light up, at least for the self-test.",
    tells="the battery lamp before the start",
    tells_each={
        LightKeyOn.LIT: "The battery lamp lights up before the start, as it should.",
        LightKeyOn.DARK: "The battery lamp does not light up before the start, where it should.",
    },
)
alternator_lead = battery.observation(
    "alternator_lead",
    "Current in the alternator's lead, parked",
    AlternatorLead,
    part=alternator,
    how=(
        "Parasitic draw present and modules asleep: DC clamp meter, zeroed beside it, around the thick lead"
        " at the alternator. 50 mA or more counts as current."
    ),
    hazard=f"That lead has no fuse: negative off before anything at it is touched or undone. {SHORT}"
    f" {MEMORY}",
    tells="whether the parked car loses current through the alternator",
    tells_each={
        AlternatorLead.NONE: "The parked car loses no current through its alternator.",
        AlternatorLead.FLOWS: "The parked car loses current through its alternator.",
    },
)

# ---- what to measure

running_time = battery.measurand(
    "running_time",
    "min",
    "Time the engine had run at the charging reading",
    possible=(0, 600),
    usual=(0.5, 60),
    accuracy="0.5 min",
    how="2 min with loads on; with smart charging 5 min.",
    tells="how long the engine had run",
)
battery_current = battery.measurand(
    "battery_current",
    "A",
    "Current into the battery, engine running",
    possible=(-500, 500),
    usual=(-80, 150),
    accuracy="3 % + 1 A",
    where="DC clamp meter around every negative lead at once, arrow so that charging reads positive.",
    how="Zero the clamp first. Within 2 min after the start, 2000 rpm, lights and blower on.",
    hazard=f"{MOVING} {SPARK} {ROADSIDE}",
    tells="the current into the battery, engine running",
)
control_voltage = battery.measurand(
    "control_voltage",
    "V",
    "Voltage at the starter's control terminal",
    possible=(0, 16),
    usual=(0, 13),
    accuracy="0.5 % + 0.05 V",
    where="Control terminal of the solenoid to the starter's body.",
    how="Key held in the start position, or start button and pedal pressed, by a helper who sees you.",
    hazard=f"{CRANKING} {MOVING} {LIVE} {ROADSIDE} {TRAINED}",
    tells="the voltage of the command to crank",
)
accepting_voltage = battery.measurand(
    "accepting_voltage",
    "V",
    "Charger voltage at the charge acceptance reading",
    possible=(0, 20),
    usual=(11, 15),
    accuracy="0.5 % + 0.02 V",
    where="On the posts, charger on.",
    how="14.4 V; less means that the charger is at its current limit.",
    hazard=f"{DAMAGED} {SPARK} {GAS}",
    tells="the voltage of the charger while the battery took charge",
)
accepting_time = battery.measurand(
    "accepting_time",
    "min",
    "Time on charge at the charge acceptance reading",
    possible=(0, 1440),
    usual=(1, 120),
    accuracy="1 min",
    how="5 min; where little current flows, again after 20 min.",
    tells="how long the battery had been taking charge",
)
accepted_current = battery.measurand(
    "accepted_current",
    "A",
    "Charge acceptance, current at 14.4 V",
    part=starter_battery,
    possible=(0, 300),
    usual=(0, 80),
    accuracy="3 % + 0.5 A",
    conditions=(accepting_voltage, accepting_time, temperature),
    where="Clamp meter around the charger's lead, or the charger's own display.",
    how="Battery at 12.4 V or less before, 10 °C or more, on a charger that holds 14.4 V, read after 5 min.",
    hazard=f"{DAMAGED} {SPARK} {GAS}",
    tells="how much charge the battery takes",
)
evening_voltage = battery.measurand(
    "evening_voltage",
    "V",
    "Open-circuit voltage before the night",
    possible=(0, 16),
    usual=(10, 13.2),
    accuracy="0.5 % + 0.02 V",
    where="On the posts, negative clamp off.",
    how="Fully charged, an hour after the charger was disconnected.",
    tells="the battery's voltage before the night",
)
night_time = battery.measurand(
    "night_time",
    "h",
    "Time the battery stood alone",
    possible=(0, 1000),
    usual=(6, 72),
    accuracy="0.5 h",
    how="12 h with the negative clamp off and insulated.",
    tells="how long the battery stood alone",
)
night_voltage = battery.measurand(
    "night_voltage",
    "V",
    "Open-circuit voltage after a night alone",
    part=starter_battery,
    possible=(0, 16),
    usual=(10, 13.2),
    accuracy="0.5 % + 0.02 V",
    conditions=(evening_voltage, night_time),
    where="On the posts, before the negative clamp goes back on.",
    how="Full in the evening, negative off for 12 h. The customer can read it in the morning.",
    hazard=f"{MEMORY} {SHORT} {SPARK} {HIGH_VOLTAGE}",
    tells="the battery's voltage after a night alone",
)
