"""Units that a system brings along: luminous quantities, which the shared table has no kind for.

Expected numbers: 1 klx is 1000 lx (SI prefix), 1 foot-candle is 1 lm/ft², with 1 ft = 0.3048 m exactly.
"""

from __future__ import annotations

import importlib
import sys
import textwrap
from collections.abc import Callable, Iterator
from fractions import Fraction
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit import units
from corekit.plugin.host import load
from corekit.testing.visits import assessed
from corekit.unit_table import UnitError, own_units, set_own_units
from corekit.visit.questions import unit_keys

BEAMS = """
    from collections.abc import Iterator
    from typing import Annotated
    import corekit as ck

    beams = ck.System("beams", "Headlamps")
    lux = beams.unit("lx", kind="illuminance", title="Illuminance", also=("lux",))
    beams.unit("klx", kind="illuminance", factor=1000)
    dipped = beams.measurand(
        "dipped", lux, "Dipped beam on the wall", possible=(0, 200), usual=(2, 60), accuracy="5 % + 1 lx"
    )

    @beams.check("Dipped beam")
    def enough(case: ck.Case, read: Annotated[ck.Reading, dipped]) -> Iterator[ck.Finding | ck.Gap]:
        yield case.judge(
            read,
            case.limit(dipped),
            ck.Claim("beams.dipped"),
            ck.Says(passes="{value} of {limit}.", fails="{value}, {limit} is asked.", undecided="{value}?"),
        )

    @ck.hookimpl
    def corekit_system() -> ck.System:
        return beams
"""
SOURCES = '[[source]]\nkey = "book"\ntitle = "An invented book"\nbasis = "handbook"\nstatus = "read"\n'
LIMITS = (
    '[[limit]]\nkey = "beams.dipped"\nlow = 0.012\nunit = "klx"\nsource = "book"\nwidth = 0\nwhy = "exact"\n'
)
VISIT = """
job = "wall"
reason = "The light is dim."
vehicle = { description = "small hatchback", no_vin = "not readable" }
[[step]]
readings = [ { of = "beams.dipped", is = "%s" } ]
"""


@pytest.fixture(autouse=True)
def table_as_it_was() -> Iterator[None]:
    before = own_units()
    yield
    set_own_units(before)


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str, str], EntryPoint]]:
    monkeypatch.syspath_prepend(str(tmp_path))
    made: list[str] = []

    def write(name: str, source: str) -> EntryPoint:
        module = f"corekit_own_{name}"
        folder = tmp_path / module
        folder.mkdir()
        (folder / "__init__.py").write_text(textwrap.dedent(source), "utf-8")
        (folder / "sources.toml").write_text(SOURCES)
        (folder / "limits.toml").write_text(LIMITS)
        made.append(module)
        importlib.invalidate_caches()
        return EntryPoint(name, module, "corekit")

    yield write
    for module in made:
        sys.modules.pop(module, None)


def test_a_stranger_s_kind_is_typed_judged_printed_and_offered_on_the_screen(
    install: Callable[[str, str], EntryPoint],
) -> None:
    plugins = load([install("beams", BEAMS)])
    assert plugins.failures == ()
    for typed, shown, verdict in (("40 lux", "40 lx", "pass"), ("0.004 klx", "4.0 lx", "fail")):
        (finding,) = assessed(VISIT % typed, plugins).findings
        assert (finding.verdict, str(finding.text)[: len(shown)]) == (verdict, shown)
    assert "at least 12 lx" in str(finding.text)
    assert unit_keys(plugins.measurands["beams.dipped"])[0] == "lx"
    # ± (5 % + 1 lx) of 40 lx is 3 lx, evenly likely
    (finding,) = assessed(VISIT % "40 lx", plugins).findings
    assert finding.value is not None and finding.value.u == pytest.approx(3 / 3**0.5)


def test_a_unit_is_gone_when_its_plugin_is(install: Callable[[str, str], EntryPoint]) -> None:
    load([install("beams", BEAMS)])
    set_own_units(())
    with pytest.raises(UnitError, match="There is no unit 'lx'"):
        units.unit("lx")
    with pytest.raises(units.TypedError):
        units.read_quantity("40 lx", ["V"])


@given(st.floats(0, 1e6))
def test_numbers_in_a_declared_unit_are_the_exact_multiple(number: float) -> None:
    before = own_units()
    try:
        beams = ck.System("beams", "Headlamps")
        beams.unit("lx", kind="illuminance", title="Illuminance")
        beams.unit("fc", kind="illuminance", factor=Fraction(1) / Fraction("0.3048") ** 2)
        assert units.to_coherent(number, "fc") == pytest.approx(number / 0.3048**2, rel=1e-15)
        assert units.from_coherent(units.to_coherent(number, "fc"), "fc") == pytest.approx(number)
    finally:
        set_own_units(before)


