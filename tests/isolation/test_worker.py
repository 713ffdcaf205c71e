"""The worker process: assesses as this process would, whatever a plugin does to it, and is gone when nobody
needs it any more.
"""

from __future__ import annotations

import io
import json
import os
import pickle
import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Callable, Collection, Iterator
from importlib.metadata import entry_points
from pathlib import Path
from unittest import mock

import attrs
import pytest

from corekit.assess.assessment import Assessment, assess
from corekit.desk.assessment_data import as_data
from corekit.desk.assessment_text import as_words
from corekit.desk.check import NO_CURRENCY, CheckView
from corekit.desk.in_memory import scratch_job
from corekit.desk.rows import add_rows
from corekit.desk.shop import open_shop
from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.isolation.process import Timeouts
from corekit.isolation.worker import Worker, WorkerError
from corekit.model.finding import Reason
from corekit.model.job import Job
from corekit.model.value import Value, exact
from corekit.plugin.calculation import Calculation
from corekit.plugin.host import Failure, Plugins, load
from corekit.reference import data_path
from corekit.screens.app import NoAuth
from corekit.screens.context import Van
from corekit.screens.serve import opened

from ..assess.story import Story

QUICK = Timeouts(
    start=60.0, load=20.0, check=1.0, patience=1.0
)  # shorter than the alarm in the worker, so that the process is what ends
DEADLINE = 60.0

LAMPS = """
    from collections.abc import Iterator
    from typing import Annotated
    import corekit as ck

    lamps = ck.System("lamps", "Lamps")
    voltage = lamps.measurand("voltage", "V", "Voltage", possible=(0, 30), usual=(9, 15), accuracy="0.1 V")

    @lamps.check("Voltage at the lamp")
    def at_the_lamp(case: ck.Case, read: Annotated[ck.Reading, voltage]) -> Iterator[ck.Finding | ck.Gap]:
        yield case.advise(ck.Claim("lamps.voltage"), "{value} at the lamp.", read)

    @ck.hookimpl
    def corekit_system() -> ck.System:
        return lamps
"""
HORN = """
    import ctypes, faulthandler, gc, itertools, multiprocessing, multiprocessing.connection, os, signal
    import threading, time
    from collections.abc import Iterator
    from pathlib import Path
    from typing import Annotated, Any
    import corekit as ck

    horn = ck.System("horn", "Horn")
    level = horn.measurand("level", "Hz", "Pitch", possible=(0, 3000), usual=(100, 1000), accuracy="5 Hz")
    IN_WORKER = multiprocessing.parent_process() is not None

    @horn.check("Pitch")
    def pitch(case: ck.Case, read: Annotated[ck.Reading, level]) -> Iterator[ck.Finding | ck.Gap]:
        yield case.advise(ck.Claim("horn.pitch"), "{value}.", read)

    @horn.check("Tone")
    def tone(case: ck.Case, read: Annotated[ck.Reading, level]) -> Iterator[Any]:
        yield case.advise(ck.Claim("horn.tone"), "Heard.")
        CHECK

    def calculated(number: float) -> float:
        SUM
        return number

    @horn.calculation(source="book")
    def half(
        pitch: Annotated[float, ck.Input("Hz", "Pitch of the horn", above=0)],
    ) -> Annotated[float, ck.Output("Hz", "Half of it")]:
        return calculated(pitch) / 2

    @ck.hookimpl
    def corekit_system() -> ck.System:
        return horn
"""
SOURCES = '[[source]]\nkey = "book"\ntitle = "An invented book"\nbasis = "handbook"\nstatus = "read"\n'

WAYS_BACK = (
    "(way for way in gc.get_objects() if isinstance(way, multiprocessing.connection.Connection) and"
    " way.writable)"
)

