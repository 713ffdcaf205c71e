"""What a reading may be."""

from __future__ import annotations

from enum import StrEnum

import attrs

from .source import Source
from .value import Value


@attrs.frozen
class Span:
    """What a reading may be, both ends in the coherent unit; None leaves an end open."""

    low: float | None = None
    high: float | None = None

    def __attrs_post_init__(self) -> None:
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(
                f"A span's low end must not lie above its high end; got {self.low} and {self.high}."
            )

    def holds(self, number: float) -> bool:
        return (self.low is None or number >= self.low) and (self.high is None or number <= self.high)


class Scope(StrEnum):
    GENERAL = "general"
    THIS_VEHICLE = "this vehicle"


@attrs.frozen(kw_only=True)
class Limit:
    """Low and/or high end of what is allowed, how well each is known, and the authority for it.

    How well an end is known stands in its Value: u is half of its width (k = 2); one that came out of a
    calculation carries the uncertainty of what it was computed from as well.

    Attributes:
        key: Checked name, e.g. `brakes.line_pressure`.
        low, high: Ends as Values of one kind, low not above high; at least one must be given.
        why: Reason for the width, also where it is 0. Empty where nobody has said how well the limit is
            known: then it advises and never decides.
        only_advises: It has a width and still decides nothing by itself.
        beaten: The general limit that this vehicle's own specification replaced, kept so that paper can show
            it.
    """

    key: str
    source: Source
    low: Value | None = None
    high: Value | None = None
    scope: Scope = Scope.GENERAL
    why: str = ""
    only_advises: bool = False
    note: str = ""
    beaten: Limit | None = None

    def __attrs_post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise ValueError(f"The limit {self.key} needs a low end, a high end or both.")
        if self.low is not None and self.high is not None:
            if self.low.kind != self.high.kind:
                raise ValueError(
                    f"Both ends of the limit {self.key} must be of one kind; got {self.low.kind} and"
                    f" {self.high.kind}."
                )
            if self.low.number > self.high.number:
                raise ValueError(
                    f"The low end of the limit {self.key} lies above its high end: {self.low.number:g} and"
                    f" {self.high.number:g}."
                )

    @property
    def decides(self) -> bool:
        """False: it only advises, because nobody has said how well it is known, or because its author says
        so.
        """
        return bool(self.why) and not self.only_advises


def known_to(end: Value, width: float, key: str) -> Value:
    """An end of a limit that is known to ± `width` (k = 2, in the coherent unit of its difference)."""
    return attrs.evolve(end, budget={**end.budget, f"width of {key}": width / 2}) if width else end
