"""The page of an account: what stands on the first screen of a phone, what is folded, and what is masked."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import attrs
import pytest

from corekit.model.document import Document, Evidence
from corekit.reference import data_path
from corekit.report.account_page import page_parts
from corekit.report.page import dark_colours, page_css, render_account, render_page
from corekit.report.personal_text import mask, resolver
from corekit.report.strip_svg import strip_svg
from corekit.report.wording import contrast_with_white, theme

from ..desk.visits_by_answer import by_file, demo_shop
from .account_papers import LOAD, PAPERS, all_normal, invoice, three_faults
from .readback import page_text
from .sample import LINK, MARK, TEXTS
from .test_page import tags

every_paper = pytest.mark.parametrize("paper", PAPERS.values(), ids=PAPERS.keys())


@every_paper
def test_an_account_is_well_formed_and_loads_and_runs_nothing(paper: Callable[[], Document]) -> None:
    found = tags(render_page(paper(), mask, LINK))
    assert not {"script", "style", "link", "img", "form", "a"} & {tag for tag, _ in found}
    assert not any(name == "style" or name.startswith("on") for _, given in found for name in given)
    ids = [given["id"] for _, given in found if "id" in given]
    assert len(set(ids)) == len(ids)


def test_the_customers_own_words_stand_on_their_copy_alone_and_the_page_has_the_symptom() -> None:
    masked, own = (page_text(render_page(invoice(), say, LINK)) for say in (mask, resolver(TEXTS)))
    assert "You told us: It does not start after standing" in masked
    assert not any(text in masked for text in TEXTS.values())
    assert TEXTS["h-words"] in own


def test_points_that_each_have_a_row_are_said_on_their_rows() -> None:
    shown = page_text(render_page(three_faults(), mask, LINK))
    for point in ("It cranks slowly", "It shakes at idle", "The engine lamp is on"):
        assert point in shown


def test_a_row_says_how_its_proof_was_measured_where_the_evidence_does() -> None:
    shown = page_text(render_page(invoice(), mask, LINK))
    before_evidence = shown.partition("How we know")[0]
    assert "340 A for 15 s at 4 °C; after: 360 A" in before_evidence
    assert "Source 2" in before_evidence


def test_the_bill_lists_every_work_and_part_with_its_price_or_its_reason() -> None:
    bill = page_text(render_page(invoice(), mask, LINK)).partition("The bill")[2]
    for text in ("37.50", "168.00", "50.00", "20.00", "30.00", "366.60"):
        assert text in bill
    assert "under guarantee" in page_text(render_page(all_normal(), mask, LINK)).partition("The bill")[2]


def test_where_page_and_copy_differ_nobody_is_accused() -> None:
    shown = page_text(render_page(invoice(), mask, LINK))
    assert MARK in shown
    assert "one of them was altered: ask the shop which" in shown
    assert "no page address" not in shown.lower()


def test_everything_behind_the_evidence_is_folded_and_nothing_is_lost() -> None:
    parts = page_parts(invoice().blocks)
    assert len(parts.front) + len(parts.who) + len(parts.behind) + 1 == len(invoice().blocks)
    assert not any(isinstance(block, Evidence) for block in (*parts.front, *parts.behind))
    page = render_page(invoice(), mask, LINK)
    assert page.count("<details") == 4 and " open" not in "".join(re.findall(r"<details[^>]*>", page))


def test_an_estimate_shows_what_is_answered_until_when_and_what_happens_otherwise() -> None:
    shown = page_text(render_page(PAPERS["estimate"](), mask, None))
    for text in ("Replace the battery", "205.50", "28 Dec 2026", "may not start", "What it costs"):
        assert text in shown
    assert "altered" not in shown


def test_the_rows_alone_are_those_of_the_page() -> None:
    paper = invoice()
    rows = page_text(render_account(paper.blocks[1], paper.blocks[2], mask))  # type: ignore[arg-type]
    assert "Battery worn out" in rows and "The bill" not in rows


def test_the_ink_on_a_dark_page_reads_well() -> None:
    colours = dark_colours(theme().ink_text)
    ground = contrast_with_white(colours["paper"])
    # WCAG 2.2, 1.4.6: 7 to 1
    assert all(ground / contrast_with_white(colours[name]) >= 7 for name in ("ink", "text", "soft"))
    assert "prefers-color-scheme" in page_css()


@pytest.mark.parametrize(("reading", "lanes"), [(8.8, True), (11.9, False)])
def test_words_that_would_collide_stand_on_two_lanes(reading: float, lanes: bool) -> None:
    strip = attrs.evolve(LOAD, before=7.2, reading=reading)
    drawn = strip_svg(strip, "s", name="n", before="before 7.2 V", now=f"now {reading} V")
    assert (' lanes"' in drawn) == lanes


# --- in a browser -------------------------------------------------------------------------------------------


@pytest.fixture(params=["light", "dark"])
def phone(chromium: Any, request: pytest.FixtureRequest) -> Iterator[Any]:
    context = chromium.new_context(viewport={"width": 360, "height": 740}, color_scheme=request.param)
    yield context.new_page()
    context.close()


def show(page: Any, document: Document) -> None:
    head = (
        '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>t</title><style>body {{ margin: 0 }} {page_css()}</style>"
    )
    body = f"<main>{render_page(document, mask, LINK)}</main>"
    page.set_content(f'<!doctype html><html lang="en"><head>{head}</head><body>{body}</body></html>')


@pytest.mark.browser
@every_paper
def test_a_folded_page_is_at_most_three_and_a_half_screens_and_for_everybody(
    phone: Any, paper: Callable[[], Document]
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    show(phone, paper())
    assert phone.evaluate("document.documentElement.scrollHeight") <= 3.5 * 740
    phone.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    assert phone.evaluate("document.documentElement.scrollWidth") == 360
    assert [one["id"] for one in axe.run(phone).response["violations"]] == []


@pytest.fixture(scope="module")
def demo_invoices(tmp_path_factory: pytest.TempPathFactory) -> list[Document]:
    """What the jobs of the demo end with."""
    with demo_shop(tmp_path_factory.mktemp("pages") / "shop") as shop:
        files = sorted((data_path("demo") / "jobs").glob("*.toml"))
        return [shop.issue(by_file(shop, path)).document for path in files]


@pytest.mark.browser
def test_the_pages_of_the_demos_jobs_are_at_most_three_and_a_half_screens_folded(
    phone: Any, demo_invoices: list[Document]
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    for document in demo_invoices:
        show(phone, document)
        assert phone.evaluate("document.documentElement.scrollHeight") <= 3.5 * 740
        first = phone.evaluate("document.querySelector('.reply').getBoundingClientRect().bottom")
        assert first <= 740, "point, answer and money stand on the first screen"
        phone.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        assert phone.evaluate("document.documentElement.scrollWidth") == 360
        assert [one["id"] for one in axe.run(phone).response["violations"]] == []


@pytest.mark.browser
def test_charts_grow_with_the_readers_letters_and_nothing_but_they_goes_sideways(
    phone: Any, demo_invoices: list[Document]
) -> None:
    show(phone, demo_invoices[0])
    phone.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    sizes = """() => [...document.querySelectorAll('svg text')].map((one) => {
      const svg = one.ownerSVGElement, drawn = svg.viewBox.baseVal.width;
      const scale = drawn ? svg.getBoundingClientRect().width / drawn : 1;
      return parseFloat(getComputedStyle(one).fontSize) * scale;
    })"""
    before = phone.evaluate(sizes)
    phone.add_style_tag(content="html { font-size: 200% }")
    after = phone.evaluate(sizes)
    assert before and all(large >= 1.9 * small for small, large in zip(before, after, strict=True))
    assert phone.evaluate("document.documentElement.scrollWidth") == 360


@pytest.mark.browser
def test_letters_follow_the_readers_size_and_nothing_goes_sideways(phone: Any) -> None:
    show(phone, three_faults())
    small = phone.evaluate(
        "parseFloat(getComputedStyle(document.querySelector('.limit-strip .now')).fontSize)"
    )
    phone.add_style_tag(content="html { font-size: 200% }")
    large = phone.evaluate(
        "parseFloat(getComputedStyle(document.querySelector('.limit-strip .now')).fontSize)"
    )
    assert large == 2 * small
    assert phone.evaluate("document.documentElement.scrollWidth") == 360


@pytest.mark.browser
def test_the_keyboard_opens_a_row_and_print_gives_what_is_open(phone: Any) -> None:
    show(phone, invoice())
    phone.locator("summary").first.focus()
    phone.keyboard.press("Enter")
    phone.emulate_media(media="print")
    assert phone.get_by_text("Although charged, it dropped too low").is_visible()
    assert phone.get_by_text("did not open").is_hidden()
    assert phone.get_by_text("How we know").is_hidden()
