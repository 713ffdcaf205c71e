"""Discharged is a state, and its cause is still to be named: charging alone is never the end."""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .answers import (
    BatteryType,
    Settles,
)
from .charge_history import charge_end, known_full_charge
from .charge_state import charge_of, judged_charge
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    case_seen,
    charging_voltage,
    drain,
    open_circuit_voltage,
    settles,
    sleep_time,
)
from .drain import Parked, parked, why_awake
from .starting_declarations import WentFlat, told


class DischargedBy(Enum):
    LEFT_ON = "something left on"
    STOOD = "standing or short trips"
    NOT_CHARGED = "not charged while driving"
    DRAWN = "drawn down while parked"
    NOT_HELD = "does not take or hold charge"


discharged_by = battery.observation(
    "discharged_by",
    "What discharged the battery",
    DischargedBy,
    how=(
        "Ask what was left on, how long it stood, how short the trips are; then the voltage with the engine"
        " running, the parasitic draw, and the voltage again a night after the charge."
    ),
    tells="what discharged the battery",
    tells_each={
        DischargedBy.LEFT_ON: "Something was left on and discharged the battery.",
        DischargedBy.STOOD: "Standing or short trips discharged the battery.",
        DischargedBy.NOT_CHARGED: "Driving did not charge the battery.",
        DischargedBy.DRAWN: "Something drew the battery down while the car was parked.",
        DischargedBy.NOT_HELD: "The battery did not take its charge, or did not hold it.",
    },
)
_CAUSES = {
    DischargedBy.LEFT_ON: (
        "It was discharged by something left on. Charge it soon and test it under load: each deep discharge"
        " takes some of its capacity."
    ),
    DischargedBy.STOOD: (
        "It was discharged by standing or short trips. Charge it; without longer trips or a charger now and"
        " then it will be discharged again."
    ),
    DischargedBy.NOT_CHARGED: (
        "It was discharged because driving does not charge it. Charging it is not the repair: the charging"
        " system is; measure it with the battery charged."
    ),
    DischargedBy.DRAWN: (
        "It was drawn down while parked. Charging it is not the repair: measure and trace the parasitic draw."
    ),
    DischargedBy.NOT_HELD: (
        "It does not take or hold its charge. Charging it again shows nothing new: read the current it takes,"
        " and its voltage after a night with the negative clamp off."
    ),
}
_CAUSES_PLAIN = {
    DischargedBy.LEFT_ON: "Something was left on and discharged the battery.",
    DischargedBy.STOOD: "Standing or short trips discharged the battery; the same driving will do it again.",
    DischargedBy.NOT_CHARGED: "Driving does not charge the battery; that is what has to be repaired.",
    DischargedBy.DRAWN: "Something draws the battery down while the car is parked; that has to be found.",
    DischargedBy.NOT_HELD: "The battery does not take or hold its charge; a test shows why.",
}


#: What the customer says that by itself explains a discharged battery, and what follows.
_TOLD = {
    WentFlat.LEFT_ON: DischargedBy.LEFT_ON,
    WentFlat.STOOD: DischargedBy.STOOD,
}
_ALL_THE_SAME = "{cause} That is what the customer says; if it is flat again without that, read {ask}."


def _shown_by(
    case: ck.Case, running: ck.Reading | None, drawn: ck.Reading | None, awake: str
) -> tuple[DischargedBy, ck.Reading] | None:
    """What a reading has shown to discharge it: no charge while driving, or a draw while parked."""
    if running is not None and not running.disagrees:
        least = case.limit("battery.charging_voltage_managed")
        if case.side(running, least) is ck.Side.BELOW:
            return DischargedBy.NOT_CHARGED, running
    read_asleep = drawn if drawn is not None and not drawn.disagrees and not awake else None
    if read_asleep is not None and case.side(read_asleep, case.limit(drain)) is ck.Side.ABOVE:
        return DischargedBy.DRAWN, read_asleep
    return None


@battery.check("What discharged the battery")
def discharge_cause(
    case: ck.Case,
    *,
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    cause: Annotated[DischargedBy | None, discharged_by],
    kind: Annotated[BatteryType | None, battery_type],
    running: Annotated[ck.Reading | None, charging_voltage],
    drawn: Annotated[ck.Reading | None, drain],
    says: Annotated[WentFlat | None, told],
    waited: Annotated[ck.Reading | None, sleep_time],
    still: Annotated[Settles | None, settles],
    stood: Annotated[Parked | None, parked],
) -> Iterator[ck.Finding | ck.Gap]:
    """Asked as soon as the battery is plainly discharged, unless a reading or the customer has said it; what
    is left to read for it is named.
    """
    if cause is not None:
        yield case.advise(
            ck.Claim(
                "battery.discharge_cause",
                evidence=case.noted(discharged_by),
                urgency=ck.Urgency.PLAN_IT,
            ),
            _CAUSES[cause],
            tells=_CAUSES_PLAIN[cause],
        )
        return
    if rest is None or rest.disagrees or kind is BatteryType.LITHIUM:
        return
    if known_full_charge(case) is not None or case.seen(charge_end) is not None:
        return  # what comes of a charge, or of one that ended early, has its own finding
    found = charge_of(case, rest)
    if (judged_charge(case, rest, found).probability or 0.0) > 0.05:
        return
    shown = _shown_by(case, running, drawn, why_awake(waited, still, stood))
    if shown is not None and not barred(case):
        yield case.advise(
            ck.Claim("battery.discharge_cause", evidence=[rest, shown[1]], urgency=ck.Urgency.PLAN_IT),
            _CAUSES[shown[0]],
            tells=_CAUSES_PLAIN[shown[0]],
        )
        return
    running_and_drawn = [
        words
        for reading, words in (
            (running, "the voltage with the engine running against this one"),
            (drawn, "the parasitic draw"),
        )
        if reading is None
    ]
    if barred(case):
        running_and_drawn = []
    if says in _TOLD:
        yield case.advise(
            ck.Claim(
                "battery.discharge_cause", evidence=[rest, *case.noted(told)], urgency=ck.Urgency.PLAN_IT
            ),
            _ALL_THE_SAME if running_and_drawn else "{cause}",
            tells=_CAUSES_PLAIN[_TOLD[says]],
            values={"cause": _CAUSES[_TOLD[says]], "ask": " and ".join(running_and_drawn)},
        )
        return
    asked: ck.Measurand | ck.Observation = (
        told if says is None else charging_voltage if running is None else drain
    )
    if barred(
        case
    ):  # where only the frost is feared a look tells; else nothing is done before the danger is over
        asked = case_seen if case.seen(case_seen) is None else discharged_by
    elif not running_and_drawn:
        asked = discharged_by
    yield case.inconclusive(
        ck.Claim(
            "battery.discharge_cause",
            of=open_circuit_voltage,
            evidence=[rest],
            next_test=asked,
        ),
        (
            "Discharged is a state and no cause: what discharged it is still to be named. Something left on,"
            " standing or short trips, not charged while driving, drawn down while parked, or a battery that"
            " does not take or hold its charge.{ask}"
        ),
        rest,
        tells="The battery is discharged. What discharged it is still to be found; a charge is no repair.",
        values={"ask": f" Still to read: {' and '.join(running_and_drawn)}." if running_and_drawn else ""},
    )
