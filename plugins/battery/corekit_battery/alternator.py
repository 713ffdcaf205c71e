"""Charging with the engine running: the voltage at the posts, and what the alternator gives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated

import attrs

import corekit as ck

from .answers import (
    BatteryType,
    Control,
    InUse,
    Loads,
)
from .charge_history import known_full_charge
from .converter import has_converter
from .dangers import barred
from .declarations import (
    alternator_output,
    alternator_rating,
    battery,
    battery_type,
    charge,
    charging_repair,
    charging_voltage,
    control,
    engine_speed,
    in_use,
    loads,
    open_circuit_voltage,
    ripple,
    temperature,
)
from .regulator import regulated

AT_SPEED = 1500 / 60  # 1/s; source: output-test
#: V above the open-circuit voltage: more where charge arrives, less where none does. source: rise
CHARGES, CHARGES_NOT = 0.5, 0.2


@battery.check("Charging voltage")
def charging(
    case: ck.Case,
    volts: Annotated[ck.Series | None, charging_voltage],
    speed: Annotated[ck.Reading | None, engine_speed],
    lamps: Annotated[Loads | None, loads],
    ruled: Annotated[Control | None, control],
    does: Annotated[InUse | None, in_use],
    kind: Annotated[BatteryType | None, battery_type],
    warmth: Annotated[ck.Reading | None, temperature],
    *,
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    waves: Annotated[list[ck.Reading] | None, ripple],
    gives: Annotated[ck.Reading | None, alternator_output],
) -> Iterator[ck.Finding | ck.Gap]:
    """Against what its type, its temperature and the way the vehicle rules it allow; what is not known of
    these leaves open what it would decide.

    Several readings are no repeats: speed, loads and warmth move the voltage. Within the limit all of them
    pass and outside all of them fail, whatever lies between them. Where they lie on different sides of it,
    one that is too high speaks at any speed, else the one at the greatest: at idle a sound alternator may
    give little. A voltage within its limit passes the voltage alone: a failed diode hides behind it. A low
    one is held against the open-circuit voltage.
    """
    if has_converter(case):
        yield case.does_not_apply("A converter charges the 12 V battery here, not an alternator of its own.")
        return
    stop = barred(case)
    if stop and volts is None:
        yield case.does_not_apply(stop)
        return
    volts = volts or ck.Series.of(case[charging_voltage])
    highest, lowest = volts.highest, volts.lowest
    limit = regulated(
        case, kind, _managed_limit(case, highest, does), ruled, volts.latest.condition(temperature) or warmth
    )
    beside = _Beside(rest=rest, rise=_rise(highest, rest), current_read=bool(waves) or gives is not None)
    if stop:
        yield from _overcharge(case, highest)
        if case.side(highest, limit) is ck.Side.ABOVE:
            yield _steady_finding(case, volts, limit, speed, lamps, ruled is Control.MANAGED, beside)
        else:
            yield case.does_not_apply(stop)
        return
    idle = _none_at_all(
        case, highest, lowest, volts.at_greatest(engine_speed).condition(engine_speed) or speed, beside
    )
    if does is InUse.CHARGED and idle:
        noted = case.noted(in_use)
        yield case.inconclusive(
            ck.Claim(
                "battery.contradiction",
                of=charging_voltage,
                unit="V",
                evidence=[*volts.readings, *noted],
                next_test=charging_voltage,
            ),
            (
                "With the engine running {read} was read, yet in daily use the battery stays charged:"
                " both cannot be. The meter's mode or the position of the probes is questionable,"
                " since half-wave and AC output give false readings on a DC range. Read DC volts on"
                " the battery's own posts at 2000 rpm."
            ),
            highest,
            tells="The voltage read does not fit a battery that stays charged; it is read again.",
            values={"read": ck.show(highest, "V", uncertainty=False)},
        )
        return
    yield from _overcharge(case, highest)
    held = _steady_finding(case, volts, limit, speed, lamps, ruled is Control.MANAGED, beside)
    yield held
    yield from idle
    if not beside.current_read and held.urgency is ck.Urgency.NOTHING:
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
            return {"against": "", "rise": "", "rest": ""}
        over = ck.show(attrs.evolve(self.rise, number=abs(self.rise.number)), "V", uncertainty=False)
        return {
            "against": f"{over} {'below' if self.rise.number < 0 else 'above'}",
            "rise": ck.show(self.rise, "V", uncertainty=False),
            "rest": ck.show(self.rest.value, "V", uncertainty=False),
        }


def _rise(highest: ck.Value, rest: ck.Reading | None) -> ck.Value | None:
    return highest - rest.value if rest is not None and not rest.disagrees else None


def _managed_limit(case: ck.Case, highest: ck.Value, does: InUse | None) -> ck.Limit:
    """What a managed system may hold. By a limit alone it never fails; it does where the battery goes flat on
    the road and the voltage shows that it is being discharged.
    """
    discharging = case.limit("battery.charging_voltage_discharging")
    if does is InUse.FLAT_DRIVING and case.side(highest, discharging) is ck.Side.BELOW:
        return discharging
    return case.limit("battery.charging_voltage_managed")


def _steady_finding(
    case: ck.Case,
    volts: ck.Series,
    limit: ck.Limit | ck.Possible[ck.Limit],
    speed: ck.Reading | None,
    lamps: Loads | None,
    managed: bool,
    beside: _Beside,
) -> ck.Finding:
    highest, lowest = volts.highest, volts.lowest
    deciding = _deciding_reading(case, volts, limit)
    side = case.side(highest if deciding.disagrees else deciding.value, limit)
    speed = deciding.condition(engine_speed) or speed
    when = [f"at {ck.show(speed.value, 'rpm', uncertainty=False)}"] if speed is not None else []
    when += [f"lights and blower {lamps.value}"] if lamps is not None else []
    wanders = (
        (" This vehicle varies its charging voltage on purpose (smart charging), so one reading says little.")
        if managed
        else ""
    )
    read = ck.show(deciding.value, "V", uncertainty=False)
    judged: ck.Reading | ck.Value = deciding
    if len(volts.readings) > 1 or volts.disagrees:
        when += [_also(reading) for reading in volts.readings if reading is not deciding]
    if (len(volts.readings) > 1 or volts.disagrees) and _of_one_mind(case, volts, limit):
        side = case.side(highest, limit)
        judged = highest
        if side is ck.Side.INSIDE:  # the one that lies nearer to an end has to pass as well
            judged = min(
                (highest, lowest), key=lambda value: _charging_finding(case, value, limit).probability or 0.0
            )
        read, when = f"{lowest.number:.2f} to {highest.number:.2f} V", [f"{len(volts.values)} readings"]
    found = _charging_finding(
        case,
        judged,
        limit,
        evidence=[*volts.readings, *(reading for reading in (speed,) if reading is not None)],
        values={
            "read": read,
            "when": f" ({', '.join(when)})" if when else "",
            "wanders": wanders,
            "meaning": _too_low(beside) if side is ck.Side.BELOW else TOO_HIGH,
            "only": _voltage_only(beside),
        },
        pulled_down=side is ck.Side.BELOW and beside.charge_arrives,
    )
    if found.verdict is ck.Verdict.UNDECIDED or 0.05 < (found.probability or 0.0) < 0.95:
        return attrs.evolve(found, urgency=ck.Urgency.PLAN_IT)
    return found


#: That something is wrong is shown by a voltage; which part it is never.
TOO_HIGH = (
    "The battery gets more than it should and loses water in time. The voltage does not say why: regulator,"
    " its sensing lead and its ground connections come into question."
)


def _charging_finding(
    case: ck.Case,
    judged: ck.Reading | ck.Value,
    limit: ck.Limit | ck.Possible[ck.Limit],
    evidence: Sequence[ck.Reading] = (),
    values: Mapping[str, str] | None = None,
    *,
    pulled_down: bool = False,
) -> ck.Finding:
    return case.judge(
        judged,
        limit,
        ck.Claim(
            "battery.charging",
            of=charging_voltage,
            unit="V",
            evidence=evidence,
            calls_for=None if pulled_down else charging_repair,
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
                if (values or {}).get("only")
                else "With the engine running the battery gets a charging voltage within its range."
            ),
            fails="With the engine running the battery gets a charging voltage outside its range.",
            undecided="Whether the battery gets the right voltage with the engine running is still open.",
        ),
        values=values,
    )


def _too_low(beside: _Beside) -> str:
    """What a low voltage may come from: the alternator, or a battery that pulls it down."""
    if beside.charge_arrives:
        return _PULLED_DOWN.format(**beside.words)
    if beside.nothing_arrives:
        return (
            "The battery is not being charged as it should: {against} the open-circuit voltage of {rest}"
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


def _voltage_only(beside: _Beside) -> str:
    """What a voltage within its limit does not show."""
    only = (
        ""
        if beside.current_read
        else " That passes the voltage only: a failed diode or an open phase hides behind it, and"
        " shows in the AC ripple or the output."
    )
    if beside.nothing_arrives:
        only += (
            f" It lies {beside.words['against']} the open-circuit voltage of {beside.words['rest']},"
            " so it does not show that charge arrives."
        )
    return only


def _deciding_reading(case: ck.Case, volts: ck.Series, limit: ck.Limit | ck.Possible[ck.Limit]) -> ck.Reading:
    """The reading that speaks for its series: one that is too high, else that at the greatest speed."""
    high = [reading for reading in volts.readings if case.side(reading, limit) is ck.Side.ABOVE]
    return high[-1] if high else volts.at_greatest(engine_speed)


def _also(reading: ck.Reading) -> str:
    at = [
        f" at {ck.show(beside.value, unit, uncertainty=False)}"
        for beside, unit in (
            (reading.condition(engine_speed), "rpm"),
            (reading.condition(temperature), "°C"),
        )
        if beside is not None
    ]
    return f"{ck.show(reading.value, 'V', uncertainty=False)}{''.join(at)}"


def _of_one_mind(case: ck.Case, volts: ck.Series, limit: ck.Limit | ck.Possible[ck.Limit]) -> bool:
    """True when all readings plainly lie within the limit, or all on one side of it."""
    sides = {case.side(value, limit) for value in volts.values}
    return len(sides) == 1 and ck.Side.UNDECIDED not in sides


def _overcharge(case: ck.Case, highest: ck.Value) -> Iterator[ck.Finding]:
    """Above what any system holds, whatever the battery and however cold: a statement of its own, because it
    cannot wait.
    """
    found = case.judge(
        highest,
        case.limit("battery.overcharge"),
        ck.Claim(
            "battery.overcharge",
            of=charging_voltage,
            unit="V",
            calls_for=charging_repair,
            urgency=ck.Urgency.BEFORE_DRIVING,
            next_test=charging_voltage,
        ),
        ck.Says(
            passes="",
            fails=(
                "With the engine running {read}; whatever the battery and however cold, {limit} is sound. The"
                " battery gasses and can burst, and electronics are harmed. Stop the engine, keep sparks"
                " away, do not lean over the battery, wear goggles. Which part fails this"
                " does not show."
            ),
            undecided=(
                "With the engine running {read}, about as much as any 12-V system holds ({limit}). Do not let"
                " it run on for long; read it again with a second meter."
            ),
        ),
        ck.Tells(
            passes="",
            fails=(
                "Charging is dangerously high: the battery can burst. It has to be put right before the car"
                " is driven."
            ),
            undecided="With the engine running the voltage is very high; it is measured again.",
        ),
        values={"read": ck.show(highest, "V", uncertainty=False)},
    )
    if found.verdict is ck.Verdict.UNDECIDED:
        yield attrs.evolve(found, urgency=ck.Urgency.THIS_VISIT)
    elif found.verdict is ck.Verdict.FAIL:
        yield found


def _none_at_all(
    case: ck.Case, highest: ck.Value, lowest: ck.Value, speed: ck.Reading | None, beside: _Beside
) -> list[ck.Finding]:
    """Below the least that even a managed system asks for nothing useful arrives; far below it the battery
    itself is empty.

    At idle all loads together can hold a sound system down, so it is decided only at speed.
    """
    least = case.limit("battery.not_charging")
    at_speed = speed is not None and speed.number - 2 * speed.value.u >= AT_SPEED
    none = case.judge(
        highest,
        least if at_speed else attrs.evolve(least, only_advises=True),
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
                else "With the engine running the battery gets no useful charge, or holds the voltage down"
                " itself."
            ),
            undecided="Whether the battery gets any useful charge with the engine running is still open.",
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
                "With the engine running the voltage is low although charge arrives; battery and alternator"
                " are tested one by one."
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
            undecided="The battery may be deeply discharged; it is charged before anything else is judged.",
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
    return [none, empty] if (empty.probability or 0.0) <= 0.05 else [none]


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
