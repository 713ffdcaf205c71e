"""The conformance kit holds practice cars to what is wanted of them: each fault planted in one is found."""

from __future__ import annotations

import copy
import random
from collections.abc import Callable
from typing import Any

import attrs
import pytest

from corekit.plugin.host import load
from corekit.practice.declared import Practice, practice_of
from corekit.testing.kit import practice as kit
from corekit.testing.kit.practice import barred_names, nonconforming_practice

PLUGINS = load()
SYSTEM = PLUGINS.systems["cooling"]


def planted(change: Callable[[Practice[Any]], None]) -> Practice[Any]:
    """Cooling's practice car with a fault in its declarations."""
    own = practice_of(SYSTEM)
    assert own is not None
    made = copy.copy(own)
    for name in ("defects", "reading", "setting", "sight", "recording", "fitting", "deed", "need", "refused"):
        setattr(made, name, dict(getattr(own, name)))
    change(made)
    return made


def found(change: Callable[[Practice[Any]], None], monkeypatch: pytest.MonkeyPatch, visits: int = 0) -> str:
    made = planted(change)
    monkeypatch.setattr(kit, "practice_of", lambda system: made)
    return "\n".join(map(str, nonconforming_practice(SYSTEM, visits)))


def test_the_cooling_of_a_practice_car_conforms(monkeypatch: pytest.MonkeyPatch) -> None:
    assert found(lambda own: None, monkeypatch, visits=12) == ""


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            lambda own: own.reading.pop("cooling.cap_opens"),
            "cooling.cap_opens is neither answered nor refused",
        ),
        (lambda own: own.need.pop("cooling.fill"), "cooling.fill is neither answered nor refused"),
        (
            lambda own: own.refused.update({"cooling.fill": ""}),
            "cooling.fill is refused and has no reason",
        ),
        (
            lambda own: own.refused.update({"cooling.nothing": "it is not there"}),
            "cooling.nothing is refused and declared nowhere",
        ),
        (
            lambda own: own.deed.update({"cooling.replace_cap": lambda state, work: state}),
            "Repaired, it needs cooling.replace_cap",
        ),
        (
            lambda own: own.sight.update({"cooling.level": lambda car, at: "half"}),
            "cooling.level is seen as 'half', which is none of its answers",
        ),
        (
            lambda own: own.need.update({"cooling.replace_cap": lambda car: True}),
            "200 of 200 cars without a fault are not sound",
        ),
        (
            lambda own: own.reading.update({"cooling.cap_opens": lambda car, at: 1.0 / 0.0}),
            "it fails while a car is made, read or mended: ZeroDivisionError",
        ),
        (lambda own: setattr(own, "complaint", None), "its driver notices nothing"),
    ],
)
def test_a_fault_in_a_practice_car_is_told(
    change: Callable[[Practice[Any]], None], told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert told in found(change, monkeypatch)


def test_a_car_that_draws_for_itself_is_another_one_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    def drawn(own: Practice[Any]) -> None:
        sound = own.sound
        own.sound = lambda draw: attrs.evolve(sound(draw), outside=random.uniform(0.0, 20.0))

    assert "the same seed makes another car" in found(drawn, monkeypatch)


def test_an_estimate_that_carries_a_conclusion_is_told_with_which_way_it_was_moved(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def narrow(own: Practice[Any]) -> None:
        sound = own.sound
        # a cap counts as weak below 0.75; sound ones open from 0.97 on, so 0.7 × 4/3 = 0.93 is between
        own.sound = lambda draw: attrs.evolve(sound(draw), keeps=0.7)
        own.need["cooling.replace_cap"] = lambda car: own.own(car).keeps > 0.9

    told = found(narrow, monkeypatch)
    assert "with keeps a third larger, seed 0 without a fault is not sound" in told
    assert "quarter smaller" not in told


def test_visits_that_miss_their_aim_are_told_with_a_seed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A car whose model says that nothing is worn: whatever is exchanged was exchanged in vain."""

    def worn_out_of_sight(own: Practice[Any]) -> None:
        own.need.update(dict.fromkeys(own.need, lambda car: False))

    told = found(worn_out_of_sight, monkeypatch, visits=15)
    assert "15 visits: wrong part, where 3% are borne" in told
    assert "15 visits: said something untrue, where 5% are borne" in told


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("from corekit.assess.assessment import assess\n", "corekit.assess.assessment"),
        ("import corekit.judge\n", "corekit.judge"),
        ("from .checks import fits\n", "checks"),
        ("from . import limits\n", "limits"),
        ("from .declarations import brakes\nx = brakes.faults\n", "faults"),
    ],
)
def test_a_practice_car_that_uses_what_the_program_reasons_with_is_told(text: str, name: str) -> None:
    assert [one for _, one in barred_names(text)] == [name]


def test_a_practice_car_may_use_declarations_and_what_makes_cars() -> None:
    text = "import math\nimport attrs\nfrom corekit.practice import Car\nfrom .declarations import brakes\n"
    assert list(barred_names(text)) == []
