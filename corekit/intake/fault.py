"""A visit file, or an answer in its form, that cannot be taken in."""

from __future__ import annotations

from ..fault import DataFileError


class VisitError(DataFileError):
    """Nothing is taken from a visit file that has a fault; `where` is its name, empty when there is none."""

    file = "The visit file"
    outcome = "has {count}, and nothing was taken from it."
