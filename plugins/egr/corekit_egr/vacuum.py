"""Control by vacuum: its source against the barometer, what reaches the valve with and without power, the
valve's own tightness, the coil.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .declarations import (
    ELECTRIC,
    Regulator,
    VacuumHoses,
    Valve,
    barometer,
    coil,
    coil_temperature,
    duty,
    egr,
    engine_speed,
    hold_loss,
    hose_loss,
    manifold_shut,
    regulator_type,
    replace_regulator,
    replace_vacuum_hose,
    replace_valve,
    supply_vacuum,
    vacuum_hoses,
    vacuum_off,
    vacuum_on,
    vacuum_outlet,
    valve_type,
)
from .observations import Raised, raised

AT_20 = ck.exact("temperature", 293.15)  # the coil is judged as it would read at 20 °C
INHG = 3386.389  # Pa, the conventional inch of mercury
SEA_LEVEL = 101325.0  # Pa abs, the standard atmosphere
OPEN_COIL, SHORTED_COIL = 200.0, 5.0  # Ω; source: coil-limits
IDLE = 1100 / 60  # rev/s: above it a manifold's pressure is not that of idle; source: idle-vacuum
COMMANDED = 0.20  # below this duty a regulator gives next to nothing on purpose; source: regulator

#: Least vacuum of one remembered regulator by its duty cycle, inHg; source: regulator
LEAST_BY_DUTY = ((0.0, 0.0), (0.33, 0.55), (0.90, 5.69))

BLEEDS = (
    "A back-pressure valve bleeds off its vacuum until exhaust pressure closes the bleed: that is by design,"
    " not a fault."
)
NO_VACUUM = "This valve is electric; there is no vacuum to measure."


@egr.calculation(source="altitude")
def manifold_pressure(
    vacuum: Annotated[float, ck.Input("Pa diff", "Manifold vacuum", 0)],
    barometric: Annotated[float, ck.Input("Pa abs", "Barometric pressure", 50000, 110000)],
) -> Annotated[float, ck.Output("Pa abs", "Manifold pressure, absolute")]:
    """Absolute pressure behind a vacuum: the barometer less the vacuum.

    >>> round(manifold_pressure.si(50795.8, 84311.0))
    33515

    Raises:
        ValueError: the vacuum is larger than the barometer, which cannot be.
    """
    if vacuum > barometric:
        raise ValueError("A vacuum cannot be larger than the barometric pressure; check unit and gauge.")
    return barometric - vacuum


@egr.calculation(source="altitude")
def vacuum_at_sea_level(
    vacuum: Annotated[float, ck.Input("Pa diff", "Manifold vacuum read here", 0)],
    barometric: Annotated[float, ck.Input("Pa abs", "Barometric pressure", 50000, 110000)],
) -> Annotated[float, ck.Output("Pa diff", "Vacuum at sea level")]:
    """The vacuum that the same engine would show at sea level, its absolute pressure being the same.

    >>> round(vacuum_at_sea_level.si(50795.8, 84311.0) / 3386.389, 2)
    20.02
    """
    return vacuum + SEA_LEVEL - barometric


@egr.calculation(source="copper")
def coil_at_20(
    resistance: Annotated[float, ck.Input("Ω", "Coil resistance as measured", 0)],
    temperature: Annotated[float, ck.Input("K", "Coil temperature", 233.15, 433.15)],
) -> Annotated[float, ck.Output("Ω", "Coil resistance at 20 °C")]:
    """Resistance that a warm copper coil would show at 20 °C.

    >>> round(coil_at_20.si(43.375, 373.15), 1)
    33.0
    """
    return resistance / ck.copper_factor(temperature)


@egr.calculation(source="copper")
def coil_warm(
    resistance: Annotated[float, ck.Input("Ω", "Coil resistance at 20 °C", 0)],
    temperature: Annotated[float, ck.Input("K", "Coil temperature", 233.15, 433.15)],
) -> Annotated[float, ck.Output("Ω", "Coil resistance at this temperature")]:
    """Resistance of a copper coil at a temperature, from the one given for 20 °C.

    >>> round(coil_warm.si(33.0, 333.15), 3)
    38.188
    """
    return resistance * ck.copper_factor(temperature)


@egr.calculation(source="regulator")
def least_vacuum(
    duty: Annotated[float, ck.Input("1", "Duty cycle of the regulator", 0, 1)],
) -> Annotated[float, ck.Output("Pa diff", "Least vacuum at its outlet")]:
    """Least vacuum of one remembered regulator at this duty cycle; above 90 % it gives no more.

    >>> round(least_vacuum.si(0.33) / 3386.389, 2)
    0.55
    """
    return ck.interpolate_clamped(duty, [(at, inhg * INHG) for at, inhg in LEAST_BY_DUTY])


def vacuum_by_duty(
    case: ck.Case, of: ck.Measurand, command: ck.Reading | None, kind: Regulator | None
) -> ck.Limit | None:
    """The least vacuum to expect of this command: this vehicle's own figure; else what a valve needs, and
    where the regulator is asked for less, no more than one design gives then. None while it is hardly asked.
    """
    if case.is_specified(of):
        return case.limit(of)
    general = case.limit(vacuum_on)
    if command is None:
        return general
    if command.number < COMMANDED:
        return None
    assert general.low is not None
    least = least_vacuum(command)
    if kind is Regulator.SWITCH or least.number >= general.low.number:
        return general
    return case.computed_limit(
        of.key, "regulator", low=least, width=1.5 * INHG, why="one remembered design; others differ as much"
    )


@egr.check("Vacuum at the regulator inlet")
def source_vacuum(
    case: ck.Case,
    vacuum: Annotated[ck.Reading, supply_vacuum],
    air: Annotated[ck.Reading | None, barometer],
    hoses: Annotated[VacuumHoses | None, vacuum_hoses],
    manifold: Annotated[ck.Reading | None, manifold_shut],
    speed: Annotated[ck.Reading | None, engine_speed],
    valve: Annotated[Valve | None, valve_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """Against the usual vacuum at sea level, with the barometer where the vehicle stands: thin air is no
    fault. A supply is no better than the manifold that it comes from.
    """
    if valve in ELECTRIC:
        yield case.does_not_apply(NO_VACUUM)
        return
    read = ck.show(vacuum.value, "inHg diff", uncertainty=False)
    if air is not None and vacuum.number > air.number:
        yield case.inconclusive(
            ck.Claim("egr.supply_vacuum", evidence=[air], next_test=supply_vacuum),
            (
                "{value} of vacuum cannot be right at {air} of barometric pressure. Check the gauge"
                " and its unit."
            ),
            vacuum,
            tells="A pressure was read that cannot be right; it has to be measured again.",
            values={"air": ck.show(air.value, "kPa abs", uncertainty=False)},
        )
        return
    own = case.is_specified(supply_vacuum)
    at_source = _at_the_manifold(manifold, speed, air)
    if at_source is not None and not own:
        drawn = case.judge(
            at_source,
            case.limit(supply_vacuum),
            ck.Claim(
                "egr.engine_vacuum",
                of=manifold_shut,
                unit="inHg diff",
                evidence=[one for one in (manifold, air) if one is not None],
                next_test=manifold_shut,
            ),
            ck.Says(
                passes="The manifold itself has {value} at idle, reckoned to sea level; {limit} is usual.",
                fails=(
                    "The manifold itself has only {value} at idle, reckoned to sea level; {limit} is usual."
                    " That is the engine: an air leak, its timing, exhaust at idle, or a blocked exhaust."
                ),
                undecided="The manifold itself has {value} at idle, too close to {limit} to call.",
            ),
            ck.Tells(
                passes="The engine makes the vacuum it usually should.",
                fails="The engine itself makes too little vacuum.",
                undecided="Whether the engine makes enough vacuum could not be told yet.",
            ),
        )
        yield drawn
        if drawn.verdict is ck.Verdict.FAIL:
            yield case.inconclusive(
                ck.Claim("egr.supply_vacuum", evidence=[vacuum]),
                "The regulator is supplied with {value}. The manifold has no more, so no hose is blamed.",
                vacuum,
                tells="The valve's control gets little vacuum because the engine makes little.",
            )
            return
    lost = at_source is not None
    judged = vacuum.value if own else vacuum_at_sea_level(vacuum, case.ends(air, barometer))
    yield case.judge(
        judged,
        case.limit(supply_vacuum),
        ck.Claim(
            "egr.supply_vacuum",
            of=supply_vacuum,
            unit="inHg diff",
            evidence=[vacuum, air] if air is not None else [vacuum],
            calls_for=replace_vacuum_hose if lost or hoses is not VacuumHoses.SOUND else None,
            next_test=supply_vacuum,
        ),
        ck.Says(
            passes="The regulator is supplied with {read}{level}; {limit} is usual.",
            fails=(
                "The regulator is supplied with only {read}{level}; {limit} is usual. {why} Without vacuum"
                " the valve cannot open."
            ),
            undecided=(
                "The regulator is supplied with {read}{level}, where {limit} is usual: too close to call."
            ),
        ),
        ck.Tells(
            passes="The valve's control gets the vacuum it usually should.",
            fails="The valve's control gets less vacuum than usual.",
            undecided="Whether the valve's control gets enough vacuum could not be told yet.",
        ),
        values={
            "read": read,
            "why": (
                "The manifold has more, so it is lost in between: hose, check valve, or the port they sit on."
                if lost
                else "Its hoses look sound: then their port, a check valve, or an engine with low vacuum."
                " Read the manifold's own pressure."
                if hoses is VacuumHoses.SOUND
                else "Usual causes: a leaking or blocked hose, or an engine with low vacuum."
            ),
            "level": (
                ""
                if own or not isinstance(judged, ck.Value)
                else f", which would be {ck.show(judged, 'inHg diff', uncertainty=False)} at sea level"
            ),
        },
    )


def _at_the_manifold(
    manifold: ck.Reading | None, speed: ck.Reading | None, air: ck.Reading | None
) -> ck.Value | None:
    """The manifold's own vacuum at idle, reckoned to sea level; None where it was not read so, or is none."""
    if manifold is None or air is None or speed is None or speed.number > IDLE:
        return None
    vacuum = air.value - manifold.value
    return vacuum_at_sea_level(vacuum, air) if vacuum.number >= 0.0 else None  # boost is no vacuum


