"""The supply at the coil: what is lost on the way from the battery.

A weak supply explains a weak spark and is tested first.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .answers import CoilType, DropMeter, Fitted, Kind
from .current import energy_left_by_supply
from .declarations import (
    ballast,
    coil_type,
    drop_meter,
    engine_speed,
    feed_drop,
    ground_drop,
    ignition,
    kind,
    repair_ground,
    repair_supply,
    supply_cranking,
    supply_key_on,
    supply_running,
)

NEAR = (
    0.5  # V: a coil this close to the battery's own voltage has nothing wrong on the way; source: feed-drop
)

RUNS = 400 / 60  # rev/s: below it the starter turns the engine; an estimate of ours
RUNNING = "with the engine running"

# The battery's own voltage is another system's business; where its plugin is missing these are simply never
# there.
battery_cranking = ck.foreign("battery.cranking_voltage", "V", "Battery voltage while cranking")
battery_running = ck.foreign("battery.charging_voltage", "V", "Battery voltage with the engine running")
battery_resting = ck.foreign("battery.open_circuit_voltage", "V", "Battery open-circuit voltage")


@attrs.frozen(kw_only=True)
class Loss:
    """The battery's voltage and the coil's in the same condition; a drop read directly has neither."""

    when: str
    lost: ck.Value
    at_coil: ck.Reading | None = None
    at_battery: ck.Reading | None = None


@ignition.check("Coil supply")
def supply(
    case: ck.Case,
    *,
    direct: Annotated[ck.Reading | None, feed_drop],
    running: Annotated[ck.Reading | None, supply_running],
    cranking: Annotated[ck.Reading | None, supply_cranking],
    key_on: Annotated[ck.Reading | None, supply_key_on],
    battery_runs: Annotated[ck.Reading | None, battery_running],
    battery_cranks: Annotated[list[ck.Reading] | None, battery_cranking],
    battery_rests: Annotated[ck.Reading | None, battery_resting],
    resistor: Annotated[Fitted | None, ballast],
    how: Annotated[Kind | None, kind],
    meter: Annotated[DropMeter | None, drop_meter],
    made: Annotated[CoilType | None, coil_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """The voltage drop from battery to coil: read directly, else the battery's voltage less the coil's while
    running or cranking.
    """
    through = may_be_ballasted(resistor, how)
    loss = loss_of(
        direct=direct,
        running=running,
        battery_runs=battery_runs,
        cranking=cranking,
        battery_cranks=battery_cranks,
        through=through,
    )
    if loss is not None:
        speed = direct.condition(engine_speed) if direct is not None else None
        hidden = (
            loss.when != RUNNING
            and repair_supply.key not in case.repairs  # what showed the fault shows that it is gone
            and may_hide(meter, made, speed)
            and case.side(loss.lost, case.limit(feed_drop)) is ck.Side.INSIDE
        )
        yield (
            _averaged_finding(case, "ignition.feed", feed_drop, loss.lost, meter)
            if hidden
            else _loss_finding(case, loss, direct)
        )
    elif key_on is not None and case.side(key_on, case.limit("ignition.supply_there")) is ck.Side.BELOW:
        yield case.gap(feed_drop, "No supply arrives at the coil, so no drop is spoken of.")
    elif key_on is not None and battery_rests is not None and not through:
        yield _key_on(case, _pair("with the key on", key_on, battery_rests))
    elif through and (running is not None or key_on is not None):
        yield _ballast_gap(case, resistor)
    elif any(reading is not None for reading in (running, cranking, key_on)):
        wanted = (
            battery_running
            if running is not None
            else battery_cranking
            if cranking is not None
            else battery_resting
        )
        yield case.gap(
            wanted,
            "The coil supply was read, but not the battery voltage with it; only the two together show"
            " the voltage drop.",
        )
    else:
        yield case.gap(feed_drop, "The coil supply was not read; it comes before coils, leads and plugs.")


def may_hide(meter: DropMeter | None, made: CoilType | None, speed: ck.Reading | None = None) -> bool:
    """Whether a drop that reads low may be high while the coil draws current.

    While it is cranked an electronic coil draws it for a few hundredths of the time, and a meter that
    averages shows so much of the drop. Points are closed half of the time; in a running engine coils follow
    each other closely.
    """
    runs = speed is not None and speed.number >= RUNS
    return not runs and meter not in (DropMeter.PEAK, DropMeter.HELD) and made is not CoilType.POINTS


def _averaged_finding(
    case: ck.Case, code: str, of: ck.Measurand, lost: ck.Value, meter: DropMeter | None
) -> ck.Finding:
    title = f"{of.title[0].lower()}{of.title[1:]}"
    return case.inconclusive(
        ck.Claim(code, of=of, unit="V", next_test=drop_meter if meter is None else of),
        (
            "{Title}: {lost}. {how} of the peak, so a bad joint reads as little: read it by peak hold,"
            " scope or"
            " record before anything is called good."
        ),
        lost,
        tells=(
            "How well the wiring carries the coil's current does not show with this meter; it is read again."
        ),
        values={
            "Title": title[0].upper() + title[1:],
            "lost": _loss_words(lost),
            "how": (
                "An averaging meter shows a few hundredths"
                if meter is DropMeter.AVERAGE
                else "How it was read is not recorded, and an averaging meter shows a few hundredths"
            ),
        },
    )


def may_be_ballasted(resistor: Fitted | None, how: Kind | None) -> bool:
    """Not knowing of a resistor is no reason to take one for a fault; coils on plugs and wasted spark have
    none.
    """
    return resistor is Fitted.YES or (
        resistor is None and how is not Kind.OWN_COIL and how is not Kind.WASTED
    )


def loss_of(
    *,
    direct: ck.Reading | None,
    running: ck.Reading | None,
    battery_runs: ck.Reading | None,
    cranking: ck.Reading | None,
    battery_cranks: list[ck.Reading] | None,
    through: bool,
) -> Loss | None:
    """What is lost on the way, from the best readings there are; None when there are none.

    `through`: a ballast resistor may sit in the way.
    """
    posts = at_posts(battery_cranks)
    if direct is not None:
        return Loss(when="", lost=direct.value, at_coil=running or cranking)
    if running is not None and battery_runs is not None and not through:
        return _pair(RUNNING, running, battery_runs)
    if cranking is not None and posts is not None:  # the starter bypasses a ballast resistor; source: ballast
        return _pair("while cranking", cranking, posts)
    return None


def at_posts(readings: list[ck.Reading] | None) -> ck.Reading | None:
    """The battery read at its posts, else wherever it was read."""
    return next(
        (reading for reading in readings or [] if reading.place == "posts"), next(iter(readings or []), None)
    )


def _pair(when: str, at_coil: ck.Reading, at_battery: ck.Reading) -> Loss:
    return Loss(when=when, lost=at_battery.value - at_coil.value, at_coil=at_coil, at_battery=at_battery)


def _loss_finding(case: ck.Case, loss: Loss, direct: ck.Reading | None = None) -> ck.Finding:
    left = ""
    if (
        loss.at_coil is not None
        and loss.at_battery is not None
        and 0 < loss.at_coil.number < loss.at_battery.number
    ):
        share = energy_left_by_supply(loss.at_coil, loss.at_battery)
        left = (
            f" Of {_volts(loss.at_battery)} at the battery {_volts(loss.at_coil)} arrive; charged for the"
            f" same time, a coil then holds about {100 * share.number:.0f} % of its energy."
        )
    return case.judge(
        direct if direct is not None else loss.lost,
        case.limit(feed_drop),
        ck.Claim(
            "ignition.feed",
            of=feed_drop,
            unit="V",
            evidence=[reading for reading in (loss.at_coil, loss.at_battery) if reading is not None],
            calls_for=repair_supply,
            next_test=feed_drop,
        ),
        ck.Says(
            passes="Voltage drop from battery to coil{when}: {lost}; {limit} is usual.",
            fails=(
                "Voltage drop from battery to coil{when}: {lost}; {limit} is usual.{left} That makes a"
                " weak spark, however good the coil is: repair the wiring and read again before any"
                " coil is judged."
            ),
            undecided=(
                "Voltage drop from battery to coil{when}: {lost}, too close to the usual {limit} to"
                " call; read it across the feed itself."
            ),
        ),
        ck.Tells(
            passes="The wiring to the ignition coil loses no more voltage than is usual.",
            fails=(
                "The wiring to the ignition coil loses more voltage than is usual, which weakens the spark."
            ),
            undecided="How much voltage the wiring to the ignition coil loses is measured once more.",
        ),
        values={"lost": _loss_words(loss.lost), "when": f" {loss.when}" if loss.when else "", "left": left},
    )


def _key_on(case: ck.Case, loss: Loss) -> ck.Finding:
    """A battery rested for hours shows more than one with the key on, so a drop from its open-circuit voltage
    is never a verdict.
    """
    evidence = [reading for reading in (loss.at_coil, loss.at_battery) if reading is not None]
    if loss.lost.number <= NEAR:
        return case.advise(
            ck.Claim("ignition.feed", of=feed_drop, unit="V", evidence=evidence, urgency=ck.Urgency.NOTHING),
            "Key on, coil supply against the battery's open-circuit voltage: voltage drop {lost}.",
            loss.lost,
            tells="With the ignition switched on the coil gets about the battery's voltage.",
            values={"lost": _loss_words(loss.lost)},
        )
    return case.inconclusive(
        ck.Claim("ignition.feed", of=feed_drop, unit="V", evidence=evidence, next_test=feed_drop),
        (
            "With the key on the coil gets {lost} less than the battery's open-circuit voltage. Part"
            " of that is the battery itself; read the voltage drop across the feed while the coil"
            " draws current."
        ),
        loss.lost,
        tells="Switched on, the ignition coil gets less voltage than the battery has; it is read once more.",
        values={"lost": _loss_words(loss.lost)},
    )


def _ballast_gap(case: ck.Case, resistor: Fitted | None) -> ck.Gap:
    if resistor is None:
        return case.gap(
            ballast,
            "Whether a ballast resistor is in the feed is not known; it drops several volts by design.",
        )
    return case.gap(
        feed_drop,
        "The ballast resistor drops several volts by design; the voltage drop counts only up to it, or"
        " while cranking.",
    )


@ignition.check("Coil supply while cranking")
def cranking_supply(
    case: ck.Case,
    volts: Annotated[ck.Reading, supply_cranking],
    battery: Annotated[list[ck.Reading] | None, battery_cranking],
) -> Iterator[ck.Finding | ck.Gap]:
    """Is there voltage enough for a spark while the starter turns, and is it the battery that lacks it?"""
    posts = at_posts(battery)
    if posts is None:
        cause = (
            "The battery voltage at the same moment shows whether battery or wiring is to blame; it"
            " was not read."
        )
    elif (posts.value - volts.value).number <= NEAR:
        cause = f"The battery itself shows {_volts(posts)} then: test battery and starter first."
    else:
        cause = f"The battery shows {_volts(posts)} then: the rest is voltage drop in the wiring."
    yield case.judge(
        volts,
        case.limit(supply_cranking),
        ck.Claim(
            "ignition.cranking_supply",
            evidence=[posts] if posts is not None else [],
            next_test=supply_cranking,
        ),
        ck.Says(
            passes="While cranking the coil gets {read}; {limit} is required.",
            fails="While cranking the coil gets only {read}; {limit} is required. {cause}",
            undecided="While cranking the coil gets {read}, close to the {limit} required. {cause}",
        ),
        ck.Tells(
            passes="The ignition coil gets the voltage it needs while the engine is cranked.",
            fails="The ignition coil gets too little voltage while the engine is cranked.",
            undecided="While starting, the ignition coil gets about as little voltage as it can work with.",
        ),
        values={"read": _volts(volts), "cause": cause},
    )


@ignition.check("Ignition ground")
def ground(
    case: ck.Case,
    lost: Annotated[ck.Reading, ground_drop],
    meter: Annotated[DropMeter | None, drop_meter],
    made: Annotated[CoilType | None, coil_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """A bad ground robs the coil as a bad feed does."""
    hidden = repair_ground.key not in case.repairs and may_hide(meter, made, lost.condition(engine_speed))
    if hidden and case.side(lost, case.limit(ground_drop)) is ck.Side.INSIDE:
        yield _averaged_finding(case, "ignition.ground", ground_drop, lost.value, meter)
        return
    yield case.judge(
        lost,
        case.limit(ground_drop),
        ck.Claim("ignition.ground", calls_for=repair_ground, next_test=ground_drop),
        ck.Says(
            passes="Voltage drop on the ground side of the ignition: {lost}; {limit} is usual.",
            fails=(
                "Voltage drop on the ground side of the ignition: {lost}; {limit} is usual. Clean and"
                " tighten the ground before any coil is judged."
            ),
            undecided=(
                "Voltage drop on the ground side of the ignition: {lost}, too close to the usual"
                " {limit} to call."
            ),
        ),
        ck.Tells(
            passes="The ignition's connection back to the battery loses no more voltage than is usual.",
            fails="The ignition's connection back to the battery loses more voltage than is usual.",
            undecided="How much the ignition's connection back to the battery loses is measured once more.",
        ),
        values={"lost": _loss_words(lost.value)},
    )


def _volts(reading: ck.Reading) -> str:
    return ck.show(reading.value, "V", uncertainty=False)


def _loss_words(lost: ck.Value) -> str:
    """A battery that shows less than the coil is the meter's uncertainty, not a gain."""
    return ck.show(lost, "V", uncertainty=False) if lost.number > 0 else "none"
