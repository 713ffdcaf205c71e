"""Windings: copper brought back to 20 °C, then held against the coil's own figure or against
what is usual.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .answers import CoilType, Fitted, Path
from .declarations import (
    ballast,
    coil_type,
    diode,
    ignition,
    primary_resistance,
    replace_coil,
    secondary_path,
    secondary_resistance,
    spark,
    winding_temperature,
)

OPEN_PRIMARY, SHORTED_PRIMARY = 100.0, 0.1  # Ω: open or shorted, whatever the design; estimates of ours
SLIP = 100.0  # a secondary this many times below its lowest figure was noted in the wrong unit


@ignition.calculation(source="copper")
def resistance_at_20(
    resistance: Annotated[float, ck.Input("Ω", "Winding resistance as measured", 0)],
    temperature: Annotated[float, ck.Input("K", "Winding temperature", 233.15, 423.15)],
) -> Annotated[float, ck.Output("Ω", "Resistance at 20 °C")]:
    """Resistance that a copper winding would show at 20 °C.

    A coil measured on a hot engine reads high, while limits are given cold.

    >>> round(resistance_at_20.si(0.72, 348.15), 4)
    0.592
    """
    return resistance / ck.copper_factor(temperature)


@ignition.calculation(source="copper")
def resistance_when_warm(
    resistance: Annotated[float, ck.Input("Ω", "Resistance at 20 °C", 0)],
    temperature: Annotated[float, ck.Input("K", "Winding temperature", 233.15, 423.15)],
) -> Annotated[float, ck.Output("Ω", "Resistance when warm")]:
    """Resistance of a copper winding at a temperature, from its resistance at 20 °C.

    >>> round(resistance_when_warm.si(0.6, 353.15), 4)
    0.7415
    """
    return resistance * ck.copper_factor(temperature)


@ignition.check("Primary windings")
def primary(
    case: ck.Case,
    ohms: Annotated[list[ck.Reading], primary_resistance],
    *,
    warmth: Annotated[ck.Reading | None, winding_temperature],
    made: Annotated[CoilType | None, coil_type],
    resistor: Annotated[Fitted | None, ballast],
) -> Iterator[ck.Finding | ck.Gap]:
    """Each primary at 20 °C: against the coil's own figures a verdict, against the usual span advice.

    A low-ohm winding wants nulled leads.
    """
    own = case.is_specified(primary_resistance)
    with_points = case.limit_by(
        ballast,
        resistor,
        {Fitted.YES: "ignition.primary_ballast", Fitted.NO: "ignition.primary_points"},
    )
    limit = (
        case.limit(primary_resistance)
        if own
        else case.limit_by(
            coil_type,
            made,
            {CoilType.POINTS: with_points, CoilType.ELECTRONIC: "ignition.primary_electronic"},
        )
    )
    for reading in ohms:
        if reading.disagrees:
            yield _unsteady(case, reading, "Ω")
            continue
        if _is_unresolved(reading) and not (own and reading.number > 0):
            yield _too_coarse(case, reading)
            continue
        warm = reading.condition(winding_temperature) or warmth
        cold = resistance_at_20(reading, case.ends(warm, winding_temperature))
        if not own and made is CoilType.POINTS:
            yield from _other_kind(case, reading, cold, resistor)
        yield case.judge(
            cold,
            limit,
            ck.Claim(
                "ignition.primary" if own else "ignition.primary_usual",
                of=primary_resistance,
                unit="Ω",
                place=reading.place,
                evidence=[reading],
                calls_for=replace_coil if own else None,
                next_test=primary_resistance,
                grade=_grade(case, cold, limit),
            ),
            ck.Says(
                passes=(
                    "{it}: primary winding {cold} at {reference}; {limit} {usual}. That alone does not show"
                    " that it works under load."
                ),
                fails=(
                    "{it}: primary winding {cold} at {reference} ({read} at {at}); {limit} {usual}. {meaning}"
                ),
                undecided=(
                    "{it}: primary winding {cold} at {reference}, too close to an end of {limit} to call."
                    " Null the meter's leads, or use four wires."
                ),
            ),
            ck.Tells(
                passes=("{it} measures within its range; that alone does not show that the coil works."),
                fails="{it} measures outside its range.",
                undecided="{it}: one reading lies too close to the end of its range; it is taken again.",
            ),
            values={
                "it": reading.place.capitalize(),
                "read": reading.shown,
                "at": _at(warm),
                "reference": ck.show(ck.exact("temperature", 293.15), "°C", uncertainty=False),
                "cold": _at_20_degrees(cold, "Ω"),
                "usual": "is its specification" if own else "is usual",
                "meaning": (
                    "An open or badly connected winding reads high."
                    if case.side(cold, limit) is ck.Side.ABOVE
                    else "Shorted turns read low; so does a wrongly zeroed meter."
                ),
            },
        )


@ignition.check("Secondary windings")
def secondary(
    case: ck.Case,
    ohms: Annotated[list[ck.Reading] | None, secondary_resistance],
    *,
    paths: Annotated[dict[str, Path] | None, secondary_path],
    warmth: Annotated[ck.Reading | None, winding_temperature],
    diodes: Annotated[Fitted | None, diode],
) -> Iterator[ck.Finding | ck.Gap]:
    """Each secondary at 20 °C. One that reads open is a fault only where no diode can be in the way."""
    if not ohms and Path.OPEN not in (paths or {}).values():
        yield case.gap(secondary_resistance, "Secondary resistance: not measured.")
    for place, path in (paths or {}).items():
        if path is Path.OPEN:
            yield _open(case, place, diodes)
    own = case.is_specified(secondary_resistance)
    limit = case.limit(secondary_resistance if own else "ignition.secondary_usual")
    for reading in ohms or []:
        if reading.disagrees:
            yield _unsteady(case, reading, "kΩ")
            continue
        warm = reading.condition(winding_temperature) or warmth
        cold = resistance_at_20(reading, case.ends(warm, winding_temperature))
        at_most = ck.propagate(lambda ohms: SLIP * ohms, (reading.value,), "resistance")
        if case.side(at_most, _exactly(limit)) is ck.Side.BELOW:
            yield case.inconclusive(
                ck.Claim("ignition.secondary_usual", place=reading.place, next_test=secondary_resistance),
                (
                    "{it}: the secondary winding was recorded as {read}, hundreds of times too low:"
                    " most likely the display showed kΩ. Read it again."
                ),
                reading,
                tells="{it}: one reading was noted in another unit than it was read in; it is taken again.",
                values={
                    "it": reading.place.capitalize(),
                    "read": ck.show(reading.value, "Ω", uncertainty=False),
                },
            )
            continue
        yield case.judge(
            cold,
            limit,
            ck.Claim(
                "ignition.secondary" if own else "ignition.secondary_usual",
                of=secondary_resistance,
                unit="kΩ",
                place=reading.place,
                evidence=[reading],
                calls_for=replace_coil if own else None,
                next_test=spark,
            ),
            ck.Says(
                passes=(
                    "{it}: secondary winding {cold} at {reference}; {limit} {usual}. That alone does not show"
                    " that it works under load."
                ),
                fails="{it}: secondary winding {cold} at {reference} ({read} at {at}); {limit} {usual}.",
                undecided=(
                    "{it}: secondary winding {cold} at {reference}, too close to an end of {limit} to call."
                ),
            ),
            ck.Tells(
                passes=("{it} measures within its range; that alone does not show that the coil works."),
                fails="{it} measures outside its range; good coils can do so too.",
                undecided="{it}: one reading lies too close to the end of its range; it is taken again.",
            ),
            values={
                "it": reading.place.capitalize(),
                "read": reading.shown,
                "at": _at(warm),
                "reference": ck.show(ck.exact("temperature", 293.15), "°C", uncertainty=False),
                "cold": _at_20_degrees(cold, "kΩ"),
                "usual": "is its specification" if own else "is usual, and good coils lie outside it too",
            },
        )


def _open(case: ck.Case, place: str, diodes: Fitted | None) -> ck.Finding:
    it = place.capitalize()
    if diodes is Fitted.NO:
        says = "{it}: the secondary winding reads open, and there is no diode in it: it is open-circuit."
        return case.visual(
            secondary_path,
            ck.Claim("ignition.secondary_open", place=place, calls_for=replace_coil, grade="open"),
            says,
            passes=False,
            tells="{it}: a wire inside it is broken.",
            values={"it": it},
        )
    may = "has a diode" if diodes is Fitted.YES else "may have a diode"
    return case.inconclusive(  # source: diode
        ck.Claim(
            "ignition.secondary_open",
            place=place,
            evidence=case.noted(secondary_path, place),
            urgency=ck.Urgency.PLAN_IT,
            next_test=spark,
        ),
        (
            "{it}: the secondary {may}, and an ohmmeter then reads open on a good coil too. This"
            " reading says nothing; check the spark with a spark tester."
        ),
        tells="{it}: this reading alone does not show whether the coil works.",
        values={"it": it, "may": may},
    )


def _is_unresolved(reading: ck.Reading) -> bool:
    """Whether a primary reads no more than its meter can be wrong by, and may be more than a short."""
    return reading.number <= 2 * reading.value.u and reading.number + 2 * reading.value.u >= SHORTED_PRIMARY


def _too_coarse(case: ck.Case, reading: ck.Reading) -> ck.Finding:
    """On a range of kiloohms every primary reads nothing."""
    return case.inconclusive(
        ck.Claim("ignition.primary_resolution", place=reading.place, next_test=primary_resistance),
        (
            "{it}: the primary winding was read as {read}, no more than this meter and range can be wrong"
            " by. On"
            " a range of kiloohms every sound primary reads nothing. Read it on the 200 Ω range less the"
            " probes"
            " held together, or with four wires."
        ),
        reading,
        tells="{it}: the meter was too coarse for this reading; it is taken again.",
        values={"it": reading.place.capitalize(), "read": ck.show(reading.value, "Ω", uncertainty=False)},
    )


def _unsteady(case: ck.Case, reading: ck.Reading, unit: str) -> ck.Finding:
    """Of readings of one winding that do not settle nothing else is said."""
    taken = sorted((reading.value, *reading.others), key=lambda one: one.number)
    least, most = (ck.show(one, unit, uncertainty=False) for one in (taken[0], taken[-1]))
    return case.inconclusive(
        ck.Claim("ignition.unsteady", place=reading.place, next_test=reading.measurand),
        (
            "{it}: {title}, read {count} times, runs from {least} to {most}. A meter takes its time on a"
            " coil's"
            " winding, and a poor contact of its probes creeps too. Clean the terminals, wait until the"
            " display"
            " stands still, read a coil known to be good beside it. Until then it says nothing of the coil."
        ),
        reading,
        tells="{it}: the readings did not stand still; they are taken again.",
        values={
            "it": reading.place.capitalize(),
            "title": reading.measurand.title[0].lower() + reading.measurand.title[1:],
            "count": str(reading.count),
            "least": least,
            "most": most,
        },
    )


_CIRCUIT = {
    Fitted.YES: ("ignition.primary_ballast", "that works behind a ballast resistor"),
    Fitted.NO: ("ignition.primary_points", "that works without a ballast resistor"),
}


def _other_kind(
    case: ck.Case, reading: ck.Reading, cold: ck.Value | ck.Possible[ck.Value], resistor: Fitted | None
) -> Iterator[ck.Finding]:
    """A winding that is plainly no coil of one circuit and may be one of the other: before it is called bad,
    which of the two belongs here has to be known.
    """
    sides = {one: case.side(cold, case.limit(key)) for one, (key, _) in _CIRCUIT.items()}
    out = [one for one, side in sides.items() if side in (ck.Side.BELOW, ck.Side.ABOVE)]
    if len(out) != 1 or resistor not in (None, out[0]):
        return
    fits = next(one for one in _CIRCUIT if one is not out[0])
    known = resistor is not None
    yield case.inconclusive(
        ck.Claim(
            "ignition.coil_match",
            of=primary_resistance,
            unit="Ω",
            place=reading.place,
            evidence=[reading],
            next_test=primary_resistance if known else ballast,
        ),
        "{it}: {read} is no figure of a coil {out}, and may be that of one {fits}. {todo}",
        tells="{it}: it may be a sound coil of another kind; which kind belongs here is looked up.",
        values={
            "it": reading.place.capitalize(),
            "read": ck.show(reading.value, "Ω", uncertainty=False),
            "out": _CIRCUIT[out[0]][1],
            "fits": _CIRCUIT[fits][1],
            "todo": (
                "Compare its number with the vehicle's specification before it is called faulty: the wrong"
                " coil"
                " burns points, or makes too weak a spark."
                if known
                else "Look for the resistor or resistance wire, and at the coil's number, before it is called"
                " faulty."
            ),
        },
    )


def _grade(
    case: ck.Case, cold: ck.Value | ck.Possible[ck.Value], limit: ck.Limit | ck.Possible[ck.Limit]
) -> str:
    """How far out a primary is: off its figure, or open or shorted beyond any design, with its uncertainty
    allowed for; no grade where it is too close to call.
    """
    values = [one for _, one in cold.candidates] if isinstance(cold, ck.Possible) else [cold]
    if all(one.number - 2 * one.u > OPEN_PRIMARY for one in values) or all(
        one.number + 2 * one.u < SHORTED_PRIMARY for one in values
    ):
        return "open or shorted"
    return {ck.Side.INSIDE: "within", ck.Side.UNDECIDED: ""}.get(case.side(cold, limit), "off its figure")


def _exactly(limit: ck.Limit) -> ck.Limit:
    """Its low end without a width: what is hundreds of times too low needs no better figure."""
    return attrs.evolve(limit, low=ck.exact("resistance", limit.low.number if limit.low else 0.0), high=None)


def _at(warm: ck.Reading | None) -> str:
    return "unknown temperature" if warm is None else ck.show(warm.value, "°C", uncertainty=False)


def _at_20_degrees(cold: ck.Value | ck.Possible[ck.Value], unit: str) -> str:
    """At 20 °C; from the hottest to the coldest that the winding can have been where nobody noted it."""
    values = [one for _, one in cold.candidates] if isinstance(cold, ck.Possible) else [cold]
    ordered = sorted(values, key=lambda value: value.number)
    return " to ".join(ck.show(value, unit, uncertainty=False) for value in ordered)
