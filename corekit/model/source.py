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


#: How a figure's authority is named beside it.
BASIS_WORDS = {
    Basis.STANDARD: "standard",
    Basis.LAW: "law",
    Basis.HANDBOOK: "handbook",
    Basis.MAKER: "manufacturer",
    Basis.MEASURED: "measured",
    Basis.PRACTICE: "common practice",
    Basis.ESTIMATE: "estimate",
}


#: What has a title that one finds it by, the same in every language.
PUBLISHED = frozenset({Basis.STANDARD, Basis.LAW, Basis.HANDBOOK, Basis.MEASURED})


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
    def can_be_exact(self) -> bool:
        """True when a figure from here may be taken as it stands, with a width of 0."""
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
