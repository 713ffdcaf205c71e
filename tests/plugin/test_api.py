"""What stays for a plugin's author: the version it was written for, names that go, hooks of other corekits,
and what mypy sees of a wrong type.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

import corekit as ck
from corekit.plugin import api
from corekit.plugin.api import ApiError
from corekit.plugin.explained import explanation
from corekit.plugin.host import load

ROOT = Path(__file__).parents[2]
PLUGIN = """
import corekit as ck

made = ck.System("early", "Early", api="{api}")


@ck.hookimpl
def corekit_system() -> ck.System:
    return made


@ck.hookimpl(optionalhook=True)
def corekit_of_tomorrow() -> None:
    pass
"""


@pytest.fixture
def point(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], EntryPoint]:
    monkeypatch.syspath_prepend(str(tmp_path))

    def written(text: str) -> EntryPoint:
        (tmp_path / "early_plugin.py").write_text(text, "utf-8")
        sys.modules.pop("early_plugin", None)
        return EntryPoint(name="early", value="early_plugin", group="corekit")

    return written


@pytest.mark.parametrize("version", ["", "1.0", "1.3"])
def test_a_plugin_for_this_api_or_an_earlier_minor_one_is_taken(
    version: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(api, "API_VERSION", "1.3")
    assert ck.System("early", "Early", api=version).api == version


@pytest.mark.parametrize(
    ("version", "said"),
    [
        ("1.4", "needs API 1.4, and this corekit has 1.3: pip install -U corekit"),
        ("2.0", "was written for API 2.0, a newer one"),
        ("0.9", "was written for API 0.9, an older one"),
        ("1", 'write two numbers, such as "1.3"'),
        ("one", "is no version"),
    ],
)
def test_a_plugin_for_another_api_is_refused_with_what_to_install(
    version: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(api, "API_VERSION", "1.3")
    with pytest.raises(ApiError) as refused:
        ck.System("early", "Early", api=version)
    assert said in str(refused.value)


def test_the_host_names_a_plugin_for_another_api(point: Callable[[str], EntryPoint]) -> None:
    plugins = load([point(PLUGIN.format(api="99.0"))])
    assert not plugins.systems
    assert "was written for API 99.0" in str(plugins.failures[0])


def test_a_hook_of_a_newer_corekit_costs_nothing_where_it_is_marked_optional(
    point: Callable[[str], EntryPoint],
) -> None:
    plugins = load([point(PLUGIN.format(api="1.0"))])
    assert (list(plugins.systems), plugins.failures) == (["early"], ())
    assert plugins.hooks == {"early": ("corekit_system",)}


def test_a_hook_that_no_corekit_has_is_refused_with_the_hooks_there_are(
    point: Callable[[str], EntryPoint],
) -> None:
    plugins = load([point(PLUGIN.format(api="1.0").replace("(optionalhook=True)", ""))])
    said = str(plugins.failures[0])
    assert "corekit_of_tomorrow" in said and "there are corekit_system, " in said
    assert "optionalhook=True" in said


def test_only_the_hooks_that_a_plugin_has_are_told() -> None:
    lines = list(explanation("battery"))
    assert "  hooks     corekit_system" in lines
    assert f"  api       {api.API_VERSION}" in lines


def test_a_name_that_goes_warns_and_says_what_to_write(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(ck.DEPRECATED, "show", ("ck.written", "1.2"))
    with pytest.warns(
        DeprecationWarning, match=r"corekit\.show is deprecated since API 1\.2; write ck\.writ"
    ):
        assert ck.show is not None


def test_a_name_that_is_not_there_is_told_with_the_version() -> None:
    with pytest.raises(AttributeError) as refused:
        _ = ck.Sistem  # type: ignore[attr-defined]
    assert "has no name 'Sistem'; it has API_VERSION, Addition, " in str(refused.value)
    assert str(refused.value).endswith(f"(API {api.API_VERSION})")


AUTHOR = '''
from collections.abc import Iterator
from typing import Annotated

import corekit as ck

lamps = ck.System("lamps", "Lamps")
voltage = lamps.measurand(
    "voltage", "V", "Voltage", possible=(0, 30), usual=(9, 15), accuracy="0.1 V", how="At the lamp."
)


@lamps.calculation(source="book")
def half(
    whole: Annotated[float, ck.Input("V", "Voltage", 0, 30)],
) -> Annotated[float, ck.Output("V", "Half")]:
    """Half of it."""
    return whole / 2


@lamps.calculation(source="book")
def nine(
    a: Annotated[float, ck.Input("V", "One", 0, 30)],
    b: Annotated[float, ck.Input("V", "Two", 0, 30)],
    c: Annotated[float, ck.Input("V", "Three", 0, 30)],
    d: Annotated[float, ck.Input("V", "Four", 0, 30)],
    e: Annotated[float, ck.Input("V", "Five", 0, 30)],
    f: Annotated[float, ck.Input("V", "Six", 0, 30)],
    g: Annotated[float, ck.Input("V", "Seven", 0, 30)],
    h: Annotated[float, ck.Input("V", "Eight", 0, 30)],
    i: Annotated[float, ck.Input("V", "Nine", 0, 30)],
) -> Annotated[float, ck.Output("V", "All")]:
    """All of them."""
    return a + b + c + d + e + f + g + h + i


@lamps.check("Voltage")
def bright(
    case: ck.Case, read: Annotated[ck.Reading, voltage], more: Annotated[ck.Reading | None, voltage]
) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("lamps.voltage"), "{value}", half(read))


def right(case: ck.Case, read: ck.Reading) -> list[ck.Finding | ck.Gap]:
    shown: str = half.key
    value: ck.Value = half(read)
    bare: float = half.si(12.0)
    many: ck.Value = nine(read, read, read, read, read, read, read, read, read)
    whatever: ck.Value | ck.Possible[ck.Value] = half(case.ends(None, voltage))
    return [*bright(case, read, None), *bright(case, read=read, more=read)]
'''
WRONG = {
    "a bare number for a quantity": "half(12.0)",
    "a quantity too few": "half()",
    "a quantity too many": "half(read, read)",
    "a misspelt name": "half(hole=read)",
    "a text for a number": 'half.si("12 V")',
    "a number too few for the bare function": "half.si()",
    "a misspelt name for the bare function": "half.si(hole=12.0)",
    "a reading that may be missing": "half(maybe)",
    "a check without its reading": "bright(case)",
    "a check with a misspelt name": "bright(case, read=read, moore=None)",
    "a check with a value for a reading": "bright(case, read.value, None)",
    "a check with its arguments in another order": "bright(read, case, None)",
    "a check that returns": """
