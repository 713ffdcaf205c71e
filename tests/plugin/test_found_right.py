"""What was found right of a system at an earlier start is read when somebody asks, and nothing else is."""

from __future__ import annotations

import sys
from collections.abc import Callable
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from corekit.isolation.worker_process import without_checks
from corekit.plugin.host import Plugins, load
from corekit.reference import sources

MODULE = """
from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

hoist = ck.System("hoist", "Hoist", api="1.0")
load_ = hoist.measurand(
    "load", "N", "Load", possible=(0, 9000), usual=(0, 5000), accuracy="2 %", how="Scale in the rope."
)
volts = ck.foreign("battery.open_circuit_voltage", "V", "Volts")


@hoist.calculation(source="rope")
def stretch(force: Annotated[float, ck.Input("N", "Pull", 0)]) -> Annotated[float, ck.Output("m", "Stretch")]:
    \"\"\"Stretch of the rope.\"\"\"
    return force / 1000


@hoist.check("Load")
def carries(
    case: ck.Case, pull: Annotated[ck.Reading, load_], seen: Annotated[ck.Reading | None, volts]
) -> Iterator[ck.Finding | ck.Gap]:
    claim = ck.Claim("hoist.load", evidence=[pull], urgency=ck.Urgency.NOTHING)
    yield case.advise(claim, "Load.", tells="Load.")


@ck.hookimpl
def corekit_system() -> ck.System:
    return hoist
"""
SOURCES = '[[source]]\nkey = "rope"\ntitle = "Invented"\nbasis = "practice"\nstatus = "memory"\n'


@pytest.fixture
def hoist(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Plugins]:
    """Loads the plugin as a new start would, with other text in its module."""
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "compiled"))
    folder = tmp_path / "hoist_plugin"
    folder.mkdir()
    (folder / "__init__.py").write_text(MODULE)
    (folder / "sources.toml").write_text(SOURCES)
    monkeypatch.syspath_prepend(str(tmp_path))
    writings = iter(range(100))

    def start(old: str = "", new: str = "") -> Plugins:
        if old:
            assert old in MODULE
            (folder / "__init__.py").write_text(MODULE.replace(old, new) + "\n" * next(writings))
        for name in [name for name in sys.modules if name.partition(".")[0] == "hoist_plugin"]:
            monkeypatch.delitem(sys.modules, name)
        sources.cache_clear()
        return load([EntryPoint(name="hoist", value="hoist_plugin", group="corekit")])

    return start


def was_read(plugins: Plugins) -> tuple[bool, bool]:
    """Whether the annotations of the check and of the calculation have been read."""
    system = plugins.systems["hoist"]
    return isinstance(system.checks["carries"]._parameters, tuple), "_declared" in vars(
        system.calculations["hoist.stretch"]
    )


def test_annotations_are_read_at_the_first_start_and_at_the_next_when_somebody_asks(
    hoist: Callable[..., Plugins],
) -> None:
    first = hoist()
    assert was_read(first) == (True, True)
    again = hoist()
    assert was_read(again) == (False, False)
    system = again.systems["hoist"]
    check, calculation = system.checks["carries"], system.calculations["hoist.stretch"]
    assert [(one.name, one.of.key, one.needed) for one in check.parameters] == [
        ("pull", "hoist.load", True),
        ("seen", "battery.open_circuit_voltage", False),
    ]
    assert check.parameters[0].of == system.measurands["hoist.load"]
    assert (calculation.inputs["force"].unit, calculation.output.unit, calculation.title) == (
        "N",
        "m",
        "Stretch of the rope.",
    )
    assert was_read(again) == (True, True)


def test_a_changed_module_has_all_its_annotations_read_and_refused_where_they_are_wrong(
    hoist: Callable[..., Plugins],
) -> None:
    hoist()
    assert was_read(hoist("Stretch of the rope.", "How far it stretches.")) == (True, True)
    (failure,) = hoist('ck.Input("N", "Pull", 0)', '"N"').failures
    assert "force must carry one ck.Input" in failure.what
    (failure,) = hoist("seen: Annotated[ck.Reading | None, volts]", "seen: ck.Reading").failures
    assert "seen must be Annotated" in failure.what


def test_a_source_that_is_gone_is_missed_at_the_next_start(
    hoist: Callable[..., Plugins], tmp_path: Path
) -> None:
    hoist()
    (tmp_path / "hoist_plugin" / "sources.toml").write_text(SOURCES.replace("rope", "chain"))
    (failure,) = hoist().failures
    assert "no source 'rope'" in failure.what


def test_a_name_that_stands_for_something_else_by_the_end_is_read_at_every_start(
    hoist: Callable[..., Plugins],
) -> None:
    """Read later, the check would ask for another quantity."""
    other = 'volts = load_ = ck.foreign("battery.open_circuit_voltage", "V", "Volts")\n\n\n@ck.hookimpl'
    for plugins in (hoist("@ck.hookimpl", other), hoist()):
        assert was_read(plugins) == (True, True)
        (first, _) = plugins.systems["hoist"].checks["carries"].parameters
        assert first.of.key == "hoist.load"


def test_a_system_with_a_loose_end_is_refused_at_every_start(hoist: Callable[..., Plugins]) -> None:
    for plugins in (hoist('source="rope"', 'source="wire"'), hoist()):
        (failure,) = plugins.failures
        assert "no source 'wire'" in failure.what


def test_what_is_asked_of_another_system_is_known_without_reading(hoist: Callable[..., Plugins]) -> None:
    for _ in range(2):
        system = hoist().systems["hoist"]
        assert [(one.key, one.kind) for one in system.foreign_wants] == [
            ("battery.open_circuit_voltage", "voltage")
        ]
    system = hoist().systems["hoist"]
    assert system.found_right.foreign(system) == (("battery.open_circuit_voltage", "voltage"),)
    bare = without_checks(hoist(), frozenset({"hoist"})).systems["hoist"]
    assert bare.found_right.foreign(bare) is None


def test_nothing_is_noted_where_python_writes_no_compiled_modules(
    hoist: Callable[..., Plugins], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    for _ in range(2):
        assert was_read(hoist()) == (True, True)
    assert not list(tmp_path.rglob("*-right-*"))


@pytest.mark.parametrize("damage", [b"", b"nothing of ours"])
def test_a_damaged_note_is_none(damage: bytes, hoist: Callable[..., Plugins], tmp_path: Path) -> None:
    hoist()
    (file,) = tmp_path.rglob("*-right-*")
    file.write_bytes(damage)
    assert was_read(hoist()) == (True, True)
