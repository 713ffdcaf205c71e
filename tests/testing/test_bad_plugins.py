"""Each way in which a plugin was seen to go wrong is caught, with a message that names fault and cure.

What ends, hangs or fills the process is tried on `corekit plugins --check` itself, everything else on the
lines that it prints.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterator
from functools import partial
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from corekit import stopwatch
from corekit.plugin import host
from corekit.plugin.cures import cure_of
from corekit.plugin.host import load
from corekit.testing.kit import nonconformities, printed

from ..isolation.plugins import SWALLOWS, Site

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "templates" / "plugin" / "corekit_skeleton"
MODULE, TABLE, LIMITS, SOURCES = "__init__.py", "faults.toml", "limits.toml", "sources.toml"

Planted = tuple[str, str, str]


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., EntryPoint]]:
    """The template's plugin with some of its text exchanged, as it would be installed."""
    monkeypatch.syspath_prepend(str(tmp_path))
    few = partial(nonconformities, examples=8, visits=0, without=("words", "simulated visits"))
    monkeypatch.setattr(printed, "nonconformities", few)
    made: list[str] = []

    def write(*planted: Planted) -> EntryPoint:
        module = "corekit_bad_skeleton"
        folder = tmp_path / module
        shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("__pycache__"))
        for name, old, new in planted:
            text = (folder / name).read_text("utf-8")
            assert old in text, f"nothing to plant it in: {old}"
            (folder / name).write_text(text.replace(old, new), "utf-8")
        made.append(module)
        return EntryPoint(name="skeleton", value=module, group="corekit")

    yield write
    for module in made:
        sys.modules.pop(module, None)


OTHER = """
from collections.abc import Iterator

import corekit as ck

system = ck.System("other", "Other")


@system.check("Nothing")
def nothing(case: ck.Case) -> Iterator[ck.Finding | ck.Gap]:
    yield case.does_not_apply("Nothing.")


@ck.hookimpl
def corekit_system() -> ck.System:
    return system
"""


@pytest.fixture
def other(tmp_path: Path, install: Callable[..., EntryPoint]) -> Iterator[EntryPoint]:
    """Somebody else's system."""
    (tmp_path / "corekit_bad_other.py").write_text(OTHER, "utf-8")
    yield EntryPoint(name="other", value="corekit_bad_other", group="corekit")
    sys.modules.pop("corekit_bad_other", None)


def told(point: EntryPoint, *others: EntryPoint) -> list[str]:
    _, lines = printed.checked_lines("skeleton", load([point, *others]))
    return lines


WAY = "    lost = voltage_lost(at_battery, at_connector)\n    yield"
BEGIN = "from collections.abc import Iterator\n"
HOOK = "    return system\n"
FIRST = '@system.check("Voltage on'
SPEED = 'system.measurand("speed", "UNIT", "Speed", possible=(0, 3), usual=(0, 1), accuracy="A", how="Read.")'


def at_import(code: str) -> list[Planted]:
    return [(MODULE, BEGIN, f"{BEGIN}\n{code}\n")]


def in_check(code: str) -> list[Planted]:
    return [(MODULE, WAY, f"    {code}\n{WAY}")]


def declares(code: str) -> list[Planted]:
    return [(MODULE, FIRST, f"{code}\n\n\n{FIRST}")]


