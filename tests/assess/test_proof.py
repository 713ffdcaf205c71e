"""What a reading after the work says of the work."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import pytest

import corekit as ck
from corekit.assess.proof import Proof
from corekit.plugin.host import Plugins

from .story import Story

door = ck.System("door", "Door")
gap, seal = (
    door.measurand(key, "mm", title, possible=(0, 100), usual=(0, 20), accuracy="0.1 mm")
    for key, title in (("gap", "Gap"), ("seal", "Gap that the seal closes"))
)
adjust = door.operation("adjust", "Adjust the hinges", shown_by=gap)
SAYS = ck.Says(passes="{value}.", fails="{value}, allowed {limit}.", undecided="{value}, too near {limit}.")


@door.check("Gap")
def of_gap(case: ck.Case, read: Annotated[ck.Reading, gap]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.judge(read, case.limit(gap), ck.Claim("door.gap", calls_for=adjust), SAYS)


@door.check("Seal")
def of_seal(case: ck.Case, read: Annotated[ck.Reading, gap]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.judge(read, case.limit(seal), ck.Claim("door.seal"), SAYS)


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        # More than the hinges may leave calls for the work; what the seal closes calls for none of it.
        ("9.0 mm", "4.0 mm", Proof.SHOWN),
        ("9.0 mm", "1.0 mm", Proof.SHOWN),
        ("9.0 mm", "8.0 mm", Proof.NOT_YET),
        # Nothing called for the work, so all that speaks of the gap counts, and the worst of it.
        ("4.0 mm", "4.0 mm", Proof.NOT_YET),
        ("1.0 mm", "1.0 mm", Proof.SHOWN),
    ],
)
def test_of_several_checks_of_one_reading_those_that_called_for_the_work_speak_of_it(
    before: str, after: str, expected: Proof
) -> None:
    story = Story(plugins=Plugins(systems={"door": door}))
    story.specify("door.gap", high="5 mm").specify("door.seal", high="2 mm")
    story.read("door.gap", before).repair("door.adjust").read("door.gap", after)
    (shown,) = story.assessment.repairs
    assert shown.proof is expected
