"""What is tried, and the complaint looked at again, through a whole assessment. The chances stand in
shared/trials.toml; what follows from them is reckoned by hand.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from enum import Enum
from typing import Annotated, Any

import pytest

import corekit as ck
from corekit.assess.timeline import answered_trials
from corekit.model.records import Tried
from corekit.plugin.host import Plugins

from .story import Story


class Look(Enum):
    SOUND = "sound"
    BURNT = "burnt"
    WORN = "worn"


lamp = ck.System("lamp", "Lamp")
look = lamp.observation("look", "Look of the bulb", Look, part=lamp.part("bulb", "Bulb"))
lamp.observation("click", "Click of the relay", Look)
lamp.part("relay", "Relay")
lamp.part("glass", "Glass")
replace_bulb = lamp.operation("bulb", "Replace the bulb", replaces=lamp.parts["lamp.bulb"])
lamp.operation("relay", "Replace the relay", replaces=lamp.parts["lamp.relay"])


@lamp.check("Bulb")
def bulb(case: ck.Case, seen: Annotated[Look, look]) -> Iterator[ck.Finding | ck.Gap]:
    claim = ck.Claim("lamp.bulb", calls_for=replace_bulb)
    yield case.visual(look, claim, "It is {seen}.", passes=seen is Look.SOUND, values={"seen": seen.value})


TABLE: dict[str, Any] = {
    "faults": {
        "bulb": {"per_1000": 20, "why": "invented", "calls_for": "lamp.bulb", "part": "bulb"},
        "relay": {"per_1000": 20, "why": "invented", "calls_for": "lamp.relay", "part": "relay"},
    },
    "test": {
        "look": {
            "seen": {"of": "lamp.look", "answers": ["sound", ["burnt", "worn"]]},
            "question": "How does the bulb look?",
            "minutes": 1,
            "outcomes": ["sound", "bad"],
            "sound": "sound",
            "none": [0.9, 0.1],
            "otherwise": [0.9, 0.1],
            "outside": [0.9, 0.1],
            "given": {"bulb": {"p": [0.3, 0.7]}},
        },
        "click": {
            "seen": {"of": "lamp.click", "answers": ["sound", ["burnt", "worn"]]},
            "question": "How does the relay click?",
            "minutes": 1,
            "outcomes": ["sound", "bad"],
            "sound": "sound",
            "none": [0.9, 0.1],
            "otherwise": [0.9, 0.1],
            "given": {"relay": {"p": [0.3, 0.7]}},
        },
    },
    "symptoms": {"clicks": {"bulb": 0.6, "relay": 0.6}},
}
lamp.__dict__["faults"] = lamp.fault_table(TABLE, "here")
PLUGINS = Plugins(systems={"lamp": lamp})


def told() -> Story:
    """It clicks: of the two faults one is as likely as the other."""
    return Story(plugins=PLUGINS).complain("clicks")


def odds(story: Story, one: str = "bulb", other: str = "relay") -> float:
    chances = story.chances
    return chances[one] / chances[other]


#: Both at once, against one of them: odds 20/980, told with 1 - 0.4 · 0.4 instead of 0.6; each may be
#: there with something outside as well, odds 80/920, which changes hardly anything of what is told.
BOTH = 20 / 980 * 0.84 / 0.60 / (1 + 80 / 920)


def weighed(ratio: float, of_both: float | None = None) -> float:
    """The odds of the two faults after evidence that is so many times as likely under the one as under the
    other: it is as likely under both at once as under the one, if nothing else is said.
    """
    of_both = ratio if of_both is None else of_both
    return (ratio + of_both * BOTH) / (1 + of_both * BOTH)


def gone_for_the_time(works: float) -> tuple[float, float]:
    """How much likelier gone is where the part was at fault: alone, and with the other fault, whose complaint
    is left with 0.6 of 0.84.
    """
    return (works * 0.97 + (1 - works) * 0.04) / 0.04, (works * (1 - 0.6 / 0.84) + (1 - works) * 0.04) / 0.04


def test_before_anything_was_tried_both_are_alike() -> None:
    assert odds(told()) == pytest.approx(1)


def test_a_part_renewed_in_vain_is_hardly_suspect_any_more() -> None:
    # Of the bulb 1 in 10 new ones fails; what was cured would have been gone but for 0.03.
    story = told().try_out("lamp.bulb", "renewed", "stayed")
    assert odds(story) < 0.15
    assert story.chances["relay"] > told().chances["relay"]


def test_gone_after_a_renewed_part_leaves_little_to_be_wrong() -> None:
    story = told().try_out("lamp.bulb", "renewed", "gone")
    assert story.chances["none"] > 0.85  # cured


def test_a_part_that_moved_the_fault_with_it_may_be_called_for() -> None:
    # 0.80 against 0.02: of two alike, 40 to 1.
    story = told().try_out("lamp.bulb", "swapped", "moved", swapped_with="the other side")
    assert odds(story) == pytest.approx(weighed(0.80 / 0.02), rel=0.01)
    assert story.chances["bulb"] > 0.86
    assert call(story) == (True, "A trial has shown it: the fault went with the part.")


@pytest.mark.parametrize(
    ("result", "then", "answered"),
    [
        ("stayed", "", True),
        ("stayed", "lamp.relay", True),
        ("stayed", "lamp.bulb", False),  # another bulb is in it now
        ("gone", "", False),  # perhaps a pin that was seated anew
    ],
)
def test_a_trial_answers_until_its_part_is_renewed(result: str, then: str, answered: bool) -> None:
    story = told().try_out("lamp.bulb", "swapped", result, swapped_with="the other side")
    if then:
        story.repair(then)
    found = answered_trials(story.job, PLUGINS, story.stage)
    assert found == ({("lamp.bulb", "swapped")} if answered else set())


def call(story: Story) -> tuple[bool, str]:
    """May the bulb be called for, as it was seen to be worn?"""
    (found,) = story.see("lamp.look", "worn").assessment.calls
    assert found.operation == "lamp.bulb"
    return found.met, found.why


def test_a_look_alone_calls_for_no_part() -> None:
    met, why = call(told())
    assert not met
    assert why.startswith(
        "No test that speaks directly against the part has plainly failed, and no trial has shown it."
    )


def test_a_swap_after_which_the_fault_stayed_speaks_against_the_part() -> None:
    # 1 - 0.80 against 1 - 0.02.
    story = told().try_out("lamp.bulb", "swapped", "stayed", swapped_with="the other side")
    assert odds(story) == pytest.approx(weighed(0.20 / 0.98), rel=0.01)
    assert not call(story)[0]


def test_a_known_good_part_decides_only_when_the_complaint_came_back_with_the_old() -> None:
    back = told().try_out("lamp.bulb", "known_good", "back")
    assert odds(back) == pytest.approx(weighed(0.64 / 0.02), rel=0.01)
    assert call(back)[0]
    gone = told().try_out("lamp.bulb", "known_good", "gone")
    # Put in for the test and taken out again, so the fault is back.
    assert odds(gone) == pytest.approx(weighed(*gone_for_the_time(0.95)), rel=0.01)
    assert gone.chances["bulb"] > 0.8
    assert not call(gone)[0]


def test_a_bypass_that_ended_it_and_was_taken_out_leaves_the_fault_where_it_was() -> None:
    # A bypass fails in 1 of 10.
    story = told().try_out("lamp.relay", "bypassed", "gone")
    assert odds(story, "relay", "bulb") == pytest.approx(weighed(*gone_for_the_time(0.90)), rel=0.01)
    assert story.chances["relay"] > 0.8


@pytest.mark.parametrize(
    ("how", "result", "ratio"),
    [
        ("heated", "came", 0.60 / 0.08),
        ("heated", "stayed", 0.40 / 0.92),
        ("cooled", "gone", 0.50 / 0.08),
        ("wetted", "worse", 0.70 / 0.06),
        ("moved", "came", 0.55 / 0.05),
    ],
)
def test_what_provokes_it_points_at_the_part_and_calls_for_nothing(
    how: str, result: str, ratio: float
) -> None:
    story = told().try_out("lamp.bulb", how, result)
    assert odds(story) == pytest.approx(weighed(ratio), rel=0.01)
    assert not call(story)[0]


def test_less_after_cleaning_speaks_for_the_part_and_leaves_the_fault_there() -> None:
    # 0.22 against 0.04, and what got less was not ended.
    story = told().try_out("lamp.bulb", "cleaned", "less")
    assert odds(story) == pytest.approx(weighed(0.22 / 0.04), rel=0.01)
    assert story.chances["bulb"] > 0.75


@pytest.mark.parametrize("result", ["other", "not_tried"])
@pytest.mark.parametrize("how", ["known_good", "swapped", "heated", "bypassed"])
def test_what_came_out_otherwise_or_was_not_tried_out_counts_for_nothing(how: str, result: str) -> None:
    story = told().try_out("lamp.bulb", how, result, swapped_with="the other side")
    assert story.chances == pytest.approx(told().chances)


@pytest.mark.parametrize("how", ["polished", ""])
def test_a_way_that_nobody_knows_counts_for_nothing_and_breaks_nothing(how: str) -> None:
    assert told().try_out("lamp.bulb", how, "gone").chances == pytest.approx(told().chances)


def test_a_part_that_no_fault_names_counts_for_nothing() -> None:
    for part in ("lamp.glass", "wipers.blade"):
        assert told().try_out(part, "known_good", "gone").chances == pytest.approx(told().chances)


# ---- before the visit, and in the right order


def test_work_before_the_visit_comes_before_everything_wherever_it_was_written_down() -> None:
    early = told().try_out("lamp.bulb", "renewed", "stayed", before=True).see("lamp.look", "burnt")
    late = told().see("lamp.look", "burnt").try_out("lamp.bulb", "renewed", "stayed", before=True)
    after = told().see("lamp.look", "burnt").repair("lamp.relay")
    assert late.chances == pytest.approx(early.chances)
    repaired = told().try_out("lamp.bulb", "renewed", "stayed", before=True).see("lamp.look", "burnt")
    expected = repaired.repair("lamp.relay").chances
    assert after.try_out("lamp.bulb", "renewed", "stayed", before=True).chances == pytest.approx(expected)


def test_work_before_the_visit_counts_only_where_the_complaint_stood_after_it() -> None:
    assert told().try_out("lamp.bulb", "renewed", "gone", before=True).chances == pytest.approx(
        told().chances
    )


def test_what_was_read_before_a_part_was_renewed_for_trial_speaks_of_the_old_one() -> None:
    before = told().see("lamp.look", "burnt")
    after = told().see("lamp.look", "burnt").try_out("lamp.bulb", "renewed", "stayed")
    (suspect,) = [one for one in before.assessment.suspects if one.fault == "bulb"]
    assert suspect.speaks_for == ("How does the bulb look? bad",)
    (suspect,) = [one for one in after.assessment.suspects if one.fault == "bulb"]
    assert suspect.speaks_for == ()
    again = {test.key: test.repeat for test in after.assessment.next_tests}
    assert again.get("look") is True, "the new bulb was not looked at yet"


def test_a_trial_that_does_not_stay_leaves_readings_current() -> None:
    made = told().see("lamp.look", "burnt").try_out("lamp.bulb", "known_good", "back").assessment
    (suspect,) = [one for one in made.suspects if one.fault == "bulb"]
    assert suspect.speaks_for == ("How does the bulb look? bad",)
    assert "look" not in {test.key for test in made.next_tests}


# ---- the complaint, looked at again


def test_a_complaint_that_is_gone_after_a_repair_supports_it_and_one_that_stayed_does_not() -> None:
    repaired = told().repair("lamp.bulb").chances
    gone = told().repair("lamp.bulb").retold("gone").chances
    stayed = told().repair("lamp.bulb").retold("stayed").chances
    assert gone["none"] > 0.85 > repaired["none"] > 0.3 > stayed["none"]
    assert stayed["relay"] > repaired["relay"] > gone["relay"]


@pytest.mark.parametrize("result", ["less", "worse"])
def test_a_complaint_that_is_less_or_worse_is_still_there(result: str) -> None:
    story = told().repair("lamp.bulb").retold(result)
    assert story.chances == pytest.approx(told().repair("lamp.bulb").retold("stayed").chances)


def test_what_shows_now_and_then_and_is_gone_says_less_than_what_always_showed() -> None:
    gain = dict.fromkeys(("always", "often", "once"), 0.0)
    for shows in gain:
        story = Story(plugins=PLUGINS).complain("clicks", shows=shows).repair("lamp.bulb")
        before = story.chances["none"] / story.chances["relay"]
        after = story.retold("gone").chances
        gain[shows] = after["none"] / after["relay"] / before
    assert gain["always"] > 10 > gain["often"] > 1.5 > gain["once"] > 1


def test_an_operation_that_no_plugin_knows_changes_nothing() -> None:
    story = told().see("lamp.look", "burnt")
    before = story.chances
    assert story.repair("wipers.replace").chances == pytest.approx(before)


def test_a_withdrawn_trial_is_as_if_it_had_never_been_said() -> None:
    story = told().try_out("lamp.bulb", "swapped", "moved")
    wrong = story.entries[-1]
    story.say(Tried(part="lamp.bulb", how="swapped", result="not_tried"), wrong.subject, replaces=(wrong,))
    assert story.chances == pytest.approx(told().chances)


def test_a_trial_calls_for_the_part_where_no_finding_does_and_until_it_is_renewed() -> None:
    # Nothing was looked at; the fault moved with the bulb: 0.86 is passed, as above.
    moved = told().try_out("lamp.bulb", "swapped", "moved", swapped_with="the other side")
    assert [(call.operation, call.met) for call in moved.assessment.calls] == [("lamp.bulb", True)]
    renewed = moved.repair("lamp.bulb").retold("stayed")
    assert not [call for call in renewed.assessment.calls_at(1) if call.met]


def test_what_a_trial_has_shown_needs_no_test_that_would_show_it_again() -> None:
    table = deepcopy(TABLE)
    table["test"]["look"]["given"]["bulb"]["direct"] = "bad"
    sure = deepcopy(lamp)
    sure.__dict__["faults"] = sure.fault_table(table, "here")

    def worth(story: Story) -> float:
        return next((test.bits for test in story.assessment.next_tests if test.key == "look"), 0.0)

    def likely() -> Story:
        return Story(plugins=Plugins(systems={"lamp": sure})).complain("clicks").see("lamp.click", "sound")

    # Two in three looks show a bulb at fault; where it is likely and not shown, that is worth a bit each.
    assert worth(likely()) > 0.5
    assert worth(likely().try_out("lamp.bulb", "swapped", "moved", swapped_with="the other")) < 0.2


@pytest.mark.parametrize("result", ["moved", "stayed"])
def test_a_swap_and_the_same_swap_back_say_what_one_says(result: str) -> None:
    def swap(story: Story, one: str, other: str) -> Story:
        record = Tried(part="lamp.bulb", how="swapped", result=result, place=one, swapped_with=other)
        story.say(record, f"0/tried/{one}/{other}")
        return story

    there = swap(told(), "left", "right").chances
    assert swap(swap(told(), "left", "right"), "right", "left").chances == pytest.approx(there)
    # A third one tried instead is another trial.
    assert swap(swap(told(), "left", "right"), "left", "rear").chances != pytest.approx(there)


def test_what_is_read_again_with_the_same_outcome_says_it_once_however_much_else_was_repaired() -> None:
    once = told().see("lamp.look", "burnt").chances["bulb"]
    again = told().see("lamp.look", "burnt").repair("lamp.relay").see("lamp.look", "worn")
    unread = told().see("lamp.look", "burnt").repair("lamp.relay")
    assert again.chances["bulb"] == pytest.approx(unread.chances["bulb"])
    # Once the bulb itself is new it is another bulb that is looked at.
    new = told().see("lamp.look", "burnt").repair("lamp.bulb").see("lamp.look", "burnt")
    assert new.chances["bulb"] > told().see("lamp.look", "burnt").repair("lamp.bulb").chances["bulb"]
    assert once > 0.5
