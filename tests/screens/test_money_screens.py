"""Money on the screens, without a browser: a deposit before the invoice, what is too much, a receipt, what is
given back, what came back.
"""

from __future__ import annotations

import html
import re
import secrets
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.jobs import billed_with, job_named
from corekit.desk.payments import payments_of
from corekit.desk.rows import add_rows
from corekit.desk.settings import KEY_FILE, SHOP_FILE
from corekit.desk.shop import Shop
from corekit.model.job import Job
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

CLEAN = {"operation": "battery.clean_contacts"}  # demo/shop/prices.toml: (0.4 × 62.50 + 4.50) × 1.20 = 35.40


class Desk:
    """A shop's screens and one job whose cleaning is approved."""

    def __init__(self, folder: Path) -> None:
        self.shop = Shop(folder)
        self.client = work_app(Van(self.shop.context), NoAuth()).test_client()
        rows = {
            "reason": "Cranks slowly.",
            "vehicle": {"plate": "DEMO-1"},
            "customer": {"name": "Sample Keeper"},
        }
        self.id = add_rows(self.shop.context, None, rows, request_id=secrets.token_urlsafe(18)).job

    @property
    def job(self) -> Job:
        return self.shop.store.job(self.id)

    def say(self, **step: Any) -> None:
        add_rows(self.shop.context, self.id, {"step": [step]}, request_id=secrets.token_urlsafe(18))

    def approve(self) -> None:
        self.say(requested={**CLEAN, "ground": "customer"})
        self.shop.approve(self.shop.estimate(self.id, "repair"), by="customer", how="in person")

    def page(self, below: str) -> str:
        return " ".join(re.sub(r"<[^>]*>", " ", self.client.get(f"/job/{self.id}/{below}").text).split())

    def pay(self, amount: str, **more: str) -> Any:
        fields = {
            "answer": secrets.token_urlsafe(18),
            "screen": f"/job/{self.id}/deposit",
            "step[0].paid.amount": amount,
            "step[0].paid.how": "cash",
            **more,
        }
        return self.client.post(f"/job/{self.id}/answer", data=fields)


@pytest.fixture
def desk(empty_shop: Path) -> Any:
    made = Desk(empty_shop)
    yield made
    made.shop.close()


def test_before_anything_was_approved_there_is_nothing_to_take_money_for(desk: Desk) -> None:
    assert "Nothing has been approved yet, so no deposit can be taken." in desk.page("deposit")
    assert 'name="step[0].paid.amount"' not in desk.client.get(f"/job/{desk.id}/deposit").text
    assert "deposit" not in desk.client.get(f"/job/{desk.id}/leave").text


def test_more_than_was_approved_is_refused_beside_the_amount_and_kept_as_typed(desk: Desk) -> None:
    desk.approve()
    assert "not yet paid: 35.40 EUR" in desk.page("deposit")
    refused = desk.pay("50")
    assert refused.status_code == 422
    beside = re.search(r'data-faults="step\[0\]\.paid\.amount">(.*?)</div>', refused.text, re.S)
    assert beside is not None and "Only 35.40 EUR is due" in beside[1]
    assert 'value="50"' in refused.text
    assert not desk.job.payments


def test_a_deposit_gets_its_receipt_at_once_and_leads_back_to_where_one_was(desk: Desk) -> None:
    desk.approve()
    desk.pay("20", next=f"/job/{desk.id}/deposit?next=leave")
    (payment,) = payments_of(
        desk.shop.context, billed_with(desk.shop.context, job_named(desk.shop.context, desk.id))
    )
    made = desk.client.post(
        f"/job/{desk.id}/receipt/{payment.id}", data={"next": f"/job/{desk.id}/deposit?next=leave"}
    )
    assert made.headers["Location"] == f"/job/{desk.id}/deposit?next=leave"
    page = desk.page("deposit?next=leave")
    assert "not yet paid: 15.40 EUR" in page and "Receipt as a PDF" in page
    elsewhere = desk.client.post(
        f"/job/{desk.id}/receipt/{payment.id}", data={"next": "//elsewhere.example/"}
    )
    assert elsewhere.headers["Location"] == f"/job/{desk.id}/hand"
    assert len(desk.job.receipts) == 1, "asked again, it is the same receipt"


