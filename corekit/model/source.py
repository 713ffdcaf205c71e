"""Where a figure comes from, and how far it may be trusted."""

from __future__ import annotations

from enum import StrEnum

import attrs


class Basis(StrEnum):
    """What kind of authority stands behind a figure."""

    STANDARD = "standard"
    LAW = "law"
    HANDBOOK = "handbook"
    MAKER = "maker"
    MEASURED = "measured"
    PRACTICE = "practice"
    ESTIMATE = "estimate"


class Status(StrEnum):
    """How we know what the source says."""

    READ = "read"
    EXCERPT = "excerpt"
    SECONDHAND = "secondhand"
    MEMORY = "memory"
    NONE = "none"


class Confidence(StrEnum):
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@attrs.frozen(kw_only=True)
class Source:
    """One document, or the honest absence of one ("common practice, no source").

    Attributes:
        key: Name under which limits, faults and calculations refer to it.
        title: The document's own title.
        where: Section, table or page in it.
        address: Where it can be read; empty when there is none.
        basis, status: See `Basis` and `Status`.
        note: A conflict or a caution that belongs to the figure.
    """

    key: str
    title: str
    basis: Basis
    status: Status
    where: str = ""
    address: str = ""
    note: str = ""

    @property
    def decides(self) -> bool:
        """True when a limit from here may pass or fail something by itself."""
        return self.basis not in (Basis.PRACTICE, Basis.ESTIMATE) and self.status not in (
            Status.MEMORY,
            Status.NONE,
        )

    @property
    def named(self) -> str:
        """How paper names it: title, place in it, and a plain word when nobody can look it up."""
        text = f"{self.title}, {self.where}" if self.where else self.title
        remark = {Status.MEMORY: " (from memory)", Status.SECONDHAND: " (second hand)"}.get(self.status, "")
        return text + remark