#: What a check does, and what is said of it.
COSTLY = {
    "hangs": ("while True: pass", "gave no answer within 1 s"),
    "swallows what the alarm raises": (
        "while True:\n            try: time.sleep(0.01)\n            except BaseException: pass",
        "gave no answer within 1 s",
    ),
    "hangs inside C": ("sum(itertools.repeat(1))", "gave no answer within 1 s"),
    "leaves": ("os._exit(3)", "ended its process (code 3)"),
    "is killed": ("os.kill(os.getpid(), signal.SIGKILL)", "broke its process (signal 9)"),
    "segfaults": ("faulthandler.disable(); ctypes.string_at(0)", "broke its process (signal 11)"),
    "writes on the way back": (
        f"[way.send_bytes(b'no pickle') for way in {WAYS_BACK}]\n        time.sleep(60)",
        "sent something that is no answer",
    ),
    "half a message on the way back": (
        f"[os.write(way.fileno(), bytes([0, 0, 1, 0, 7])) for way in {WAYS_BACK}]\n        time.sleep(60)",
        "broke its process (signal 9)",
    ),
    "closes the way back": (
        f"[way.close() for way in {WAYS_BACK}]\n        time.sleep(60)",
        "closed the pipe that it answers through",
    ),
    "cries ctrl-C": (
        "raise KeyboardInterrupt",
        "failed (KeyboardInterrupt, at corekit_worked_horn/__init__.py line ",
    ),
    "gives what cannot be passed on": (
        "yield case.advise(ck.Claim('horn.odd'), '{x}', values={'x': type('Odd', (str,), {})('odd')})",
        "gave a result that cannot be passed on",
    ),
}

Install = Callable[..., None]


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Install]:
    """Installs a plugin as a package manager leaves it: a package and its entry point, on a folder of the
    path.
    """
    site = tmp_path / "site"
    site.mkdir()
    monkeypatch.syspath_prepend(str(site))
    made: list[str] = []

    def write(name: str, source: str, check: str = "pass", calculation: str = "pass") -> None:
        module = f"corekit_worked_{name}"
        folder = site / module
        folder.mkdir()
        source = textwrap.dedent(source)
        for place, body in (("CHECK", check), ("SUM", calculation)):
            source = source.replace(place, body.replace("\n        ", "\n    "))
        (folder / "__init__.py").write_text(source)
        (folder / "sources.toml").write_text(SOURCES)
        info = site / f"{module}-1.0.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {module}\nVersion: 1.0\n")
        (info / "entry_points.txt").write_text(f"[corekit]\n{name} = {module}\n")
        made.append(module)

    yield write
    for module in made:
        sys.modules.pop(module, None)


def installed(*names: str) -> Plugins:
    return load([point for point in entry_points(group="corekit") if point.name in names])


def worker(*names: str, timeouts: Timeouts = QUICK) -> Worker:
    return Worker(
        [point for point in entry_points(group="corekit") if point.name in names], timeouts=timeouts
    )


def visit(plugins: Plugins) -> Job:
    story = Story(plugins=plugins)
    for of, typed in (("lamps.voltage", "12.1 V"), ("horn.level", "440 Hz")):
        if of in plugins.measurands:
            story.read(of, typed)
    return story.job


def whole(made: Assessment, *, but: str = "") -> dict[str, object]:
    """All that is printed of an assessment, but for the readings and the version of one system, and the gaps
    that name a plugin that failed.
    """
    plugins = installed("lamps")
    data = as_data(CheckView(assessment=made, plugins=plugins))
    data["gaps"] = [gap for gap in data["gaps"] if gap["reason"] != Reason.PLUGIN_FAILED]
    data["versions"] = {
        name: version for name, version in data["versions"].items() if name != but.rstrip(".")
    }
    data["readings"] = [
        reading for reading in data["readings"] if not but or not reading["of"].startswith(but)
    ]
    return json.loads(json.dumps(data))  # type: ignore[no-any-return]


def gone(pid: int) -> bool:
    """True as soon as the process of this id has ended; a zombie that nobody has waited for has ended too."""
    until = time.monotonic() + DEADLINE
    while time.monotonic() < until:
        try:
            state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
        except (FileNotFoundError, ProcessLookupError):
            return True
        if state in "ZX":
            return True
        time.sleep(0.02)
    return False


# ---- as this process would


@pytest.fixture(scope="module")
def demo_jobs() -> tuple[Plugins, list[Job]]:
    plugins = load()
    declared = Declared.of(plugins, currency=NO_CURRENCY)
    files = sorted((data_path("demo") / "jobs").glob("*.toml"))
    return plugins, [scratch_job(read_visit(file, declared))[0] for file in files]


