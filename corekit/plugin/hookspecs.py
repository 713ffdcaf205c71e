"""The hooks. There are few; each has a plugin that uses it, a place in DEVELOPERS.md and a test."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pluggy

from ..model.channel import Reader
from .system import System

TYPE_CHECKING = False
if TYPE_CHECKING:
    from ..model.export import Exporter

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


@hookspec
def corekit_jurisdictions() -> Sequence[Path]:  # type: ignore[empty-body]
    """Give the host the files of jurisdictions that this plugin describes.

    Asked once of every plugin that has it, when plugins are loaded; one that adds jurisdictions needs no
    system. Return the paths of its TOML files, of the form of those in shared/jurisdictions. What you return
    is read at once, and a file with faults, or of a place that is described already, refuses the plugin by
    name; a shop whose `jurisdiction` is one of them is held to its rules.
    """


@hookspec
def corekit_readers() -> Sequence[Reader]:  # type: ignore[empty-body]
    """Give the host what reads a kind of file that this plugin knows: an instrument's own, a logger's.

    Asked once of every plugin that has it, when plugins are loaded; one that adds readers needs no system.
    Return `Reader`s. What you return is kept; each is handed the name and content of a file that somebody
    reads in, under a time limit, before the core's own reader, and gives a `Log` or None. The log becomes a
    draft by what the systems declare with `from_channel`, and nothing is saved before a person looked at it.
    """


@hookspec
def corekit_exporters() -> Sequence[Exporter]:  # type: ignore[empty-body]
    """Give the host what writes issued invoices in another form: for bookkeeping, for a network.

    Asked once of every plugin that has it, when plugins are loaded; one that adds exporters needs no system.
    Return `Exporter`s. What you return is kept; each is handed an invoice as it stands in the books
    (`InvoiceValue`) and its paper as PDF when somebody asks for its form (`corekit export`), under a time
    limit, and gives the file's content. A ValueError says what is missing, and nothing is written then.
    """
