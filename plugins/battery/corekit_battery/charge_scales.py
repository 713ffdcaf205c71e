"""From open-circuit voltage or gravity to charge: the printed scales, and which one a battery is read by."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

import attrs

import corekit as ck

from .acid import gravity_of_voltage
from .answers import (
    BatteryType,
    FullAcid,
)
from .declarations import (
    battery,
)
from .tables import Rows

#: Gravity (80 °F against 60 °F) → state of charge. source: tm-5-4210-table-2
ACID_1265: Rows = ((1.120, 0.0), (1.155, 0.25), (1.190, 0.5), (1.225, 0.75), (1.265, 1.0))
#: source: tm-5-1185-table-2
ACID_1280: Rows = ((1.160, 0.0), (1.190, 0.25), (1.220, 0.5), (1.250, 0.75), (1.280, 1.0))
#: Open-circuit voltage of a 12-V block near 25 °C → state of charge. source: charge-by-type
EFB: Rows = ((11.80, 0.0), (12.00, 0.25), (12.25, 0.5), (12.50, 0.75), (12.75, 1.0))
AGM: Rows = ((11.80, 0.0), (12.00, 0.25), (12.30, 0.5), (12.60, 0.75), (12.85, 1.0))
GEL: Rows = ((11.80, 0.0), (12.05, 0.25), (12.35, 0.5), (12.65, 0.75), (12.90, 1.0))

KNOWN, UNKNOWN = (
    0.05,
    0.15,
)  # half-widths of the scale's uncertainty in shares of a full charge; source: charge-uncertainty

# more of it when the rest was short or nobody wrote it down; an estimate of ours, source: charge-uncertainty
UNRESTED = 0.10


@battery.calculation(source="tm-5-4210-table-2")
def charge_1265(
    gravity: Annotated[float, ck.Input("1", "Specific gravity", 1.0, 1.35)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge by gravity, for a battery whose acid is 1.265 when full.

    >>> charge_1265.si(1.225)
    0.75
    """
    return ck.interpolate_clamped(gravity, ACID_1265)


