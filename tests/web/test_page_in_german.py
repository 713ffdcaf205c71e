"""The customers' page in German: what stands around a document is in the document's language, what comes
before one is opened in the browser's, and a form sends the same in each.

Words are German as any dictionary has them, from memory; how a browser asks for a language is RFC 9110,
12.5.4.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from corekit.model.document import DocumentKind
from corekit.report.tongue import Tongue, language_asked, texts_of_script, tongue_of
from corekit.testing.screen_texts import template_texts
from corekit.web.page_app import _ANSWERED, _WORDS
from corekit.web.static_page import static_page

from ..whole.test_german_screens import EXCEPTED, Fields
from .conftest import Desk, a_desk, a_document

OPEN = Path(__file__).parents[2] / "templates/open"
GERMAN = {"Accept-Language": "de-AT,de;q=0.9,en;q=0.5"}
ENGLISH = {"Accept-Language": "en-GB,en;q=0.9"}


def german() -> Tongue:
    tongue = tongue_of("de")
    assert tongue is not None
    return tongue


@pytest.fixture
def nothing_missing() -> Iterator[None]:
    before = len(german().missing)
    yield
    assert list(german().missing)[before:] == []


@pytest.mark.parametrize("path", sorted(OPEN.glob("*.html")), ids=lambda path: path.stem)
def test_no_text_of_a_template_is_missing(path: Path) -> None:
    texts = set(template_texts(path.read_text("utf-8")))
    assert (
        sorted(text for text in texts if not german().has(text) and text not in EXCEPTED["templates"]) == []
    )


def test_nothing_that_a_script_or_the_server_says_is_missing() -> None:
    said = [
        *texts_of_script((OPEN / "carried.js").read_text("utf-8")),
        "Say yes or no to each piece of work.",
    ]
    said += [text for pair in (*_WORDS.values(), *_ANSWERED.values()) for text in pair]
    assert [text for text in said if text not in german().speaks] == []


@pytest.mark.parametrize(
    ("header", "language"),
    [
        ("de-DE,de;q=0.9,en;q=0.5", "de"),
        ("en;q=0.5, de-AT", "de"),
        ("en-US", "en"),
        ("de;q=0, en;q=0.1", "en"),
        ("fr, it;q=0.3", "de"),
        ("*", "de"),
        ("", "de"),
        ("de" * 4000, "de"),
        ("en;q=high", "de"),
    ],
)
def test_the_language_is_the_one_that_the_browser_wants_most_else_the_shops(
    header: str, language: str
) -> None:
    assert language_asked(header, "de") == language


def test_before_a_code_is_opened_the_page_is_in_the_browsers_language(
    desk: Desk, nothing_missing: None
) -> None:
    page, english = (desk.client.get("/v", headers=asked) for asked in (GERMAN, ENGLISH))
    assert '<html lang="de">' in page.text
    assert "Was an Ihrem Fahrzeug gemessen wurde" in page.text
    assert "What was measured on your vehicle" in english.text
    assert Fields(page.text).found == Fields(english.text).found
    assert "Accept-Language" in page.headers["Vary"]
    assert page.headers["ETag"] != english.headers["ETag"]
    known = desk.client.get("/v", headers={**GERMAN, "If-None-Match": page.headers["ETag"]})
    assert (known.status_code, known.text) == (304, "")
    other = desk.client.get("/v", headers={**ENGLISH, "If-None-Match": page.headers["ETag"]})
    assert other.status_code == 200


def test_where_the_browser_asks_for_neither_the_page_is_in_the_shops(tmp_path: Path) -> None:
    desk = a_desk(tmp_path, language="de")
    assert '<html lang="de">' in desk.client.get("/v", headers={"Accept-Language": "pl"}).text


def test_every_refusal_is_in_the_browsers_language(desk: Desk, nothing_missing: None) -> None:
    replies = [
        desk.client.post("/v", data={"code": "A" * 26}, headers=GERMAN),
        desk.client.post("/v/open", data={"code": "A" * 26}, headers=GERMAN),
        desk.client.get("/nowhere", headers=GERMAN),
        desk.client.get("/v/paper", headers=GERMAN),
        desk.client.get("/v", headers={**GERMAN, "Host": "elsewhere.example"}),
    ]
    for _ in range(60):
        busy = desk.client.post("/v", data={"code": "B" * 26}, headers=GERMAN)
    for reply, words in zip(
        [*replies, busy],
        (
            "Zu diesem Code ist nichts zu finden.",
            "Zu diesem Code ist nichts zu finden.",
            "Hier ist nichts.",
            "Das geht hier nicht.",
            "Nicht hier.",
            "Gerade zu viele falsche Codes.",
        ),
        strict=True,
    ):
        assert words in reply.text


def test_what_stands_around_a_document_is_in_its_language(tmp_path: Path, nothing_missing: None) -> None:
    document = a_document(language="de", title="Rechnung 2026-0001", rests_on="f" * 64)
    desk = a_desk(tmp_path, document=document)
    piece = desk.open(desk.code, headers=ENGLISH).text
    assert '<article class="opened" lang="de">' in piece
    for words in ("Was wurde gemacht", "Als PDF speichern", "Ihr Browser hat dieses Prüfzeichen"):
        assert words in piece
    assert "Replace the battery" in piece, "what the document says is its own"
    page = desk.client.post("/v", data={"code": desk.code}, headers=ENGLISH).text
    assert '<html lang="de" data-state="shown">' in page
    assert "<title>Rechnung 2026-0001</title>" in page
    assert "Wer dies lesen kann" in page


def test_an_english_document_stays_english_for_a_german_browser(desk: Desk) -> None:
    piece = desk.open(desk.code, headers=GERMAN).text
    assert "What was done" in piece
    assert '<article class="opened" lang="en">' in piece


def test_a_customer_answers_in_the_language_of_the_estimate(tmp_path: Path, nothing_missing: None) -> None:
    document = a_document(language="de", kind=DocumentKind.ESTIMATE, title="Voranschlag: Reparatur 1")
    desk = a_desk(tmp_path, document=document)
    piece = desk.open(desk.code, headers=ENGLISH).text
    pieces = len(re.findall(r'name="word"', piece))
    said = {"code": desk.code, "word": ["yes"] * pieces}
    if pieces:
        assert "Hier antworten" in piece
        first, again = (desk.client.post("/v/answer", data=said, headers=ENGLISH).text for _ in range(2))
        assert "Ihre Antwort ist aufbewahrt." in first
        assert "Dieser Voranschlag ist schon beantwortet." in again
    none = desk.client.post("/v/answer", data={"code": desk.code, "word": ["perhaps"]}, headers=ENGLISH)
    assert "Das ist noch keine Antwort." in none.text


def test_the_page_of_carried_codes_is_in_the_language_of_the_shops_papers(nothing_missing: None) -> None:
    page = static_page({"key": bytes(32)}, {"call-out": "Anfahrt"}, "Jobs", language="de")
    assert '<html lang="de">' in page
    assert "Was ein Code enthält" in page
    assert '"Work and charges": "Arbeit und Kosten"' in page
    assert '<strong translate="no">Jobs</strong>' in page
    assert Fields(page).found == Fields(static_page({"key": bytes(32)}, {}, "Jobs")).found
