"""The host: plugins come in one by one, and what one does wrong costs nobody else anything."""

from __future__ import annotations

import contextlib
import json
import sys
import textwrap
import threading
import time
from collections.abc import Callable, Iterator
from importlib.metadata import EntryPoint, PathDistribution
from pathlib import Path
from typing import Annotated, Any

import attrs
import pytest

import corekit as ck
from corekit import stopwatch
from corekit.assess import assessment
from corekit.assess.assessment import assess
from corekit.desk.assessment_data import as_data
from corekit.desk.check import CheckView
from corekit.model.finding import Reason
from corekit.plugin import guard, host, set_aside
from corekit.plugin.guard import Overrun, in_words, time_limit
from corekit.plugin.host import Plugins, load
from corekit.plugin.system import System

from ..assess.brakes import brakes
from ..assess.brakes import travel as pedal_travel
from ..assess.story import Story

LAMPS = """
    from collections.abc import Iterator
    from typing import Annotated
    import corekit as ck

    lamps = ck.System("lamps", "Lamps")
    voltage = lamps.measurand("voltage", "V", "Voltage", possible=(0, 30), usual=(9, 15), accuracy="0.1 V")
    SAYS = ck.Says(
        passes="{value} is enough.", fails="{value} is too little.", undecided="{value} is near {limit}."
    )

    @lamps.check("Voltage")
    def lamp_voltage(case: ck.Case, read: Annotated[ck.Reading, voltage]) -> Iterator[ck.Finding | ck.Gap]:
        yield case.judge(read, case.limit(voltage), ck.Claim("lamps.voltage"), SAYS)

    @ck.hookimpl
    def corekit_system() -> ck.System:
        return lamps
"""
SOURCES = '[[source]]\nkey = "book"\ntitle = "An invented book"\nbasis = "handbook"\nstatus = "read"\n'
LIMITS = '[[limit]]\nkey = "lamps.voltage"\nlow = 11\nunit = "V"\nsource = "book"\nwidth = 0\nwhy = "exact"\n'

SYSTEM = """
    import corekit as ck
    made = ck.System("shaky", "Shaky")
"""
GIVES = """
    @ck.hookimpl
    def corekit_system():
        return made
"""


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., EntryPoint]]:
    """Writes a package and gives the entry point that an installation would leave."""
    monkeypatch.syspath_prepend(str(tmp_path))
    made: list[str] = []

    def write(name: str, source: str, **files: str) -> EntryPoint:
        module = f"corekit_test_{name}"
        folder = tmp_path / module
        folder.mkdir()
        (folder / "__init__.py").write_text(textwrap.dedent(source))
        for file, text in files.items():
            (folder / f"{file}.toml").write_text(text)
        made.append(module)
        return EntryPoint(name=name, value=module, group="corekit")

    yield write
    for module in made:
        sys.modules.pop(module, None)


def visit(plugins: Plugins) -> Story:
    story = Story(plugins=plugins)
    story.say(story.measured("lamps.voltage", "11.05 V"), "l1")
    story.stage = 1
    story.repair("lamps.polish")
    story.say(story.measured("lamps.voltage", "13 V"), "l2")
    return story


def as_bytes(plugins: Plugins) -> bytes:
    """All that is printed of the visit, byte for byte, but for the gaps that name a plugin that failed."""
    data = as_data(CheckView(assessment=visit(plugins).assessment, plugins=plugins))
    data["gaps"] = [gap for gap in data["gaps"] if gap["reason"] != Reason.PLUGIN_FAILED]
    return json.dumps(data, ensure_ascii=False).encode()


