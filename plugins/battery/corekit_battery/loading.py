"""Whether the battery holds under load: half its cranking rating for 15 s, against a line that falls with
temperature.

A load smaller or shorter than that makes it easy, a larger or longer one hard. So a fail under an easy load
and a pass under a hard one still stand; the other two say nothing. And below 75 % charge a fail says nothing
about the battery at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

import attrs

import corekit as ck

from .charge_state import Charge, charge_of, judged_charge
from .declarations import (
    Case,
    battery,
    case_seen,
    load_current,
    load_time,
    load_voltage,
    open_circuit_voltage,
    rating,
    replace,
    temperature,
)
from .tables import Rows, pair

#: (°F and °C as printed, V of a 12-V block after 15 s); the warmest row means "and above". source:
#: load-voltage-table
PRINTED = (
    (0, -18, 8.5),
    (10, -12, 8.7),
    (20, -7, 8.9),
    (30, -1, 9.1),
    (40, 4, 9.3),
    (50, 10, 9.4),
    (60, 16, 9.5),
    (70, 21, 9.6),
)
LEAST: Rows = tuple((pair(f, celsius), volts) for f, celsius, volts in PRINTED)
COLDEST = 255.34  # K: the row for 0 °F, which is also printed as -17.8 °C and -18 °C
# V; how well the table is known
TABLE_WIDTH, TABLE_WHY = 0.05, "printed in steps of 0.1 V"
HALF = 0.5  # source: load-half-rating
# a load within a tenth of half the rating counts as that; an estimate of ours, like the two seconds below
NEAR = 0.10
TIME, NEAR_TIME = 15.0, 2.0  # s; source: load-half-rating
SURE = 0.95

#: Rating system → rough factor to SAE. No exact one exists, so ratings other than SAE and EN only ever
#: advise. source: rating-rough
ROUGH = {
    "cranking rating SAE": 1.0,
    "cranking rating EN": 1.0,
    "cranking rating IEC": 1.5,
    "cranking rating DIN": 1.67,
    "cranking rating CA": 1 / 1.25,
}
# EN reads about 5 % below SAE for the same battery, well inside the tenth above, so half an EN rating is
# taken as it stands.


@battery.calculation(source="load-half-rating")
def load_to_set(
    rating: Annotated[float, ck.Input("A SAE", "Cold cranking rating (SAE)", above=0)],
) -> Annotated[float, ck.Output("A", "Load to set")]:
    """The load to set: half the SAE cranking rating.

    >>> load_to_set.si(640)
    320.0
    """
    return HALF * rating


@battery.calculation(source="load-voltage-table")
def least_load_voltage(
    temperature: Annotated[float, ck.Input("K", "Battery temperature", COLDEST, 353.15)],
) -> Annotated[float, ck.Output("V", "Lowest voltage after 15 s")]:
    """The voltage that a sound, charged 12-V battery still shows after 15 s at half its rating.

    Linear between the printed rows.

    >>> round(least_load_voltage.si(283.15), 2)
    9.4
    """
    return ck.interpolate_clamped(temperature, LEAST)


@battery.calculation(source="ohm")
def apparent_resistance(
    rest: Annotated[float, ck.Input("V", "Open-circuit voltage")],
    loaded: Annotated[float, ck.Input("V", "Voltage under load")],
    current: Annotated[float, ck.Input("A", "Load current", above=0)],
) -> Annotated[float, ck.Output("Ω", "Apparent internal resistance")]:
    """Resistance that a battery seems to have under load; what happens at its plates within 15 s is in it.

    >>> round(apparent_resistance.si(12.65, 9.8, 300), 4)
    0.0095
    """
    return (rest - loaded) / current


@battery.check("Load test")
def load(
    case: ck.Case,
    *,
    under: Annotated[ck.Reading | None, load_voltage],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    current: Annotated[ck.Reading | None, load_current],
    lasted: Annotated[ck.Reading | None, load_time],
    warmth: Annotated[ck.Reading | None, temperature],
    rated: Annotated[ck.Value | None, rating],
    body: Annotated[Case | None, case_seen],
) -> Iterator[ck.Finding | ck.Gap]:
    """The load test against the temperature table, once charge, load and time allow it to speak."""
    if under is None:
        yield from _not_loaded(case, rest, body)
        return
    own = case.specified.get(load_voltage.key)
    if current is None:
        yield case.gap(load_current, "A voltage under load means nothing without the load that was set.")
        return
    read: dict[str, Any] = {
        "read": ck.show(under.value, "V", uncertainty=False),
        "load": ck.show(current.value, "A", uncertainty=False),
    }
    if rated is None:
        yield case.inconclusive(
            ck.Claim("battery.load", evidence=[under, current]), _NO_RATING, under, values=read
        )
        return
    if own is None and warmth is not None and warmth.number < COLDEST:
        yield case.inconclusive(
            ck.Claim("battery.load", evidence=[under, warmth], next_test=load_voltage),
            (
                "At {cold} the battery is colder than the table of load voltages reaches (−18 °C). Warm it,"
                " then test again."
            ),
            under,
            values={"cold": ck.show(warmth.value, "°C", uncertainty=False), **read},
        )
        return
    limit = case.limit(load_voltage) if own is not None else _limit(case, warmth, rated)
    yield _ruled(
        case,
        _Tried(under=under, rest=rest, current=current, lasted=lasted, warmth=warmth, rated=rated),
        limit,
        read,
    )


def _not_loaded(case: ck.Case, rest: ck.Reading | None, body: Case | None) -> Iterator[ck.Finding | ck.Gap]:
    if body is not None and body is not Case.SOUND:
        yield case.does_not_apply(f"The battery is {body.value}: it is not put under load.")
        return
    if rest is not None:
        found = charge_of(case, rest)
        if not _may_speak(case, rest, found):
            yield case.inconclusive(
                ck.Claim("battery.load", of=load_voltage, evidence=[rest], next_test=load_voltage),
                _barred_says(case, rest, found).format(seen=""),
                values=found.words,
            )
            return
    yield case.gap(load_voltage, "Voltage under load was not measured.")


_NO_RATING = (
    "Under a load of {load} it shows {read}, but the battery's cranking rating is not known, so"
    " whether that load was right is not known. Read the rating off its label, with the name of the"
    " test (SAE, EN …), and set half of it."
)


def _limit(case: ck.Case, warmth: ck.Reading | None, rated: ck.Value) -> ck.Limit | ck.Possible[ck.Limit]:
    """By the table at the battery's temperature; where that was not taken, at both ends of what it can be."""
    least = least_load_voltage(case.ends(warmth, temperature, low=COLDEST))
    if rated.kind not in ("cranking rating SAE", "cranking rating EN"):
        return case.computed_limit("battery.load_voltage", "rating-rough", low=least)
    return case.computed_limit(
        "battery.load_voltage", "load-voltage-table", low=least, width=TABLE_WIDTH, why=TABLE_WHY
    )


