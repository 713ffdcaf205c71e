"""Charging at the kerb: current and voltage for this battery, how far the hours at hand reach, when to stop,
and gas.

A battery takes the charger's whole current only at first. Then it takes less and less, in proportion to what
is still missing, with a time constant that belongs to this battery, its temperature and its age. So the last
fifth takes most of the time, and a visit seldom fills a battery.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from enum import Enum
from typing import Annotated, Any

import attrs

import corekit as ck

from .acid import CELLS
from .answers import (
    BatteryType,
)
from .capacity import capacity_known, reserve
from .cautions import (
    ACID,
    DAMAGED,
    SPARK,
)
from .charge_history import known_full_charge
from .charge_state import Charge, charge_of
from .charging import (
    HOUR,
    acceptance_time,
    air_flow,
    charging_time,
    charging_time_to,
    charging_voltage_at,
    time_at_full_current,
    time_to_one_percent,
    time_to_return,
)
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    capacity,
    charger,
    charger_voltage,
    open_circuit_voltage,
    starter_battery,
    temperature,
)

CELSIUS_25 = 298.15
TAU_25, TAU_HALF_WIDTH, TAU_DOUBLES = (
    2.25 * HOUR,
    0.75 * HOUR,
    25.0,
)  # s, s, and K colder; source: acceptance-default
TAU_LAW = HOUR  # no healthy battery takes its charge faster; source: ampere-hour-law
TAIL = 0.01  # A for each Ah: the current at which a charge is ended; source: tail-current
#: A for each Ah: what a charger may give at most when the label says nothing. source: charge-current-by-type
MOST = {BatteryType.FLOODED: 0.25, BatteryType.EFB: 0.25, BatteryType.AGM: 0.2, BatteryType.GEL: 0.2}
MOST_UNKNOWN = 0.2
COLDEST, HOTTEST = (
    243.15,
    333.15,
)  # K, where the compensation of the charging voltage ends; source: charging-compensation
LAID_DOWN = (
    0.3  # A for each Ah: the upper end that is printed for AGM and gel; source: charge-current-by-type
)
#: V at 25 °C, and the ends between which the compensated voltage is kept. source: charge-voltage-by-type
VOLTAGE = {
    BatteryType.FLOODED: (14.6, 13.5, 15.4),
    BatteryType.EFB: (14.6, 13.6, 15.4),
    BatteryType.AGM: (14.6, 13.8, 14.8),
    BatteryType.GEL: (14.2, 13.8, 14.4),
}
OFF_THE_CAR = 15.0  # V: above it the battery is charged off the vehicle; source: charge-off-vehicle
# mA for each Ah that make gas on a boost charge; source: ventilation
GAS_VENTED, GAS_CLOSED = 20e-3, 8e-3
LOAD_SPACE = 6.0  # m³, a van's load space, when nobody measured it; an estimate of ours
ENOUGH = 0.8  # the share of charge after which the slow part begins, in words and in the picture


class ChargingPlace(Enum):
    OPEN = "outdoors"
    AIRY = "indoors, ventilated"
    CLOSED_ROOM = "closed room"
    LOAD_SPACE = "closed load area"


# ---- what is asked and read

charge_place = battery.observation(
    "charge_place",
    "Where the battery is charged",
    ChargingPlace,
    how="Bonnet open, doors open; under a roof gas collects at the top.",
    hazard=SPARK,
    tells="where the battery is charged",
    tells_each={
        ChargingPlace.OPEN: "The battery is charged outdoors.",
        ChargingPlace.AIRY: "The battery is charged indoors, with fresh air.",
        ChargingPlace.CLOSED_ROOM: "The battery is charged in a closed room.",
        ChargingPlace.LOAD_SPACE: "The battery is charged in a closed load area.",
    },
)
hours_at_hand = battery.trait(
    "charge_hours",
    "Time available for charging",
    units=("h", "min"),
    possible=(0.1, 72),
    how="Before the customer needs the car.",
    tells="how long there is to charge",
)
label_voltage = battery.trait(
    "label_voltage",
    "Charging voltage on the label",
    units=("V",),
    possible=(13.2, 16.5),
    part=starter_battery,
    how="At 25 °C, the highest it names.",
    tells="the charging voltage on the battery's label",
)
room = battery.trait(
    "charge_room",
    "Size of the closed space",
    units=("m³",),
    possible=(0.5, 500),
    how="Length by width by height.",
    tells="the size of the closed space",
)
charge_elapsed = battery.measurand(
    "charge_elapsed",
    "min",
    "Time on the charger",
    possible=(0, 6000),
    usual=(1, 3000),
    accuracy="1 min",
    how="Since the charger's leads were connected and it was switched on.",
    tells="how long the battery had been on the charger",
)
charge_current = battery.measurand(
    "charge_current",
    "A",
    "Charger current",
    possible=(0, 200),
    usual=(0.1, 60),
    accuracy="3 % + 0.1 A",
    places=("first", "later"),
    conditions=(charge_elapsed, charger_voltage, temperature),
    where="Clamp meter around the charger's lead.",
    how=(
        "Twice, half an hour or more apart, once the voltage no longer rises; nothing switched on in between."
    ),
    hazard=(
        f"{DAMAGED} {SPARK} {ACID} Charger off while its leads go on or come off. Stop when it smokes,"
        " swells, gasses hard or grows hot."
    ),
    tells="the current of the charger",
)


# ---- calculations


@battery.calculation(source="charge-voltage-table")
def voltage_slope(
    cold_voltage: Annotated[float, ck.Input("V", "Charging voltage printed for cold", 10, 20)],
    warm_voltage: Annotated[float, ck.Input("V", "Charging voltage printed for warm", 10, 20)],
    cold: Annotated[float, ck.Input("K", "Cold temperature", 223.15, 353.15)],
    warm: Annotated[float, ck.Input("K", "Warm temperature", 223.15, 353.15)],
) -> Annotated[float, ck.Output("V/K", "Change for each kelvin and cell")]:
    """How a printed charging voltage of a 12-V block changes with temperature, for each cell.

    >>> round(voltage_slope.si(15.1, 14.4, 255.372, 297.039) * 1000, 1)
    -2.8

    Raises:
        ValueError: both rows are for one temperature.
    """
    if cold == warm:
        raise ValueError("Both rows are for one temperature; a slope needs two.")
    return (warm_voltage - cold_voltage) / (warm - cold) / CELLS


@battery.calculation(source="charge-voltage-by-type")
def voltage_to_set(
    voltage: Annotated[float, ck.Input("V", "Charging voltage at 25 °C", 12.0, 16.5)],
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 243.15, 333.15)],
    lowest: Annotated[float, ck.Input("V", "Lowest voltage allowed", 12.0, 16.5)],
    highest: Annotated[float, ck.Input("V", "Highest voltage allowed", 12.0, 16.5)],
) -> Annotated[float, ck.Output("V", "Charging voltage to set")]:
    """Charging voltage at the battery's temperature, kept between the ends that its type or label allows.

    >>> voltage_to_set.si(14.6, 273.15, 13.8, 14.8)
    14.8

    Raises:
        ValueError: the ends are exchanged.
    """
    if lowest > highest:
        raise ValueError("The lowest voltage lies above the highest.")
    return min(max(charging_voltage_at.si(voltage, temperature), lowest), highest)


@battery.calculation(source="charge-current-by-type")
def current_allowed(
    capacity: Annotated[float, ck.Input("C", "20-hour capacity", above=0)],
    per_hour: Annotated[float, ck.Input("1", "Share of the capacity given each hour", 0.01, 1)],
) -> Annotated[float, ck.Output("A", "Highest charging current")]:
    """The most a charger may give: a share of the 20-hour capacity each hour.

    >>> current_allowed.si(70 * 3600, 0.2)
    14.0
    """
    return capacity * per_hour / HOUR


@battery.calculation(source="acceptance-default")
def usual_acceptance_time(
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 243.15, 333.15)],
) -> Annotated[float, ck.Output("s", "Usual acceptance time")]:
    """Acceptance time of a battery of which nothing is known: 1.5 to 3 h at 25 °C, twice that at 0 °C. Two
    readings beat it.

    >>> usual_acceptance_time.si(273.15) / 3600
    4.5
    """
    return TAU_25 * 2 ** (max(0.0, CELSIUS_25 - temperature) / TAU_DOUBLES)


@battery.calculation(source="charge-time-model")
def missing_after(
    missing: Annotated[float, ck.Input("C", "Charge missing at the start", 0)],
    current: Annotated[float, ck.Input("A", "Charging current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
    elapsed: Annotated[float, ck.Input("s", "Time on the charger", 0)],
) -> Annotated[float, ck.Output("C", "Charge still missing")]:
    """What is still missing after some time on the charger.

    >>> round(missing_after.si(35 * 3600, 10, 2 * 3600, 2.2133 * 3600) / 3600, 2)
    14.0
    """
    full = time_at_full_current.si(missing, current, tau)
    if elapsed <= full:
        return missing - current * elapsed
    return (missing - current * full) * math.exp(-(elapsed - full) / tau)


@battery.calculation(source="charge-time-model")
def charger_needed(
    missing: Annotated[float, ck.Input("C", "Charge missing at the start", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
    left: Annotated[float, ck.Input("C", "Charge that may still be missing at the end", above=0)],
    hours: Annotated[float, ck.Input("s", "Time at hand", above=0)],
) -> Annotated[float, ck.Output("A", "Smallest charger")]:
    """The smallest charger with which no more is missing after the time at hand than may be.

    >>> round(charger_needed.si(35 * 3600, 2 * 3600, 14 * 3600, 2.2133 * 3600), 1)
    10.0

    Raises:
        ValueError: no charger does it, however large: the battery itself does not take the charge that fast.
    """
    if left >= missing:
        return 0.0
    soonest = time_to_return.si(1 - left / missing, tau)
    if hours <= soonest:
        raise ValueError(
            f"No charger can do it in {hours / HOUR:.1f} h; this battery itself needs {soonest / HOUR:.1f} h"
            " for that."
        )
    low, high = (
        (missing - left) / hours,
        missing / tau,
    )  # a smaller one cannot, and above the larger the battery sets the pace
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (
            (middle, high) if charging_time_to.si(missing, middle, tau, left) > hours else (low, middle)
        )
    return high


@battery.calculation(source="charge-factor")
def charge_to_give(
    missing: Annotated[float, ck.Input("C", "Charge missing", 0)],
    factor: Annotated[float, ck.Input("1", "Charge given for each ampere-hour stored", 1, 1.5)],
) -> Annotated[float, ck.Output("C", "Charge the charger must give")]:
    """Ampere-hours that a charger must give for what is missing, its losses paid.

    >>> round(charge_to_give.si(35 * 3600, 1.15) / 3600, 2)
    40.25
    """
    return missing * factor


# ---- the checks


@attrs.frozen(kw_only=True)
class _Plan:
    """One charge as it would go: all in coherent units, with uncertainty."""

    missing: ck.Value
    holds: ck.Value
    current: ck.Value
    tau: ck.Value
    tail: ck.Value
    found: Charge

    def share(self, elapsed: float) -> float:
        return (
            1
            - missing_after.si(self.missing.number, self.current.number, self.tau.number, elapsed)
            / self.holds.number
        )

    def time_to(self, share: float) -> ck.Value | None:
        """None when it is charged that far already."""
        left = ck.propagate(lambda holds: (1 - share) * holds, (self.holds,), "charge")
        return (
            charging_time_to(self.missing, self.current, self.tau, left)
            if left.number < self.missing.number
            else None
        )

    @property
    def whole(self) -> ck.Value:
        return charging_time(self.missing, self.current, self.tau, self.tail)


@battery.check("Charging plan")
def charge_plan(
    case: ck.Case,
    *,
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    holds: Annotated[ck.Value | None, capacity],
    minutes: Annotated[ck.Value | None, reserve],
    gives: Annotated[ck.Value | None, charger],
    hours: Annotated[ck.Value | None, hours_at_hand],
    warmth: Annotated[ck.Reading | None, temperature],
    kind: Annotated[BatteryType | None, battery_type],
    label: Annotated[ck.Value | None, label_voltage],
    currents: Annotated[list[ck.Reading] | None, charge_current],
) -> Iterator[ck.Finding | ck.Gap]:
    """How long a charge takes, why its end takes longest, and what the hours at hand reach.

    Asked for by naming the charger or the hours.
    """
    if (gives is None and hours is None) or known_full_charge(case) is not None:
        return  # after a full charge the same charge once more is no plan
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    if kind is BatteryType.LITHIUM:
        yield case.does_not_apply(
            "This charging plan is for lead-acid batteries. A lithium battery: only a charger made for it, at"
            " most 14.6 V, no desulphating mode, never below 0 °C."
        )
        return
    if rest is None:
        yield case.gap(
            open_circuit_voltage,
            "How long a charge takes depends on the state of charge; the open-circuit voltage was not read.",
        )
        return
    holds = capacity_known(holds, minutes, kind)
    if holds is None:
        yield case.gap(capacity, "How long a charge takes depends on the battery's Ah, which are not known.")
        return
    plan = _plan(rest, charge_of(case, rest), holds, gives, warmth, kind, currents or [])
    if plan is None:
        yield case.advise(
            ck.Claim("battery.charge_plan", evidence=[rest], urgency=ck.Urgency.NOTHING),
            "By its open-circuit voltage the battery is about fully charged; there is little to charge.",
            tells="The battery is about full, so there is little to charge.",
        )
        return
    yield _plan_finding(case, plan, rest, hours, _setting(kind, label, warmth, plan, gives))
    if hours is not None:
        yield from _which_charger(case, plan, rest, hours, kind)


def _plan(
    rest: ck.Reading,
    found: Charge,
    holds: ck.Value,
    gives: ck.Value | None,
    warmth: ck.Reading | None,
    kind: BatteryType | None,
    currents: list[ck.Reading],
) -> _Plan | None:
    share = found.share
    missing = ck.propagate(lambda charged, ah: max(0.0, 1 - charged) * ah, (share, holds), "charge")
    tail = ck.propagate(lambda ah: TAIL * ah / HOUR, (holds,), "current")
    tau = fitted_time(currents) or _usual(rest, warmth)
    if missing.number <= 1.5 * tail.number * tau.number:
        return None
    most = current_allowed(holds, ck.exact("ratio", MOST[kind] if kind is not None else MOST_UNKNOWN))
    current = most if gives is None or gives.number > most.number else gives
    return _Plan(missing=missing, holds=holds, current=current, tau=tau, tail=tail, found=found)


def _usual(rest: ck.Reading, warmth: ck.Reading | None) -> ck.Value:
    """The usual acceptance time, with the whole width of the default as its uncertainty."""
    if warmth is None:
        mid, rests = usual_acceptance_time.si(CELSIUS_25 - 10), frozenset[str]()
    else:
        mid, rests = usual_acceptance_time.si(min(max(warmth.number, 243.15), 333.15)), warmth.value.rests_on
    half = mid * TAU_HALF_WIDTH / TAU_25 / math.sqrt(3)
    return ck.Value("time", mid, {f"{rest.entry}.this battery's acceptance time, a default": half}, rests)


def two_readings(currents: list[ck.Reading]) -> tuple[ck.Reading, ck.Reading, ck.Value] | None:
    """First and later reading with the time between them; None when one of them or its time is missing."""
    by_place = {reading.place: reading for reading in currents}
    first, later = by_place.get("first"), by_place.get("later")
    then, now = (
        reading.condition(charge_elapsed) if reading is not None else None for reading in (first, later)
    )
    if first is None or later is None or then is None or now is None or now.number <= then.number:
        return None
    return first, later, now.value - then.value


def fitted_time(currents: list[ck.Reading]) -> ck.Value | None:
    pair = two_readings(currents)
    if pair is None:
        return None
    first, later, apart = pair
    fallen = first.value - later.value
    if later.number <= 0 or fallen.number <= 2 * fallen.u:
        return None
    return acceptance_time(first, later, apart)


def _setting(
    kind: BatteryType | None,
    label: ck.Value | None,
    warmth: ck.Reading | None,
    plan: _Plan,
    gives: ck.Value | None,
) -> str:
    """What to set on the charger, in a sentence or two."""
    words = []
    if gives is not None and gives.number > plan.current.number:
        words.append(
            f" Set the charger to {plan.current.number:.0f} A at most, unless the label allows more."
        )
    if kind is None and label is None:
        words.append(" Its type is not known, so set no more than 14.4 V.")
        return "".join(words)
    target, lowest, highest = VOLTAGE[kind] if kind is not None else (14.2, 13.2, 14.4)
    if label is not None:
        target, highest = min(target, label.number), label.number
        lowest = min(lowest, highest)
    there = warmth.number if warmth is not None else CELSIUS_25
    volts = voltage_to_set.si(target, min(max(there, 243.15), 333.15), lowest, highest)
    at = f" at {ck.show(warmth.value, '°C', uncertainty=False)}" if warmth is not None else " at 25 °C"
    words.append(f" Set about {volts:.1f} V{at}{', from its label' if label is not None else ''}.")
    if volts > OFF_THE_CAR:
        words.append(" Above 15 V only with the battery off the vehicle.")
    return "".join(words)


def hours_in_words(seconds: float) -> str:
    hours = seconds / HOUR
    return f"{hours * 60:.0f} min" if hours < 0.95 else f"{hours:.1f} h" if hours < 9.95 else f"{hours:.0f} h"


def hours_told(seconds: float) -> str:
    """The same for the customer.

    >>> hours_told(1800), hours_told(3600), hours_told(40000)
    ('30 minutes', '1 hour', '11 hours')
    """
    hours = seconds / HOUR
    if hours < 0.95:
        return f"{hours * 60:.0f} minutes"
    return "1 hour" if round(hours) == 1 else f"{hours:.0f} hours"


def _plan_finding(
    case: ck.Case, plan: _Plan, rest: ck.Reading, hours: ck.Value | None, setting: str
) -> ck.Finding:
    whole, to_enough = plan.whole, plan.time_to(ENOUGH)
    low, high = max(0.0, whole.number - 1.645 * whole.u), whole.number + 1.645 * whole.u
    places: dict[str, Any] = {
        "share": plan.found.words["share"],
        "band": plan.found.words["band"],
        "current": f"{plan.current.number:.0f} A",
        "whole": hours_in_words(whole.number),
        "tail": f"{plan.tail.number:.1f} A",
        "spread": f"{hours_in_words(low)} to {hours_in_words(high)}",
        "setting": setting,
    }
    says = (
        "From about {share} ({band}) a charge at {current} takes about {whole} ({spread}) until the current"
        " has fallen to {tail}."
    )
    tells = "The battery needs about {whole_told} on the charger until it is full."
    places["whole_told"] = hours_told(whole.number)
    if to_enough is not None:
        places |= {
            "enough": hours_in_words(to_enough.number),
            "portion": f"{100 * (1 - to_enough.number / whole.number):.0f} %",
        }
        says += (
            " 80 % is reached after {enough}; the rest takes {portion} of the time, because a battery"
            " accepts less and less current."
        )
    if hours is not None:
        places |= {
            "hours": hours_in_words(hours.number),
            "reached": f"{100 * plan.share(hours.number):.0f} %",
            "hours_told": hours_told(hours.number),
        }
        if hours.number < whole.number:
            tells = (
                "Full takes the battery about {whole_told} on the charger; in {hours_told} it gets to about"
                " {reached}."
            )
        says += " In the {hours} available it reaches about {reached}" + (
            ": not fully charged." if hours.number < whole.number else "."
        )
    return case.advise(
        ck.Claim(
            "battery.charge_plan",
            of=charge_current,
            unit="h",
            evidence=[rest],
            urgency=ck.Urgency.THIS_VISIT,
            figure=_picture(plan, hours),
        ),
        says + "{setting}",
        whole,
        tells=tells,
        values=places,
    )


def _which_charger(
    case: ck.Case, plan: _Plan, rest: ck.Reading, hours: ck.Value, kind: BatteryType | None
) -> Iterator[ck.Finding]:
    """The smallest charger that brings it to 80 % in the hours at hand, or that none does."""
    left = (1 - ENOUGH) * plan.holds.number
    if left >= plan.missing.number:
        return
    most = current_allowed.si(plan.holds.number, MOST[kind] if kind is not None else MOST_UNKNOWN)
    try:
        needed = charger_needed.si(plan.missing.number, plan.tau.number, left, hours.number)
    except ValueError:
        soonest = time_to_return.si(1 - left / plan.missing.number, plan.tau.number)
        yield case.advise(
            ck.Claim("battery.charger", evidence=[rest], urgency=ck.Urgency.THIS_VISIT),
            (
                "No charger, however large, brings it to 80 % in {hours}: the battery itself needs {soonest}"
                " for that. Leave a charger there, or charge it elsewhere."
            ),
            tells="In {hours_told} no charger fills the battery far enough; that takes {soonest_told}.",
            values={
                "hours": hours_in_words(hours.number),
                "soonest": hours_in_words(soonest),
                "hours_told": hours_told(hours.number),
                "soonest_told": hours_told(soonest),
            },
        )
        return
    fits = (
        ""
        if needed <= most
        else " That is more than this battery should be given ({most}), so it takes longer."
    )
    yield case.advise(
        ck.Claim("battery.charger", evidence=[rest], urgency=ck.Urgency.NOTHING),
        (
            "A charger of {needed} is enough for 80 % in {hours}; a larger one gains little, because"
            " the battery then limits the current."
        )
        + fits,
        tells=(
            "{hours_told} are enough to charge the battery far enough."
            if needed <= most
            else "Charging the battery far enough takes longer than {hours_told}."
        ),
        values={
            "needed": f"{needed:.0f} A",
            "hours": hours_in_words(hours.number),
            "most": f"{most:.0f} A",
            "hours_told": hours_told(hours.number),
        },
    )


@battery.check("Ventilation while charging")
def charging_air(
    case: ck.Case,
    there: Annotated[ChargingPlace | None, charge_place],
    *,
    holds: Annotated[ck.Value | None, capacity],
    minutes: Annotated[ck.Value | None, reserve],
    gives: Annotated[ck.Value | None, charger],
    kind: Annotated[BatteryType | None, battery_type],
    space: Annotated[ck.Value | None, room],
) -> Iterator[ck.Finding | ck.Gap]:
    """Hydrogen where air does not move.

    What the rules for workplaces ask comes first; the figures show why. source: well-ventilated
    """
    if there is None:
        return
    holds = capacity_known(holds, minutes, kind)
    closed = there in (ChargingPlace.CLOSED_ROOM, ChargingPlace.LOAD_SPACE)
    amps = (
        gives.number
        if gives is not None
        else current_allowed.si(holds.number, MOST_UNKNOWN)
        if holds is not None
        else 10.0
    )
    volume = space.number if space is not None else LOAD_SPACE
    soon = time_to_one_percent.si(volume, amps, CELLS, 293.15)
    valve = kind in (BatteryType.AGM, BatteryType.GEL)
    air = ""
    if holds is not None:
        flow = air_flow.si(CELLS, (GAS_CLOSED if valve else GAS_VENTED) * holds.number / HOUR) * HOUR
        air = f" With a charger that limits its voltage it needs {flow:.2f} m³ of fresh air an hour."
    places: dict[str, Any] = {
        "amps": f"{amps:.0f} A",
        "soon": hours_in_words(soon),
        "air": air,
        "volume": f"{volume:.0f} m³",
        "where": there.value,
    }
    if closed:
        yield case.visual(
            charge_place,
            ck.Claim("battery.charging_air", urgency=ck.Urgency.THIS_VISIT),
            (
                "It is charged in a {where}. Overcharged at {amps} it fills {volume} with 1 % of"
                " hydrogen in about {soon}, sooner under the roof, and a spark can ignite it. Open up"
                " or take it outside before charging goes on.{air}"
            ),
            passes=False,
            tells=(
                "Charging makes gas that can explode: the {where} is opened up, or the battery taken outside."
            ),
            values=places,
        )
    elif there is ChargingPlace.AIRY:
        yield case.visual(
            charge_place,
            ck.Claim("battery.charging_air"),
            "It is charged indoors with ventilation; keep ventilating until an hour after.{air}",
            passes=True,
            tells="The battery is charged where fresh air comes in.",
            values={"air": air},
        )
    else:
        yield case.visual(
            charge_place,
            ck.Claim("battery.charging_air"),
            "It is charged outdoors.",
            passes=True,
            tells="The battery is charged outdoors.",
        )


def _picture(plan: _Plan, hours: ck.Value | None) -> ck.Figure:
    """State of charge against time: a straight climb, then a bend that never quite arrives."""
    whole = plan.whole.number
    end = max(whole, hours.number if hours is not None else 0.0) * 1.08
    steps = (0.5, 1, 2, 3, 6, 12, 24, 48)
    step = next((step for step in steps if end / HOUR / step <= 8), 48)
    begun = 100 * plan.share(0.0)
    chart = ck.Chart(x=(0.0, end / HOUR), y=(0.0, 100.0))
    curve = [(end * n / 80 / HOUR, 100 * plan.share(end * n / 80)) for n in range(81)]
    marks: list[ck.Polyline | ck.Dot | ck.Label] = [
        *chart.scales(
            [step * n for n in range(int(end / HOUR / step) + 1)],
            [0, 20, 40, 60, 80, 100],
            "hours on the charger",
            "charge, %",
        ),
        chart.line([(0.0, 80.0), (end / HOUR, 80.0)], 0.5, dashed=True),
        chart.line(curve, 1.2),
        chart.words(
            whole / HOUR,
            100 * plan.share(whole),
            f"about fully charged after {hours_in_words(whole)}",
            "end",
            1.5,
        ),
    ]
    told = f"From about {begun:.0f} % the charge climbs"
    to_enough = plan.time_to(ENOUGH)
    if to_enough is not None:
        marks += chart.dot(to_enough.number / HOUR, 80.0, 0.0)
        marks += [
            chart.words(
                to_enough.number / HOUR,
                80.0,
                f" 80 % after {hours_in_words(to_enough.number)}",
                "start",
                -5.5,
            )
        ]
        told += f" to 80 % in {hours_in_words(to_enough.number)}"
    told += f" and is about fully charged after {hours_in_words(whole)}."
    if hours is not None:
        at = 100 * plan.share(hours.number)
        marks += [
            chart.line([(hours.number / HOUR, 0.0), (hours.number / HOUR, at)], 0.7, dashed=True),
            *chart.dot(hours.number / HOUR, at, 0.0),
        ]
        marks += [chart.words(hours.number / HOUR, 0.0, f" this visit: {at:.0f} %", "start", 2.0)]
        told += f" The {hours_in_words(hours.number)} available end at about {at:.0f} %."
    return chart.figure(marks, f"State of charge against time at {plan.current.number:.0f} A", told)
