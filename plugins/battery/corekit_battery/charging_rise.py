"""What the alternator adds: running against open-circuit voltage, the current into the battery, and looks at
belt, warning light and lead.

No charging is never read off one voltage: what counts is how far it rises, and which way the current flows.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .answers import (
    Control,
    Loads,
)
from .charge_state import charge_of
from .declarations import (
    battery,
    charging_repair,
    charging_voltage,
    control,
    engine_speed,
    loads,
    open_circuit_voltage,
)
from .starting_declarations import (
    AlternatorLead,
    Belt,
    Drive,
    LightKeyOn,
    alternator_lead,
    battery_current,
    belt_seen,
    drive,
    light_key_on,
    running_time,
)

# V: what a charging alternator adds at least, and below which none arrives; source: charging-rise
ADDS, NOTHING = 0.5, 0.2
ASKED_ON_PURPOSE = 12.8  # V: as low as smart charging goes without discharging; source: charging-rise
FAST, LONG, LONG_MANAGED = 25.0, 120.0, 300.0  # rev/s (1500 rpm) and s; source: charging-rise
FLOWS = 2.0  # A: below it a clamp meter tells no direction; source: battery-current


@battery.calculation(source="charging-rise")
def rise(
    running: Annotated[float, ck.Input("V", "Charging voltage", 0, 20)],
    before: Annotated[float, ck.Input("V", "Open-circuit voltage before the start", 0, 16)],
) -> Annotated[float, ck.Output("V", "Rise of the voltage, engine running")]:
    """How far the voltage at the posts lies above what it was before the engine ran.

    >>> round(rise.si(14.2, 12.5), 1)
    1.7
    """
    return running - before


@battery.check("Charging voltage against open-circuit voltage")
def charging_rise(
    case: ck.Case,
    *,
    ran: Annotated[ck.Series | None, charging_voltage],
    before: Annotated[ck.Reading | None, open_circuit_voltage],
    speed: Annotated[ck.Reading | None, engine_speed],
    lasted: Annotated[ck.Reading | None, running_time],
    on: Annotated[Loads | None, loads],
    ruled: Annotated[Control | None, control],
    driven: Annotated[Drive | None, drive],
    flows: Annotated[ck.Reading | None, battery_current],
) -> Iterator[ck.Finding | ck.Gap]:
    """A rise that is plain without any of the conditions stands; a missing one only where they were met. Of
    readings at several speeds that at the greatest counts.
    """
    if ran is None:
        return
    running = ran.at_greatest(engine_speed)
    speed = running.condition(engine_speed) or speed
    if driven in (Drive.MILD, Drive.HYBRID, Drive.ELECTRIC):
        yield case.does_not_apply(
            "A converter charges the 12-V battery here, not an alternator of its own: 13 to 15 V when ready."
        )
        return
    if before is None:
        yield case.gap(
            open_circuit_voltage,
            "Whether the alternator adds anything shows only beside the open-circuit voltage before the"
            " start.",
        )
        return
    if running.disagrees or before.disagrees:
        yield _open(case, running, before, "the readings disagree; read both again, one after the other")
        return
    added = running.value - before.value
    plain = case.side(added, _limit(case, ADDS)) is ck.Side.INSIDE
    why = "" if plain else _why_not_judged(case, running, before, speed, lasted, ruled, flows)
    if plain and on is Loads.OFF:
        why = "with lights and blower off a weak alternator adds as much; read again with them on"
    if why and flows is not None and case.side(flows, _in(case)) is ck.Side.ABOVE:
        return  # it is charged, whatever the voltage adds: the current's own finding says so
    if why:
        yield _open(case, running, before, why)
        return
    none = case.side(added, _limit(case, NOTHING)) is ck.Side.BELOW
    evidence = [reading for reading in (running, before, speed, lasted, flows) if reading is not None]
    yield case.judge(
        added,
        _limit(case, ADDS),
        ck.Claim(
            "battery.rise",
            of=charging_voltage,
            unit="V",
            evidence=evidence,
            calls_for=charging_repair if none else None,  # a little may come of the battery: charge it first
            next_test=charging_voltage,
        ),
        _NONE if none else _LITTLE,
        _NONE_PLAIN if none else _LITTLE_PLAIN,
        values=_details(running, before, added),
    )


def _limit(case: ck.Case, volts: float) -> ck.Limit:
    return case.computed_limit("battery.rise", "charging-rise", low=ck.exact("voltage", volts))


def _details(running: ck.Reading, before: ck.Reading, added: ck.Value) -> dict[str, str]:
    return {
        "running": ck.show(running.value, "V", uncertainty=False),
        "before": ck.show(before.value, "V", uncertainty=False),
        "added": ck.show(attrs.evolve(added, number=abs(added.number)), "V", uncertainty=False),
        "moves": "rises by no more than" if added.number >= 0 else "falls by",
    }


def _why_not_judged(
    case: ck.Case,
    running: ck.Reading,
    before: ck.Reading,
    speed: ck.Reading | None,
    lasted: ck.Reading | None,
    ruled: Control | None,
    flows: ck.Reading | None,
) -> str:
    """Why a small rise means nothing yet; empty when it does."""
    drains = flows is not None and case.side(flows, _in(case)) is ck.Side.BELOW
    if charge_of(case, before).flattered and not drains:  # what runs on its battery took no charge before
        return "a charge just taken flatters the open-circuit voltage; let it rest, then read both"
    slow = case.computed_limit("battery.rise", "charging-rise", low=ck.exact("engine speed", FAST))
    if speed is not None and case.side(speed, slow) is ck.Side.BELOW:
        return "at idle some alternators give next to nothing; read it at 2000 rpm"
    wait = LONG_MANAGED if ruled is Control.MANAGED else LONG
    long = case.computed_limit("battery.rise", "charging-rise", low=ck.exact("time", wait))
    if lasted is not None and case.side(lasted, long) is ck.Side.BELOW:
        return f"the engine has run for too short a time; read it after {wait / 60:.0f} min with loads on"
    if ruled is Control.FIXED:
        return ""
    purpose = case.computed_limit("battery.rise", "charging-rise", low=ck.exact("voltage", ASKED_ON_PURPOSE))
    if case.side(running, purpose) is not ck.Side.BELOW:
        return "smart charging may ask for no more on purpose; read the current into the battery after 5 min"
    if ruled is Control.MANAGED and (flows is None or case.side(flows, _in(case)) is not ck.Side.BELOW):
        return "with smart charging only a battery that is discharged then shows it; read its current"
    return ""


def _in(case: ck.Case) -> ck.Limit:
    """Current plainly out of the battery lies below this span, current plainly into it above."""
    ends = ck.exact("current", -FLOWS), ck.exact("current", FLOWS)
    return case.computed_limit("battery.amps", "battery-current", low=ends[0], high=ends[1])


def _open(case: ck.Case, running: ck.Reading, before: ck.Reading, why: str) -> ck.Finding:
    return case.inconclusive(
        ck.Claim("battery.rise", of=charging_voltage, evidence=[running, before], next_test=charging_voltage),
        "Open-circuit voltage {before}, {running} with the engine running: that decides nothing yet; {why}.",
        tells="Whether the battery gets charged by the engine could not be told from these readings yet.",
        values={
            "running": ck.show(running.value, "V", uncertainty=False),
            "before": ck.show(before.value, "V", uncertainty=False),
            "why": why,
        },
    )


_NONE = ck.Says(
    passes="Running, the voltage rises by {added} from {before} to {running}: the alternator charges.",
    fails=(
        "Running, the voltage {moves} {added} from {before} to {running}: no charge arrives."
        " Look at the belt, at the charge warning light with the key on, and read the alternator's own"
        " terminal before the alternator is blamed."
    ),
    undecided="Running, the voltage rises by {added} from {before} to {running}: too little to call.",
)
_LITTLE = ck.Says(
    passes=_NONE.passes,
    fails=(
        "Running, the voltage rises by only {added} from {before} to {running}: little charge arrives. Charge"
        " the battery fully and read again, since a deeply discharged one holds down a good alternator."
    ),
    undecided="Running, the voltage rises by {added} from {before} to {running}: too close to {limit}"
    " to call.",
)
_NONE_PLAIN = ck.Tells(
    passes="With the engine running the battery gets charged.",
    fails="With the engine running the battery gets no charge.",
    undecided="Whether the engine charges the battery enough is too close to say.",
)
_LITTLE_PLAIN = ck.Tells(
    passes=_NONE_PLAIN.passes,
    fails="With the engine running the battery gets little charge.",
    undecided=_NONE_PLAIN.undecided,
)


@battery.check("Current into the battery, engine running")
def charging_current(
    case: ck.Case,
    *,
    flows: Annotated[ck.Reading | None, battery_current],
    running: Annotated[ck.Reading | None, charging_voltage],
    ruled: Annotated[Control | None, control],
    driven: Annotated[Drive | None, drive],
    looked: Annotated[Belt | None, belt_seen],
) -> Iterator[ck.Finding | ck.Gap]:
    """Which way it flows. Smart charging lets it flow out on purpose: there the voltage must be low too."""
    if flows is None:
        return
    if driven in (Drive.MILD, Drive.HYBRID, Drive.ELECTRIC):
        yield case.does_not_apply("A converter charges the 12-V battery here, not an alternator of its own.")
        return
    read = {
        "read": ck.show(flows.value, "A", uncertainty=False),
        "belt": "; look at the belt first" if looked is None else f"; the belt is {looked.value}",
    }
    side = case.side(flows, _in(case))
    if side is not ck.Side.ABOVE and ruled is Control.MANAGED:
        low = case.computed_limit("battery.amps", "charging-rise", low=ck.exact("voltage", ASKED_ON_PURPOSE))
        if running is None or case.side(running, low) is not ck.Side.BELOW:
            yield case.inconclusive(
                ck.Claim("battery.amps", of=battery_current, evidence=[flows], next_test=charging_voltage),
                (
                    "Current into the battery {read}. Smart charging stops it on purpose; that counts only"
                    " together with less than 12.8 V after 5 min with loads on."
                ),
                tells="Whether the battery gets charged could not be told from this current alone.",
                values=read,
            )
            return
    says, tells = _FLOW[side]
    yield case.advise(
        ck.Claim(
            "battery.amps",
            evidence=[running] if running is not None else [],
            calls_for=charging_repair if side is ck.Side.BELOW else None,
            urgency=ck.Urgency.THIS_VISIT if side is ck.Side.BELOW else ck.Urgency.NOTHING,
        ),
        says,
        flows,
        tells=tells,
        values=read,
    )


_FLOW = {
    ck.Side.ABOVE: (
        "{read} flow into the battery after the start: it is being charged.",
        "With the engine running current flows into the battery.",
    ),
    ck.Side.INSIDE: (
        "About no current flows into the battery ({read}): it is full, or the alternator feeds the"
        " loads alone.",
        "With the engine running about no current flows into the battery.",
    ),
    ck.Side.BELOW: (
        "{read}: with the engine running the battery feeds the vehicle. Belt, wiring or alternator{belt}.",
        "With the engine running the battery is being discharged instead of charged.",
    ),
    ck.Side.UNDECIDED: (
        "{read} into the battery, which this clamp meter cannot tell from none. Zero it and read again.",
        "Whether current flows into the battery could not be told with this meter.",
    ),
}


@battery.check("Alternator drive belt")
def belt_looked_at(case: ck.Case, seen: Annotated[Belt, belt_seen]) -> Iterator[ck.Finding | ck.Gap]:
    """A belt that is off stops more than charging: pump and steering may hang on it."""
    says, tells = {
        Belt.SOUND: ("The belt is tight and whole.", "The belt that drives the alternator looks whole."),
        Belt.SLIPS: (
            "The belt is slack or glazed; it can slip under load. Look at the tensioner and at what it"
            " drives.",
            "The belt that drives the alternator can slip.",
        ),
        Belt.OFF: (
            "The belt is torn or missing: nothing drives the alternator, and perhaps neither water pump nor"
            " steering. Find out why it went before a new one goes on.",
            "The belt that drives the alternator is gone; other things may hang on it too.",
        ),
    }[seen]
    yield case.visual(
        belt_seen,
        ck.Claim(
            "battery.belt",
            calls_for=charging_repair,
            urgency=ck.Urgency.BEFORE_DRIVING if seen is Belt.OFF else None,
        ),
        says,
        passes=seen is Belt.SOUND,
        tells=tells,
    )


@battery.check("Charge warning light with the key on")
def light_looked_at(
    case: ck.Case, seen: Annotated[LightKeyOn, light_key_on]
) -> Iterator[ck.Finding | ck.Gap]:
    """Dark before the start: on many vehicles the alternator is excited through that very light."""
    lit = seen is LightKeyOn.LIT
    yield case.advise(
        ck.Claim(
            "battery.light_key_on",
            evidence=case.noted(light_key_on),
            urgency=ck.Urgency.NOTHING if lit else ck.Urgency.THIS_VISIT,
            next_test=charging_voltage,
        ),
        (
            "The charge warning light lights up with the key on."
            if lit
            else "The charge warning light stays dark with the key on: light, its wire, plug or the"
            " alternator's"
            " exciter circuit is open. Where a module runs the light, read its trouble codes."
        ),
        tells=(
            "The battery lamp works."
            if lit
            else "The battery lamp does not light up before the start, where it should."
        ),
    )


@battery.check("Parasitic draw through the alternator")
def alternator_leaks(
    case: ck.Case, seen: Annotated[AlternatorLead, alternator_lead]
) -> Iterator[ck.Finding | ck.Gap]:
    """Current that flows back through a parked alternator comes through its diodes."""
    flows = seen is AlternatorLead.FLOWS
    yield case.advise(
        ck.Claim(
            "battery.alternator_leak",
            evidence=case.noted(alternator_lead),
            calls_for=charging_repair if flows else None,
            urgency=ck.Urgency.PLAN_IT if flows else ck.Urgency.NOTHING,
        ),
        (
            "Parked, current flows back through the alternator's lead: a leaking diode. It is read with the"
            " engine cold, and with the lead off the draw has to be gone."
            if flows
            else "Parked, no current flows in the alternator's lead: what draws current is elsewhere;"
            " go fuse by"
            " fuse."
        ),
        tells=(
            "Parked, current flows away through the alternator."
            if flows
            else "The alternator draws no current while the vehicle is parked."
        ),
    )
