"""The page: what it says, and what it must not hold. In a real browser below."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any

import attrs
import pytest
from hypothesis import given, settings

from corekit.model.document import Code, Document, Heading, Pairs
from corekit.model.personal import PERSONAL_KINDS, Personal
from corekit.report.page import page_css, render_page
from corekit.report.personal_text import mask, removal_note, resolver
from corekit.report.wording import theme

from .documents import accounts, documents
from .readback import page_text
from .sample import LINK, MARK, TEXTS, sample

HOSTILE = '<img src=x onerror=alert(1)> & "Ö" ✓ =1+1'


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in ("br", "img", "input", "meta", "link"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def tags(fragment: str) -> list[tuple[str, dict[str, str | None]]]:
    parser = _Tags()
    parser.feed(re.sub(r"<(\w+)([^<>]*)/>", r"<\1\2></\1>", fragment))
    assert parser.open == []
    return parser.tags


@settings(max_examples=40, deadline=None)
@given(documents() | accounts())
def test_a_page_is_well_formed_and_loads_and_runs_nothing(document: Document) -> None:
    found = tags(render_page(document, mask, LINK))
    assert not {"script", "style", "link", "img", "iframe", "object", "form", "a"} & {tag for tag, _ in found}
    for _, attributes in found:
        assert not any(
            name == "style" or name.startswith("on") or name in ("src", "href") for name in attributes
        )
    ids = [attributes["id"] for _, attributes in found if "id" in attributes]
    assert len(set(ids)) == len(ids)


def test_the_style_sheet_loads_nothing_and_has_the_ink_of_the_theme() -> None:
    css = page_css()
    assert "url(" not in css
    assert "@import" not in css
    assert css.startswith(f":root {{ --ink: {theme().ink_text}; }}")


def test_headings_are_headings_in_order_and_the_title_is_the_first() -> None:
    found = [tag for tag, _ in tags(render_page(sample(), mask, LINK)) if re.fullmatch(r"h[1-6]", tag)]
    assert found[0] == "h1"
    assert found.count("h1") == 1
    assert all(int(after[1]) - int(before[1]) <= 1 for before, after in pairwise(found))
    text = page_text(render_page(sample(), mask, LINK))
    at = [text.index(block.text) for block in sample().blocks if isinstance(block, Heading)]
    assert at == sorted(at)


def test_a_masked_page_names_nobody_and_says_where_the_text_stands() -> None:
    shown = page_text(render_page(sample(), mask, LINK))
    assert not any(text in shown for text in TEXTS.values())
    assert "(name: on the original)" in shown


def test_what_was_destroyed_is_said_to_be_removed() -> None:
    say = resolver({name: text for name, text in TEXTS.items() if name != "h-name"})
    assert "(name removed)" in page_text(render_page(sample(), say, LINK))
    assert [removal_note(Personal(kind, "h")) for kind in PERSONAL_KINDS] == [
        resolver({})(Personal(kind, "h")) for kind in PERSONAL_KINDS
    ]
    for say in (mask, removal_note):
        assert len({say(Personal(kind, "h")) for kind in PERSONAL_KINDS}) == len(PERSONAL_KINDS)


def test_a_draft_has_no_address_and_a_paper_without_one_says_so() -> None:
    draft = page_text(render_page(attrs.evolve(sample(), draft=True, number=""), mask, LINK))
    assert "DRAFT" in draft
    assert LINK not in draft
    bare = page_text(render_page(sample(), mask, None))
    assert MARK in bare
    assert "No page address set" in bare
    with pytest.raises(ValueError, match="A draft has no number"):
        render_page(attrs.evolve(sample(), draft=True), mask, LINK)


# --- in a browser -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def phone(chromium: Any) -> Iterator[Any]:
    """A phone's screen in the run's one Chromium."""
    context = chromium.new_context(viewport={"width": 360, "height": 740}, device_scale_factor=2)
    yield context
    context.close()


def shown_on(phone: Any, document: Document, say: Any) -> tuple[Any, list[str]]:
    trouble: list[str] = []
    page = phone.new_page()
    page.on("console", lambda said: trouble.append(said.text))
    page.on("pageerror", lambda error: trouble.append(str(error)))
    page.on(
        "request",
        lambda asked: trouble.append(asked.url) if not asked.url.startswith(("about:", "data:")) else None,
    )
    page.on("dialog", lambda dialog: trouble.append(dialog.message))
    policy = "default-src 'none'; style-src 'nonce-n'"
    head = (
        '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><meta'
        f' http-equiv="Content-Security-Policy" content="{policy}"><style nonce="n">body {{ margin: 0 }}'
        f" {page_css()}</style>"
    )
    page.set_content(
        "<!doctype html><html"
        f' lang="en"><head>{head}</head><body>{render_page(document, say, LINK)}</body></html>'
    )
    return page, trouble


@pytest.mark.browser
def test_on_a_phone_nothing_scrolls_sideways_is_small_or_is_loaded(phone: Any) -> None:
    page, trouble = shown_on(phone, attrs.evolve(sample(25, 12, 6), draft=False, demo=True), mask)
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    small = page.evaluate(
        """() => [...document.querySelectorAll('.document *')]
             .filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
             .filter(e => !['title', 'desc'].includes(e.tagName))
             .map(e => [e.textContent, parseFloat(getComputedStyle(e).fontSize)
                * (e.ownerSVGElement?.viewBox.baseVal.width
                   ? e.ownerSVGElement.getBoundingClientRect().width / e.ownerSVGElement.viewBox.baseVal.width
                   : 1)])
             .filter(([text, size]) => size < 15.5)"""
    )
    assert small == []
    assert trouble == []
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("text", [HOSTILE, "x" * 2000, "日" * 2000, "W " * 1000])
def test_on_a_phone_whatever_was_typed_shows_literally_and_breaks_nothing(phone: Any, text: str) -> None:
    document = attrs.evolve(
        sample(),
        shop=text,
        blocks=(
            Pairs(rows=(("To", (Personal("name", "h-name"),)),)),
            *sample(2, 2, 2).blocks,
            Code(document_id="d", link=2, record_mark=MARK),
        ),
    )
    page, trouble = shown_on(phone, document, resolver(dict.fromkeys(TEXTS, text)))
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    assert page.locator(".pairs dd").first.inner_text().strip() == text.strip()
    assert page.locator("img").count() == 0
    assert trouble == []
    page.close()


def test_a_kind_of_personal_text_that_this_program_has_no_word_for_is_a_note() -> None:
    strange = Personal("shoe size", "ab" * 32)
    assert (mask(strange), removal_note(strange)) == ("(note: on the original)", "(note removed)")