BAD: dict[str, tuple[str, dict[str, str], list[str]]] = {
    "import error": ("import nothing_of_this_name", {}, ["ModuleNotFoundError", "nothing_of_this_name"]),
    "syntax error": ("def corekit_system(:", {}, ["SyntaxError"]),
    "raises at import": ("raise RuntimeError('no luck today')", {}, ["RuntimeError: no luck today"]),
    "raises when asked": (
        f"{SYSTEM}\n    @ck.hookimpl\n    def corekit_system():\n        raise RuntimeError('not now')\n",
        {},
        ["RuntimeError: not now"],
    ),
    "sleeps at import": (
        "import time\ntime.sleep(30)",
        {},
        ["Overrun", "longer than 1 s, and most of it was waiting"],
    ),
    "catches everything it can at import": (
        "while True:\n    try:\n        pass\n    except Exception:\n        pass",
        {},
        ["longer than 0.5 s"],
    ),
    "leaves the program": ("raise SystemExit(3)", {}, ["SystemExit"]),
    "recursion": ("def again():\n    again()\nagain()", {}, ["RecursionError"]),
    "returns text": (
        "import corekit as ck\n@ck.hookimpl\ndef corekit_system():\n    return 'shaky'",
        {},
        ["must return a System", "str"],
    ),
    "returns nothing": (
        "import corekit as ck\n@ck.hookimpl\ndef corekit_system():\n    pass",
        {},
        ["must return a System", "NoneType"],
    ),
    "is a generator": (
        f"{SYSTEM}\n    @ck.hookimpl\n    def corekit_system():\n        yield made\n",
        {},
        ["must return a System", "generator"],
    ),
    "unknown hook argument": (
        f"{SYSTEM}\n    @ck.hookimpl\n    def corekit_system(colour):\n        return made\n",
        {},
        ["PluginValidationError", "colour"],
    ),
    "mistyped hook": (
        f"{SYSTEM}\n    @ck.hookimpl\n    def corekit_sytem():\n        return made\n",
        {},
        ["PluginValidationError", "corekit_sytem"],
    ),
    "forgotten mark": (
        f"{SYSTEM}\n    def corekit_system():\n        return made\n",
        {},
        ["adds nothing", "@corekit.hookimpl"],
    ),
    "empty": ("", {}, ["adds nothing"]),
    "taken key": (
        f"import corekit as ck\n    \nmade = ck.System('lamps', 'Other lamps')\n{textwrap.dedent(GIVES)}",
        {},
        ["entry point is called 'shaky'", "its system 'lamps'"],
    ),
    "loose source": (
        SYSTEM
        + """
    from typing import Annotated
    @made.calculation(source="nobody")
    def twice(
        a: Annotated[float, ck.Input("A", "Current of the lamp")],
    ) -> Annotated[float, ck.Output("A", "Current of two lamps")]:
        return 2 * a
    """
        + GIVES,
        {},
        ["calculation shaky.twice", "no source 'nobody'"],
    ),
    "part that nothing has": (
        SYSTEM + "    made.operation('swap', 'Swap', replaces='thing')\n" + GIVES,
        {},
        ["shaky.swap", "'thing'"],
    ),
    "plain number": (
        SYSTEM
        + """
    @made.calculation(source="book")
    def twice(a: float) -> float:
        return 2 * a
    """
        + GIVES,
        {},
        ["twice", "no unit"],
    ),
    "bad fault table": (
        SYSTEM + GIVES,
        {"faults": "[faults]\nnone = { weight = 0 }\n[test.x]\nminutes = 1\n"},
        [
            "faults.toml of shaky",
            "faults.none: is the core's own",
            "faults.none.weight: is a share among visits",
            "test.x.outcomes",
            "test.x.question",
        ],
    ),
    "fault table that is no TOML": (
        SYSTEM + GIVES,
        {"faults": "[faults\n"},
        ["faults.toml of shaky", "line 1, column 8: ", "expected TOML"],
    ),
    "bad limits": (
        SYSTEM + GIVES,
        {
            "limits": (
                '[[limit]]\nkey = "shaky.a"\nunit = "V"\nsource = "nobody"\nlow = 1\n[[limit]]\nkey ='
                ' "shaky.b"\n'
            )
        },
        [
            "limits.toml of shaky",
            'limit[0].source (shaky.a): there is no source "nobody"',
            "limit[1].unit (shaky.b): is missing",
        ],
    ),
    "bad sources": (
        SYSTEM + GIVES,
        {"sources": '[[source]]\nkey = "book"\n', "limits": LIMITS},
        ["sources.toml", "source[0].title (book): is missing; expected text in quotes"],
    ),
}


