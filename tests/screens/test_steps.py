"""The list of steps says what is done of each."""

from __future__ import annotations

from corekit.screens.done import done_steps
from corekit.visit.progress import Step

from .pages import Visit


def test_a_step_says_what_is_on_record_of_it(visit: Visit) -> None:
    assert done_steps(visit.job) == {Step.ARRIVE: ""}
    visit.rows(step=[{"seen": [{"of": "clutch.fluid", "is": "clear"}]}])
    visit.rows(step=[{"readings": [{"of": "clutch.sink", "is": "12 mm"}]}])
    assert done_steps(visit.job)[Step.TEST] == "2 things read or looked at"
    assert "2 things read or looked at" in visit.get("way").text
    assert Step.REPAIR not in done_steps(visit.job)
