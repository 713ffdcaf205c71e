"""Symptoms and ways of trial as they come with corekit: each key is whole, and every fault table speaks of
symptoms that there are.
"""

from __future__ import annotations

import tomllib

import pytest

from corekit.complaints import CHECK_UP, SOMETHING_ELSE, symptoms, trials
from corekit.plugin.host import load
from corekit.reference import data_path

SYMPTOMS, TRIALS = symptoms(), trials()
TABLES = {
    key: tomllib.loads((system.folder / "faults.toml").read_text("utf-8"))
    for key, system in load().systems.items()
}


@pytest.mark.parametrize("key", SYMPTOMS.symptoms)
def test_a_symptom_has_words_for_a_button_chances_and_a_reason(key: str) -> None:
    symptom = SYMPTOMS.symptoms[key]
    assert 0 < len(symptom.words) <= 60 and symptom.words[0].isupper() and not symptom.words.endswith(".")
    assert symptom.why
    assert 0 < symptom.none < 1 and 0 < symptom.outside < 1
    assert not symptom.first_step or symptom.first_step.endswith((".", "?"))


def test_no_two_symptoms_have_the_same_words() -> None:
    words = [symptom.words.lower() for symptom in SYMPTOMS.symptoms.values()]
    assert len(set(words)) == len(words)


def test_who_has_no_fault_comes_for_a_check_up_and_seldom_with_anything_else() -> None:
    none = {key: symptom.none for key, symptom in SYMPTOMS.symptoms.items()}
    assert none.pop(CHECK_UP) >= 0.8
    assert none.pop("stop_start_gone") <= 0.05  # it is often as it should be
    assert none.pop(SOMETHING_ELSE) <= 0.05
    assert max(none.values()) <= 0.01


def test_something_outside_all_systems_is_told_at_least_as_often_as_nothing_at_all_except_at_a_check_up() -> (
    None
):
    """Else a complaint would speak against there being anything wrong."""
    for key, symptom in SYMPTOMS.symptoms.items():
        expected = 0.5 * symptom.none
        assert (symptom.outside >= expected) != (key == CHECK_UP), key


def test_whoever_tells_a_symptom_gets_a_first_step_whatever_systems_are_installed() -> None:
    assert [key for key, symptom in SYMPTOMS.symptoms.items() if not symptom.first_step] == [CHECK_UP]


def test_hazards_come_in_the_order_in_which_they_kill() -> None:
    keys = [hazard.key for hazard in SYMPTOMS.hazards]
    assert keys[:4] == ["fire", "carbon_monoxide", "live_lane", "petrol"]
    assert keys[-1] == "flashing_lamp"


@pytest.mark.parametrize("hazard", SYMPTOMS.hazards, ids=lambda hazard: hazard.key)
def test_a_hazard_says_how_it_shows_and_what_to_do_now(hazard: object) -> None:
    assert getattr(hazard, "words", "") and getattr(hazard, "do", "").endswith(".")


def test_what_may_strike_anybody_is_asked_with_every_complaint() -> None:
    always = {hazard.key for hazard in SYMPTOMS.hazards if not hazard.symptoms}
    assert always == {"fire", "carbon_monoxide", "live_lane", "crash", "oil_or_brake_lamp"}


def test_what_shows_more_often_has_the_larger_share() -> None:
    shares = [shows.share for shows in SYMPTOMS.shows.values()]
    assert shares == [1.0, 0.5, 0.3, 0.1]


@pytest.mark.parametrize("system", sorted(TABLES))
def test_a_systems_rows_speak_of_symptoms_and_circumstances_that_there_are(system: str) -> None:
    table = TABLES[system]
    assert set(table.get("symptoms", {})) <= set(SYMPTOMS.symptoms)
    assert set(table.get("when", {})) <= set(SYMPTOMS.circumstances)


@pytest.mark.parametrize("key", TRIALS.ways)
def test_a_way_of_trial_has_words_results_a_trap_and_may_always_end_in_words_or_untried(key: str) -> None:
    way = TRIALS.ways[key]
    assert way.words and way.trap.endswith(".")
    assert set(way.results) <= set(TRIALS.results)
    assert set(way.telling) <= set(way.results)
    assert way.results[-2:] == ("other", "not_tried")


def test_work_fails_as_often_as_its_reasons_say_and_less_counts_after_cleaning_only() -> None:
    fails = {key: way.fails for key, way in TRIALS.ways.items() if way.fails}
    assert fails["renewed"] == fails["repaired"] == 0.10
    assert fails["cleaned"] == 0.30 and fails["cleaned_passage"] == 0.15
    assert all(way.fails_why for key, way in TRIALS.ways.items() if key in fails)
    less = {key for key, way in TRIALS.ways.items() if "less" in way.results}
    assert less == {"cleaned", "cleaned_passage"}


def test_what_provokes_speaks_for_the_part_first_and_repairs_nothing() -> None:
    provoking = {key: way for key, way in TRIALS.ways.items() if way.provokes}
    assert set(provoking) == {"heated", "cooled", "wetted", "moved"}
    for way in provoking.values():
        assert way.this_part > 0.3 > way.other > way.none > 0
        assert not way.fails


def test_the_files_say_that_their_numbers_are_estimates() -> None:
    for name in ("shared/symptoms.toml", "shared/trials.toml"):
        assert "ESTIMATE OF OURS" in data_path(name).read_text("utf-8")[:1500]