@pytest.mark.parametrize("kind", BAD)
def test_a_plugin_that_does_not_make_it_is_named_with_its_cost_and_all_else_is_unchanged(
    kind: str, install: Callable[..., EntryPoint], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stopwatch, "PATIENCE", 2.0)
    monkeypatch.setattr(host, "LOAD_SECONDS", 0.5 if "import" in kind and "error" not in kind else 10.0)
    source, files, words = BAD[kind]
    lamps, shaky = install("lamps", LAMPS, sources=SOURCES, limits=LIMITS), install("shaky", source, **files)
    alone = load([lamps])
    assert (list(alone.systems), alone.failures) == (["lamps"], ())
    beside = load([shaky, lamps])
    assert list(beside.systems) == ["lamps"]
    (failure,) = beside.failures
    assert failure.plugin == "shaky"
    assert [word for word in words if word not in failure.what] == []
    assert "\n" not in str(failure)
    assert "not assessed in this visit" in failure.cost
    assert as_bytes(beside) == as_bytes(alone)
    (gap,) = [gap for gap in visit(beside).assessment.gaps if gap.reason is Reason.PLUGIN_FAILED]
    assert str(failure) in gap.text
    assert b"11.05 V" in as_bytes(alone)


def test_two_good_plugins_stand_side_by_side_and_keep_their_versions(
    install: Callable[..., EntryPoint],
) -> None:
    plugins = load(
        [install("shaky", SYSTEM + GIVES), install("lamps", LAMPS, sources=SOURCES, limits=LIMITS)]
    )
    assert list(plugins.systems) == ["lamps", "shaky"]
    assert plugins.failures == ()
    assert set(plugins.versions) == {"lamps", "shaky"}
    assert list(plugins.measurands) == ["lamps.voltage"]
    assert (list(plugins.limits), list(plugins.sources)) == (["lamps.voltage"], ["book"])


def from_distribution(point: EntryPoint, folder: Path, name: str) -> EntryPoint:
    """The same entry point as it comes with a distribution of this name."""
    info = folder / f"{name.replace('-', '_')}-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n")
    point = EntryPoint(name=point.name, value=point.value, group=point.group)
    vars(point).update(dist=PathDistribution(info))
    return point


@pytest.mark.parametrize("first", ["corekit", "a-lamps"])
def test_of_two_distributions_with_one_key_the_later_is_refused_and_both_are_named(
    first: str, install: Callable[..., EntryPoint], tmp_path: Path
) -> None:
    other = install("lamps", LAMPS, sources=SOURCES, limits=LIMITS)
    own = from_distribution(other, tmp_path, first)
    later = from_distribution(other, tmp_path, "aa-lamps" if first == "corekit" else "b-lamps")
    for order in ([own, later], [later, own]):
        plugins = load(order)
        assert plugins.distributions == {"lamps": f"{first} 1.0"}
        (failure,) = plugins.failures
        assert str(failure).startswith(f"Plugin lamps ({later.dist.name} 1.0): ")  # type: ignore[union-attr]
        assert f"the distribution {first} 1.0 in {tmp_path}" in failure.what
        assert plugins.lost == {}


def test_a_failure_names_the_file_and_the_line_of_the_plugin(install: Callable[..., EntryPoint]) -> None:
    (failure,) = load([install("shaky", "\n\n\nraise RuntimeError('no luck.')")]).failures
    assert failure.what == "RuntimeError: no luck, at corekit_test_shaky/__init__.py line 4"
    assert ".." not in str(failure)
    (failure,) = load([install("worse", "x = 1\ndef f(:")]).failures
    assert "corekit_test_worse/__init__.py line 2" in failure.what


