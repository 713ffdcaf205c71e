"""Files under 1 MiB that were made to keep a reader busy: each is read or refused, and judged, within two
seconds of one processor.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path

from corekit.desk.check import look
from corekit.desk.settings import declared, read_settings
from corekit.errors import CorekitError
from corekit.intake.file import MOST_REPAIRS
from corekit.intake.lenient import read_for_check
from corekit.intake.visit import read_visit
from corekit.reference import data_path
from tests.intake.test_bounds import HEAD, HURTING

from .counts import Counts
from .work import plugins

SLOWEST = 2.0  # s of one processor
_READ = '[[step]]\nreadings = [{of = "battery.open_circuit_voltage", is = "12.6 V"}]\n'
_REPAIRED = '[[step]]\nrepaired = {operation = "battery.clean_contacts"}\n'
#: What is accepted, at the bounds of what is.
ACCEPTED = {
    "as many repairs as are taken": HEAD + _REPAIRED * MOST_REPAIRS,
    "a reading after each of them": HEAD + (_READ + _REPAIRED) * MOST_REPAIRS,
    "two thousand steps": HEAD + _READ * 2000,
    "two thousand codes": HEAD + '[[step]]\ncodes = {stored = ["P0301"]}\n' * 2000,
    "two thousand trials": HEAD
    + '[[step]]\ntried = {part = "battery.battery", how = "Moved by hand", result = "Stayed as it was"}\n'
    * 2000,
}


def bombs(folder: Path, only: Mapping[str, str] | None = None) -> Counts:
    """Each file through both readers; what is accepted also through everything that judges it."""
    counts = Counts("files made to hurt")
    folder.mkdir(parents=True, exist_ok=True)
    known = declared(plugins(), read_settings(data_path("demo") / "shop", demo=True), "EUR")
    took: dict[str, float] = {}

    def tried(name: str, work: Callable[[], object]) -> None:
        began = time.process_time()
        try:
            work()
            counts.seen["read"] += 1
        except CorekitError as error:
            counts.seen["refused"] += 1
            if not str(error).strip():
                counts.wrong.append(f"{name}: refused without words")
        except Exception as error:
            counts.wrong.append(f"{name}: stray {type(error).__name__}: {str(error)[:80]}")
        took[name] = time.process_time() - began
        counts.tries += 1
        if took[name] > SLOWEST:
            counts.wrong.append(f"{name}: {took[name]:.1f} s")

    for name, text in ({**HURTING, **ACCEPTED} if only is None else only).items():
        content = text.encode()
        assert len(content) < 1 << 20
        tried(f"{name}, read", lambda content=content: read_visit(content, known))  # type: ignore[misc]
        tried(f"{name}, read for a check", lambda content=content: read_for_check(content, known))  # type: ignore[misc]
    for name, text in ACCEPTED.items():
        path = folder / "visit.toml"
        path.write_text(text, "utf-8")
        tried(f"{name}, judged", lambda path=path: look(str(path), is_file=True, folder=folder))  # type: ignore[misc]
    slowest = sorted(took, key=lambda name: -took[name])[:3]
    counts.notes.append("slowest: " + "; ".join(f"{name} {took[name]:.2f} s" for name in slowest))
    return counts