@lamps.check("Returns")
def returns(case: ck.Case) -> ck.Finding | None:
    return None
""",
    "a check that forgets the case": """
@lamps.check("Forgets")
def forgets(read: Annotated[ck.Reading, voltage]) -> Iterator[ck.Finding | ck.Gap]:
    yield from ()
""",
    "a want that is used as if it were always there": """
@lamps.check("Careless")
def careless(case: ck.Case, read: Annotated[ck.Reading | None, voltage]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.gap(voltage, read.typed)
""",
    "a unit that is no text": 'lamps.part("lamp", 5)',
    "a name that corekit does not have": "ck.Sistem",
}


def test_mypy_sees_what_an_author_gets_wrong_and_nothing_else(tmp_path: Path) -> None:
    lines = AUTHOR.splitlines()
    at: dict[str, range] = {}
    for name, text in WRONG.items():
        begins = len(lines) + 1
        body = (
            text
            if "\n" in text
            else (
                "\ndef wrong(case: ck.Case, read: ck.Reading, maybe: ck.Reading | None) -> object:\n"
                f"    return {text}\n"
            )
        )
        lines += body.replace("def wrong", f"def wrong_{len(at)}").splitlines()
        at[name] = range(begins, len(lines) + 1)
    file = tmp_path / "author.py"
    file.write_text("\n".join(lines) + "\n", "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent", "--config-file=", file],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    faults = {int(line.split(":")[1]): line for line in done.stdout.splitlines() if ": error:" in line}
    for name, places in at.items():
        assert [line for number, line in faults.items() if number in places], f"{name}: mypy saw nothing"
    strange = [line for number, line in faults.items() if not any(number in places for places in at.values())]
    assert strange == []
