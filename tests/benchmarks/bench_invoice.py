"""How long a warm invoice takes beside the same content in idiomatic platypus.

Run it: python tests/benchmarks/bench_invoice.py

Both sides set 25 readings with strips, 6 findings and 12 lines on A4 with the same faces and a code of the
same link. The idiomatic side has a Paragraph in every cell, a Drawing for every strip and a Rect for every
module, as reportlab's guide teaches. Rounds alternate within one run and every round has a link of its own;
what is printed is the median of the ratios, because milliseconds say more about the computer than about the
program. Aim: at most 1/5.
"""

from __future__ import annotations

import argparse
import io
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import qrcode
from reportlab.graphics.shapes import Circle, Drawing, Line, PolyLine, Rect, String
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, SimpleDocTemplate, Spacer, Table, TableStyle
from reportlab.platypus import Paragraph as Para

from corekit.model.document import (
    Code,
    Document,
    Findings,
    Heading,
    Pairs,
    Paragraph,
    PricedLines,
    Readings,
    Statement,
    Totals,
)
from corekit.model.figure import Band, Dot, Figure, Label
from corekit.report.fonts import typeface
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import resolver
from corekit.report.strip import strip_figure
from corekit.report.text import plain_text
from tests.report.sample import TEXTS, sample

SAY = resolver(TEXTS)


def idiomatic(document: Document, link: str) -> bytes:
    """The Document as one would write it with platypus."""
    regular, strong = typeface("regular").name, typeface("strong").name
    body = ParagraphStyle("body", fontName=regular, fontSize=8.6, leading=10.6)
    small = ParagraphStyle(
        "small", parent=body, fontSize=7, leading=8.1, textColor=colors.HexColor("#525252")
    )
    bold = ParagraphStyle("bold", parent=body, fontName=strong)
    right = ParagraphStyle("right", parent=body, alignment=2)
    heading = ParagraphStyle("heading", parent=bold, fontSize=10.6, leading=12.6, spaceBefore=7)
    title = ParagraphStyle("title", parent=bold, fontSize=19, leading=22)
    lined = TableStyle(
        [
            ("LINEABOVE", (0, 1), (-1, -1), 0.4, colors.lightgrey),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("TOPPADDING", (0, 0), (-1, -1), 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
        ]
    )
    story: list[Any] = [
        Para(escape(document.title), title),
        Para(escape(f"Issued {document.issued}"), body),
        Para(escape(f"Total {document.currency} {document.total}"), bold),
    ]
    for block in document.blocks:
        if isinstance(block, Heading):
            story.append(Para(escape(block.text), heading))
        elif isinstance(block, Paragraph):
            story.append(Para(escape(plain_text(block.words, SAY)), body))
        elif isinstance(block, Pairs):
            story.append(
                Table(
                    [
                        [Para(escape(name), small), Para(escape(plain_text(words, SAY)), body)]
                        for name, words in block.rows
                    ],
                    [40 * mm, 134 * mm],
                )
            )
        elif isinstance(block, Findings):
            rows = [
                [
                    [Para(escape(row.urgency), bold), Para(escape(f"{row.verdict} · {row.stage}"), small)],
                    [Para(escape(row.text), body), Para(escape(row.basis), small)],
                ]
                for row in block.rows
            ]
            story.append(Table(rows, [34 * mm, 140 * mm], style=lined))
        elif isinstance(block, Readings):
            head = [
                Para(text, small) for text in ("Reading", "On arrival", "After", "Scale", "Limit and source")
            ]
            cells = [
                [
                    [Para(escape(row.name), body), Para(escape(row.note), small)],
                    Para(escape(row.before), right),
                    Para(escape(row.after), right),
                    drawing(strip_figure(row.strip), 34 * mm) if row.strip else "",
                    [Para(escape(row.limit), small), Para(escape(row.source), small)],
                ]
                for row in block.rows
            ]
            story.append(
                Table(
                    [head, *cells], [44 * mm, 20 * mm, 20 * mm, 40 * mm, 50 * mm], style=lined, repeatRows=1
                )
            )
        elif isinstance(block, PricedLines):
            head = [
                Para(text, small) for text in ("What", "Quantity", "Price", "Tax", f"Net {block.currency}")
            ]
            lines = [
                [
                    [
                        Para(escape(row.text), body),
                        Para(escape(row.ground), small),
                        Para(escape(row.note), small),
                    ],
                    *(Para(escape(text), right) for text in (row.quantity, row.price, row.tax, row.net)),
                ]
                for row in block.rows
            ]
            story.append(
                Table(
                    [head, *lines], [90 * mm, 22 * mm, 22 * mm, 16 * mm, 24 * mm], style=lined, repeatRows=1
                )
            )
        elif isinstance(block, Totals):
            story.append(
                Table(
                    [
                        [Para(escape(label), bold if strong_row else body), Para(escape(value), right)]
                        for label, value, strong_row in block.rows
                    ],
                    [60 * mm, 30 * mm],
                    hAlign="RIGHT",
                )
            )
        elif isinstance(block, Statement):
            box = Table(
                [[[Para(escape(block.title), bold), Para(escape(plain_text(block.words, SAY)), body)]]],
                [174 * mm],
                style=TableStyle([("BOX", (0, 0), (-1, -1), 0.7, colors.black)]),
            )
            story.append(box)
        elif isinstance(block, Code):
            story.append(
                KeepTogether(
                    [
                        Spacer(1, 4),
                        Table(
                            [
                                [
                                    modules(link),
                                    [Para(escape(link), body), Para(escape(block.record_mark), bold)],
                                ]
                            ],
                            [30 * mm, 144 * mm],
                        ),
                    ]
                )
            )
    out = io.BytesIO()
    made = SimpleDocTemplate(
        out,
        pagesize=A4,
        leftMargin=18 * mm,
        rightMargin=18 * mm,
        topMargin=19 * mm,
        bottomMargin=14 * mm,
        initialFontName=regular,
        invariant=1,
    )

    def running(canvas: Any, doc: Any) -> None:
        canvas.setFont(regular, 7.6)
        canvas.drawString(18 * mm, A4[1] - 15 * mm, f"{document.shop} {document.title}")
        canvas.drawRightString(A4[0] - 18 * mm, A4[1] - 15 * mm, f"page {doc.page}")

    made.build(story, onFirstPage=running, onLaterPages=running)
    return out.getvalue()


def drawing(figure: Figure, width: float) -> Drawing:
    across, height = width / figure.width, figure.height_mm * mm
    up = height / figure.height
    made = Drawing(width, height)
    for mark in figure.marks:
        if isinstance(mark, Band):
            made.add(
                Rect(
                    mark.x0 * across,
                    mark.y0 * up,
                    (mark.x1 - mark.x0) * across,
                    (mark.y1 - mark.y0) * up,
                    fillColor=colors.lightgrey,
                    strokeWidth=0,
                )
            )
        elif isinstance(mark, Dot):
            made.add(
                Circle(
                    mark.x * across,
                    mark.y * up,
                    mark.size / 2,
                    fillColor=colors.black if mark.filled else colors.white,
                )
            )
        elif isinstance(mark, Label):
            made.add(
                String(
                    mark.x * across,
                    mark.y * up,
                    mark.text,
                    fontName=typeface("regular").name,
                    fontSize=mark.size,
                    textAnchor=mark.anchor,
                )
            )
        elif len(mark.points) == 2:
            (x0, y0), (x1, y1) = mark.points
            made.add(Line(x0 * across, y0 * up, x1 * across, y1 * up, strokeWidth=mark.weight))
        else:
            made.add(
                PolyLine(
                    [part for x, y in mark.points for part in (x * across, y * up)], strokeWidth=mark.weight
                )
            )
    return made


def modules(link: str) -> Drawing:
    code: Any = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_M, border=4)
    code.add_data(link, optimize=0)
    code.make()
    rows = code.get_matrix()
    side = 0.5 * mm
    made = Drawing(len(rows) * side, len(rows) * side)
    for nth, row in enumerate(rows):
        for column, dark in enumerate(row):
            if dark:
                made.add(
                    Rect(
                        column * side,
                        (len(rows) - nth - 1) * side,
                        side,
                        side,
                        fillColor=colors.black,
                        strokeWidth=0,
                        strokeColor=None,
                    )
                )
    return made


