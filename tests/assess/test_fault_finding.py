"""Order and waiting of tests, the time that is left, repeats, readings that do not go together, and what the
customer's paper never shows.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator
from copy import deepcopy
from enum import Enum
from pathlib import Path
from typing import Annotated, Any

import attrs
import pytest

import corekit as ck
from corekit.assess import assessment, ruling
from corekit.assess.assessment import Assessment, assess
from corekit.assess.contradiction import Contradiction, Oddity, misfits
from corekit.assess.hypotheses import joint
from corekit.assess.inference import now
from corekit.assess.outcome import outcomes
from corekit.assess.stage import case_at
from corekit.assess.suspect import Evidence, Suspect, next_tests
from corekit.desk.assessment_data import as_data
from corekit.desk.assessment_text import as_words
from corekit.desk.check import CheckView as Look
from corekit.desk.demo import run_demo
from corekit.desk.shop import Shop
from corekit.model.document import to_data
from corekit.plugin.faults import FaultTable
from corekit.plugin.host import Plugins, load
from corekit.report.readings import reading_rows, row_of

from .drawn import evidence
from .story import Story


class Answer(Enum):
    YES = "yes"
    NO = "no"


fan = ck.System("fan", "Fan")
for name in ("power", "spins", "loud", "cold"):
    fan.observation(name, name.title(), Answer)
pull = fan.measurand(
    "pull",
    "Pa diff",
    "Pull",
    possible=(0, 1000),
    usual=(0, 500),
    accuracy="4 Pa",
    places=("left", "middle", "right"),
)
for name in ("fuse", "motor"):
    fan.trait(name, name.title(), Answer, part=fan.part(name, name.title()))
replace_fuse = fan.operation(
    "replace_fuse", "Replace the fuse", replaces=fan.parts["fan.fuse"], shown_by=pull
)
replace_motor = fan.operation(
    "replace_motor", "Replace the motor", replaces=fan.parts["fan.motor"], shown_by=pull
)
fan.operation("oil", "Oil the hinges of its flap")
SAYS = ck.Says(
    passes="{place} pulls {value}.",
    fails="{place} pulls {value}, {limit} is asked for.",
    undecided="{place}: {value} is too near {limit}.",
)


@fan.check("Pull")
def pulls(case: ck.Case, lines: Annotated[list[ck.Reading], pull]) -> Iterator[ck.Finding | ck.Gap]:
    for line in lines:
        yield case.judge(line, case.limit(pull), ck.Claim("fan.pull", calls_for=replace_motor), SAYS)


TABLE: dict[str, Any] = {
    "faults": {
        "fuse": {"per_1000": 100, "why": "invented", "calls_for": "fan.replace_fuse", "part": "fuse"},
        "motor": {"per_1000": 100, "why": "invented", "calls_for": "fan.replace_motor", "part": "motor"},
        "bearing": {"per_1000": 25, "why": "invented", "calls_for": "fan.replace_motor", "part": "motor"},
        "pairs": [
            {"of": ["fuse", "motor"], "per_1000": 20, "why": "a motor that sticks takes the fuse with it"}
        ],
    },
    "test": {
        "power": {
            "seen": {"of": "fan.power", "answers": ["yes", "no"]},
            "question": "Does power arrive?",
            "minutes": 3,
            "outcomes": ["yes", "no"],
            "sound": "yes",
            "none": [0.95, 0.05],
            "otherwise": [0.95, 0.05],
            "outside": [0.9, 0.1],
            "given": {"fuse": {"p": [0.03, 0.97], "direct": "no"}},
        },
        "spins": {
            "seen": {"of": "fan.spins", "answers": ["yes", "no"]},
            "question": "Does it spin?",
            "minutes": 1,
            "outcomes": ["yes", "no"],
            "sound": "yes",
            "none": [0.96, 0.04],
            "otherwise": [0.96, 0.04],
            "after": {"power": ["yes"]},
            "given": {"motor": {"p": [0.05, 0.95], "direct": "no"}},
        },
        "loud": {
            "seen": {"of": "fan.loud", "answers": ["yes", "no"]},
            "question": "Does it grind?",
            "minutes": 1,
            "waits": 30,
            "outcomes": ["yes", "no"],
            "sound": "no",
            "none": [0.04, 0.96],
            "otherwise": [0.04, 0.96],
            "given": {"bearing": {"p": [0.97, 0.03]}, "motor": {"p": [0.4, 0.6]}},
            "spoils": ["cold"],
        },
        "cold": {
            "seen": {"of": "fan.cold", "answers": ["yes", "no"]},
            "question": "Is it stiff when cold?",
            "minutes": 20,
            "outcomes": ["yes", "no"],
            "sound": "no",
            "none": [0.05, 0.95],
            "otherwise": [0.05, 0.95],
            "given": {"bearing": {"p": [0.9, 0.1]}, "motor": {"p": [0.5, 0.5]}},
        },
        "pull": {
            "check": "fan.pull",
            "wants": "fan.pull",
            "question": "Does it pull enough air?",
            "minutes": 5,
            "outcomes": ["enough", "little"],
            "sound": "enough",
            "none": [0.95, 0.05],
            "otherwise": [0.95, 0.05],
            "given": {"motor": {"p": [0.1, 0.9], "direct": "little"}},
        },
    },
}


RAW = fan.fault_table(TABLE, "here")
fan.__dict__["faults"] = RAW
PLUGINS = Plugins(systems={"fan": fan})


def story() -> Story:
    return Story(plugins=PLUGINS).specify("fan.pull", low="100 Pa")


def estimated(assessment: Assessment) -> list[str]:
    return [test.key for test in assessment.next_tests]


def shown(table: FaultTable = RAW, **answers: str) -> Evidence:
    made = {
        key: [float(name == answer) for name in table.tests[key].outcomes] for key, answer in answers.items()
    }
    return evidence(table, made, "fan")


def chances(assessment: Assessment) -> dict[str, float]:
    return {suspect.fault: suspect.probability for suspect in assessment.suspects}


# ---- two at once


def test_a_suspect_counts_alone_and_with_another() -> None:
    states = now(shown(power="no", pull="little").beliefs)
    both = states[frozenset({"fan.fuse", "fan.motor"})]
    assert both > 0.05
    found = chances(story().see("fan.power", "no").read("fan.pull", "20 Pa", "left").assessment)
    for fault in ("fuse", "motor"):
        there = sum(chance for state, chance in states.items() if f"fan.{fault}" in state)
        assert found[fault] == pytest.approx(there, abs=1e-6) and there > both
    every_pair = sum(chance for state, chance in states.items() if len(state) == 2)
    assert sum(found.values()) == pytest.approx(1 + every_pair, abs=1e-6)


# ---- what must come before, what spoils, what waits


def test_a_test_is_offered_only_after_what_it_needs_was_shown() -> None:
    assert "spins" not in estimated(story().see("fan.loud", "no").assessment)
    assert "spins" not in estimated(story().see("fan.loud", "no").see("fan.power", "no").assessment)
    assert "spins" in estimated(story().see("fan.loud", "no").see("fan.power", "yes").assessment)


@pytest.mark.parametrize("power", ["", "no"])
def test_a_test_made_before_what_it_needs_means_nothing(power: str) -> None:
    before = story().see("fan.loud", "no")
    early = story().see("fan.loud", "no").see("fan.spins", "no")
    if power:
        before, early = before.see("fan.power", power), early.see("fan.power", power)
    assert chances(early.assessment) == pytest.approx(chances(before.assessment), abs=1e-12)
    assert "spins" not in estimated(early.assessment)
    assert "spins" not in {
        outcome.test.key for outcome in outcomes(RAW, case_at(early.job, 0, fan, PLUGINS), [])
    }
    counted = story().see("fan.loud", "no").see("fan.power", "yes").see("fan.spins", "no").assessment
    assert (
        chances(counted)["motor"]
        > 0.8
        > chances(story().see("fan.loud", "no").see("fan.power", "yes").assessment)["motor"]
    )


def test_what_a_test_needs_and_what_was_worked_on_since_must_be_shown_again() -> None:
    told = (
        story()
        .see("fan.power", "yes")
        .see("fan.spins", "no")
        .repair("fan.replace_fuse")
        .see("fan.spins", "no")
        .see("fan.loud", "no")
    )
    before = chances(told.assessment)
    # The new fuse is what the power hangs on, so whether it arrives has to be read again first.
    assert "power" in estimated(told.assessment)
    assert chances(told.see("fan.power", "yes").assessment)["motor"] > before["motor"] - 0.02 > 0.5


def test_what_was_shown_and_nothing_has_touched_since_allows_a_later_test() -> None:
    told = story().see("fan.power", "yes").repair("fan.oil").see("fan.spins", "no")
    assert chances(told.assessment)["motor"] > 0.4
    again = story().see("fan.power", "yes").repair("fan.replace_fuse").see("fan.spins", "no")
    assert chances(again.assessment)["motor"] < chances(told.assessment)["motor"] - 0.2


def test_a_prerequisite_that_is_likely_and_not_plain_lets_a_test_count_and_never_speak_plainly(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    table = deepcopy(TABLE)
    table["test"]["spins"]["after"] = {"pull": ["little"]}
    monkeypatch.setitem(fan.__dict__, "faults", fan.fault_table(table, "here"))
    sure = story().read("fan.pull", "20 Pa", "left").see("fan.spins", "no").assessment
    unsure = story().read("fan.pull", "98.5 Pa", "left").see("fan.spins", "no").assessment
    enough = story().read("fan.pull", "101.5 Pa", "left").see("fan.spins", "no").assessment
    assert chances(unsure)["motor"] > 2 * chances(enough)["motor"]
    assert [call.met for call in sure.calls] == [True]
    assert [call.why.partition(".")[0] for call in unsure.calls] == [
        "No test that speaks directly against the part has plainly failed, and no trial has shown it"
    ]


def test_a_test_that_spoils_another_comes_after_it_however_much_it_tells() -> None:
    free = deepcopy(TABLE)
    del free["test"]["loud"]["spoils"]
    ranked = [test.key for test in next_tests(shown(fan.fault_table(free, "free")))]
    assert ranked.index("loud") < ranked.index("cold")
    ranked = [test.key for test in next_tests(shown())]
    assert ranked.index("loud") == ranked.index("cold") + 1


def test_what_was_spoiled_comes_last_and_says_by_what(monkeypatch: pytest.MonkeyPatch) -> None:
    quick = deepcopy(TABLE)
    quick["test"]["cold"]["minutes"] = 0.5  # so that it would come first
    monkeypatch.setitem(fan.__dict__, "faults", fan.fault_table(quick, "here"))
    assert estimated(story().see("fan.power", "no").assessment)[0] == "cold"
    made = story().see("fan.loud", "no").assessment
    assert estimated(made)[-1] == "cold"
    assert made.next_tests[-1].spoiled_by == "Does it grind?"
    assert "It may read wrong now, because of an earlier test: Does it grind?" in as_words(
        Look(assessment=made, plugins=PLUGINS)
    )


def test_waiting_is_told_beside_the_work_and_counts_for_the_time_left_but_not_for_the_rank() -> None:
    patient = deepcopy(TABLE)
    del patient["test"]["loud"]["waits"]
    assert [test.key for test in next_tests(shown(fan.fault_table(patient, "p")))] == [
        test.key for test in next_tests(shown())
    ]
    told = story().see("fan.power", "yes")
    said = as_words(Look(assessment=told.assessment, plugins=PLUGINS))
    assert "Does it grind? Start now, read later: about 1 min of work and 30 min of waiting." in " ".join(
        said.split()
    )


# ---- the time that is left


def within(told: Story, minutes: float | None) -> Assessment:
    return assess(told.job, PLUGINS, minutes)


def test_only_what_can_be_done_and_read_in_the_time_left_is_next_and_the_rest_is_named() -> None:
    told = story().see("fan.power", "yes")
    every = estimated(within(told, None))
    assert set(every) == {"spins", "loud", "cold", "pull"}
    assert [test.key for test in within(told, None).too_long] == []
    for minutes, fitting in (
        (1, {"spins"}),
        (5, {"spins", "pull"}),
        (30, {"spins", "pull", "cold"}),
        (31, {"spins", "pull", "cold", "loud"}),
    ):
        made = within(told, minutes)
        assert estimated(made) == [key for key in every if key in fitting]
        assert [test.key for test in made.too_long] == [key for key in every if key not in fitting]
    words = as_words(Look(assessment=within(told, 5), plugins=PLUGINS))
    assert "Too long for the time left" in words
    assert "Is it stiff when cold? About 20 min." in words[words.index("Too long") :]
    data = as_data(Look(assessment=within(told, 5), plugins=PLUGINS))
    assert {test["test"] for test in data["too_long"]} == {"loud", "cold"}
    assert {(test["test"], test["waits"]) for test in data["too_long"]} == {("loud", 30.0), ("cold", 0.0)}


def test_findings_suspects_and_calls_do_not_depend_on_the_time_left() -> None:
    told = story().see("fan.power", "yes").see("fan.spins", "no").read("fan.pull", "20 Pa", "left")
    hurried, free = within(told, 0.5), within(told, None)
    assert (hurried.findings, hurried.suspects, hurried.calls, hurried.contradictions) == (
        free.findings,
        free.suspects,
        free.calls,
        free.contradictions,
    )


# ---- repeats


def test_a_repeated_test_is_no_new_evidence_and_the_newest_stands() -> None:
    once = story().see("fan.power", "no")
    assert chances(
        story().see("fan.power", "no").see("fan.power", "no").see("fan.power", "no").assessment
    ) == chances(once.assessment)
    assert chances(story().see("fan.power", "yes").see("fan.power", "no").assessment) == chances(
        once.assessment
    )
    alike = (
        story()
        .read("fan.pull", "20 Pa", "left")
        .read("fan.pull", "21 Pa", "left")
        .read("fan.pull", "20 Pa", "left")
        .assessment
    )
    assert chances(alike) == pytest.approx(
        chances(story().read("fan.pull", "20 Pa", "left").assessment), abs=1e-12
    )


def test_what_was_left_open_is_offered_again_and_what_is_settled_is_not() -> None:
    left_open = story().see("fan.power", "yes").read("fan.pull", "100 Pa", "left").assessment
    (again,) = [test for test in left_open.next_tests if test.key == "pull"]
    assert again.repeat
    assert "The first attempt was inconclusive." in as_words(Look(assessment=left_open, plugins=PLUGINS))
    assert "pull" not in estimated(
        story().see("fan.power", "yes").read("fan.pull", "300 Pa", "left").assessment
    )
    fresh = [test for test in story().see("fan.power", "yes").assessment.next_tests if test.key == "pull"]
    assert [test.repeat for test in fresh] == [False]


def test_of_two_tests_that_ask_the_same_thing_only_one_counts_at_one_stage_and_over_several(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    table = deepcopy(TABLE)
    table["test"]["cold"]["group"] = table["test"]["loud"]["group"] = "bearing"
    del table["test"]["loud"]["spoils"]
    monkeypatch.setitem(fan.__dict__, "faults", fan.fault_table(table, "here"))
    loud = chances(story().see("fan.loud", "yes").assessment)
    # `loud` stands first in the table, so it speaks whichever was made first at one stage …
    for one, other in (("fan.loud", "fan.cold"), ("fan.cold", "fan.loud")):
        both = story().see(one, "yes").see(other, "yes").assessment
        assert chances(both) == pytest.approx(loud)
    # … and after work that neither speaks of, what counts already goes on to count.
    later = story().see("fan.loud", "yes").repair("fan.oil").see("fan.cold", "yes").assessment
    assert chances(later) == pytest.approx(loud)
    assert "cold" not in estimated(later)
    cold = chances(story().see("fan.cold", "yes").assessment)
    later = story().see("fan.cold", "yes").repair("fan.oil").see("fan.loud", "yes").assessment
    assert chances(later) == pytest.approx(cold)


# ---- what does not go together


def test_a_reading_that_nothing_explains_together_with_the_others_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    table = deepcopy(TABLE)
    del table["faults"]["pairs"]
    table["faults"]["motor"]["per_1000"] = table["faults"]["bearing"]["per_1000"] = 0.5
    table["test"]["cold"]["given"] = {"fuse": {"p": [0.95, 0.05]}}
    table["test"]["pull"]["given"]["fuse"] = {"p": [0.01, 0.99]}
    monkeypatch.setitem(fan.__dict__, "faults", fan.fault_table(table, "here"))
    told = story().see("fan.power", "no").see("fan.cold", "yes").read("fan.pull", "400 Pa", "left").assessment
    (odd,) = told.contradictions
    assert (odd.oddity, odd.of, odd.wants) == (Oddity.UNFIT, "pull", "fan.pull")
    # By hand: the fuse fits best, odds 1/9 · 0.30 told · 0.97 · 0.95 · 0.01 = 3.1e-4 (next is none, 0.02 ·
    # 0.05 · 0.05 · 0.95 = 4.8e-5). Power and cold are as it makes them likeliest; enough pull is 0.01 where
    # it makes little likeliest, 0.99.
    assert odd.fit == pytest.approx(0.01 / 0.99, rel=1e-6)
    assert (
        "It fits best with: fuse. Fitting worst with that: Does it pull enough air? Answer: enough."
        in odd.text
    )
    words = " ".join(as_words(Look(assessment=told, plugins=PLUGINS)).split())
    assert "Conflicting readings What was read does not fit together." in words
    assert not re.search(r"[0-9]\s?%", odd.text)
    (data,) = as_data(Look(assessment=told, plugins=PLUGINS))["contradictions"]
    assert (data["of"], data["oddity"], data["fit"]) == ("pull", "do not fit together", odd.fit)
    sound = story().see("fan.power", "no").see("fan.cold", "yes").read("fan.pull", "20 Pa", "left").assessment
    assert sound.contradictions == ()


def test_readings_that_one_fault_or_one_pair_explains_are_no_contradiction() -> None:
    for answers in (
        {"power": "no"},
        {"power": "yes", "spins": "no", "pull": "little"},
        {"power": "no", "pull": "little"},
        {"loud": "yes", "cold": "yes"},
    ):
        assert misfits(shown(**answers)) == []


def test_what_the_tables_themselves_would_show_seldom_raises_an_alarm() -> None:
    draw, alarms, times = random.Random(20260701), 0, 0
    for key, system in load().systems.items():
        table = system.faults
        assert table is not None
        tables = joint({key: table}, None, {}, {key})
        states, weights = list(tables.prior), list(tables.prior.values())
        for _ in range(60):
            truth = draw.choices(states, weights)[0]
            made = {}
            for name in draw.sample(list(table.tests), draw.randint(2, min(10, len(table.tests)))):
                row = tables.row(key, table.tests[name], truth)
                at = draw.choices(range(len(row)), row)[0]
                made[name] = [float(place == at) for place in range(len(row))]
            alarms += len(misfits(evidence(table, made, key, None)))
            times += 1
    assert alarms / times < 0.04


def test_like_parts_that_all_read_one_odd_value_point_to_the_measurement_or_what_they_share() -> None:
    made = (
        story()
        .read("fan.pull", "21 Pa", "left")
        .read("fan.pull", "20 Pa", "middle")
        .read("fan.pull", "22 Pa", "right")
        .assessment
    )
    (odd,) = [odd for odd in made.contradictions if odd.oddity is Oddity.ALIKE]
    assert (odd.of, odd.wants, odd.places) == ("fan.pull", "fan.pull", ("left", "middle", "right"))
    assert "all below the limit" in odd.text
    assert "check the instrument" in odd.text
    words, data = (
        as_words(Look(assessment=made, plugins=PLUGINS)),
        as_data(Look(assessment=made, plugins=PLUGINS)),
    )
    assert "Conflicting readings" in words
    assert [item["oddity"] for item in data["contradictions"]] == ["all alike"]


@pytest.mark.parametrize(
    "readings",
    [
        ("20 Pa", "21 Pa", "300 Pa"),
        ("20 Pa", "60 Pa", "22 Pa"),
        ("300 Pa", "301 Pa", "299 Pa"),
        ("20 Pa", "", ""),
        ("99 Pa", "99 Pa", "99 Pa"),
    ],
    ids=["one is sound", "one is another value", "all sound", "one place only", "too near the limit"],
)
def test_nothing_is_made_of_readings_that_differ_or_are_sound_or_stand_alone(
    readings: tuple[str, str, str],
) -> None:
    told = story()
    for place, typed in zip(("left", "middle", "right"), readings, strict=True):
        if typed:
            told.read("fan.pull", typed, place)
    assert [odd for odd in told.assessment.contradictions if odd.oddity is Oddity.ALIKE] == []


# ---- the customer's paper


def test_no_suspect_no_odds_and_no_conflicting_reading_reach_any_document_of_the_demo(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is for the mechanic alone is replaced by words and numbers that occur nowhere else; none may be
    found in an estimate or invoice.
    """
    odds = 0.712345
    suspect = Suspect(system="battery", fault="f", name="Marked suspect", probability=odds, calls_for="")
    odd = Contradiction(
        system="battery",
        stage=0,
        oddity=Oddity.UNFIT,
        text="Marked contradiction",
        of="f",
        wants="f",
        fit=odds,
    )
    rule = ruling.call_for_part
    monkeypatch.setattr(ruling, "suspects", lambda *given: [suspect])
    monkeypatch.setattr(ruling, "misfits", lambda *given: [odd])
    monkeypatch.setattr(assessment, "all_alike", lambda *given: [odd])
    monkeypatch.setattr(
        ruling, "call_for_part", lambda *given: attrs.evolve(rule(*given), why=f"Marked call, {odds:.4%}")
    )
    list(run_demo(tmp_path / "out"))
    texts = []
    with Shop(tmp_path / "out") as shop:
        assert any("Marked call" in call.why for job in shop.store.jobs() for call in shop.assess(job).calls)
        for job in shop.store.jobs():
            assert suspect in shop.assess(job).suspects
            assert odd in shop.assess(job).contradictions
            texts += [
                json.dumps(noted.record.document, ensure_ascii=False)
                for noted in shop.store.job(job).estimates
            ]
            texts.append(json.dumps(to_data(shop.issue(job).document), ensure_ascii=False))
    assert len(texts) >= 12
    for text in texts:
        assert not re.search(
            r"marked|likely|suspect|\bodds\b|0\.7123|\b71([.,]2[0-9]*)? ?%|fault table", text, re.IGNORECASE
        )