def test_the_traceback_is_printed_where_somebody_asks_for_it(
    install: Callable[..., EntryPoint], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    load([install("shaky", "raise RuntimeError('no luck')")])
    assert capsys.readouterr().err == ""
    monkeypatch.setenv("COREKIT_TRACE", "1")
    load([install("again", "raise RuntimeError('no luck')")])
    assert "Traceback" in capsys.readouterr().err


ALTERS = {
    "a function of Python": ("import builtins\nbuiltins.sorted = len", "builtins.sorted"),
    "a method of the core": (
        "from corekit.plugin.case import Case\nCase.judge = None",
        "plugin.case.Case.judge",
    ),
    "a name of a core module": (
        "import corekit.plugin.reading as own\nown.sorted = len",
        "corekit.plugin.reading.sorted",
    ),
    "a table of the core": (
        "import corekit.plugin.check as own\nown._FORMS.clear()",
        "corekit.plugin.check._FORMS",
    ),
    "a module": ("import sys, types\nsys.modules['json'] = types.ModuleType('json')", "the module json"),
    "another system's checks": (
        "import corekit_test_lamps\ncorekit_test_lamps.lamps.checks.clear()",
        "system lamps.checks",
    ),
    "another system's title": (
        "import corekit_test_lamps\ncorekit_test_lamps.lamps.title = 'x'",
        "system lamps.title",
    ),
    "the folder": ("import os\nos.chdir('/')", "the working folder"),
    "how money is rounded": ("import decimal\ndecimal.getcontext().prec = 3", "the decimal context"),
    "the time zone": ("import os\nos.environ['TZ'] = 'Pacific/Chatham'", "the time zone"),
}


@pytest.mark.parametrize("kind", ALTERS)
def test_a_plugin_that_changes_what_is_not_its_own_is_refused_and_the_change_is_put_back(
    kind: str, install: Callable[..., EntryPoint]
) -> None:
    source, words = ALTERS[kind]
    lamps = install("lamps", LAMPS, sources=SOURCES, limits=LIMITS)
    alone = as_bytes(load([lamps]))
    beside = load([lamps, install("shaky", f"{source}\n{textwrap.dedent(SYSTEM + GIVES)}")])
    (failure,) = beside.failures
    assert (failure.plugin, words in failure.what) == ("shaky", True), failure
    assert sorted([2, 1]) == [1, 2]
    assert as_bytes(beside) == alone
    assert load([lamps]).failures == ()


def test_what_is_left_out_is_not_even_imported(
    install: Callable[..., EntryPoint], monkeypatch: pytest.MonkeyPatch
) -> None:
    point = install("shaky", SYSTEM + GIVES)
    monkeypatch.setitem(set_aside.plugins, "shaky", set_aside.BY_WISH)
    plugins = load([point])
    assert "corekit_test_shaky" not in sys.modules
    assert [(failure.what, failure.is_wished) for failure in plugins.failures] == [(set_aside.BY_WISH, True)]
    assert plugins.lost == {"shaky": set_aside.BY_WISH}


def test_what_a_plugin_prints_goes_to_the_error_stream(
    install: Callable[..., EntryPoint], capsys: pytest.CaptureFixture[str]
) -> None:
    assert load([install("shaky", f"print('hello')\n{textwrap.dedent(SYSTEM + GIVES)}")]).failures == ()
    assert capsys.readouterr() == ("", "hello\n")


def test_ctrl_c_is_the_person_s_and_no_plugin_s_failure(install: Callable[..., EntryPoint]) -> None:
    with pytest.raises(KeyboardInterrupt):
        load([install("shaky", "raise KeyboardInterrupt")])


# ---- checks that misbehave


shaky = System("shaky", "Shaky", folder=brakes.folder / "none")
level = shaky.measurand("level", "mm", "Level", possible=(0, 300), usual=(0, 150), accuracy="1 mm")
top_up = shaky.operation("top_up", "Top up")


@shaky.check("A good one")
def good_one(case: ck.Case, read: Annotated[ck.Reading, level]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("shaky.level"), "{value}.", read)


def half_way(case: ck.Case) -> Iterator[Any]:
    yield case.advise(ck.Claim("shaky.half"), "Half.")
    raise RuntimeError("in the middle")


def for_ever(case: ck.Case) -> Iterator[Any]:
    yield case.advise(ck.Claim("shaky.half"), "Half.")
    while True:
        with contextlib.suppress(Exception):
            time.sleep(0.001)


def yields_for_ever(case: ck.Case) -> Iterator[Any]:
    while True:
        yield case.advise(ck.Claim("shaky.half"), "Half.")


def leaves(case: ck.Case) -> Iterator[Any]:
    yield case.advise(ck.Claim("shaky.half"), "Half.")
    raise SystemExit(0)


def deeper_and_deeper(case: ck.Case) -> Iterator[Any]:
    yield from deeper_and_deeper(case)


def yields_text(case: ck.Case) -> Iterator[Any]:
    yield case.advise(ck.Claim("shaky.half"), "Half.")
    yield "all is well"


def speaks_for_another(case: ck.Case) -> Iterator[Any]:
    yield attrs.evolve(case.advise(ck.Claim("shaky.half"), "Half."), system="brakes", code="brakes.travel")


def speaks_of_another_stage(case: ck.Case) -> Iterator[Any]:
    yield attrs.evolve(case.advise(ck.Claim("shaky.half"), "Half."), stage=case.stage + 1)


def foreign_code(case: ck.Case) -> Iterator[Any]:
    yield case.advise(ck.Claim("brakes.travel"), "Half.")


def foreign_code_by_hand(case: ck.Case) -> Iterator[Any]:
    yield attrs.evolve(case.advise(ck.Claim("shaky.half"), "Half."), code="brakes.travel")


def foreign_work(case: ck.Case) -> Iterator[Any]:
    yield case.advise(ck.Claim("shaky.half", calls_for=brakes.operations["brakes.bleed"]), "Half.")


def unfilled_sentence(case: ck.Case) -> Iterator[Any]:
    yield case.advise(ck.Claim("shaky.half"), "It is {colour}.")


def unfilled_customer_sentence(case: ck.Case) -> Iterator[Any]:
    yield case.advise(ck.Claim("shaky.half"), "Half.", tells="It is {shade}.")


def unit_of_another_kind(case: ck.Case) -> Iterator[Any]:
    yield attrs.evolve(case.advise(ck.Claim("shaky.half"), "Half."), value=ck.exact("voltage", 1.0), unit="A")


def urgency_in_words(case: ck.Case) -> Iterator[Any]:
    yield attrs.evolve(case.advise(ck.Claim("shaky.half"), "Half."), urgency="soon")


def more_than_certain(case: ck.Case) -> Iterator[Any]:
    yield attrs.evolve(case.advise(ck.Claim("shaky.half"), "Half."), probability=1.5)


def reason_in_words(case: ck.Case) -> Iterator[Any]:
    yield attrs.evolve(case.does_not_apply("x"), reason="no idea")


def unknown_limit(case: ck.Case) -> Iterator[Any]:
    yield case.judge(
        ck.exact("length", 1.0),
        case.limit("shaky.depth"),
        ck.Claim("shaky.half", unit="mm"),
        ck.Says(passes="", fails="", undecided=""),
    )


def no_unit(case: ck.Case) -> Iterator[Any]:
    yield case.judge(
        ck.exact("length", 1.0),
        brakes.limits["brakes.travel"],
        ck.Claim("shaky.half"),
        ck.Says(passes="", fails="", undecided=""),
    )


CHECKS: list[tuple[Callable[..., Iterator[Any]], str]] = [
    (half_way, "in the middle"),
    (for_ever, "longer than 1 s, and most of it was waiting"),
    (yields_for_ever, "more than 1000"),
    (leaves, "SystemExit"),
    (deeper_and_deeper, "RecursionError"),
    (yields_text, "str instead of a Finding or a Gap"),
    (speaks_for_another, "speaks of 'brakes'"),
    (speaks_of_another_stage, "at stage 1"),
    (foreign_code, "begins with its system's key"),
    (foreign_code_by_hand, "begins with its system's key"),
    (foreign_work, "no operation of shaky"),
    (unfilled_sentence, "colour"),
    (unfilled_customer_sentence, "shade"),
    (unit_of_another_kind, "voltage cannot be shown in A"),
    (urgency_in_words, "urgency 'soon'"),
    (more_than_certain, "probability of 1.5"),
    (reason_in_words, "'no idea'"),
    (unknown_limit, "no limit 'shaky.depth'"),
    (no_unit, "in which unit"),
]


@pytest.mark.parametrize(("function", "words"), CHECKS, ids=[function.__name__ for function, _ in CHECKS])
def test_a_check_that_fails_is_a_gap_and_nothing_of_it_is_kept(
    function: Callable[..., Iterator[Any]], words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stopwatch, "PATIENCE", 2.0)
    monkeypatch.setattr(assessment, "CHECK_SECONDS", 0.5 if function is for_ever else 5.0)
    plugins = Plugins(systems={"brakes": brakes, "shaky": shaky})
    story = Story(plugins=plugins).read("brakes.travel", "90 mm").read("shaky.level", "20 mm")
    before = assess(story.job, plugins)
    shaky.check("A bad one")(function)
    try:
        after = assess(story.job, plugins)
        said = json.dumps(as_data(CheckView(assessment=after, plugins=plugins)))
    finally:
        del shaky.checks[function.__name__]
    assert (after.findings, after.suspects, after.next_tests, after.calls) == (
        before.findings,
        before.suspects,
        before.next_tests,
        before.calls,
    )
    (gap,) = [gap for gap in after.gaps if gap not in before.gaps]
    assert (gap.system, gap.check, gap.reason) == ("shaky", "A bad one", Reason.PLUGIN_FAILED)
    assert words in gap.text
    assert "Plugin shaky" in gap.text
    assert "Half" not in said


def test_a_thousand_findings_are_kept() -> None:
    def many(case: ck.Case) -> Iterator[Any]:
        for _ in range(1000):
            yield case.advise(ck.Claim("shaky.many"), "One of many.")

    plugins = Plugins(systems={"shaky": shaky})
    shaky.check("Many")(many)
    try:
        assert len(Story(plugins=plugins).read("shaky.level", "20 mm").findings("shaky.many")) == 1000
    finally:
        del shaky.checks["many"]


def test_a_missing_reading_asked_for_inside_a_check_is_a_gap_and_no_failure() -> None:
    def asks(case: ck.Case) -> Iterator[Any]:
        yield case.advise(ck.Claim("shaky.half"), "Half.")
        yield case.advise(ck.Claim("shaky.half"), "{value}", case[pedal_travel])

    plugins = Plugins(systems={"shaky": shaky, "brakes": brakes})
    shaky.check("Asks")(asks)
    try:
        story = Story(plugins=plugins).read("shaky.level", "20 mm")
        assert (story.gap("Asks").reason, story.gap("Asks").wants) == (Reason.NOT_MEASURED, "brakes.travel")
        assert story.findings("shaky.half") == []
        assert len(story.read("brakes.travel", "20 mm").findings("shaky.half")) == 2
    finally:
        del shaky.checks["asks"]


# ---- the alarm


def test_the_alarm_rings_and_leaves_nothing_behind() -> None:
    import signal

    before = signal.getsignal(signal.SIGALRM)
    with pytest.raises(Overrun), time_limit(0.02):
        while True:
            pass
    assert signal.getsignal(signal.SIGALRM) is before
    with time_limit(60):
        assert signal.getitimer(signal.ITIMER_REAL)[0] > 0
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)


