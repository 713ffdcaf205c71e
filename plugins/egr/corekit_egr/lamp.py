"""What manufacturers' own trouble codes mean, told by whoever looked them up; and whether the monitor has run
since the codes were cleared, without which a lamp says nothing of a repair.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

from .declarations import egr, sensing_hoses, sensor_supply, signal_zero
from .observations import Seen, said


class MakerFlow(Enum):
    LITTLE = "too little flow"
    MUCH = "too much flow"
    NOT = "not of that"


class MakerSignal(Enum):
    HIGH = "sensor voltage too high"
    LOW = "sensor voltage too low"
    NOT = "not of that"


class MakerHose(Enum):
    UPSTREAM = "upstream hose off or plugged"
    DOWNSTREAM = "downstream hose off or plugged"
    NOT = "not of that"


class Monitor(Enum):
    PASSED = "has run since clearing, and passed"
    FAILED = "has run since clearing, and failed"
    NOT_RUN = "has not run since clearing"
    NOT_CLEARED = "codes not cleared since the repair"


class MonitorResult(Enum):
    PASSES = "passes"
    NEAR = "passes close to a limit"
    FAILS = "fails"
    NOT_REACHED = "not reached"


_HOW = "What this maker's description says of the code; a code of the public list is not told here again."
maker_flow = egr.observation(
    "maker_flow",
    "What a manufacturer's own code says of the flow",
    MakerFlow,
    how=_HOW,
    tells_each={
        MakerFlow.LITTLE: "The vehicle reports too little exhaust flow; why is not said by that.",
        MakerFlow.MUCH: "The vehicle reports too much exhaust flow; why is not said by that.",
        MakerFlow.NOT: "No further message speaks of exhaust flow.",
    },
)
maker_signal = egr.observation(
    "maker_signal",
    "What a manufacturer's own code says of the sensor",
    MakerSignal,
    how=_HOW,
    tells_each={
        MakerSignal.HIGH: "The car reports that the sensor shows too much.",
        MakerSignal.LOW: "The car reports that the sensor shows too little.",
        MakerSignal.NOT: "No message speaks of the sensor itself.",
    },
)
maker_hose = egr.observation(
    "maker_hose",
    "What a manufacturer's own code says of a hose",
    MakerHose,
    how=_HOW,
    tells_each={
        MakerHose.UPSTREAM: "The vehicle reports a hose of the exhaust flow sensor.",
        MakerHose.DOWNSTREAM: "The vehicle reports a hose of the exhaust flow sensor.",
        MakerHose.NOT: "No message speaks of a sensor hose.",
    },
)
monitor = egr.observation(
    "monitor",
    "EGR monitor since the codes were cleared",
    Monitor,
    how="Scan tool, readiness. Note codes and stored values before anything is cleared.",
    tells="The car's own test of the exhaust return",
    tells_each={
        Monitor.PASSED: "The car has tested its exhaust return itself and found it in order.",
        Monitor.FAILED: "The car has tested its exhaust return itself and still reports a fault.",
        Monitor.NOT_RUN: "The car has not tested itself yet; it does so on the next drives.",
        Monitor.NOT_CLEARED: "The old message was not erased yet, so the lamp says nothing of the repair.",
    },
)

monitor_result = egr.observation(  # source: test-results
    "monitor_result",
    "Test results of the EGR monitor",
    MonitorResult,
    how=(
        "Scan tool, test results of monitored systems (service $06), the EGR monitor's lines: each value"
        " against its own limits; all zeros, or none since clearing: not reached."
    ),
    tells="What the car's own test of the exhaust return showed last",
    tells_each={
        MonitorResult.PASSES: "The car's own last test found its exhaust return in order.",
        MonitorResult.NEAR: "The car's own last test found its exhaust return just within its limits.",
        MonitorResult.FAILS: "The car's own last test found a fault of its exhaust return.",
        MonitorResult.NOT_REACHED: "The car has not tested its exhaust return lately.",
    },
)

_RESULT: dict[Enum, Seen] = {
    MonitorResult.PASSES: Seen(
        True,
        "The EGR monitor's last test results lie plainly within their limits: at that time exhaust flowed as"
        " it should.",
    ),
    MonitorResult.NEAR: Seen(
        True,
        "The EGR monitor's last test results lie just within a limit.",
    ),
    MonitorResult.FAILS: Seen(
        False,
        "The EGR monitor's last test results lie outside a limit: the fault is there. They name no part.",
    ),
}
_FLOW: dict[Enum, Seen] = {
    MakerFlow.LITTLE: Seen(
        False,
        "A manufacturer's own code reports too little EGR flow. It names no part.",
    ),
    MakerFlow.MUCH: Seen(
        False,
        "A manufacturer's own code reports too much EGR flow, or flow when none was asked for. It names no"
        " part.",
    ),
    MakerFlow.NOT: Seen(
        True,
        "No code of the manufacturer's own speaks of EGR flow.",
    ),
}
_HOSE: dict[Enum, Seen] = {
    MakerHose.UPSTREAM: Seen(
        False,
        "A manufacturer's own code reports the sensor's upstream hose as off or plugged. Look at it before"
        " the"
        " sensor.",
    ),
    MakerHose.DOWNSTREAM: Seen(
        False,
        "A manufacturer's own code reports the sensor's downstream hose as off or plugged. Look at it before"
        " the sensor.",
    ),
    MakerHose.NOT: Seen(
        True,
        "No code of the manufacturer's own speaks of a sensor hose.",
    ),
}


@egr.check("Manufacturer's own code: flow")
def flow_reported(case: ck.Case, seen: Annotated[MakerFlow, maker_flow]) -> Iterator[ck.Finding | ck.Gap]:
    """By its meaning, as a code of the public list would count."""
    yield _code_finding(case, maker_flow, "egr.maker_flow", seen, _FLOW)


@egr.check("Manufacturer's own code: sensor hose")
def hose_reported(case: ck.Case, seen: Annotated[MakerHose, maker_hose]) -> Iterator[ck.Finding | ck.Gap]:
    """A hose is looked at in a minute."""
    yield _code_finding(case, maker_hose, "egr.maker_hose", seen, _HOSE, sensing_hoses)


def _code_finding(
    case: ck.Case,
    of: ck.Observation,
    code: str,
    seen: Enum,
    words: dict[Enum, Seen],
    then: ck.Observation | None = None,
) -> ck.Finding:
    """A code starts the search and is never a verdict on anything."""
    if words[seen].passes:
        return said(case, of, code, seen, words)
    return case.inconclusive(
        ck.Claim(code, evidence=case.noted(of), next_test=then),
        words[seen].says,
        tells=of.told(seen.value),
    )


@egr.check("Manufacturer's own code: sensor voltage")
def signal_reported(
    case: ck.Case,
    seen: Annotated[MakerSignal, maker_signal],
    rest: Annotated[ck.Reading | None, signal_zero],
    supply: Annotated[ck.Reading | None, sensor_supply],
) -> Iterator[ck.Finding | ck.Gap]:
    """An electrical code asks for voltages, plugged in, before anything is renewed."""
    if seen is MakerSignal.NOT:
        yield case.visual(
            maker_signal,
            ck.Claim("egr.maker_signal"),
            "No code of the manufacturer's own speaks of the sensor's voltage.",
            passes=True,
            tells="No message speaks of the sensor itself.",
        )
        return
    high = seen is MakerSignal.HIGH
    yield case.inconclusive(
        ck.Claim("egr.maker_signal", evidence=case.noted(maker_signal), next_test=signal_zero),
        (
            "A manufacturer's own code reports a sensor voltage that is too {which}. {first} Supply, ground"
            " and signal,"
            " plugged in, before another sensor."
        ),
        tells="The vehicle reports an electrical fault at the sensor or its wiring.",
        values={
            "which": "high" if high else "low",
            "first": (
                "An open sensor ground does that, or a signal wire that touches its supply."
                if high
                else "No supply does that, or a signal wire that is open or touches ground."
            ),
        },
    )
    if supply is None:
        yield case.gap(sensor_supply, "EGR sensor supply voltage: not measured, and the code is electrical.")
    if rest is None:
        yield case.gap(signal_zero, "Sensor signal at the plug: not measured, and the code is electrical.")


_MONITOR: dict[Enum, tuple[str, ck.Urgency]] = {
    Monitor.PASSED: (
        "Since the codes were cleared the EGR monitor has run and passed.",
        ck.Urgency.NOTHING,
    ),
    Monitor.FAILED: (
        "Since the codes were cleared the EGR monitor has run and failed: the fault is still there.",
        ck.Urgency.THIS_VISIT,
    ),
    Monitor.NOT_RUN: (
        "Since the codes were cleared the EGR monitor has not run: let it run, over two trips, before"
        " the repair"
        " is judged.",
        ck.Urgency.PLAN_IT,
    ),
    Monitor.NOT_CLEARED: (
        "The codes were not cleared since the repair, so that they are still stored says nothing: note them,"
        " clear them and let the EGR monitor run before the repair is judged.",
        ck.Urgency.THIS_VISIT,
    ),
}


@egr.check("EGR monitor")
def monitor_read(case: ck.Case, seen: Annotated[Monitor, monitor]) -> Iterator[ck.Finding | ck.Gap]:
    """A code that was never cleared is no evidence that a repair failed, and none that it worked."""
    says, urgency = _MONITOR[seen]
    yield case.advise(
        ck.Claim("egr.monitor", evidence=case.noted(monitor), urgency=urgency),
        says,
        tells=monitor.told(seen.value),
    )


@egr.check("EGR monitor's test results")
def monitor_result_read(
    case: ck.Case, seen: Annotated[MonitorResult, monitor_result]
) -> Iterator[ck.Finding | ck.Gap]:
    """What the vehicle itself made of the flow the last time that it tried, later than a stored code."""
    if seen is MonitorResult.NOT_REACHED:
        yield case.gap(monitor_result, f"{monitor_result.title}: none there, so they say nothing.")
        return
    yield said(case, monitor_result, "egr.monitor_result", seen, _RESULT)
