"""An answer that was renamed is known by the words that it had, in jobs of before and in rows."""

from __future__ import annotations

from enum import Enum
from typing import Any

import pytest

import corekit as ck
from corekit.assess.stage import case_at
from corekit.intake.declared import Declared
from corekit.intake.rows import read_rows
from corekit.plugin.host import load

from .story import Story

PLUGINS = load()
#: What was renamed: the words that stand in jobs of before, and those of today (CHANGELOG).
RENAMED = {
    "egr.sensing_hoses": ("off", "off its port"),
    "egr.vacuum_hoses": ("off", "off its port"),
    "egr.motor_current": ("none", "no current"),
    "egr.sensor": ("none", "no sensor"),
    "ignition.timing_marks": ("off", "mistimed"),
}


def _answers(key: str, words: str) -> list[str]:
    """What a check is given, where these words were noted."""
    story = Story(PLUGINS)
    story = story.fit(key, words) if key in PLUGINS.traits else story.see(key, words)
    case = case_at(story.job, 0, PLUGINS.systems[key.partition(".")[0]], PLUGINS)
    given = [*case.fitted.values(), *(one.answer for one in case.sightings.values())]
    return [str(one.value) for one in given if isinstance(one, Enum)]


@pytest.mark.parametrize("key", RENAMED)
def test_an_answer_of_an_old_job_is_todays_answer(key: str) -> None:
    old, today = RENAMED[key]
    assert _answers(key, old) == _answers(key, today) == [today]
    assert _answers(key, "invented") == []


@pytest.mark.parametrize("key", RENAMED)
def test_a_row_with_the_old_words_is_read_as_todays_answer(key: str) -> None:
    old, today = RENAMED[key]
    row: dict[str, Any] = {"step": [{"seen": [{"of": key, "is": old}]}]}
    if key in PLUGINS.traits:
        row = {"traits": {key: old}}
    read = read_rows(
        row, Declared.of(PLUGINS, currency="EUR"), name="day", demo=False, job=Story(PLUGINS).job
    )
    assert [draft.body["answer"] for draft in read.drafts if draft.body.get("of") == key] == [today]


class Wheel(Enum):
    TRUE = "true"
    BENT = "bent"


class Tyre(Enum):
    FLAT = "flat"


@pytest.mark.parametrize(
    "formerly", [{"true": Wheel.BENT}, {"crooked": Tyre.FLAT}], ids=["words of today", "another list"]
)
def test_former_words_that_mean_no_answer_are_refused(formerly: dict[str, Enum]) -> None:
    system = ck.System("wheels", "Wheels")
    with pytest.raises(ValueError, match="formerly"):
        system.observation("wheel", "Wheel", Wheel, formerly=formerly)
    with pytest.raises(ValueError, match="formerly"):
        system.trait("rim", "Rim", Wheel, formerly=formerly)
    assert system.observation("wheel", "Wheel", Wheel, formerly={"crooked": Wheel.BENT}).formerly
