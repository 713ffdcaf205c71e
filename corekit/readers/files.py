"""Which reader makes a log of a file: one that a plugin adds, or the core's own for loggers' tables."""

from __future__ import annotations

import attrs

from ..fault import DataFault
from ..model.channel import Log
from ..plugin.guard import failure_words, guarded
from ..plugin.host import Plugins
from .errors import LogError
from .log_file import Told, read_log

__all__ = ["Told", "log_of"]

SECONDS = 20.0  # that a plugin's reader may take


def log_of(plugins: Plugins, name: str, content: bytes, told: Told | None = None) -> Log:
    """The log in a file. Every plugin's reader is asked first, each by itself; the first that knows the file
    reads it, and one that fails is named and costs nothing else.

    Raises:
        LogError: nobody makes anything of it.
    """
    failed: list[str] = []
    for plugin, reader in plugins.readers:
        where = f"{plugin} (reader {reader.name})"
        try:
            with guarded(plugin, f"reading {name}", SECONDS, where):
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
            return attrs.evolve(found, remarks=(*failed, *found.remarks))
    try:
        log = read_log(name, content, told)
    except LogError as error:
        raise LogError([*error.faults, *(DataFault("file", "", words) for words in failed)], name) from error
    return attrs.evolve(log, remarks=(*failed, *log.remarks))