def test_an_alarm_that_was_dropped_rings_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "_AGAIN", 0.05)
    with pytest.raises(Overrun), time_limit(0.02):
        with contextlib.suppress(Overrun):
            while True:
                pass
        while True:
            pass


def test_outside_the_main_thread_work_is_done_without_an_alarm() -> None:
    done: list[int] = []

    def work() -> None:
        with time_limit(10):
            done.append(1)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert done == [1]


@pytest.mark.parametrize("has_alarm", [True, False], ids=["in another thread", "on a system without alarm"])
def test_where_no_alarm_rings_another_thread_stops_what_takes_too_long(
    has_alarm: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    import signal

    if not has_alarm:
        monkeypatch.delattr(signal, "setitimer")
    said: list[str] = []

    def work() -> None:
        try:
            with time_limit(0.05):
                while True:
                    pass
        except Overrun as error:
            said.append(str(error))
        with time_limit(0.05):
            pass
        time.sleep(0.15)  # nothing rings afterwards

    if has_alarm:
        thread = threading.Thread(target=work)
        thread.start()
        thread.join(20)
    else:
        work()
    assert said == ["it took longer than 0.05 s"]


def test_a_failure_is_told_in_one_line_however_it_was_worded() -> None:
    assert in_words(ValueError("first\n  second\n\tthird")) == "ValueError: first second third"
    assert in_words(ValueError()) == "ValueError"
    assert len(in_words(ValueError("x" * 10_000))) < 2100


PLACE = """code = "XA"
[[required]]
items = ["customer_name"]
source = "An invented law"
date = "2026-11-24"
basis = "law"
status = "read"
"""


def _places(file: str) -> str:
    return (
        "import corekit as ck\nfrom pathlib import Path\n@ck.hookimpl\ndef corekit_jurisdictions():\n"
        f"    return [Path(__file__).parent / {file!r}]"
    )


def test_a_plugin_may_describe_a_jurisdiction_and_need_no_system(
    install: Callable[..., EntryPoint],
) -> None:
    plugins = load([install("law", _places("xa.toml"), xa=PLACE)])
    assert plugins.failures == ()
    assert plugins.systems == {}
    assert [one.item for one in plugins.jurisdictions["XA"].required] == ["customer_name"]


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (PLACE.replace("XA", "US-FL"), "'US-FL' is described already"),
        (PLACE.replace('"law"', '"gospel"'), "basis"),
        ("", "code"),
    ],
)
def test_a_jurisdiction_with_a_fault_or_a_taken_code_costs_its_plugin_alone(
    install: Callable[..., EntryPoint], content: str, why: str
) -> None:
    plugins = load([install("law", _places("xa.toml"), xa=content)])
    assert plugins.jurisdictions == {}
    (failure,) = plugins.failures
    assert why in failure.what