@egr.check("Vacuum at the valve, regulator unplugged")
def unpowered(
    case: ck.Case, vacuum: Annotated[ck.Reading, vacuum_off], valve: Annotated[Valve | None, valve_type]
) -> Iterator[ck.Finding | ck.Gap]:
    """There must be none: a regulator without power vents."""
    if valve in ELECTRIC:
        yield case.does_not_apply(NO_VACUUM)
        return
    yield case.judge(
        vacuum,
        case.limit(vacuum_off),
        ck.Claim("egr.vacuum_off", calls_for=replace_regulator, next_test=vacuum_off),
        ck.Says(
            passes="With the regulator unplugged {read} is left at the valve: practically none.",
            fails=(
                "With the regulator unplugged there is still {read} at the valve; {limit} is allowed."
                " A regulator that does not close, or whose vent is blocked, opens the valve without a"
                " command."
            ),
            undecided=(
                "With the regulator unplugged {read} is left at the valve; {limit} is allowed: too"
                " close to call."
            ),
        ),
        ck.Tells(
            passes="The valve gets no vacuum when it should get none.",
            fails="The valve gets vacuum when it should get none.",
            undecided="Whether the valve gets vacuum when it should get none could not be told yet.",
        ),
        values={"read": ck.show(vacuum.value, "inHg diff", uncertainty=False)},
    )


