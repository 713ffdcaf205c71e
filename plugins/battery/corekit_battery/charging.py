"""Charging: the voltage with the engine running, how long a charge takes, and what gas it makes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .acid import CELLS
from .charge_history import known_full_charge
from .converter import has_converter
from .dangers import barred
from .declarations import (
    Control,
    InUse,
    Loads,
    alternator_output,
    alternator_rating,
    battery,
    charge,
    charging_repair,
    charging_voltage,
    control,
    engine_speed,
    in_use,
    loads,
    open_circuit_voltage,
    ripple,
)
from .tables import kelvin

HOUR = 3600.0
COMPENSATION = -3e-3  # V/K and cell; source: charging-compensation
FARADAY, GAS = 96485.33212, 8.314462618  # C/mol and J/(mol K), exact by definition; source: faraday
ATMOSPHERE = 101325.0  # Pa
ACID_PER_MOLE, WATER_PER_MOLE = 0.098079, 0.018015  # kg/mol
ALARMING = (
    0.01  # share of hydrogen in air: a quarter of the 4 % at which it begins to burn; source: ventilation
)


@battery.calculation(source="charging-compensation")
def charging_voltage_at(
    voltage: Annotated[float, ck.Input("V", "Charging voltage at 25 °C", 12.0, 16.5)],
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 243.15, 333.15)],
) -> Annotated[float, ck.Output("V", "Charging voltage at this temperature")]:
    """Charging voltage of a 12-V block at its temperature, from the one given for 25 °C: -3 mV for each
    kelvin and cell.

    >>> round(charging_voltage_at.si(14.4, 308.15), 2)
    14.22
    """
    return voltage + CELLS * COMPENSATION * (temperature - kelvin(77))


@battery.calculation(source="charge-time-model")
def time_at_full_current(
    missing: Annotated[float, ck.Input("C", "Charge missing", 0)],
    current: Annotated[float, ck.Input("A", "Charging current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
) -> Annotated[float, ck.Output("s", "Time at full current")]:
    """How long a charger can keep its full current, until the battery accepts less.

    `tau` is the battery's acceptance time.

    >>> time_at_full_current.si(35 * 3600, 10, 2 * 3600) / 3600
    1.5
    """
    return max(0.0, (missing - current * tau) / current)


@battery.calculation(source="charge-time-model")
def time_of_tail(
    missing: Annotated[float, ck.Input("C", "Charge missing", 0)],
    current: Annotated[float, ck.Input("A", "Charging current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
    tail: Annotated[float, ck.Input("A", "Tail current at which charging ends", above=0)],
) -> Annotated[float, ck.Output("s", "Time of the falling current")]:
    """How long the falling current takes from where the charger's full current ends down to the tail current.

    >>> round(time_of_tail.si(35 * 3600, 10, 2 * 3600, 0.7) / 3600, 2)
    5.32
    """
    first = min(current, missing / tau)
    return max(0.0, tau * math.log(first / tail)) if first > 0 else 0.0


@battery.calculation(source="charge-time-model")
def charging_time(
    missing: Annotated[float, ck.Input("C", "Charge missing", 0)],
    current: Annotated[float, ck.Input("A", "Charging current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
    tail: Annotated[float, ck.Input("A", "Tail current at which charging ends", above=0)],
) -> Annotated[float, ck.Output("s", "Charging time")]:
    """The whole charge: at full current, then down to the tail current.

    >>> round(charging_time.si(35 * 3600, 10, 2 * 3600, 0.7) / 3600, 1)
    6.8
    """
    return time_at_full_current.si(missing, current, tau) + time_of_tail.si(missing, current, tau, tail)


@battery.calculation(source="charge-time-model")
def charging_time_to(
    missing: Annotated[float, ck.Input("C", "Charge missing", 0)],
    current: Annotated[float, ck.Input("A", "Charging current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
    left: Annotated[float, ck.Input("C", "Charge still missing at the end", above=0)],
) -> Annotated[float, ck.Output("s", "Charging time")]:
    """Time until only `left` is missing: the last part takes longest.

    >>> round(charging_time_to.si(35 * 3600, 10, 2 * 3600, 14 * 3600) / 3600, 2)
    2.21
    """
    if left >= missing:
        return 0.0
    full = time_at_full_current.si(missing, current, tau)
    after = missing - current * full
    return (missing - left) / current if left >= after else full + tau * math.log(after / left)


@battery.calculation(source="charge-time-model")
def charge_left(
    tail: Annotated[float, ck.Input("A", "Tail current", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
) -> Annotated[float, ck.Output("C", "Charge still missing")]:
    """What is still missing when the current has fallen to the tail.

    >>> round(charge_left.si(0.7, 7200) / 3600, 1)
    1.4
    """
    return tail * tau


@battery.calculation(source="ampere-hour-law")
def time_to_return(
    share: Annotated[float, ck.Input("1", "Share of the missing charge put back", 0, below=1)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
) -> Annotated[float, ck.Output("s", "Charging time")]:
    """Time to put back a share of what is missing when the current falls with the charge; by the ampere-hour
    law `tau` is one hour.

    >>> round(time_to_return.si(0.9, 3600) / 3600, 2)
    2.3
    """
    return -tau * math.log(1 - share)


@battery.calculation(source="charge-time-model")
def acceptance_time(
    first: Annotated[float, ck.Input("A", "First current read", above=0)],
    second: Annotated[float, ck.Input("A", "Second current read", above=0)],
    apart: Annotated[float, ck.Input("s", "Time between the two readings", above=0)],
) -> Annotated[float, ck.Output("s", "Acceptance time of the battery")]:
    """The battery's acceptance time from two readings of the falling current.

    >>> round(acceptance_time.si(8, 4, 3600) / 3600, 2)
    1.44

    Raises:
        ValueError: the second current is not below the first.
    """
    if second >= first:
        raise ValueError("The current must have fallen between the two readings; read again later.")
    return apart / math.log(first / second)


@battery.calculation(source="charge-time-model")
def time_left(
    current: Annotated[float, ck.Input("A", "Charging current now", above=0)],
    tail: Annotated[float, ck.Input("A", "Tail current at which charging ends", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
) -> Annotated[float, ck.Output("s", "Time left")]:
    """How long a falling current still takes down to the tail.

    >>> round(time_left.si(4, 0.7, 5193.7) / 3600, 2)
    2.51
    """
    return max(0.0, tau * math.log(current / tail))


@battery.calculation(source="faraday")
def hydrogen(
    charge: Annotated[float, ck.Input("C", "Charge given beyond full", 0)],
    cells: Annotated[float, ck.Input("1", "Number of cells", 1, 24)],
    temperature: Annotated[float, ck.Input("K", "Air temperature", 243.15, 333.15)],
) -> Annotated[float, ck.Output("m³", "Volume of hydrogen")]:
    """Hydrogen from overcharge when all of it makes gas.

    >>> round(hydrogen.si(36000, 6, 293.15) * 1000, 1)
    26.9
    """
    return cells * charge / (2 * FARADAY) * GAS * temperature / ATMOSPHERE


@battery.calculation(source="faraday")
def time_to_one_percent(
    room: Annotated[float, ck.Input("m³", "Volume of the room", above=0)],
    current: Annotated[float, ck.Input("A", "Gas current", above=0)],
    cells: Annotated[float, ck.Input("1", "Number of cells", 1, 24)],
    temperature: Annotated[float, ck.Input("K", "Air temperature")],
) -> Annotated[float, ck.Output("s", "Time until 1 % hydrogen")]:
    """Time until a closed, well mixed room holds 1 % of hydrogen, a quarter of what can burn.

    Under the roof it comes sooner.

    >>> round(time_to_one_percent.si(6.0, 10, 6, 293.15) / 3600, 1)
    2.2
    """
    return ALARMING * room / hydrogen.si(current, cells, temperature)


@battery.calculation(source="faraday")
def acid_used(
    charge: Annotated[float, ck.Input("C", "Charge given by the cell", 0)],
) -> Annotated[float, ck.Output("kg", "Sulphuric acid used up")]:
    """Acid that one cell takes up while it gives this charge.

    >>> round(acid_used.si(3600) * 1000, 2)
    3.66
    """
    return charge / FARADAY * ACID_PER_MOLE


@battery.calculation(source="faraday")
def water_formed(
    charge: Annotated[float, ck.Input("C", "Charge given by the cell", 0)],
) -> Annotated[float, ck.Output("kg", "Water formed")]:
    """Water that one cell forms while it gives this charge.

    >>> round(water_formed.si(3600) * 1000, 2)
    0.67
    """
    return charge / FARADAY * WATER_PER_MOLE


@battery.calculation(source="ventilation")
def air_flow(
    cells: Annotated[float, ck.Input("1", "Number of cells", 1, 24)],
    gas_current: Annotated[float, ck.Input("A", "Gas current", 0)],
) -> Annotated[float, ck.Output("m³/s", "Air flow needed")]:
    """Air that a battery on charge needs: 0.05 m³/h for each cell and ampere of gas current.

    The gas current is 20 mA for each Ah of a vented battery on a boost charge and 8 mA of a valve-regulated
    one, up to 40 °C; with an unregulated charger it is the whole charging current.

    >>> round(air_flow.si(6, 1.4) * 3600, 2)
    0.42
    """
    return 0.05 * cells * gas_current / HOUR


@battery.calculation(source="ventilation")
def air_opening(
    flow: Annotated[float, ck.Input("m³/s", "Air flow needed", 0)],
) -> Annotated[float, ck.Output("m²", "Area of each opening")]:
    """Opening, one for inlet and one for outlet, that lets this air through by itself: 28 cm² for each m³/h.

    >>> round(air_opening.si(0.42 / 3600) * 1e4, 1)
    11.8
    """
    return 28e-4 * flow * HOUR


#: V above the open-circuit voltage: more where charge arrives, less where none does. source: rise
CHARGES, CHARGES_NOT = 0.5, 0.2


@battery.check("Charging voltage")
def charging(
    case: ck.Case,
    volts: Annotated[ck.Reading | None, charging_voltage],
    speed: Annotated[ck.Reading | None, engine_speed],
    lamps: Annotated[Loads | None, loads],
    ruled: Annotated[Control | None, control],
    does: Annotated[InUse | None, in_use],
    *,
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    waves: Annotated[list[ck.Reading] | None, ripple],
    gives: Annotated[ck.Reading | None, alternator_output],
) -> Iterator[ck.Finding | ck.Gap]:
    """Against this vehicle's own figures a verdict; against the general span advice, and a wide one where the
    vehicle manages it.

    Several readings are no repeats: speed, loads and warmth move the voltage. Within the limit all of them
    pass and outside all of them fail, whatever lies between them. A voltage within its limit passes the
    voltage alone: a failed diode hides behind it. A low one is held against the open-circuit voltage.
    """
    if has_converter(case):
        yield case.does_not_apply("A converter charges the 12 V battery here, not an alternator of its own.")
        return
    stop = barred(case)
    if stop and volts is None:
        yield case.does_not_apply(stop)
        return
    volts = volts or case[charging_voltage]
    own = case.is_specified(charging_voltage)
    managed = ruled is Control.MANAGED
    limit = case.limit("battery.charging_voltage_managed" if managed and not own else charging_voltage)
    highest, lowest = _ends(volts)
    beside = _Beside(rest=rest, rise=_rise(highest, rest), current_read=bool(waves) or gives is not None)
    if stop and case.side(highest, limit) is not ck.Side.ABOVE:
        yield case.does_not_apply(stop)
        return
    idle = [] if stop else _none_at_all(case, highest, lowest, beside)
    if does is InUse.CHARGED and idle:
        noted = case.noted(in_use)
        yield case.inconclusive(
            ck.Claim(
                "battery.contradiction",
                of=charging_voltage,
                unit="V",
                evidence=[volts, *noted],
                next_test=charging_voltage,
            ),
            (
                "With the engine running {read} was read, yet in daily use the battery stays charged:"
                " both cannot be. The meter's mode or the position of the probes is questionable,"
                " since half-wave and AC output give false readings on a DC range. Read DC volts on"
                " the battery's own posts at 2000 rpm."
            ),
            highest,
            tells="A reading with the engine running cannot be right; it is taken again.",
            values={"read": ck.show(highest, "V", uncertainty=False)},
        )
        return
    held = _held(case, volts, limit, speed, lamps, managed, beside)
    yield held
    yield from idle
    if not beside.current_read and held.urgency is ck.Urgency.NOTHING and not stop:
        yield case.gap(
            ripple,
            "Only the charging voltage was read: whether all phases of the alternator charge shows in its AC"
            " ripple or its output current.",
        )


@attrs.frozen(kw_only=True)
class _Beside:
    """What a running voltage is held against.

    Attributes:
        rest: The open-circuit voltage. rise: The running voltage above it; None where it was not read.
        current_read: Ripple or output was read as well.
    """

    rest: ck.Reading | None
    rise: ck.Value | None
    current_read: bool

    @property
    def charge_arrives(self) -> bool:
        return self.rise is not None and self.rise.number - 2 * self.rise.u > CHARGES

    @property
    def nothing_arrives(self) -> bool:
        return self.rise is not None and self.rise.number + 2 * self.rise.u < CHARGES_NOT

    @property
    def words(self) -> dict[str, str]:
        if self.rise is None or self.rest is None:
            return {"rise": "", "rest": ""}
        return {
            "rise": ck.show(self.rise, "V", uncertainty=False),
            "rest": ck.show(self.rest.value, "V", uncertainty=False),
        }


def _rise(highest: ck.Value, rest: ck.Reading | None) -> ck.Value | None:
    return highest - rest.value if rest is not None and not rest.disagrees else None


def _ends(volts: ck.Reading) -> tuple[ck.Value, ck.Value]:
    values = [volts.value, *volts.others]
    return max(values, key=lambda value: value.number), min(values, key=lambda value: value.number)


def _held(
    case: ck.Case,
    volts: ck.Reading,
    limit: ck.Limit,
    speed: ck.Reading | None,
    lamps: Loads | None,
    managed: bool,
    beside: _Beside,
) -> ck.Finding:
    highest, lowest = _ends(volts)
    low = case.side(highest, limit) is ck.Side.BELOW
    overcharged = case.side(highest, attrs.evolve(limit, low=None)) is not ck.Side.INSIDE
    when = [f"at {ck.show(speed.value, 'rpm', uncertainty=False)}"] if speed is not None else []
    when += [f"lights and blower {lamps.value}"] if lamps is not None else []
    wanders = (
        (" This vehicle varies its charging voltage on purpose (smart charging), so one reading says little.")
        if managed
        else ""
    )
    too_low = _too_low(beside)
    only = (
        ""
        if beside.current_read
        else " That passes the voltage only: a failed diode or an open phase hides behind it, and"
        " shows in the AC ripple or the output."
    )
    if beside.nothing_arrives:
        only += (
            f" It lies only {beside.words['rise']} above the open-circuit voltage of"
            f" {beside.words['rest']}, so it does not show that charge arrives."
        )
    meaning = too_low if low else "The battery is being overcharged: it gasses, dries out and can burst."
    read = ck.show(volts.value, "V", uncertainty=False)
    judged: ck.Reading | ck.Value = volts
    if volts.disagrees and _of_one_mind(case, volts, limit):
        judged = (
            highest
            if low
            or (limit.high is not None and limit.high.number - highest.number < lowest.number - _low(limit))
            else lowest
        )
        read, when = f"{lowest.number:.2f} to {highest.number:.2f} V", [f"{volts.count} readings"]
    return case.judge(
        judged,
        limit,
        ck.Claim(
            "battery.charging",
            of=charging_voltage,
            unit="V",
            evidence=[volts, *(reading for reading in (speed,) if reading is not None)],
            calls_for=None if low and beside.charge_arrives else charging_repair,
            urgency=ck.Urgency.BEFORE_DRIVING if overcharged else ck.Urgency.THIS_VISIT,
            next_test=charging_voltage,
        ),
        ck.Says(
            passes="Charging voltage {read}{when}, within {limit}.{only}{wanders}",
            fails=("Charging voltage {read}{when}, outside {limit}. {meaning}{wanders}"),
            undecided=("Charging voltage {read}{when}, too close to an end of {limit} to call.{wanders}"),
        ),
        ck.Tells(
            passes=(
                "With the engine running the charging voltage is within its range. That is the voltage only."
                if only
                else "With the engine running the battery gets a charging voltage within its range."
            ),
            fails="With the engine running the battery gets a charging voltage outside its range.",
            undecided="With the engine running the charging voltage is close to an end of its range.",
        ),
        values={
            "read": read,
            "when": f" ({', '.join(when)})" if when else "",
            "wanders": wanders,
            "meaning": meaning,
            "only": only,
        },
    )


def _low(limit: ck.Limit) -> float:
    return limit.low.number if limit.low is not None else -math.inf


def _of_one_mind(case: ck.Case, volts: ck.Reading, limit: ck.Limit) -> bool:
    """True when all readings plainly lie within the limit, or all on one side of it."""
    sides = {case.side(value, limit) for value in (volts.value, *volts.others)}
    return len(sides) == 1 and ck.Side.UNDECIDED not in sides


def _too_low(beside: _Beside) -> str:
    """What a low voltage may come from: the alternator, or a battery that pulls it down."""
    if beside.charge_arrives:
        return _PULLED_DOWN.format(**beside.words)
    if beside.nothing_arrives:
        return (
            "The battery is not being charged as it should: {rise} above the open-circuit voltage of {rest}"
            " shows no charge arriving."
        ).format(**beside.words)
    both = (
        "The battery is not being charged as it should, or a dead cell or a deeply discharged battery holds"
        " down a working alternator."
    )
    if beside.rise is not None:
        return (
            both + " It rises by {rise} over the open-circuit voltage of {rest}: charge it and read again."
        ).format(**beside.words)
    return (
        f"{both} Hold it against the open-circuit voltage: a rise of more than 0.5 V shows that charge"
        " arrives. Charge the battery and read again."
    )


_PULLED_DOWN = (
    "It rises by {rise} over the open-circuit voltage of {rest}, so charge arrives. Either a dead cell or a"
    " deeply discharged battery pulls down a sound alternator, or the alternator is weak: its output"
    " current, and the battery by itself, tell them apart."
)


def _none_at_all(case: ck.Case, highest: ck.Value, lowest: ck.Value, beside: _Beside) -> list[ck.Finding]:
    """Below the least that even a managed system asks for nothing useful arrives, unless it plainly rises
    over the open-circuit voltage; far below it the battery itself is empty.
    """
    least = case.limit("battery.charging_voltage_managed")
    none = case.judge(
        highest,
        attrs.evolve(least, key="battery.not_charging", high=None),
        ck.Claim("battery.not_charging", of=charging_voltage, unit="V", calls_for=charging_repair),
        ck.Says(
            passes="",
            undecided="",
            fails=(
                "With the engine running the battery is at {read} at best, below what even smart"
                " charging requires ({limit}): no useful charge reaches it. Alternator, its exciter"
                " wire, main fusible link, belt and cables are all possible causes; measure at the"
                " alternator's own terminal, and the voltage drop on both sides.{or_cell}"
            ),
        ),
        ck.Tells(
            passes="",
            fails=(
                "With the engine running the battery gets no useful charge."
                if beside.nothing_arrives
                else "With the engine running the battery's voltage is so low that it gets no useful charge,"
                " or the battery itself holds it down."
            ),
        ),
        values={
            "read": ck.show(highest, "V", uncertainty=False),
            "or_cell": (
                ""
                if beside.nothing_arrives
                else " A dead cell can also pull a sound alternator down so far: hold it against the"
                " open-circuit voltage."
            ),
        },
    )
    if (none.probability or 0.0) > 0.05:
        return []
    if beside.charge_arrives:
        none = case.inconclusive(
            ck.Claim(
                "battery.pulled_down",
                of=charging_voltage,
                unit="V",
                evidence=[beside.rest] if beside.rest is not None else [],
                next_test=alternator_output,
            ),
            "With the engine running the battery is at {read} at best. " + _PULLED_DOWN,
            highest,
            tells=(
                "With the engine running the battery's voltage is low although charge arrives. Battery and"
                " alternator are tested separately before either is blamed."
            ),
            values={"read": ck.show(highest, "V", uncertainty=False), **beside.words},
        )
    empty = case.judge(
        lowest,
        case.limit("battery.deep_discharge"),
        ck.Claim(
            "battery.empty",
            of=charging_voltage,
            unit="V",
            calls_for=charge if known_full_charge(case) is None else None,
        ),
        ck.Says(
            passes="",
            undecided="",
            fails=(
                "Even with the engine running its voltage is only {read}: the battery is deeply"
                " discharged, and such a battery pulls down a good alternator. {then}"
            ),
        ),
        ck.Tells(
            passes="",
            fails=(
                "The battery is deeply discharged and has to be charged before anything else can be judged."
                if known_full_charge(case) is None
                else "The battery is deeply discharged although it was charged; why is tested next."
            ),
        ),
        values={
            "read": ck.show(lowest, "V", uncertainty=False),
            "then": (
                "Charge it with a charger, let it rest and test it, then measure the charging again."
                if known_full_charge(case) is None
                else "It was charged already, so a dead cell comes first: read its open-circuit voltage."
            ),
        },
    )
    return [none, empty] if empty.verdict is ck.Verdict.FAIL else [none]


@battery.check("Alternator output")
def output(
    case: ck.Case,
    *,
    gives: Annotated[ck.Reading | None, alternator_output],
    rated: Annotated[ck.Value | None, alternator_rating],
) -> Iterator[ck.Finding | ck.Gap]:
    """Its current against its rating.

    Advice: it gives only what is asked of it, so a low figure condemns nothing by itself.
    """
    if gives is None:
        return
    if (stop := barred(case)) or has_converter(case):
        yield case.does_not_apply(stop or "A converter charges the 12 V battery here, not an alternator.")
        return
    if rated is None:
        yield case.gap(alternator_rating, "The alternator's output means something only beside its rating.")
        return
    share = ck.propagate(lambda amps, plate: amps / plate, (gives.value, rated), "ratio")
    yield case.judge(
        share,
        case.limit("battery.output"),
        ck.Claim("battery.output", of=alternator_output, unit="%", evidence=[gives]),
        ck.Says(
            passes="Alternator output {gives}, {share} of its {rated}: full output.",
            fails=(
                "Alternator output {gives}, {share} of its {rated}; {limit} is usual with the battery"
                " loaded down and all loads on. If the demand was lower, it need not give more: repeat"
                " it loaded down before anything is concluded."
            ),
            undecided="Alternator output {gives}, {share} of its {rated}: close to the usual {limit}.",
        ),
        ck.Tells(
            undecided="The alternator's output is close to what is usual.",
            passes="The alternator gives its full output.",
            fails=("The alternator gave less than it usually should; that alone does not show a fault."),
        ),
        values={
            "gives": ck.show(gives.value, "A", uncertainty=False),
            "share": f"{100 * share.number:.0f} %",
            "rated": ck.show(rated, "A", uncertainty=False),
        },
    )
