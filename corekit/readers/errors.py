"""What a reader refuses."""

from __future__ import annotations

from ..fault import DataFileError


class LogError(DataFileError):
    """A file or a bus gives no log that can be taken; every fault at once, each with its place."""