def seconds(work: Callable[[], bytes]) -> float:
    start = time.process_time()  # of the processor: what else the computer does meanwhile does not count
    work()
    return time.process_time() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument(
        "--rounds", type=int, default=15, help="rounds that alternate between the two (default 15)"
    )
    rounds = parser.parse_args().rounds
    document = sample(25, 12, 6, picture=False)
    ours, theirs = (
        render_pdf(document, SAY, "https://readings.example/v#warm"),
        idiomatic(document, "https://readings.example/v#warm"),
    )
    ratios, times = [], []
    for nth in range(rounds):
        link = f"https://readings.example/v#K7QX-4M2P-9TBD-6HWE-3RNA-{nth:04d}"
        mine, other = (
            seconds(partial(render_pdf, document, SAY, link)),
            seconds(partial(idiomatic, document, link)),
        )
        ratios.append(mine / other)
        times.append((mine, other))
    ratio = statistics.median(ratios)
    print(
        f"warm invoice ÷ idiomatic platypus: {ratio:.3f} (1/{1 / ratio:.1f}), median of {rounds} rounds,"
        f" {min(ratios):.3f} to {max(ratios):.3f}; aim ≤ 0.200"
    )
    mine, other = (statistics.median(column) * 1e3 for column in zip(*times, strict=True))
    print(f"  ours {mine:.1f} ms and {len(ours)} bytes, idiomatic {other:.1f} ms and {len(theirs)} bytes")


if __name__ == "__main__":
    main()
