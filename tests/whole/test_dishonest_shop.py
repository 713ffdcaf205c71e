"""A dishonest shop's five edits, each where the README says that it shows."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from corekit.desk.opening import open_paper
from corekit.desk.publishing import token
from corekit.desk.settings import PUBLISHED, STORE_FILE
from corekit.desk.shop import Shop
from corekit.desk.verify import verify_folder
from corekit.model.document import Document, from_data, to_data
from corekit.model.mark import content_mark
from corekit.report import pdf as pdf_module
from corekit.report.pdf import render_pdf
from corekit.share.carried import CarriedContent, Outcome, carried_code, open_carried
from corekit.share.link import token_hash
from corekit.share.published import PublishedFolder, seal_envelope
from corekit.share.signing import SigningKey
from corekit.web.page_app import page_app
from corekit.web.static_page import static_page

from ..rewriting import in_texts, rewrite
from .chain import paper_text

README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")


@pytest.fixture
def shop(demo_copy: Path) -> Iterator[Shop]:
    with Shop(demo_copy) as opened:
        yield opened


def first_invoice(shop: Shop) -> tuple[Document, Path]:
    invoice = shop.issue(shop.store.jobs()[0])
    return invoice.document, invoice.pdf


def altered(document: Document) -> Document:
    """The same with another reading after the work."""
    text = json.dumps(to_data(document))
    assert "10.30" in text
    return from_data(json.loads(text.replace("10.30", "11.30")))


def test_1_an_entry_that_was_changed_is_named_by_verify(demo_copy: Path) -> None:
    assert verify_folder(demo_copy).faults == ()
    with sqlite3.connect(demo_copy / STORE_FILE) as raw:
        raw.execute("UPDATE entry SET body = replace(body, '10.3 V', '11.3 V') WHERE kind = 'measured'")
    assert any("no longer matches its id" in fault for fault in verify_folder(demo_copy).faults)


def test_2_a_chain_that_was_rebuilt_verifies_and_no_longer_leads_to_the_paper(demo_copy: Path) -> None:
    with Shop(demo_copy) as opened:
        mark = first_invoice(opened)[0].mark
    rewrite(demo_copy / STORE_FILE, in_texts("10.30", "11.30"))
    assert verify_folder(demo_copy).faults == ()
    assert any("rewritten" in fault for fault in verify_folder(demo_copy, mark).faults)


def test_3_sheets_that_were_changed_differ_from_the_content_they_carry(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    document, _ = first_invoice(shop)
    monkeypatch.setattr(pdf_module, "to_data", lambda _: to_data(document))
    forged = tmp_path / "forged.pdf"
    forged.write_bytes(render_pdf(altered(document), lambda reference: reference.kind, None))
    found = open_paper(forged).differences
    assert any("11.30" in one.printed and "10.30" in one.carried for one in found)


def test_4_a_swapped_page_that_keeps_the_mark_shows_another_than_the_paper(shop: Shop) -> None:
    """With paper and phone: the marks differ, and no word accuses the paper."""
    document, pdf = first_invoice(shop)
    swapped = altered(document)
    assert swapped.mark == document.mark
    code = token(shop.context, document.id, 1)
    folder = PublishedFolder(shop.context.folder / PUBLISHED)
    (folder.path / f"{token_hash(code)}.json").write_bytes(
        seal_envelope(swapped, published=shop.context.clock())
    )
    page = page_app(folder, bearer=None, demo=True).test_client().post("/v/open", data={"code": code}).text
    shown = re.sub(r"<script.*?</script>", "", page, flags=re.DOTALL)
    assert document.mark in paper_text(pdf)
    assert document.mark not in shown
    assert content_mark(swapped) in shown
    assert "one of the two was altered; ask the shop which" in shown
    assert not re.search(r"your (paper|copy) was changed", shown)


def test_5_a_copied_page_with_another_key_says_another_key_than_the_paper() -> None:
    """The copy signs what it likes and finds its own key; the fingerprint on the paper is another."""
    own, copied = SigningKey(bytes(range(32))), SigningKey(bytes(32))
    content = CarriedContent(number="2026-A0001", issued="1 July 2026", currency="EUR", total="466.60")
    forged = carried_code(content, copied)
    assert forged is not None
    assert open_carried(forged.fragment, {own.name: own.public}).outcome is Outcome.UNKNOWN
    assert open_carried(forged.fragment, {copied.name: copied.public}).key == copied.name != own.name
    page = static_page({copied.name: copied.public}, {})
    assert copied.name in page
    assert own.name not in page
    assert "compare it with your copy" in page


def test_the_readme_says_where_each_shows_and_what_remains_unproven() -> None:
    for edit in (
        "An entry is changed",
        "A chain is rebuilt",
        "A PDF's text is changed",
        "The page is swapped",
        "The page is copied with another key",
    ):
        assert edit in README
    assert "remains unproven" in README
