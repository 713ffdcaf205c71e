"""What was plainly seen and felt: how the engine takes the opened valve, the valve's stem, hoses, carbon."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .declarations import (
    Deposits,
    Hoses,
    Reaction,
    Stem,
    VacuumHoses,
    Valve,
    clean,
    deposits,
    egr,
    hold_loss,
    reaction,
    replace_sensing_hoses,
    replace_vacuum_hose,
    replace_valve,
    sensing_hoses,
    stem,
    vacuum_hoses,
    valve_type,
)
from .observations import Raised, StemByHand, raised, stem_by_hand

AT_IDLE = (  # source: valve-by-hand
    "A back-pressure valve does not open at idle in any case, so this says nothing."
)


CLEAN_FIRST = "Carbon may be holding it: clean it first, then check again."
AFTER_CLEANING = "It was cleaned, so carbon is not what holds it any more."


#: What a stem that stands still says, by whether it was read how well the valve holds vacuum.
_STANDS_STILL = {
    False: (
        "With vacuum on the valve its stem does not move: carbon holds it, or its diaphragm leaks. See"
        " whether it holds vacuum, and press the stem by hand."
    ),
    True: (
        "With vacuum on the valve its stem does not move, and its diaphragm is not known to hold: one that"
        " leaks does not pull. Press the stem by hand."
    ),
}


def cleaned(case: ck.Case) -> bool:
    """Whether valve and passage were cleaned in this job before this was seen."""
    return clean.key in case.repairs


@egr.check("Engine reaction to opening the valve")
def engine_reacts(
    case: ck.Case,
    felt: Annotated[Reaction, reaction],
    seen: Annotated[Stem | None, stem],
    at_speed: Annotated[Raised | None, raised],
    valve: Annotated[Valve | None, valve_type],
) -> Iterator[ck.Finding | ck.Gap]:
    """An engine that stumbles has exhaust in it.

    One that does not says where only together with the valve's stem.
    """
    if felt is Reaction.SLIGHT:
        yield case.advise(
            ck.Claim("egr.reaction", evidence=case.noted(reaction), urgency=ck.Urgency.THIS_VISIT),
            (
                "With the valve opened by hand at idle the engine changes only slightly: some exhaust flows."
                " A passage that is partly blocked, or a valve that opens a little, does that."
            ),
            tells="When the valve is opened, a little exhaust gas flows back, less than usual.",
        )
    elif felt is not Reaction.NONE:
        yield case.visual(
            reaction,
            ck.Claim("egr.reaction"),
            (
                "With the valve opened by hand at idle the engine {how}: exhaust flows through valve and"
                " passage."
            ),
            passes=True,
            tells="When the valve is opened, exhaust gas flows back as it should.",
            values={"how": felt.value},
        )
    elif valve is Valve.BACK_PRESSURE:
        yield _at_speed_only(case, reaction, "egr.reaction", at_speed)
    elif seen is None:
        yield case.inconclusive(
            ck.Claim("egr.reaction", evidence=case.noted(reaction), next_test=stem),
            (
                "With the valve opened by hand at idle nothing changes. Either the valve does not move"
                " or nothing flows through: watch its stem."
            ),
            tells="When the valve is opened, nothing changes; why is not known yet.",
        )
    elif seen is Stem.MOVES:
        yield case.visual(
            reaction,
            ck.Claim("egr.reaction", calls_for=clean),
            (
                "The valve moves, yet the engine does not react: the passage behind it is blocked, by"
                " carbon or by something put there."
            ),
            passes=False,
            tells="The valve works, but the passage behind it is blocked.",
        )
    else:
        yield case.visual(
            reaction,
            ck.Claim("egr.reaction"),
            "With vacuum or command on the valve the engine does not react, and the valve {moves}.",
            passes=False,
            tells="The valve does not open as it should.",
            values={"moves": "does not move" if seen is Stem.STICKS else "moves only partly"},
        )


@egr.check("EGR valve stem")
def stem_moves(
    case: ck.Case,
    seen: Annotated[Stem, stem],
    at_speed: Annotated[Raised | None, raised],
    valve: Annotated[Valve | None, valve_type],
    loss: Annotated[ck.Reading | None, hold_loss],
    pressed: Annotated[StemByHand | None, stem_by_hand],
) -> Iterator[ck.Finding | ck.Gap]:
    """The direct look at the valve itself: it is cleaned before it is renewed. One that stands still is held
    by carbon only where its diaphragm is known to pull, or where it does not move by hand either.
    """
    moves = seen is Stem.MOVES
    if valve is Valve.BACK_PRESSURE and not moves:
        yield _at_speed_only(case, stem, "egr.stem", at_speed)
        return
    pulls = loss is not None and case.side(loss, case.limit(hold_loss)) is ck.Side.INSIDE
    held = pressed in (StemByHand.GRITTY, StemByHand.STICKS)
    if seen is Stem.STICKS and not (pulls or held or cleaned(case)):
        yield case.visual(
            stem,
            ck.Claim("egr.stem"),
            _STANDS_STILL[loss is not None],
            passes=False,
            tells="The valve does not move as it should.",
        )
        return
    yield case.visual(
        stem,
        ck.Claim("egr.stem", calls_for=replace_valve if cleaned(case) else clean),
        {
            Stem.MOVES: "The valve's stem moves.",
            Stem.PARTLY: "The valve's stem moves only partly. ",
            Stem.STICKS: "The valve's stem does not move. ",
        }[seen]
        + ("" if moves else AFTER_CLEANING if cleaned(case) else CLEAN_FIRST),
        passes=moves,
        tells="The valve moves freely." if moves else "The valve does not move as it should.",
    )


def _at_speed_only(
    case: ck.Case, of: ck.Observation, code: str, at_speed: Raised | None
) -> ck.Finding | ck.Gap:
    """What idle cannot show of a back-pressure valve, and what can; nothing more once that was tried."""
    if at_speed is not None:
        return case.does_not_apply(AT_IDLE)
    return case.inconclusive(
        ck.Claim(code, evidence=case.noted(of), next_test=raised),
        f"{AT_IDLE} Try it at about 2500 rpm.",
        tells="This valve can only be tried at higher engine speed.",
    )


_SENSING = {
    Hoses.SOUND: "The hoses of the pressure sensor are sound.",
    Hoses.CRACKED: (
        "A hose of the pressure sensor is cracked: the sensor reads the wrong pressure, and exhaust escapes"
        " there."
    ),
    Hoses.OFF: (
        "A hose of the pressure sensor is off: the sensor reads the wrong pressure, and exhaust escapes"
        " there."
    ),
    Hoses.LOOSE: (
        "A hose of the pressure sensor is loose or softened: it leaks or folds, and the sensor reads"
        " the wrong"
        " pressure."
    ),
    Hoses.SWAPPED: (
        "The two hoses of the pressure sensor are swapped: its signal falls where it should rise."
    ),
    Hoses.BLOCKED: (
        "A hose of the pressure sensor is blocked: its signal does not change, or lags far behind."
    ),
}


@egr.check("Pressure sensor hoses")
def sensing_hoses_looked_at(
    case: ck.Case, seen: Annotated[Hoses, sensing_hoses]
) -> Iterator[ck.Finding | ck.Gap]:
    """Before any sensor is blamed."""
    yield case.visual(
        sensing_hoses,
        ck.Claim("egr.sensing_hoses", calls_for=replace_sensing_hoses),
        _SENSING[seen],
        passes=seen is Hoses.SOUND,
        tells=(
            "The hoses of the exhaust flow sensor are sound."
            if seen is Hoses.SOUND
            else "The two hoses of the exhaust flow sensor are swapped."
            if seen is Hoses.SWAPPED
            else "A hose of the exhaust flow sensor is faulty, so it reads the wrong flow."
        ),
    )


_VACUUM = {
    VacuumHoses.SOUND: "The vacuum hoses are sound.",
    VacuumHoses.CRACKED: (
        "A vacuum hose is cracked: the valve gets too little vacuum, and the engine draws in unmetered air."
    ),
    VacuumHoses.OFF: (
        "A vacuum hose is off: the valve gets no vacuum, and the engine draws in unmetered air."
    ),
    VacuumHoses.CAP: (
        "A cap or plug of the vacuum circuit is loose or gone: vacuum is lost there, and the engine draws in"
        " unmetered air."
    ),
    VacuumHoses.BLOCKED: "A vacuum hose is blocked: the valve gets no vacuum.",
}


@egr.check("Vacuum hoses")
def vacuum_hoses_looked_at(
    case: ck.Case, seen: Annotated[VacuumHoses, vacuum_hoses]
) -> Iterator[ck.Finding | ck.Gap]:
    """From the source to the regulator and on to the valve."""
    yield case.visual(
        vacuum_hoses,
        ck.Claim("egr.vacuum_hoses", calls_for=replace_vacuum_hose),
        _VACUUM[seen],
        passes=seen is VacuumHoses.SOUND,
        tells=(
            "The vacuum hoses are sound."
            if seen is VacuumHoses.SOUND
            else "A vacuum connection is not closed as it should be."
            if seen is VacuumHoses.CAP
            else "A vacuum hose is faulty, so the valve does not get what moves it."
        ),
    )


_CARBON = {
    Deposits.CLEAN: "Valve and passage are clean.",
    Deposits.THIN: (
        "Valve and passage have light carbon deposits, which is usual and hardly reduces the flow."
    ),
    Deposits.CHOKED: "Valve or passage is choked with carbon.",
}


@egr.check("Carbon deposits in valve and passage")
def carbon(case: ck.Case, seen: Annotated[Deposits, deposits]) -> Iterator[ck.Finding | ck.Gap]:
    """A thin layer is no fault: a passage of twice the orifice's width loses half its width before a quarter
    of the flow is gone.
    """
    yield case.visual(
        deposits,
        ck.Claim("egr.carbon", calls_for=clean),
        _CARBON[seen],
        passes=seen is not Deposits.CHOKED,
        tells=(
            "The passage of the exhaust gas is choked with carbon."
            if seen is Deposits.CHOKED
            else "The passage of the exhaust gas is open."
        ),
    )