def test_a_unit_of_a_kind_that_the_table_has_joins_it() -> None:
    ck.System("press", "Press").unit("tf", kind="force", factor="9806.65")
    assert units.to_coherent(2, "tf") == 19613.3
    assert units.read_quantity("3 kN", ["tf"]).number == 3000.0
    assert "tf" in [one.text for one in units.units_of("force")]


def test_pint_takes_a_stranger_s_kind_for_a_dimension_of_its_own() -> None:
    beams = ck.System("beams", "Headlamps")
    beams.unit("lx", kind="illuminance", title="Illuminance")
    made = units.quantity(ck.exact("illuminance", 12.0))
    assert units.from_quantity(made, "lx").number == 12.0
    with pytest.raises(ValueError, match="cannot be taken for a voltage"):
        units.from_quantity(made, "V")


@pytest.mark.parametrize(
    ("text", "how", "words"),
    [
        ("V", {"kind": "illuminance", "title": "Illuminance"}, ["'V'", "already is a unit of voltage"]),
        ("lx", {"kind": "illuminance", "title": "Illuminance", "also": ("volts",)}, ["'volts'", "voltage"]),
        ("bar", {"kind": "illuminance", "title": "Illuminance"}, ["'bar'", "already is a unit"]),
        ("", {"kind": "illuminance", "title": "Illuminance"}, ["spelling ''"]),
        ("5 lx", {"kind": "illuminance", "title": "Illuminance"}, ["spelling '5 lx'"]),
        ("l\x1bx", {"kind": "illuminance", "title": "Illuminance"}, ["spelling"]),
        ("__import__('os')", {"kind": "illuminance", "title": "Illuminance"}, ["spelling"]),
        ("x" * 21, {"kind": "illuminance", "title": "Illuminance"}, ["up to 20"]),
        ("lx", {"kind": "illuminance"}, ["first of the kind", "a title"]),
        ("klx", {"kind": "illuminance", "title": "Illuminance", "factor": 1000}, ["first of the kind"]),
        ("lx", {"kind": "[length] / 0", "title": "Illuminance"}, ["a few words in small letters"]),
        ("tf", {"kind": "force", "factor": 0}, ["factor 0", "positive"]),
        ("tf", {"kind": "force", "factor": -2}, ["factor -2"]),
        ("tf", {"kind": "force", "factor": float("nan")}, ["factor nan"]),
        ("tf", {"kind": "force", "factor": "9806.65 N"}, ["factor"]),
        ("tf", {"kind": "force", "factor": "1e400"}, ["factor"]),
        ("tf", {"kind": "force", "title": "Weight"}, ["called 'Force' and not 'Weight'"]),
        ("ksi", {"kind": "pressure gauge", "factor": "6894757"}, ["shared table alone"]),
        ("e5", {"kind": "illuminance", "title": "Illuminance"}, ["e5"]),
    ],
)
def test_a_unit_that_cannot_be_meant_is_refused_and_leaves_nothing_behind(
    text: str, how: dict[str, object], words: list[str]
) -> None:
    before = units.units()
    with pytest.raises(UnitError) as refused:
        ck.System("beams", "Headlamps").unit(text, **how)  # type: ignore[arg-type]
    assert [word for word in words if word not in str(refused.value)] == []
    assert units.units() == before


def test_two_plugins_that_say_the_same_of_a_unit_stand_side_by_side(
    install: Callable[[str, str], EntryPoint],
) -> None:
    other = BEAMS.replace("beams", "dash")
    plugins = load([install("beams", BEAMS), install("dash", other)])
    assert [failure.plugin for failure in plugins.failures] == []


@pytest.mark.parametrize(
    "otherwise",
    [
        ('"klx", kind="illuminance", factor=1000', '"klx", kind="illuminance", factor=1024'),
        ('kind="illuminance", title="Illuminance"', 'kind="illuminance", title="Light"'),
        ('"lx", kind="illuminance"', '"lx", kind="brightness"'),
    ],
)
def test_of_two_plugins_that_disagree_the_second_is_refused_by_name_and_costs_the_first_nothing(
    otherwise: tuple[str, str], install: Callable[[str, str], EntryPoint]
) -> None:
    other = BEAMS.replace("beams", "dash").replace(*otherwise)
    if "brightness" in other:
        other = other.replace("illuminance", "brightness")
    plugins = load([install("beams", BEAMS), install("dash", other)])
    (failure,) = plugins.failures
    assert failure.plugin == "dash"
    assert "beams" in failure.what and "disagree" in failure.what and "dash" in failure.what
    (finding,) = assessed(VISIT % "40 lx", plugins).findings
    assert finding.verdict == "pass"


def test_a_plugin_that_fails_takes_its_units_along(install: Callable[[str, str], EntryPoint]) -> None:
    broken = BEAMS + "\n    raise RuntimeError('half-way')\n"
    plugins = load([install("beams", broken)])
    assert [failure.plugin for failure in plugins.failures] == ["beams"]
    with pytest.raises(UnitError):
        units.unit("lx")


def test_the_plugins_of_this_project_get_by_with_the_shared_table() -> None:
    assert all(system.units == () for system in load().systems.values())