def test_what_was_paid_for_work_that_was_not_done_is_to_be_given_back(desk: Desk) -> None:
    desk.shop.approve(desk.shop.estimate(desk.id, "diagnosis"), by="customer", how="in person")
    desk.approve()
    desk.pay("90")
    desk.say(ended={"how": "referred", "because": "It needs a lift."})
    assert "Refund due: 30.00 EUR" in desk.page(
        "hand"
    )  # 90.00 − 60.00: call-out and diagnosis, (20.00 + 30.00) × 1.20
    desk.shop.issue(desk.id)
    assert "Refund due: 30.00 EUR" in desk.page("hand")
    assert desk.client.get(f"/job/{desk.id}/deposit").headers["Location"] == f"/job/{desk.id}/hand"


def test_an_end_is_said_on_the_hand_over_and_can_be_taken_back_from_there(desk: Desk) -> None:
    desk.approve()
    desk.say(ended={"how": "declined", "because": "Too dear."})
    page = desk.client.get(f"/job/{desk.id}/hand").text
    back = re.search(r'href="(/job/[^"]*)">Reopen the job', page)
    assert back is not None
    entry = desk.client.get(back[1])
    assert entry.status_code == 200 and "It turned out otherwise" in entry.text and "probe" not in entry.text
    desk.client.post(
        f"{back[1]}/withdraw",
        data={"answer": secrets.token_urlsafe(18), "reason": "it turned out otherwise"},
    )
    assert desk.job.ended is None


def test_a_car_that_came_back_is_known_already_and_its_invoice_named(desk: Desk) -> None:
    desk.approve()
    desk.say(repaired=CLEAN)
    number = desk.shop.issue(desk.id).number
    page = desk.client.get(f"/new?again={desk.id}").text
    assert (
        'value="DEMO-1"' in page
        and 'value="Sample Keeper"' in page
        and f"For the work on invoice {number}" in page
    )
    assert "Cranks slowly." not in page, "what is said this time is said anew"
    following = re.search(r'name="next" value="(/job/([a-z0-9]+)/requested\?rework=[^"]*)"', page)
    assert following is not None and following[2] != desk.id
    again = add_rows(
        desk.shop.context,
        following[2],
        {"reason": "Again.", "vehicle": {"plate": "DEMO-1"}},
        request_id=secrets.token_urlsafe(18),
    ).job
    wanted = desk.client.get(following[1]).text
    assert again == following[2]
    assert f">{number}</textarea>" in wanted
    assert re.search(r'value="rework" checked', wanted)
    assert desk.client.get("/new?again=nobody").status_code == 404


def without_link_key(key: Path) -> str:
    key.rename(key.with_suffix(".away"))
    return "the link key is not there; bring it back from the backup"


def with_link_key_for_all(key: Path) -> str:
    key.chmod(0o644)
    return f"other people on this machine can read the link key (mode 644); run: chmod 600 {key}"


def restored(key: Path) -> None:
    away = key.with_suffix(".away")
    if away.exists():
        away.rename(key)
    key.chmod(0o600)


@pytest.mark.parametrize("spoil", [without_link_key, with_link_key_for_all])
def test_a_link_key_that_cannot_be_used_is_named_where_the_invoice_is_and_hinders_only_until_it_is_back(
    desk: Desk, empty_shop: Path, spoil: Callable[[Path], str]
) -> None:
    desk.approve()
    desk.say(repaired=CLEAN)
    desk.say(waived={**CLEAN, "because": "did not fix"})
    (key,) = (path for path in (empty_shop / "keys").iterdir() if path.name == Path(KEY_FILE).name)
    sentence = spoil(key)
    fields = {"answer": secrets.token_urlsafe(18), "screen": f"/job/{desk.id}/hand"}
    issued = desk.client.post(f"/job/{desk.id}/issue", data=fields)
    assert issued.status_code == 422
    as_json = desk.client.post(
        f"/job/{desk.id}/issue", data=fields, headers={"Accept": "application/json"}
    ).json
    assert sentence in as_json["faults"][0]["text"]
    page = desk.client.get(f"/job/{desk.id}/hand")
    assert page.status_code == 200
    for shown in (issued.text, page.text):
        assert sentence in html.unescape(shown)
        assert shown.count("DEMO-1") == 1, "the job's own screen, and no page of trouble"
        assert "our fault" not in shown
    restored(key)
    page = desk.client.get(f"/job/{desk.id}/hand")
    assert (page.status_code, sentence in page.text) == (200, False)
    (number,) = (noted.record.number for noted in desk.job.issued)
    assert f"Invoice {number}" in desk.page("hand") and "The page behind the code" in desk.page("hand")


