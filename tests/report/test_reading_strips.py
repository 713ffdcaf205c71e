"""The scale of a limit strip ends where the quantity does."""

from __future__ import annotations

import pytest

import corekit as ck
from corekit.model.limit import Limit
from corekit.model.source import Basis, Source, Status
from corekit.plugin.host import Plugins
from corekit.plugin.system import System
from corekit.report.readings import reading_rows, strip_of

from ..assess.story import Story

tank = System("tank", "Tank")
level = tank.measurand("level", "%", "Level", possible=(0, 110), usual=(0, 100), accuracy="4 points")
head = tank.measurand("head", "mm", "Head", possible=(0, 200), usual=(0, 200), accuracy="4 mm")
SOURCE = Source(key="s", title="An invented sheet", basis=Basis.HANDBOOK, status=Status.READ)


def scale(of: str, typed: str, low: float) -> tuple[float, float]:
    """Both ends of the strip of one reading held against a lower end, in the unit it is printed in."""
    assessment = Story(plugins=Plugins(systems={"tank": tank})).read(of, typed).assessment
    ((reading,),) = assessment.readings
    limit = Limit(key="l", source=SOURCE, why="exact", low=ck.exact(reading.value.kind, low))
    strip = strip_of(reading.measurand, reading, None, limit)
    assert reading_rows(assessment)[0].strip is None, "nothing judged it, so paper shows no strip of it"
    return strip.low_end, strip.high_end


@pytest.mark.parametrize("typed", ["97 %", "100 %"])
def test_a_scale_in_percent_ends_at_the_whole_although_the_reading_s_uncertainty_goes_on(typed: str) -> None:
    assert scale("tank.level", typed, 0.90)[1] == 100.0


def test_a_reading_beyond_the_whole_is_shown_where_it_lies() -> None:
    assert scale("tank.level", "101 %", 0.90)[1] > 101.0


def test_a_scale_in_another_unit_goes_beyond_100() -> None:
    assert scale("tank.head", "97 mm", 0.090)[1] > 100.0
