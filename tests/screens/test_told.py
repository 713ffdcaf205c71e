"""The account on the screens: mechanic and customer look at the rows that paper and page show."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.shop import Shop
from corekit.model.document import Account, Document
from corekit.reference import data_path
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..desk.visits_by_answer import answered, by_file, demo_shop, fragments

FILES = sorted((data_path("demo") / "jobs").glob("*.toml"))
BATTERY = FILES[0]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with demo_shop(tmp_path_factory.mktemp("told") / "shop") as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


def until(shop: Shop, kind: str, start: int, path: Path = BATTERY) -> str:
    """The visit of a demo file up to its first step of this kind; `repair 1` is the approval of that."""
    job = None
    for number, rows in enumerate(fragments(path), start):
        steps = rows.get("step", [])
        if any(kind in step or kind == step.get("approved", {}).get("estimate") for step in steps):
            break
        job = answered(shop, job, number, rows).job
    assert job is not None
    return job


def rows_of(document: Document) -> list[tuple[str, str]]:
    """What and how it stands, of every row of a paper."""
    account = next(block for block in document.blocks if isinstance(block, Account))
    return [(row.what or row.point, row.state) for row in account.rows]


def shown_rows(page: str) -> list[tuple[str, str]]:
    """The same of a screen, from its first account."""
    first = page.partition('<div class="document account">')[2].partition("</main>")[0]
    first = first.partition("<article")[0]
    found = re.findall(
        r"<h3>([^<]*)</h3>\s*(?:<span class=\"standing\">(?:<strong>([^<]*)</strong>)?)?", first
    )
    return [(unescape(what), unescape(state)) for what, state in found]


def lowered(rows: list[tuple[str, str]]) -> list[tuple[str, str]]:
    return [(what.lower(), state.lower()) for what, state in rows]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_handing_over_shows_the_rows_of_the_papers_own_account(client: Any, shop: Shop, path: Path) -> None:
    job = by_file(shop, path)
    before = shown_rows(client.get(f"/job/{job}/hand").text)
    paper = rows_of(shop.issue(job).document)
    after = shown_rows(client.get(f"/job/{job}/hand").text)
    assert lowered(before) == lowered(after) == lowered(paper)


def test_the_estimate_shows_its_own_rows_with_the_price_of_each(client: Any, shop: Shop) -> None:
    job = until(shop, "repair 1", start=1000)
    explained = client.get(f"/job/{job}/explain").text
    estimate = shop.estimate(job, "repair")
    page = client.get(f"/job/{job}/estimate").text
    assert lowered(shown_rows(explained)) == lowered(shown_rows(page)) == lowered(rows_of(estimate.document))
    rows = page.partition('<div class="document account">')[2].partition("The whole estimate")[0]
    # demo/shop/prices.toml, by hand: 0.6 h × 62.50 + 168.00 for the battery, 0.8 h × 62.50 for the draw
    for words in ("Proposed", "205.50 EUR", "50.00 EUR", "306.60 EUR", "Valid until"):
        assert words in rows
    assert '<article class="document account"' in page, "the whole paper is one tap away"


def test_what_it_was_is_asked_with_the_words_of_the_fault_and_stands_on_the_paper(
    client: Any, shop: Shop
) -> None:
    job = until(shop, "repaired", start=3000)
    page = client.get(f"/job/{job}/repair").text
    assert 'name="step[0].repaired.cause"' in page
    assert 'data-value="A worn-out battery"' in page
    form = {
        "answer": "the-cause-is-answered-once",
        "step[0].repaired.operation": "battery.replace",
        "step[0].repaired.cause": "a battery that froze in the winter",
    }
    assert client.post(f"/job/{job}/answer", data=form).status_code == 303
    assert "a battery that froze in the winter" in client.get(f"/job/{job}/hand").text


def test_a_cause_that_no_line_holds_is_refused_beside_its_field(client: Any, shop: Shop) -> None:
    job = until(shop, "repaired", start=4000)
    form = {
        "answer": "a-cause-that-is-too-long-0",
        "screen": f"/job/{job}/repair",
        "step[0].repaired.operation": "battery.replace",
        "step[0].repaired.cause": "x" * 81,
    }
    refused = client.post(f"/job/{job}/answer", data=form)
    assert refused.status_code == 422
    beside = refused.text.partition('data-faults="step[0].repaired.cause"')[2].partition("</div>")[0]
    assert "81 characters" in beside


def test_work_whose_fault_nobody_named_offers_no_cause(client: Any, shop: Shop) -> None:
    job = until(shop, "readings", start=5000)
    wish = {"operation": "ignition.replace_plugs", "ground": "customer"}
    answered(shop, job, 5900, {"step": [{"requested": wish}]})
    estimate = shop.estimate(job, "repair")
    shop.approve(estimate, by="customer", how="in person")
    page = client.get(f"/job/{job}/repair").text
    assert 'name="step[0].repaired.cause"' in page
    assert 'data-fill="step[0].repaired.cause"' not in page
