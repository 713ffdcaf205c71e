"""Practice cars for tests: visits driven by the program's own next steps."""

from ..practice.driving import Driven, counts, drive, visited
from ..practice.statements import Untrue

__all__ = ["Driven", "Untrue", "counts", "drive", "visited"]
