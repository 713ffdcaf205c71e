"""Jurisdictions as data: one TOML file each, the core's own in shared/jurisdictions."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

from .kept import kept
from .reference import data_path

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .model.jurisdiction import Jurisdiction

#: The file of what holds where nobody has described the place.
GENERAL = "general"
#: ISO 3166-1 alpha-2, with the part of a country as in ISO 3166-2; EU is reserved there.
CODE = re.compile(r"[A-Z]{2}(-[A-Z0-9]{1,3})?")


def read_jurisdiction(path: Path) -> Jurisdiction:
    """The jurisdiction that a TOML file describes.

    Raises:
        DataFileError: everything that is wrong, at once.
    """
    from .jurisdiction_file import read  # its forms are wanted when nothing is kept

    return read(path)


def _folder() -> Path:
    return data_path("shared/jurisdictions")


@lru_cache(maxsize=1)
def jurisdictions() -> Mapping[str, Jurisdiction]:
    """Code → jurisdiction, those that come with corekit. Shared; do not change it."""
    paths = _paths()
    return kept("jurisdictions", paths, lambda: {path.stem: read_jurisdiction(path) for path in paths})


def described_codes() -> frozenset[str]:
    """The codes of those that come with corekit: their files are called so."""
    return frozenset(path.stem for path in _paths())


def _paths() -> list[Path]:
    return [path for path in sorted(_folder().glob("*.toml")) if path.stem != GENERAL]


@lru_cache(maxsize=1)
def general() -> Jurisdiction:
    """What holds where nobody has described the place: nothing that allows more."""
    return read_jurisdiction(_folder() / f"{GENERAL}.toml")
