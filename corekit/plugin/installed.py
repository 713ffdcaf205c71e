"""The plugins that are installed, as Python's own library finds them, kept from one start to the next.

`importlib.metadata` looks through every installed package and brings the parser of e-mails along, a twentieth
of a cold command. What it finds hangs on the folders that Python looks for modules in and on the descriptions
of the packages in them: their names, sizes and times stand in the fingerprint of what is kept. Where packages
come from anywhere else (an archive, a finder of somebody's own) it is asked each time.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from functools import reduce
from importlib import import_module
from importlib.machinery import PathFinder
from pathlib import Path
from typing import Protocol

import attrs

from ..kept import kept

#: Of a package's description, what an entry point and its origin are read from.
_DESCRIBES = ("entry_points.txt", "METADATA", "PKG-INFO")


class Distribution(Protocol):
    """What is asked of the package that a plugin came in."""

    @property
    def name(self) -> str: ...

    @property
    def version(self) -> str: ...

    def locate_file(self, path: str) -> object:
        """Where a file of it stands."""


class Point(Protocol):
    """What is asked of an entry point."""

    @property
    def name(self) -> str: ...

    @property
    def value(self) -> str: ...

    @property
    def dist(self) -> Distribution | None: ...

    def load(self) -> object:
        """The module, or what in it is named."""


@attrs.frozen
class _Package:
    name: str
    version: str
    folder: str

    def locate_file(self, path: str) -> Path:
        return Path(self.folder, path)


@attrs.frozen
class _Point:
    """An entry point as it was found at an earlier start."""

    name: str
    value: str
    dist: _Package

    def load(self) -> object:
        """The module, or what in it is named; extras in brackets mean nothing any more."""
        module, _, names = self.value.partition("[")[0].replace(" ", "").partition(":")
        return reduce(getattr, filter(None, names.split(".")), import_module(module))


def entry_points(group: str) -> Sequence[Point]:
    """Every installed entry point of a group, in the order in which `importlib.metadata` gives them."""
    described = _described()
    if described is None:
        return _found(group)
    return [
        _Point(name, value, _Package(*package))
        for name, value, package in kept("installed", [], lambda: _plain(group), told=(group, described))
    ]


def _found(group: str) -> Sequence[Point]:
    from importlib.metadata import entry_points as found

    return list(found(group=group))


def _plain(group: str) -> list[tuple[str, str, tuple[str, str, str]]]:
    return [
        (point.name, point.value, (point.dist.name, point.dist.version, str(point.dist.locate_file(""))))
        for point in _found(group)
        if point.dist is not None  # of what is installed it always is
    ]


def _described() -> list[str] | None:
    """Folder by folder, what the descriptions of the packages in it can be told by; None where there is
    another way to find packages than folders.
    """
    if any(hasattr(finder, "find_distributions") and finder is not PathFinder for finder in sys.meta_path):
        return None
    words: list[str] = []
    for folder in dict.fromkeys(sys.path):
        words.append(os.path.abspath(folder))  # noqa: PTH100  # pathlib would take ten times as long
        try:
            words += _descriptions(folder or ".")
        except FileNotFoundError:
            continue
        except OSError:  # an archive, or a folder that nobody may read
            return None
    return None if any(word.endswith(".egg") for word in words) else words


def _descriptions(folder: str) -> Iterator[str]:
    with os.scandir(folder) as found:
        names = sorted(one.name for one in found if one.name.endswith((".dist-info", ".egg-info", ".egg")))
    for name in names:
        yield name
        for file in ("", *_DESCRIBES):
            try:
                stat = os.stat(os.path.join(folder, name, file))  # noqa: PTH116, PTH118  # as above
            except (FileNotFoundError, NotADirectoryError):
                continue
            yield f"{file} {stat.st_size} {stat.st_mtime_ns}"