def test_jobs_and_assessments_are_the_same_after_the_way_through_a_pipe(
    demo_jobs: tuple[Plugins, list[Job]],
) -> None:
    plugins, jobs = demo_jobs
    assert len(jobs) > 3
    for job in jobs:
        assert pickle.loads(pickle.dumps(job)) == job
        made = assess(job, plugins)
        back: Assessment = pickle.loads(pickle.dumps(made))
        assert back == made
        assert [back.is_dealt_with(finding) for finding in back.latest] == [
            made.is_dealt_with(finding) for finding in made.latest
        ]
        assert as_words(CheckView(assessment=back, plugins=plugins)) == as_words(
            CheckView(assessment=made, plugins=plugins)
        )


def test_the_worker_makes_of_a_job_what_this_process_would(demo_jobs: tuple[Plugins, list[Job]]) -> None:
    plugins, jobs = demo_jobs
    with Worker() as works:
        for job in jobs:
            assert works(job, plugins) == assess(job, plugins)
        assert works(jobs[0], plugins, 7.0) == assess(jobs[0], plugins, 7.0)
        assert works(jobs[0], plugins, None, ("egr",)) == assess(jobs[0], plugins, None, ("egr",))
        assert "egr" in {test.system for test in works(jobs[0], plugins, None, ("egr",)).next_tests}
        assert works.disabled_systems == ()


def test_the_worker_ranks_tests_by_whole_columns_for_it_stays(demo_jobs: tuple[Plugins, list[Job]]) -> None:
    plugins, jobs = demo_jobs
    with Worker() as works:
        works(jobs[0], plugins)
        assert works.pid is not None
        assert "_multiarray_umath" in Path(f"/proc/{works.pid}/maps").read_text("utf-8")


def test_a_shop_assesses_estimates_and_issues_with_the_worker_as_with_itself(demo_copy: Path) -> None:
    calls: list[str] = []
    with Worker() as works:

        def watched(job: Job, plugins: Plugins, *more: object) -> Assessment:
            calls.append(job.name)
            return works(job, plugins, *more)  # type: ignore[arg-type]

        with open_shop(demo_copy) as plain, open_shop(demo_copy, assessor=watched) as shop:
            for job in shop.store.jobs():
                assert shop.assess(job) == plain.assess(job)
            jobs = [shop.store.job(job) for job in shop.store.jobs()]
            assert calls == [job.name for job in jobs]
            calls.clear()
            arrival, repaired = (
                data_path("demo") / "first-job" / f"{name}.toml" for name in ("arrival", "repaired")
            )
            job = shop.import_visit(arrival)
            estimate = shop.estimate(job, "repair")
            assert plain.estimate(job, "repair") == estimate  # nothing has changed, so it is the same one
            shop.approve(estimate, by="customer", how="in person")
            shop.import_visit(repaired, job=job)
            assert shop.issue(job).number == plain.issue(job).number
            assert calls == ["first-job"] * 2


def test_the_pid_stays_the_same_from_one_request_to_the_next(install: Install) -> None:
    install("lamps", LAMPS)
    plugins = installed("lamps")
    with worker("lamps") as works:
        before = works.pid
        assert before not in (None, os.getpid())
        assert [works(visit(plugins), plugins) == assess(visit(plugins), plugins) for _ in range(3)] == [
            True
        ] * 3
        assert works.pid == before


# ---- plugins that cost the process


@pytest.mark.parametrize("kind", COSTLY)
def test_a_check_that_costs_the_process_costs_its_own_system_and_nothing_else(
    kind: str, install: Install
) -> None:
    body, words = COSTLY[kind]
    install("lamps", LAMPS)
    install("horn", HORN, body)
    plugins, alone = installed("horn", "lamps"), installed("lamps")
    job = visit(plugins)
    with worker("horn", "lamps") as works:
        made = works(job, plugins)
        (failure,) = works.disabled_systems
        assert failure.plugin == "horn"
        assert "'Tone'" in failure.what
        assert words in failure.what
        assert "Horn is not assessed" in failure.cost
        assert made.failures == (failure,)
        (gap,) = [gap for gap in made.gaps if gap.reason is Reason.PLUGIN_FAILED]
        assert gap.text == str(failure)
        assert "Traceback" not in gap.text and "\n" not in gap.text
        assert [reading.shown for reading in made.readings[0] if reading.measurand.key == "horn.level"] == [
            "440 Hz ± 6 Hz (k = 2)"
        ]  # 2 × 5 Hz / √3
        assert as_words(CheckView(assessment=made, plugins=plugins))
        assert whole(made, but="horn.") == whole(assess(visit(alone), alone))
        # From now on the system is left alone, and the process lives.
        pid = works.pid
        assert works(job, plugins) == made
        assert works.pid == pid
        # The lamps are judged as if the horn had never been there.
        assert [finding.code for finding in made.findings] == ["lamps.voltage"]


