"""Hostile strings × fields × outputs: literal in each, or refused where they come in."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path

import pypdf
from pypdf.generic import ContentStream

from corekit.desk.ledger import Ledger, LedgerRow, as_csv
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.errors import CorekitError
from corekit.model.document import (
    Document,
    DocumentKind,
    Pairs,
    Paragraph,
    Statement,
    from_data,
    to_data,
)
from corekit.model.money import Money
from corekit.model.movement import LedgerKind
from corekit.model.personal import Personal
from corekit.output import as_json
from corekit.report.fonts import runs
from corekit.report.page import render_page
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import resolver
from corekit.report.terminal import render_text
from corekit.report.text import clean
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.signs import visible

from .counts import Counts
from .hostile import STRINGS
from .work import new_shop, plugins

#: Where a document holds what somebody typed.
FIELDS = ("pair", "paragraph", "statement", "answer", "next step", "shop")
_MARK = "q7"
_LONGEST = 900  # characters; a longer text goes on over a sheet's end, where the running head stands between
RAW = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b\u200e\u200f\u2028-\u202e\u2060-\u2069\ufeff]")


def _document(typed: str) -> Document:
    words = {
        name: (f"{_MARK}{number}", Personal("note", "ab" * 32), f"{number}{_MARK}")
        for number, name in enumerate(FIELDS)
    }
    return Document(
        id="d1",
        kind=DocumentKind.INVOICE,
        title="Invoice 1",
        number="1",
        shop=typed if typed.strip() else "Example",
        issued="2026-07-01",
        currency="EUR",
        total="60.00",
        blocks=(
            Pairs(rows=(("Customer", words["pair"]),)),
            Paragraph(words=words["paragraph"]),
            Statement(title="Told", words=words["statement"]),
            Pairs(rows=(("Said", words["answer"]),)),
            Pairs(rows=(("Next", words["next step"]),)),
        ),
    )


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


class Tags(HTMLParser):
    """A page's tags with the names of their attributes, where it leads or loads from, and its texts."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, tuple[str, ...]]] = []
        self.addresses: list[str] = []
        self.texts: list[str] = []

    def count(self, wanted: str) -> int:
        return sum(tag == wanted for tag, _ in self.tags)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, tuple(name for name, _ in attrs)))
        self.texts += [value or "" for _, value in attrs]
        self.addresses += [
            value or "" for name, value in attrs if name in ("href", "src", "action", "formaction")
        ]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def read_html(html: str) -> Tags:
    parser = Tags()
    parser.feed(html)
    parser.close()
    return parser


def _is_drawn(sign: str) -> bool:
    """Whether a face of the papers has the sign."""
    return all("[U+" not in text for _, text in runs(sign, "regular", typed=True))


