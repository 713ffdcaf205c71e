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

#: Alike in both measures: the titles of a table's columns, and the weight of a line between its rows.
TABLE_HEAD = Voice("regular", 7.2, 9.0, GREY)
HAIRLINE = 0.4