@battery.calculation(source="tm-5-1185-table-2")
def charge_1280(
    gravity: Annotated[float, ck.Input("1", "Specific gravity", 1.0, 1.35)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge by gravity, for a battery whose acid is 1.280 when full.

    >>> charge_1280.si(1.22)
    0.5
    """
    return ck.interpolate_clamped(gravity, ACID_1280)


@battery.calculation(source="tm-5-4210-table-2")
def charge_by_voltage_1265(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge by open-circuit voltage at 25 °C, for a battery whose acid is 1.265 when full.

    >>> round(charge_by_voltage_1265.si(12.6), 1)
    0.9
    """
    return charge_1265.si(gravity_of_voltage.si(_in_table(voltage)))


@battery.calculation(source="tm-5-1185-table-2")
def charge_by_voltage_1280(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge by open-circuit voltage at 25 °C, for a battery whose acid is 1.280 when full.

    >>> round(charge_by_voltage_1280.si(12.6), 1)
    0.8
    """
    return charge_1280.si(gravity_of_voltage.si(_in_table(voltage)))


@battery.calculation(source="charge-uncertainty")
def charge_by_voltage_flooded(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of a flooded battery of unknown acid, by open-circuit voltage at 25 °C: midway
    between the scales of 1.265 and 1.280.

    >>> charge_by_voltage_flooded.si(13.0)
    1.0
    """
    return (charge_by_voltage_1265.si(voltage) + charge_by_voltage_1280.si(voltage)) / 2


@battery.calculation(source="charge-by-type")
def charge_by_voltage_efb(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of an enhanced flooded battery, by open-circuit voltage near 25 °C.

    >>> charge_by_voltage_efb.si(12.5)
    0.75
    """
    return ck.interpolate_clamped(voltage, EFB)


@battery.calculation(source="charge-by-type")
def charge_by_voltage_agm(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of a flat-plate AGM battery, by open-circuit voltage near 25 °C.

    >>> charge_by_voltage_agm.si(12.3)
    0.5
    """
    return ck.interpolate_clamped(voltage, AGM)


@battery.calculation(source="charge-by-type")
def charge_by_voltage_gel(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of a gel battery, by open-circuit voltage near 25 °C.

    >>> charge_by_voltage_gel.si(12.65)
    0.75
    """
    return ck.interpolate_clamped(voltage, GEL)


@battery.calculation(source="charge-uncertainty")
def charge_by_voltage_any(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of a battery of unknown type, by open-circuit voltage near 25 °C: midway between the
    scales that read highest and lowest.

    >>> charge_by_voltage_any.si(13.0)
    1.0
    """
    scales = [
        charge_by_voltage_1265.si(voltage),
        charge_by_voltage_1280.si(voltage),
        ck.interpolate_clamped(voltage, EFB),
        ck.interpolate_clamped(voltage, AGM),
        ck.interpolate_clamped(voltage, GEL),
    ]
    return (min(scales) + max(scales)) / 2


def _in_table(voltage: float) -> float:
    """Below the acid table a battery is empty and above it full; the ends stand for both."""
    return min(max(voltage, 11.35), 12.98)


@attrs.frozen(kw_only=True)
class Scale:
    """One way from open-circuit voltage to charge: how, where 100 % begins, which limit a charge read off
    it may be held against.
    """

    of: Callable[..., ck.Value]
    full: float
    limit: str
    half_width: float
    words: str


# Where each scale reaches 100 %: the voltage of its full acid (80 °F against 60 °F) for the first two.
_1265 = Scale(
    of=charge_by_voltage_1265,
    full=12.679,
    limit="battery.charge_for_load",
    half_width=KNOWN,
    words="acid 1.265 when full",
)
_1280 = Scale(
    of=charge_by_voltage_1280,
    full=12.766,
    limit="battery.charge_for_load",
    half_width=KNOWN,
    words="acid 1.280 when full",
)
WEAK = "battery.charge_for_load_by_type"
_FLOODED = Scale(
    of=charge_by_voltage_flooded, full=12.72, limit=WEAK, half_width=UNKNOWN, words="flooded, acid not known"
)
_BY_TYPE = {
    BatteryType.FLOODED: _FLOODED,
    BatteryType.EFB: Scale(
        of=charge_by_voltage_efb,
        full=EFB[-1][0],
        limit=WEAK,
        half_width=UNKNOWN,
        words="EFB, acid not known",
    ),
    BatteryType.AGM: Scale(
        of=charge_by_voltage_agm,
        full=AGM[-1][0],
        limit=WEAK,
        half_width=UNKNOWN,
        words="AGM, acid not known",
    ),
    BatteryType.GEL: Scale(
        of=charge_by_voltage_gel,
        full=GEL[-1][0],
        limit=WEAK,
        half_width=UNKNOWN,
        words="gel, acid not known",
    ),
}
_ANY = Scale(
    of=charge_by_voltage_any, full=12.8, limit=WEAK, half_width=UNKNOWN, words="type and acid not known"
)


def scale_for(kind: BatteryType | None, acid: FullAcid | None) -> Scale:
    """The printed scale of the acid if that is known, else the scale of the type.

    No printed scale is on file for AGM, gel or acid 1.300.

    Raises:
        ValueError: a lithium battery, of which the voltage tells next to nothing.
    """
    if kind in (None, BatteryType.FLOODED, BatteryType.EFB):
        if acid is FullAcid.G1265:
            return _1265
        if acid is FullAcid.G1280:
            return _1280
    if kind is BatteryType.LITHIUM:
        raise ValueError("No voltage gives the charge of a lithium battery; ask for its type first.")
    if kind is None:
        return _BY_TYPE[BatteryType.AGM] if acid is FullAcid.G1300 else _ANY
    scale = _BY_TYPE[kind]
    return (
        attrs.evolve(scale, half_width=KNOWN, words=f"acid {acid.value} when full")
        if acid is not None
        else scale
    )
