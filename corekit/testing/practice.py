"""Practice cars for tests: visits driven by the program's own next steps."""

from ..practice.driving import Driven, Untrue, counts, drive, visited

__all__ = ["Driven", "Untrue", "counts", "drive", "visited"]
