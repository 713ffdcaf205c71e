"""What a plugin adds to another plugin's system: the brake hoses of the example, and what is refused.

Judge: Bayes' rule by hand.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterator
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from corekit.model.finding import Reason
from corekit.plugin import set_aside
from corekit.plugin.addition import Addition
from corekit.plugin.host import load
from corekit.testing import Bench, nonconformities, shown

from ..assess.story import Story

EXAMPLE = Path(__file__).parents[2] / "demo" / "brakes"
Points = Callable[..., list[EntryPoint]]


@pytest.fixture
def points(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Points]:
    """Copies the example and gives its two entry points; of the addition some text is exchanged."""
    monkeypatch.syspath_prepend(str(tmp_path))

    def forget() -> None:
        for name in [one for one in sys.modules if one.startswith("corekit_brakes")]:
            del sys.modules[name]

    def written(*exchanged: tuple[str, str, str], name: str = "brakes.hoses") -> list[EntryPoint]:
        forget()
        for package in ("corekit_brakes", "corekit_brakes_hoses"):
            shutil.copytree(EXAMPLE / package, tmp_path / package, dirs_exist_ok=True)
        for file, old, new in exchanged:
            path = tmp_path / "corekit_brakes_hoses" / file
            text = path.read_text("utf-8")
            assert old in text, old
            path.write_text(text.replace(old, new), "utf-8")
        return [
            EntryPoint(name="brakes", value="corekit_brakes", group="corekit"),
            EntryPoint(name=name, value="corekit_brakes_hoses", group="corekit"),
        ]

    yield written
    forget()


def test_it_stands_under_the_key_of_the_system_and_the_system_stays_as_it_was(points: Points) -> None:
    plugins = load(points())
    assert plugins.failures == ()
    brakes = plugins.systems["brakes"]
    assert {"brakes.hoses_look", "brakes.pedal"} <= set(plugins.observations)
    assert brakes.faults is not None and list(brakes.faults.faults)[-1] == "hoses_closed"
    own = sys.modules["corekit_brakes"].brakes
    assert "brakes.hoses_look" not in own.observations and "hoses_closed" not in own.faults.faults
    assert plugins.additions["brakes.hoses"].title == "Brake hoses"


def test_its_check_is_run_and_speaks_for_its_own_fault(points: Points) -> None:
    brakes = load(points()).systems["brakes"]
    made = Bench(brakes).see("hoses_look", "swollen or cracked", "front left")
    found = made.finding("brakes.hoses_look")
    assert (found.verdict, found.calls_for) == ("fail", "brakes.hoses_replace_hose")
    assert made.shown().chances["hoses_closed"] > shown(brakes).chances["hoses_closed"]


def test_a_test_of_the_system_knows_its_fault(points: Points) -> None:
    brakes = load(points()).systems["brakes"]
    table = brakes.faults
    assert table is not None
    assert table.tests["pressure"].likelihood("hoses_closed") == (0.15, 0.85)
    before, after = shown(brakes), shown(brakes, pedal="firm", pressure="too low")
    hose, cylinder = frozenset({"hoses_closed"}), frozenset({"master_cylinder"})
    odds = before.together[hose] / before.together[cylinder] * (0.92 * 0.85) / (0.10 * 0.95)
    assert after.together[hose] / after.together[cylinder] == pytest.approx(odds)


def test_with_it_a_whole_job_is_judged_as_one_system(points: Points) -> None:
    story = Story(plugins=load(points()))
    made = story.see("brakes.hoses_look", "swollen or cracked").assessment
    assert "hoses_closed" in [one.fault for one in made.suspects]
    assert made.versions["brakes"].endswith("with brakes.hoses")


REFUSED = {
    "a fault of the system": (
        [("faults.toml", "hoses_closed", "air")],
        "the fault 'air' is brakes's own",
    ),
    "a fault without its name": (
        [("faults.toml", "hoses_closed", "closed")],
        "call it hoses_closed",
    ),
    "a row of the system's": (
        [("faults.toml", "[test.pressure]  # a test of the brakes: what it shows under the hoses' fault\n",
          "[test.pressure]\ngiven.air = { p = [0.5, 0.5], why = 'x' }\n")],
        "the test 'pressure' is brakes's own; an addition gives rows of its own faults",
    ),
    "minutes of the system's test": (
        [("faults.toml", "[test.pressure]", "[test.pressure]\nminutes = 1\n#")],
        "the test 'pressure' is brakes's own",
    ),
    "a test without its name": (
        [("faults.toml", "[test.hoses_look]", "[test.look]")],
        "call it hoses_look",
    ),
    "a symptom's row of the system's": (
        [("faults.toml", "[test.hoses_look]", "[when.hot]\nair = 2\n\n[test.hoses_look]")],
        "when.hot.air is brakes's own",
    ),
    "a code that is not its own": (
        [("__init__.py", 'hoses = ck.Addition(brakes, "hoses",', 'hoses = ck.Addition(brakes, "pipes",')],
        "its entry point is called 'brakes.hoses'; what 'pipes' adds to 'brakes' is called 'brakes.pipes'",
    ),
    "a row that sums to 2": (
        [("faults.toml", "p = [0.15, 0.85]", "p = [0.15, 1.85]")],
        "test.pressure.given.hoses_closed",
    ),
    "a newer API": (
        [("__init__.py", 'api="1.0"', 'api="1.9999"')],
        "brakes.hoses needs API 1.9999",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_it_may_not_say_costs_it_alone_and_is_named(name: str, points: Points) -> None:
    exchanged, said = REFUSED[name]
    plugins = load(points(*exchanged))
    assert list(plugins.systems) == ["brakes"] and "hoses_closed" not in str(plugins.systems["brakes"].faults)
    (failure,) = plugins.failures
    assert failure.plugin == "brakes.hoses" and said in str(failure), str(failure)
    assert str(failure).endswith("What it adds is not assessed in this visit.")


def test_without_the_system_it_is_named_and_not_loaded(points: Points) -> None:
    plugins = load(points()[1:])
    assert not plugins.systems
    assert "it adds to 'brakes', which is not loaded" in str(plugins.failures[0])


def test_it_can_be_left_out_alone(points: Points, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(set_aside.plugins, "brakes.hoses", set_aside.BY_WISH)
    plugins = load(points())
    assert "brakes.hoses_look" not in plugins.observations and "brakes.pedal" in plugins.observations
    assert plugins.failures[0].is_wished


def test_a_check_of_it_that_raises_is_blamed_on_it(points: Points) -> None:
    broken = ("__init__.py", "    for place, answer in seen.items():\n", "    for place, answer in 1 / 0:\n")
    story = Story(plugins=load(points(broken)))
    made = story.see("brakes.hoses_look", "sound").see("brakes.pedal", "firm").assessment
    (gap,) = [one for one in made.gaps if one.reason is Reason.PLUGIN_FAILED]
    assert gap.check == "Brake hoses" and "corekit_brakes_hoses" in gap.text


def test_it_conforms_and_what_is_wrong_with_it_is_told_without_what_is_the_systems_own(
    points: Points,
) -> None:
    conforming = load(points()).additions["brakes.hoses"]
    assert [str(one) for _, one in nonconformities(conforming, examples=25)] == []
    wrong = [
        ("faults.toml", ', direct = "swollen"', ""),
        ("__init__.py", 'tells="how the brake hoses look",', 'tells="the resistance of the hoses",'),
    ]
    added = load(points(*wrong)).additions["brakes.hoses"]
    lines = [str(one) for _, one in nonconformities(added, examples=25)]
    assert any(line.startswith("fault hoses_closed: calls for brakes.hoses_replace_hose") for line in lines)
    assert all("hoses" in line for line in lines) and len(lines) == 2, lines


def test_an_addition_s_names_begin_with_its_own(points: Points) -> None:
    load(points())
    brakes = sys.modules["corekit_brakes"].brakes
    made = Addition(brakes, "pads", "Pads", folder=Path("none"))
    assert made.part("pad", "Pad").key == "brakes.pads_pad"
    with pytest.raises(ValueError, match=r"begins with brakes\.pads_…; got 'brakes\.wear'"):
        made.checked_code("brakes.wear")
    assert made.part("shoe", "Shoe") and made.operation(
        "swap", "Swap", replaces=brakes.parts["brakes.master_cylinder"]
    )


def test_a_source_with_the_key_of_another_is_refused(points: Points, tmp_path: Path) -> None:
    exchanged = points()
    text = '[[source]]\nkey = "left-right"\ntitle = "Other"\nbasis = "practice"\nstatus = "none"\n'
    (tmp_path / "corekit_brakes_hoses" / "sources.toml").write_text(text, "utf-8")
    assert "the source 'left-right' is another one of brakes" in str(load(exchanged).failures[0])
