"""What can be recorded: one measurand sampled over time, or over another quantity."""

from __future__ import annotations

import attrs

from .limit import Span
from .measurand import Measurand

#: Samples that one record holds at most, and at least: one alone is a reading.
MOST_SAMPLES, LEAST_SAMPLES = 20_000, 2


@attrs.frozen
class Settling:
    """When a record counts as settled: for `lasting` and to its end all samples lie within ± `within`.

    Both are in the coherent unit, `within` as a difference; `text` is how it was declared, for paper.
    """

    within: float
    lasting: float
    text: str


@attrs.frozen(kw_only=True)
class Sampling:
    """A record that a system wants: of which measurand, over what.

    Attributes:
        key: `system.name`.
        title: What paper calls it.
        of: The measurand that is sampled, with its part, and with the places, the unit, and what is possible
            and usual in a record of it.
        over_unit: Unit of what it is sampled over; its kind is `over_kind`, its name on paper `over_title`.
        over_possible: Outside: refused; in the coherent unit.
        over_half_width: How well each place on that scale is known (half-width, coherent unit); 0 for a
            clock.
        settling: When it counts as settled; None where nothing settles.
        where, how, hazard: For the person with the probe; the hazard is shown before the step.
        tells: What the customer reads in place of the title; empty where that is plain enough.
    """

    key: str
    title: str
    of: Measurand
    over_unit: str
    over_kind: str
    over_title: str
    over_possible: Span = Span()
    over_half_width: float = 0.0
    settling: Settling | None = None
    where: str = ""
    how: str = ""
    hazard: str = ""
    tells: str = ""

    @property
    def for_customer(self) -> str:
        """Its name in the customer's words."""
        return self.tells or self.title

    @property
    def unit(self) -> str:
        """The unit that its samples are printed in."""
        return self.of.unit

    @property
    def places(self) -> tuple[str, ...]:
        """Closed list of the like things it can be taken at; empty when there is one only."""
        return self.of.places
