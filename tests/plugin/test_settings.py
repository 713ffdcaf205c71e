"""Settings of a plugin: declared with a default, said once in shop.toml. A stranger's pool heater."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from importlib.metadata import EntryPoint
from pathlib import Path

import attrs
import pytest

import corekit as ck
from corekit.assess.assessment import assess
from corekit.desk.settings import Settings, read_settings, with_settings
from corekit.fault import DataFileError
from corekit.isolation.worker import Worker
from corekit.plugin.host import Plugins, load
from corekit.report.sheet import Issuer
from corekit.testing import Bench, nonconformities

from ..assess.story import Story

MODULE = """
from collections.abc import Iterator
from enum import Enum
from typing import Annotated

import corekit as ck

pool = ck.System("pool", "Pool heater", api="1.0")


class Fluid(Enum):
    WATER = "water"
    BRINE = "brine"


water = pool.measurand("water", "°C", "Water", possible=(0, 60), usual=(5, 40), accuracy="1 °C", how="In.")
coldest = pool.setting(
    "coldest", "Coldest water wanted", units=("°C",), possible=(5, 40), default="20 °C", how="For all pools."
)
fluid = pool.setting("fluid", "What is in it", Fluid, default=Fluid.WATER)


@pool.check("Warm enough")
def warm(
    case: ck.Case,
    read: Annotated[ck.Reading, water],
    least: Annotated[ck.Value, coldest],
    kind: Annotated[Fluid, fluid],
) -> Iterator[ck.Finding | ck.Gap]:
    limit = case.computed_limit("pool.water", "house", low=least, width=0.5, why="invented")
    name = kind.value
    says = ck.Says(passes=f"{name}: warm.", fails=f"{name}: cold.", undecided=f"{name}: near.")
    tells = ck.Tells(passes="Warm.", fails="Cold.", undecided="Near.")
    yield case.judge(read, limit, ck.Claim("pool.warm"), says, tells)


@ck.hookimpl
def corekit_system() -> ck.System:
    return pool
