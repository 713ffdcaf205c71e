"""What a regulator or a charger may hold on a battery: by its type and temperature, and by how the vehicle
rules it.

A cold battery may get more and a hot one less. A regulator follows its own temperature, a charger the
battery's, and neither is known well: so the span only ever grows, in the cold upwards, in the heat downwards.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import attrs

import corekit as ck

from .answers import (
    BatteryType,
    Control,
)
from .declarations import (
    battery_type,
    charger_voltage,
    charging_voltage,
    control,
    temperature,
)
from .tables import kelvin

WARM = kelvin(77)  # 25 °C, for which the limits on file hold
REGULATOR = 15e-3  # V/K, the most that a regulator of a 12-V system follows; source: regulator-compensation
CHARGER = 30e-3  # V/K, the most that a charger of a 12-V battery follows; source: charging-compensation

#: Limits of a fixed set point by battery type, on file for 25 °C.
REGULATED = {
    BatteryType.FLOODED: "battery.charging_voltage_flooded",
    BatteryType.EFB: "battery.charging_voltage_flooded",
    BatteryType.AGM: "battery.charging_voltage_agm",
    BatteryType.GEL: "battery.charging_voltage_gel",
}
#: Limits of a charger that fills the battery, on file for 25 °C.
FILLED = {
    BatteryType.FLOODED: charger_voltage.key,
    BatteryType.EFB: charger_voltage.key,
    BatteryType.AGM: "battery.charger_voltage_agm",
    BatteryType.GEL: "battery.charger_voltage_gel",
}
#: V: however cold it is, no charger should give these more; source: charge-voltage-by-type
NEVER_ABOVE = {BatteryType.AGM: 15.5, BatteryType.GEL: 15.0}


def regulated(
    case: ck.Case,
    kind: BatteryType | None,
    managed: ck.Limit,
    ruled: Control | None,
    warmth: ck.Reading | None,
) -> ck.Limit | ck.Possible[ck.Limit]:
    """What the voltage with the engine running may be; while type, temperature or control is unknown, all
    that it may be. This vehicle's own figure wins.

    Args:
        managed: What holds where the vehicle varies its charging voltage on purpose.
    """
    if case.is_specified(charging_voltage):
        return case.limit(charging_voltage)
    at = case.ends(warmth, temperature)
    any_type = _at(case.limit(charging_voltage), at, REGULATOR)
    if kind is not None and kind not in REGULATED:
        # Nothing is on file for it, so what holds for lead-acid of any kind can only advise.
        fixed = ck.for_each(lambda limit: attrs.evolve(limit, only_advises=True), any_type)
    else:
        by_type = {one: _at(case.limit(key), at, REGULATOR) for one, key in REGULATED.items()}
        fixed = case.limit_by(battery_type, kind, by_type, otherwise=any_type)
    return case.limit_by(control, ruled, {Control.FIXED: fixed, Control.MANAGED: managed})


def filled(
    case: ck.Case, kind: BatteryType | None, warmth: ck.Reading | None
) -> ck.Limit | ck.Possible[ck.Limit] | None:
    """What a charger may hold while it fills the battery; None for a type of which nothing is on file."""
    if case.is_specified(charger_voltage):
        return case.limit(charger_voltage)
    if kind is not None and kind not in FILLED:
        return None
    at = case.ends(warmth, temperature)
    by_type = {one: _at(case.limit(key), at, CHARGER, NEVER_ABOVE.get(one)) for one, key in FILLED.items()}
    if kind is not None:
        return by_type[kind]
    return case.limit_by(battery_type, None, by_type, otherwise=by_type[BatteryType.FLOODED])


def _at(
    limit: ck.Limit, at: ck.Value | ck.Possible[ck.Value], slope: float, most: float | None = None
) -> ck.Limit | ck.Possible[ck.Limit]:
    """A limit for 25 °C at the battery's temperature."""

    def moved(warmth: ck.Value) -> ck.Limit:
        return attrs.evolve(
            limit,
            low=_at_temperature(limit.low, warmth, lambda volts, at: volts - slope * max(0.0, at - WARM)),
            high=_at_temperature(
                limit.high,
                warmth,
                lambda volts, at: max(volts, min(volts + slope * max(0.0, WARM - at), most or math.inf)),
            ),
        )

    return ck.for_each(moved, at)


def _at_temperature(
    end: ck.Value | None, warmth: ck.Value, by: Callable[[float, float], float]
) -> ck.Value | None:
    return None if end is None else ck.propagate(by, (end, warmth), end.kind)