@egr.check("Vacuum at the valve, regulator commanded")
def commanded(
    case: ck.Case,
    vacuum: Annotated[ck.Reading, vacuum_on],
    command: Annotated[ck.Reading | None, duty],
    source: Annotated[ck.Reading | None, supply_vacuum],
    valve: Annotated[Valve | None, valve_type],
    kind: Annotated[Regulator | None, regulator_type],
    outlet: Annotated[ck.Reading | None, vacuum_outlet],
    hose: Annotated[ck.Reading | None, hose_loss],
    diaphragm: Annotated[ck.Reading | None, hold_loss],
) -> Iterator[ck.Finding | ck.Gap]:
    """Little vacuum speaks against the regulator only where its source and command are known, and where it
    is lost before the regulator's outlet: a leak behind it does the same.
    """
    if valve in ELECTRIC:
        yield case.does_not_apply(NO_VACUUM)
        return
    read = ck.show(vacuum.value, "inHg diff", uncertainty=False)
    limit = vacuum_by_duty(case, vacuum_on, command, kind)
    if limit is None and case.side(vacuum, case.limit(vacuum_on)) is ck.Side.INSIDE:
        limit = case.limit(vacuum_on)
    if limit is None or (
        command is not None and command.number < COMMANDED and case.side(vacuum, limit) is not ck.Side.INSIDE
    ):
        assert command is not None
        yield case.inconclusive(
            ck.Claim("egr.vacuum_on", evidence=[command], next_test=vacuum_on),
            (
                "At a duty cycle of {duty} the regulator is hardly commanded, so {read} at the valve"
                " says nothing. Read again while it is commanded."
            ),
            vacuum,
            tells="The valve's control was not switched on, so nothing can be said of it yet.",
            values={"read": read, "duty": ck.show(command.value, "%", uncertainty=False)},
        )
        return
    known = (
        [f"{ck.show(source.value, 'inHg diff', uncertainty=False)} at its inlet"]
        if source is not None
        else []
    )
    known += (
        [f"{ck.show(command.value, '%', uncertainty=False)} duty cycle at its connector"]
        if command is not None
        else []
    )
    missing = [] if source is not None else ["its inlet"]
    missing += [] if command is not None else ["the command at its connector"]
    yield case.judge(
        vacuum,
        limit,
        ck.Claim(
            "egr.vacuum_on",
            evidence=[reading for reading in (command, source, outlet) if reading is not None],
            calls_for=(
                replace_regulator
                if is_fed(case, source) and _is_lost_inside(case, outlet, limit, hose, diaphragm)
                else None
            ),
            next_test=vacuum_on,
        ),
        ck.Says(
            passes="On command {read} arrive at the valve{known}; {limit} is required.",
            fails=(
                "On command only {read} arrive at the valve{known}; {limit} is required. Regulator, or a leak"
                " behind it: read at its outlet as well.{then}"
            ),
            undecided=(
                "On command {read} arrive at the valve{known}, where {limit} is required: too close to"
                " call.{then}"
            ),
        ),
        ck.Tells(
            passes="On command the valve gets the vacuum it needs.",
            fails="On command the valve gets too little vacuum.",
            undecided="Whether the valve gets enough vacuum on command could not be told yet.",
        ),
        values={
            "read": read,
            "known": f", with {' and '.join(known)}" if known else "",
            "then": (
                f" Before the regulator is blamed, {' and '.join(missing)} must be measured."
                if missing
                else ""
            ),
        },
    )


