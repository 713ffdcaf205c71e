"""The complaint as evidence: which faults it concerns, what lets others in, and the jobs that say nothing."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from typing import Any

import pytest

from corekit.assess import hypotheses
from corekit.assess.assessment import assess
from corekit.assess.hypotheses import Complaint, joint
from corekit.assess.inference import now, start
from corekit.complaints import SymptomList, symptoms, trials
from corekit.fault import DataFileError
from corekit.model.job import Job, fold
from corekit.plugin.host import Plugins

from .test_trials import PLUGINS, TABLE, lamp


def faults_in(table: dict[str, Any], told: Sequence[str], let_in: Sequence[str] = ()) -> set[str]:
    tables = joint(
        {"lamp": lamp.fault_table(table, "here")}, Complaint(symptoms=tuple(told)), {}, {"lamp"}, let_in
    )
    return {fault.removeprefix("lamp.") for fault in tables.faults}


# `clicks` is told by 0.001 of those without a fault (shared/symptoms.toml), so a fault is concerned from
# 0.003.


@pytest.mark.parametrize(("chance", "concerned"), [(0.0029, False), (0.003, True), (0.0031, True)])
def test_a_fault_is_concerned_from_three_times_what_a_sound_vehicle_tells(
    chance: float, concerned: bool
) -> None:
    table = deepcopy(TABLE)
    table["symptoms"]["clicks"]["relay"] = chance
    assert faults_in(table, ["clicks"]) == ({"bulb", "relay"} if concerned else {"bulb"})


@pytest.mark.parametrize("told", [[], ["something_else"], ["check_up"]])
def test_a_complaint_that_names_no_symptom_concerns_every_fault_of_what_was_looked_at(
    told: list[str],
) -> None:
    assert faults_in(TABLE, told) == {"bulb", "relay"}


def test_a_symptom_that_no_fault_shows_leaves_only_what_a_failing_reading_lets_in() -> None:
    assert faults_in(TABLE, ["overheats"]) == set()
    assert faults_in(TABLE, ["overheats"], ["lamp.relay"]) == {"relay"}


def test_a_reading_that_plainly_fails_lets_its_faults_in() -> None:
    from .story import Story

    def suspects(story: Story) -> set[str]:
        return {one.fault for one in story.assessment.suspects}

    told = Story(plugins=PLUGINS).complain("overheats")
    assert suspects(told) == {"none", "outside"}
    assert suspects(told.see("lamp.look", "sound")) == {"none", "outside"}
    # A bad look is 0.7 under a bulb at fault and 0.1 without: seven times, so it lets the bulb in, and not
    # the relay.
    failing = Story(plugins=PLUGINS).complain("overheats").see("lamp.look", "burnt")
    assert suspects(failing) == {"none", "outside", "bulb"}


@pytest.mark.parametrize(("none", "let_in"), [(0.2333, True), (0.2334, False)])
def test_what_fails_lets_in_what_it_is_three_times_as_likely_under(none: float, let_in: bool) -> None:
    # 0.7 / 3 = 0.23333…
    from corekit.assess.outcome import Outcome
    from corekit.assess.timeline import StageOutcome
    from corekit.assess.timeline import let_in as found

    table = deepcopy(TABLE)
    table["test"]["look"]["none"] = [1 - none, none]
    system = deepcopy(lamp)
    system.__dict__["faults"] = system.fault_table(table, "here")
    test = system.faults.tests["look"] if system.faults else None
    assert test is not None
    outcome = Outcome(test=test, weights=(0.0, 1.0), evidence=())
    shown = StageOutcome(system="lamp", stage=0, outcome=outcome)
    assert ("lamp.bulb" in found([shown], {"lamp": system})) is let_in


def test_circumstances_move_the_odds_of_a_fault_and_of_its_pairs() -> None:
    table = deepcopy(TABLE)
    table["when"] = {"wet": {"relay": 3}}
    table["faults"]["pairs"] = [{"of": ["bulb", "relay"], "per_1000": 5, "why": "invented"}]

    def chances(*when: str) -> dict[frozenset[str], float]:
        complaint = Complaint(symptoms=("clicks",), circumstances=when)
        return now(start(joint({"lamp": lamp.fault_table(table, "here")}, complaint, {}, ())))

    dry, wet = chances(), chances("wet")
    bulb, relay = frozenset({"lamp.bulb"}), frozenset({"lamp.relay"})
    assert wet[relay] / wet[bulb] == pytest.approx(3 * dry[relay] / dry[bulb])
    assert wet[relay | bulb] / wet[bulb] == pytest.approx(3 * dry[relay | bulb] / dry[bulb])
    assert chances("hot") == pytest.approx(dry)


def test_of_several_symptoms_the_mean_counts() -> None:
    table = deepcopy(TABLE)
    table["symptoms"]["cranks_slowly"] = {"bulb": 0.2}
    complaint = Complaint(symptoms=("clicks", "cranks_slowly"))
    chances = now(start(joint({"lamp": lamp.fault_table(table, "here")}, complaint, {}, ())))
    # Bulb: (0.6 + 0.2) / 2; none: (0.001 + 0.003) / 2; odds 20/980.
    ratio = chances[frozenset({"lamp.bulb"})] / chances[frozenset()]
    assert ratio == pytest.approx(20 / 980 * 0.4 / 0.002)


def test_a_corrected_complaint_is_the_one_that_counts() -> None:
    from corekit.model.records import Complained

    from .story import Story

    story = Story(plugins=PLUGINS).complain("overheats")
    wrong = story.entries[-1]
    story.say(Complained(symptoms=["clicks"]), "complaint", replaces=(wrong,))
    assert story.chances == pytest.approx(Story(plugins=PLUGINS).complain("clicks").chances)


# ---- where there is little to go by


def test_a_job_without_any_entry_is_assessed_and_says_nothing() -> None:
    made = assess(fold("j", []), PLUGINS)
    assert (made.findings, made.suspects, made.next_tests, made.calls) == ((), (), (), ())
    assert isinstance(made.job, Job)


def test_without_any_system_a_complaint_leaves_nothing_or_something_outside() -> None:
    from .story import Story

    made = assess(Story(plugins=Plugins()).complain("clicks").job, Plugins())
    # Told without a fault by 0.001, under something outside by 0.002, whose odds are 80/920.
    chances = {one.fault: one.probability for one in made.suspects}
    assert chances["outside"] / chances["none"] == pytest.approx(80 / 920 * 0.002 / 0.001)
    assert made.next_tests == ()


def test_a_table_without_tests_tells_by_the_complaint_alone() -> None:
    bare = {"faults": TABLE["faults"], "symptoms": TABLE["symptoms"]}
    data = deepcopy(bare)
    data["symptoms"]["clicks"] = {"bulb": 0.6, "relay": 0.3}
    tables = joint({"lamp": lamp.fault_table(data, "here")}, Complaint(symptoms=("clicks",)), {}, ())
    chances = now(start(tables))
    ratio = chances[frozenset({"lamp.bulb"})] / chances[frozenset({"lamp.relay"})]
    assert ratio == pytest.approx(2)


# ---- the two files


GOOD_SYMPTOMS = """
[outside]
per_1000 = 80
why = "invented"
[groups.noises]
words = "Noises"
symptoms = ["hums",]
[symptoms.hums]
words = "It hums"
none = 0.01
why = "invented"
outside = 0.02
[hazards.fire]
words = "Smoke"
do = "Leave it."
symptoms = ["hums"]
[circumstances.cold]
words = "When cold"
[shows.often]
words = "Often"
share = 0.5
"""
GOOD_TRIALS = """
[results.gone]
words = "Gone"
[results.came]
words = "It came"
[ways.heated]
words = "Heated"
results = ["came", "gone"]
provokes = true
this_part = 0.6
other = 0.1
none = 0.02
telling = ["came"]
"""


def told(monkeypatch: pytest.MonkeyPatch, tmp_path: Any, read: Any, text: str) -> list[str]:
    """All that is wrong with one of the files, if it had this text."""
    from corekit import complaints, complaints_file

    file = tmp_path / "file.toml"
    file.write_text(text, encoding="utf-8")
    read = getattr(read, "__wrapped__", read)  # without what was read before
    with monkeypatch.context() as patched:
        for module in (complaints, complaints_file):
            patched.setattr(module, "data_path", lambda name: file)
        patched.setattr(complaints, "_shared_symptoms", complaints._shared_symptoms.__wrapped__)
        patched.setattr(complaints._ADDED, "listed", None)
        try:
            read()
        except DataFileError as error:
            return [str(fault) for fault in error.faults]
    return []


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("none = 0.01", "none = 1", "symptoms.hums.none: is 1.0; expected a chance between 0 and 1"),
        ("none = 0.01", "none = 0", "symptoms.hums.none: is the number 0; expected a number above 0"),
        (
            "outside = 0.02",
            "outside = 1.5",
            "symptoms.hums.outside: is 1.5; expected a chance between 0 and 1",
        ),
        ("outside = 0.02\n", "", "symptoms.hums.outside: is missing; expected a chance between 0 and 1"),
        ('words = "It hums"\n', "", "symptoms.hums.words: is missing; expected what a customer says"),
        ('["hums"]', '["roars"]', "hazards.fire.symptoms: there is no symptom roars; expected one of"),
        ('do = "Leave it."\n', "", "hazards.fire.do: is missing; expected what to do now"),
        ("share = 0.5", "share = 1.5", "shows.often.share: is 1.5; expected a share above 0, at most 1"),
        ("share = 0.5", "share = 0", "shows.often.share: is the number 0; expected a number above 0"),
        ("per_1000 = 80", "per_1000 = 1000", "outside.per_1000: is 1000.0; expected a number below 1000"),
        ('[circumstances.cold]\nwords = "When cold"', "[circumstances.cold]", "circumstances.cold.words: is"),
        ("share = 0.5", "share = 0.5\ncolour = 1", "shows.often.colour: is not a key here"),
    ],
)
def test_a_slip_in_the_symptoms_is_told_with_its_path(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Any, old: str, new: str, line: str
) -> None:
    assert told(monkeypatch, tmp_path, symptoms, GOOD_SYMPTOMS) == []
    assert old in GOOD_SYMPTOMS
    (fault,) = told(monkeypatch, tmp_path, symptoms, GOOD_SYMPTOMS.replace(old, new))
    assert fault.startswith(line)


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ('["came", "gone"]', '["came", "fled"]', "ways.heated.results: there is no result fled"),
        ('telling = ["came"]', 'telling = ["fled"]', "ways.heated.telling: there is no result fled"),
        ("other = 0.1\n", "", "ways.heated: provokes without saying how often; expected chances this_part"),
        ('telling = ["came"]\n', "", "ways.heated: provokes without saying how often"),
        ("this_part = 0.6", "this_part = 1", "ways.heated.this_part: is 1.0; expected a chance below 1"),
        (
            "provokes = true",
            "provokes = true\nfails = 1",
            "ways.heated.fails: is 1.0; expected a chance below 1",
        ),
        ('words = "Heated"\n', "", "ways.heated.words: is missing; expected what was done"),
        ('results = ["came", "gone"]\n', "", "ways.heated.results: is missing"),
    ],
)
def test_a_slip_in_the_trials_is_told_with_its_path(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Any, old: str, new: str, line: str
) -> None:
    assert told(monkeypatch, tmp_path, trials, GOOD_TRIALS) == []
    assert old in GOOD_TRIALS
    faults = told(monkeypatch, tmp_path, trials, GOOD_TRIALS.replace(old, new))
    assert [fault for fault in faults if fault.startswith(line)]


def test_all_slips_are_told_at_once(monkeypatch: pytest.MonkeyPatch, tmp_path: Any) -> None:
    text = GOOD_SYMPTOMS.replace("none = 0.01", "none = 2").replace('["hums"]', '["roars"]')
    assert len(told(monkeypatch, tmp_path, symptoms, text.replace("share = 0.5", "share = 2"))) == 3
    assert isinstance(symptoms(), SymptomList) and hypotheses.CONCERNS == 3


@pytest.mark.parametrize(
    ("years", "share"), [(0.0, 0.01), (1.0, 0.25), (3.999, 0.99975), (4.0, 1.0), (9.0, 1.0)]
)
def test_a_part_that_was_renewed_is_at_fault_by_its_age_over_its_life(years: float, share: float) -> None:
    """Prevalence × age ÷ life, at most 1, by hand."""
    from corekit.assess.hypotheses import _at_age
    from corekit.plugin.faults import Fault

    fault = Fault(key="worn", name="Worn", per_1000=20, why="invented", part="fan.motor", life=4)
    assert _at_age(fault, {"fan.motor": years}).per_1000 == pytest.approx(20 * share)
    assert _at_age(fault, {"fan.fuse": years}).per_1000 == 20
