"""The books of a German shop are a paper in German as a whole."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from corekit.desk import drawer
from corekit.desk.books_paper import books_paper
from corekit.desk.drawer import BECAUSE
from corekit.desk.shop import Shop
from corekit.report.personal_text import mask
from corekit.report.terminal import render_text

from .test_language import all_papers, eur, german_shop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    moment = [datetime(2026, 11, 1, 12, tzinfo=UTC)]
    with german_shop(tmp_path, moment) as shop:
        all_papers(shop, moment)
        for because in BECAUSE:
            drawer.move(shop.context, eur("5.00"), because)
        drawer.count(shop.context, eur("17.00"))
        yield shop


@pytest.mark.parametrize("span", ["", "2026", "2026-11", "2026-12", "2026-11-01", "2026-12-09", "2020"])
def test_the_books_are_in_german_as_a_whole(shop: Shop, span: str) -> None:
    paper = books_paper(shop.context, span)
    assert paper.language == "de"
    text = render_text(paper, mask, None, width=4000)
    for english in ("the", "of", "Open", "Net", "Tax", "invoiced", "received", "In all", "drawer", "Books"):
        assert not re.search(rf"\b{english}\b", text), english


def test_what_is_found_in_them_is_too(shop: Shop) -> None:
    paper = books_paper(shop.context, "", "DEMO-1")
    assert paper.language == "de" and "Nur, was zu tun hat mit" in str(paper)
