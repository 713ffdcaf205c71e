"""Texts made to harm, some two hundred: on page, static page, in carried codes and opened documents each
shows as what it is, and none makes an element, runs or steers anything.
"""

from __future__ import annotations

import html.parser
import json
import re
import unicodedata
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import attrs
import pypdf
import pytest

from corekit.cli import main
from corekit.desk.opening import open_paper
from corekit.fault import DataFileError
from corekit.intake.file import looked_over
from corekit.model.canonical import canonical
from corekit.model.document import (
    Account,
    AccountRow,
    Answer,
    ApprovalForm,
    Code,
    Document,
    DocumentKind,
    Evidence,
    FindingRow,
    Findings,
    Heading,
    NextSteps,
    Pairs,
    Paragraph,
    PricedLines,
    PricedRow,
    ProofRow,
    ReadingRow,
    Readings,
    Statement,
    Totals,
    WorkRow,
    to_data,
)
from corekit.model.mark import UNMARKED, document_with_mark
from corekit.reference import data_path
from corekit.report.page import render_page
from corekit.report.pdf import ATTACHMENT, render_pdf
from corekit.report.personal_text import mask
from corekit.share import carried
from corekit.share.attachment import PaperFileError
from corekit.share.carried import CarriedContent, Outcome, open_carried
from corekit.share.link import token, token_hash
from corekit.share.published import PublishedFolder, seal_envelope
from corekit.share.signing import SigningKey
from corekit.signs import visible
from corekit.web.page_app import page_app
from corekit.web.page_templates import PageTemplates, masked_renderers
from corekit.web.pages import page_server
from corekit.web.server import running
from corekit.web.static_page import static_page

from ..conftest import Watched

GROUPS: dict[str, list[str]] = json.loads(
    (Path(__file__).parents[1] / "data" / "hostile-strings.json").read_text("utf-8")
)
NO_TEXT = GROUPS.pop("no text at all")
ALL = [text for group in GROUPS.values() for text in group]
TURNING = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
KEY = SigningKey(bytes(range(32)))


def literal(text: str) -> str:
    """What a reader sees of a text: all but what steers a machine or turns the writing round. White is left
    out, for where a line breaks says nothing.
    """
    return "".join(
        sign
        for sign in unicodedata.normalize("NFC", text)
        if not sign.isspace() and sign not in TURNING and unicodedata.category(sign) != "Cc"
    )


def test_the_corpus_is_large_and_holds_each_text_once() -> None:
    assert len(ALL) >= 150
    assert len(set(ALL)) == len(ALL)


# Page


def a_document(texts: Callable[[], str]) -> Document:
    """An invoice with a text in every field that a page shows."""
    t = texts
    return Document(
        id="3f1c9a5e7b2d4c60",
        kind=DocumentKind.ESTIMATE,
        title=t(),
        shop=t(),
        issued=t(),
        currency="EUR",
        total="1.00",
        form=2,
        blocks=(
            Pairs(rows=((t(), (t(),)), (t(), (t(),)))),
            Answer(said=(), symptoms=t(), text=t(), proof=t(), facts=((t(), t(), True), (t(), t(), False))),
            Account(
                currency="EUR",
                rows=(
                    AccountRow(
                        point=t(),
                        what=t(),
                        cause=t(),
                        proofs=(ProofRow(name=t(), before=t(), now=t(), usual=t()),
                                ProofRow(name=t(), seen=t())),
                        works=(WorkRow(text=t(), detail=t(), reason=t()),),
                        state=t(),
                        next=t(),
                    ),
                ),
            ),
            NextSteps(rows=((t(), (t(),)),)),
            ApprovalForm(works=((t(), "1.00"),), valid_until=t(), otherwise=t()),
            PricedLines(
                currency="EUR",
                rows=(PricedRow(text=t(), ground=t(), quantity=t(), price="1", net="1", tax=t(), note=t()),),
            ),
            Totals(currency="EUR", rows=((t(), "1.00", True),)),
            Evidence(title=t()),
            Heading(text=t()),
            Paragraph(words=(t(),)),
            Statement(title=t(), words=(t(),)),
            Findings(rows=(FindingRow(text=t(), verdict=t(), urgency=t(), basis=t()),)),
            Readings(rows=(ReadingRow(name=t(), before=t(), after=t(), limit=t(), source=t(), note=t()),)),
            Code(document_id="3f1c9a5e7b2d4c60", link=1, record_mark="ABCD-EFGH-JKMN-PQRS"),
        ),
    )  # fmt: skip