def test_paper_says_how_many_readings_were_taken() -> None:
    told = (
        story()
        .read("fan.pull", "20 Pa", "left")
        .read("fan.pull", "90 Pa", "left")
        .read("fan.pull", "21 Pa", "left")
        .read("fan.pull", "300 Pa", "right")
    )
    left, right = reading_rows(told.assessment)
    assert left.note == "3 readings taken"
    assert right.note == ""
    told.repair("fan.replace_motor").read("fan.pull", "300 Pa", "left")
    assert "3 and 1 readings taken" in reading_rows(told.assessment)[0].note


def test_the_row_of_one_reading_shows_the_reading_before_it_where_there_is_one() -> None:
    told = (
        story()
        .read("fan.pull", "90 Pa", "left")
        .repair("fan.replace_motor")
        .read("fan.pull", "300 Pa", "left")
        .read("fan.pull", "310 Pa", "right")
    )
    arrival, (left, right) = told.assessment.readings[0][0], told.assessment.readings[1][:2]
    row = row_of(arrival, told.assessment)
    assert (row.before[:5], row.after) == ("90 Pa", "")
    row = row_of(left, told.assessment)
    assert (row.before[:5], row.after[:6]) == ("90 Pa", "300 Pa")
    assert row.strip is not None
    assert (row.strip.before, row.strip.reading) == (90, 300)
    assert row_of(right, told.assessment).note == "read after: replace the motor"
