"""An estimate answered by the customer's own act on its page."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.billing.errors import ConsentError
from corekit.desk.answering import ON_THE_PAGE, Fetched, fetch_answers, offer
from corekit.desk.estimating import Estimate
from corekit.desk.settings import PUBLISHED, SHOP_FILE
from corekit.desk.shop import Shop
from corekit.model.records import Remarked
from corekit.share.answer import open_answer, sealed_answer
from corekit.share.link import token_hash
from corekit.share.published import PublishedFolder, PublishError
from corekit.web.page_app import page_app


@attrs.define
class Clock:
    at: datetime = datetime(2026, 11, 30, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def shop(empty_shop: Path, clock: Clock) -> Iterator[Shop]:
    with Shop(empty_shop, now=clock) as opened:
        yield opened


def a_job(shop: Shop, *operations: str) -> str:
    data = {
        "job": "first",
        "reason": "Does not crank.",
        "vehicle": {"plate": "DEMO-1"},
        "step": [{"requested": {"operation": key, "ground": "customer"}} for key in operations],
    }
    path = shop.context.folder.parent / "first.json"
    path.write_text(json.dumps(data), "utf-8")
    return shop.import_visit(path)


def client(shop: Shop) -> Any:
    folder = PublishedFolder(shop.context.folder / PUBLISHED)
    return page_app(folder, bearer=None, demo=True, now=shop.context.clock).test_client()


def code_of(address: str) -> str:
    return address.partition("#")[2]


def answered(shop: Shop, address: str, *words: str) -> int:
    form = {"code": code_of(address), "word": list(words)}
    return int(client(shop).post("/v/answer", data=form).status_code)


def offered(shop: Shop) -> tuple[Estimate, str]:
    estimate = shop.estimate(a_job(shop, "battery.charge", "battery.clean_contacts"), "repair")
    return estimate, offer(shop.context, estimate)


def test_the_link_works_before_any_invoice_and_the_answer_is_recorded_once(shop: Shop) -> None:
    estimate, address = offered(shop)
    page = client(shop).post("/v/open", data={"code": code_of(address)})
    assert page.status_code == 200
    assert len(re.findall('<select id="piece-', page.text)) == 2
    assert fetch_answers(shop.context) == []
    assert answered(shop, address, "yes", "no") == 200
    (fetched,) = fetch_answers(shop.context)
    assert fetched == Fetched(
        job="first", estimate=estimate.name, is_recorded=True, words="approved on the page, without 1 of it"
    )
    assert fetch_answers(shop.context) == []
    (noted,) = shop.store.job(estimate.job).approvals
    assert (noted.record.by, noted.record.how) == ("customer", ON_THE_PAGE)
    assert noted.record.declined == ["battery.clean_contacts"]


def test_the_first_answer_stands(shop: Shop) -> None:
    estimate, address = offered(shop)
    assert answered(shop, address, "yes", "yes") == 200
    second = client(shop).post("/v/answer", data={"code": code_of(address), "word": ["no", "no"]})
    assert "answered already" in second.text
    fetch_answers(shop.context)
    assert shop.store.job(estimate.job).approvals[0].record.declined == []


@pytest.mark.parametrize("words", [(), ("yes",), ("yes", "perhaps"), ("yes", "no", "yes")])
def test_an_answer_that_does_not_fit_the_estimate_is_none(shop: Shop, words: tuple[str, ...]) -> None:
    _, address = offered(shop)
    assert answered(shop, address, *words) == 400
    assert fetch_answers(shop.context) == []


def test_nobody_answers_without_the_link(shop: Shop) -> None:
    offered(shop)
    assert answered(shop, "x#AAAAAAAAAAAAAAAAAAAAAAAAAA", "yes", "yes") == 404


def test_an_answer_to_an_estimate_that_was_replaced_is_void(shop: Shop) -> None:
    estimate, address = offered(shop)
    assert answered(shop, address, "yes", "yes") == 200
    a_job(shop, "battery.charge", "battery.clean_contacts", "battery.replace")
    assert shop.estimate(estimate.job, "repair").name != estimate.name
    (fetched,) = fetch_answers(shop.context)
    assert not fetched.is_recorded
    assert "stands in its place" in fetched.words
    assert shop.store.job(estimate.job).approvals == ()


@pytest.mark.parametrize(("days", "status"), [(30, 200), (31, 404)])
def test_on_its_last_day_an_estimate_can_be_answered_and_not_after(
    shop: Shop, clock: Clock, days: int, status: int
) -> None:
    _, address = offered(shop)
    clock.at += timedelta(days=days)
    assert answered(shop, address, "yes", "yes") == status


def test_an_answer_in_the_folder_that_the_link_did_not_seal_is_void(shop: Shop) -> None:
    estimate, address = offered(shop)
    folder = PublishedFolder(shop.context.folder / PUBLISHED)
    forged = sealed_answer(estimate.document, "A" * 26, ("yes", "yes"), shop.context.clock())
    assert folder.answer(token_hash(code_of(address)), forged)
    (fetched,) = fetch_answers(shop.context)
    assert "not given by somebody with its link" in fetched.words
    assert shop.store.job(estimate.job).approvals == ()
    with pytest.raises(PublishError):
        open_answer(b"{}", "A" * 26)


def test_an_estimate_that_is_declined_as_a_whole_is_recorded_once_and_approves_nothing(shop: Shop) -> None:
    estimate, address = offered(shop)
    assert answered(shop, address, "no", "no") == 200
    (fetched,) = fetch_answers(shop.context)
    assert (fetched.is_recorded, fetched.words) == (True, "declined as a whole on the page")
    assert fetch_answers(shop.context) == []
    job = shop.store.job(estimate.job)
    assert job.approval.approved == ()
    assert job.approval.declined == ("battery.charge", "battery.clean_contacts")
    assert job.approval.pending == ()
    with pytest.raises(ConsentError):
        shop.issue(estimate.job)


def a_diagnosis(shop: Shop) -> tuple[Estimate, str]:
    estimate = shop.estimate(a_job(shop), "diagnosis")
    return estimate, offer(shop.context, estimate)


def test_a_diagnosis_that_is_declined_ends_a_job_in_which_nothing_else_was_asked(shop: Shop) -> None:
    estimate, address = a_diagnosis(shop)
    assert answered(shop, address, "no") == 200
    (fetched,) = fetch_answers(shop.context)
    assert fetched.is_recorded
    assert "the job has ended" in fetched.words
    ended = shop.store.job(estimate.job).ended
    assert ended is not None
    assert (ended.record.how, ended.record.because) == ("declined", "The diagnosis, on the page")
    assert fetch_answers(shop.context) == []


def test_a_diagnosis_that_is_declined_beside_other_work_ends_nothing_and_is_noted_once(shop: Shop) -> None:
    job = a_job(shop, "battery.charge")
    offer(shop.context, shop.estimate(job, "repair"))
    estimate = shop.estimate(job, "diagnosis")
    address = offer(shop.context, estimate)
    assert answered(shop, address, "no") == 200
    (fetched,) = fetch_answers(shop.context)
    assert fetched.is_recorded
    assert "for you to agree" in fetched.words
    record = shop.store.job(job)
    assert record.ended is None
    assert len(record.all(Remarked)) == 1
    assert fetch_answers(shop.context) == []


def test_a_diagnosis_is_approved_on_its_page(shop: Shop) -> None:
    estimate, address = a_diagnosis(shop)
    assert answered(shop, address, "yes") == 200
    fetch_answers(shop.context)
    assert shop.store.job(estimate.job).approval.decisions[0].has_diagnosis


def test_where_the_law_gives_a_right_to_cancel_a_yes_on_the_page_waits_for_what_the_customer_says_of_it(
    empty_shop: Path, clock: Clock
) -> None:
    path = empty_shop / SHOP_FILE
    told = re.sub(r"(?m)^jurisdiction.*$", "", path.read_text("utf-8"))
    words = 'statements = { cancellation = "You may cancel." }'
    path.write_text(f'jurisdiction = "EU"\n{words}\n{told}', "utf-8")
    with Shop(empty_shop, now=clock) as shop:
        estimate, address = offered(shop)
        assert answered(shop, address, "yes", "yes") == 200
        (fetched,) = fetch_answers(shop.context)
        assert not fetched.is_recorded
        assert "ask what the customer says on the right to cancel" in fetched.words
        assert f'--total {estimate.total} --how "{ON_THE_PAGE}" --cancellation' in fetched.words
        assert shop.store.job(estimate.job).approvals == ()
        shop.approve(estimate, by="customer", how=ON_THE_PAGE, cancellation="begin at once")
        assert len(shop.store.job(estimate.job).approvals) == 1
