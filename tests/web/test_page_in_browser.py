"""The page behind the code in a real Chromium, on a phone's screen, with nothing but this
machine to talk to.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from corekit.model.document import Code, Document, from_data, to_data
from corekit.model.mark import UNMARKED, content_mark, document_with_mark
from corekit.reference import data_path
from corekit.report.fonts import typeface
from corekit.share.link import token, token_hash
from corekit.share.published import seal_envelope

from ..conftest import Watched, settled
from ..desk.visits_by_answer import by_file, demo_shop
from ..report.account_papers import invoice, three_faults
from .conftest import KEY, NOON, Served, a_document, plain_renderers

pytestmark = pytest.mark.browser


def text_of(page: Any) -> str:
    return " ".join(page.inner_text("body").split())


def fits(page: Any) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"))


@pytest.mark.parametrize("width", [360, 320])
def test_the_paper_itself_fits_a_phone_and_says_its_head_once(
    served: Callable[..., Served], phone: Callable[..., Watched], width: int
) -> None:
    running, watched = served(renderers=None), phone(width=width)  # the renderers of corekit.report
    page = watched.page
    page.goto(f"{running.address}/v#{running.desk.code}")
    page.wait_for_selector("text=If this page and your copy differ, one of them was altered.")
    settled(page, "() => document.fonts.ready.then(() => true)")
    shown = text_of(page)
    for text in (
        "8.4 V",
        "10.3 V",
        "at least 9.6 V",
        "The starter cable was not measured.",
        "ABCD-EFGH-IJKL-MNOP",
        "(name: on the original)",
    ):
        assert text in shown
    assert shown.count("Invoice 2026-0001") == 1
    assert [heading.inner_text() for heading in page.locator("h1:visible").all()] == ["Invoice 2026-0001"]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert watched.errors == []  # an inline style or anything else that the policy forbids would be one
    assert {address for address in watched.asked if not address.startswith(f"{running.address}/")} == set()
    page.emulate_media(media="print")
    assert page.is_visible("text=10.3 V")
    assert page.is_hidden("text=Save as PDF")


@pytest.mark.parametrize("width", [360, 320])
def test_a_scanned_code_opens_on_a_phone(
    served: Callable[..., Served], phone: Callable[..., Watched], width: int
) -> None:
    running, watched = served(), phone(width=width)
    page, code = watched.page, running.desk.code
    page.goto(f"{running.address}/v#{code}")
    page.wait_for_selector("text=If this page and your copy differ, one of them was altered.")
    settled(page, "() => document.fonts.ready.then(() => true)")
    shown = text_of(page)
    assert "Invoice 2026-0001" in shown
    assert "378.60 EUR" in shown
    assert "Whoever holds the code can read what is behind it" in shown
    assert page.is_hidden("#ask")
    assert page.title() == "Invoice 2026-0001"
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("[...document.fonts].filter(face => face.status === 'loaded').length") == 2
    assert watched.errors == []
    assert watched.asked
    assert {address for address in watched.asked if not address.startswith(f"{running.address}/")} == set()
    assert [address for address in watched.asked if "#" not in address and code in address] == []
    # Chromium names the fragment in the event of the navigation itself; what went over the wire is in the
    # server's log.
    assert any("POST /v/open 200" in line for line in running.lines)
    assert [line for line in running.lines if code[:8].lower() in line.lower()] == []
    assert page.context.cookies() == []


def test_the_latin_part_of_a_face_draws_as_the_whole_one_and_the_rest_comes_when_it_is_needed(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    running, watched = served(), phone()
    page = watched.page
    page.goto(f"{running.address}/v#{running.desk.code}")
    page.wait_for_selector("article.opened")
    settled(page, "() => document.fonts.ready.then(() => true)")
    faces = {address.rpartition("/")[2] for address in watched.asked if "/face/" in address}
    assert faces == {"regular.woff2", "semibold.woff2"}
    declared = page.evaluate(
        "[...document.fonts].map(face => face.unicodeRange).find(range => range !== 'U+0-10FFFF')"
    )
    ranges = [
        [int(end, 16) for end in one.strip().removeprefix("U+").split("-")] for one in declared.split(",")
    ]
    codes = [code for one in ranges for code in range(one[0], one[-1] + 1)]
    assert len(codes) > 500
    for style, weight in (("regular", 400), ("strong", 600)):
        advances = typeface(style).advances
        # A canvas draws the digits as the file has them, the papers those of one width; a soft hyphen is
        # drawn at the end of a line alone.
        known = [code for code in codes if code in advances and chr(code) not in "0123456789\u00ad"]
        assert len(known) > 450
        widths = page.evaluate(
            """([weight, codes]) => {
                const pen = document.createElement('canvas').getContext('2d');
                pen.font = `${weight} 1000px "Fira Sans"`;
                return codes.map(code => pen.measureText(String.fromCodePoint(code)).width);
            }""",
            [weight, known],
        )
        different = {
            chr(code): (width, advances[code])
            for code, width in zip(known, widths, strict=True)
            if abs(width - advances[code]) > 1
        }
        assert different == {}
    page.evaluate("document.querySelector('h1').textContent = 'Ж'")
    page.wait_for_function("() => document.fonts.ready.then(() => document.fonts.status === 'loaded')")
    assert any(address.endswith("semibold.ttf") for address in watched.asked)
    assert watched.errors == []


def test_the_code_never_crosses_the_wire_in_an_address_or_header(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    running, watched = served(), phone()
    heads: list[str] = []
    inner = running.desk.app.wsgi_app

    def listening(environ: dict[str, Any], start: Any) -> Any:
        heads.extend(str(value) for name, value in environ.items() if name.isupper())
        return inner(environ, start)

    running.desk.app.wsgi_app = listening
    watched.page.goto(f"{running.address}/v#{running.desk.code}")
    watched.page.wait_for_selector("article.opened")
    with watched.page.expect_download() as download:
        watched.page.click("text=Save as PDF")
    assert download.value.suggested_filename == f"invoice-{running.desk.name[:8]}.pdf"
    assert any("/v/paper" in head for head in heads)
    assert [head for head in heads if running.desk.code.lower() in head.lower()] == []
    assert watched.errors == []


def test_without_scripts_a_typed_code_opens_the_same(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    running, watched = served(), phone(script=False)
    page = watched.page
    page.goto(f"{running.address}/v#{running.desk.code}")
    assert "This browser runs no scripts" in page.inner_text("noscript")
    page.fill("#code", running.desk.code.lower())
    page.click("#ask button")
    page.wait_for_selector("article.opened")
    assert "Invoice 2026-0001" in text_of(page)
    assert page.url == f"{running.address}/v"
    with page.expect_download() as download:
        page.click("text=Save as PDF")
    assert download.value.suggested_filename.endswith(".pdf")
    assert watched.errors == []


def test_a_code_with_nothing_under_it_says_so_and_lets_one_type_again(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    running, watched = served(), phone()
    page = watched.page
    page.goto(f"{running.address}/v#{'A' * 26}")
    page.wait_for_selector("text=Nothing found for this code.")
    assert "If your invoice is from today, the shop may not have had a connection yet." in text_of(page)
    assert page.is_visible("#code")
    assert fits(page)
    page.fill("#code", running.desk.code)
    page.click("#ask button")
    page.wait_for_selector("article.opened")


def test_a_second_code_in_the_same_tab_opens_the_second_paper(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    running, watched = served(), phone()
    other = token(KEY, "second", 1)
    running.desk.folder.put(
        token_hash(other), seal_envelope(a_document(id="second", title="Invoice 2026-0002"), published=NOON)
    )
    watched.page.goto(f"{running.address}/v#{running.desk.code}")
    watched.page.wait_for_selector("text=Invoice 2026-0001")
    watched.page.goto(f"{running.address}/v#{other}")
    watched.page.wait_for_selector("h1:has-text('Invoice 2026-0002')")
    assert "Invoice 2026-0001" not in text_of(watched.page)
    assert watched.errors == []


def test_without_a_network_the_page_says_so_and_can_try_again(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    running, watched = served(), phone()
    page = watched.page
    page.route("**/v/open", lambda route: route.abort())
    page.goto(f"{running.address}/v#{running.desk.code}")
    page.wait_for_selector("text=No connection just now.")
    page.unroute("**/v/open")
    page.click("text=Try again")
    page.wait_for_selector("article.opened")
    assert page.is_hidden("#offline")


def test_the_code_leaves_the_address_bar_only_when_asked(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    running, watched = served(), phone()
    page = watched.page
    page.goto(f"{running.address}/v")
    assert page.is_hidden("#drop")
    page.goto(f"{running.address}/v#{running.desk.code}")
    page.wait_for_selector("article.opened")
    assert page.url.endswith(running.desk.code)
    page.click("#drop")
    assert page.url == f"{running.address}/v"
    assert "Invoice 2026-0001" in text_of(page)
    assert watched.errors == []


def test_what_was_typed_runs_nothing_and_a_long_name_breaks_nothing(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    nasty = "<img src=x onerror=document.title='run'> & \"Ö\" ✓ =1+1 " + "W" * 2000
    running, watched = (
        served(document=a_document(title=nasty, shop=nasty, number=nasty, issued=nasty, total=nasty)),
        phone(),
    )
    page = watched.page
    page.goto(f"{running.address}/v#{running.desk.code}")
    page.wait_for_selector("article.opened")
    assert nasty[:60] in page.inner_text("article h1")
    assert page.locator("article img").count() == 0
    assert page.title() != "run"
    assert fits(page)
    assert watched.errors == []


def test_letters_twice_the_size_still_fit(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    running, watched = served(), phone(width=180, height=370)  # half the width is what 200 % leaves of 360
    watched.page.goto(f"{running.address}/v#{running.desk.code}")
    watched.page.wait_for_selector("article.opened")
    assert fits(watched.page)


def test_in_print_the_paper_is_there_and_the_buttons_are_not(
    served: Callable[..., Served], phone: Callable[..., Watched]
) -> None:
    running, watched = served(), phone()
    page = watched.page
    page.goto(f"{running.address}/v#{running.desk.code}")
    page.wait_for_selector("article.opened")
    page.emulate_media(media="print")
    assert page.is_visible("text=If this page and your copy differ")
    assert page.is_hidden("text=Save as PDF")
    assert page.is_hidden("footer")
    assert page.is_hidden("#ask")
    assert page.pdf().startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("paper", "answers"),
    [
        (
            invoice,
            (
                "It does not start",
                "Put right: a worn-out battery",
                "366.60 EUR",
                "in cash",
                "nothing, of what",
                "Battery worn out",
                "Battery replaced",
                "A lamp stayed on",
                "Drain found and cured",
            ),
        ),
        (
            three_faults,
            (
                "It cranks slowly",
                "Put right: three faults",
                "300.30 EUR",
                "codes again, no charge",
                "Battery connections corroded",
                "Plug leads replaced",
                "Exhaust return passage",
                "Not read again after the work",
            ),
        ),
    ],
    ids=["two faults", "three faults and a lamp"],
)
def test_the_first_screen_answers_what_was_wrong_and_done_whether_it_holds_its_cost_and_what_next(
    served: Callable[..., Served],
    phone: Callable[..., Watched],
    paper: Callable[[], Document],
    answers: tuple[str, ...],
) -> None:
    running, watched = served(renderers=None, document=paper()), phone(width=360, height=740)
    watched.open(f"{running.address}/v#{running.desk.code}")
    page = watched.page
    bottoms = {}
    for text in answers:
        box = page.get_by_text(text).first.bounding_box()
        bottoms[text] = box["y"] + box["height"] if box else None
    assert {text: at for text, at in bottoms.items() if at is None or at > 740} == {}
    assert page.evaluate("document.documentElement.scrollHeight") <= 3.5 * 740
    assert page.title() == paper().title
    assert watched.errors == []


def test_the_whole_page_of_the_demos_longest_job_is_at_most_three_and_a_half_screens(
    served: Callable[..., Served], phone: Callable[..., Watched], tmp_path: Path
) -> None:
    with demo_shop(tmp_path / "shop") as shop:
        (worn,) = (data_path("demo") / "jobs").glob("*-worn-battery.toml")
        document = shop.issue(by_file(shop, worn)).document
    running, watched = served(renderers=None, document=document), phone(width=360, height=740)
    watched.open(f"{running.address}/v#{running.desk.code}")
    assert watched.page.is_visible("text=The page sets no cookies"), "with all that stands around it"
    assert watched.page.evaluate("document.documentElement.scrollHeight") <= 3.5 * 740


def with_mark() -> Document:
    code = Code(document_id="3f1c9a5e7b2d4c60", link=1, record_mark=UNMARKED)
    return document_with_mark(a_document(blocks=(*a_document().blocks[:-1], code)), ["ab" * 32])


@pytest.mark.parametrize("width", [320, 360, 1280])
def test_the_mark_is_computed_in_the_browser_and_a_swapped_page_shows_another(
    served: Callable[..., Served], phone: Callable[..., Watched], width: int
) -> None:
    """The renderer that was tampered with states the genuine mark over another amount."""
    genuine = with_mark()
    swapped = from_data(json.loads(json.dumps(to_data(genuine)).replace("378.60", "478.60")))

    def tampered(document: Document, address: str) -> str:
        return f'<p>{document.total}</p><p class="mark">{genuine.mark}</p>'

    for document, mark, words in (
        (genuine, genuine.mark, "Your browser computed this mark from what the page holds."),
        (swapped, content_mark(swapped), "The page states another"),
    ):
        running = served(document=document, renderers=plain_renderers(tampered))
        watched = phone(width=width)
        page = watched.page
        page.goto(f"{running.address}/v#{running.desk.code}")
        page.wait_for_selector(f"text={words}")
        assert page.inner_text(".mark") == mark
        assert fits(page)
        assert watched.errors == []
        running.desk.folder.withdraw(running.desk.name)
        next(running.desk.folder.path.glob("*.withdrawn")).unlink()
