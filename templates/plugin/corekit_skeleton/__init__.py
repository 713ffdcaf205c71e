"""Skeleton: does it get the voltage it needs, and does it work with it?"""

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

system = ck.System("skeleton", "Skeleton", api="1.0")

weak = system.symptom(
    "weak",
    "Skeleton works weakly or not at all",
    group="running",
    none=0.001,
    why="something that is expected of it and that it was not made for",
    outside=0.002,
)


class Working(Enum):
    WELL = "works as it should"
    WEAKLY = "works weakly"
    DEAD = "does not work"


HAZARD = "Keep hands, hair and leads clear of whatever turns or gets hot."

connector = system.part("connector", "Connector")
device = system.part("device", "Skeleton")

supply = system.measurand(
    "supply_voltage",
    "V",
    "Voltage at the battery, switched on",
    possible=(0, 32),
    usual=(11, 15),
    accuracy="0.5 % + 0.02 V",
    where="Probes on both posts of the battery.",
    how="Switched on for ten seconds.",
    hazard=HAZARD,
    tells="the voltage at the battery",
)
arriving = system.measurand(
    "arriving_voltage",
    "V",
    "Voltage at the connector, switched on",
    possible=(0, 32),
    usual=(0, 15),
    accuracy="0.5 % + 0.02 V",
    part=connector,
    where="Probes on both pins from behind, connector plugged in.",
    how="Switched on for ten seconds.",
    hazard=HAZARD,
    tells="the voltage that arrives",
)
working = system.observation(
    "working",
    "How it works",
    Working,
    how="Switch it on and wait ten seconds.",
    tells="how it works",
    tells_each={
        Working.WELL: "It works as it should.",
        Working.WEAKLY: "It works, but weakly.",
        Working.DEAD: "It does not work.",
    },
)

clean = system.operation(
    "clean_connector",
    "Clean the connector",
    shown_by=arriving,
    way="cleaned",
    hazard=HAZARD,
    tells="The connection is cleaned, so that the voltage arrives again.",
)
renew = system.operation(
    "replace_device",
    "Replace the skeleton",
    shown_by=arriving,
    replaces=device,
    hazard=HAZARD,
    tells="It is replaced by a new one.",
)


@system.calculation(source="voltages-add-up")
def voltage_lost(
    supply: Annotated[float, ck.Input("V", "Voltage at the battery", 0, 32)],
    arriving: Annotated[float, ck.Input("V", "Voltage at the connector", 0, 32)],
) -> Annotated[float, ck.Output("V", "Voltage lost on the way")]:
    """What wires and connections take of the voltage.

    >>> voltage_lost.si(12.5, 12.0)
    0.5
    """
    return supply - arriving


LOST = ck.Says(
    passes="{value} lost between battery and connector; {limit} is allowed.",
    fails="{value} lost between battery and connector; {limit} is allowed. Look for a poor connection.",
    undecided="{value} lost between battery and connector: too close to the limit to call, {limit}.",
)
LOST_PLAIN = ck.Tells(
    passes="The voltage arrives almost whole.",
    fails="Too much of the voltage is lost on the way.",
    undecided="About as much of the voltage is lost on the way as is allowed at most.",
)


@system.check("Voltage on the way", worse_with=[supply], better_with=[arriving])
def way(
    case: ck.Case,
    at_battery: Annotated[ck.Reading, supply],
    at_connector: Annotated[ck.Reading, arriving],
) -> Iterator[ck.Finding | ck.Gap]:
    claim = ck.Claim("skeleton.lost", of=arriving, unit="V", calls_for=clean, next_test=arriving)
    lost = voltage_lost(at_battery, at_connector)
    yield case.judge(lost, case.limit("skeleton.lost"), claim, LOST, LOST_PLAIN)


@system.check("Working with full voltage")
def with_full_voltage(
    case: ck.Case,
    seen: Annotated[Working, working],
    at_battery: Annotated[ck.Reading, supply],
    at_connector: Annotated[ck.Reading, arriving],
) -> Iterator[ck.Finding | ck.Gap]:
    claim = ck.Claim(
        "skeleton.working", calls_for=renew, evidence=[at_battery, at_connector], grade="does not work"
    )
    lost = case.side(voltage_lost(at_battery, at_connector), case.limit("skeleton.lost"))
    if lost is not ck.Side.INSIDE:
        yield case.inconclusive(
            ck.Claim("skeleton.working", evidence=[at_battery, at_connector], next_test=arriving),
            "Whether it works with full voltage is not known: too little may arrive.",
            tells="Too little voltage may arrive, so nothing is said about the part itself.",
        )
    elif seen is Working.WELL:
        yield case.visual(
            working,
            ck.Claim("skeleton.working", evidence=[at_battery, at_connector], grade="works"),
            "It works as it should with full voltage.",
            passes=True,
            tells="It gets its voltage and works.",
        )
    else:
        yield case.visual(
            working,
            claim,
            "Full voltage arrives, and it does not work as it should.",
            passes=False,
            tells="It gets its voltage, and does not work as it should.",
        )


@ck.hookimpl
def corekit_system() -> ck.System:
    return system
