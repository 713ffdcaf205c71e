"""Symptoms that a system adds to the shared list: a stranger's winch.

Judge: Bayes' rule by hand.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from corekit.complaints import own_symptoms, set_own_symptoms, symptoms
from corekit.plugin.host import load
from corekit.testing import assessed, nonconformities, shown

MODULE = """
from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

winch = ck.System("winch", "Winch", api="1.0")


class Rope(Enum):
    SOUND = "sound"
    FRAYED = "frayed"


rope = winch.observation("rope", "Rope", Rope, how="Over its whole length.")
slips = winch.symptom(
    "slips",
    "The winch slips under load",
    group="senses",
    none=0.001,
    why="a load that is too heavy",
    outside=0.002,
    first_step="what the winch is rated for",
)


@winch.check("Rope")
def looks(case: ck.Case, seen: Annotated[Rope, rope]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.visual(rope, ck.Claim("winch.rope", grade=seen.value), "Rope.", passes=seen is Rope.SOUND)


@ck.hookimpl
def corekit_system() -> ck.System:
    return winch
"""
TABLE = """
[faults]
brake = { per_1000 = 10, name = "Brake worn", refer = "the maker", why = "invented" }
rope  = { per_1000 = 10, name = "Rope frayed", refer = "the maker", why = "invented" }

[test.rope]
seen      = { of = "winch.rope", answers = ["sound", "frayed"] }
question  = "How does the rope look?"
minutes   = 1
outcomes  = ["sound", "frayed"]
sound     = "sound"
none      = [0.99, 0.01]
otherwise = [0.99, 0.01]
outside   = [0.99, 0.01]
given.rope = { p = [0.1, 0.9], why = "invented" }

[symptoms."winch.slips"]
brake = 0.5

[symptoms."crane.sways"]
rope = 0.4
"""


@pytest.fixture
def point(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., EntryPoint]]:
    before = own_symptoms()
    monkeypatch.syspath_prepend(str(tmp_path))

    def written(module: str = MODULE, table: str = TABLE, name: str = "winch") -> EntryPoint:
        folder = tmp_path / f"{name}_plugin"
        folder.mkdir()
        (folder / "__init__.py").write_text(module, "utf-8")
        (folder / "faults.toml").write_text(table, "utf-8")
        sys.modules.pop(folder.name, None)
        return EntryPoint(name=name, value=folder.name, group="corekit")

    yield written
    set_own_symptoms(before)


def test_it_stands_below_its_heading_while_the_plugin_is_there(point: Callable[..., EntryPoint]) -> None:
    assert "winch.slips" not in symptoms().symptoms
    plugins = load([point()])
    assert plugins.failures == ()
    (group,) = (one for one in symptoms().groups if one.key == "senses")
    assert group.symptoms[-1].words == "The winch slips under load"


def test_the_complaint_weighs_the_faults_by_it(point: Callable[..., EntryPoint]) -> None:
    winch = load([point()]).systems["winch"]
    made = shown(winch, None, ["winch.slips"])
    # Odds of what tells it: brake 10/990 × 0.5, nothing 1 × 0.001, outside 80/920 × 0.002, two at once next
    # to nothing; the rope does not bear on it and stays out.
    brake, none, outside = 10 / 990 * 0.5, 0.001, 80 / 920 * 0.002
    assert made.chances["brake"] == pytest.approx(brake / (brake + none + outside), abs=0.02)


def test_a_visit_file_says_it_by_its_words(point: Callable[..., EntryPoint]) -> None:
    plugins = load([point()])
    made = assessed(
        'job = "slips"\ndemo = true\nreason = "It slips."\n'
        'vehicle = { description = "small van", no_vin = "not readable" }\n'
        '[complaint]\nsymptoms = ["The winch slips under load"]\n'
        '[[step]]\nseen = [{ of = "winch.rope", is = "sound" }]\n',
        plugins,
    )
    assert made.job.complained is not None and made.job.complained.symptoms == ["winch.slips"]
    assert made.suspects[0].fault == "brake"


def test_a_plugin_that_fails_leaves_no_symptom_behind(point: Callable[..., EntryPoint]) -> None:
    plugins = load([point(MODULE + "\nraise RuntimeError('late')\n")])
    assert plugins.failures and "winch.slips" not in symptoms().symptoms


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("The winch slips under load", "Nothing happens when I turn the key", "says what does_nothing says"),
        ('group="senses"', 'group="ropes"', "the headings are starting, running, senses, lamps, neither"),
        ("none=0.001", "none=0.0", "a chance lies between 0 and 1; got 0.0"),
        ("outside=0.002", "outside=1", "a chance lies between 0 and 1; got 1"),
        ('why="a load that is too heavy"', 'why=" "', "why somebody without a fault tells it"),
        ('"slips",', '"Slips",', "a name is short and lower case"),
    ],
)
def test_one_that_cannot_be_meant_is_refused(
    old: str, new: str, said: str, point: Callable[..., EntryPoint]
) -> None:
    plugins = load([point(MODULE.replace(old, new))])
    assert said in str(plugins.failures[0])


def test_a_table_names_only_those_of_its_own_that_are_there(point: Callable[..., EntryPoint]) -> None:
    plugins = load([point(table=TABLE.replace("winch.slips", "winch.slops"))])
    assert "there is no symptom" in str(plugins.failures[0]) and "winch.slops" in str(plugins.failures[0])


def test_the_kit_names_one_that_no_fault_is_told_by(point: Callable[..., EntryPoint]) -> None:
    table = TABLE.replace('[symptoms."winch.slips"]\nbrake = 0.5\n', "")
    winch = load([point(table=table)]).systems["winch"]
    lines = [str(one) for _, one in nonconformities(winch, examples=5, without=("words", "fault table"))]
    assert any(
        line.startswith("symptom winch.slips: is offered to the customer and no fault") for line in lines
    )


def test_two_systems_that_say_the_same_are_told_apart_by_a_refusal(point: Callable[..., EntryPoint]) -> None:
    other = MODULE.replace('"winch"', '"windlass"').replace("winch.rope", "windlass.rope")
    points = [point(), point(other, TABLE.replace("winch.", "windlass."), "windlass")]
    plugins = load(points)
    assert list(plugins.systems) == ["winch"]
    assert "windlass.slips says what winch.slips says" in str(plugins.failures[0])
