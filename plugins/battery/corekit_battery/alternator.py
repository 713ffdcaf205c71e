"""Charging with the engine running: the voltage at the posts, and what the alternator gives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated

import attrs

import corekit as ck

from .declarations import (
    BatteryType,
    Control,
    InUse,
    Loads,
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
    temperature,
)
from .regulator import regulated

AT_SPEED = 1500 / 60  # 1/s; source: output-test


@battery.check("Charging voltage")
def charging(
    case: ck.Case,
    volts: Annotated[ck.Reading, charging_voltage],
    speed: Annotated[ck.Reading | None, engine_speed],
    lamps: Annotated[Loads | None, loads],
    ruled: Annotated[Control | None, control],
    does: Annotated[InUse | None, in_use],
    kind: Annotated[BatteryType | None, battery_type],
    warmth: Annotated[ck.Reading | None, temperature],
) -> Iterator[ck.Finding | ck.Gap]:
    """Against what its type, its temperature and the way the vehicle rules it allow; what is not known of
    these leaves open what it would decide.

    Several readings are no repeats: speed, loads and warmth move the voltage. Within the limit all of them
    pass and outside all of them fail, whatever lies between them.
    """
    highest, lowest = _ends(volts)
    limit = regulated(
        case, kind, _managed(case, highest, does), ruled, volts.condition(temperature) or warmth
    )
    idle = _none_at_all(case, highest, lowest, speed)
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
            tells="The voltage read does not fit a battery that stays charged; it is read again.",
            values={"read": ck.show(highest, "V", uncertainty=False)},
        )
        return
    yield from _overcharged(case, highest)
    yield _held(case, volts, limit, speed, lamps, ruled is Control.MANAGED)
    yield from idle


def _managed(case: ck.Case, highest: ck.Value, does: InUse | None) -> ck.Limit:
    """What a managed system may hold. By a limit alone it never fails; it does where the battery goes flat on
    the road and the voltage shows that it is being discharged.
    """
    discharging = case.limit("battery.charging_voltage_discharging")
    if does is InUse.FLAT_DRIVING and case.side(highest, discharging) is ck.Side.BELOW:
        return discharging
    return case.limit("battery.charging_voltage_managed")


def _ends(volts: ck.Reading) -> tuple[ck.Value, ck.Value]:
    values = [volts.value, *volts.others]
    return max(values, key=lambda value: value.number), min(values, key=lambda value: value.number)


def _held(
    case: ck.Case,
    volts: ck.Reading,
    limit: ck.Limit | ck.Possible[ck.Limit],
    speed: ck.Reading | None,
    lamps: Loads | None,
    managed: bool,
) -> ck.Finding:
    highest, lowest = _ends(volts)
    side = case.side(highest, limit)
    when = [f"at {ck.show(speed.value, 'rpm', uncertainty=False)}"] if speed is not None else []
    when += [f"lights and blower {lamps.value}"] if lamps is not None else []
    wanders = (
        (" This vehicle varies its charging voltage on purpose (smart charging), so one reading says little.")
        if managed
        else ""
    )
    read = ck.show(volts.value, "V", uncertainty=False)
    judged: ck.Reading | ck.Value = volts
    if volts.disagrees and _of_one_mind(case, volts, limit):
        judged = highest
        if side is ck.Side.INSIDE:  # the one that lies nearer to an end has to pass as well
            judged = min((highest, lowest), key=lambda value: _judged(case, value, limit).probability or 0.0)
        read, when = f"{lowest.number:.2f} to {highest.number:.2f} V", [f"{volts.count} readings"]
    found = _judged(
        case,
        judged,
        limit,
        evidence=[volts, *(reading for reading in (speed,) if reading is not None)],
        values={
            "read": read,
            "when": f" ({', '.join(when)})" if when else "",
            "wanders": wanders,
            "meaning": TOO_LOW if side is ck.Side.BELOW else TOO_HIGH,
        },
    )
    if found.verdict is ck.Verdict.UNDECIDED or 0.05 < (found.probability or 0.0) < 0.95:
        return attrs.evolve(found, urgency=ck.Urgency.PLAN_IT)
    return found


#: That something is wrong is shown by a voltage; which part it is never.
TOO_LOW = (
    "The battery is not being charged as it should. A deeply discharged battery can hold down the"
    " voltage of a working alternator for a while: charge it and read again."
)
TOO_HIGH = (
    "The battery gets more than it should and loses water in time. The voltage does not say why: regulator,"
    " its sensing lead and its ground connections come into question."
)


def _judged(
    case: ck.Case,
    judged: ck.Reading | ck.Value,
    limit: ck.Limit | ck.Possible[ck.Limit],
    evidence: Sequence[ck.Reading] = (),
    values: Mapping[str, str] | None = None,
) -> ck.Finding:
    return case.judge(
        judged,
        limit,
        ck.Claim(
            "battery.charging",
            of=charging_voltage,
            unit="V",
            evidence=evidence,
            calls_for=charging_repair,
            next_test=charging_voltage,
        ),
        ck.Says(
            passes="Charging voltage {read}{when}, within {limit}.{wanders}",
            fails=("Charging voltage {read}{when}, outside {limit}. {meaning}{wanders}"),
            undecided=("Charging voltage {read}{when}, too close to an end of {limit} to call.{wanders}"),
        ),
        ck.Tells(
            passes="With the engine running the battery gets a charging voltage within its range.",
            fails="With the engine running the battery gets a charging voltage outside its range.",
            undecided="Whether the battery gets the right voltage with the engine running is still open.",
        ),
        values=values,
    )


def _of_one_mind(case: ck.Case, volts: ck.Reading, limit: ck.Limit | ck.Possible[ck.Limit]) -> bool:
    """True when all readings plainly lie within the limit, or all on one side of it."""
    sides = {case.side(value, limit) for value in (volts.value, *volts.others)}
    return len(sides) == 1 and ck.Side.UNDECIDED not in sides


def _overcharged(case: ck.Case, highest: ck.Value) -> Iterator[ck.Finding]:
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
                "With the engine running the voltage is dangerously high: the battery can burst and"
                " electronics are harmed. It has to be put right before the vehicle is driven."
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
    case: ck.Case, highest: ck.Value, lowest: ck.Value, speed: ck.Reading | None
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
                " alternator's own terminal, and the voltage drop on both sides."
            ),
        ),
        ck.Tells(passes="", fails="With the engine running the battery gets no useful charge."),
        values={"read": ck.show(highest, "V", uncertainty=False)},
    )
    if (none.probability or 0.0) > 0.05:
        return []
    empty = case.judge(
        lowest,
        case.limit("battery.deep_discharge"),
        ck.Claim("battery.empty", of=charging_voltage, unit="V", calls_for=charge),
        ck.Says(
            passes="",
            undecided="",
            fails=(
                "Even with the engine running its voltage is only {read}: the battery is deeply"
                " discharged, and such a battery pulls down a good alternator. Charge it with a"
                " charger, let it rest and test it, then measure the charging again."
            ),
        ),
        ck.Tells(
            passes="",
            fails=(
                "The battery is deeply discharged and has to be charged before anything else can be judged."
            ),
        ),
        values={"read": ck.show(lowest, "V", uncertainty=False)},
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
            passes="The alternator gives its full output.",
            fails=("The alternator gave less than it usually should; that alone does not show a fault."),
        ),
        values={
            "gives": ck.show(gives.value, "A", uncertainty=False),
            "share": f"{100 * share.number:.0f} %",
            "rated": ck.show(rated, "A", uncertainty=False),
        },
    )