def paper_texts(pdf: bytes) -> tuple[str, str]:
    """What a paper's sheets draw, and what they give a reader program in place of it (ActualText)."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    drawn, instead = [], []
    for page in reader.pages:
        drawn.append(page.extract_text())
        for operands, operator in ContentStream(page.get_contents(), reader).operations:
            if operator == b"BDC" and "/ActualText" in operands[1]:
                instead.append(str(operands[1]["/ActualText"]))
    return "\n".join(drawn), "".join(instead)


def _between(text: str, typed: str) -> list[bool]:
    """For each marked field, whether it holds the text as it is."""
    held = squeezed(text)
    return [f"{_MARK}{number}{squeezed(typed)}{number}{_MARK}" in held for number in range(len(FIELDS) - 1)]


def _printed(typed: str) -> Iterator[tuple[str, list[bool], str]]:
    """For each output of a document: its name, what was literal, and what else is wrong with it."""
    typed = typed[:_LONGEST]
    document, texts = _document(typed), {"ab" * 32: typed}
    shown = clean(typed)
    pdf = render_pdf(document, resolver(texts), None)
    drawn = "\n".join(paper_texts(pdf))
    control = any(sign in pdf for sign in (b"/JavaScript", b"/OpenAction", b"/URI"))
    yield "PDF", _between(drawn, shown), "it holds an action" if control else ""
    page = render_page(document, resolver(texts), None)
    tags, plain = read_html(page), read_html(render_page(_document("x"), resolver({"ab" * 32: "x"}), None))
    yield (
        "page",
        _between("".join(tags.texts), shown),
        "" if tags.tags == plain.tags else "it holds other tags or attributes than the control",
    )
    terminal = visible(render_text(document, resolver(texts), None))
    bare = re.sub(r"(?m)^! ?", "", terminal)  # before each line of a statement
    yield "terminal", _between(bare, shown), "it steers" if RAW.search(terminal) else ""
    data = as_json({"document": to_data(document), "text": typed})
    read = json.loads(data)
    yield (
        "JSON",
        [read["text"] == typed, from_data(read["document"]) == document],
        "it is not plain" if RAW.search(data) else "",
    )
    row = LedgerRow(
        day="2026-07-01",
        kind=LedgerKind.RECEIVED,
        number="1",
        job=shown,
        amount=Money(100, "EUR"),
        note=shown,
    )
    table = list(csv.reader(io.StringIO(as_csv(Ledger(currency="EUR", rows=(row,), open=())), newline="")))
    cells = [table[1][3], table[1][-1]]
    formula = any(cell.lstrip(" ")[:1] in tuple("=+-@＝＋－＠") and cell for cell in cells)
    yield "CSV", [cell in (shown, f"'{shown}") for cell in cells], "a cell is a formula" if formula else ""


def strings(count: int, folder: Path) -> Counts:
    """The first `count` strings through every field and output, and through the screens of a shop."""
    counts = Counts("hostile strings")
    shop_folder = new_shop(folder / "shop")
    chosen = STRINGS[:: max(1, len(STRINGS) // count)]
    lacking: set[str] = set()
    for typed in chosen:
        if "\ud800" in typed:  # no encoding can write it, so no file or form can bring it
            counts.seen["refused"] += 1
            continue
        for output, literal, fault in _printed(typed):
            counts.tries += len(literal)
            if fault:
                counts.wrong.append(f"{output}: {fault}: {typed[:40]!r}")
            if all(literal):
                counts.seen[f"literal in {output}"] += len(literal)
            elif output == "PDF" and any(not _is_drawn(sign) for sign in clean(typed)):
                counts.seen["by its code in PDF (no face has it)"] += literal.count(False)
                lacking.add(typed[:12])
            else:
                counts.wrong.append(f"{output}: not literal: {typed[:40]!r}")
    if lacking:
        counts.notes.append(f"by their code on paper: {', '.join(sorted(map(repr, lacking)))}")
    _on_screens(chosen, shop_folder, counts)
    return counts


def _on_screens(chosen: tuple[str, ...], shop_folder: Path, counts: Counts) -> None:
    with Shop(shop_folder, plugins=plugins()) as shop:
        browser = work_app(Van(shop.context), NoAuth()).test_client()

        def begun(name: str, typed: str) -> str:
            rows = {
                "reason": typed,
                "vehicle": {"plate": "DEMO-7", "description": typed},
                "customer": {"name": typed, "address": typed, "phone": typed},
            }
            return add_rows(shop.context, shop.store.new_job(), rows, request_id=f"request-{name:0>16}").job

        paths: tuple[Callable[[str], str], ...] = (
            lambda job: "/",
            lambda job: f"/job/{job}",
            lambda job: f"/job/{job}/photos",
        )
        job = begun("control", "x")
        control = [
            [
                tag
                for tag, _ in read_html(
                    browser.get(path(job), follow_redirects=True).get_data(as_text=True)
                ).tags
            ]
            for path in paths
        ]
        for number, typed in enumerate(chosen):
            try:
                job = begun(str(number), typed)
            except (CorekitError, UnicodeEncodeError):
                counts.seen["refused"] += 1
                continue
            for path, known in zip(paths, control, strict=True):
                answer = browser.get(path(job), follow_redirects=True)
                counts.tries += 1
                tags = read_html(answer.get_data(as_text=True))
                counts.seen[f"screens answered {answer.status_code}"] += 1
                if answer.status_code >= 500:
                    counts.wrong.append(f"screens: {answer.status_code} on {typed[:40]!r}")
                if path is not paths[0] and [tag for tag, _ in tags.tags].count("script") != known.count(
                    "script"
                ):
                    counts.wrong.append(f"screens: other scripts on {typed[:40]!r}")
                odd = {name for _, names in tags.tags for name in names if name.startswith("on")}
                if odd:
                    counts.wrong.append(f"screens: attributes {sorted(odd)} on {typed[:40]!r}")
            listed = "".join(read_html(browser.get("/").get_data(as_text=True)).texts)
            counts.seen["literal on the list of jobs"] += squeezed(typed)[:60] in squeezed(listed)
