"""Misfires by cylinder: how many, and whether one cylinder or all of them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import Banks, CoilPairs, Kind
from .declarations import banks, coil_pairs, cylinders, ignition, kind, misfires, revolutions

RUINS = 0.05  # share of firings from which unburned fuel soon ruins a catalyst; source: misfire-catalyst
ONE = 0.90  # share of all misfires from which they are one cylinder's; source: misfire-one
SEVERAL = 0.10  # share above which a cylinder counts as one of several; source: misfire-one
AS_MUCH = 1.5  # times the even share up to which all cylinders count as alike; source: misfire-alike


@ignition.calculation(source="four-stroke")
def firings(
    revolutions: Annotated[float, ck.Input("count", "Revolutions counted", above=0)],
    cylinders: Annotated[float, ck.Input("count", "Number of cylinders", 1, 16)],
) -> Annotated[float, ck.Output("count", "Firings")]:
    """How often an engine fires in so many revolutions.

    >>> firings.si(1000.0, 4.0)
    2000.0
    """
    return revolutions * cylinders / 2


@ignition.calculation(source="four-stroke")
def misfire_share(
    count: Annotated[float, ck.Input("count", "Misfires counted", 0)],
    revolutions: Annotated[float, ck.Input("count", "Revolutions counted", above=0)],
    cylinders: Annotated[float, ck.Input("count", "Number of cylinders", 1, 16)],
) -> Annotated[float, ck.Output("1", "Share of firings that failed")]:
    """Share of an engine's firings that failed.

    >>> misfire_share.si(30.0, 200.0, 8.0)
    0.0375
    """
    return count / firings.si(revolutions, cylinders)


@ignition.calculation(source="power-balance")
def contribution(
    drop: Annotated[float, ck.Input("rev/s", "Speed lost without this cylinder", 0)],
    middle_drop: Annotated[float, ck.Input("rev/s", "Median speed lost over all cylinders", above=0)],
) -> Annotated[float, ck.Output("1", "Contribution of the cylinder")]:
    """A cylinder's part in the work: the speed lost without it, against the median of all.

    Its injector is cut for a few seconds, never its coil pulled: fuel that does not burn ruins the catalyst.

    >>> round(contribution.si(21 / 60, 59 / 60), 3)
    0.356
    """
    return drop / middle_drop


@ignition.check("Misfires by cylinder")
def misfire(
    case: ck.Case,
    counts: Annotated[list[ck.Reading], misfires],
    *,
    turned: Annotated[ck.Reading | None, revolutions],
    number: Annotated[ck.Value | None, cylinders],
    how: Annotated[Kind | None, kind],
    pairs: Annotated[CoilPairs | None, coil_pairs],
    heads: Annotated[Banks | None, banks],
) -> Iterator[ck.Finding | ck.Gap]:
    """The share of failed firings, and what the pattern speaks of.

    No count calls for a part: it says where, not why.
    """
    turns = next(
        (beside for reading in counts if (beside := reading.condition(revolutions)) is not None), turned
    )
    if turns is None:
        yield case.gap(
            revolutions, "Misfires mean something only over a number of revolutions, which was not recorded."
        )
        return
    if number is None:
        yield case.gap(cylinders, "The misfire rate depends on the number of cylinders, which is not known.")
        return
    total = math.fsum(reading.number for reading in counts)
    # A count over so many turns would come out a little different next time: its own square root is added to
    # the uncertainty.
    chance = {"ignition.misfires.chance": math.sqrt(max(total, 1.0))}
    whole = ck.propagate(lambda *each: math.fsum(each), [reading.value for reading in counts], "count")
    whole = ck.Value(whole.kind, whole.number, {**whole.budget, **chance}, whole.rests_on)
    share = misfire_share(
        ck.Value(whole.kind, max(0.0, whole.number), whole.budget, whole.rests_on), turns, number
    )
    yield case.judge(
        share,
        case.system.limits["ignition.misfires"],  # a share; a figure of the vehicle's own would be a count
        ck.Claim(
            "ignition.misfire",
            of=misfires,
            unit="%",
            evidence=[*counts, turns],
            next_test=misfires,
            urgency=ck.Urgency.BEFORE_DRIVING if share.number - 2 * share.u > RUINS else None,
            grade=_where(case, share, counts, total, int(number.number), how, pairs, heads),
        ),
        ck.Says(
            passes=(
                "Misfires counted in {turns} revolutions: {total}, a rate of {share} of all firings; a"
                " monitor allows {limit}."
            ),
            fails=(
                "Misfires counted in {turns} revolutions: {total}, a rate of {share} of all firings; a"
                " monitor allows {limit}.{ruins} {pattern}"
            ),
            undecided=(
                "Misfires counted in {turns} revolutions: {total}, about {share} of all firings, "
                "too close to the {limit} that a monitor allows to call. Count for longer. {pattern}"
            ),
        ),
        ck.Tells(
            passes=(
                "Sparks that did not fire in {turns} turns of the engine: {total}, no more than is allowed."
            ),
            fails="Missing sparks in {turns} turns: {total}, more than is allowed.{stop}",
            undecided="Missing sparks in {turns} turns: {total}, about what is allowed; counted again.",
        ),
        values={
            "total": f"{total:.0f}",
            "turns": f"{turns.number:.0f}",
            "share": ck.show(share, "%", uncertainty=False),
            "ruins": (
                " So much unburned fuel overheats the catalyst: off the throttle, and not driven on with it."
                if share.number - 2 * share.u > RUINS
                else ""
            ),
            "stop": (
                " Do not drive on: the exhaust can overheat." if share.number - 2 * share.u > RUINS else ""
            ),
            "pattern": _pattern(counts, total, int(number.number), how, bool(coils_of(pairs)))
            + _on_one_bank(counts, total, int(number.number), heads)
            + (_on_one_coil(case, counts, turns, pairs) if how is Kind.WASTED else ""),
        },
    )


def _on_one_coil(case: ck.Case, counts: list[ck.Reading], turns: ck.Reading, pairs: CoilPairs | None) -> str:
    """What cylinders on one coil say of it: both of them point to it, and one that fires well clears it."""
    sides = {reading.place: _side_of(case, reading, turns) for reading in counts}
    found = ck.shared_causes(
        coils_of(pairs),
        bad=[place for place, side in sides.items() if side is ck.Side.ABOVE],
        sound=[place for place, side in sides.items() if side is ck.Side.INSIDE],
    )
    words = [
        f" {' and '.join(places).capitalize()} share a coil: that coil, its supply or its leads come first."
        for places in found.in_question.values()
        if len(places) == 2
    ]
    words += [
        f" {places[0].capitalize()} fires well on the {name}, so that coil's primary side, its driver and its"
        " supply are hardly the cause."
        for name, places in found.excluded.items()
    ]
    return "".join(words)


def coils_of(pairs: CoilPairs | None) -> dict[str, tuple[str, ...]]:
    """The coil of two cylinders → these; nothing while it is not known which share one."""
    if pairs is None or pairs is CoilPairs.OTHER:
        return {}
    found = [pair.split(" with ") for pair in pairs.value.split(", ")]
    return {
        f"coil of cylinders {one} and {two}": (f"cylinder {one}", f"cylinder {two}") for one, two in found
    }


def _side_of(case: ck.Case, count: ck.Reading, turns: ck.Reading) -> ck.Side:
    """Where the share of one cylinder's own firings that failed lies; chance counts as in the whole."""
    chance = {f"ignition.misfires.chance.{count.place}": math.sqrt(max(count.number, 1.0))}
    counted = ck.Value(
        count.value.kind, max(0.0, count.number), {**count.value.budget, **chance}, count.value.rests_on
    )
    return case.side(
        misfire_share(counted, turns, ck.exact("count", 1.0)), case.system.limits["ignition.misfires"]
    )


