"""Names that are made to harm or to break a layout go through the whole chain and come out as what they are:
text.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pypdf
import pytest

from corekit.desk.errors import EstimateAwaitedError
from corekit.desk.issuing import Invoice
from corekit.desk.shop import Shop

from ..conftest import Watched
from .chain import JOBS, at, corekit, done, edited, paper_text, refused, serving, squeezed, written

HOSTILE = '<img src=x onerror=alert(1)> & "Ö" ✓ =1+1'
LONG = ("Wolfeschlegel " * 72 + "W" * 1000)[:2000]  # words that break, then one that does not


def hostile_visit(text: str) -> str:
    """The undecided job with the text in every field that takes free words, personal ones and public ones."""
    typed = json.dumps(text, ensure_ascii=False)
    # Public words may hold no customer's name or number, so these are a little longer than the others.
    name, phone = (json.dumps(f"{text} {more}", ensure_ascii=False) for more in ("Owner", "0005"))
    visit = edited(
        JOBS["undecided"].read_text("utf-8"),
        ('"undecided"', '"hostile"'),
        ('reason = "Cranks slowly on some mornings."', f"reason = {typed}"),
        ('name = "Sample Owner", phone = "000 0005"', f"name = {name}, phone = {phone}, address = {typed}"),
        (
            'plate = "DEMO-5", description = "small van, 1.6 petrol, 2011"',
            f"description = {typed}, no_vin = {typed}",
        ),
        ('how = "in person"', f"how = {typed}"),
        (
            '{ of = "battery.case", is = "sound" }',
            f'{{ of = "battery.case", is = "sound" }}, {{ of = "battery.level", cannot = {typed} }}',
        ),
        ('amount = "60.00", how = "cash"', f'amount = "60.00", how = {typed}'),
    )
    specification = (
        f'\n[[specification]]\nof = "battery.load_voltage"\nlow = "9.5 V"\nfrom = {typed}\n\n[[step]]'
    )
    head, _, rest = visit.partition("\n[[step]]")
    operation = 'operation = "battery.charge", ground = "customer"'
    request = f"\n[[step]]\nrequested = {{ {operation}, because = {typed} }}\n"
    return head + specification + rest.replace("[[step]]", request.strip("\n") + "\n\n[[step]]", 1)


#: What of it is masked, and how often it stands on the paper (which vehicle it is: on its first sheet, and
#: again behind it); everything else that is typed is about the visit and not about a person.
PERSONAL = {"name": 1, "phone": 1, "address": 1, "description": 2, "words": 1, "no VIN": 1, "how approved": 1}


@pytest.fixture(scope="session", params=[HOSTILE, LONG], ids=["hostile", "long"])
def typed(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="session")
def shop(typed: str, demo_out: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demo whose shop is called that too, and its fourth job, issued and published."""
    folder = Path(shutil.copytree(demo_out, tmp_path_factory.mktemp("hostile") / "demo-out"))
    settings = (folder / "shop.toml").read_text("utf-8")
    for was in ('"Example Driveway Repairs"', '"1 Invented Lane"', '"DEMO-TAX-0001"'):
        settings = edited(settings, (was, json.dumps(typed, ensure_ascii=False)))
    written(folder, settings, "shop.toml")
    visit = written(folder.parent, hostile_visit(typed))
    with Shop(folder) as opened:
        while True:
            try:
                job = opened.import_visit(visit)
                break
            except EstimateAwaitedError as awaited:
                opened.estimate(awaited.job, awaited.estimate.split()[0])
        opened.issue(job)
        opened.publish(job)
    return folder


@pytest.fixture(scope="session")
def invoice(shop: Path) -> Invoice:
    with Shop(shop) as opened:
        return opened.issue("hostile")


def times(text: str, whole: str) -> int:
    return squeezed(whole).count(squeezed(text))


def test_it_stands_literally_on_the_customers_paper(typed: str, invoice: Invoice) -> None:
    """Shop's name and street, name, phone, address, told, no VIN, complaint, who approved, how. Why a level
    could not be seen and how it was paid are told as noted with the shop.
    """
    assert times(typed, paper_text(invoice.pdf)) >= 9


def test_it_stands_literally_on_the_estimate(typed: str, shop: Path) -> None:
    (estimate,) = (shop / "papers").glob("estimate-hostile-*.pdf")
    assert times(typed, paper_text(estimate)) >= 6


