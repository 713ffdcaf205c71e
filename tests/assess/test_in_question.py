"""A system of which nothing was read yet: when its next tests say where to begin, and that they say no more
than that.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import Annotated, Any

import pytest

import corekit as ck
from corekit.account.account import account_of
from corekit.assess.assessment import Assessment, assess
from corekit.desk.assessment_data import as_data
from corekit.desk.assessment_text import as_words
from corekit.desk.check import CheckView as Look
from corekit.model.finding import Urgency, Verdict
from corekit.plugin.host import Plugins

from .brakes import brakes
from .story import Story

FIRST = [
    "pedal",
    "travel",
    "pressure",
]  # by the information per minute that the invented table of the brakes promises


class Tone(Enum):
    LOUD = "loud"
    SILENT = "silent"


horn = ck.System("horn", "Horn", folder=brakes.folder / "none")
tone = horn.observation("tone", "Tone", Tone)
supply = horn.measurand(
    "supply",
    "V",
    "Supply at the horn",
    possible=(0, 30),
    usual=(0, 16),
    accuracy="0.1 V",
    places=("left", "right"),
)
horn_part = horn.part("horn", "Horn")
horn.trait("kind", "Kind of horn", Tone, part=horn_part)
replace_horn = horn.operation("replace", "Replace the horn", replaces=horn_part)


@horn.check("Tone")
def sounds(case: ck.Case, heard: Annotated[Tone, tone]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.visual(
        tone, ck.Claim("horn.tone"), "It is {tone}.", passes=heard is Tone.LOUD, values={"tone": heard.value}
    )


@horn.check("Supply")
def supplied(case: ck.Case, read: Annotated[list[ck.Reading], supply]) -> Iterator[ck.Finding | ck.Gap]:
    for one in read:
        yield case.inconclusive(ck.Claim("horn.supply", next_test=supply), "{value}.", one)


TABLE: dict[str, Any] = {
    "faults": {
        "dead": {"per_1000": 80, "why": "invented", "calls_for": "horn.replace"},
    },
    "test": {
        "tone": {
            "seen": {"of": "horn.tone", "answers": ["loud", "silent"]},
            "question": "Does it sound?",
            "minutes": 1,
            "outcomes": ["loud", "silent"],
            "sound": "loud",
            "none": [0.95, 0.05],
            "otherwise": [0.95, 0.05],
            "outside": [0.9, 0.1],
            "given": {"dead": {"p": [0.05, 0.95]}},
        },
        "left": {
            "bins": {"measurand": "horn.supply", "place": "left", "at": ["9 V"]},
            "question": "Does the left side have its supply?",
            "minutes": 4,
            "waits": 20,
            "outcomes": ["low", "there"],
            "sound": "there",
            "none": [0.1, 0.9],
            "otherwise": [0.1, 0.9],
            "given": {"dead": {"p": [0.5, 0.5]}},
        },
    },
}
horn.__dict__["faults"] = horn.fault_table(TABLE, "here")
BOTH = Plugins(systems={"brakes": brakes, "horn": horn})


def estimated(made: Assessment) -> list[str]:
    return [f"{test.system}.{test.key}" for test in made.next_tests]


def said_otherwise(made: Assessment) -> tuple[object, ...]:
    """All that is said beside the next tests."""
    return (
        made.findings,
        made.gaps,
        made.suspects,
        made.calls,
        made.contradictions,
        made.comparisons,
        made.repairs,
    )


def test_a_trait_that_was_answered_brings_the_first_tests_and_nothing_else() -> None:
    made = Story().fit("brakes.hose", "rubber").assessment
    assert [test.key for test in made.next_tests] == FIRST
    assert said_otherwise(made) == said_otherwise(Story().assessment)
    assert made.findings == made.gaps == made.suspects == ()


def test_not_knowing_what_is_fitted_is_an_answer_too() -> None:
    from corekit.model.records import Fitted

    story = Story()
    story.say(Fitted(of="brakes.hose", typed="don't know"), "fitted/brakes.hose#1")
    assert [test.key for test in story.assessment.next_tests] == FIRST


def test_who_asks_about_a_system_gets_its_first_tests() -> None:
    job = Story(plugins=BOTH).job
    assert estimated(assess(job, BOTH)) == []
    assert estimated(assess(job, BOTH, None, ("horn",))) == ["horn.tone", "horn.left"]
    assert set(estimated(assess(job, BOTH, None, ("horn", "brakes")))) == {
        "horn.tone",
        "horn.left",
        *(f"brakes.{key}" for key in FIRST),
    }
    assert said_otherwise(assess(job, BOTH, None, ("horn",))) == said_otherwise(assess(job, BOTH))


def test_asking_about_a_system_that_is_not_there_changes_nothing() -> None:
    story = Story(plugins=BOTH).see("brakes.pedal", "firm")
    assert assess(story.job, BOTH, None, ("wipers",)) == assess(story.job, BOTH)


def test_what_was_read_of_a_system_ranks_its_tests_whether_or_not_somebody_asks() -> None:
    story = Story(plugins=BOTH).see("brakes.pedal", "sinks")
    alone = estimated(story.assessment)
    assert alone and "brakes.pedal" not in alone
    assert estimated(assess(story.job, BOTH, None, ("brakes",))) == alone
    assert estimated(story.fit("brakes.hose", "rubber").assessment) == alone


def test_tests_of_all_systems_are_ranked_together_by_what_they_tell_per_minute() -> None:
    made = Story(plugins=BOTH).fit("horn.kind", "loud").read("brakes.force", "200 N").assessment
    rates = [test.bits / test.minutes for test in made.next_tests]
    assert {test.system for test in made.next_tests} == {"brakes", "horn"}
    assert rates == sorted(rates, reverse=True)


def test_a_system_that_is_asked_about_comes_before_one_that_was_read_beside_it_and_is_in_order() -> None:
    story = Story(plugins=BOTH).see("horn.tone", "loud")
    assert assess(story.job, BOTH).findings[0].verdict is Verdict.PASS
    asked = estimated(assess(story.job, BOTH, None, ("brakes",)))
    assert asked[:3] == [f"brakes.{key}" for key in FIRST] and set(asked[3:]) <= {"horn.left"}


def test_a_system_that_shows_something_wrong_comes_before_one_that_is_asked_about() -> None:
    story = Story(plugins=BOTH).read("horn.supply", "8 V", "right")
    made = assess(story.job, BOTH, None, ("brakes",))
    assert {finding.urgency for finding in made.findings} == {Urgency.THIS_VISIT}
    assert made.next_tests[0].system == "horn"


def test_tests_of_a_system_in_question_that_do_not_fit_into_the_time_left_are_set_apart() -> None:
    made = assess(Story(plugins=BOTH).job, BOTH, 5, ("horn",))
    assert (estimated(made), [test.key for test in made.too_long]) == (["horn.tone"], ["left"])


def test_a_system_without_a_fault_table_has_no_first_test() -> None:
    bare = ck.System("bare", "Bare", folder=brakes.folder / "none")
    bare.trait("kind", "Kind", Tone)
    plugins = Plugins(systems={"bare": bare})
    assert (
        assess(Story(plugins=plugins).fit("bare.kind", "loud").job, plugins, None, ("bare",)).next_tests == ()
    )


def test_what_was_tested_out_begins_anew_only_where_it_speaks_of_the_part_that_was_renewed() -> None:
    story = (
        Story(plugins=BOTH)
        .see("brakes.pedal", "sinks")
        .read("brakes.travel", "90 mm")
        .read("brakes.pressure", "20 bar", "left")
    )
    assert estimated(story.assessment) == []
    story.repair("brakes.replace_hose").fit("brakes.hose", "rubber")
    assert estimated(story.assessment) == []  # no test speaks of the hoses
    again = story.repair("brakes.replace_master").assessment.next_tests
    assert {test.key for test in again} == set(FIRST) and all(test.repeat for test in again)


def test_a_test_says_where_it_reads_when_that_is_fixed() -> None:
    made = assess(Story(plugins=BOTH).job, BOTH, None, ("horn",))
    assert {(test.key, test.wants, test.place) for test in made.next_tests} == {
        ("tone", "horn.tone", ""),
        ("left", "horn.supply", "left"),
    }
    look = Look(assessment=made, plugins=BOTH)
    assert 'of = "horn.supply", place = "left"' in " ".join(as_words(look).split())
    assert {(test["test"], test["place"]) for test in as_data(look)["next_tests"]} == {
        ("tone", ""),
        ("left", "left"),
    }


def test_a_reading_to_be_taken_again_is_asked_for_at_its_own_place() -> None:
    made = Story(plugins=BOTH).read("horn.supply", "8 V", "right").assessment
    assert [(test.wants, test.place) for test in made.next_tests if test.minutes == 0] == [
        ("horn.supply", "right")
    ]


@pytest.mark.parametrize("asked", [(), ("brakes",)])
def test_the_customer_s_paper_names_next_tests_only_of_what_was_looked_at(asked: tuple[str, ...]) -> None:
    story = (
        Story(plugins=BOTH)
        .fit("brakes.hose", "rubber")
        .see("horn.tone", "loud")
        .read("horn.supply", "12 V", "left")
    )
    made = assess(story.job, BOTH, None, asked)
    assert sorted(test.system for test in made.next_tests) == ["brakes", "brakes", "brakes", "horn"]
    (horn,) = [test for test in made.next_tests if test.system == "horn"]
    (step,) = [step for step in account_of(story.job, made, BOTH).steps if step.label == "Next step"]
    text = str(step.words).lower()
    assert BOTH.for_customer(horn.wants).lower() in text
    assert not [
        test.wants
        for test in made.next_tests
        if test.system == "brakes" and BOTH.for_customer(test.wants).lower() in text
    ]
