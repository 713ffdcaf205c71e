"""What commands cost, as ratios to what cannot be avoided, measured side by side in one run.

    .venv/bin/python tests/benchmarks/bench_commands.py [ROUNDS]

Every round runs each candidate once, in turn, so that whatever else the machine does hits all of them;
medians are compared, of commands in seconds of processor of all their processes, of saving by the clock. A
ratio says something on any machine, a time only on this one. The aims are those of the project: `--version`
at most 1.5 bare starts of Python, a cold `corekit check` at most 22 and a cold `corekit invoice` at most 28,
isolation included, saving an entry at most 3 times one fdatasync of 8 KiB in the same folder. Compiled
modules stand in a folder of its own, as they do beside an installed program.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from corekit.desk.demo import run_demo
from corekit.model.entry import Draft
from corekit.model.records import Measured, Opened, body_of
from corekit.reference import data_path
from corekit.store.store import Store

SAY = "import sys; from corekit.cli import main; sys.argv[1:] = {words!r}; sys.exit(main())"
ALONE = "import sys; from corekit.cli import main; sys.exit(main({words!r}))"
BLOCK = b"\0" * 8192


def main(rounds: int) -> None:
    # Beside the working folder and not in /tmp, which is often memory and syncs to nothing.
    with tempfile.TemporaryDirectory(prefix=".bench-", dir=Path.cwd()) as name:
        folder = Path(name)
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
        commands(folder, rounds)
        saving(folder, rounds * 10)


def of_processor() -> float:
    """Seconds of processor of every command that has ended, with its processes."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def measured(
    candidates: dict[str, Callable[[], object]], rounds: int, clock: Callable[[], float]
) -> dict[str, float]:
    """Median seconds of each candidate; the first round warms the caches and does not count."""
    times: dict[str, list[float]] = {key: [] for key in candidates}
    for turn in range(rounds + 1):
        for key, candidate in candidates.items():
            begun = clock()
            candidate()
            if turn:
                times[key].append(clock() - begun)
    return {key: statistics.median(each) for key, each in times.items()}


# ---- commands


def commands(folder: Path, rounds: int) -> None:
    shop = folder / "demo-out"
    for _ in run_demo(shop):
        pass
    visit = str(next((data_path("demo") / "jobs").glob("1-*.toml")))
    draft = ["invoice", visit, "--draft", "--shop", str(shop), "--out", str(folder / "draft.pdf")]
    imports = {
        "model, units, judge": "import corekit.units, corekit.judge, corekit.model.job",
        "and the plugins": "from corekit.plugin.host import load; load()",
        "and the desk (store, billing, papers)": (
            "import corekit.desk.draft; from corekit.plugin.host import load; load()"
        ),
        "and the PDF library with its faces": (
            "import corekit.desk.draft; from corekit.plugin.host import load; load(); import"
            " corekit.report.pdf; from corekit.report.fonts import typeface; typeface('regular');"
            " typeface('strong')"
        ),
    }
    candidates = {
        "bare": python("pass"),
        "corekit --version": saying(["--version"]),
        "corekit --help": saying(["--help"]),
        "corekit check FILE": saying(["check", visit]),
        "the same without a supervisor": saying(["check", visit], ALONE),
        "the same with nothing kept": reading_anew(folder, saying(["check", visit])),
        "corekit invoice FILE": saying(draft),
        "the same with nothing kept, drafted": reading_anew(folder, saying(draft)),
        **{key: python(code) for key, code in imports.items()},
    }
    found = measured(candidates, rounds, of_processor)
    bare = found["bare"]
    print(
        f"a bare `python -c pass`: {bare * 1000:.1f} ms, median of {rounds}; everything below in bare starts"
    )
    tell("corekit --version", found, bare, "aim: at most 1.5")
    tell("corekit --help", found, bare)
    tell("corekit check FILE", found, bare, "cold, isolation included; aim: at most 22")
    gain("isolation takes", "corekit check FILE", "the same without a supervisor", found, bare)
    gain("kept tables gain", "the same with nothing kept", "corekit check FILE", found, bare)
    tell("corekit invoice FILE", found, bare, "cold, a draft of the first demo job; aim: at most 28")
    gain("kept tables gain", "the same with nothing kept, drafted", "corekit invoice FILE", found, bare)
    before = "bare"
    for key in [*imports, "corekit invoice FILE"]:
        label = key if key in imports else "and reading, judging, pricing, drawing, writing"
        print(f"    {label:<46} {(found[key] - found[before]) / bare:+6.1f}")
        before = key


def python(code: str) -> Callable[[], object]:
    return lambda: subprocess.run([sys.executable, "-c", code], check=True, stdout=subprocess.DEVNULL)


def saying(words: Sequence[str], how: str = SAY) -> Callable[[], object]:
    return python(how.format(words=list(words)))


def reading_anew(folder: Path, command: Callable[[], object]) -> Callable[[], object]:
    """The command at a start where every data file is read anew."""

    def run() -> None:
        for file in (folder / "compiled").rglob("*.kept"):
            file.unlink()
        command()

    return run


def gain(label: str, more: str, less: str, found: dict[str, float], bare: float) -> None:
    print(f"    {label:<46} {(found[more] - found[less]) / bare:+6.1f}")


def tell(key: str, found: dict[str, float], bare: float, remark: str = "") -> None:
    print(f"  {key:<48} {found[key] / bare:6.2f}   {remark}".rstrip())


# ---- saving


def saving(folder: Path, rounds: int) -> None:
    """One reading appended to a job of some length, against one fdatasync of 8 KiB in the same folder."""
    file = os.open(folder / "plain", os.O_WRONLY | os.O_CREAT, 0o600)
    sync = getattr(os, "fdatasync", os.fsync)

    def bare() -> None:
        os.pwrite(file, BLOCK, 0)
        sync(file)

    with Store.create(folder / "bench.sqlite", demo=True) as store:
        job = store.new_job()
        with store.transaction(job) as transaction:
            transaction.append(
                [
                    Draft(
                        kind="opened",
                        subject="bench:opened#1",
                        body=body_of(Opened(origin="bench", demo=True)),
                    )
                ]
            )
        count = iter(range(10**9))
        record = body_of(
            Measured(of="battery.open_circuit_voltage", typed="12.64 V", kind="voltage", number=12.64)
        )

        def save() -> None:
            subject = f"bench:arrival/battery.open_circuit_voltage/#{next(count)}"
            with store.transaction(job) as transaction:
                transaction.append([Draft(kind="measured", subject=subject, body=record)])

        for _ in range(100):
            save()
        found = measured({"bare": bare, "save": save}, rounds, time.perf_counter)
    os.close(file)
    print(f"one fdatasync of 8 KiB in this folder: {found['bare'] * 1e6:.0f} µs, median of {rounds}")
    print(f"  {'saving one reading':<48} {found['save'] / found['bare']:6.2f}   aim: at most 3")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 15)
