"""A check sees what was repaired, and how lately."""

from __future__ import annotations

from corekit.assess.stage import case_at

from .brakes import PLUGINS
from .story import Story


def test_a_case_names_each_operation_with_its_latest_stage_and_nothing_of_later_ones() -> None:
    brakes = PLUGINS.systems["brakes"]
    first, second = list(brakes.operations)[:2]
    job = Story().repair(first).repair(second).repair(first).job
    assert [dict(case_at(job, stage, brakes, PLUGINS).repairs) for stage in range(4)] == [
        {},
        {first: 1},
        {first: 1, second: 2},
        {first: 3, second: 2},
    ]
