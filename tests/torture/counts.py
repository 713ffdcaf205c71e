"""What a part of the programme counted, and how it is told."""

from __future__ import annotations

import time
from collections import Counter

import attrs


@attrs.define
class Counts:
    """One part: how often it was tried, what came of it, and what went wrong, in sentences.

    Attributes:
        wrong: Everything that must not be; the first dozen is printed. notes: Figures beside the counts.
    """

    title: str
    tries: int = 0
    seen: Counter[str] = attrs.field(factory=Counter)
    wrong: list[str] = attrs.field(factory=list)
    notes: list[str] = attrs.field(factory=list)
    began: float = attrs.field(factory=time.monotonic)

    @property
    def bound(self) -> str:
        """Zero failures in N independent tries bound their rate to about 3/N at 95 % (rule of three, from
        memory).
        """
        return "" if self.wrong or not self.tries else f"; rate below {300 / self.tries:.2g} % at 95 %"

    def __str__(self) -> str:
        seen = ", ".join(f"{count} {what}" for what, count in sorted(self.seen.items()))
        lines = [
            f"{self.title}: {self.tries} tries, {len(self.wrong)} wrong{self.bound}"
            f" ({time.monotonic() - self.began:.0f} s)",
            *([f"    {seen}"] if seen else []),
            *(f"    {note}" for note in self.notes),
            *(f"    WRONG {one}" for one in self.wrong[:12]),
        ]
        return "\n".join(lines)
