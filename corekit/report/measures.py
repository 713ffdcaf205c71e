"""The measures of a paper: its voices and how far apart things stand, roomy and tight; all in points."""

from __future__ import annotations

import attrs

from .pen import GREY, INK, Voice


@attrs.frozen(kw_only=True)
class Measures:
    """The voices of a paper, and how far apart things stand, in points."""

    title: Voice = Voice("strong", 21.0, 25.0, INK)
    amount: Voice = Voice("strong", 15.0, 25.0, INK)
    headings: tuple[Voice, Voice] = (Voice("strong", 11.5, 14.0, INK), Voice("strong", 9.2, 12.0, INK))
    body: Voice = Voice("regular", 9.0, 12.0)
    row: Voice = Voice("regular", 8.6, 11.0)
    small: Voice = Voice("regular", 7.4, 9.2, GREY)
    total: Voice = Voice("strong", 9.6, 12.6)
    table_head: Voice = Voice("regular", 7.2, 9.0, GREY)
    mark: Voice = Voice("strong", 11.0, 13.5)
    above_headings: tuple[float, float] = (11.0, 8.0)
    reading_pad: float = 1.9
    line_pad: float = 2.3
    finding_pad: float = 2.8
    between: float = 5.0  # paragraphs, frames, tables
    strip: float = 1.0  # of a strip's full height
    ground_beside: bool = False  # a line's ground beside it where there is room, else always below


ROOMY = Measures()
#: Taken when it saves a sheet.
TIGHT = Measures(
    title=Voice("strong", 19.0, 22.0, INK),
    amount=Voice("strong", 14.0, 22.0, INK),
    headings=(Voice("strong", 10.6, 12.6, INK), Voice("strong", 8.8, 10.6, INK)),
    body=Voice("regular", 8.6, 10.6),
    row=Voice("regular", 8.3, 9.9),
    small=Voice("regular", 7.0, 8.1, GREY),
    total=Voice("strong", 9.0, 11.2),
    above_headings=(6.0, 4.0),
    reading_pad=1.0,
    line_pad=1.3,
    finding_pad=1.7,
    between=3.5,
    strip=0.86,
    ground_beside=True,
)
#: Of the roomy height: what the tight measures could come down to at best.
TIGHTEST = 0.78

#: The weight of a line between a table's rows.
HAIRLINE = 0.4


@attrs.frozen(kw_only=True)
class SheetMeasures(Measures):
    """Of the first sheet of an account: what is read is set in 10 points, nothing in less than 8.5."""

    answer: Voice = Voice("strong", 17.0, 21.0, INK)
    fact: Voice = Voice("strong", 12.0, 15.0)
    headings: tuple[Voice, Voice] = (Voice("strong", 12.0, 15.0, INK), Voice("strong", 10.0, 13.0, INK))
    body: Voice = Voice("regular", 10.0, 13.6)
    row: Voice = Voice("regular", 10.0, 12.8)
    cause: Voice = Voice("regular", 10.0, 12.8)
    small: Voice = Voice("regular", 8.5, 10.8, GREY)
    total: Voice = Voice("strong", 10.0, 12.8)
    table_head: Voice = Voice("regular", 8.5, 10.8, GREY)
    row_pad: float = 7.0
    total_pad: float = 2.4
    above: float = 17.0  # the answer, the account, what follows it
    detail_beside: bool = False  # hours or part number beside the work where there is room, else below it
    facts_beside: bool = False  # facts and their labels on one line
    usual_beside: bool = False  # what is usual on the line of what was before, where there is room
    proof: float = 7.0  # between two proofs, or two pieces of work
    between: float = 7.0
    above_headings: tuple[float, float] = (14.0, 8.0)


_SNUG = SheetMeasures(
    body=Voice("regular", 10.0, 12.8),
    row=Voice("regular", 10.0, 12.2),
    cause=Voice("regular", 10.0, 12.0),
    small=Voice("regular", 8.5, 10.3, GREY),
    total=Voice("strong", 10.0, 12.2),
    row_pad=4.6,
    total_pad=1.4,
    above=11.0,
    proof=4.0,
    between=5.0,
)
_TIGHT = attrs.evolve(
    _SNUG, cause=Voice("regular", 9.2, 11.2), total_pad=1.0, detail_beside=True, usual_beside=True
)
_CLOSE = attrs.evolve(
    _TIGHT,
    body=Voice("regular", 10.0, 12.2),
    row=Voice("regular", 10.0, 11.8),
    cause=Voice("regular", 9.2, 10.6),
    total=Voice("strong", 10.0, 11.8),
    row_pad=3.6,
    total_pad=0.6,
    above=9.0,
    proof=2.4,
    between=4.0,
    facts_beside=True,
)
_CLOSEST = attrs.evolve(
    _CLOSE,
    answer=Voice("strong", 16.0, 18.6, INK),
    fact=Voice("strong", 10.0, 12.0),
    body=Voice("regular", 10.0, 11.8),
    row=Voice("regular", 10.0, 11.4),
    cause=Voice("regular", 8.5, 9.7),
    small=Voice("regular", 8.5, 9.7, GREY),
    total=Voice("strong", 10.0, 11.4),
    row_pad=2.2,
    total_pad=0.3,
    above=5.5,
    proof=1.4,
    between=2.8,
)
#: From roomy to close; the first that sets the account on one sheet is taken.
SHEETS = (SheetMeasures(), _SNUG, _TIGHT, _CLOSE, _CLOSEST)
#: Of the sheets behind an account.
EVIDENCE = Measures(
    headings=(Voice("strong", 12.0, 15.0, INK), Voice("strong", 10.0, 13.0, INK)),
    body=Voice("regular", 9.5, 12.4),
    row=Voice("regular", 9.5, 12.0),
    small=Voice("regular", 8.5, 10.4, GREY),
    total=Voice("strong", 9.5, 12.4),
    table_head=Voice("regular", 8.5, 10.4, GREY),
    above_headings=(15.0, 9.0),
    between=6.0,
)
