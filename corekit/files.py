"""Giving files their names so that after a power cut the old one or the new one is there, never a part.

Order matters and is what makes it hold: write beside the target, flush the file to disk, give it its name,
flush the directory (Pillai et al., OSDI 2014).
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import time
from pathlib import Path

#: Names of files on their way; one that stays behind after a power cut is swept later.
TEMPORARY = ".part-"
#: A file on its way that is older was left behind, [s].
_LEFT_BEHIND = 3600.0


def write_once(path: Path, data: bytes) -> None:
    """Create `path` with `data`, readable by its owner alone. What is already there stays untouched.

    Raises:
        FileExistsError: there is something under this name already (also a link that leads nowhere).
        OSError: the disk is full, the folder cannot be written.
    """
    part = _part(path, data)
    try:
        name_once(part, path)
    finally:
        part.unlink(missing_ok=True)


def name_once(part: Path, path: Path) -> None:
    """Give a finished file its name, never over another one. `part` may stay as a second name of it.

    Raises:
        FileExistsError: there is something under this name already (also a link that leads nowhere).
        OSError: the folder cannot be written.
    """
    try:
        # A hard link, unlike a rename, refuses to take a name that is in use.
        os.link(part, path)
    except FileExistsError:
        raise
    except (OSError, AttributeError):
        # Here are no hard links. Two writers at one moment are then told apart only by this look.
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, "there is a file of this name already", str(path)) from None
        part.replace(path)
    flush_folder(path.parent)


def write_over(path: Path, data: bytes) -> None:
    """Write `path` whole, in place of what was there: a full disk or a power cut leaves the old one.

    Raises:
        OSError: the disk is full, the folder cannot be written.
    """
    part = _part(path, data)
    try:
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    flush_folder(path.parent)


def sweep(folder: Path, older_than: float = _LEFT_BEHIND) -> int:
    """Remove what a power cut or a kill left of files on their way; gives how many.

    Args:
        older_than: Only those that old, [s]: a younger one may still be written by another program.
    """
    gone = 0
    for part in folder.glob(f"{TEMPORARY}*"):
        with contextlib.suppress(FileNotFoundError):  # its writer was faster
            if time.time() - part.stat().st_mtime >= older_than:
                part.unlink()
                gone += 1
    return gone


def flush_folder(folder: Path) -> None:
    """Bring the folder's list of names to disk; a file system or platform that cannot is let be."""
    flags = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0)
    with contextlib.suppress(PermissionError):  # Windows opens no folders; it writes names in order by itself
        handle = os.open(folder, flags)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _part(path: Path, data: bytes) -> Path:
    part = path.with_name(f"{TEMPORARY}{secrets.token_hex(8)}")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return part
