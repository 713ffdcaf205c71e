"""The closed answers about a battery, and what the customer is told of each."""

from __future__ import annotations

from enum import Enum


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


class Program(Enum):
    """What a charger was set to."""

    USUAL = "flooded or usual"
    AGM = "AGM or cold"
    GEL = "gel"
    LITHIUM = "lithium"
    SUPPLY = "steady supply"


class Case(Enum):
    SOUND = "sound"
    SWOLLEN = "swollen"
    CRACKED = "cracked"
    LEAKING = "leaking"
    FROZEN = "frozen"


CASE_TOLD = {
    Case.SOUND: "The battery's case looks sound.",
    Case.SWOLLEN: "The battery is swollen.",
    Case.CRACKED: "The battery's case is cracked.",
    Case.LEAKING: "The battery leaks acid.",
    Case.FROZEN: "The battery is frozen.",
}


class Level(Enum):
    RIGHT = "correct"
    LOW = "low"
    BARE = "plates exposed"


LEVEL_TOLD = {
    Level.RIGHT: "There is enough acid in the battery.",
    Level.LOW: "The battery is low on water.",
    Level.BARE: "The battery has lost so much water that it stands dry inside.",
}


class Terminals(Enum):
    TIGHT = "clean and tight"
    LOOSE = "loose"
    CORRODED = "corroded"


TERMINALS_TOLD = {
    Terminals.TIGHT: "The battery's connections are clean and tight.",
    Terminals.LOOSE: "A connection at the battery is loose.",
    Terminals.CORRODED: "The battery's connections are corroded.",
}


class SurfaceCharge(Enum):
    TAKEN_OFF = "removed"
    LEFT = "not removed"


SURFACE_CHARGE_TOLD = {
    SurfaceCharge.TAKEN_OFF: "The last charge had settled before the battery was read.",
    SurfaceCharge.LEFT: "The last charge had not settled when the battery was read.",
}


class Loads(Enum):
    OFF = "off"
    ON = "on"


LOADS_TOLD = {
    Loads.OFF: "Lights and blower were off.",
    Loads.ON: "Lights and blower were on.",
}


class Cranks(Enum):
    WELL = "normal"
    SLOWLY = "slow"
    RATTLES = "rattles"
    CLICKS = "one click"
    SILENT_BRIGHT = "silent, lights stay bright"
    SILENT_DIM = "silent, lights go dim"
    NOT = "no crank"
    SOMETIMES = "intermittent no crank"


CRANKS_TOLD = {
    Cranks.WELL: "The engine turns over as it should.",
    Cranks.SLOWLY: "The engine turns over slowly.",
    Cranks.RATTLES: "The starter only rattles.",
    Cranks.CLICKS: "The starter clicks once, and nothing turns.",
    Cranks.SILENT_BRIGHT: "Nothing turns, and the lights stay bright.",
    Cranks.SILENT_DIM: "Nothing turns, and the lights go dim.",
    Cranks.NOT: "Nothing turns.",
    Cranks.SOMETIMES: "Now and then nothing turns.",
}


class Lamp(Enum):
    OUT = "goes out"
    ON = "stays on"
    FLICKERS = "flickers"


LAMP_TOLD = {
    Lamp.OUT: "The battery lamp goes out once the engine runs.",
    Lamp.ON: "The battery lamp stays on while the engine runs.",
    Lamp.FLICKERS: "The battery lamp flickers while the engine runs.",
}


class InUse(Enum):
    CHARGED = "stays charged"
    FLAT_STANDING = "goes flat while parked"
    FLAT_DRIVING = "goes flat while driving"
    SOONER = "runs down sooner than before"


IN_USE_TOLD = {
    InUse.CHARGED: "The battery stays charged in daily use.",
    InUse.FLAT_STANDING: "The battery goes flat while the car is parked.",
    InUse.FLAT_DRIVING: "The battery goes flat while the car is driven.",
    InUse.SOONER: "The battery runs down sooner than it used to.",
}


class Settles(Enum):
    SETTLED = "settled"
    FALLING = "still falling"


SETTLES_TOLD = {
    Settles.SETTLED: "The current of the parked car had settled.",
    Settles.FALLING: "The current of the parked car was still falling.",
}


class Cut(Enum):
    """What the parasitic draw does while one fuse is pulled."""

    GONE = "gone"
    FALLS = "drops"
    STAYS = "no change"


CUT_TOLD = {
    Cut.GONE: "With this fuse pulled the extra current of the parked car is gone.",
    Cut.FALLS: "With this fuse pulled the parked car uses less current.",
    Cut.STAYS: "With this fuse pulled the parked car uses as much current as before.",
}


class RippleMeter(Enum):
    FIT = "true RMS, AC coupled"
    OTHER = "other meter or range"


RIPPLE_METER_TOLD = {
    RippleMeter.FIT: "It was read with a meter that suits it.",
    RippleMeter.OTHER: "It was read with a meter that does not suit it.",
}
