"""Visit files and values changed at random: read, or refused in a clear error, and soon."""

from __future__ import annotations

import random
import resource
import time
from collections.abc import Callable
from pathlib import Path

from corekit import units
from corekit.desk.settings import declared, read_settings
from corekit.errors import CorekitError
from corekit.intake.lenient import read_for_check
from corekit.intake.visit import read_visit
from corekit.reference import data_path

from .counts import Counts
from .work import plugins

SLOWEST = 2.0  # s of one processor
GROWTH = 40  # MiB between the first tenth and the end; of a leak per file it would be thousands
_PIECES = (
    b'"', b"'", b"[", b"]", b"{", b"}", b"=", b".", b"\n", b"#", b"\\", b"[[step]]", b"[[", b"1e999", b"-",
    b"NaN", b"inf", b"true", b"2020-01-01", b"99999999999999999999", b"\xff", b"\x00", b"\xe2\x80\xae",
    b" V", b" ohm",    b"readings", b"seen", b"repaired", b"approved", b"of", b"is", b"withdrawn = true\n",
    b"''", b'""', b"0x1F",
)  # fmt: skip


def mutated(data: bytes, draws: random.Random, others: list[bytes]) -> bytes:
    """Some bytes exchanged, some pieces put in, lines moved, doubled, dropped or taken from another file."""
    text = bytearray(data)
    for _ in range(draws.choice((1, 1, 2, 3, 8))):
        at = draws.randrange(len(text) + 1)
        how = draws.randrange(8)
        if how == 0 and at < len(text):
            text[at] = draws.randrange(256)
        elif how == 1:
            text[at:at] = draws.choice(_PIECES)
        elif how == 2:
            del text[at : at + draws.randrange(1, 40)]
        else:
            lines = bytes(text).split(b"\n")
            one, two = draws.randrange(len(lines)), draws.randrange(len(lines))
            if how == 3:
                lines[one], lines[two] = lines[two], lines[one]
            elif how == 4:
                lines.insert(two, lines[one])
            elif how == 5:
                del lines[one]
            elif how == 6:
                lines[one] = draws.choice(draws.choice(others).split(b"\n"))
            else:
                lines[one:one] = lines[min(one, two) : min(one, two) + 12]
            text = bytearray(b"\n".join(lines))
    return bytes(text)


def _memory() -> float:
    """What the process holds now, [MiB]."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / 2**20


def files(count: int, seed: int = 7) -> Counts:
    """Mutated visit files, read by both readers, and assessed where they are accepted."""
    counts, draws = Counts("mutated visit files"), random.Random(seed)
    known = declared(plugins(), read_settings(data_path("demo") / "shop", demo=True), "EUR")
    originals = [path.read_bytes() for path in sorted((data_path("demo") / "jobs").glob("*.toml"))]
    slowest, first = 0.0, 0.0
    for number in range(count):
        content = mutated(draws.choice(originals), draws, originals)
        reader: Callable[..., object] = read_for_check if number % 8 == 0 else read_visit
        began = time.process_time()
        try:
            reader(content, known)
            counts.seen["read"] += 1
        except CorekitError as error:
            counts.seen["refused"] += 1
            if not str(error).strip():
                counts.wrong.append("refused without words")
        except Exception as error:
            counts.wrong.append(f"stray {type(error).__name__}: {str(error)[:80]}")
        taken = time.process_time() - began
        slowest = max(slowest, taken)
        if taken > SLOWEST:
            counts.wrong.append(f"{taken:.1f} s for one file")
        counts.tries += 1
        if number == count // 10:
            first = _memory()
    grown = _memory() - first
    counts.notes.append(
        f"slowest {slowest * 1000:.0f} ms of processor time; memory +{grown:.0f} MiB to {_memory():.0f}"
    )
    if grown > GROWTH:
        counts.wrong.append(f"memory grew by {grown:.0f} MiB")
    return counts


_SIGNS = (
    *"0123456789.,-+eE%±° /'_()~≈<>·×", "\u2212", "\u00b5", "\u03bc", "\u03a9", "\u2126", "\uff11",
    "\u0661", "\u00bd",    " V", " mV", " A", " ohm", " °C", " °F", " bar", " psi", " inHg", " kPa", " min",
    " h", "k", "M", "1e400", "nan",
    "\u200b", "\u00a0", "\u202e", "\x00", "\n",
)  # fmt: skip


def values(count: int, seed: int = 8) -> Counts:
    """Values as nobody would type them, through the reader of units."""
    import math

    counts, draws = Counts("mutated values"), random.Random(seed)
    typed = {
        "12.6 V": "V", "0.62 ohm": "ohm", "1,5 bar": "bar", "35 °C": "°C", "8 min 30 s": "s",
        "98400 km": "km",
        "1.2e3 Pa": "Pa", "20 %": "%", "-40 °F": "°C", "2 3/4 h": "h", "0.8 A": "A", "3.5-4 kOhm": "ohm",
    }  # fmt: skip
    slowest = 0.0
    for _ in range(count):
        text, unit = draws.choice(list(typed.items()))
        signs = list(text)
        for _ in range(draws.randrange(0, 4)):
            at = draws.randrange(len(signs) + 1)
            if draws.random() < 0.3 and signs:
                signs[at : at + 1] = []
            else:
                signs.insert(at, draws.choice(_SIGNS))
        text = "".join(signs)
        began = time.process_time()
        try:
            read = draws.choice((units.read_quantity, units.read_reading))
            number = read(text, [unit]).number
            counts.seen["read"] += 1
            if not math.isfinite(number):
                counts.wrong.append(f"{text!r} is not finite")
        except CorekitError:
            counts.seen["refused"] += 1
        except Exception as error:
            counts.wrong.append(f"{text!r}: stray {type(error).__name__}: {str(error)[:80]}")
        slowest = max(slowest, time.process_time() - began)
        counts.tries += 1
    counts.notes.append(f"slowest {slowest * 1000:.0f} ms of processor time")
    return counts
