"""A reading carries what had been tried before it; a value formed of two readings is compared itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import pytest

import corekit as ck
from corekit.assess.comparison import Change
from corekit.model.limit import Limit
from corekit.model.source import Basis, Source, Status
from corekit.plugin.host import Plugins

from .story import Story

pump = ck.System("pump", "Pump")
pump.part("seal", "Seal")
pump.part("inlet", "Inlet")
at_rest = pump.measurand(
    "rest", "bar abs", "Pressure at rest", possible=(0, 10), usual=(0.9, 1.1), accuracy="0.01 bar"
)
running = pump.measurand(
    "running", "bar abs", "Pressure while running", possible=(0, 10), usual=(1, 5), accuracy="0.01 bar"
)
renew = pump.operation("renew", "Renew the seal", replaces=pump.parts["pump.seal"], shown_by=running)

LEAST = Limit(
    key="pump.rise",
    source=Source(key="s", title="An invented sheet", basis=Basis.HANDBOOK, status=Status.READ),
    low=ck.exact("pressure difference", 100_000.0),
    why="invented",
)


@pump.check("Rise of the pressure")
def rise(
    case: ck.Case, rest: Annotated[ck.Reading, at_rest], now: Annotated[ck.Reading, running]
) -> Iterator[ck.Finding | ck.Gap]:
    yield case.judge(
        now.value - rest.value,
        LEAST,
        ck.Claim("pump.rise", of=running, unit="bar diff", evidence=[rest, now]),
        ck.Says(passes="It rises.", fails="It hardly rises.", undecided="Too close to call."),
    )


PLUGINS = Plugins(systems={"pump": pump})


def read(rest: str, now: str, story: Story) -> Story:
    return story.read("pump.rest", rest).read("pump.running", now)


@pytest.mark.parametrize(
    ("first", "last", "change"),
    [
        # at least 1 bar of rise is asked for; the meter is good to 0.01 bar
        (("1.00 bar abs", "1.20 bar abs"), ("1.00 bar abs", "3.00 bar abs"), Change.IMPROVED),
        (("1.00 bar abs", "3.00 bar abs"), ("1.00 bar abs", "1.20 bar abs"), Change.WORSE),
        # the reading itself is the same; what it rose from is not
        (("2.80 bar abs", "3.00 bar abs"), ("1.00 bar abs", "3.00 bar abs"), Change.IMPROVED),
        # the reading itself has changed; the rise, which is what is judged, has not
        (("1.00 bar abs", "1.50 bar abs"), ("2.50 bar abs", "3.00 bar abs"), Change.UNCHANGED),
    ],
)
def test_what_a_check_formed_of_two_readings_is_compared_before_and_after(
    first: tuple[str, str], last: tuple[str, str], change: Change
) -> None:
    story = read(*last, read(*first, Story(plugins=PLUGINS)).repair("pump.renew"))
    found = {one.after.measurand.key: one.change for one in story.assessment.comparisons}
    assert found["pump.running"] is change


def test_a_reading_knows_what_had_been_tried_on_its_system_when_it_was_taken() -> None:
    story = Story(plugins=PLUGINS).try_out("pump.seal", "renewed", "stayed", before=True)
    story.read("pump.rest", "1.00 bar abs").try_out("pump.inlet", "cleaned", "stayed")
    story.read("pump.running", "1.20 bar abs").repair("pump.renew").read("pump.rest", "1.00 bar abs")
    tried = {
        (stage, one.measurand.key): [trial.part for trial in one.trials]
        for stage, readings in enumerate(story.assessment.readings)
        for one in readings
    }
    assert tried == {
        (0, "pump.rest"): [],  # what was tried before this job is no trial within it
        (0, "pump.running"): ["pump.inlet"],
        (1, "pump.rest"): ["pump.inlet"],
    }
