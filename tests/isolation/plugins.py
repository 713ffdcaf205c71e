"""Bad plugins, one for each way in which one was seen to harm more than its own system.

Each is installed as a package manager leaves it, and what it does stands in the place of DOES, at import, or
of CHECKS, inside a check.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import attrs

#: Commands whose plugins may take less time than those of a person.
BARE = """
import os, sys
from corekit import stopwatch
from corekit.assess import assessment
from corekit.isolation import supervisor
from corekit.plugin import host
assessment.CHECK_SECONDS, host.LOAD_SECONDS, supervisor.GRACE = 2.0, 4.0, 0.5
stopwatch.PATIENCE = 1.5
from corekit.cli import main
""".strip().replace("\n", "; ")
COREKIT = [sys.executable, "-c", BARE + "; sys.exit(main())"]

HORN = """
import ctypes, faulthandler, itertools, os, random, signal, sys, threading, time
from collections.abc import Iterator
from typing import Annotated, Any
import corekit as ck

DOES

horn = ck.System("horn", "Horn")
pitch = horn.measurand("pitch", "Hz", "Pitch", possible=(0, 3000), usual=(100, 1000), accuracy="5 Hz")

@horn.check("Pitch")
def first(case: ck.Case, read: Annotated[ck.Reading, pitch]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("horn.pitch"), "{value}.", read)

@horn.check("Tone")
def tone(case: ck.Case, read: Annotated[ck.Reading, pitch]) -> Iterator[Any]:
    yield case.advise(ck.Claim("horn.tone"), "Heard.")
    CHECKS

@horn.calculation(source="book")
def half(
    pitch: Annotated[float, ck.Input("Hz", "Pitch of the horn", above=0)],
) -> Annotated[float, ck.Output("Hz", "Half of it")]:
    SUM
    return pitch / 2

@ck.hookimpl
def corekit_system() -> ck.System:
    return horn
"""

SOURCES = '[[source]]\nkey = "book"\ntitle = "An invented book"\nbasis = "handbook"\nstatus = "read"\n'

VISIT = """
job = "silent"
reason = "The horn is silent."
vehicle = { plate = "DEMO-1" }

[[step]]
readings = [ { of = "battery.open_circuit_voltage", is = "12.31 V" } ]
"""
HEARD = '\n[[step]]\nreadings = [ { of = "horn.pitch", is = "440 Hz" } ]\n'

SWALLOWS = """
while True:
    try:
        time.sleep(0.01)
    except BaseException:
        pass
"""

#: Read by Python as it starts: the clock stands still.
FIXED_CLOCK = """
import datetime as module

class Fixed(module.datetime):
    @classmethod
    def now(cls, tz=None):
        return cls(2026, 3, 2, 9, 30, tzinfo=module.UTC).astimezone(tz)