class Parts(html.parser.HTMLParser):
    """Elements with the names of their attributes, and all texts: between elements, and in attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, tuple[str, ...]]] = []
        self.texts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, tuple(name for name, _ in attrs)))
        self.texts += [str(value) for _, value in attrs]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def handle_comment(self, data: str) -> None:
        self.elements.append(("<!--", ()))

    def handle_decl(self, decl: str) -> None:
        self.elements.append(("<!", ()))

    @property
    def text(self) -> str:
        """All of them; a sentence begins with a capital wherever it stands first."""
        return literal("".join(self.texts)).casefold()


PLAIN = "plaintext"


@pytest.fixture(scope="module")
def templates() -> PageTemplates:
    return PageTemplates(data_path("templates/open"), masked_renderers().css(), demo=False)


def page_of(templates: PageTemplates, document: Document) -> str:
    piece = templates.opened(document, "A" * 26, render_page(document, mask, "https://pages.example.org/v#A"))
    return templates.page(piece, document.title)


@pytest.mark.parametrize("group", GROUPS)
def test_in_every_field_of_a_page_it_stands_as_what_it_is_and_makes_no_element(
    templates: PageTemplates, group: str
) -> None:
    plain = Parts(page_of(templates, a_document(lambda: PLAIN)))
    assert plain.text.count(PLAIN) >= 45
    for text in filter(literal, GROUPS[group]):  # what is nothing to a reader is no text
        parts = Parts(page_of(templates, a_document(lambda text=text: text)))  # type: ignore[misc]
        assert parts.elements == plain.elements, repr(text)
        wanted = plain.text.replace(PLAIN, visible(literal(text)).casefold())
        assert as_minus(visible(parts.text).casefold()) == as_minus(wanted), repr(text)


def as_minus(text: str) -> str:
    """An amount's minus is printed as wide as a plus."""
    return text.replace("-", "−")


def whole_corpus() -> Document:
    """One invoice with every text in a paragraph of its own."""
    code = Code(document_id="3f1c9a5e7b2d4c60", link=1, record_mark=UNMARKED)
    blocks = (
        *a_document(lambda: "word").blocks[:4],
        Evidence(title="All"),
        *(Paragraph(words=(text,)) for text in ALL),
        code,
    )
    document = a_document(lambda: "Invoice 1")
    return document_with_mark(attrs.evolve(document, kind=DocumentKind.INVOICE, blocks=blocks), ["ab" * 32])


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 360, 1280])
def test_the_browser_shows_every_text_literally_and_computes_the_mark_over_all(
    tmp_path: Path, phone: Callable[..., Watched], width: int
) -> None:
    document, folder = whole_corpus(), PublishedFolder(tmp_path)
    code = token(bytes(32), document.id, 1)
    folder.put(token_hash(code), seal_envelope(document, published=datetime.now(UTC)))
    with running(page_server(page_app(folder, bearer=None, demo=True), port=0)) as server:
        watched = phone(width=width)
        page = watched.page
        watched.open(f"http://127.0.0.1:{server.bind_addr[1]}/v#{code}")
        computed = "text=Your browser computed this mark from what the page holds."
        page.wait_for_selector(computed, state="attached")  # folded until a reader opens it
        assert document.mark in watched.whole_text
        with watched.unfolded():
            shown = page.evaluate("[...document.querySelectorAll('article p')].map(p => p.textContent)")
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        wanted = {visible(literal(text)) for text in ALL}
        assert wanted <= {visible(literal(text)) for text in shown}
        assert (
            page.locator("article :is(img, iframe, script:not([type]), meta, base, link, h1 + h1)").count()
            == 0
        )
        assert page.title() == "Invoice 1"
        assert watched.errors == []


# Carried code and static page


def content_of(texts: list[str]) -> CarriedContent:
    return CarriedContent(
        number="2026-A0001",
        issued="1 July 2026",
        currency="EUR",
        total="1.00",
        rows=tuple(("own.reading", text, "V", text, text, "", "", "f", "p") for text in texts),
        works=tuple((text, text) for text in texts),
    )


