"""The carried code from the invoice's paper to the page that opens it with no server."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import attrs
import pypdfium2
import pytest
import zxingcpp
from PIL import ImageEnhance, ImageFilter

from corekit.cli import main
from corekit.desk.carrying import SEVERAL, TOO_LONG, known_keys, replace_key
from corekit.desk.errors import EstimateAwaitedError
from corekit.desk.issuing import Invoice
from corekit.desk.shop import Shop
from corekit.reference import data_path
from corekit.report.code import MODULE_MM, symbol
from corekit.report.first_sheet import CARRIED_MM, CODE_MM
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import mask
from corekit.share.carried import LONGEST, Outcome, open_carried
from corekit.share.signing import SigningKey
from corekit.web.static_page import static_page

from ..conftest import Watched
from .chain import paper_text

PAGE = "https://readings.example.org/readings.html"


def issued(folder: Path, name: str = "1-worn-battery") -> tuple[Shop, Invoice]:
    """One of the demo's jobs up to its invoice, in a shop that prints carried codes."""
    settings = folder / "shop.toml"
    settings.write_text(f'carried = "{PAGE}"\n' + settings.read_text("utf-8"), "utf-8")
    shop, path = Shop(folder), data_path("demo") / "jobs" / f"{name}.toml"
    while True:
        try:
            job = shop.import_visit(path)
            break
        except EstimateAwaitedError as awaited:
            shop.estimate(awaited.job, awaited.estimate.split(" ", 1)[0])
    return shop, shop.issue(job)


def codes_on(pdf: Path, dpi: int, change: Callable[[Any], Any] = lambda picture: picture) -> set[str]:
    page = pypdfium2.PdfDocument(pdf)[0]
    picture = page.render(scale=dpi / 72, grayscale=True).to_pil()
    return {code.text for code in zxingcpp.read_barcodes(change(picture))}


@pytest.fixture
def folder(empty_shop: Path) -> Path:
    return empty_shop


HARMED: dict[str, Callable[[Any], Any]] = {
    "as printed": lambda picture: picture,
    "turned by 7 degrees": lambda picture: picture.rotate(7, expand=True, fillcolor=255),
    "turned by 45 degrees": lambda picture: picture.rotate(45, expand=True, fillcolor=255),
    "upside down": lambda picture: picture.rotate(180),
    "blurred": lambda picture: picture.filter(ImageFilter.GaussianBlur(0.6)),
    "low contrast": lambda picture: ImageEnhance.Contrast(picture).enhance(0.25),
}


@pytest.mark.parametrize("name", ["1-worn-battery", "3-high-speed", "5-undecided"])
def test_both_codes_of_an_invoice_are_read_at_150_dpi_however_they_were_harmed(
    folder: Path, name: str
) -> None:
    shop, invoice = issued(folder, name)
    with shop:
        document = invoice.document
        assert document.carried, document.no_carried
        assert len(document.carried) <= LONGEST
        for harm, change in HARMED.items():
            found = codes_on(invoice.pdf, 150, change)
            assert f"{PAGE}#{document.carried}" in found, harm
            assert invoice.link in found, harm
        text = " ".join(paper_text(invoice.pdf).split())
        assert f"Its mark {document.carried_mark}, key {document.carried_key}" in text
        opened = open_carried(document.carried, known_keys(shop.context))
        assert (opened.outcome, opened.key) == (Outcome.MATCHES, document.carried_key)
        assert opened.content["total"] == document.total
        # Drawn again it is the same code: it was signed once, when the number was taken.
        assert shop.issue(invoice.job).document == document


def test_both_codes_are_read_where_their_modules_are_the_smallest_that_are_printed(folder: Path) -> None:
    """A page address so long, and a code so full, that neither can be drawn with larger modules."""
    shop, invoice = issued(folder, "5-undecided")
    with shop:
        host = ".".join(["readings-of-a-shop-with-a-very-long-name"] * 5)
        link = f"https://{host}.example.org/v#{'A' * 26}"
        fragment = base64.urlsafe_b64encode(hashlib.shake_256(b"full").digest(LONGEST)).decode()[:LONGEST]
        document = attrs.evolve(invoice.document, carried=fragment, no_carried="", carried_mark="ABCD-EFGH")
        for text, least in ((link, CODE_MM), (f"{PAGE}#{fragment}", CARRIED_MM)):
            assert least / symbol(text).side <= MODULE_MM, "the module is the smallest"
        paper = folder / "smallest.pdf"
        paper.write_bytes(render_pdf(document, mask, link, carried=f"{PAGE}#{fragment}"))
        for harm, change in HARMED.items():
            assert codes_on(paper, 150, change) == {link, f"{PAGE}#{fragment}"}, harm


