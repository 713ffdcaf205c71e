"""The conformance kit: the systems of the repository conform, and a fault planted in a sample plugin is found
and told with its cure.
"""

from __future__ import annotations

import importlib.util
import os
import random
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import corekit as ck
from corekit.cli import main
from corekit.complaints import own_symptoms, set_own_symptoms
from corekit.plugin.host import load
from corekit.testing import conformance, nonconformities
from corekit.testing.kit import REQUIREMENTS
from corekit.testing.kit.declared import nonconforming_declarations
from corekit.testing.kit.side_effects import watched

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "templates" / "plugin" / "corekit_skeleton"
MODULE, TABLE, LIMITS = "__init__.py", "faults.toml", "limits.toml"


def sample(tmp_path: Path, *planted: tuple[str, str, str]) -> ck.System:
    """The template's plugin with some of its text exchanged: (file, old, new)."""
    folder = tmp_path / "corekit_sample"
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("__pycache__"))
    for name, old, new in planted:
        text = (folder / name).read_text("utf-8")
        assert old in text, f"nothing to plant it in: {old}"
        (folder / name).write_text(text.replace(old, new), "utf-8")
    name = f"corekit_sample_{tmp_path.name}"
    spec = importlib.util.spec_from_file_location(name, folder / MODULE)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    finally:
        del sys.modules[name]
    sys.modules[name] = module  # hints and sources are looked up by name
    system: ck.System = module.system
    return system


def found(system: ck.System) -> list[str]:
    return [f"{requirement}: {one}" for requirement, one in nonconformities(system, examples=25, visits=100)]


@pytest.fixture(autouse=True)
def forgotten() -> Iterator[None]:
    """Neither a system nor a symptom of its own stays behind for the tests that follow."""
    before = own_symptoms()
    yield
    set_own_symptoms(before)
    for name in [one for one in sys.modules if one.startswith(("corekit_sample_", "corekit_brakes"))]:
        del sys.modules[name]


def test_the_template_conforms(tmp_path: Path) -> None:
    assert found(sample(tmp_path)) == []


def test_the_example_plugin_conforms(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(ROOT / "demo" / "brakes"))
    from corekit_brakes import brakes  # type: ignore[import-not-found]

    assert found(brakes) == []


WAY = "    lost = voltage_lost(at_battery, at_connector)\n    yield"
LOST = '"skeleton.lost", of=arriving, unit="V", calls_for=clean, next_test=arriving'
DERIVED = """@system.derived_reading(
    "share", "V", "Share", possible=(0, 90), usual=(0, 9), accuracy="1 V", how="Read it.", tells="the share"
)
def share(at: Annotated[ck.Reading, supply]) -> ck.Value | None:
    return BODY


@system.check("Share")
def shared(case: ck.Case, one: Annotated[ck.Reading, share]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("skeleton.share"), "{value} shared.", one, tells="It is shared.")


@system.check("Voltage on"""
DIRECT = ', direct = "does not work" }'

