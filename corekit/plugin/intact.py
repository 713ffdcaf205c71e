"""Whether the core, Python's own functions and the other systems are as they were before a plugin's code ran.

Python lets any module change any other. A plugin that exchanges `sorted` or another system's checks would
change every result without a word, so what is not its own is compared before and after, put back, and the
plugin refused. Compared is which object stands under which name: a fraction of a millisecond.
"""

from __future__ import annotations

import builtins
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from types import ModuleType
from typing import Any

#: Modules of Python's own library whose functions make results; as far as they are loaded.
_LIBRARY = (
    "attr", "attrs", "collections", "copy", "datetime", "decimal", "enum", "fractions", "functools",
    "hashlib", "itertools", "json", "math", "operator", "re", "statistics", "string", "struct", "textwrap",
    "time", "tomllib", "unicodedata",
)  # fmt: skip
#: Python writes these by itself: when an annotation is read, an object copied, something warned of.
_OF_PYTHON = frozenset(
    {"__annotations__", "__annotations_cache__", "__slotnames__", "__warningregistry__", "__weakref__"}
)
_KEPT = (dict, list, set)


class AlteredError(Exception):
    """A plugin changed what is not its own."""


class Original:
    """What stood where when this was made.

    Args:
        systems: Systems that are there already; their declarations are held, too.
    """

    def __init__(self, systems: Iterable[object] = ()) -> None:
        self._spaces: list[tuple[str, Any, dict[str, Any]]] = []
        self._tables: list[tuple[str, Any, Any]] = []
        self._modules: dict[str, ModuleType] = {}
        self.follow()
        for system in systems:
            self.add_system(system)
        self._surroundings = _surroundings()

    def follow(self) -> None:
        """Hold the modules of the core that were loaded since, too."""
        names = [name for name in list(sys.modules) if name == "corekit" or name.startswith("corekit.")]
        for name in (*(["builtins", *_LIBRARY] if not self._modules else ()), *names):
            module = sys.modules.get(name)
            if name in self._modules or name == __name__ or not isinstance(module, ModuleType):
                continue
            self._modules[name] = module
            space = dict(vars(module))
            self._spaces.append((name, module, space))
            for key, value in space.items():
                if isinstance(value, type) and value.__module__ == name and name.startswith("corekit"):
                    self._spaces.append((f"{name}.{key}", value, dict(vars(value))))
                elif isinstance(value, _KEPT) and key.strip("_").isupper():
                    self._tables.append((f"{name}.{key}", value, value.copy()))

    def add_system(self, system: object) -> None:
        """Hold the declarations of a system that was loaded since, too."""
        space = dict(vars(system))
        name = f"system {space.get('key', '?')}"
        self._spaces.append((name, system, space))
        for key, value in space.items():
            if isinstance(value, _KEPT):
                self._tables.append((f"{name}.{key}", value, value.copy()))

    def put_back(self) -> list[str]:
        """Put back whatever was changed since; the names of it."""
        changed = [*self._exchanged_surroundings(), *self._exchanged_modules()]
        for name, owner, before in self._spaces:
            now = vars(owner)
            if now != before:
                changed += _restore(name, owner, now, before)
        for name, table, kept in self._tables:
            if table != kept:
                table.clear()
                table.extend(kept) if isinstance(table, list) else table.update(kept)
                changed.append(name)
        return changed

    def _exchanged_surroundings(self) -> Iterator[str]:
        """First of all: with the time zone what Python's own modules say of it is put back as well."""
        now = _surroundings()
        for key, value in self._surroundings.items():
            if now[key] != value:
                _SETTERS[key](value)
                yield key

    def _exchanged_modules(self) -> Iterator[str]:
        for name, module in self._modules.items():
            if sys.modules.get(name) is not module:
                sys.modules[name] = module
                yield f"the module {name}"


def _restore(name: str, owner: Any, now: Mapping[str, Any], before: Mapping[str, Any]) -> Iterator[str]:
    """Names of an owner that stand for something else than before; each is put back."""
    is_module = isinstance(owner, ModuleType)
    is_system = not is_module and not isinstance(owner, type)
    for key in [*before, *(key for key in list(now) if key not in before)]:
        was, present = before.get(key, _GONE), now.get(key, _GONE)
        if was is present or key in _OF_PYTHON or key.startswith("__attrs_"):
            continue
        if was is _GONE and (isinstance(present, ModuleType) or is_system or (is_module and key[:2] == "__")):
            continue  # a module that was imported, a cached property of a system
        if owner is builtins and key == "_":
            continue
        if was is _GONE:
            delattr(owner, key)
        elif is_module:
            vars(owner)[key] = was
        else:
            setattr(owner, key, was)
        yield f"{name}.{key}"


_GONE = object()


def _surroundings() -> dict[str, Any]:
    """What a process has once and a result may rest on."""
    return {
        "the working folder": _folder(),
        "the time zone": os.environ.get("TZ"),
        "the decimal context": _decimals(),
    }


def _folder() -> str | None:
    try:
        return os.getcwd()  # noqa: PTH109  # pathlib would be loaded for this one call
    except OSError:
        return None  # it was deleted; nobody can go back there


def _decimals() -> tuple[Any, ...] | None:
    decimal = sys.modules.get("decimal")
    if decimal is None:
        return None
    context = decimal.getcontext()
    return tuple(getattr(context, name) for name in _DECIMALS)


_DECIMALS = ("prec", "rounding", "Emin", "Emax", "capitals", "clamp")


def _set_zone(zone: str | None) -> None:
    import time

    os.environ.pop("TZ", None)
    if zone is not None:
        os.environ["TZ"] = zone
    if hasattr(time, "tzset"):
        time.tzset()


def _set_folder(folder: str | None) -> None:
    if folder is not None:
        os.chdir(folder)


def _set_decimals(settings: tuple[Any, ...] | None) -> None:
    import decimal

    for name, value in zip(_DECIMALS, settings or (), strict=False):
        setattr(decimal.getcontext(), name, value)


_SETTERS: dict[str, Callable[[Any], None]] = {
    "the working folder": _set_folder,
    "the time zone": _set_zone,
    "the decimal context": _set_decimals,
}


# ---- of the whole process


class _Watch:
    """What the process is held against once its plugins are loaded; None where nobody else guards it."""

    is_wanted = False
    original: Original | None = None
    after_each_piece = False


def guard_process() -> None:
    """This process only runs commands or checks, so whatever changes in it after its plugins were loaded was
    changed by one of them. A caller of the library may change what he likes.
    """
    _Watch.is_wanted = True


def watch(original: Original) -> None:
    """From now on `altered` holds a guarded process against it."""
    if _Watch.is_wanted:
        _Watch.original = original


def altered() -> list[str]:
    """Names of what was changed since and is put back now."""
    return _Watch.original.put_back() if _Watch.original is not None else []


def hold_after_each_piece() -> None:
    """After a piece of a plugin's code, where the culprit is being looked for.

    Raises:
        AlteredError: it changed what is not its own.
    """
    if _Watch.after_each_piece and (changed := altered()):
        raise AlteredError(altered_words(changed))


@contextmanager
def each_piece_held() -> Iterator[None]:
    """Inside, each piece of a plugin's code is held against what was before, which takes longer."""
    _Watch.after_each_piece = True
    try:
        yield
    finally:
        _Watch.after_each_piece = False


def altered_words(changed: Sequence[str]) -> str:
    """What a plugin changed, in words."""
    more = f" and {len(changed) - 3} more" if len(changed) > 3 else ""
    return f"it changed what is not its own ({', '.join(changed[:3])}{more}); that is put back"
