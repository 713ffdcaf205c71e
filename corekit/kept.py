"""What was read of data files, kept from one start to the next beside Python's own compiled modules.

Reading the tables of three systems, with every check on them, takes a fifth of a cold command. What comes
of it hangs on the files' content, on the code that reads them and on what the reader was told; a fingerprint
of all three stands before what is kept, and where it differs everything is read anew. Where Python may not
write its compiled modules nothing is kept either.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import sys
from collections.abc import Callable, Collection, Iterable, Iterator
from functools import lru_cache
from importlib.util import cache_from_source, find_spec
from pathlib import Path
from typing import Any, TypeVar

T = TypeVar("T")

_FORM = b"corekit kept 1\n"


def kept(
    name: str, files: Iterable[Path], make: Callable[[], T], *, code: Path | None = None, told: Any = ()
) -> T:
    """What `make` gives, or what it gave at an earlier start from the same files, code and words.

    Args:
        name: A short name for it. files: Every file that `make` reads. code: A folder whose modules have a
            say in it, beside the core's own. told: What else it hangs on, as plain data.
    """
    paths = list(files)
    try:
        hangs_on = fingerprint(paths, code, told)
        file = kept_file(name, [*paths, code])
    except (OSError, NotImplementedError):
        return make()
    found = kept_value(file, hangs_on)
    if found is not None:
        value: T = found[0]
        return value
    made = make()
    if not sys.dont_write_bytecode:
        write_kept(file, hangs_on, made)
    return made


def fingerprint(files: list[Path], code: Path | None, told: Any) -> bytes:
    """Of the environment, files by their content, the modules below a folder, and plain data."""
    words = hashlib.sha256(_environment())
    for path in files:
        content = path.read_bytes()
        words.update(f"{path}\0{len(content)}\0".encode() + content)
    for line in _modules(code) if code is not None else ():
        words.update(line)
    words.update(repr(told).encode())
    return words.digest()


#: The rooms whose modules have a say in what is kept. A room to the right of them that keeps what its own
#: code makes names its folder as `code`; the faces that `report` keeps are as their library reads them.
_ROOMS = ("model", "plugin")


@lru_cache(maxsize=1)
def _environment() -> bytes:
    """Python, the libraries that make the classes, and every module of the core that can have a say."""
    words = hashlib.sha256(sys.version.encode())
    for name in ("attr", "cattrs"):
        found = find_spec(name)  # whether it was imported already or will be
        folder = Path(found.origin).parent if found is not None and found.origin else None
        for line in _modules(folder) if folder is not None else ():
            words.update(line)
    core = Path(__file__).parent
    for line in _modules(core, _ROOMS):
        words.update(line)
    return words.digest()


def _modules(folder: Path, below: Collection[str] | None = None) -> Iterator[bytes]:
    """Each module of a folder and below it, as Python itself tells a changed one: by its size and time.

    Args:
        below: The packages in it that count; all of them when left out.
    """
    with os.scandir(folder) as found:
        entries = sorted(found, key=lambda entry: entry.name)
    for entry in entries:
        if entry.name.endswith(".py"):
            stat = entry.stat()
            yield f"{entry.path}\0{stat.st_size}\0{stat.st_mtime_ns}\0".encode()
        elif (
            "." not in entry.name
            and entry.name != "__pycache__"
            and (below is None or entry.name in below)
            and entry.is_dir()
        ):
            yield from _modules(Path(entry.path))


def kept_file(name: str, places: list[Path | None]) -> Path:
    """Beside the compiled modules of the core."""
    tag = hashlib.sha256("\0".join(map(str, places)).encode()).hexdigest()[:16]
    return Path(cache_from_source(__file__)).with_name(f"{name}-{tag}.{sys.implementation.cache_tag}.kept")


def kept_value(file: Path, fingerprint: bytes) -> tuple[Any] | None:
    """What is kept in the file, where it was written whole and under this fingerprint."""
    head = _FORM + fingerprint
    try:
        content = file.read_bytes()
        body = content[len(head) + 32 :]
        if (
            not content.startswith(head)
            or content[len(head) : len(head) + 32] != hashlib.sha256(body).digest()
        ):
            return None
        return (pickle.loads(body),)
    except Exception:  # whatever is wrong with it, it is only a copy
        return None


def write_kept(file: Path, fingerprint: bytes, value: object) -> None:
    """Whole or not at all; that it cannot be kept is nobody's loss."""
    try:
        body = pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL)
        file.parent.mkdir(parents=True, exist_ok=True)
        beside = file.with_name(f"{file.name}.{os.getpid()}")
        beside.write_bytes(_FORM + fingerprint + hashlib.sha256(body).digest() + body)
        beside.replace(file)
    except Exception:
        return
