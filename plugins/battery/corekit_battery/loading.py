"""Whether the battery holds under load: half its cranking rating for 15 s, against a line that falls with
temperature.

A load smaller or shorter than that makes it easy, a larger or longer one hard. So a fail under an easy load
and a pass under a hard one still stand; the other two say nothing. And below 75 % charge neither a fail nor a
pass says anything of the battery, unless it was just charged and sags deeper than any sound one at its
charge.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

import attrs

import corekit as ck

from .answers import (
    BatteryType,
)
from .charge_history import FullCharge, known_full_charge
from .charge_state import Charge, charge_of, judged_charge
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    full_voltage,
    load_current,
    load_time,
    load_voltage,
    open_circuit_voltage,
    rating,
    replace,
    temperature,
)
from .lithium import may_be_lithium
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
#: V for each whole of charge that a sound battery sags deeper when less than ENOUGH is in it, and the charge
#: below which there is no floor. source: sound-sag
DEEPER, ENOUGH, NO_FLOOR = 4.0, 0.75, 0.25

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

battery.relation(
    "load_pulls_down", "Open-circuit and under load", open_circuit_voltage, load_voltage, at_least=True
)


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


@battery.calculation(source="sound-sag")
def least_sound_voltage(
    required: Annotated[float, ck.Input("V", "Voltage required of a charged battery", 0, 14)],
    share: Annotated[float, ck.Input("1", "State of charge", 0, 1)],
) -> Annotated[float, ck.Output("V", "Lowest voltage of a sound battery at that charge")]:
    """How far a sound battery may sag under half its rating when it is not charged: a volt for each 25 points
    of charge below 75 %, and to any voltage below 25 %.

    >>> round(least_sound_voltage.si(9.6, 0.5), 2)
    8.6
    """
    if share < NO_FLOOR:
        return 0.0
    return max(0.0, required - DEEPER * max(0.0, ENOUGH - share))


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
    kind: Annotated[BatteryType | None, battery_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """The load test against the temperature table, once charge, load and time allow it to speak."""
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    if kind is BatteryType.LITHIUM:
        yield case.does_not_apply(
            "The table of load voltages is for lead-acid batteries; a lithium battery is not judged by it."
        )
        return
    if under is None:
        yield from _not_loaded(case, rest)
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
            ck.Claim("battery.load", evidence=[under, current], next_test=rating),
            _NO_RATING,
            under,
            tells="Whether the battery was tested with the right load is not known.",
            values=read,
        )
        return
    if own is None and warmth is not None and warmth.number < COLDEST:
        yield case.inconclusive(
            ck.Claim("battery.load", evidence=[under, warmth], next_test=load_voltage),
            (
                "At {cold} the battery is colder than the table of load voltages reaches ({coldest}). Warm"
                " it, then test again."
            ),
            under,
            tells="The battery is too cold to be tested; it has to be warmed first.",
            values={
                "cold": ck.show(warmth.value, "°C", uncertainty=False),
                "coldest": _whole_degrees(COLDEST),
                **read,
            },
        )
        return
    limit = case.limit(load_voltage) if own is not None else _limit(case, warmth, rated)
    yield _verdict_or_reason(
        case,
        _Tried(under=under, rest=rest, current=current, lasted=lasted, warmth=warmth, rated=rated),
        limit,
        read,
    )


def _not_loaded(case: ck.Case, rest: ck.Reading | None) -> Iterator[ck.Finding | ck.Gap]:
    if rest is not None:
        found = charge_of(case, rest)
        if not _may_speak(case, rest, found):
            charged = known_full_charge(case)
            yield case.inconclusive(
                ck.Claim(
                    "battery.load",
                    of=load_voltage,
                    evidence=[rest],
                    next_test=_asked_first(case, rest, found),
                ),
                _barred_says(case, rest, found, charged).format(seen=""),
                tells=_BARRED_PLAIN if charged is None else _CHARGED_PLAIN,
                values={**found.words, "charged": charged.words if charged is not None else ""},
            )
            return
    yield case.gap(load_voltage, "Voltage under load was not measured.")


def _asked_first(case: ck.Case, rest: ck.Reading, found: Charge) -> ck.Trait | ck.Measurand | None:
    """What has to be known before the load is put on; None where it is to be charged, which is work."""
    if _type_is_open(case, rest):
        return battery_type
    if found.flattered and (judged_charge(case, rest, found).probability or 0.0) > 1 - SURE:
        return open_circuit_voltage
    return None


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


def _verdict_or_reason(
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
        "then": (
            "Charge it fully, then test it again."
            if known_full_charge(case) is None
            else "It was charged: test it again warm, or with a meter that is known better."
        ),
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
                " to call. {then}"
            ),
        ),
        ck.Tells(
            passes="Loaded as a starter loads it, the battery keeps its voltage as it should.",
            fails="Although charged, the battery gives way when it is loaded as a starter loads it.",
            undecided=(
                "Loaded as a starter loads it, the battery is too close to the limit to say whether it is"
                " good."
            ),
        ),
        values=places,
    )
    chance = judged.probability or 0.0
    passes, fails = chance >= SURE, chance <= 1 - SURE
    if (easy and not fails) or (hard and not passes):
        return _wrong_load(case, tried, places, easy=easy)
    if passes and tried.rest is None and replace.key in case.repairs:
        return judged  # a new battery that holds has shown that the work did: drawn as it was before
    discharged = _too_empty(case, tried, limit, places, passes=passes)
    if discharged is not None:
        return discharged
    if fails or (passes and replace.key in case.repairs):  # drawn before, so drawn as it is now as well
        return judged
    return attrs.evolve(judged, figure=None)  # the limit strip beside the reading says the rest


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
        tells="The battery was tested with the wrong load; the test is made again.",
        values={"held_for": held_for, "too": too, **places},
    )


def _too_empty(
    case: ck.Case,
    tried: _Tried,
    limit: ck.Limit | ck.Possible[ck.Limit],
    places: dict[str, Any],
    *,
    passes: bool,
) -> ck.Finding | None:
    """What bars the load test of a battery that may simply be discharged: from condemning it, and from
    clearing it, since counting only one of the two would tilt whatever rests on it.
    """
    if tried.rest is None:
        return case.inconclusive(
            ck.Claim(
                "battery.load", of=load_voltage, evidence=tried.evidence, next_test=open_circuit_voltage
            ),
            ("It {does} {read} under a load of {load}, but {unknown}. Read its open-circuit voltage first."),
            tried.under,
            tells="Whether the battery held a charge when it was tested is not known.",
            values={
                **places,
                "does": "holds" if passes else "drops to",
                "unknown": "whether it was charged is not known"
                if known_full_charge(case) is None
                else "whether it holds the charge it was given is not known",
            },
        )
    found = charge_of(case, tried.rest)
    charged = known_full_charge(case)
    if _may_speak(case, tried.rest, found):
        return None
    deeper = not passes and _sags_deeper_than_a_sound_one(tried, found, limit)
    if deeper and charged is not None and _was_charged_enough(case, tried.rest, found, charged):
        return None
    says, plain = _barred_says(case, tried.rest, found, charged), _BARRED_PLAIN
    if says is _CHARGED_LOW:
        says, plain = (_NOT_HELD if deeper else _CHARGED_LOW), _CHARGED_PLAIN
    elif passes and charged is None and says is not _TYPE_OPEN:
        says = _HELD_ALL_THE_SAME
    return case.inconclusive(
        ck.Claim(
            "battery.load",
            of=load_voltage,
            evidence=[*tried.evidence, *(charged.evidence if charged is not None else ())],
            next_test=load_voltage,
        ),
        says.format(seen=_SEEN),
        tried.under,
        tells=plain,
        values={
            **found.words,
            **places,
            "charged": charged.words if charged is not None else "",
            "floor": f"{_floor(found, limit):.1f} V",
        },
    )


def _floor(found: Charge, limit: ck.Limit | ck.Possible[ck.Limit]) -> float:
    """V: what a sound battery still shows at the low end (9 in 10) of the charge that this one may have."""
    known = [one for _, one in limit.candidates] if isinstance(limit, ck.Possible) else [limit]
    required = min((one.low.number for one in known if one.low is not None), default=0.0)
    least = min(1.0, max(0.0, found.share.number - 1.645 * found.share.u))
    return least_sound_voltage.si(required, least)


def _sags_deeper_than_a_sound_one(
    tried: _Tried, found: Charge, limit: ck.Limit | ck.Possible[ck.Limit]
) -> bool:
    """Could any sound battery with that charge sag so far? True when none could."""
    return tried.under.number + 2 * tried.under.value.u < _floor(found, limit)


def _was_charged_enough(case: ck.Case, rest: ck.Reading, found: Charge, charged: FullCharge) -> bool:
    """True when the charge just done and the voltage after it both say that it is not discharged. A voltage
    still flattered by the charge counts only where the end of that charge was seen.
    """
    if rest.disagrees or (found.flattered and not charged.seen) or _type_is_open(case, rest):
        return False
    return found.share.number >= ENOUGH


def _type_is_open(case: ck.Case, rest: ck.Reading) -> bool:
    """A voltage that a lithium battery could rest at as well shows no charge before the type is known."""
    kind, full = case.fitted.get(battery_type.key), case.fitted.get(full_voltage.key)
    return kind is None and full is None and may_be_lithium(rest)


def _may_speak(case: ck.Case, rest: ck.Reading, found: Charge) -> bool:
    """True when there was charge enough for a load test to mean something."""
    enough = (judged_charge(case, rest, found).probability or 0.0) >= SURE
    return enough and not found.flattered and not rest.disagrees and not _type_is_open(case, rest)


def _barred_says(case: ck.Case, rest: ck.Reading, found: Charge, charged: FullCharge | None) -> str:
    chance = judged_charge(case, rest, found).probability or 0.0
    if _type_is_open(case, rest):
        return _TYPE_OPEN
    plainly = chance <= 1 - SURE  # a voltage that a recent charge flatters is lower still, never higher
    if found.flattered and not plainly:
        return _TOO_SOON if charged is None else _TOO_SOON_AFTER
    if charged is not None:
        return _CHARGED_LOW
    return _TOO_EMPTY if plainly else _PERHAPS


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
_TOO_SOON_AFTER = (
    "Too soon to judge: {seen}its state of charge is not certain yet.{{remarks}} Let it rest, then test it"
    " under load."
)
_TYPE_OPEN = (
    "Its type comes first: {seen}a lithium battery a fifth full has the open-circuit voltage of a full"
    " lead-acid one. Read the type off its label."
)
_HELD_ALL_THE_SAME = (
    "It holds {{read}} under a load of {{load}} although its charge may be anywhere {{band}}. That speaks for"
    " it, and clears it only once it is charged: charge it, then test it under load."
)
_CHARGED_LOW = (
    "Too discharged to test after {{charged}}: {seen}it is charged to about {{share}} ({{band}}). Charging it"
    " the same way again shows nothing new: it does not take or hold its charge, or the charger stopped"
    " early."
)
_NOT_HELD = (
    "{seen}at about {{share}} ({{band}}) a sound battery still shows some {{floor}}: being discharged does"
    " not explain it. After {{charged}} what is left is that it does not take or hold its charge; read the"
    " current it takes, and its voltage after a night with the negative clamp off."
)
_BARRED_PLAIN = "The battery is not charged enough to be tested; it is charged first and then tested again."
_CHARGED_PLAIN = (
    "Although charged, the battery holds too little to be tested; whether it takes and holds charge is"
    " tested next."
)


def _whole_degrees(kelvins: float) -> str:
    """A temperature of the table as it is printed: in whole degrees."""
    return ck.show(ck.Value("temperature", kelvins, {"printed": 1.6}), "°C", uncertainty=False)


def _picture(under: ck.Reading, warmth: ck.Reading | None) -> ck.Figure | None:
    """The reading beside the line that it must reach."""
    if warmth is None:
        return None
    volts, scale = under.number, ck.shown_scale("°C")
    unit = scale.unit
    chart = ck.Chart(
        x=(scale.at(253.15), scale.at(313.15)), y=(min(8.0, volts - 0.5), max(10.5, volts + 0.5))
    )
    line = [(scale.at(kelvins), low) for kelvins, low in LEAST]
    step = 10 if chart.x[1] - chart.x[0] <= 60.0 else 20
    ticks = [x for x in range(-100, 200, step) if chart.x[0] <= x <= chart.x[1]]
    cold, mild = (_whole_degrees(kelvins) for kelvins, _ in (LEAST[0], LEAST[-1]))
    ys = [y for y in (6.0, 7.0, 8.0, 9.0, 10.0, 11.0) if chart.y[0] <= y <= chart.y[1]]
    warm, read, needed = (
        ck.show(warmth.value, "°C", uncertainty=False),
        ck.show(under.value, "V", uncertainty=False),
        f"{least_load_voltage.si(max(warmth.number, COLDEST)):.1f} V",
    )
    return chart.figure(
        [
            *chart.scales(ticks, ys, f"battery temperature, {unit}", "V after 15 s"),
            chart.line([*line, (chart.x[1], line[-1][1])], 1.1, dashed=True),
            chart.words(scale.at(312.15), line[-1][1], "a good battery stays above", "end", 1.5),
            *chart.dot(scale.at(warmth.number), volts, 2 * under.value.u),
            chart.words(scale.at(warmth.number), volts, f" {read}", "start", -4.5),
        ],
        "Voltage under load against the voltage required at its temperature",
        f"At {warm} the battery showed {read} under load; a good one stays above {needed}. "
        f"The line rises from 8.5 V at {cold} to 9.6 V at {mild} and above.",
    )
