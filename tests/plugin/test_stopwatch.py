"""What computes is limited by the processor's time; a busy computer costs nobody anything."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from corekit import stopwatch
from corekit.plugin.guard import Overrun, time_limit
from corekit.stopwatch import Stopwatch, of_this_thread

SCHEDULER = Path("/proc/self/schedstat")
ON_LINUX = pytest.mark.skipif(not SCHEDULER.exists(), reason="this system does not tell who waits for whom")


def compute(seconds: float) -> None:
    until = time.thread_time() + seconds
    while time.thread_time() < until:
        pass


class Times:
    """What the system tells of a thread, in its place."""

    def __init__(self) -> None:
        self.now, self.computed, self.ready = 100.0, 7.0, 3.0

    def pass_by(self, *, computed: float = 0.0, ready: float = 0.0, asleep: float = 0.0) -> None:
        self.computed += computed
        self.ready += ready
        self.now += computed + ready + asleep


@pytest.fixture
def times(monkeypatch: pytest.MonkeyPatch) -> Times:
    told = Times()
    monkeypatch.setattr(Stopwatch, "_read", lambda self: (told.computed, told.ready))
    return told


# A limit of 5 s, and 6 times as long for what waits: by hand.
@pytest.mark.parametrize(
    ("computed", "ready", "asleep", "is_over"),
    [
        (4.9, 0.0, 0.0, False),
        (5.1, 0.0, 0.0, True),
        (4.9, 600.0, 0.0, False),  # ready for ten minutes, while others had the processor
        (0.1, 0.0, 29.0, False),
        (0.1, 0.0, 30.0, True),
        (0.1, 600.0, 29.0, False),
        (4.0, 600.0, 25.9, False),
        (4.0, 600.0, 26.1, True),
    ],
)
def test_a_limit_counts_what_was_computed_and_what_was_waited(
    computed: float, ready: float, asleep: float, is_over: bool, times: Times
) -> None:
    watch = Stopwatch("self", clock=lambda: times.now)
    times.pass_by(computed=computed, ready=ready, asleep=asleep)
    assert (min(watch.left(5.0)) < 0) is is_over


def test_where_nobody_tells_what_was_computed_all_of_it_is_waiting() -> None:
    clock = iter([0.0, 29.0, 31.0])
    watch = Stopwatch("no such task", clock=lambda: next(clock))
    assert watch.left(5.0) == (1.0, 1.0)
    assert watch.left(5.0) == (-1.0, -1.0)


def test_a_system_that_says_0_of_everything_keeps_no_count(tmp_path: Path) -> None:
    told = tmp_path / "schedstat"
    clock, computed = iter([0.0, 10.0]), iter([1.0, 5.5])
    told.write_text("0 0 0\n")
    watch = Stopwatch(f"..{tmp_path}", lambda: next(computed), lambda: next(clock))
    assert watch.left(5.0) == (0.5, 20.0)
    clock = iter([0.0, 10.0])
    told.write_text("1000000000 2000000000 7\n")
    watch = Stopwatch(f"..{tmp_path}", clock=lambda: next(clock))
    told.write_text("3500000000 6000000000 9\n")
    assert watch.left(5.0) == (2.5, 24.0)  # 2.5 s computed; 10 s passed, 4 s of them ready


def test_where_the_folder_is_not_there_another_clock_tells_what_was_computed() -> None:
    computed = iter([1.0, 5.5])
    clock = iter([0.0, 10.0])
    watch = Stopwatch("no such task", lambda: next(computed), lambda: next(clock))
    assert watch.left(5.0) == (0.5, 20.0)


def test_a_thread_is_told_from_the_others_of_its_process() -> None:
    watch = of_this_thread()
    other = threading.Thread(target=compute, args=(0.2,))
    other.start()
    other.join()
    assert watch.left(1.0)[0] > 0.9
    compute(0.2)
    assert watch.left(1.0)[0] < 0.85


@ON_LINUX
def test_the_time_in_which_others_had_the_processor_is_nobodys() -> None:
    script = "import time\nuntil = time.monotonic() + 60\nwhile time.monotonic() < until: pass"
    here = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {min(here)})  # they and this one share one processor
    others = [subprocess.Popen([sys.executable, "-c", script]) for _ in range(4)]
    try:
        began, watch = time.monotonic(), of_this_thread()
        compute(0.25)
        computing, waiting = watch.left(1.0, patience=1.0)
        passed = time.monotonic() - began
    finally:
        for one in others:
            one.kill()
            one.wait()
        os.sched_setaffinity(0, here)
    assert computing == pytest.approx(0.75, abs=0.1)
    assert waiting > 1.0 - 0.5 * passed - 0.2  # of what passed, most was theirs


def test_what_sleeps_has_longer_than_what_computes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stopwatch, "PATIENCE", 3.0)
    with time_limit(0.1):
        time.sleep(0.2)
    began = time.monotonic()
    with pytest.raises(Overrun, match=r"longer than 0\.3 s, and most of it was waiting"), time_limit(0.1):
        time.sleep(20)
    assert time.monotonic() - began >= 0.3
    with pytest.raises(Overrun, match=r"longer than 0\.1 s$"), time_limit(0.1):
        compute(20)
