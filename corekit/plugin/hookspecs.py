"""The hooks. There are few; each has a plugin that uses it, a place in DEVELOPERS.md and a test."""

from __future__ import annotations

import pluggy

from .system import System

PROJECT = "corekit"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def corekit_system() -> System:  # type: ignore[empty-body]
    """Give the host the system that this plugin adds.

    Asked once of every plugin, when plugins are loaded. Return one finished `System`: its declarations are
    checked then (every source, limit and fault named must exist), and a system with loose ends is refused by
    name, as is a key that is taken. What you return is kept for the life of the process and asked for nothing
    else.
    """