@attrs.frozen(kw_only=True)
class _Tried:
    """One load test with all that it was made with."""

    under: ck.Reading
    rest: ck.Reading | None
    current: ck.Reading
    lasted: ck.Reading | None
    warmth: ck.Reading | None
    rated: ck.Value

    @property
    def evidence(self) -> list[ck.Reading]:
        return [
            reading
            for reading in (self.under, self.rest, self.current, self.lasted, self.warmth)
            if reading is not None
        ]


def _ruled(
    case: ck.Case, tried: _Tried, limit: ck.Limit | ck.Possible[ck.Limit], read: dict[str, Any]
) -> ck.Finding:
    """The verdict, or the reason why it cannot stand."""
    under, current, lasted, warmth, rated = (
        tried.under,
        tried.current,
        tried.lasted,
        tried.warmth,
        tried.rated,
    )
    wanted = ck.propagate(lambda amps: HALF * ROUGH[rated.kind] * amps, (rated,), "current")
    less, more = current.number < (1 - NEAR) * wanted.number, current.number > (1 + NEAR) * wanted.number
    easy = less or (lasted is not None and lasted.number < TIME - NEAR_TIME)
    hard = more or (lasted is not None and lasted.number > TIME + NEAR_TIME)
    places: dict[str, Any] = {
        **read,
        "wanted": f"{wanted.number:.0f} A",
        "beside": _beside(less, more, wanted),
        "at": f" at {ck.show(warmth.value, '°C', uncertainty=False)}" if warmth is not None else "",
    }
    judged = case.judge(
        under,
        limit,
        ck.Claim(
            "battery.load",
            evidence=tried.evidence,
            calls_for=replace,
            next_test=load_voltage,
            figure=_picture(under, warmth),
        ),
        ck.Says(
            passes="It holds {read} under a load of {load}{beside}; {limit} is required{at}.",
            fails=(
                "It drops to {read} under a load of {load}{beside}; {limit} is required{at}. It was"
                " charged enough for the test, so the weakness is in the battery."
            ),
            undecided=(
                "It shows {read} under a load of {load}: too close to what is required{at} ({limit})"
                " to call. Charge it fully, then test it again."
            ),
        ),
        ck.Tells(
            passes="The battery holds its voltage under load as it should.",
            fails="The battery was charged, and its voltage drops too far under load.",
        ),
        values=places,
    )
    chance = judged.probability or 0.0
    passes, fails = chance >= SURE, chance <= 1 - SURE
    if (easy and not fails) or (hard and not passes):
        return _wrong_load(case, tried, places, easy=easy)
    if not passes:
        barred = _too_empty(case, tried, places)
        if barred is not None:
            return barred
    return (
        judged if fails else attrs.evolve(judged, figure=None)
    )  # the limit strip beside the reading says the rest


