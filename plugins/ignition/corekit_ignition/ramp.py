"""The rise of the primary current as a clamp records it: inductance, resistance, limit and dwell of each
coil."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from statistics import median
from typing import Annotated

import attrs

import corekit as ck

from .declarations import (
    charging_ramp,
    coil_resistance,
    current_limit,
    ignition,
    peak_current,
    supply_running,
)
from .ramp_fit import Fit, Shape, fit_of, shape_of

LOSS = 0.5  # Ω beyond the winding's own that a driver does not have; source: ramp-signs
SHARE = 0.9  # of the current limit below which the dwell is too short; source: ramp-signs
APART = 0.2  # share by which a coil's start slope lies off the others'; source: current-apart


@attrs.frozen(kw_only=True)
class Rise:
    """One coil's ramp as far as it can be read."""

    record: ck.Record
    shape: Shape
    fit: Fit | None

    @property
    def it(self) -> str:
        return self.record.place.capitalize() or "The coil"


@ignition.calculation(source="ramp-fit")
def inductance_of_ramp(
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    slope: Annotated[float, ck.Input("A/s", "Rise of the current at the start", above=0)],
) -> Annotated[float, ck.Output("H", "Primary inductance")]:
    """Inductance from how fast the current of a whole ramp begins to rise, by its least-squares curve.

    >>> round(inductance_of_ramp.si(13.5, 3375.0) * 1000, 3)
    4.0
    """
    return voltage / slope


@ignition.calculation(source="ramp-fit")
def resistance_of_ramp(
    voltage: Annotated[float, ck.Input("V", "Supply voltage", above=0)],
    slope: Annotated[float, ck.Input("A/s", "Rise of the current at the start", above=0)],
    bend: Annotated[float, ck.Input("Hz", "Rate at which it bends", 0)],
) -> Annotated[float, ck.Output("Ω", "Primary circuit resistance")]:
    """Resistance of the whole loop from the same curve: winding, driver, wiring.

    >>> round(resistance_of_ramp.si(13.5, 3375.0, 150.0), 3)
    0.6
    """
    return voltage * bend / slope


@ignition.check("Rise of the primary current")
def ramps(
    case: ck.Case,
    records: Annotated[list[ck.Record], charging_ramp],
    *,
    volts: Annotated[ck.Reading | None, supply_running],
    data: Annotated[ck.Value | None, coil_resistance],
    top: Annotated[ck.Value | None, current_limit],
) -> Iterator[ck.Finding | ck.Gap]:
    """Each coil by itself, then beside the others.

    Supply, ground and wiring eat current before any switch does: they are named first.
    """
    rises: list[Rise] = []
    for record in records:
        shape = shape_of(record.over, record.samples)
        if shape is None:
            yield case.inconclusive(
                ck.Claim("ignition.ramp", place=record.place, next_test=peak_current),
                (
                    "{it}: this record holds no rise of four samples or more. Record one charge from"
                    " before it is"
                    " switched on until past the spark, at 20 samples in a millisecond or so."
                ),
                tells="{it}: its current was not recorded closely enough; it is recorded again.",
                values={"it": record.place.capitalize() or "The coil"},
            )
            continue
        rises.append(Rise(record=record, shape=shape, fit=None if shape.jump else fit_of(shape)))
    others = {rise.record.place: _others(rise, rises) for rise in rises}
    for rise in rises:
        yield _finding_of_rise(case, rise, volts, data, top, others[rise.record.place])


def _others(rise: Rise, rises: Sequence[Rise]) -> float | None:
    """The median start slope of the other coils; None of fewer than two."""
    slopes = [one.fit.slope for one in rises if one is not rise and one.fit is not None]
    return median(slopes) if len(slopes) >= 2 else None