module.datetime = Fixed
"""

#: What it does → the words that are said of it. All of it costs the process, or would without the alarm.
COSTLY = {
    "leaves the process": ("os._exit(3)", "ended its process (code 3)"),
    "leaves the process as if all were well": ("os._exit(0)", "ended its process (code 0)"),
    "is killed": ("os.kill(os.getpid(), signal.SIGKILL)", "broke its process (signal 9)"),
    "segfaults": ("ctypes.string_at(0)", "broke its process (signal 11)"),
    "swallows what the alarm raises": (SWALLOWS, "gave no answer within"),
    "hangs inside C": ("sum(itertools.repeat(1))", "gave no answer within"),
}
#: What is a failure and costs no process.
PLAIN = {
    "leaves by SystemExit": ("sys.exit(3)", "SystemExit: 3"),
    "raises": ("1 / 0", "ZeroDivisionError"),
    "cries ctrl-C": ("raise KeyboardInterrupt", "KeyboardInterrupt"),
    "sleeps": ("time.sleep(60)", "Overrun"),
    "spins": ("while True: pass", "Overrun"),
    "recurses without end": ("def again(): again()\nagain()", "RecursionError"),
    "takes all memory": ("hoard = []\nwhile True: hoard.append(bytearray(1 << 24))", "MemoryError"),
    "keeps all memory": (
        "global hoard\nhoard = []\nwhile True: hoard.append(bytearray(1 << 24))",
        "MemoryError",
    ),
    "exchanges a method of the core": ("ck.Case.judge = None", "corekit.plugin.case.Case.judge"),
    "exchanges a function of Python": ("import builtins\nbuiltins.sorted = len", "builtins.sorted"),
    "changes the folder": ("os.chdir('/')", "the working folder"),
    "changes the time zone": ("os.environ['TZ'] = 'Pacific/Chatham'\ntime.tzset()", "the time zone"),
    "changes how money is rounded": (
        "import decimal\ndecimal.getcontext().prec = 3",
        "the decimal context",
    ),
    "empties another system's checks": (
        "import corekit_battery.declarations as other\nOTHER.checks.clear()",
        "system battery.checks",
    ),
}
#: What is no failure of anybody's and must leave no trace in the output either.
HARMLESS = {
    "prints": "print('hello'); sys.stdout.write('again\\n'); sys.stdout.flush()",
    "writes past Python": "os.write(1, b'hello\\n')",
    "seeds what is random": "random.seed(1)",
}


def at(body: str, deep: int) -> str:
    return body.strip().replace("\n", "\n" + " " * deep)


@attrs.frozen
class Site:
    """A folder on the path into which plugins are installed."""

    folder: Path

    def install(
        self, does: str = "pass", checks: str = "pass", calculation: str = "pass", name: str = "horn"
    ) -> None:
        module = f"corekit_bad_{name}"
        package = self.folder / module
        package.mkdir(parents=True)
        source = (
            HORN.replace("DOES", at(does, 0))
            .replace("CHECKS", at(checks, 4))
            .replace("SUM", at(calculation, 4))
        )
        source = source.replace('"horn"', f'"{name}"').replace('"horn.', f'"{name}.')
        (package / "__init__.py").write_text(source)
        (package / "sources.toml").write_text(SOURCES)
        info = self.folder / f"{module}-1.0.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: bad-{name}\nVersion: 1.0\n")
        (info / "entry_points.txt").write_text(f"[corekit]\n{name} = {module}\n")

    def say(
        self, *words: str, by: str = "", seconds: float = 120, **more: str
    ) -> subprocess.CompletedProcess[str]:
        """A command as its own process, with what is installed here beside the systems of the project."""
        environment = {**os.environ, "PYTHONPATH": str(self.folder), "PYTHONDONTWRITEBYTECODE": "1", **more}
        return subprocess.run(
            [*([sys.executable, "-c", by] if by else COREKIT), *words],
            env=environment,
            cwd=self.folder,
            capture_output=True,
            text=True,
            timeout=seconds,
            check=False,
        )

    def fix_the_clock(self) -> None:
        """From now on every command is run at one and the same moment."""
        (self.folder / "sitecustomize.py").write_text(FIXED_CLOCK)

    def check(self, *words: str, heard: bool = False) -> tuple[dict[str, Any], str]:
        """What `corekit check --json` says of the visit, and what it says on the error stream."""
        file = self.folder / "silent.toml"
        file.write_text(VISIT + (HEARD if heard else ""))
        done = self.say("check", str(file), "--json", *words)
        assert done.returncode == 0, done
        return json.loads(done.stdout), done.stderr


def of_others(data: dict[str, Any]) -> str:
    """All that is printed of a visit, byte for byte, but for what is said of the horn."""
    kept = {
        key: [row for row in value if "horn" not in json.dumps(row)] if isinstance(value, list) else value
        for key, value in data.items()
    }
    kept["versions"] = {name: version for name, version in data["versions"].items() if name != "horn"}
    return json.dumps(kept, ensure_ascii=False)


def failures(data: dict[str, Any]) -> list[str]:
    return [gap["text"] for gap in data["gaps"] if gap["reason"] == "plugin failed"]