def _beside(less: bool, more: bool, wanted: ck.Value) -> str:
    """Says so where a verdict stands although the load was not the one asked for."""
    return f", {'less' if less else 'more'} than the {wanted.number:.0f} A required" if less or more else ""


def _wrong_load(case: ck.Case, tried: _Tried, places: dict[str, Any], *, easy: bool) -> ck.Finding:
    held_for = (
        f" for {ck.show(tried.lasted.value, 's', uncertainty=False)}" if tried.lasted is not None else ""
    )
    too = (
        "easier than the test requires, so holding it proves little"
        if easy
        else "harder than the test requires, so falling short proves little"
    )
    return case.inconclusive(
        ck.Claim("battery.load", of=load_voltage, evidence=tried.evidence, next_test=load_voltage),
        (
            "It shows {read} under a load of {load}{held_for}: {too}. Set {wanted}, half of its rating, for"
            " 15 s and test again."
        ),
        tried.under,
        values={"held_for": held_for, "too": too, **places},
    )


def _too_empty(case: ck.Case, tried: _Tried, places: dict[str, Any]) -> ck.Finding | None:
    """What bars the load test from condemning a battery that may simply be empty."""
    if tried.rest is None:
        return case.inconclusive(
            ck.Claim(
                "battery.load", of=load_voltage, evidence=tried.evidence, next_test=open_circuit_voltage
            ),
            (
                "It drops to {read} under a load of {load}, but whether it was charged is not known."
                " Read its open-circuit voltage first."
            ),
            tried.under,
            values=places,
        )
    found = charge_of(case, tried.rest)
    if _may_speak(case, tried.rest, found):
        return None
    return case.inconclusive(
        ck.Claim("battery.load", of=load_voltage, evidence=tried.evidence, next_test=load_voltage),
        _barred_says(case, tried.rest, found).format(seen=_SEEN),
        tried.under,
        values={**found.words, **places},
    )


def _may_speak(case: ck.Case, rest: ck.Reading, found: Charge) -> bool:
    """True when there was charge enough for a load test to mean something."""
    enough = (judged_charge(case, rest, found).probability or 0.0) >= SURE
    return enough and not found.flattered and not rest.disagrees


def _barred_says(case: ck.Case, rest: ck.Reading, found: Charge) -> str:
    chance = judged_charge(case, rest, found).probability or 0.0
    if chance <= 1 - SURE:
        return _TOO_EMPTY
    return _TOO_SOON if found.flattered else _PERHAPS


# `seen` is put in before the places of the sentence are.
_SEEN = "it shows {read} under a load of {load}, but "
_TOO_EMPTY = (
    "Too discharged to test: {seen}it is charged to about {{share}} ({{band}}), and below 75 % that"
    " says nothing. Charge it, then test it under load."
)
_PERHAPS = (
    "Perhaps too discharged to test: {seen}its charge may be anywhere {{band}}, and below 75 % that"
    " says nothing. Charge it, then test it under load."
)
_TOO_SOON = (
    "Too soon to judge: {seen}its state of charge is not certain yet.{{remarks}} Let it rest or charge"
    " it, then test it under load."
)


def _picture(under: ck.Reading, warmth: ck.Reading | None) -> ck.Figure | None:
    """The reading beside the line that it must reach."""
    if warmth is None:
        return None
    volts, celsius = under.number, warmth.number - 273.15
    chart = ck.Chart(x=(-20.0, 40.0), y=(min(8.0, volts - 0.5), max(10.5, volts + 0.5)))
    line = [(kelvins - 273.15, low) for kelvins, low in LEAST]
    ys = [y for y in (6.0, 7.0, 8.0, 9.0, 10.0, 11.0) if chart.y[0] <= y <= chart.y[1]]
    read, needed = (
        ck.show(under.value, "V", uncertainty=False),
        f"{least_load_voltage.si(max(warmth.number, COLDEST)):.1f} V",
    )
    return chart.figure(
        [
            *chart.scales([-20, -10, 0, 10, 20, 30, 40], ys, "battery temperature, °C", "V after 15 s"),
            chart.line([*line, (40.0, line[-1][1])], 1.1, dashed=True),
            chart.words(39.0, line[-1][1], "a good battery stays above", "end", 1.5),
            *chart.dot(celsius, volts, 2 * under.value.u),
            chart.words(celsius, volts, f" {read}", "start", -4.5),
        ],
        "Voltage under load against the voltage required at its temperature",
        f"At {celsius:.0f} °C the battery showed {read} under load; a good one stays above {needed}. "
        "The line rises from 8.5 V at −18 °C to 9.6 V at 21 °C and above.",
    )