#: What is planted, how the line begins, and what it must say of fault and cure.
PLANTED: dict[str, tuple[list[tuple[str, str, str]], str, tuple[str, ...]]] = {
    "a check divides by what may be 0": (
        [(MODULE, WAY, "    1 / at_battery.value.number\n" + WAY)],
        "checks: check way (__init__.py line 120): raised ZeroDivisionError",
        ("skeleton.supply_voltage = 0 V", "above=0", "possible=", "gap"),
    ),
    "a calculation divides by what may be 0": (
        [(MODULE, "return supply - arriving", "return supply - arriving * supply / supply")],
        "calculations: calculation voltage_lost (__init__.py line",
        ("ZeroDivisionError", "supply = 0 V", "Narrow the ranges"),
    ),
    "a calculation gives no number": (
        [(MODULE, "return supply - arriving", "return (supply - arriving) * float('inf')")],
        "calculations: calculation voltage_lost: gives",
        ("Narrow the ranges",),
    ),
    "a calculation forgets its example": (
        [(MODULE, "    >>> voltage_lost.si(12.5, 12.0)\n    0.5\n", "")],
        "sources: calculation skeleton.voltage_lost: has no example",
        (">>> name.si",),
    ),
    "a check is given less than it may read": (
        [(MODULE, 'ck.Input("V", "Voltage at the battery", 0, 32)', 'ck.Input("V", "Battery", 5, 32)')],
        "checks: check",
        ("voltage_lost: supply must be at least 5", "widen the calculation's range", "gap"),
    ),
    "a limit is misspelt": (
        [(MODULE, 'case.limit("skeleton.lost"), claim, LOST', 'case.limit("skeleton.lots"), claim, LOST')],
        "checks: check way (__init__.py line",
        ("declares no limit 'skeleton.lots'", "Correct the key"),
    ),
    "evidence that nobody entered": (
        [(MODULE, f"ck.Claim({LOST})", f'ck.Claim({LOST}, evidence=["entry 7"])')],
        "checks: check way: names as evidence of skeleton.lost what nobody entered: entry 7",
        ("case.noted",),
    ),
    "a verdict on nothing": (
        [(MODULE, "yield case.judge(lost,", 'yield case.judge(ck.exact("voltage", 3.0),')],
        "checks: check way: decides skeleton.lost on nothing",
        ("Claim(…, evidence=[reading])",),
    ),
    "an order that does not hold": (
        [(MODULE, "worse_with=[supply], better_with=[arriving]", "better_with=[supply]")],
        "checks: check way: declares that more of skeleton.supply_voltage is better, and says",
        ("of skeleton.lost at", "leave the measurand out"),
    ),
    "an order with what it does not take": (
        [(MODULE, '"Working with full voltage")', '"Working with full voltage", worse_with=[other])'),
         (MODULE, '@system.check("Voltage on', 'other = system.measurand("other", "V", "Other",'
          ' possible=(0, 9), usual=(0, 1), accuracy="0.1 V", how="Read.")\n\n\n@system.check("Voltage on')],
        "declarations: check with_full_voltage: worse_with and better_with name skeleton.other",
        ("among its parameters",),
    ),
    "a part without a direct test": (
        [(TABLE, DIRECT, " }")],
        "fault table: fault worn: calls for skeleton.replace_device, which exchanges a part, and no test",
        ("direct =",),
    ),
    "a part that nothing calls for": (
        [(TABLE, ', part = "device", calls_for = "skeleton.replace_device"', ', refer = "a specialist"')],
        "fault table: operation skeleton.replace_device: exchanges a part, and no fault",
        ("calls_for =",),
    ),
    "a code that nothing leads to": (
        [(MODULE, WAY, "    if at_battery.value.number < 0:\n        return\n"
          "    if at_battery.value.number >= 0:\n        return\n" + WAY)],
        "fault table: test lost: asks for skeleton.lost, which no check yielded",
        ("Correct the code",),
    ),
    "a grade that no check gives": (
        [(TABLE, 'answers = ["works", "does not work"] }', 'answers = ["works", "is dead"] }'),
         (TABLE, 'outcomes  = ["works", "does not work"]', 'outcomes  = ["works", "is dead"]'),
         (TABLE, 'direct = "does not work"', 'direct = "is dead"')],
        "fault table: test with_full_voltage: no bench led to its outcome 'is dead'",
        ("Claim(grade=…)",),
    ),
    "a finding by eye as a test without a grade": (
        [(TABLE, 'grade     = { check = "skeleton.working", answers = ["works", "does not work"] }',
          'check     = "skeleton.working"')],
        "fault table: test with_full_voltage: no bench led to its outcome 'works', 'does not work'",
        ("has no value, as every finding by eye", "grade = {"),
    ),
    "bins beyond what is possible": (
        [(TABLE, "[test.lost]", "[test.supply]\n"
          'bins = { measurand = "skeleton.supply_voltage", at = ["40 V"] }\nquestion = "How high?"\n'
          'minutes = 1\noutcomes = ["low", "high"]\nsound = "low"\nnone = [0.9, 0.1]\n'
          'otherwise = [0.9, 0.1]\n\n[test.lost]')],
        "fault table: test supply: no bench led to its outcome 'high'",
        ("move `at`",),
    ),
    "a check that is barred by a code that nothing yields": (
        [(MODULE, '"Working with full voltage"', '"Working with full voltage", not_while=["skeleton.lots"]')],
        "checks: check with_full_voltage: not_while names skeleton.lots, which no check yielded",
        ("Correct the code",),
    ),
    "a derived reading that divides by what may be 0": (
        [(MODULE, '@system.check("Voltage on', DERIVED.replace("BODY", "at.value.number and None or 1 / 0"))],
        "checks: derived reading share (__init__.py line",
        ("raised ZeroDivisionError", "skeleton.supply_voltage = ", "gap"),
    ),
    "a derived reading of another kind": (
        [(MODULE, '@system.check("Voltage on', DERIVED.replace("BODY", 'ck.exact("pressure gauge", 1.0)'))],
        "checks: derived reading share",
        ("skeleton.share is a voltage, and what was derived is pressure gauge",),
    ),
    "tests that do not tell its faults apart": (
        [(TABLE, "given.bad_contact = { p = [0.05, 0.95]", "given.bad_contact = { p = [0.60, 0.40]"),
         (TABLE, "given.worn = { p = [0.03, 0.97]", "given.worn = { p = [0.40, 0.60]")],
        "simulated visits: fault table of skeleton: with every test made ",
        ("simulated visits end right, where 85% are wanted; oftenest missed: ", "tell these faults apart"),
    ),
    "a table that no complaint leads to": (
        [(TABLE, '[symptoms."skeleton.weak"]\nbad_contact = 0.6\nworn        = 0.7\n', "")],
        "simulated visits: fault table of skeleton: no symptom is told under any of its faults",
        ("[symptoms.KEY]", "system.symptom"),
    ),
    "a symptom that no fault is told by": (
        [(TABLE, '[symptoms."skeleton.weak"]', "[symptoms.squeals]")],
        "declarations: symptom skeleton.weak: is offered to the customer and no fault of the table",
        ("or drop it",),
    ),
    "a place that is misspelt": (
        [(MODULE, WAY, "    [*case.pairs([at_battery], 'rigth')]\n" + WAY)],
        "checks: check way (__init__.py line",
        ("skeleton.supply_voltage has no place 'rigth'; it has no places", "Correct the key"),
    ),
    "a source that is misspelt": (
        [(MODULE, WAY, "    case.computed_limit('skeleton.x', 'nope', low=at_battery.value)\n" + WAY)],
        "checks: check way (__init__.py line",
        ("KeyError", "'nope'", "Correct the key"),
    ),
    "a check that leaves the process": (
        [(MODULE, WAY, "    import os\n    os.fork()\n" + WAY)],
        "checks: check way: starts a process",
        (),
    ),
    "a name that goes": (
        [(MODULE, "    yield case.judge(lost", "    ck.show(lost, 'V')\n    yield case.judge(lost")],
        "declarations: system skeleton: writes ck.show, which is deprecated since API 1.1",
        ("write ck.written",),
    ),
    "no version of the API": (
        [(MODULE, ', api="1.0")', ")")],
        "declarations: system skeleton: declares no version of the API",
        ('api="1.0"',),
    ),
    "a check prints": (
        [(MODULE, WAY, "    print('here')\n" + WAY)],
        "checks: check way: prints 'here'",
        ("leave everything else alone",),
    ),
    "a check changes the decimal context": (
        [(MODULE, WAY, "    import decimal\n    decimal.getcontext().prec = 5\n" + WAY)],
        "checks: check way: changes the decimal context",
        (),
    ),
    "a check changes the locale": (
        [(MODULE, WAY, "    import locale\n    locale.setlocale(locale.LC_ALL, 'C.UTF-8' if "
          "locale.setlocale(locale.LC_ALL) == 'C' else 'C')\n" + WAY)],
        "checks: check way: changes the locale",
        (),
    ),
    "a check goes elsewhere": (
        [(MODULE, WAY, "    import os\n    os.chdir('/')\n" + WAY)],
        "checks: check way: changes the current folder",
        (),
    ),
    "a check changes the environment": (
        [(MODULE, WAY, "    import os\n    os.environ['TZ'] = 'Nowhere'\n" + WAY)],
        "checks: check way: changes the environment",
        (),
    ),
    "a check draws lots": (
        [(MODULE, WAY, "    import random\n    random.random()\n" + WAY)],
        "checks: check way: changes the seed of random numbers",
        (),
    ),
    "a check asks the network": (
        [(MODULE, WAY, "    import socket\n    socket.getaddrinfo('localhost', 1)\n" + WAY)],
        "checks: check way: asks the network for an address",
        (),
    ),
    "a check writes a file": (
        [(MODULE, WAY, "    open('log', 'w')\n" + WAY)],
        "checks: check way: writes the file log",
        (),
    ),
    "a check starts a program": (
        [(MODULE, WAY, "    import os\n    os.system('true')\n" + WAY)],
        "checks: check way: starts a program",
        (),
    ),
    "a check remembers": (
        [(MODULE, WAY, "    CALLS.append(1)\n    if len(CALLS) % 2:\n        return\n" + WAY),
         (MODULE, 'HAZARD = "', 'CALLS: list[int] = []\nHAZARD = "')],
        "checks: check way: sa",
        ("keep nothing between two calls",),
    ),
    "a check changes what it is given": (
        [(MODULE, WAY, "    case.specified['skeleton.supply_voltage'] = None\n" + WAY)],
        "checks: check way: changes what it is given",
        ("Work on copies",),
    ),
    "a check leaves Python": (
        [(MODULE, WAY, "    raise SystemExit(3)\n" + WAY)],
        "checks: check way (__init__.py line 120): raised SystemExit: 3",
        (),
    ),
    "a check yields something else": (
        [(MODULE, WAY, "    yield 'fine'\n" + WAY)],
        "checks: check way: raised TypeError: it yielded str instead of a Finding or a Gap",
        (),
    ),
    "a check with a sentence that is not filled": (
        [(MODULE, '"{value} lost between battery and connector; {limit} is allowed."', '"{volume} lost."')],
        "checks: check way",
        ("has a place that is not filled: 'volume'",),
    ),
    "words that only the trade reads": (
        [(MODULE, '"It gets its voltage and works."', '"Its resistance is in spec."')],
        "words: ",
        ('"resistance"; say how well it carries current', "at most 20 words"),
    ),
    "no words for the customer": (
        [(MODULE, 'tells="The connection is cleaned, so that the voltage arrives again.",', "")],
        "words: operation skeleton.clean_connector: no words of the customer's own",
        ("tells=",),
    ),
    "too many words for the customer": (
        [(TABLE, 'tells = "The voltage', 'tells = "' + "so " * 20 + 'the voltage')],
        "words: fault skeleton.bad_contact: ",
        (" words:",),
    ),
    "a limit that nothing asks for": (
        [(LIMITS, '[[limit]]\n', '[[limit]]\nkey = "skeleton.heat"\nhigh = 80\nunit = "°C"\n'
          'source = "half-a-volt"\n\n[[limit]]\n')],
        "declarations: limit skeleton.heat: is the key of no measurand, and no code names it",
        ('case.limit("skeleton.heat")',),
    ),
    "a source that nothing names": (
        [("sources.toml", 'key    = "voltages-add-up"', 'key    = "lore"\ntitle  = "Lore"\n'
          'basis  = "practice"\nstatus = "none"\n\n[[source]]\nkey    = "voltages-add-up"')],
        "sources: source lore: is named by nothing",
        ("drop the source",),
    ),
    "a reading that nothing takes": (
        [(MODULE, "working = system.observation(", 'system.measurand("heat", "°C", "Heat", possible=(0, 90),'
          ' usual=(0, 50), accuracy="1 °C", how="Touch it.", tells="how hot it is")\n'
          'working = system.observation(')],
        "declarations: measurand skeleton.heat: is asked for and no check",
        ("asked for nothing",),
    ),
    "usual beyond possible": (
        [(MODULE, "usual=(11, 15)", "usual=(11, 40)")],
        "declarations: measurand skeleton.supply_voltage: what is usual reaches beyond what is possible",
        ("Widen possible=",),
    ),
    "nobody says how it is read": (
        [(MODULE, 'where="Probes on both posts of the battery.",\n    how="Switched on for ten seconds.",',
          "")],
        "declarations: measurand skeleton.supply_voltage: does not say how it is read",
        ("where= and how=",),
    ),
    "a picture at no place": (
        [(MODULE, f"ck.Claim({LOST})", f"ck.Claim({LOST}, figure=PICTURE)"),
         (MODULE, 'HAZARD = "', 'PICTURE = ck.Figure(width=10, height=10, height_mm=10, title="Lost",'
          ' description="Lost.", marks=(ck.Dot(float("nan"), 1),))\nHAZARD = "')],
        "figures: figure of skeleton.lost:",
        ("finite places",),
    ),
    "a picture with letters that no paper has": (
        [(MODULE, f"ck.Claim({LOST})", f"ck.Claim({LOST}, figure=PICTURE)"),
         (MODULE, 'HAZARD = "', 'PICTURE = ck.Figure(width=10, height=10, height_mm=10, title="Lost",'
          ' description="Lost.", marks=(ck.Label(1, 1, "\\u65e5"),))\nHAZARD = "')],
        "figures: figure of skeleton.lost: cannot be drawn",
        ("letters of the papers' face",),
    ),
    "a picture that says nothing": (
        [(MODULE, f"ck.Claim({LOST})", f"ck.Claim({LOST}, figure=PICTURE)"),
         (MODULE, 'HAZARD = "', 'PICTURE = ck.Figure(width=10, height=10, height_mm=10, title="Lost",'
          ' description="", marks=())\nHAZARD = "')],
        "figures: figure of skeleton.lost: has no title or no description",
        (),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", PLANTED)
def test_a_planted_fault_is_told_with_its_cure(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    planted, begins, says = PLANTED[name]
    if name == "a name that goes":
        monkeypatch.setitem(ck.DEPRECATED, "show", ("ck.written", "1.1"))
    lines = found(sample(tmp_path, *planted))
    told = [line for line in lines if line.startswith(begins)]
    assert told, f"{begins}: {lines}"
    assert all(part in told[0] for part in says), told[0]


def test_a_channel_that_nothing_is_taken_from_is_told(tmp_path: Path) -> None:
    system = sample(tmp_path)
    channel = system.channel("sent_voltage", "V", "Voltage sent", possible=(0, 32))
    (said,) = map(str, nonconforming_declarations(system))
    assert said.startswith(f"channel {channel.key}") and "system.from_channel(…)" in said
    system.from_channel(next(iter(system.measurands.values())), channel)
    assert list(nonconforming_declarations(system)) == []


def test_a_check_that_never_ends_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for module in ("driving", "declared"):
        monkeypatch.setattr(f"corekit.testing.kit.{module}.MOST_SECONDS", 0.05)
    system = sample(tmp_path, (MODULE, WAY, "    while at_battery:\n        pass\n" + WAY))
    told = [line for line in found(system) if line.startswith("checks: check way")]
    assert "raised Overrun: it took longer than 0.05 s" in told[0] and "end the loop" in told[0]


def test_what_a_check_changed_is_put_back() -> None:
    folder, seed, home = Path.cwd(), random.getstate(), os.environ.get("HOME")
    with watched() as besides:
        os.chdir("/")
        random.random()
        os.environ["HOME"] = "elsewhere"
        print("here")
    assert sorted(besides) == [
        "changes the current folder",
        "changes the environment",
        "changes the seed of random numbers",
        "prints 'here'",
    ]
    assert (Path.cwd(), random.getstate(), os.environ.get("HOME")) == (folder, seed, home)


def test_what_nobody_watches_is_nobodys_business(tmp_path: Path) -> None:
    with watched():
        pass
    (tmp_path / "mine").write_text("mine", "utf-8")
    print("here")


def test_one_line_makes_a_test_of_each_requirement(tmp_path: Path) -> None:
    made = conformance(sample(tmp_path, (LIMITS, "skeleton.lost", "skeleton.left")), examples=5)
    (mark,) = made.pytestmark  # type: ignore[attr-defined]
    assert list(mark.args[1]) == list(REQUIREMENTS)
    with pytest.raises(AssertionError, match=r"no limit 'skeleton\.lost'"):
        made("checks")
    made("figures")


def test_what_is_known_and_has_its_reason_stays(tmp_path: Path) -> None:
    planted = (MODULE, "usual=(11, 15)", "usual=(11, 40)")
    known = {"measurand skeleton.supply_voltage: what is usual": "planted for this test"}
    conformance(sample(tmp_path, planted), examples=1, known=known)("declarations")


def test_a_system_that_is_not_there_is_told_with_those_that_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plugins", "--check", "nothing"]) == 1
    said = capsys.readouterr().err
    assert "no system 'nothing'" in said and "battery" in said and "pip install -e" in said
    assert main(["plugins", "--check"]) == 1
    assert "wants a system's name" in capsys.readouterr().err
    assert main(["plugins", "nothing", "--explain"]) == 1
    assert "no plugin 'nothing'" in capsys.readouterr().err


def test_what_each_plugin_adds_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plugins", "--explain"]) == 0
    said = capsys.readouterr().out
    for key, system in load().systems.items():
        assert f"{key}  {system.title}, loaded in " in said
        assert f"module    corekit_{key}" in said
        assert all(check.title in said for check in system.checks.values())