def test_the_paper_keeps_its_margins_and_its_faces(typed: str, invoice: Invoice) -> None:
    from ..report.readback import glyph_boxes

    sheets = pypdf.PdfReader(invoice.pdf).pages
    width, height = float(sheets[0].mediabox.width), float(sheets[0].mediabox.height)
    outside = [
        (page, char)
        for page, char, (left, bottom, right, top) in glyph_boxes(invoice.pdf.read_bytes())
        if left < 20 or right > width - 20 or bottom < 15 or top > height - 15
    ]
    assert outside == []
    assert len(sheets) <= 12


@pytest.mark.browser
def test_it_stands_literally_on_the_page_where_it_is_public_and_nowhere_where_it_is_personal(
    typed: str, invoice: Invoice, shop: Path, phone: Callable[..., Watched]
) -> None:
    watched = phone()
    with serving(shop) as address:
        watched.open(at(invoice.link, address))
        shown = watched.whole_text
        assert watched.page.title() == f"Invoice {invoice.number}"
        assert (
            watched.page.query_selector_all("article img, article script:not([type='application/json'])")
            == []
        )
        assert watched.errors == []
        assert [one for one in watched.asked if not one.startswith(f"{address}/")] == []
        assert watched.page.evaluate("document.documentElement.scrollWidth") <= 360
        with watched.unfolded():
            assert watched.page.evaluate("document.documentElement.scrollWidth") <= 360
        with watched.page.expect_download() as download:
            watched.page.click("text=Save as PDF")
        copy = paper_text(Path(download.value.path()))
    if typed == HOSTILE:  # a long one may go on over a sheet's end, where the running head stands between
        assert times(typed, paper_text(invoice.pdf)) - times(typed, copy) == sum(PERSONAL.values())
    # Name, address and tax number of the shop; its name again at the head of a sheet, where it is cut short.
    assert times(typed, copy) >= (5 if typed == HOSTILE else 2)
    assert times(typed, shown) >= (4 if typed == HOSTILE else 2)


def test_the_published_document_holds_it_as_data(typed: str, shop: Path) -> None:
    raw = max(
        (path.read_text("utf-8") for path in (shop / "published").iterdir()),
        key=lambda text: text.count(json.dumps(typed, ensure_ascii=False)),
    )
    assert json.dumps(typed, ensure_ascii=False)[1:-1] in raw


def test_the_terminal_shows_it_and_obeys_nothing(typed: str, shop: Path) -> None:
    said = done(corekit("check", "hostile", shop=shop)).out
    assert times(typed, said) >= 1
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f]", said)
    assert max(len(line) for line in said.splitlines()) <= 1100, (
        "a word that cannot be broken may stand alone in its line, and no more"
    )


ODD = {
    "script": "\u65e5\u672c\u8a9e",
    "picture": "\U0001f697",
    "two that are one": "e\u0301",
    "no width": "a\u200bb",
    "places": "{0} {value} %s \\n",
    "query": "' OR 1=1; --",
    "link": "https://example.org/?a=1&b=2#c",
    "markup": "</article><!-- ]]> &amp; <b>",
    "formula": "=HYPERLINK(1)",
}


@pytest.mark.parametrize("odd", ODD)
def test_other_odd_texts_pass_the_whole_chain(odd: str, demo_copy: Path) -> None:
    visit = written(demo_copy.parent, hostile_visit(ODD[odd]))
    while (said := corekit("add", visit, shop=demo_copy)).code:
        assert "corekit estimate" in said.words, said
        done(corekit("estimate", "hostile", shop=demo_copy))
    for words in (["invoice", "hostile", "--yes"], ["publish"], ["check", "hostile"], ["verify"]):
        done(corekit(*words, shop=demo_copy))


@pytest.mark.parametrize(
    ("steering", "named"),
    [("a\x1b[2Jb", "U+001B"), ("\u202eabc", "U+202E"), ("a\x00b", "U+0000")],
    ids=["escape", "turned", "nothing"],
)
def test_what_steers_a_terminal_or_turns_the_writing_is_refused_at_the_door(
    steering: str, named: str, demo_copy: Path
) -> None:
    typed = json.dumps(steering)  # TOML has the escapes of JSON for these
    visit = edited(
        JOBS["undecided"].read_text("utf-8"),
        ('"undecided"', '"steering"'),
        ('name = "Sample Owner"', f"name = {typed}"),
    )
    refused(corekit("add", written(demo_copy.parent, visit), shop=demo_copy), "customer.name", named)
