"""What a second supply, a battery known to be good, and a hand at the crank pulley show."""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .cautions import CLAMPS, DAMAGED, MEMORY, MOVING, SHORT, SPARK
from .declarations import (
    battery,
    cranking_voltage,
    open_circuit_voltage,
    replace,
    starter_battery,
    starter_current,
)
from .starting_declarations import CRANKING, TRAINED, control_voltage, engine


class ByHand(Enum):
    TURNS = "turns as usual"
    HARD = "hard to turn"
    STUCK = "does not turn"


class Booster(Enum):
    WELL = "cranks well"
    BETTER = "cranks better"
    AS_BEFORE = "as before"


class Loan(Enum):
    NO_DIFFERENCE = "made no difference"
    BACK = "gone with it, back with the old one"
    FOR_GOOD = "gone, and not back with the old one"


engine_by_hand = battery.observation(
    "engine_by_hand",
    "Engine turned by hand",
    ByHand,
    part=engine,
    how=(
        "Key out of reach, neutral, parking brake on: a socket on the crank pulley's bolt, two turns in the"
        " direction of rotation. Hard: once more with the belt off. Plugs or glow plugs in: it springs back"
        " at each compression."
    ),
    hazard=f"Nobody turns the key meanwhile. {MOVING} {TRAINED}",
    tells="whether the engine turns freely by hand",
    tells_each={
        ByHand.TURNS: "The engine turns by hand as it should.",
        ByHand.HARD: "The engine is hard to turn by hand.",
        ByHand.STUCK: "The engine does not turn by hand.",
    },
)
booster_seen = battery.observation(
    "booster",
    "Cranking with a booster at the starter",
    Booster,
    how=(
        "Booster off, plus on the starter's stud, minus on bare metal of the engine; booster on, crank once"
        " for 5 s. It passes by the battery, its clamps, the cables and the ground strap."
    ),
    hazard=(
        f"{DAMAGED} {SPARK} {CLAMPS} The stud has no fuse: a slip of the clip welds. Where it cannot be"
        f" reached from above, leave it. {CRANKING} {MOVING}"
    ),
    tells="how the engine cranks with a second supply",
    tells_each={
        Booster.WELL: "With a second supply straight at the starter the engine cranks well.",
        Booster.BETTER: "With a second supply straight at the starter the engine cranks better.",
        Booster.AS_BEFORE: "With a second supply straight at the starter the engine cranks no better.",
    },
)
loan = battery.observation(
    "loan",
    "Battery on loan",
    Loan,
    part=starter_battery,
    how=(
        "The old one fully charged first. One of the same type and size that passed its own load test goes in"
        " for some days, then the old one back in, each time with the same use of the car."
    ),
    hazard=f"{MEMORY} {SHORT}",
    tells="whether the trouble goes with another battery",
    tells_each={
        Loan.NO_DIFFERENCE: "Another battery made no difference.",
        Loan.BACK: "With another battery the trouble was gone, and with the old one it came back.",
        Loan.FOR_GOOD: "The trouble was gone with another battery and stayed away with the old one.",
    },
)


@battery.check("Engine turned by hand")
def turned_by_hand(case: ck.Case, seen: Annotated[ByHand, engine_by_hand]) -> Iterator[ck.Finding | ck.Gap]:
    """What is hard to turn wears out a starter; what turns freely clears the engine and nothing else."""
    turns = seen is ByHand.TURNS
    yield case.advise(
        ck.Claim(
            "battery.engine_by_hand",
            evidence=case.noted(engine_by_hand),
            urgency=ck.Urgency.NOTHING if turns else ck.Urgency.BEFORE_DRIVING,
        ),
        {
            ByHand.TURNS: "The engine turns by hand: it is not what holds the starter.",
            ByHand.HARD: (
                "The engine is hard to turn by hand: belt off, and once more. Free without the belt means one"
                " of what it drives; hard without it means the engine. Do not crank on."
            ),
            ByHand.STUCK: (
                "The engine does not turn by hand. Do not crank or tow-start it: water or fuel in a cylinder"
                " bends a rod. Plugs or injectors out first, by an engine workshop."
            ),
        }[seen],
        tells={
            ByHand.TURNS: "The engine turns freely; it does not hold up the starter.",
            ByHand.HARD: (
                "The engine, or something that it drives, is hard to turn. Please do not try to start it."
            ),
            ByHand.STUCK: "The engine does not turn at all. Please do not try to start it.",
        }[seen],
    )


@battery.check("Cranking with a booster at the starter")
def cranked_with_booster(
    case: ck.Case, seen: Annotated[Booster, booster_seen]
) -> Iterator[ck.Finding | ck.Gap]:
    """It parts the supply from the starter; which piece of the supply it is has to be read."""
    as_before = seen is Booster.AS_BEFORE
    yield case.advise(
        ck.Claim(
            "battery.booster",
            evidence=case.noted(booster_seen),
            next_test=control_voltage if as_before else cranking_voltage,
        ),
        {
            Booster.WELL: (
                "With a booster from the starter's stud to engine metal it cranks well: starter and engine"
                " are able to; what it passes by (battery, clamps, cables, ground) is not."
            ),
            Booster.BETTER: (
                "With a booster from the starter's stud to engine metal it cranks better, not well: the clips"
                " may hold it back. Read the current."
            ),
            Booster.AS_BEFORE: (
                "With a booster from the starter's stud to engine metal it cranks as before: start command,"
                " starter or engine, unless the clips made no contact. Read the control terminal."
            ),
        }[seen],
        tells={
            Booster.WELL: "With a second supply straight at the starter the engine cranks well.",
            Booster.BETTER: (
                "With a second supply straight at the starter the engine cranks better, but not well."
            ),
            Booster.AS_BEFORE: "A second supply straight at the starter makes no difference.",
        }[seen],
    )


@battery.check("Battery on loan")
def with_a_loan(case: ck.Case, seen: Annotated[Loan, loan]) -> Iterator[ck.Finding | ck.Gap]:
    """Only the complaint that comes back with the old one speaks against it."""
    back = seen is Loan.BACK
    work = replace if back else None
    following = {Loan.NO_DIFFERENCE: starter_current, Loan.FOR_GOOD: open_circuit_voltage}.get(seen)
    yield case.advise(
        ck.Claim(
            "battery.loan",
            evidence=case.noted(loan),
            calls_for=work,
            urgency=ck.Urgency.THIS_VISIT if back else ck.Urgency.NOTHING,
            next_test=following,
        ),
        {
            Loan.NO_DIFFERENCE: (
                "With a battery known to be good it was as before: the battery is not the cause."
            ),
            Loan.BACK: (
                "With a battery known to be good the complaint was gone, and with the old one, charged"
                " before, it came back: it goes with the battery."
            ),
            Loan.FOR_GOOD: (
                "With a battery known to be good the complaint was gone, and with the old one back in it did"
                " not return: the charge, or the clamps that were undone and tightened, made the difference."
            ),
        }[seen],
        tells={
            Loan.NO_DIFFERENCE: "Another battery made no difference, so yours is not the cause.",
            Loan.BACK: "With another battery the trouble was gone; with yours it came back.",
            Loan.FOR_GOOD: (
                "The trouble stayed away with your own battery once it was charged and its connections"
                " were tight."
            ),
        }[seen],
    )
