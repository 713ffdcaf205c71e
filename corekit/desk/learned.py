"""What a shop took over from its own retested jobs into the fault tables: learned.toml in its folder."""

from __future__ import annotations

from pathlib import Path

from ..files import flush_folder, write_over
from ..plugin.host import Plugins

LEARNED_FILE = "learned.toml"
#: What was proposed last, until somebody accepts it.
PROPOSED_FILE = "learned.proposed.toml"


def with_learned(plugins: Plugins, folder: Path) -> Plugins:
    """The plugins with what the shop took over, if it did.

    Raises:
        DataFileError: the file cannot be used.
    """
    path = folder / LEARNED_FILE
    if not path.is_file():
        return plugins
    from ..datafile import read_toml
    from ..plugin.learned import plugins_with, read_learned

    return plugins_with(plugins, read_learned(read_toml(path), LEARNED_FILE))


def propose(folder: Path, text: str) -> Path:
    """Keep a proposal beside the shop's own file until it is accepted."""
    path = folder / PROPOSED_FILE
    write_over(path, text.encode("utf-8"))
    return path


def accept(folder: Path) -> Path:
    """From now on the shop reasons with what was proposed."""
    path = folder / LEARNED_FILE
    (folder / PROPOSED_FILE).replace(path)
    flush_folder(folder)
    return path
