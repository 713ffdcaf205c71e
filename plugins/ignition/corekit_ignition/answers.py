"""The closed answers to what is asked and looked at."""

from __future__ import annotations

from enum import Enum


class Kind(Enum):
    DISTRIBUTOR = "distributor"
    WASTED = "wasted spark"
    OWN_COIL = "coil on plug"
    MAGNETO = "magneto"
    CAPACITOR = "capacitor discharge"


#: A coil that a battery charges; of the others this system knows no figure.
IN_SCOPE = (Kind.DISTRIBUTOR, Kind.WASTED, Kind.OWN_COIL)


class Banks(Enum):
    """Which cylinders form the first bank, in the manufacturer's own counting."""

    LINE = "one bank"
    HALVES = "first half and second half"
    ODD = "odd and even"


class DropMeter(Enum):
    AVERAGE = "averaging meter"
    PEAK = "peak hold, scope or record"
    HELD = "current held on"


class CoilPairs(Enum):
    """Cylinders on one coil: those half a round apart in the firing order."""

    FOUR = "1 with 4, 2 with 3"
    FOUR_FLAT = "1 with 2, 3 with 4"
    FOUR_OTHER = "1 with 3, 2 with 4"
    SIX = "1 with 6, 2 with 5, 3 with 4"
    SIX_VEE = "1 with 4, 2 with 5, 3 with 6"
    SIX_OTHER = "1 with 5, 2 with 6, 3 with 4"
    OTHER = "paired otherwise"


class CoilType(Enum):
    POINTS = "breaker points"
    ELECTRONIC = "electronic"


class Fitted(Enum):
    YES = "fitted"
    NO = "not fitted"


class LeadType(Enum):
    CARBON = "carbon"
    WOUND = "wire-wound"


class PlugType(Enum):
    RESISTOR = "with resistor"
    PLAIN = "without resistor"


class Face(Enum):
    """What the firing end of a plug looks like, in our words."""

    TAN = "tan or pale grey"
    SOOT = "dry black soot"
    OIL = "wet and black, oily"
    FUEL = "wet with fuel"
    BURNT = "white, blistered or blued"
    WORN = "worn, rounded electrodes"
    CRACKED = "cracked insulator"
    NEW = "new"


class Spark(Enum):
    STEADY = "every time"
    WEAK = "weak or intermittent"
    NONE = "none"


class LeadLook(Enum):
    SOUND = "sound"
    LOOSE = "loose or not seated"
    CRACKED = "cracked, chafed or hard"
    TRACKED = "burnt or tracked"


class CoilLook(Enum):
    SOUND = "sound"
    TRACKED = "cracked or tracked"
    SWOLLEN = "swollen or leaking"


class Routing(Enum):
    CLEAR = "clear of it"
    CLOSE = "close to it or touching"


class CapLook(Enum):
    SOUND = "sound"
    WORN = "contacts burnt or worn"
    TRACKED = "cracked or tracked"


class Path(Enum):
    VALUE = "shows a value"
    OPEN = "reads open"


class Wires(Enum):
    TWO = "two wires"
    MORE = "three or four wires"


class Swap(Enum):
    FOLLOWED = "followed it"
    STAYED = "stayed with the cylinder"
    GONE = "gone since the swap"


class Switching(Enum):
    SWINGS = "pulses"
    HIGH = "stays high"
    LOW = "stays low"
