"""A Document as one would write it for an engine that makes PDF of HTML: tables, one style sheet, SVG."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Any

import qrcode

from corekit.model.document import (
    Account,
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
    Words,
)
from corekit.model.figure import Strip
from corekit.report.figure_svg import figure_svg
from corekit.report.personal_text import Resolve
from corekit.report.strip import strip_figure
from corekit.report.text import plain_text

STYLE = """
@page { size: A4; margin: 19mm 18mm 14mm; @top-right { content: "page " counter(page) } }
body { font: 8.6pt/10.6pt sans-serif } h1 { font-size: 17pt; line-height: 20pt } h2 { font-size: 10.6pt }
table { width: 100%; border-collapse: collapse } td, th { vertical-align: top; text-align: left }
tr { break-inside: avoid } tbody tr { border-top: 0.4pt solid lightgrey } small { font-size: 7pt }
.evidence { break-before: page } .number { text-align: right } svg { display: block; max-width: 50mm }
.box { border: 0.7pt solid black; padding: 2mm }
"""


def html_invoice(document: Document, link: str, say: Resolve) -> str:
    """The whole Document as one page of HTML."""
    parts = [f"<p>{escape(document.shop)} {escape(document.title)} {escape(document.issued)}</p>"]
    for nth, block in enumerate(document.blocks):
        parts.append(_block(block, link, say, f"f{nth}"))
    return (
        f"<!doctype html><html lang=en><title>{escape(document.title)}</title><style>{STYLE}</style>"
        f"<body>{''.join(parts)}</body></html>"
    )


def _block(block: object, link: str, say: Resolve, key: str) -> str:
    def words(text: Words) -> str:
        return escape(plain_text(text, say))

    if isinstance(block, Heading):
        return f"<h2>{escape(block.text)}</h2>"
    if isinstance(block, Paragraph):
        return f"<p>{words(block.words)}</p>"
    if isinstance(block, (Pairs, NextSteps)):
        return _table([f"<small>{escape(name)}</small>", words(text)] for name, text in block.rows)
    if isinstance(block, Answer):
        facts = "".join(
            f"<td><small>{escape(label)}</small><br>{escape(text)}" for label, text, _ in block.facts
        )
        return (
            f"<p>{words(block.said)}</p><h1>{escape(block.text)}</h1><table><tr>{facts}</table>"
            f"<p>{escape(block.proof)}</p>"
        )
    if isinstance(block, Account):
        return _table(_account(block, key))
    if isinstance(block, Evidence):
        return f'<h1 class="evidence">{escape(block.title)}</h1>'
    if isinstance(block, Findings):
        return _table(
            [
                f"<b>{escape(row.urgency)}</b><br><small>{escape(f'{row.verdict} · {row.stage}')}</small>",
                f"{escape(row.text)}<br><small>{escape(row.basis)}</small>",
            ]
            for row in block.rows
        )
    if isinstance(block, Readings):
        return _table(
            [
                f"{escape(row.name)}<br><small>{escape(row.note)}</small>",
                escape(row.before),
                escape(row.after),
                _svg(row.strip, f"{key}-{nth}"),
                f"<small>{escape(row.limit)} {escape(row.source)}</small>",
            ]
            for nth, row in enumerate(block.rows)
        )
    if isinstance(block, PricedLines):
        return _table(
            [
                f"{escape(row.text)}<br><small>{escape(row.ground)}</small><br><small>{escape(row.note)}</small>",
                *(
                    f'<div class="number">{escape(text)}</div>'
                    for text in (row.quantity, row.price, row.tax, row.net)
                ),
            ]
            for row in block.rows
        )
    if isinstance(block, Totals):
        return _table(
            [escape(label), f'<div class="number">{escape(text)}</div>'] for label, text, _ in block.rows
        )
    if isinstance(block, Statement):
        return f'<div class="box"><b>{escape(block.title)}</b><br>{words(block.words)}</div>'
    if isinstance(block, Code):
        return _table([[_modules(link), f"{escape(link)}<br><b>{escape(block.record_mark)}</b>"]])
    return ""


def _account(block: Account, key: str) -> Iterable[list[str]]:
    for nth, row in enumerate(block.rows):
        proofs = "".join(
            f"<small>{escape(proof.name)}</small>{_svg(proof.strip, f'{key}-{nth}-{mth}')}"
            f"{escape(f'{proof.before} {proof.now} {proof.seen}')}<br><small>{escape(proof.usual)}</small>"
            for mth, proof in enumerate(row.proofs)
        )
        yield [
            f"<small>{escape(row.point)}</small><br><b>{escape(row.what)}</b><br>{escape(row.cause)}"
            f"<br><b>{escape(row.state)}</b>",
            proofs,
            "<br>".join(f"{escape(work.text)}<br><small>{escape(work.detail)}</small>" for work in row.works),
            "<br>".join(f'<div class="number">{escape(work.net)}</div>' for work in row.works),
        ]


def _table(rows: Iterable[list[str]]) -> str:
    cells = "".join(f"<tr>{''.join(f'<td>{cell}' for cell in row)}" for row in rows)
    return f"<table><tbody>{cells}</tbody></table>"


def _svg(strip: Strip | None, key: str) -> str:
    return figure_svg(strip_figure(strip), key) if strip is not None else ""


def _modules(link: str) -> str:
    code: Any = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_M, border=4)
    code.add_data(link, optimize=0)
    code.make()
    rows = code.get_matrix()
    squares = "".join(
        f'<rect x="{column}" y="{nth}" width="1" height="1"/>'
        for nth, row in enumerate(rows)
        for column, dark in enumerate(row)
        if dark
    )
    return f'<svg viewBox="0 0 {len(rows)} {len(rows)}" width="30mm" height="30mm">{squares}</svg>'
