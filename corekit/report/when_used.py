"""Modules of others that are loaded when something of them is used, whenever they are imported."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

_lock = threading.RLock()


class _WhenUsed(ModuleType):
    """Stands for a module. Whoever has it in hand keeps it, and gets of it what the module itself has."""

    def __getattr__(self, name: str) -> Any:
        if name == "__path__":  # of a package it stands here; `from … import` asks every module for it
            raise AttributeError(f"module {self.__name__!r} is no package")
        return getattr(_loaded(self), name)


def load_when_used(name: str, functions: tuple[str, ...] = ()) -> None:
    """Let whoever imports the module from now on get one that stands for it, where it is installed and not
    loaded yet.

    Args:
        functions: Names of it that are imported from it and called later, if ever.
    """
    if name in sys.modules:
        return
    try:
        spec = find_spec(name)
    except ModuleNotFoundError:  # nor the package that it is in
        return
    if spec is None:
        return
    stands_for = _WhenUsed(name)
    if spec.submodule_search_locations is not None:
        stands_for.__path__ = spec.submodule_search_locations
    for function in functions:
        setattr(stands_for, function, _called_when_used(stands_for, function))
    sys.modules[name] = stands_for


def _called_when_used(stands_for: _WhenUsed, function: str) -> Callable[..., Any]:
    def call(*args: Any, **named: Any) -> Any:
        return getattr(_loaded(stands_for), function)(*args, **named)

    return call


def _loaded(stands_for: _WhenUsed) -> ModuleType:
    """The module itself, loaded once.

    Raises:
        ImportError: it cannot be loaded, now or later.
    """
    name = stands_for.__name__
    with _lock:
        if sys.modules.get(name) is stands_for:
            del sys.modules[name]
        try:
            return import_module(name)
        except BaseException:
            sys.modules.setdefault(name, stands_for)
            raise