def test_a_clock_that_jumped_is_asked_about_on_the_screen_and_a_tick_says_that_the_date_is_right(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.approve()
    desk.say(repaired=CLEAN)
    assert "that is right" not in desk.page("hand")
    later = (datetime.now(UTC) + timedelta(days=400)).strftime("%Y-%m-%dT%H:%M:%SZ")
    monkeypatch.setattr(desk.shop.store, "_now", lambda: later)
    page = desk.page("hand")
    assert f"It is {later[:10]}" in page
    assert "the clock went ahead from" in page
    fields = {"answer": secrets.token_urlsafe(18), "screen": f"/job/{desk.id}/hand"}
    refused = desk.client.post(f"/job/{desk.id}/issue", data=fields)
    assert refused.status_code == 422
    assert "none was taken" in html.unescape(refused.text)
    assert "--date" not in refused.text, "a screen speaks of its own box"
    assert not desk.job.issued
    fields = {**fields, "answer": secrets.token_urlsafe(18), "date_is_right": "yes"}
    assert desk.client.post(f"/job/{desk.id}/issue", data=fields).status_code == 303
    assert len(desk.job.issued) == 1
    assert "the date was said to be right" in desk.page("record")


def test_an_overdue_invoice_offers_a_reminder_and_then_its_paper(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.approve()
    desk.say(repaired=CLEAN)
    desk.shop.issue(desk.id)
    fields = {"answer": secrets.token_urlsafe(18), "screen": f"/job/{desk.id}/hand"}
    assert "Make a reminder" not in desk.page("hand")
    assert desk.client.post(f"/job/{desk.id}/remind", data=fields).status_code == 422
    later = datetime.now(UTC) + timedelta(days=2)
    monkeypatch.setattr(type(desk.shop.context), "now", property(lambda shop: shop.settings.local(later)))
    assert "Make a reminder" in desk.page("hand")
    fields["answer"] = secrets.token_urlsafe(18)
    assert desk.client.post(f"/job/{desk.id}/remind", data=fields).status_code == 303
    assert "Reminder of" in desk.page("hand")
    paper = desk.client.get(f"/job/{desk.id}/paper/reminder-1.pdf")
    assert (paper.status_code, paper.data[:5]) == (200, b"%PDF-")
    assert desk.client.get(f"/job/{desk.id}/paper/reminder-2.pdf").status_code == 404


def test_the_amount_to_pay_in_cash_stands_beside_the_other_where_it_is_rounded(empty_shop: Path) -> None:
    settings = empty_shop / SHOP_FILE
    settings.write_text(f'cash_rounding = "0.50"\n{settings.read_text("utf-8")}', "utf-8")
    desk = Desk(empty_shop)
    desk.approve()
    desk.say(repaired=CLEAN)
    desk.shop.issue(desk.id)
    assert "In cash: 35.50 EUR, to the smallest coin." in desk.page("hand")  # 35.40 to the nearest half
    desk.pay("35.50")
    assert "Everything is paid." in desk.page("hand")
    desk.shop.close()


def test_further_work_goes_on_a_second_invoice_and_both_are_at_hand(desk: Desk) -> None:
    desk.approve()
    desk.say(repaired=CLEAN)
    first = desk.shop.issue(desk.id).number
    assert "Estimate further work in this job" in desk.page("hand")
    desk.say(requested={"operation": "battery.charge", "ground": "customer"})
    desk.shop.approve(desk.shop.estimate(desk.id, "repair"), by="customer", how="in person")
    desk.say(repaired={"operation": "battery.charge"})
    page = desk.page("hand")
    assert f"Earlier invoice {first}" in page
    assert "Issuing uses the next invoice number." in page
    second = desk.shop.issue(desk.id).number
    assert f"Invoice {second}" in desk.page("hand")
    assert f"Earlier invoice {first}" in desk.page("hand")
    files = [desk.client.get(f"/job/{desk.id}/paper/invoice{nth}.pdf") for nth in ("-1", "-2", "", "-3")]
    assert [file.status_code for file in files] == [200, 200, 200, 404]
    assert files[0].data != files[1].data
    assert files[1].data == files[2].data
