"""What a system declares by annotations, found right at an earlier start.

Every check and every calculation says by its annotations what it takes. To read all of them, and to follow
every reference in them, takes a tenth of a cold command, and a visit asks for few. So once a system is loaded
and nothing is wrong with it, that is noted beside the compiled modules. As long as its modules, the core and
Python are the same, the annotations are then read when somebody asks for them. What they say is never noted,
so nothing stale can be served: only that reading them was no error.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from ..kept import fingerprint, kept_file, kept_value, write_kept
from ..reference import data_path
from .calculation import annotations_of
from .check import parameters_of

if TYPE_CHECKING:
    from .system import System

#: Where a function was written, and what its annotations say as text.
_Written: TypeAlias = "tuple[str, str, int, str]"


class FoundRight:
    """What is noted of one system.

    Args:
        key: Of the system. folder: Its modules and data files.
    """

    def __init__(self, key: str, folder: Path) -> None:
        self._functions: frozenset[_Written] = frozenset()
        self._foreign: tuple[tuple[str, str], ...] = ()
        self._folder = folder
        self._file: Path | None = None
        try:
            files = [folder / "sources.toml", data_path("shared/units.toml")]
            self._fingerprint = fingerprint([one for one in files if one.is_file()], folder, key)
            self._file = kept_file(f"{key}-right", [folder])
        except Exception:  # also where a plugin changed what is not its own: the host says so
            self._file = None
            return
        found = kept_value(self._file, self._fingerprint)
        if found is not None:
            self._functions, self._foreign = found[0]

    def holds(self, function: Callable[..., Any]) -> bool:
        """Whether this function's annotations were right."""
        return bool(self._functions) and _written(function) in self._functions

    def foreign(self, system: System) -> tuple[tuple[str, str], ...] | None:
        """(key, kind) of what its checks ask of other systems, when the whole system was right as it is."""
        return self._foreign if self._functions == _functions_of(system) else None

    def note(self, system: System) -> None:
        """That nothing is wrong with the system; its annotations say the same now as while it was loaded."""
        functions = _functions_of(system)
        if self._file is None or not functions or sys.dont_write_bytecode or functions == self._functions:
            return
        if all(Path(one[0]).is_relative_to(self._folder) for one in functions) and _says_the_same(system):
            foreign = tuple((one.key, one.kind) for one in system.foreign_wants)
            write_kept(self._file, self._fingerprint, (functions, foreign))


def _says_the_same(system: System) -> bool:
    """Whether the annotations, read once more, give what they gave at import: a name may stand for something
    else by now.
    """
    return all(
        parameters_of(one.function, after_case=True) == one.parameters for one in system.checks.values()
    ) and all(annotations_of(one.si) == (one.inputs, one.output) for one in system.calculations.values())


def _functions_of(system: System) -> frozenset[_Written]:
    return frozenset(
        [
            *(_written(one.function) for one in system.checks.values()),
            *(_written(one.si) for one in system.calculations.values()),
        ]
    )


def _written(function: Callable[..., Any]) -> _Written:
    code = getattr(function, "__code__", None)
    return (
        getattr(code, "co_filename", ""),
        f"{function.__module__}.{function.__qualname__}",
        getattr(code, "co_firstlineno", 0),
        repr(function.__annotations__),
    )
