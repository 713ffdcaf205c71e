"""Starter, its command, cables and battery told apart while it cranks: by the current with the voltage held,
and by what arrives at the starter itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .answers import (
    Cranks,
)
from .declarations import (
    battery,
    cable_drop,
    cranking_voltage,
    cranks,
    rating,
    repair_cable,
    starter_current,
    starter_voltage,
    temperature,
)
from .loading import ROUGH
from .starting_declarations import Drive, control_voltage, drive
from .tables import Rows

#: K → V at the posts that a good battery keeps while it cranks. source: cranking-voltage-cold
KEPT: Rows = ((253.15, 7.5), (263.15, 8.5), (273.15, 9.6))
KEPT_WIDTH = 0.6  # V, k = 2; source: cranking-voltage-cold
# shares of the cranking rating (SAE) that a starter draws, each with its width (k = 2), and A below which
# nothing flows; source: starter-current
LITTLE, LITTLE_WIDTH, MUCH, MUCH_WIDTH, NOTHING = 0.12, 0.03, 0.50, 0.10, 8.0
ARRIVES, FULL, NO_COMMAND = 10.0, 10.5, 1.0  # V; source: control-terminal
HALF_WIDTH = 2.0  # a width at k = 2 is two standard uncertainties


@battery.calculation(source="cranking-voltage-cold")
def least_cranking_voltage(
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 223.15, 353.15)],
) -> Annotated[float, ck.Output("V", "Cranking voltage that a good battery keeps")]:
    """Voltage at the posts that a good battery keeps while it cranks: less in the cold, where oil is thick.

    >>> least_cranking_voltage.si(263.15)
    8.5
    """
    return ck.interpolate_clamped(temperature, KEPT)


@battery.calculation(source="starter-current")
def least_starter_current(
    rating: Annotated[float, ck.Input("A", "Cranking rating as SAE", above=0)],
) -> Annotated[float, ck.Output("A", "Least starter current that is usual")]:
    """What a starter draws at least, by the battery that its vehicle was given.

    >>> round(least_starter_current.si(600))
    72
    """
    return LITTLE * rating


@battery.calculation(source="starter-current")
def most_starter_current(
    rating: Annotated[float, ck.Input("A", "Cranking rating as SAE", above=0)],
) -> Annotated[float, ck.Output("A", "Most starter current that is usual")]:
    """What a starter draws at most; a battery that keeps its voltage at more has passed a load test.

    >>> most_starter_current.si(600)
    300.0
    """
    return MUCH * rating


@battery.check("Starter current with the cranking voltage")
def crank_pair(
    case: ck.Case,
    *,
    draws: Annotated[ck.Reading | None, starter_current],
    volts: Annotated[list[ck.Reading] | None, cranking_voltage],
    rated: Annotated[ck.Value | None, rating],
    warmth: Annotated[ck.Reading | None, temperature],
    driven: Annotated[Drive | None, drive],
    lost: Annotated[list[ck.Reading] | None, cable_drop],
) -> Iterator[ck.Finding | ck.Gap]:
    """Each alone blames nothing: little current is a bad path or no command, with the voltage held; a fallen
    voltage is the battery, unless the current is large.
    """
    if draws is None or driven in (Drive.HYBRID, Drive.ELECTRIC):
        return
    posts = next((reading for reading in volts or [] if reading.place == "posts"), None)
    nothing = case.side(draws, _flow_limit(case)) is ck.Side.BELOW
    if posts is None and not nothing:
        yield case.gap(
            cranking_voltage,
            "The starter current means something only with the voltage at the posts beside it.",
        )
        return
    usual = None if nothing else _usual(case, rated)
    grade, why = ("no current", "") if nothing else ("", "")
    if posts is not None and not nothing:
        grade, why = _grade(case, draws, posts, usual, warmth)
        if grade == "much current" and _is_beyond_rating(case, draws, rated):
            grade, why = "", BEYOND
    if not grade and usual is None:
        yield case.gap(
            rating,
            "Whether the starter draws much or little shows beside this vehicle's own figure, or the"
            " battery's"
            " cranking rating.",
        )
        return
    places = {
        "read": ck.show(draws.value, "A", uncertainty=False),
        "volts": ck.show(posts.value, "V", uncertainty=False) if posts is not None else "",
        "usual": _usual_words(usual),
        "why": why,
        "cables": ", cables" if not lost else "",
    }
    evidence = [reading for reading in (posts, warmth) if reading is not None]
    if not grade:
        yield case.inconclusive(
            ck.Claim(
                "battery.crank_pair",
                of=starter_current,
                evidence=[draws, *evidence],
                next_test=cranking_voltage,
            ),
            "The starter draws {read} at {volts}: that decides nothing; {why}.",
            tells="What keeps the engine from cranking well could not be told from these readings yet.",
            values=places,
        )
        return
    says, tells = _PAIR[grade]
    fine = grade == "usual current, voltage held"
    yield case.advise(
        ck.Claim(
            "battery.crank_pair",
            evidence=evidence,
            urgency=ck.Urgency.NOTHING if fine else ck.Urgency.THIS_VISIT,
            grade=grade,
        ),
        says,
        draws,
        tells=tells,
        values=places,
    )


BEYOND = (
    "it is more than this battery's whole cranking rating. Two batteries side by side, or the clamp meter's"
    " zero or range"
)


def _is_beyond_rating(case: ck.Case, draws: ck.Reading, rated: ck.Value | None) -> bool:
    """Whether no battery of this rating alone gives so much to a starter."""
    if rated is None or starter_current.key in case.specified:
        return False
    sae = ck.propagate(lambda amps: ROUGH[rated.kind] * amps, (rated,), "current")
    return case.side(draws, case.computed_limit("battery.starter_current", "starter-current", high=sae)) is (
        ck.Side.ABOVE
    )


def _flow_limit(case: ck.Case) -> ck.Limit:
    return case.computed_limit("battery.crank_pair", "starter-current", low=ck.exact("current", NOTHING))


def _wide(value: ck.Value, width: float, of: str) -> ck.Value:
    """A figure that is itself known to ± `width` only (k = 2)."""
    return attrs.evolve(value, budget={**value.budget, of: width / HALF_WIDTH})


def _usual(case: ck.Case, rated: ck.Value | None) -> ck.Limit | None:
    """What the starter draws when all is well: this vehicle's own figure, or by the battery's rating."""
    own = case.specified.get(starter_current.key)
    if own is not None:
        return own
    if rated is None:
        return None
    sae = ck.propagate(lambda amps: ROUGH[rated.kind] * amps, (rated,), "current")
    return case.computed_limit(
        "battery.starter_current",
        "starter-current",
        low=_wide(least_starter_current(sae), LITTLE_WIDTH * sae.number, "width of the least"),
        high=_wide(most_starter_current(sae), MUCH_WIDTH * sae.number, "width of the most"),
    )


def _usual_words(usual: ck.Limit | None) -> str:
    ends = [end for end in (usual.low, usual.high) if end is not None] if usual is not None else []
    return " to ".join(ck.show(end, "A", uncertainty=False) for end in ends) or "not known here"


def _grade(
    case: ck.Case,
    draws: ck.Reading,
    posts: ck.Reading,
    usual: ck.Limit | None,
    warmth: ck.Reading | None,
) -> tuple[str, str]:
    """The grade, or why there is none. Without its temperature the battery is taken as warm and as cold."""
    if draws.disagrees or posts.disagrees:
        return "", "its readings disagree"
    kelvins = (KEPT[0][0], KEPT[-1][0]) if warmth is None else (min(max(warmth.number, 223.15), 353.15),)
    sides = {case.side(posts, _kept_limit(case, kelvin)) for kelvin in kelvins}
    held = sides.pop() if len(sides) == 1 else ck.Side.UNDECIDED
    amount = case.side(draws, usual) if usual is not None else None
    if amount is ck.Side.ABOVE:
        return "much current", ""
    if held is ck.Side.UNDECIDED:
        cold = " a cold battery keeps less; take its temperature" if warmth is None else ""
        return "", f"the voltage is too close to what a good battery keeps;{cold or ' read it again'}"
    if amount is None:
        return "", ""
    if held is ck.Side.BELOW:
        much = attrs.evolve(usual, low=None) if usual is not None and usual.high is not None else usual
        plain = much is not None and case.side(draws, much) is not ck.Side.UNDECIDED
        return ("voltage low", "") if plain else ("", "the current is too close to the most that is usual")
    if amount is ck.Side.BELOW:
        return "little current", ""
    if amount is ck.Side.INSIDE:
        return "usual current, voltage held", ""
    return "", "the current is too close to an end of what is usual"


def _kept_limit(case: ck.Case, kelvin: float) -> ck.Limit:
    own = case.specified.get(cranking_voltage.key)
    if own is not None:
        return own
    least = ck.exact("voltage", least_cranking_voltage.si(kelvin))
    return case.computed_limit(
        "battery.crank_pair", "cranking-voltage-cold", low=_wide(least, KEPT_WIDTH, "width of the least")
    )


_PAIR = {
    "usual current, voltage held": (
        "The starter draws {read} and the posts keep {volts}; usual is {usual}. Battery{cables} and starter"
        " do their work.",
        "While cranking the starter draws the usual current and the battery keeps its voltage.",
    ),
    "little current": (
        "The starter draws only {read} while the posts keep {volts}; usual is {usual}. Something in the path"
        " lets too little through: clamps, cables, ground strap, or the starter inside. Read the voltage drop"
        " on both sides.",
        "The battery keeps its voltage, but too little current reaches the starter.",
    ),
    "much current": (
        "The starter draws {read} at {volts}; usual is {usual}. Starter or engine is hard to turn: turn the"
        " engine by hand at its pulley, ignition off and key away, before the starter is blamed.",
        "The starter draws more current than is usual: it, or the engine, is hard to turn.",
    ),
    "voltage low": (
        "The posts fall to {volts} although the starter draws no more than {read}; usual is {usual}. The"
        " battery gives way: charge it, then test it under load.",
        "The battery gives way while cranking; it is charged and tested before anything is said of it.",
    ),
    "no current": (
        "The starter draws no current ({read}). Either no command reaches it, or the path is open: read the"
        " voltage at its control terminal.",
        "No current reaches the starter.",
    ),
}


@battery.check("Voltages at the starter")
def at_the_starter(
    case: ck.Case,
    *,
    command: Annotated[ck.Reading | None, control_voltage],
    stud: Annotated[ck.Reading | None, starter_voltage],
    turns: Annotated[Cranks | None, cranks],
    volts: Annotated[list[ck.Reading] | None, cranking_voltage],
) -> Iterator[ck.Finding | ck.Gap]:
    """Both voltages there and still no turning is the starter, or the engine. The command comes first:
    without it the stud says nothing of the starter.

    Where both were read they are one statement, never two.
    """
    if command is None:
        return
    if stud is None:
        yield _command_finding(case, command, volts or [])
        return
    if turns is None:
        yield case.gap(cranks, "Voltages at the starter mean something only with how it cranks then.")
        return
    grade = _at_starter(case, command, stud, turns)
    places = {
        "command": ck.show(command.value, "V", uncertainty=False),
        "stud": ck.show(stud.value, "V", uncertainty=False),
    }
    evidence: list[ck.Reading | str] = [command, *case.noted(cranks)]
    if not grade:
        yield case.inconclusive(
            ck.Claim("battery.stud", of=starter_voltage, evidence=[stud, *evidence], next_test=cable_drop),
            "{stud} at the stud and {command} at the control terminal: too close to full voltage to call.",
            tells="Whether the starter gets its full voltage could not be told yet.",
            values=places,
        )
        return
    says, tells = _STUD[grade]
    low = grade == "stud low"
    yield case.advise(
        ck.Claim(
            "battery.stud",
            evidence=evidence,
            calls_for=repair_cable if low and _posts_full(case, volts or []) else None,
            urgency=ck.Urgency.NOTHING if grade == "turns well" else ck.Urgency.THIS_VISIT,
            grade=grade,
        ),
        says,
        stud,
        tells=tells,
        values=places,
    )


def _at_starter(case: ck.Case, command: ck.Reading, stud: ck.Reading, turns: Cranks) -> str:
    """How the voltages at the starter are graded; empty where they lie too close to an edge."""
    if turns is Cranks.WELL:
        return "turns well"
    if case.side(command, _arrival_limit(case, NO_COMMAND)) is ck.Side.BELOW:
        return "no command"
    full = {case.side(reading, _arrival_limit(case, FULL)) for reading in (stud, command)}
    if full == {ck.Side.INSIDE}:
        return "full voltage, still or dragging"
    return "stud low" if case.side(stud, _arrival_limit(case, FULL)) is ck.Side.BELOW else ""


def _arrival_limit(case: ck.Case, volts: float) -> ck.Limit:
    return case.computed_limit("battery.stud", "control-terminal", low=ck.exact("voltage", volts))


def _posts_full(case: ck.Case, volts: list[ck.Reading]) -> bool:
    posts = next((reading for reading in volts if reading.place == "posts"), None)
    return posts is not None and case.side(posts, _arrival_limit(case, FULL)) is ck.Side.INSIDE


def _command_finding(case: ck.Case, command: ck.Reading, volts: list[ck.Reading]) -> ck.Finding:
    read = {"read": ck.show(command.value, "V", uncertainty=False)}
    none = case.side(command, _arrival_limit(case, NO_COMMAND)) is ck.Side.BELOW
    arrives = case.side(command, _arrival_limit(case, ARRIVES))
    posts = next((reading for reading in volts if reading.place == "posts"), None)
    if not none and arrives is not ck.Side.INSIDE and posts is not None and not _posts_full(case, volts):
        return case.inconclusive(
            ck.Claim(
                "battery.solenoid", of=control_voltage, evidence=[command, posts], next_test=cranking_voltage
            ),
            (
                "{read} at the control terminal, but the posts themselves have only {posts} then: that says"
                " nothing of the command. Charge the battery, then read again."
            ),
            tells="Whether the starter gets its command could not be told with the battery this low.",
            values={**read, "posts": ck.show(posts.value, "V", uncertainty=False)},
        )
    if none:
        says = (
            "{read} at the control terminal: no command reaches the starter. Immobiliser, gear or"
            " clutch switch,"
            " start relay, ignition switch; try the second key and read the trouble codes."
        )
        tells = "The command to crank does not reach the starter."
    elif arrives is ck.Side.INSIDE:
        says = (
            "{read} at the control terminal: the command reaches the starter. Read the voltage at its stud."
        )
        tells = "The command to crank reaches the starter."
    else:
        says = (
            "{read} at the control terminal, where 10 V or more should arrive: look for a bad contact"
            " in relay,"
            " switch and wire of the command."
        )
        tells = "The command to crank reaches the starter only weakly."
    return case.advise(
        ck.Claim(
            "battery.solenoid",
            urgency=ck.Urgency.NOTHING if arrives is ck.Side.INSIDE else ck.Urgency.THIS_VISIT,
            next_test=starter_voltage,
        ),
        says,
        command,
        tells=tells,
        values=read,
    )


_STUD = {
    "turns well": (
        "{stud} at the stud, {command} at the control terminal, and it cranks well.",
        "The starter gets its voltage and cranks well.",
    ),
    "full voltage, still or dragging": (
        "{stud} at the stud and {command} at the control terminal, and it does not crank as it should: the"
        " starter itself, or an engine that is hard to turn. Turn the engine by hand at its pulley, key away;"
        " where it turns freely, a starter specialist.",
        "The starter gets its full voltage and does not crank as it should.",
    ),
    "stud low": (
        "Only {stud} at the stud while it should crank: battery, clamps, cables or ground strap. Read the"
        " voltage at the posts then, and the voltage drop on both sides.",
        "Too little voltage reaches the starter.",
    ),
    "no command": (
        "{stud} at the stud, {command} at the control terminal: no command reaches the starter. Immobiliser,"
        " gear or clutch switch, start relay, ignition switch; try the second key and read the trouble"
        " codes.",
        "The command to crank does not reach the starter.",
    ),
}
