"""What the readings say: warm-up, fan, cap, leaks, exhaust gas in the coolant, boiling and frost."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .coolant import below_marking, boils_at, cap_share, glycol_by_frost, margin_to_boiling
from .declarations import (
    Fan,
    Fluid,
    Hose,
    Wet,
    air_pressure,
    block_test,
    cap_marking,
    cap_opens,
    cooling,
    fan,
    fan_supply,
    fill,
    frost,
    marked_opening,
    pressure_fall,
    replace_cap,
    replace_fan,
    replace_hose,
    replace_pump,
    replace_radiator,
    replace_thermostat,
    temperature,
    upper_hose,
    warm_up,
    wet,
)


@cooling.derived_reading(
    "settled_temperature",
    "°C",
    "Coolant temperature when warmed up",
    possible=(-50, 180),
    usual=(60, 120),
    accuracy="3 °C",
    how="Where the temperature stays after ten to twenty minutes; a record gives it by itself.",
    tells="how warm the engine gets",
)
def settled_temperature(
    record: Annotated[ck.Record | None, warm_up], read: Annotated[ck.Reading | None, temperature]
) -> ck.Value | None:
    """Where the record settled; without a record, as it was read."""
    if record is not None:
        return record.settled.value if record.settled is not None else None
    return read.value if read is not None else None


@cooling.check("Temperature when warmed up")
def settled(
    case: ck.Case,
    warm: Annotated[ck.Reading | None, settled_temperature],
    record: Annotated[ck.Record | None, warm_up],
    marking: Annotated[ck.Value, marked_opening],
) -> Iterator[ck.Finding | ck.Gap]:
    """Settled well below the marking, the thermostat does not close; hose and driving decide it."""
    if warm is None and record is not None:
        yield case.gap(
            warm_up,
            "The temperature had not settled when the record ended; go on until it stays for three minutes.",
            tells="The engine was not yet warm when the record ended.",
        )
        return
    if warm is None:
        yield case.gap(temperature, "Coolant temperature: not measured.")
        return
    claim = ck.Claim(
        "cooling.settled", of=temperature, unit="K diff", calls_for=replace_thermostat, next_test=upper_hose
    )
    yield case.judge(
        below_marking(marking, warm),
        case.limit("cooling.settled"),
        claim,
        ck.Says(
            passes="Warmed up, the coolant stays {value} below the thermostat's marking; {limit} is usual.",
            fails="Warmed up, the coolant stays {value} below the thermostat's marking, more than {limit}:"
            " the thermostat does not close, or the fan runs on.",
            undecided="Warmed up, the coolant stays {value} below the thermostat's marking: too close to"
            " call, {limit}.",
        ),
        ck.Tells(
            passes="The engine gets as warm as it should.",
            fails="The engine does not get as warm as it should.",
            undecided="The engine gets about as warm as it should at least.",
        ),
    )


@cooling.check("Hottest coolant")
def hottest(
    case: ck.Case,
    record: Annotated[ck.Record | None, warm_up],
    read: Annotated[ck.Reading | None, temperature],
) -> Iterator[ck.Finding | ck.Gap]:
    top = record.highest if record is not None else read.value if read is not None else None
    if top is None:
        yield case.gap(temperature, "Coolant temperature: not measured.")
        return
    yield case.judge(
        top,
        case.limit("cooling.hottest"),
        ck.Claim(
            "cooling.hottest", of=temperature, unit="°C", urgency=ck.Urgency.BEFORE_DRIVING, next_test=fan
        ),
        ck.Says(
            passes="The hottest coolant was {value}; {limit} is usual.",
            fails="The coolant got to {value}, hotter than {limit}. Engine off before the gauge's hot mark.",
            undecided="The coolant got to {value}: too close to call, {limit}.",
        ),
        ck.Tells(
            passes="The engine did not get too hot.",
            fails="The engine got too hot. Do not drive it until the cause is put right.",
            undecided="The engine got about as hot as it may get at most.",
        ),
    )


@cooling.check("Thermostat by its hose")
def by_hose(case: ck.Case, hose: Annotated[Hose, upper_hose]) -> Iterator[ck.Finding | ck.Gap]:
    says = {
        Hose.LATE: "The hose to the radiator gets hot when the engine is warm: the thermostat opens.",
        Hose.EARLY: "The hose to the radiator gets warm from the start: the thermostat does not close.",
        Hose.NEVER: "The hose to the radiator stays cool at a hot engine: thermostat shut, air, or no flow.",
    }
    tells = {
        Hose.LATE: "The thermostat opens when the engine is warm.",
        Hose.EARLY: "The thermostat lets coolant through from the start.",
        Hose.NEVER: "The thermostat stays shut although the engine is hot.",
    }
    yield case.visual(
        upper_hose,
        ck.Claim("cooling.hose", calls_for=replace_thermostat),
        says[hose],
        passes=hose is Hose.LATE,
        tells=tells[hose],
    )


@cooling.check("Fan and its voltage")
def fan_runs(
    case: ck.Case,
    seen: Annotated[Fan, fan],
    supply: Annotated[ck.Reading | None, fan_supply],
) -> Iterator[ck.Finding | ck.Gap]:
    """A fan that stands with its voltage is the motor; without it the wiring or the control."""
    if seen is not Fan.NEVER:
        runs_on = seen is Fan.ALWAYS
        yield case.visual(
            fan,
            ck.Claim("cooling.fan", grade="always" if runs_on else "runs"),
            "The fan runs from the cold start on: relay, sensor or the control's emergency running."
            if runs_on
            else "The fan comes on as the engine gets hot.",
            passes=not runs_on,
            tells="The fan runs all the time." if runs_on else "The fan comes on as it should.",
        )
        return
    if supply is None:
        yield case.inconclusive(
            ck.Claim("cooling.fan", next_test=fan_supply, evidence=case.noted(fan)),
            "The fan stays off at a hot engine; measure at its plug whether the voltage arrives.",
            tells="The fan stays off; whether it gets its voltage is measured next.",
        )
        return
    side = case.side(supply, case.limit(fan_supply))
    claim = ck.Claim(
        "cooling.fan",
        evidence=[supply],
        grade="no voltage" if side is ck.Side.BELOW else "stands with voltage",
        calls_for=None if side is ck.Side.BELOW else replace_fan,
        urgency=ck.Urgency.BEFORE_DRIVING,
    )
    if side is ck.Side.UNDECIDED:
        yield case.inconclusive(
            ck.Claim("cooling.fan", next_test=fan_supply, evidence=[supply]),
            "The fan stays off, and the voltage at its plug is too close to the least that it needs.",
            tells="The fan stays off; whether it gets enough voltage could not be told yet.",
        )
    elif side is ck.Side.BELOW:
        yield case.visual(
            fan,
            claim,
            "The fan stays off, and its voltage does not arrive: fuse, relay, sensor, control or wiring.",
            passes=False,
            tells="The fan stays off because it gets no voltage.",
        )
    else:
        yield case.visual(
            fan,
            claim,
            "The fan stands although its voltage arrives: the motor.",
            passes=False,
            tells="The fan gets its voltage and does not turn.",
        )


@cooling.check("Pressure cap")
def cap_holds(
    case: ck.Case,
    opened: Annotated[ck.Reading, cap_opens],
    marking: Annotated[ck.Value, cap_marking],
) -> Iterator[ck.Finding | ck.Gap]:
    yield case.judge(
        cap_share(opened, marking),
        case.limit("cooling.cap"),
        ck.Claim("cooling.cap", of=cap_opens, unit="%", calls_for=replace_cap, next_test=cap_opens),
        ck.Says(
            passes="The cap opens at {value} of its marking; {limit} is usual.",
            fails="The cap opens at {value} of its marking, where {limit} is usual.",
            undecided="The cap opens at {value} of its marking: too close to call, {limit}.",
        ),
        ck.Tells(
            passes="The cap holds the pressure that it should.",
            fails="The cap does not hold the right pressure.",
            undecided="The cap holds about as much pressure as it should at least.",
        ),
    )


@cooling.check("Pressure kept", worse_with=[pressure_fall])
def kept(case: ck.Case, fall: Annotated[ck.Reading, pressure_fall]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.judge(
        fall,
        case.limit(pressure_fall),
        ck.Claim("cooling.kept", next_test=wet),
        ck.Says(
            passes="{value} lost in ten minutes; {limit} is usual.",
            fails="{value} lost in ten minutes, where {limit} is usual: find where it gets out, also inside.",
            undecided="{value} lost in ten minutes: too close to call, {limit}.",
        ),
        ck.Tells(
            passes="The cooling system holds its pressure.",
            fails="The cooling system loses pressure: coolant gets out somewhere.",
            undecided="The cooling system loses about as much pressure as it may at most.",
        ),
    )


_PLACES = {
    "radiator": ("radiator", replace_radiator),
    "hoses": ("hose", replace_hose),
    "water pump": ("pump", replace_pump),
}


@cooling.check("Leaks")
def leaks(case: ck.Case, seen: Annotated[dict[str, Wet], wet]) -> Iterator[ck.Finding | ck.Gap]:
    for place, answer in seen.items():
        name, work = _PLACES[place]
        claim = ck.Claim(f"cooling.leak_{name}", place=place, calls_for=work)
        if answer is Wet.CRUSTED:
            yield case.advise(
                ck.Claim(f"cooling.leak_{name}", place=place, evidence=case.noted(wet, place)),
                "Crust at the {place}: it has leaked; look again under the tester's pressure.",
                tells="Coolant has leaked at the {place} before; it was dry today.",
            )
        else:
            yield case.visual(
                wet,
                claim,
                "Coolant drips at the {place}." if answer is Wet.DRIPS else "Dry at the {place}.",
                passes=answer is Wet.DRY,
                tells="Coolant drips at the {place}." if answer is Wet.DRIPS else "It is dry at the {place}.",
            )


@cooling.check("Exhaust gas in the coolant")
def exhaust(case: ck.Case, fluid: Annotated[Fluid, block_test]) -> Iterator[ck.Finding | ck.Gap]:
    turns = fluid is Fluid.TURNS
    yield case.visual(
        block_test,
        ck.Claim("cooling.exhaust", urgency=ck.Urgency.BEFORE_DRIVING),
        "The test fluid turns colour: exhaust gas in the coolant, head gasket, head or block."
        if turns
        else "The test fluid keeps its colour: no exhaust gas found in the coolant at idle.",
        passes=not turns,
        tells="Exhaust gas gets into the coolant; the engine has to be opened."
        if turns
        else "No exhaust gas was found in the coolant.",
    )


# The margin of an engine that does not get warm is the thermostat's doing.
@cooling.check("Margin to boiling", not_while=["cooling.settled"])
def margin(
    case: ck.Case,
    holds: Annotated[ck.Reading, cap_opens],
    protects: Annotated[ck.Reading, frost],
    record: Annotated[ck.Record | None, warm_up],
    read: Annotated[ck.Reading | None, temperature],
    air: Annotated[ck.Reading | None, air_pressure],
) -> Iterator[ck.Finding | ck.Gap]:
    top = record.highest if record is not None else read.value if read is not None else None
    if top is None:
        yield case.gap(temperature, "Coolant temperature: not measured.")
        return
    boils = ck.for_each(
        lambda outside: boils_at(holds, outside, glycol_by_frost(protects)), case.ends(air, air_pressure)
    )
    yield case.judge(
        ck.for_each(lambda at: margin_to_boiling(at, top), boils),
        case.limit("cooling.margin"),
        ck.Claim("cooling.margin", of=temperature, unit="K diff", next_test=air_pressure, evidence=[holds]),
        ck.Says(
            passes="At its hottest the coolant stayed {value} below boiling; {limit} is wanted.",
            fails="At its hottest the coolant stayed only {value} below boiling; {limit} is wanted.",
            undecided="At its hottest the coolant stayed {value} below boiling: too close to call, {limit}.",
        ),
        ck.Tells(
            passes="The coolant stays well below boiling.",
            fails="The coolant comes close to boiling.",
            undecided="The coolant stays about as far below boiling as it should at least.",
        ),
    )


@cooling.check("Frost protection", worse_with=[frost])
def protection(case: ck.Case, down_to: Annotated[ck.Reading, frost]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.judge(
        down_to,
        case.limit(frost),
        ck.Claim("cooling.frost", calls_for=fill, urgency=ck.Urgency.PLAN_IT, next_test=frost),
        ck.Says(
            passes="Protected against frost down to {value}; {limit} is usual.",
            fails="Protected against frost down to {value} only; {limit} is usual.",
            undecided="Protected against frost down to {value}: too close to call, {limit}.",
        ),
        ck.Tells(
            passes="The coolant stands the frost that is usual here.",
            fails="The coolant freezes too early for a cold winter.",
            undecided="The coolant stands about as much frost as it should at least.",
        ),
    )
