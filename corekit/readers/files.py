"""Which reader makes a log of a file: one that a plugin adds, or the core's own for loggers' tables."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import TypeAlias

import attrs

from ..fault import DataFault
from ..model.channel import Log
from ..plugin.guard import failure_words, guarded
from ..plugin.host import Plugins
from .errors import LogError
from .log_file import Told, read_log

__all__ = ["READING", "SECONDS", "LogReader", "Told", "log_of", "plugin_log"]

SECONDS = 20.0  # that a plugin's reader may take
READING = "reading "  # how a listener hears of it, with the file's name behind it

#: What plugins' readers make of a file's name and content, if one knows it, and a sentence for each that
#: failed.
LogReader: TypeAlias = Callable[[str, bytes], tuple[Log | None, tuple[str, ...]]]


def log_of(
    plugins: Plugins, name: str, content: bytes, told: Told | None = None, ask: LogReader | None = None
) -> Log:
    """The log in a file. Every plugin's reader is asked first; one that fails is named and costs nothing
    else.

    Args:
        ask: Asks them in another process; without it this process does.

    Raises:
        LogError: nobody makes anything of it.
    """
    found: Log | None = None
    failed: tuple[str, ...] = ()
    if plugins.readers:
        found, failed = plugin_log(plugins, name, content) if ask is None else ask(name, content)
    if found is not None:
        return attrs.evolve(found, remarks=(*failed, *found.remarks))
    try:
        log = read_log(name, content, told, plugins.channels)
    except LogError as error:
        raise LogError([*error.faults, *(DataFault("file", "", words) for words in failed)], name) from error
    return attrs.evolve(log, remarks=(*failed, *log.remarks))


def plugin_log(
    plugins: Plugins, name: str, content: bytes, without: Collection[str] = ()
) -> tuple[Log | None, tuple[str, ...]]:
    """What the first of the plugins' readers makes of a file that knows it, each asked by itself, and a
    sentence for each that failed before.

    Args:
        without: Names of plugins whose readers are not asked.
    """
    failed: list[str] = []
    for plugin, reader in plugins.readers:
        if plugin in without:
            continue
        where = f"{plugin} (reader {reader.name})"
        try:
            with guarded(plugin, f"{READING}{name}", SECONDS, where):
                found = reader.read(name, content)
                if found is not None and not isinstance(found, Log):
                    raise TypeError(f"a reader returns a Log or None; it returned {type(found).__name__}")
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            failed.append(
                f"The reader {reader.name} of plugin {plugin} failed: {failure_words(error, where)}."
            )
            continue
        if found is not None:
            return found, tuple(failed)
    return None, tuple(failed)
