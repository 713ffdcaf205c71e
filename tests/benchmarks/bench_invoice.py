"""How long a warm invoice takes beside the same content in idiomatic platypus, and in HTML.

Run it: python tests/benchmarks/bench_invoice.py [--rounds 15]

All sides set the account of three faults with its bill, then 25 readings with strips, 6 findings and 12 lines
on A4 with a code of the same link. The platypus side has a Paragraph in every cell, a Drawing for every strip
and a Rect for every module, as reportlab's guide teaches. Rounds alternate within one run and every round has
a link of its own; what is printed is the median of the ratios, because milliseconds say more about the
computer than about the program.

Two runs are made of it, each in a process of its own: without reportlab's accelerator in C, and with it on
both sides. Aims, without: at most 1/5 of platypus, at most 1/25 of the HTML engine. Accelerator and HTML
engine come with `pip install -e '.[benchmark]'`; what is not installed is named and left out.
"""

# ruff: noqa: E402 - what reportlab finds beside it is settled before it is imported

from __future__ import annotations

import argparse
import io
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from importlib.metadata import PackageNotFoundError, distribution
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

ACCELERATOR = "--accelerator"
if ACCELERATOR not in sys.argv:
    sys.modules["_rl_accel"] = None  # type: ignore[assignment]  # reportlab then takes its own Python

import attrs
import qrcode
from reportlab.graphics.shapes import Circle, Drawing, Line, PolyLine, Rect, String
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, PageBreak, SimpleDocTemplate, Spacer, Table, TableStyle
from reportlab.platypus import Paragraph as Para

from corekit.model.document import (
    Account,
    AccountRow,
    Answer,
    Code,
    Document,
    Evidence,
    Findings,
    Heading,
    NextSteps,
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
from tests.benchmarks.html_invoice import html_invoice
from tests.report import accounts
from tests.report.sample import TEXTS, sample

SAY = resolver({**TEXTS, **accounts.TEXTS})
LINK = "https://readings.example/v#K7QX-4M2P-9TBD-6HWE-3RNA"
#: What comes with the account itself, or has no counterpart on the other sides.
_TAKEN = (Pairs, Totals, Statement, Code)


def content() -> Document:
    """The account and the bill of three faults, and behind it what a long visit read and found."""
    front = accounts.full_sheet()
    sheet = front.blocks[: next(nth for nth, one in enumerate(front.blocks) if isinstance(one, Evidence)) + 1]
    behind = [one for one in sample(25, 12, 6, picture=False).blocks if not isinstance(one, _TAKEN)]
    return attrs.evolve(front, blocks=(*sheet, *behind))


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
        elif isinstance(block, Answer):
            story += [
                Para(escape(plain_text(block.said, SAY)), small),
                Para(escape(block.text), title),
                *(Para(escape(f"{label} {text}"), body) for label, text, _ in block.facts),
                Para(escape(block.proof), body),
            ]
        elif isinstance(block, Account):
            head = [Para(text, small) for text in ("What was wrong", "Before and now", "What we did", "Net")]
            faults = [account_row(row, body, small, bold, right) for row in block.rows]
            story.append(
                Table([head, *faults], [50 * mm, 54 * mm, 50 * mm, 20 * mm], style=lined, repeatRows=1)
            )
        elif isinstance(block, Evidence):
            story += [PageBreak(), Para(escape(block.title), title)]
        elif isinstance(block, (Pairs, NextSteps)):
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


def account_row(
    row: AccountRow, body: ParagraphStyle, small: ParagraphStyle, bold: ParagraphStyle, right: ParagraphStyle
) -> list[Any]:
    """The cells of one fault."""
    proofs: list[Any] = []
    for proof in row.proofs:
        proofs.append(Para(escape(proof.name), small))
        if proof.strip:
            proofs.append(drawing(strip_figure(proof.strip), 50 * mm))
        proofs.append(Para(escape(f"{proof.before} {proof.now} {proof.seen}"), body))
        proofs.append(Para(escape(proof.usual), small))
    works = [
        Para(escape(text), style)
        for work in row.works
        for text, style in ((work.text, body), (work.detail, small))
    ]
    return [
        [
            Para(escape(row.point), small),
            Para(escape(row.what), bold),
            Para(escape(row.cause), body),
            Para(escape(row.state), bold),
        ],
        proofs,
        works,
        [Para(escape(work.net), right) for work in row.works],
    ]


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


def compare(name: str, other: Callable[[Document, str], bytes], rounds: int, aim: str) -> None:
    """Ours beside another's, round by round."""
    document = content()
    ours, theirs = render_pdf(document, SAY, LINK), other(document, LINK)
    times = []
    for nth in range(rounds):
        link = f"{LINK}-{nth:04d}"
        times.append(
            (seconds(partial(render_pdf, document, SAY, link)), seconds(partial(other, document, link)))
        )
    ratios = [mine / theirs for mine, theirs in times]
    ratio = statistics.median(ratios)
    print(
        f"warm invoice ÷ {name}: {ratio:.3f} (1/{1 / ratio:.1f}), median of {rounds} rounds,"
        f" {min(ratios):.3f} to {max(ratios):.3f}{aim}"
    )
    mine, others = (statistics.median(column) * 1e3 for column in zip(*times, strict=True))
    print(f"  ours {mine:.1f} ms and {len(ours)} bytes, theirs {others:.1f} ms and {len(theirs)} bytes")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument(
        "--rounds", type=int, default=15, help="rounds that alternate between the two (default 15)"
    )
    parser.add_argument(
        ACCELERATOR, action="store_true", help="this process alone, accelerator on both sides"
    )
    said = parser.parse_args()
    if said.accelerator:
        compare("idiomatic platypus, accelerator on both sides", idiomatic, said.rounds, "")
        return
    compare("idiomatic platypus, no accelerator", idiomatic, said.rounds, "; aim ≤ 0.200")
    if find_spec("weasyprint") is None:
        print("warm invoice ÷ HTML engine: not installed; pip install -e '.[benchmark]'")
    else:
        compare("HTML engine", from_html, max(3, said.rounds // 4), "; aim ≤ 0.040")
    if not is_installed("rl-accel"):
        print("idiomatic platypus with its accelerator: not installed; pip install -e '.[benchmark]'")
        return
    sys.stdout.flush()
    subprocess.run([sys.executable, __file__, ACCELERATOR, "--rounds", str(said.rounds)], check=True)


def is_installed(name: str) -> bool:
    try:
        distribution(name)
    except PackageNotFoundError:
        return False
    return True


def from_html(document: Document, link: str) -> bytes:
    """As a program does that is warm: its fonts are known, the sheet is new."""
    import weasyprint

    return weasyprint.HTML(string=html_invoice(document, link, SAY)).write_pdf()  # type: ignore[no-any-return]


if __name__ == "__main__":
    main()
