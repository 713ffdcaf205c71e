"""What a field of a record may hold beside its kind: bounds that stand in its annotation."""

from __future__ import annotations

import attrs


@attrs.frozen
class AtLeast:
    """A number that is not below `least`."""

    least: int

    def holds(self, value: object) -> bool:
        return isinstance(value, (int, float)) and value >= self.least


@attrs.frozen
class OneOf:
    """A text that is one of these words."""

    words: tuple[str, ...]

    def holds(self, value: object) -> bool:
        return value in self.words