"""
SOURCES = '[[source]]\nkey = "house"\ntitle = "Invented"\nbasis = "practice"\nstatus = "none"\n'


@pytest.fixture
def point(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> EntryPoint:
    monkeypatch.syspath_prepend(str(tmp_path))
    folder = tmp_path / "pool_plugin"
    folder.mkdir()
    (folder / "__init__.py").write_text(MODULE, "utf-8")
    (folder / "sources.toml").write_text(SOURCES, "utf-8")
    sys.modules.pop("pool_plugin", None)
    return EntryPoint(name="pool", value="pool_plugin", group="corekit")


@pytest.fixture
def plugins(point: EntryPoint) -> Iterator[Plugins]:
    loaded = load([point])
    assert loaded.failures == ()
    yield loaded


def bench(plugins: Plugins) -> Bench:
    return Bench(plugins.systems["pool"]).read("water", "22 °C")


def test_without_a_word_of_the_shop_the_default_holds(plugins: Plugins) -> None:
    found = bench(plugins).finding("pool.warm")
    assert (found.verdict, str(found.text)) == (ck.Verdict.PASS, "water: warm.")


def test_what_the_shop_says_counts(plugins: Plugins) -> None:
    made = bench(plugins).say("coldest", "25 °C").say("fluid", "brine")
    assert (made.finding("pool.warm").verdict, str(made.finding("pool.warm").text)) == (
        "fail",
        "brine: cold.",
    )


def said(**rows: str) -> Settings:
    issuer = Issuer(name="A", address=("B",))
    return Settings(issuer=issuer, plugins={"pool": rows, "of_tomorrow": {"anything": "at all"}})


def test_shop_toml_reaches_a_check_and_what_belongs_to_no_plugin_waits(plugins: Plugins) -> None:
    story = Story(plugins=with_settings(plugins, said(coldest="77 °F")))  # 25 °C
    assert [one.verdict for one in story.read("pool.water", "22 °C").assessment.findings] == ["fail"]


@pytest.mark.parametrize(
    ("rows", "said_of_it"),
    [
        ({"coldest": "50 °C"}, ["plugins.pool.coldest", "50 °C cannot be", "from 5 °C to 40 °C"]),
        ({"coldest": "cold"}, ["plugins.pool.coldest", 'as "20 °C"']),
        ({"coldest": "5 V"}, ["plugins.pool.coldest"]),
        ({"fluid": "beer"}, ["plugins.pool.fluid", 'write "water", "brine"']),
        ({"warmest": "5 °C"}, ["plugins.pool.warmest", "there is no setting warmest", "coldest", "fluid"]),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_place(
    rows: dict[str, str], said_of_it: list[str], plugins: Plugins
) -> None:
    with pytest.raises(DataFileError) as refused:
        with_settings(plugins, said(**rows))
    assert all(words in str(refused.value) for words in said_of_it), str(refused.value)


def test_every_fault_of_the_settings_is_told_at_once(plugins: Plugins) -> None:
    with pytest.raises(DataFileError) as refused:
        with_settings(plugins, said(coldest="50 °C", fluid="beer"))
    assert "plugins.pool.coldest" in str(refused.value) and "plugins.pool.fluid" in str(refused.value)


def test_the_settings_are_read_from_the_shop_s_own_file(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text(
        'name = "A"\naddress = ["B"]\n\n[plugins.pool]\ncoldest = "25 °C"\n', "utf-8"
    )
    assert read_settings(tmp_path, demo=True).plugins == {"pool": {"coldest": "25 °C"}}


def test_the_process_that_runs_the_checks_knows_them_too(plugins: Plugins, point: EntryPoint) -> None:
    set_so = with_settings(plugins, said(coldest="25 °C", fluid="brine"))
    story = Story(plugins=set_so).read("pool.water", "22 °C")
    with Worker([point]) as works:
        there = works(story.job, set_so)
    here = assess(story.job, set_so)
    assert [(one.verdict, str(one.text)) for one in there.findings] == [("fail", "brine: cold.")]
    assert [str(one) for one in there.findings] == [str(one) for one in here.findings]


@pytest.mark.parametrize(
    ("made", "said_of_it"),
    [
        ({"units": ("°C",), "default": "warm"}, "its default: "),
        ({"units": ("°C",), "default": "50 °C", "possible": (0, 40)}, "50 °C cannot be"),
        ({"default": "x"}, "closed answers or units, one of the two"),
        ({"units": ("furlong",), "default": "1 furlong"}, "furlong"),
    ],
)
def test_one_that_cannot_be_meant_is_refused_at_import(made: dict[str, object], said_of_it: str) -> None:
    with pytest.raises(ValueError, match=said_of_it):
        ck.System("fresh", "Fresh").setting("x", "X", **made)  # type: ignore[arg-type]


def test_a_check_may_not_do_without_one(point: EntryPoint) -> None:
    text = MODULE.replace("least: Annotated[ck.Value, coldest]", "least: Annotated[ck.Value | None, coldest]")
    path = Path(sys.path[0]) / "pool_plugin" / "__init__.py"
    path.write_text(text, "utf-8")
    assert "which always has a value; leave out `| None`" in str(load([point]).failures[0])


def test_the_kit_draws_settings_and_names_one_that_nothing_takes(plugins: Plugins) -> None:
    pool = plugins.systems["pool"]
    assert [str(one) for _, one in nonconformities(pool, examples=25, without=("words",))] == []
    pool.setting("unasked", "Unasked", units=("°C",), default="5 °C")
    lines = [str(one) for _, one in nonconformities(pool, examples=2, without=("words",))]
    assert any(line.startswith("setting pool.unasked: is asked for and no check") for line in lines)


def test_the_words_for_shop_toml_are_listed(plugins: Plugins) -> None:
    from corekit.cli.plugins import _words

    text = "\n".join(_words(plugins.systems["pool"]))
    assert (
        'in shop.toml, [plugins.pool]\n  "coldest"  Coldest water wanted; in °C; "20 °C" where nothing'
        in text
    )
    assert '"fluid"  What is in it; "water", "brine"' in text


def test_settings_of_another_shop_change_nothing_here(plugins: Plugins) -> None:
    other = with_settings(plugins, said(coldest="25 °C"))
    assert (plugins.said, other.said) == ({}, {"pool.coldest": "25 °C"})
    assert attrs.evolve(other, said={}).said == {}