def is_fed(case: ck.Case, inlet: ck.Reading | None) -> bool:
    """Whether the regulator itself gets enough, as far as its inlet was read."""
    return inlet is not None and case.side(inlet, case.limit(supply_vacuum)) is not ck.Side.BELOW


def _is_lost_inside(
    case: ck.Case,
    outlet: ck.Reading | None,
    limit: ck.Limit,
    hose: ck.Reading | None,
    diaphragm: ck.Reading | None,
) -> bool:
    """Whether what is missing at the valve is missing at the regulator's outlet as well, or nothing behind it
    leaks.
    """
    if outlet is not None:
        return case.side(outlet, limit) is not ck.Side.INSIDE
    return all(
        loss is not None and case.side(loss, case.limit(of)) is ck.Side.INSIDE
        for loss, of in ((hose, hose_loss), (diaphragm, hold_loss))
    )


@egr.check("Whether the valve holds vacuum")
def holds(
    case: ck.Case,
    loss: Annotated[ck.Reading, hold_loss],
    seen: Annotated[Raised | None, raised],
    valve: Annotated[Valve | None, valve_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """A diaphragm that leaks cannot open its valve. Back-pressure valves let their vacuum go on purpose."""
    if valve in ELECTRIC:
        yield case.does_not_apply(NO_VACUUM)
        return
    if valve is Valve.BACK_PRESSURE:
        yield (
            case.does_not_apply(BLEEDS)
            if seen is not None
            else case.inconclusive(
                ck.Claim("egr.hold", next_test=raised),
                f"{BLEEDS} Try it at about 2500 rpm.",
                loss,
                tells="This valve can only be tried at higher engine speed.",
            )
        )
        return
    unknown = "" if valve is not None else " A good back-pressure valve would do the same: find out the type."
    yield case.judge(
        loss,
        case.limit(hold_loss),
        ck.Claim("egr.hold", calls_for=replace_valve, next_test=hold_loss),
        ck.Says(
            passes="The valve's diaphragm holds its vacuum: it loses {read} in a minute.",
            fails="The valve's diaphragm loses {read} of vacuum in a minute; {limit} is usual.{unknown}",
            undecided=(
                "The valve's diaphragm loses {read} of vacuum in a minute, where {limit} is usual: too close"
                " to call. Pump again and wait longer."
            ),
        ),
        ck.Tells(
            passes="The valve holds its vacuum.",
            fails="The valve loses more vacuum than is usual.",
            undecided="Whether the valve holds its vacuum could not be told yet.",
        ),
        values={"read": ck.show(loss.value, "inHg diff", uncertainty=False), "unknown": unknown},
    )


@egr.check("Vacuum regulator coil")
def coil_checked(
    case: ck.Case,
    ohms: Annotated[ck.Reading, coil],
    warmth: Annotated[ck.Reading | None, coil_temperature],
    valve: Annotated[Valve | None, valve_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """A hot coil reads high without being faulty, so its temperature comes first; open and shorted coils are
    plain at any temperature.
    """
    if valve in ELECTRIC:
        yield case.does_not_apply("This valve is electric; it has no vacuum regulator.")
        return
    read = ck.show(ohms.value, "Ω", uncertainty=False)
    plain, limit = _plain(case, ohms)
    if plain:
        yield case.judge(
            ohms,
            limit,
            ck.Claim("egr.coil", calls_for=replace_regulator, grade="open or shorted"),
            ck.Says(
                passes="",
                fails="The regulator coil reads {read}. {plain}",
                undecided="The regulator coil reads {read}; measure again.",
            ),
            ck.Tells(
                passes="",
                fails="The electrical part of the valve's control measures far outside the usual.",
                undecided="The electrical part of the valve's control has to be measured again.",
            ),
            values={"read": read, "plain": plain},
        )
        return
    cold, limit = coil_at_20(ohms, case.ends(warmth, coil_temperature)), case.limit(coil)
    yield case.judge(
        cold,
        limit,
        ck.Claim(
            "egr.coil",
            of=coil,
            unit="Ω",
            calls_for=replace_regulator,
            next_test=coil,
            grade={ck.Side.INSIDE: "within", ck.Side.UNDECIDED: ""}.get(
                case.side(cold, limit), "off its figure"
            ),
        ),
        ck.Says(
            passes="The regulator coil reads {read}, which is {value} at {reference}; {limit} is usual.",
            fails=(
                "The regulator coil reads {read}, which is {value} at {reference}, outside {limit}. Designs"
                " differ: compare with this vehicle's specification."
            ),
            undecided=(
                "The regulator coil reads {read}, which is {value} at {reference}, close to an end of"
                " {limit}."
            ),
        ),
        ck.Tells(
            passes="The electrical part of the valve's control measures as usual.",
            fails=(
                "The electrical part of the valve's control measures outside the usual; that"
                " may be by design."
            ),
            undecided="Whether the electrical part of the valve's control is right could not be told yet.",
        ),
        values={
            "read": read,
            "reference": ck.show(AT_20, "°C", uncertainty=False),
        },
    )


def _plain(case: ck.Case, ohms: ck.Reading) -> tuple[str, ck.Limit]:
    """That a coil is open or shorted, where no temperature can change it, and the limit that says so; else
    nothing.

    A vehicle's own figure may lie beyond what holds for any design: then the coil is plain only where even
    the hottest, or the coldest, that it can be would not bring it within its figure.
    """
    own, any_design = case.limit(coil), case.limit("egr.coil_any")
    possible = coil_temperature.possible
    for words, beyond, end, at, side in (
        ("It is open.", ohms.number > OPEN_COIL, own.high, possible.high, ck.Side.ABOVE),
        ("It is shorted.", ohms.number < SHORTED_COIL, own.low, possible.low, ck.Side.BELOW),
    ):
        if not beyond:
            continue
        if not case.is_specified(coil) or end is None:
            return words, any_design
        assert at is not None
        if case.side(coil_at_20(ohms, ck.exact("temperature", at)), own) is side:
            return words, own
    return "", own