def _where(
    case: ck.Case,
    share: ck.Value,
    counts: list[ck.Reading],
    total: float,
    number: int,
    how: Kind | None,
    pairs: CoilPairs | None,
    heads: Banks | None,
) -> str:
    """On which cylinders: one, two of one coil, one bank, some, all, or none seen; nothing where some were
    not recorded.
    """
    if len(counts) < number or number < 2:
        return ""
    if case.side(share, case.system.limits["ignition.misfires"]) is ck.Side.INSIDE:
        return "none seen"
    worst = max(reading.number for reading in counts)
    if worst >= ONE * total:
        return "one"
    if _alike(counts, total, number):
        return "all"
    many = set(_many(counts, total, number))
    if how is Kind.WASTED and many in [set(places) for places in coils_of(pairs).values()]:
        return "two on one coil"
    return "one bank" if many in banks_of(heads, number) else "several"


def banks_of(heads: Banks | None, number: int) -> list[set[str]]:
    """The cylinders of each bank; nothing where there is one bank, or nobody knows."""
    if heads not in (Banks.HALVES, Banks.ODD) or number < 4 or number % 2:
        return []
    first = range(1, number // 2 + 1) if heads is Banks.HALVES else range(1, number, 2)
    one = {f"cylinder {n}" for n in first}
    return [one, {f"cylinder {n}" for n in range(1, number + 1)} - one]


def _on_one_bank(counts: list[ck.Reading], total: float, number: int, heads: Banks | None) -> str:
    if len(counts) < number or set(_many(counts, total, number)) not in banks_of(heads, number):
        return ""
    return (
        " They are all the cylinders of one bank and no other: its ground, its fuse, its camshaft, air or"
        " fuel of that"
        " side come first."
    )


def _many(counts: list[ck.Reading], total: float, number: int) -> list[str]:
    """The cylinders that misfire plainly more than an even share, or than a tenth."""
    worst = max(reading.number for reading in counts)
    several = SEVERAL * total if worst > SEVERAL * total else total / number
    return [reading.place for reading in counts if reading.number > several]


def _alike(counts: list[ck.Reading], total: float, number: int) -> bool:
    """Whether they lie on all cylinders alike.

    From seven cylinders on an even share lies so close to a tenth, or below it, that a tenth tells nothing.
    """
    even = total / number
    least = min(SEVERAL * total, even / AS_MUCH)
    return max(reading.number for reading in counts) <= AS_MUCH * even and all(
        reading.number > least for reading in counts
    )


def _pattern(counts: list[ck.Reading], total: float, number: int, how: Kind | None, pairs_known: bool) -> str:
    if total <= 0:
        return ""
    worst = max(counts, key=lambda reading: reading.number)
    if len(counts) < number:
        return f"Only {len(counts)} of {number} cylinders were recorded, so the pattern is open."
    if worst.number >= ONE * total and number > 1:
        own = {
            Kind.OWN_COIL: "its coil, plug",
            Kind.WASTED: "its lead, plug",
            Kind.DISTRIBUTOR: "its lead, plug, its tower in the cap",
        }
        parts = own.get(how, "its plug, lead or coil") if how is not None else "its plug, lead or coil"
        return (
            f"Nearly all are on {worst.place}. Usual causes belong to that cylinder alone: {parts},"
            " injector,"
            " compression. Swapping parts with another cylinder tells them apart."
        )
    if _alike(counts, total, number):
        return (
            "They are spread over all cylinders alike. Usual causes are what all share: plugs worn alike, the"
            " coil supply, then fuel, air and timing."
        )
    many = _many(counts, total, number)
    pair = (
        " Two cylinders on one coil point to that coil, its supply or its leads."
        if how is Kind.WASTED and len(many) == 2 and not pairs_known
        else ""
    )
    return f"They are mainly on {', '.join(many)}.{pair} Look at what these share."