def test_what_was_set_aside_is_tried_again_when_somebody_asks_for_it(
    install: Install, tmp_path: Path
) -> None:
    flag = tmp_path / "flag"
    install("horn", HORN, f"os._exit(1) if Path({str(flag)!r}).exists() else None")
    plugins = installed("horn")
    job = visit(plugins)
    flag.touch()
    with worker("horn") as works:
        assert works(job, plugins).findings == ()
        flag.unlink()
        assert works(job, plugins).findings == ()
        works.try_again()
        assert works.disabled_systems == ()
        assert works(job, plugins) == assess(job, plugins)
        assert {finding.code for finding in works(job, plugins).findings} == {"horn.pitch", "horn.tone"}


def test_two_plugins_that_cost_the_process_are_both_set_aside_in_one_answer(install: Install) -> None:
    install("lamps", LAMPS)
    install("horn", HORN, "os._exit(1)")
    install(
        "bell",
        HORN.replace('"horn"', '"bell"')
        .replace("horn.", "bell.")
        .replace("bell.c", "horn.c")
        .replace("bell.m", "horn.m"),
        "while True: pass",
    )
    plugins = installed("horn", "lamps", "bell")
    assert (list(plugins.systems), plugins.failures) == (["bell", "horn", "lamps"], ())
    job = (
        Story(plugins=plugins)
        .read("lamps.voltage", "12 V")
        .read("horn.level", "440 Hz")
        .read("bell.level", "440 Hz")
        .job
    )
    with worker("horn", "lamps", "bell") as works:
        made = works(job, plugins)
        assert {failure.plugin for failure in works.disabled_systems} == {"bell", "horn"}
        assert [finding.code for finding in made.findings] == ["lamps.voltage"]


def test_a_check_that_the_alarm_stops_costs_no_process_and_is_not_run_twice(
    install: Install, tmp_path: Path
) -> None:
    log = tmp_path / "log"
    install("horn", HORN, f"Path({str(log)!r}).open('a').write('run ')\n        while True: pass")
    plugins = installed("horn")
    job = visit(plugins)
    with worker("horn", timeouts=Timeouts()) as works:
        pid = works.pid
        made = works(job, plugins)
        (gap,) = made.gaps
        assert (gap.system, gap.check, gap.reason) == ("horn", "Tone", Reason.PLUGIN_FAILED)
        assert "longer than 5 s" in gap.text
        assert [finding.code for finding in made.findings] == ["horn.pitch"]
        assert works(job, plugins) == made
        assert (works.pid, works.disabled_systems, log.read_text()) == (pid, (), "run ")


def test_a_plugin_that_ends_the_process_as_it_loads_there_is_left_out_by_name(install: Install) -> None:
    install("lamps", LAMPS)
    install(
        "horn",
        HORN.replace(
            "IN_WORKER =", "if multiprocessing.parent_process() is not None: os._exit(5)\n    IN_WORKER ="
        ),
    )
    plugins = installed("horn", "lamps")
    with worker("horn", "lamps") as works:
        made = works(visit(plugins), plugins)
    assert [finding.code for finding in made.findings] == ["lamps.voltage"]
    (failure,) = made.failures
    assert failure.plugin == "horn"
    assert "does not load" in failure.what and "code 5" in failure.what


def test_a_plugin_that_fails_to_load_only_there_is_named_with_the_reason(install: Install) -> None:
    install(
        "horn",
        HORN.replace(
            "IN_WORKER =",
            "if multiprocessing.parent_process() is not None: raise RuntimeError('no luck')\n    IN_WORKER =",
        ),
    )
    plugins = installed("horn")
    with worker("horn") as works:
        (failure,) = works(visit(plugins), plugins).failures
    assert "no luck" in str(failure)


