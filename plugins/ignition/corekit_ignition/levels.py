"""A coil's supply that is not there at all, and one that is too high; and which ignitions this system
knows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import IN_SCOPE, Fitted, Kind
from .declarations import (
    ballast,
    ignition,
    kind,
    repair_supply,
    supply_cranking,
    supply_key_on,
    supply_running,
)
from .supply import battery_running

CLOSE = 1.0  # V: behind its ballast resistor a coil that draws current stays further below; source: ballast


@ignition.check("Coil supply there at all")
def there(
    case: ck.Case,
    *,
    key_on: Annotated[ck.Reading | None, supply_key_on],
    cranking: Annotated[ck.Reading | None, supply_cranking],
    running: Annotated[ck.Reading | None, supply_running],
) -> Iterator[ck.Finding | ck.Gap]:
    """None at all is no drop but an interruption: fuse, relay, switch or a broken wire.

    With the key on alone many control units switch the feed off again after a moment; cranking shows it.
    """
    limit = case.limit("ignition.supply_there")
    reading = cranking or running or key_on
    if reading is None:
        yield case.does_not_apply("The coil supply was not read; that is asked for under its voltage drop.")
        return
    side = case.side(reading, limit)
    words = {"read": ck.show(reading.value, "V", uncertainty=False)}
    if side is ck.Side.INSIDE:
        yield case.advise(
            ck.Claim("ignition.supply_there", evidence=[reading], urgency=ck.Urgency.NOTHING, grade="there"),
            "A supply arrives at the coil: {read}. Whether it holds under current is another question.",
            tells="The ignition coil is supplied.",
            values=words,
        )
    elif side is ck.Side.BELOW and reading is key_on:
        yield case.inconclusive(
            ck.Claim("ignition.supply_there", evidence=[reading], next_test=supply_cranking),
            (
                "With the key on {read} arrive at the coil: none. Many modules switch it on for a"
                " moment"
                " only until the engine turns: read it while cranking."
            ),
            tells="The ignition coil had no supply with the key on; it is read again while cranking.",
            values=words,
        )
    else:
        yield case.judge(
            reading,
            limit,
            ck.Claim(
                "ignition.supply_there",
                calls_for=repair_supply,
                next_test=supply_cranking,
                grade="none" if side is ck.Side.BELOW else "",
            ),
            ck.Says(
                passes="A supply arrives at the coil: {read}.",
                fails=(
                    "Only {read} arrive at the coil: its supply is interrupted. Fuse, relay and its"
                    " command, key"
                    " switch, connector, in this order; no coil is judged before."
                ),
                undecided="{read} at the coil: hardly a supply at all; read it again at the terminal itself.",
            ),
            ck.Tells(
                passes="The ignition coil is supplied.",
                fails="No voltage arrives at the ignition coil, so there can be no spark.",
                undecided="Hardly any voltage arrives at the ignition coil; it is read again.",
            ),
            values=words,
        )


@ignition.check("Coil supply too high")
def too_high(
    case: ck.Case,
    volts: Annotated[ck.Reading, supply_running],
    *,
    resistor: Annotated[Fitted | None, ballast],
    battery: Annotated[ck.Reading | None, battery_running],
) -> Iterator[ck.Finding | ck.Gap]:
    """More than a charging system gives burns coils and drivers; so does a ballast resistor that is
    bypassed."""
    limit = case.limit("ignition.supply_high")
    words = {"read": ck.show(volts.value, "V", uncertainty=False)}
    if case.side(volts, limit) is not ck.Side.INSIDE:
        yield case.judge(
            volts,
            limit,
            ck.Claim("ignition.supply_high", next_test=battery_running),
            ck.Says(
                passes="The coil gets {read}; {limit} is usual.",
                fails=(
                    "The coil gets {read}; {limit} is usual. Regulator and charging system first: coils"
                    " and drivers"
                    " burn at that, new ones too."
                ),
                undecided=(
                    "The coil gets {read}, close to the usual {limit}; read the battery's posts beside it."
                ),
            ),
            ck.Tells(
                passes="The ignition coil gets no more voltage than is usual.",
                fails=(
                    "The ignition coil gets too much voltage, which harms it; the charging system is"
                    " looked at first."
                ),
                undecided="The ignition coil gets about as much voltage as it bears; it is read again.",
            ),
            values=words,
        )
    else:
        yield case.does_not_apply("The coil gets no more than a charging system gives.")
    if resistor is Fitted.YES and battery is not None and (battery.value - volts.value).number < CLOSE:
        yield case.advise(
            ck.Claim("ignition.ballast_bypassed", evidence=[volts, battery], urgency=ck.Urgency.THIS_VISIT),
            (
                "With the engine running the coil gets {read}, as much as the battery: the ballast"
                " resistor does"
                " nothing. A bypass that stays on, or a wire past it, makes coil and points burn; a coil"
                " for use"
                " without resistor would be right like that."
            ),
            tells="The ignition coil gets more voltage than it is made for, and runs too hot.",
            values=words,
        )


@ignition.check("Kinds of ignition that this system knows")
def in_scope(case: ck.Case, how: Annotated[Kind, kind]) -> Iterator[ck.Finding | ck.Gap]:
    """A magneto and a capacitor make their spark otherwise: no figure here holds for them."""
    if how in IN_SCOPE:
        yield case.does_not_apply("A coil that the battery charges: the figures here are for it.")
        return
    yield case.advise(
        ck.Claim("ignition.out_of_scope", urgency=ck.Urgency.THIS_VISIT),
        (
            "This ignition is a {kind}. Its supply, charge and switching are out of this system's scope:"
            " no figure"
            " here holds for them. Plugs, leads, fuel and compression are looked at as ever; the rest goes"
            " to its"
            " own manual."
        ),
        tells="The ignition of this engine is of a kind that is not tested here.",
        values={"kind": how.value},
    )
