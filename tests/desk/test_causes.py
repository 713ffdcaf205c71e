"""Causes in words for the mechanic: chance, grounds, whom they go to, and what is there together."""

from __future__ import annotations

import attrs
import pytest

from corekit.assess.suspect import Suspect
from corekit.complaints import symptoms
from corekit.desk.causes import chance_words, pair_of


def suspect(fault: str, probability: float) -> Suspect:
    return Suspect(system="brakes", fault=fault, name=fault, probability=probability, calls_for="")


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (1.0, "nearly certain, more than 9 in 10"),
        (0.95, "nearly certain, more than 9 in 10"),
        (0.9499, "likely, 9 in 10"),
        (0.80, "likely, 8 in 10"),
        (0.7999, "more likely than not, 8 in 10"),
        (0.50, "more likely than not, 5 in 10"),
        (0.4999, "possible, 5 in 10"),
        (0.20, "possible, 2 in 10"),
        (0.1999, "unlikely, 2 in 10"),
        (0.05, "unlikely, 1 in 10"),
        (0.0499, "very unlikely, less than 1 in 20"),
        (0.0, "very unlikely, less than 1 in 20"),
    ],
)
def test_a_chance_is_said_in_words_and_tenths_and_never_as_certain(chance: float, words: str) -> None:
    assert chance_words(chance) == words


def test_two_faults_are_named_together_only_where_each_is_more_likely_than_not() -> None:
    both = [suspect("worn_hose", 0.9), suspect("worn_pads", 0.51), suspect("none", 0.6)]
    assert [one.fault for one in pair_of(both)] == ["worn_hose", "worn_pads"]
    assert pair_of([both[0], attrs.evolve(both[1], probability=0.5)]) == ()
    assert pair_of([both[0], suspect("none", 0.6), suspect("outside", 0.7)]) == ()


def test_every_symptom_that_somebody_may_have_outside_says_its_first_step() -> None:
    """What no built-in system speaks to needs one; `check_up` is no symptom."""
    bare = {key for key, one in symptoms().symptoms.items() if not one.first_step}
    assert bare <= {
        "flat_standing", "flat_driving", "misses_in_the_wet", "battery_lamp", "lights_flicker_bright",
        "stop_start_gone", "check_up",
    }  # fmt: skip