READS = """
    import corekit as ck

    def read(name: str, content: bytes) -> ck.Log | None:
        if not content.startswith(b"GAUGE"):
            return None
        values = tuple(float(word) for word in content.split()[1:])
        times = tuple(map(float, range(len(values))))
        return ck.Log(tracks=(ck.Track(channel="battery_voltage", times=times, values=values, interval=1.0),))

    @ck.hookimpl
    def corekit_readers():
        return [ck.Reader("the gauge's own file", read)]
"""


def test_a_plugin_may_read_files_and_need_no_system(install: Callable[..., EntryPoint]) -> None:
    from corekit.readers.files import log_of

    plugins = load([install("gauge", READS)])
    assert plugins.failures == ()
    track = log_of(plugins, "a.dat", b"GAUGE 12.5 12.4 12.6").track("battery_voltage")
    assert track is not None and track.values == (12.5, 12.4, 12.6)
    # What it does not know goes on to the core's own reader.
    assert log_of(plugins, "a.csv", b"Time [s];RPM\n0;800\n1;810\n").track("engine_speed") is not None


@pytest.mark.parametrize(
    ("body", "why"),
    [("raise RuntimeError('no ink')", "no ink"), ("return 12.5", "returns a Log or None")],
)
def test_a_reader_that_fails_is_named_and_another_reads_the_file(
    install: Callable[..., EntryPoint], body: str, why: str
) -> None:
    from corekit.readers.files import log_of

    source = (
        textwrap.dedent(READS)
        .replace("return None", "pass")
        .replace("values = tuple", f"{body}\n    values = tuple", 1)
    )
    log = log_of(load([install("bad", source)]), "a.csv", b"Time [s];RPM\n0;800\n1;810\n")
    assert log.track("engine_speed") is not None
    assert any("plugin bad" in one and why in one for one in log.remarks)


WRITES = """
    import corekit as ck

    @ck.hookimpl
    def corekit_exporters():
        return [ck.Exporter("list", "A list of lines", ".txt", lambda invoice, paper: b"lines")]
"""


def test_a_plugin_may_write_invoices_and_two_may_not_write_one_form(
    install: Callable[..., EntryPoint],
) -> None:
    plugins = load([install("first", WRITES), install("second", WRITES)])
    assert [(plugin, one.name) for plugin, one in plugins.exporters] == [("first", "list")]
    (failure,) = plugins.failures
    assert (failure.plugin, "'list' is another plugin's" in failure.what) == ("second", True)


@pytest.mark.parametrize("hook", ["corekit_readers", "corekit_exporters"])
def test_a_hook_that_gives_something_else_costs_its_plugin_alone(
    install: Callable[..., EntryPoint], hook: str
) -> None:
    source = f"import corekit as ck\n@ck.hookimpl\ndef {hook}():\n    return ['csv']\n"
    (failure,) = load([install("odd", source)]).failures
    assert f"{hook} must return a list of" in failure.what