def test_what_failed_to_load_here_is_said_and_not_assessed_there_either(install: Install) -> None:
    install("lamps", LAMPS)
    install(
        "horn",
        HORN.replace(
            "IN_WORKER =",
            "if multiprocessing.parent_process() is None: raise RuntimeError('no luck')\n    IN_WORKER =",
        ),
    )
    plugins = installed("horn", "lamps")
    assert [failure.plugin for failure in plugins.failures] == ["horn"]
    with worker("horn", "lamps") as works:
        assert works(visit(plugins), plugins) == assess(visit(plugins), plugins)


def test_a_process_that_dies_for_no_known_reason_leaves_the_readings(
    install: Install, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing can be started here, so nobody is to blame; the next request tries again."""
    install("lamps", LAMPS)
    plugins = installed("lamps")
    job = visit(plugins)
    with worker("lamps") as works:
        with monkeypatch.context() as spoiled:
            works.try_again()
            assert works.pid is not None
            spoiled.setattr("multiprocessing.spawn._python_exe", b"/bin/false")
            os.kill(works.pid, signal.SIGKILL)
            made = works(job, plugins)
            assert (made.findings, works.disabled_systems) == ((), ())
            assert [failure.plugin for failure in made.failures] == ["lamps"]
            assert "none of them is to blame (the worker ended its process (code 1))" in made.failures[0].what
            assert [reading.typed for reading in made.readings[0]] == ["12.1 V"]
        assert works(job, plugins) == assess(job, plugins)


def test_a_worker_killed_between_two_requests_is_replaced_without_a_word(install: Install) -> None:
    install("lamps", LAMPS)
    plugins = installed("lamps")
    job = visit(plugins)
    with worker("lamps") as works:
        before = works(job, plugins)
        pid = works.pid
        assert pid is not None
        os.kill(pid, signal.SIGKILL)
        assert gone(pid)
        assert works(job, plugins) == before
        assert works.pid not in (None, pid)


# ---- calculations


def test_the_worker_calculates_as_this_process_would(install: Install) -> None:
    install("horn", HORN)
    local = installed("horn").calculations["horn.half"]
    given = Value("frequency", 440.0, {"meter": 2.0}, frozenset({"e"}))
    with worker("horn") as works:
        assert works.calculate("horn.half", {"pitch": given}) == local(pitch=given)
        assert works.calculate("horn.half", {"pitch": given}).number == 220.0  # half of 440
        for arguments, words in (
            ({"pitch": exact("frequency", -1.0)}, "above 0"),
            ({"pitch": exact("voltage", 1.0)}, "got a voltage"),
            ({}, "needs pitch"),
            ({"colour": given}, "colour"),
        ):
            with pytest.raises(ValueError, match=words):
                works.calculate("horn.half", arguments)
        with pytest.raises(ValueError, match=r"no calculation horn\.third"):
            works.calculate("horn.third", {})


@pytest.mark.parametrize("kind", ["hangs inside C", "leaves", "segfaults"])
def test_a_calculation_that_costs_the_process_is_named_and_rests(
    kind: str, install: Install, tmp_path: Path
) -> None:
    body, words = COSTLY[kind]
    install("lamps", LAMPS)
    install("horn", HORN, calculation=body)
    plugins = installed("lamps", "horn")
    with worker("horn", "lamps") as works:
        for _ in range(2):
            with pytest.raises(WorkerError, match=r"horn\.half") as refused:
                works.calculate("horn.half", {"pitch": exact("frequency", 440.0)})
            assert words in str(refused.value)
        assert works(visit(plugins), plugins) == assess(visit(plugins), plugins)


def test_a_calculation_that_raises_something_odd_is_a_problem_in_one_line(install: Install) -> None:
    install("horn", HORN, calculation="raise KeyError('nothing')")
    with (
        worker("horn") as works,
        pytest.raises(
            WorkerError,
            match=r"horn\.half failed \(KeyError: 'nothing', at corekit_worked_horn/__init__\.py line \d+\)",
        ),
    ):
        works.calculate("horn.half", {"pitch": exact("frequency", 440.0)})


def test_a_calculation_asked_of_a_worker_that_died_idle_is_made_by_the_next_one(install: Install) -> None:
    install("horn", HORN)
    with worker("horn") as works:
        for _ in range(2):
            assert works.calculate("horn.half", {"pitch": exact("frequency", 440.0)}).number == 220.0
            assert works.pid is not None
            os.kill(works.pid, signal.SIGKILL)
            assert gone(works.pid)


# ---- readers of files

GAUGE = """
    import ctypes, faulthandler, gc, itertools, multiprocessing, multiprocessing.connection, os, signal, time
    import corekit as ck

    IN_WORKER = multiprocessing.parent_process() is not None

    def read(name: str, content: bytes) -> ck.Log | None:
        if not content.startswith(b"GAUGE"):
            return None
        CHECK
        values = tuple(float(word) for word in content.split()[1:])
        times = tuple(map(float, range(len(values))))
        return ck.Log(
            tracks=(ck.Track(channel="battery_voltage", times=times, values=values, interval=1.0),),
            remarks=(f"read in the worker: {IN_WORKER}",),
        )

    @ck.hookimpl
    def corekit_readers():
        return [ck.Reader("the gauge's own file", read)]
"""
READ_QUICKLY = attrs.evolve(QUICK, read=1.0)


def test_a_plugin_s_reader_reads_in_the_worker(install: Install) -> None:
    install("gauge", GAUGE)
    with worker("gauge") as works:
        log, failed = works.read_log("a.dat", b"GAUGE 12.5 12.4")
        assert works.read_log("a.csv", b"Time [s];RPM\n0;800\n") == (None, ())
    assert log is not None and log.tracks[0].values == (12.5, 12.4)
    assert (log.remarks, failed) == (("read in the worker: True",), ())


def test_a_reader_that_raises_is_named_and_is_asked_again(install: Install) -> None:
    install("gauge", GAUGE, "raise RuntimeError('no ink')")
    with worker("gauge") as works:
        for _ in range(2):
            log, (said,) = works.read_log("a.dat", b"GAUGE 12.5")
            assert log is None
            assert "the gauge's own file of plugin gauge failed: RuntimeError: no ink" in said


@pytest.mark.parametrize(
    "kind", ["hangs inside C", "swallows what the alarm raises", "leaves", "segfaults", "cries ctrl-C"]
)
def test_a_reader_that_costs_the_process_is_named_and_costs_nothing_else(kind: str, install: Install) -> None:
    body, words = COSTLY[kind]
    install("lamps", LAMPS)
    install("gauge", GAUGE, body)
    install("scale", GAUGE.replace("GAUGE", "SCALE"))
    plugins = installed("lamps")
    with worker("gauge", "lamps", "scale", timeouts=READ_QUICKLY) as works:
        for _ in range(2):
            log, (said,) = works.read_log("a.dat", b"GAUGE 12.5")
            assert log is None
            assert said.startswith("The reader of plugin gauge ")
            assert words.replace("worked_horn", "worked_gauge") in said
            assert "it is not asked again until `corekit work` is started again" in said
        log, (said,) = works.read_log("b.dat", b"SCALE 12.5")
        assert log is not None and log.tracks[0].values == (12.5,)
        assert works(visit(plugins), plugins) == assess(visit(plugins), plugins)


def test_a_file_on_the_screens_is_read_in_the_worker(
    empty_shop: Path, install: Install, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever reads it in the process of the screens themselves would be stopped by nothing."""
    install("gauge", GAUGE, "if not IN_WORKER: os._exit(9)\n        if b'bad' in content: os._exit(3)")
    with opened(empty_shop, NoAuth()) as app:  # type: ignore[arg-type]
        browser = app.test_client()
        with open_shop(empty_shop) as shop:
            rows = {"reason": "Is silent.", "vehicle": {"plate": "DEMO-1"}}
            job = add_rows(shop.context, None, rows, request_id="begin-0123456789").job
        for content, status, words in (
            (b"GAUGE 12.5 12.4", 200, "read in the worker: True"),
            (b"GAUGE bad", 422, "ended its process (code 3)"),
            (b"Time [s];RPM\n0;800\n1;810\n", 200, "ended its process (code 3)"),
        ):
            fields = {"log": (io.BytesIO(content), "a.dat"), "screen": f"/job/{job}/log"}
            reply = browser.post(f"/job/{job}/log/file", data=fields)
            assert (reply.status_code, words in reply.text) == (status, True), reply.text[-800:]


# ---- its life


def test_threads_are_served_in_the_order_in_which_they_came(install: Install, tmp_path: Path) -> None:
    gate = tmp_path / "gate"
    install("horn", HORN, f"[time.sleep(0.01) for _ in iter(Path({str(gate)!r}).exists, True)]")
    plugins = installed("horn")
    job = visit(plugins)
    served: list[int] = []
    with worker("horn", timeouts=Timeouts(check=DEADLINE)) as works:

        def ask(number: int) -> None:
            works(job, plugins)
            served.append(number)

        threads = [threading.Thread(target=ask, args=(number,)) for number in range(8)]
        for number, thread in enumerate(threads):
            thread.start()
            until = time.monotonic() + DEADLINE
            while number and works._turns.waiting < number and time.monotonic() < until:
                time.sleep(0.005)
        gate.touch()
        for thread in threads:
            thread.join(DEADLINE)
    assert served == list(range(8))


def test_after_a_ctrl_c_the_next_request_gets_its_own_answer(
    install: Install, monkeypatch: pytest.MonkeyPatch
) -> None:
    install("lamps", LAMPS)
    plugins = installed("lamps")
    first, second = (Story(plugins=plugins).read("lamps.voltage", typed).job for typed in ("11 V", "13 V"))
    with worker("lamps") as works:
        works(first, plugins)
        with monkeypatch.context() as pressed:
            pressed.setattr("corekit.isolation.process.wait", mock.Mock(side_effect=KeyboardInterrupt))
            with pytest.raises(KeyboardInterrupt):
                works(first, plugins)
        assert works(second, plugins) == assess(second, plugins)


def test_closing_ends_the_process_and_says_so_to_who_waits(install: Install) -> None:
    install("horn", HORN, "time.sleep(60)")
    plugins = installed("horn")
    works = worker("horn", timeouts=Timeouts(check=DEADLINE))
    works.warm()
    pid = works.pid
    assert pid is not None
    said: list[str] = []

    def ask() -> None:
        try:
            works(visit(plugins), plugins)
        except WorkerError as error:
            said.append(str(error))

    thread = threading.Thread(target=ask)
    thread.start()
    works.close()
    thread.join(DEADLINE)
    assert gone(pid)
    assert ["closed" in words for words in said] == [True]
    with pytest.raises(WorkerError, match="closed"):
        works(visit(plugins), plugins)
    works.close()


@pytest.mark.parametrize("kind", ["idle", "hangs", "swallows what the alarm raises", "hangs inside C"])
def test_a_worker_whose_server_was_killed_ends_by_itself(kind: str, install: Install, tmp_path: Path) -> None:
    body = "pass" if kind == "idle" else COSTLY[kind][0]
    install("horn", HORN, f"Path({str(tmp_path / 'begun')!r}).touch()\n        {body}")
    script = """
        import sys
        from importlib.metadata import entry_points
        from corekit.plugin.host import load
        from corekit.isolation.process import Timeouts
        from corekit.isolation.worker import Worker
        from tests.isolation.test_worker import visit
        points = [point for point in entry_points(group="corekit") if point.name == "horn"]
        plugins = load(points)
        works = Worker(points, timeouts=Timeouts(load=0.5, check=0.7, read=0.7))
        works.warm()
        print(works.pid, flush=True)
        works(visit(plugins), plugins)
        print("answered", flush=True)
        sys.stdin.read()
    """
    if kind != "idle":
        script = script.replace("check=0.7", "check=0.7, start=600").replace(
            "works = Worker", "Timeouts.of = lambda *_: 600.0\n        works = Worker"
        )
    root = Path(__file__).parents[2]
    path = os.pathsep.join([str(tmp_path / "site"), str(root), *filter(None, sys.path)])
    server = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(script)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    try:
        assert server.stdout is not None
        pid = int(server.stdout.readline())
        if kind == "idle":
            assert server.stdout.readline() == "answered\n"
        until = time.monotonic() + DEADLINE
        while not (tmp_path / "begun").exists() and time.monotonic() < until:
            time.sleep(0.02)
        assert (tmp_path / "begun").exists()
        os.kill(pid, 0)  # it lives
    finally:
        server.kill()
        server.wait()
        for end in (server.stdin, server.stdout):  # not read to its end: a worker that lives on has it open
            assert end is not None
            end.close()
    has_ended = gone(pid)
    if not has_ended:
        os.kill(pid, signal.SIGKILL)
    assert has_ended


# ---- under the screens


def test_the_screens_assess_and_calculate_in_the_worker(
    empty_shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever assesses or calculates in the process of the screens themselves would be stopped
    by nothing.
    """
    with open_shop(empty_shop) as shop:
        rows = {
            "reason": "Cranks slowly.",
            "vehicle": {"plate": "DEMO-1"},
            "step": [{"seen": [{"of": "battery.case", "is": "sound"}]}],
        }
        begun = add_rows(shop.context, None, rows, request_id="begin-0123456789")
        assert shop.assess(begun.job).findings
    with opened(empty_shop, NoAuth()) as app:  # type: ignore[arg-type]
        monkeypatch.setattr("corekit.assess.assessment.case_at", None)
        monkeypatch.setattr(Calculation, "__call__", None)
        browser = app.test_client()
        assert browser.get("/").status_code == 200
        assert browser.get(f"/job/{begun.job}").status_code == 303
        done = browser.post(
            "/reckon/ignition.final_current", data={"in.voltage": "12 V", "in.resistance": "3 Ω"}
        )
        assert (done.status_code, "4 A" in done.text) == (200, True)  # Ohm's law: 12 V through 3 Ω
        refused = browser.post(
            "/reckon/ignition.final_current", data={"in.voltage": "12 V", "in.resistance": "3 V"}
        )
        assert refused.status_code == 422


def test_a_plugin_that_ends_the_process_costs_no_answer_and_no_screen(
    empty_shop: Path, install: Install
) -> None:
    install("horn", HORN, "os._exit(1)")
    with opened(empty_shop, NoAuth()) as app:  # type: ignore[arg-type]
        browser = app.test_client()
        with open_shop(empty_shop) as shop:
            job = add_rows(
                shop.context,
                None,
                {"reason": "Is silent.", "vehicle": {"plate": "DEMO-1"}},
                request_id="begin-0123456789",
            ).job
        fields = {
            "step[0].readings[0].of": "horn.level",
            "step[0].readings[0].is": "440 Hz",
            "screen": f"/job/{job}/test/horn.level",
        }
        typing = browser.post(f"/job/{job}/try", data=fields)
        assert (typing.status_code, "440\N{NO-BREAK SPACE}Hz" in typing.text) == (200, True)
        assert (
            browser.post(f"/job/{job}/answer", data={**fields, "answer": "answer-123456789"}).status_code
            == 303
        )
        for path in (f"/job/{job}/test", f"/job/{job}/tests", f"/job/{job}/record", "/"):
            page = browser.get(path, follow_redirects=True)
            assert (page.status_code, "Traceback" in page.text) == (200, False)
    with open_shop(empty_shop) as shop:
        assert [noted.record.typed for noted in shop.store.job(job).measured(0)] == ["440 Hz"]


def test_what_was_made_while_no_worker_could_be_had_is_not_kept(empty_shop: Path, install: Install) -> None:
    install("horn", HORN)
    plugins = installed("horn")
    lost = True

    def assessor(
        job: Job, plugins: Plugins, minutes: float | None = None, about: Collection[str] = ()
    ) -> Assessment:
        made = assess(job, plugins, minutes, about)
        return (
            attrs.evolve(made, failures=(Failure(plugin="horn", what="lost", cost="all"),)) if lost else made
        )

    with open_shop(empty_shop, plugins=plugins, assessor=assessor) as shop:
        van = Van(shop.context)
        rows = {
            "reason": "Is silent.",
            "vehicle": {"plate": "DEMO-1"},
            "step": [{"readings": [{"of": "horn.level", "is": "440 Hz"}]}],
        }
        job = van.job(add_rows(shop.context, None, rows, request_id="begin-0123456789").job)
        assert van.assessed(job).failures
        lost = False
        made = van.assessed(job)
        assert made.failures == ()
        assert van.assessed(job) is made