def without_separators(text: str) -> str:
    """A carried code's own separators are white in it."""
    return unicodedata.normalize("NFC", re.sub("[/;|]", " ", text))


def test_a_carried_code_gives_every_text_back(monkeypatch: pytest.MonkeyPatch) -> None:
    for text in ALL:
        fragment = carried._fragment(content_of([text]), KEY)
        opened = open_carried(fragment, {KEY.name: KEY.public})
        assert opened.outcome is Outcome.MATCHES, repr(text)
        (row,) = opened.content["rows"]
        assert row[1] == row[3] == row[4] == without_separators(text), repr(text)


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 360, 1280])
def test_the_static_page_shows_every_text_of_a_code_and_of_its_wording_literally(
    tmp_path: Path, phone: Callable[..., Watched], width: int
) -> None:
    watched = phone(width=width)
    page = watched.page
    page.context.set_offline(True)
    wording = {f"own.key{n}": text for n, text in enumerate(ALL)}
    (tmp_path / "readings.html").write_text(static_page({KEY.name: KEY.public}, wording, ALL[0]), "utf-8")
    named = attrs.evolve(content_of([]), works=tuple((f"own.key{n}", "1.00") for n in range(len(ALL))))
    for content in (named, *(content_of(ALL[at : at + 12]) for at in range(0, len(ALL), 12))):
        page.goto("about:blank")
        page.goto(f"{(tmp_path / 'readings.html').as_uri()}#{carried._fragment(content, KEY)}")
        page.wait_for_selector(".outcome")
        assert "It matches this page's key" in watched.text
        texts = [
            literal(one)
            for one in page.evaluate("[...document.querySelectorAll('#shown *')].map(e => e.textContent)")
        ]
        wanted = ALL if content is named else [row[1] for row in content.rows]
        for text in wanted:
            seen = literal(text if content is named else without_separators(text))
            assert any(seen in one for one in texts), repr(text)
        assert page.locator("#shown :is(img, iframe, script, a, form, h1 + h1)").count() == 0
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert watched.errors == []
    assert all(address.startswith(("file:", "about:")) for address in watched.asked)


# Opened documents


def test_a_paper_that_holds_all_of_it_is_opened_and_differs_nowhere(tmp_path: Path) -> None:
    document = whole_corpus()
    paper = tmp_path / "paper.pdf"
    paper.write_bytes(render_pdf(document, mask, None))
    opened = open_paper(paper)
    assert canonical(to_data(opened.document)) == canonical(to_data(document))
    assert opened.states_its_mark
    assert opened.differences == ()


def carrying(document: dict[str, Any], path: Path) -> Path:
    """A PDF of somebody's own that carries such content."""
    made = pypdf.PdfWriter()
    made.add_blank_page(100, 100)
    made.add_attachment(ATTACHMENT, json.dumps(document).encode())
    made.write(path)
    return path


def test_what_a_foreign_paper_is_called_steers_no_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plain = to_data(attrs.evolve(whole_corpus(), blocks=whole_corpus().blocks[-1:]))
    for text in ALL:
        path = carrying({**plain, "title": text, "shop": text, "issued": text}, tmp_path / "foreign.pdf")
        assert main(["open", str(path), "--out", str(tmp_path / "anew.pdf")]) in (0, 1), repr(text)
        said = "".join(capsys.readouterr())
        assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", said), repr(text)


@pytest.mark.parametrize("text", NO_TEXT[:2])
def test_half_of_a_pair_in_a_foreign_paper_is_refused_in_words(text: str, tmp_path: Path) -> None:
    plain = to_data(whole_corpus())
    with pytest.raises(PaperFileError, match="no document of corekit"):
        open_paper(carrying({**plain, "shop": text}, tmp_path / "foreign.pdf"))


# The door


@pytest.mark.parametrize("group", GROUPS)
def test_what_is_typed_is_taken_as_it_is_or_refused_with_its_place(group: str) -> None:
    for text in GROUPS[group]:
        try:
            assert looked_over({"reason": text}) == {"reason": text}
        except DataFileError as refusal:
            assert [fault.path for fault in refusal.faults] == ["reason"], repr(text)
            assert re.search(r"U\+00|U\+20", str(refusal)), repr(text)
