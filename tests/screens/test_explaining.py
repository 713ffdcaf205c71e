"""Explaining on the screen: what was found in the order of its urgency, what cannot be said, and nothing that
is the mechanic's alone.
"""

from __future__ import annotations

import re
import secrets
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.model.finding import Urgency
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..visits.files import visit_file


@pytest.fixture
def shop(empty_shop: Path) -> Iterator[Shop]:
    with Shop(empty_shop) as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


def told(shop: Shop, name: str) -> str:
    """A job of the demo with all that was read before the first repair."""
    visit = tomllib.loads(visit_file(name).read_text("utf-8"))
    job = add_rows(
        shop.context,
        None,
        {key: visit[key] for key in ("reason", "vehicle", "traits")},
        request_id=secrets.token_urlsafe(18),
    ).job
    for step in visit["step"]:
        if "repaired" in step:
            break
        if "setup" in step or "readings" in step or "seen" in step or "codes" in step:
            add_rows(shop.context, job, {"step": [step]}, request_id=secrets.token_urlsafe(18))
    return job


def text_of(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page.partition("<main")[2]).split())


def test_the_customer_reads_what_was_found_with_its_strips_before_what_cannot_be_said(
    client: Any, shop: Shop
) -> None:
    job = told(shop, "three-faults")
    page = client.get(f"/job/{job}/explain").text
    assert re.findall(r"<h2>([^<]*)", page)[-3:] == [
        "In order",
        "Trouble codes read",
        "What we could not evaluate",
    ]
    strips = [
        finding
        for finding in shop.assess(job).current
        if finding.limits and finding.urgency is not Urgency.NOTHING
    ]
    assert strips and page.count("<svg") >= len(strips)
    assert "Starts badly in the morning" in page


def test_what_may_wait_comes_after_what_may_not(client: Any, shop: Shop) -> None:
    page = client.get(f"/job/{told(shop, 'worn-battery')}/explain").text
    order = [str(urgency) for urgency in Urgency]
    urgencies = [
        order.index(heading.strip().lower())
        for heading in re.findall(r"<h2>([^<]*)", page)
        if heading.strip().lower() in order
    ]
    assert urgencies == sorted(urgencies) and len(set(urgencies)) == 2


def test_every_finding_is_there_word_for_word(client: Any, shop: Shop) -> None:
    job = told(shop, "three-faults")
    text = text_of(client.get(f"/job/{job}/explain").text)
    missing = [
        str(finding.text)
        for finding in shop.assess(job).current
        if str(finding.text) not in text.replace("&#39;", "'").replace("&#34;", '"')
    ]
    assert not missing


def test_no_suspect_and_no_number_of_one_is_shown(client: Any, shop: Shop) -> None:
    job = told(shop, "three-faults")
    page = client.get(f"/job/{job}/explain").text
    assessment = shop.assess(job)
    assert assessment.suspects
    likely = [suspect.name for suspect in assessment.suspects if suspect.probability > 0.01]
    sentences = " ".join(str(finding.text) for finding in assessment.findings)
    # What plainly is so far that its work may be proposed is what was found, and no suspect any more.
    found = {call.operation for call in assessment.calls_at(0) if call.met}
    named = {suspect.name for suspect in assessment.suspects if suspect.calls_for in found}
    assert not [name for name in likely if name in page and name not in sentences and name not in named]
    assert not re.search(r"probab|suspect|likel", page.lower())


def test_what_was_not_looked_at_is_said(client: Any, shop: Shop) -> None:
    page = client.get(f"/job/{told(shop, 'undecided')}/explain").text
    assert "not decided yet" in page
    assert "What we could not evaluate" in page
    assert re.search(r"Not looked at: [^<.]*charging voltage", page)


def test_with_nothing_read_nothing_is_claimed(client: Any, shop: Shop) -> None:
    job = add_rows(
        shop.context,
        None,
        {"reason": "Noise.", "vehicle": {"plate": "DEMO-1"}},
        request_id=secrets.token_urlsafe(18),
    ).job
    text = text_of(client.get(f"/job/{job}/explain").text)
    assert "Nothing has been evaluated yet." in text and "In order" not in text


def test_the_way_leads_to_the_estimate_when_there_is_one_and_back_to_testing_when_not(
    client: Any, shop: Shop
) -> None:
    ready, open_one = told(shop, "three-faults"), told(shop, "undecided")
    assert f'class="main" href="/job/{ready}/estimate"' in client.get(f"/job/{ready}/explain").text
    assert f'class="main" href="/job/{open_one}/test"' in client.get(f"/job/{open_one}/explain").text


def test_what_is_said_never_calls_anything_safe(client: Any, shop: Shop) -> None:
    for name in ("worn-battery", "undecided", "three-faults"):
        assert not re.search(r"\bsafe", client.get(f"/job/{told(shop, name)}/explain").text, re.I)


def test_work_is_added_on_a_wish_and_estimated_with_its_ground(client: Any, shop: Shop) -> None:
    job = add_rows(
        shop.context,
        None,
        {"reason": "Noise.", "vehicle": {"description": "van", "no_vin": "not seen yet"}},
        request_id=secrets.token_urlsafe(18),
    ).job
    row = "step[0].requested"
    form = {
        "answer": secrets.token_urlsafe(18),
        "screen": f"/job/{job}/requested",
        "next": f"/job/{job}/estimate",
        f"{row}.operation": "battery.replace",
    }
    refused = client.post(f"/job/{job}/answer", data=form | {f"{row}.ground": "judgement"})
    assert refused.status_code == 422 and "needs a reason" in refused.text
    taken = client.post(f"/job/{job}/answer", data=form | {f"{row}.ground": "customer"})
    assert taken.headers["Location"] == f"/job/{job}/estimate"
    estimate = client.get(f"/job/{job}/estimate").text
    assert 'name="take" value="battery.replace"' in estimate
    assert "246.60 EUR" in estimate  # demo/shop/prices.toml, by hand: (0.6 × 62.50 + 168.00) × 1.20


def test_what_is_waived_is_estimated_at_no_charge_with_the_reason(client: Any, shop: Shop) -> None:
    job = add_rows(
        shop.context,
        None,
        {"reason": "Noise.", "vehicle": {"plate": "DEMO-1"}},
        request_id=secrets.token_urlsafe(18),
    ).job
    for step in (
        {"requested": {"operation": "battery.replace", "ground": "customer"}},
        {"requested": {"operation": "battery.charge", "ground": "customer"}},
    ):
        add_rows(shop.context, job, {"step": [step]}, request_id=secrets.token_urlsafe(18))
    page = client.get(f"/job/{job}/waive").text
    assert 'name="step[0].waived.operation" value="battery.replace"' in page
    form = {
        "answer": secrets.token_urlsafe(18),
        "step[0].waived.operation": "battery.replace",
        "step[0].waived.because": "goodwill",
    }
    assert client.post(f"/job/{job}/answer", data=form).status_code == 303
    estimate = client.get(f"/job/{job}/estimate").text
    assert (
        "30.00 EUR" in estimate and "not charged" in estimate
    )  # the charging alone, by hand: 0.4 × 62.50 × 1.20