def _finding_of_rise(
    case: ck.Case,
    rise: Rise,
    volts: ck.Reading | None,
    data: ck.Value | None,
    top: ck.Value | None,
    others: float | None,
) -> ck.Finding:
    shape, fit = rise.shape, rise.fit
    words = {
        "it": rise.it,
        "peak": _amps(shape.peak),
        "length": _ms(shape.length),
        "figures": _figures(fit, volts, rise),
        "beside": _beside(fit, others),
    }
    if shape.jump:
        return _finding(
            case,
            rise,
            "jump",
            (
                "{it}: the current starts at {jump} at once and climbs from there. Shorted turns do that."
                " First"
                " record another coil with the same clamp: a clamp that is too slow or a start that was"
                " cut off"
                " looks alike on all of them."
            ),
            "{it}: its current rises as that of a damaged winding; another coil is recorded beside it first.",
            {**words, "jump": _amps(shape.jump)},
        )
    lost = _lost(fit, volts, data)
    if lost is not None:
        return _finding(
            case,
            rise,
            "resistance",
            (
                "{it}: {figures}. That is about {lost} more than the winding's own: supply, ground, a"
                " connector or a"
                " joint eats current. Read their voltage drops while it is charged, before driver or coil."
            ),
            "{it}: something in its wiring lets too little current through; the wiring is read next.",
            {**words, "lost": f"{lost:.1f} Ω"},
        )
    if shape.bends_at is not None:
        return _finding(
            case,
            rise,
            "right",
            (
                "{it} climbs faster from {from} on: its core saturates, and stores less than its"
                " inductance and"
                " {peak} promise. Some coils are made so; one that does it alone is suspect.{beside}"
            ),
            "{it}: its current rises as that of a coil worked to its limit; alone that is no fault.",
            {**words, "from": _amps(shape.bends_at)},
        )
    if shape.limit is not None:
        return _finding(
            case,
            rise,
            "right",
            (
                "{it} is held at {limit} from {held} on; it is charged for {length}: time"
                " enough.{then}{beside}"
            ),
            "{it}: it is charged fully for each spark.",
            {
                **words,
                "limit": _amps(shape.limit),
                "held": _ms(shape.held_from),
                "then": f" {words['figures']}." if words["figures"] else "",
            },
        )
    if top is not None and shape.peak + 2 * rise.record.highest.u < SHARE * top.number:
        needed = fit.time_to(top.number) if fit is not None else None
        return _finding(
            case,
            rise,
            "short",
            (
                "{it} reaches {peak} in {length} and is cut off there; its limit is {top}.{missing} A low"
                " supply"
                " lengthens what is needed: supply and ground first, then what sets the dwell.{beside}"
            ),
            "{it}: it is switched off before it is fully charged; why is looked for next.",
            {
                **words,
                "top": _amps(top.number),
                "missing": (
                    f" It would need {_ms(needed)}: {_ms(needed - shape.length)} are missing."
                    if needed is not None and needed > shape.length
                    else " At this supply and resistance it never gets there."
                ),
            },
        )
    return _finding(
        case,
        rise,
        "apart" if words["beside"] else "right",
        "{it} rises to {peak} in {length}, evenly.{then}{beside}",
        "{it}: its current rises evenly."
        if not words["beside"]
        else "{it}: its current rises otherwise than the rest.",
        {**words, "then": f" {words['figures']}." if words["figures"] else ""},
    )


def _finding(
    case: ck.Case, rise: Rise, grade: str, says: str, tells: str, words: dict[str, str]
) -> ck.Finding:
    return case.advise(
        ck.Claim(
            "ignition.ramp",
            of=peak_current,
            unit="A",
            place=rise.record.place,
            evidence=[rise.record.entry] if rise.record.entry else [],
            urgency=ck.Urgency.NOTHING if grade == "right" else ck.Urgency.THIS_VISIT,
            grade=grade,
        ),
        says,
        rise.record.highest,
        tells=tells,
        values=words,
    )


def _figures(fit: Fit | None, volts: ck.Reading | None, rise: Rise) -> str:
    """Inductance and resistance of the loop with their 95 % intervals; empty without supply or fit."""
    if fit is None or volts is None or volts.number <= 0:
        return ""
    henries = inductance_of_ramp.si(volts.number, fit.slope)
    share = _gain(rise) + 2 * volts.value.u / volts.number
    inductance = (
        f"{_pm(1000 * henries, 1000 * henries * math.hypot(fit.factor * fit.slope_u / fit.slope, share))} mH"
    )
    ohms, wide = _resistance(fit, volts, rise)
    if wide > abs(ohms):
        return f"inductance {inductance}, too short a rise for its resistance"
    return f"inductance {inductance}, resistance of the loop {_pm(ohms, wide)} Ω"


def _resistance(fit: Fit, volts: ck.Reading, rise: Rise | None) -> tuple[float, float]:
    """Resistance of the loop, and half its 95 % interval."""
    ohms = volts.number * fit.bend / fit.slope
    share = 0.0 if rise is None else _gain(rise) + 2 * volts.value.u / volts.number
    wide = (
        (fit.bend_u / fit.bend) ** 2
        + (fit.slope_u / fit.slope) ** 2
        - 2 * fit.together / fit.slope / fit.bend
        if fit.bend
        else math.inf
    )
    return ohms, math.hypot(fit.factor * abs(ohms) * math.sqrt(max(wide, 0.0)), abs(ohms) * share)


def _gain(rise: Rise) -> float:
    """What the clamp gets wrong in proportion (k = 2), as a share of the peak."""
    highest = rise.record.highest
    return 2 * highest.u / highest.number if highest.number > 0 else 0.0


def _lost(fit: Fit | None, volts: ck.Reading | None, data: ck.Value | None) -> float | None:
    """Resistance beyond the winding's own and a driver's, where it is plainly more; None else."""
    if fit is None or volts is None or data is None or volts.number <= 0:
        return None
    ohms, wide = _resistance(fit, volts, None)
    more = ohms - data.number
    return more if more - wide > LOSS else None


def _beside(fit: Fit | None, others: float | None) -> str:
    if fit is None or others is None or abs(fit.slope / others - 1) <= APART:
        return ""
    way = "faster" if fit.slope > others else "slower"
    return (
        f" It begins {abs(fit.slope / others - 1):.0%} {way} than the other coils: another supply, another"
        f" coil, or"
        " turns that are shorted; swap it with one of them and record it there."
    )


def _pm(number: float, wide: float) -> str:
    places = max(0, min(3, 1 - math.floor(math.log10(wide)))) if wide > 0 else 2
    return f"{number:.{places}f} ± {wide:.{places}f}"


def _amps(current: float) -> str:
    return f"{current:.1f} A"


def _ms(time: float) -> str:
    return f"{1000 * time:.2g} ms" if time < 0.01 else f"{1000 * time:.0f} ms"