#: What it does, how the line that tells of it begins, and what it says of fault, place and cure.
BAD: dict[str, tuple[list[Planted], str, tuple[str, ...]]] = {
    "raises at import": (
        at_import("raise RuntimeError('no luck.')"),
        "Plugin skeleton: RuntimeError: no luck, at corekit_bad_skeleton/__init__.py line ",
        ("Mend that line", "COREKIT_TRACE=1"),
    ),
    "raises in the hook": (
        [(MODULE, HOOK, "    raise RuntimeError('not now')\n")],
        "Plugin skeleton: RuntimeError: not now, at corekit_bad_skeleton/__init__.py line ",
        ("Mend that line",),
    ),
    "sleeps in import": (
        at_import("import time\ntime.sleep(60)"),
        "Plugin skeleton: Overrun: it took longer than 1 s, and most of it was waiting, at ",
        ("__init__.py line ", "At import only declare"),
    ),
    "spins in import": (
        at_import("while True:\n    pass"),
        "Plugin skeleton: Overrun: it took longer than 0.5 s, at ",
        ("__init__.py line ", "end the loop"),
    ),
    "sleeps in check": (
        in_check("import time\n    time.sleep(60)"),
        "checks: check way (__init__.py line ",
        ("raised Overrun: it took longer than 0.4 s, and most", "end the loop"),
    ),
    "spins in check": (
        in_check("while at_battery:\n        pass"),
        "checks: check way (__init__.py line ",
        ("raised Overrun", "end the loop"),
    ),
    "yields for ever": (
        in_check('while True:\n        yield case.gap(supply, "Again.")'),
        "checks: check way: raised ValueError: it yielded more than 1000 findings",
        ("End the loop",),
    ),
    "declares a measurand twice": (
        [(MODULE, 'system.measurand(\n    "arriving_voltage"', 'system.measurand(\n    "supply_voltage"')],
        "Plugin skeleton: ValueError: skeleton.supply_voltage is declared twice, at ",
        ("__init__.py line ", "another name"),
    ),
    "declares an observation as a measurand": (
        declares('system.observation("supply_voltage", "S", Working)'),
        "Plugin skeleton: ValueError: skeleton.supply_voltage is declared twice, at ",
        ("__init__.py line ", "another name"),
    ),
    "has an unknown unit": (
        declares(SPEED.replace("UNIT", "furlong")),
        "Plugin skeleton: UnitError: skeleton.speed: There is no unit 'furlong'",
        ("__init__.py line ", "system.unit("),
    ),
    "has a bare bar": (
        declares(SPEED.replace("UNIT", "bar")),
        "Plugin skeleton: UnitError: skeleton.speed: The unit 'bar' leaves open",
        ("declare bar gauge, bar abs or bar diff", "__init__.py line "),
    ),
    "names no source for a calculation": (
        [(MODULE, 'source="voltages-add-up"', 'source="nobody"')],
        "Plugin skeleton: ValueError: calculation skeleton.voltage_lost: no source 'nobody'",
        ("Correct the key, or describe the source in sources.toml",),
    ),
    "names no source for a limit": (
        [(LIMITS, 'source = "half-a-volt"', 'source = "nobody"')],
        "Plugin skeleton: DataFileError: limits.toml of skeleton cannot be used: one fault. ",
        ("limit[0].source", 'there is no source "nobody"'),
    ),
    "has likelihoods that do not sum": (
        [(TABLE, "none      = [0.97, 0.02, 0.01]", "none      = [0.97, 0.02, 0.03]")],
        "Plugin skeleton: DataFileError: faults.toml of skeleton cannot be used: one fault. test.working.",
        ("none: is [0.97, 0.02, 0.03]; expected 3 probabilities, one for each outcome, that sum to 1",),
    ),
    "has a check that returns": (
        declares('@system.check("R")\ndef r(case: ck.Case) -> ck.Gap:\n    return case.gap(supply, "x")'),
        "Plugin skeleton: TypeError: r: a check yields its findings",
        ("use `yield case.judge(…)`, not `return`", "__init__.py line "),
    ),
    "has a check that yields a text": (
        in_check("yield 'fine'"),
        "checks: check way: raised TypeError: it yielded str instead of a Finding or a Gap",
        ("Yield what case.judge",),
    ),
    "has a check with another's code": (
        [(MODULE, '"skeleton.lost", of=arriving', '"battery.lost", of=arriving')],
        "checks: check way",
        ("'battery.lost'", "begins with its system's key"),
    ),
    "has a placeholder that is not filled": (
        [(MODULE, '"{value} lost between battery and connector; {limit} is allowed."', '"{volume} lost."')],
        "checks: check way",
        ("has a place that is not filled: 'volume'",),
    ),
    "has a check without hints": (
        declares('@system.check("R")\ndef r(case):\n    yield case.gap(supply, "x")'),
        "Plugin skeleton: TypeError: r: the first parameter is `case: Case`, at ",
        ("__init__.py line ",),
    ),
    "raises after one finding": (
        [(MODULE, "claim, LOST, LOST_PLAIN)", "claim, LOST, LOST_PLAIN)\n    raise RuntimeError('late')")],
        "checks: check way (__init__.py line ",
        ("raised RuntimeError: late with skeleton.", "becomes a gap"),
    ),
    "has an unknown hook": (
        declares("@ck.hookimpl\ndef corekit_sistem() -> ck.System:\n    return system"),
        "Plugin skeleton: PluginValidationError: unknown hook 'corekit_sistem'; there are corekit_system, ",
        ("optionalhook=True",),
    ),
    "leaves by sys.exit at import": (
        at_import("import sys\nsys.exit(3)"),
        "Plugin skeleton: SystemExit: 3, at ",
        ("__init__.py line ", "Never end the process"),
    ),
    "leaves by sys.exit in a check": (
        in_check("import sys\n    sys.exit(3)"),
        "checks: check way (__init__.py line ",
        ("raised SystemExit: 3", "Never end the process"),
    ),
    "recurses without end at import": (
        at_import("def again() -> None:\n    again()\n\n\nagain()"),
        "Plugin skeleton: RecursionError: ",
        ("__init__.py line ", "write it as a loop"),
    ),
    "recurses without end in a check": (
        in_check("yield from way(case, at_battery, at_connector)"),
        "checks: check way (__init__.py line ",
        ("raised RecursionError", "write it as a loop"),
    ),
    "replaces Case.judge": (
        at_import("import corekit as ck\n\nck.Case.judge = None"),
        "Plugin skeleton: AlteredError: it changed what is not its own (corekit.plugin.case.Case.judge)",
        ("work on copies",),
    ),
    "replaces Case.judge in a check": (
        in_check("ck.Case.judge = None"),
        "checks: check way: it changed what is not its own (corekit.plugin.case.Case.judge)",
        ("work on copies",),
    ),
    "replaces builtins.sorted in a check": (
        in_check("import builtins\n    builtins.sorted = len"),
        "checks: check way: it changed what is not its own (builtins.sorted)",
        ("work on copies",),
    ),
    "empties another system's checks": (
        at_import("import corekit_bad_other\n\ncorekit_bad_other.system.checks.clear()"),
        "Plugin skeleton: AlteredError: it changed what is not its own (system other.checks)",
        ("ck.Addition",),
    ),
    "empties another system's checks in a check": (
        in_check("import corekit_bad_other\n    corekit_bad_other.system.checks.clear()"),
        "checks: check way: it changed what is not its own (system other.checks)",
        ("ck.Addition",),
    ),
    "writes to the output in a check": (
        in_check("print('here')"),
        "checks: check way: prints 'here'",
        ("leave everything else alone",),
    ),
    "goes elsewhere at import": (
        at_import("import os\nos.chdir('/')"),
        "Plugin skeleton: AlteredError: it changed what is not its own (the working folder)",
        ("work on copies",),
    ),
    "changes the time zone at import": (
        at_import("import os\nos.environ['TZ'] = 'Pacific/Chatham'"),
        "Plugin skeleton: AlteredError: it changed what is not its own (the time zone)",
        ("work on copies",),
    ),
    "goes elsewhere in a check": (
        in_check("import os\n    os.chdir('/')"),
        "checks: check way: changes the current folder",
        ("leave everything else alone",),
    ),
    "changes the time zone in a check": (
        in_check("import os\n    os.environ['TZ'] = 'Pacific/Chatham'"),
        "checks: check way: changes the environment",
        ("leave everything else alone",),
    ),
    "seeds what is random in a check": (
        in_check("import random\n    random.seed(1)"),
        "checks: check way: changes the seed of random numbers",
        ("leave everything else alone",),
    ),
    "asks its table for a code that no check yields": (
        [(TABLE, 'check     = "skeleton.lost"', 'check     = "skeleton.lots"')],
        "Plugin skeleton: DataFileError: faults.toml of skeleton cannot be used",
        ("test.lost.check", "skeleton.lots"),
    ),
    "misspells a limit": (
        [(MODULE, 'case.limit("skeleton.lost"), claim', 'case.limit("skeleton.lots"), claim')],
        "checks: check way (__init__.py line ",
        ("declares no limit 'skeleton.lots'", "Correct the key"),
    ),
    "misspells a source": (
        in_check("case.computed_limit('skeleton.x', 'nope', low=at_battery.value)"),
        "checks: check way (__init__.py line ",
        ("KeyError", "'nope'", "Correct the key"),
    ),
    "has a limit for what does not exist": (
        [(LIMITS, "[[limit]]\n", '[[limit]]\nkey = "skeleton.heat"\nhigh = 80\nunit = "°C"\n'
          'source = "half-a-volt"\n\n[[limit]]\n')],
        "declarations: limit skeleton.heat: is the key of no measurand",
        ('case.limit("skeleton.heat")',),
    ),
    "misspells a place": (
        in_check("[*case.pairs([at_battery], 'rigth')]"),
        "checks: check way (__init__.py line ",
        ("skeleton.supply_voltage has no place 'rigth'", "Correct the key"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", BAD)
def test_what_goes_wrong_is_told_with_its_place_and_its_cure(
    kind: str, install: Callable[..., EntryPoint], other: EntryPoint, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(host, "LOAD_SECONDS", 0.5 if "in import" in kind else 10.0)
    monkeypatch.setattr(stopwatch, "PATIENCE", 2.0)
    for module in ("driving", "declared"):
        monkeypatch.setattr(
            f"corekit.testing.kit.{module}.MOST_SECONDS", 0.2 if "s in check" in kind else 5.0
        )
    planted, begins, says = BAD[kind]
    lines = told(install(*planted), other)
    (first, *_) = [line for line in lines if line.startswith(begins)] or [""]
    assert first, lines
    assert [part for part in says if part not in first] == [], first
    assert ".." not in first.replace("…", "")


def test_of_two_plugins_with_one_key_the_later_is_told_whose_it_is_and_what_to_do(
    install: Callable[..., EntryPoint],
) -> None:
    point = install()
    failure, *_ = load(
        [point, EntryPoint(name="skeleton", value="corekit_bad_skeleton", group="corekit")]
    ).failures
    assert "its name is taken by another plugin (module corekit_bad_skeleton)" in failure.for_author
    assert failure.for_author.endswith(
        "Give yours another key and its entry point that name, or uninstall one of the two."
    )


@pytest.mark.parametrize(
    ("place", "code", "fault", "cure"),
    [
        ("does", "os._exit(3)", "loading it ended its process (code 3)", "Never end the process"),
        ("checks", "os._exit(3)", "its check 'Tone' ended its process (code 3)", "Never end the process"),
        ("checks", "ctypes.string_at(0)", "its check 'Tone' broke its process (signal 11)", "faulthandler"),
        ("checks", SWALLOWS, "its check 'Tone' gave no answer within", "swallows the alarm"),
        ("calculation", "os._exit(4)", "'horn.half' ended its process (code 4)", "Never end the process"),
    ],
)  # fmt: skip
def test_what_costs_the_process_of_the_kit_is_told_with_its_place_and_its_cure(
    place: str, code: str, fault: str, cure: str, tmp_path: Path
) -> None:
    site = Site(tmp_path / "site")
    site.folder.mkdir()
    site.install(**{place: code})
    done = site.say("plugins", "--check", "horn", seconds=300)
    assert done.returncode == 1
    told = next(line for line in (done.stdout + done.stderr).splitlines() if fault in line)
    assert "__init__.py line " in told
    assert cure in told


def test_what_says_itself_what_to_do_is_told_no_cure_besides() -> None:
    assert cure_of("TypeError: pitch: write Annotated[…], at corekit_horn/__init__.py line 7") == ""
    assert cure_of("it was left out with --without") == ""