def test_what_the_visit_file_says_stands_in_the_code(folder: Path) -> None:
    """Readings as they were typed in the demo's first job; its load test failed and was put right."""
    shop, invoice = issued(folder)
    with shop:
        content = open_carried(invoice.document.carried, {}).content
    rows = {(row[0], row[1]): row for row in content["rows"]}
    (load,) = [row for key, row in rows.items() if key[0].endswith(".load_voltage")]
    assert load[2:5] == ["V", "8.40", "10.30"]
    assert load[7:] == ["f", "p"]
    assert content["number"] == invoice.number
    assert sum(float(net) for _, net in content["works"]) == pytest.approx(366.60 / 1.2)


def test_a_new_key_signs_what_comes_and_the_old_one_still_verifies_what_was(folder: Path) -> None:
    shop, invoice = issued(folder)
    with shop:
        old = invoice.document.carried_key
        new = replace_key(shop.context).name
        keys = known_keys(shop.context)
        assert set(keys) == {old, new}
        assert open_carried(invoice.document.carried, keys).key == old


def test_the_static_page_is_one_file_that_loads_nothing_and_knows_every_key(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "readings.html"
    assert main(["page", "--shop", str(folder), "--static", str(out)]) == 0
    page = out.read_text("utf-8")
    with Shop(folder) as shop:
        for name, key in known_keys(shop.context).items():
            assert f'<li class="key" translate="no">{name}</li>' in page
            assert base64.b64encode(key).decode() in page
            assert name in capsys.readouterr().out
    assert "default-src 'none'" in page
    assert not re.search(r"(?:src|href)=|url\(|@import", page)
    assert not re.search(r"genuine|✓|✔|trustworthy|valid", page, re.IGNORECASE)


def changed(fragment: str) -> str:
    """One bit of it changed."""
    whole = bytearray(base64.urlsafe_b64decode(fragment + "=" * (-len(fragment) % 4)))
    whole[40] ^= 4
    return base64.urlsafe_b64encode(whole).decode().rstrip("=")


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 360, 1280])
def test_the_static_page_opens_from_disk_with_the_network_off(
    folder: Path, tmp_path: Path, phone: Callable[..., Watched], width: int
) -> None:
    shop, invoice = issued(folder)
    with shop:
        document, key = invoice.document, known_keys(shop.context)
    stranger = SigningKey(bytes(32))
    pages = {
        "known": static_page(key, {}),
        "unknown": static_page({stranger.name: stranger.public}, {}),
    }
    for name, text in pages.items():
        (tmp_path / f"{name}.html").write_text(text, "utf-8")
    watched = phone(width=width)
    page = watched.page
    page.context.set_offline(True)

    def said(name: str, fragment: str) -> str:
        page.goto("about:blank")
        page.goto(f"{(tmp_path / f'{name}.html').as_uri()}#{fragment}")
        page.wait_for_selector(".outcome")
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        return watched.text

    known = said("known", document.carried)
    assert f"It matches this page's key: {document.carried_key}" in known
    assert document.carried_mark in known
    assert "a file on this device" in known
    for words in ("8.40 V · fail", "10.30 V · pass", "366.60", "load_voltage"):  # without a wording its key
        assert words in known
    unknown = said("unknown", document.carried)
    assert "Key unknown here" in unknown
    assert "366.60" in unknown
    altered = said("known", changed(document.carried))
    assert "Altered" in altered
    assert "366.60" not in altered
    page.add_init_script("if (crypto.subtle) { crypto.subtle.importKey = () => Promise.reject(); }")
    unchecked = said("known", document.carried)
    assert "This browser cannot check it" in unchecked
    assert "366.60" in unchecked
    assert watched.errors == []
    assert all(address.startswith(("file:", "about:")) for address in watched.asked)


def test_an_invoice_for_which_a_code_is_too_small_says_why(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("corekit.share.carried.LONGEST", 200)
    shop, invoice = issued(folder)
    with shop:
        assert (invoice.document.carried, invoice.document.no_carried) == ("", TOO_LONG)
        assert TOO_LONG in " ".join(paper_text(invoice.pdf).split())
    assert "several" in SEVERAL
