"""Approving on the screens: looking, the repair, single pieces declined, nothing wanted at all; each word
once, bound to the paper that was shown.
"""

from __future__ import annotations

import re
import secrets
import tomllib
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.estimating import estimate_named
from corekit.desk.jobs import job_named, pictures_of, texts_of
from corekit.desk.rows import add_rows, withdraw_entry
from corekit.desk.shop import Shop
from corekit.model.document import document_hash
from corekit.model.job import Job
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..visits.files import visit_file


class Desk:
    """A shop's screens without a browser: get a page, send one of its forms as it stands with a few fields
    changed.
    """

    def __init__(self, folder: Path) -> None:
        self.shop = Shop(folder)
        self.client = work_app(Van(self.shop.context), NoAuth()).test_client()

    def begin(self, **rows: Any) -> str:
        rows = rows or {"reason": "Does not crank.", "vehicle": {"plate": "DEMO-1"}}
        return add_rows(self.shop.context, None, rows, request_id=secrets.token_urlsafe(18)).job

    def say(self, job: str, **rows: Any) -> None:
        add_rows(self.shop.context, job, rows, request_id=secrets.token_urlsafe(18))

    def job(self, job: str) -> Job:
        return self.shop.store.job(job)

    def page(self, path: str) -> str:
        reply = self.client.get(path, follow_redirects=True)
        assert reply.status_code == 200, reply.text
        return reply.text

    def send(
        self, path: str, action: str, *, drop: tuple[str, ...] = (), answer: str = "", **fields: Any
    ) -> Any:
        """Send the form of a page whose action ends so, as a browser would with everything that is checked in
        it.
        """
        form = next(
            form
            for form in re.findall(r"<form.*?</form>", self.page(path), re.S)
            if re.search(rf'action="{action}[?"]', form)
        )
        given: dict[str, Any] = {}
        for tag in re.findall(r"<input[^>]*>", form):
            named, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
            if named and not (re.search(r'type="(radio|checkbox)"', tag) and " checked" not in tag):
                given.setdefault(named[1], []).append(value[1] if value else "")
        given = {name: texts for name, texts in given.items() if name not in drop} | fields
        if answer:
            given["answer"] = answer
        return self.client.post(action, data=given)


@pytest.fixture
def desk(empty_shop: Path) -> Any:
    made = Desk(empty_shop)
    yield made
    made.shop.close()


def ready_for_repair(desk: Desk, name: str = "three-faults") -> str:
    """A job of the demo up to its first repair, with its diagnosis approved."""
    visit = tomllib.loads(visit_file(name).read_text("utf-8"))
    job = desk.begin(**{key: visit[key] for key in ("reason", "customer", "vehicle")})
    approve_on_looking(desk, job)
    desk.say(job, traits=visit["traits"])
    for step in visit["step"]:
        if "repaired" in step:
            break
        if "approved" not in step:
            desk.say(job, step=[step])
    return job


def approve_on_looking(desk: Desk, job: str) -> None:
    desk.send(f"/job/{job}/diagnosis", f"/job/{job}/estimate-of/diagnosis")
    assert desk.send(f"/job/{job}/diagnosis", f"/job/{job}/approve", how="in person").status_code == 303


def test_one_approval_in_person_approves_looking_and_leads_to_the_tests(desk: Desk) -> None:
    job = desk.begin()
    page = desk.page(f"/job/{job}")
    assert "60.00 EUR" in page  # demo/shop/prices.toml: (20.00 + 30.00) × 1.20
    made = desk.send(f"/job/{job}/diagnosis", f"/job/{job}/estimate-of/diagnosis")
    assert made.headers["Location"] == f"/job/{job}/diagnosis"
    desk.send(f"/job/{job}/diagnosis", f"/job/{job}/approve", how="in person")
    approved = desk.job(job).approvals[0].record
    assert (approved.estimate, approved.total, approved.by, approved.how) == (
        "diagnosis 1",
        6000,
        "customer",
        "in person",
    )
    assert approved.document_hash == desk.job(job).estimates[0].record.document_hash
    assert desk.client.get(f"/job/{job}").headers["Location"] == f"/job/{job}/test"


def test_a_deed_sent_three_times_is_done_once(desk: Desk) -> None:
    job = desk.begin()
    for _ in range(3):
        assert (
            desk.client.post(
                f"/job/{job}/estimate-of/diagnosis", data={"answer": "estimate-sent-three-times"}
            ).status_code
            == 303
        )
    paper = document_hash(estimate_named(desk.shop.context, job_named(desk.shop.context, job)).document)
    yes = {
        "answer": "approved-sent-three-times",
        "estimate": "diagnosis 1",
        "paper": paper,
        "by": "customer",
        "how": "by phone",
    }
    for _ in range(3):
        assert desk.client.post(f"/job/{job}/approve", data=yes).status_code == 303
    assert [entry.kind for entry in desk.job(job).entries if entry.kind in ("estimated", "approved")] == [
        "estimated",
        "approved",
    ]


def test_an_approval_of_another_document_than_the_one_that_stands_is_refused(desk: Desk) -> None:
    job = desk.begin()
    desk.send(f"/job/{job}/diagnosis", f"/job/{job}/estimate-of/diagnosis")
    refused = desk.send(f"/job/{job}/diagnosis", f"/job/{job}/approve", how="in person", paper="0" * 64)
    assert refused.status_code == 422 and "not the current estimate" in refused.text
    assert not desk.job(job).approvals


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"how": "by smoke"}, "How was it approved?"),
        ({"by": "Sample Keeper", "how": "in person"}, "a name belongs to the customer"),
        ({"how": "by phone", "signature": "[[1,2,3,4]]"}, "drawn in person"),
        ({"how": "in person", "signature": "[[1,2,3]]"}, "runs off its area or is not a stroke"),
        ({"how": "in person", "said": "Go ahead"}, "say which of the two"),
    ],
)
def test_what_an_approval_cannot_be_is_said_beside_its_field(
    desk: Desk, fields: dict[str, str], words: str
) -> None:
    job = desk.begin()
    desk.send(f"/job/{job}/diagnosis", f"/job/{job}/estimate-of/diagnosis")
    refused = desk.send(f"/job/{job}/diagnosis", f"/job/{job}/approve", **fields)
    assert refused.status_code == 422 and words in refused.text
    assert not desk.job(job).approvals


def test_a_drawn_signature_is_kept_with_the_persons_and_stands_on_no_paper(desk: Desk) -> None:
    job = desk.begin()
    desk.send(f"/job/{job}/diagnosis", f"/job/{job}/estimate-of/diagnosis")
    desk.send(
        f"/job/{job}/diagnosis",
        f"/job/{job}/approve",
        how="in person",
        signature="[[100, 200, 300, 180], [400, 200]]",
    )
    approved = desk.job(job).approvals[0].record
    assert approved.how == "in person" and approved.signature is not None
    assert list(pictures_of(desk.shop.context, job_named(desk.shop.context, job), "signature").values()) == [
        "[[100,200,300,180],[400,200]]"
    ]
    page = desk.page(f"/job/{job}/diagnosis")
    assert "M100 200L300 180M400 200h0" in page
    assert "in person, signed" in page and "signed, signed" not in page
    desk.shop.forget(job)
    assert not pictures_of(desk.shop.context, job_named(desk.shop.context, job))


def test_a_message_is_kept_word_for_word_and_out_of_the_journal(desk: Desk) -> None:
    job = desk.begin()
    desk.send(f"/job/{job}/diagnosis", f"/job/{job}/estimate-of/diagnosis")
    desk.send(
        f"/job/{job}/diagnosis", f"/job/{job}/approve", how="by message", said="Yes, do it, Sample Keeper"
    )
    approved = desk.job(job).approvals[0]
    assert approved.record.how == "by message" and "Keeper" not in str(approved.entry.body)
    assert "Yes, do it, Sample Keeper" in texts_of(desk.shop.context, desk.shop.store.job(job)).values()


def test_a_single_piece_is_declined_by_a_tap_and_the_rest_approved(desk: Desk) -> None:
    job = ready_for_repair(desk)
    page = desk.page(f"/job/{job}/estimate")
    assert page.count('name="take"') == 3
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    pieces = [line["operation"] for line in desk.job(job).estimates[-1].record.lines]
    assert set(pieces) == {"battery.clean_contacts", "egr.clean", "ignition.replace_leads"}
    desk.send(
        f"/job/{job}/estimate",
        f"/job/{job}/approve",
        want=["battery.clean_contacts", "ignition.replace_leads"],
        how="in person",
    )
    assert desk.job(job).approvals[-1].record.declined == ["egr.clean"]
    answered = desk.page(f"/job/{job}/estimate")
    assert "declined: Clean the EGR valve and its passages" in answered


def test_a_form_that_says_neither_in_person_nor_otherwise_is_no_approval(desk: Desk) -> None:
    job = desk.begin()
    desk.send(f"/job/{job}/diagnosis", f"/job/{job}/estimate-of/diagnosis")
    assert desk.send(f"/job/{job}/diagnosis", f"/job/{job}/approve").status_code == 422
    assert not desk.job(job).approvals


def test_the_total_of_what_is_left_is_worked_out_before_the_approval(desk: Desk) -> None:
    job = ready_for_repair(desk)
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    estimate = estimate_named(desk.shop.context, job_named(desk.shop.context, job))
    form = {
        "estimate": estimate.name,
        "paper": document_hash(estimate.document),
        "want": ["battery.clean_contacts", "ignition.replace_leads"],
    }
    trial = desk.client.post(f"/job/{job}/approve/try", data=form)
    # demo/shop/prices.toml, by hand: (0.4 × 62.50 + 4.50 + 0.5 × 62.50 + 58.00) × 1.20 = 118.75 × 1.20
    assert "142.50 EUR" in trial.text
    assert len(desk.job(job).approvals) == 1, "trying writes nothing"
    desk.client.post(
        f"/job/{job}/approve",
        data={**form, "answer": "the-yes-to-two-of-three", "by": "customer", "how": "in person"},
    )
    assert desk.job(job).approvals[-1].record.declined == ["egr.clean"]
    assert desk.client.get(f"/job/{job}").headers["Location"] == f"/job/{job}/repair"


def test_when_nothing_is_wanted_the_job_ends_and_only_the_looking_is_invoiced(desk: Desk) -> None:
    job = ready_for_repair(desk)
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    for _ in range(2):
        estimate = estimate_named(desk.shop.context, job_named(desk.shop.context, job))
        form = {
            "estimate": estimate.name,
            "paper": document_hash(estimate.document),
            "by": "customer",
            "no": "by phone",
            "answer": "nothing-of-it-is-wanted",
        }
        assert desk.client.post(f"/job/{job}/approve", data=form).headers["Location"] == f"/job/{job}"
    record = desk.job(job)
    assert record.ended is not None and record.ended.record.how == "declined"
    assert len([entry for entry in record.entries if entry.kind == "ended"]) == 1
    assert desk.client.get(f"/job/{job}").headers["Location"] == f"/job/{job}/hand"
    assert desk.shop.issue(job).due.amount == 60  # call-out and diagnosis alone


def test_an_approval_with_nothing_left_in_it_is_asked_about(desk: Desk) -> None:
    job = ready_for_repair(desk)
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    refused = desk.send(f"/job/{job}/estimate", f"/job/{job}/approve", drop=("want",), how="in person")
    assert refused.status_code == 422 and "Nothing is left to approve" in refused.text
    assert len(desk.job(job).approvals) == 1


def test_what_is_taken_out_is_not_on_the_estimate(desk: Desk) -> None:
    job = ready_for_repair(desk)
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair", take=["egr.clean"])
    assert {line["operation"] for line in desk.job(job).estimates[-1].record.lines} == {"egr.clean"}


def test_a_fault_found_on_the_way_makes_a_second_estimate_of_the_new_work_alone(desk: Desk) -> None:
    job = ready_for_repair(desk)
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair", take=["battery.clean_contacts"])
    desk.send(f"/job/{job}/estimate", f"/job/{job}/approve", how="in person")
    page = desk.page(f"/job/{job}/estimate")
    assert "Approved and still to do" in page and page.count('name="take"') == 2
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    latest = desk.job(job).estimates[-1].record
    assert latest.name == "repair 2"
    assert {line["operation"] for line in latest.lines} == {"egr.clean", "ignition.replace_leads"}
    # The second is declined: the first goes on, the job has not ended.
    desk.send(f"/job/{job}/estimate", f"/job/{job}/approve", no="in person")
    assert desk.job(job).ended is None
    assert desk.client.get(f"/job/{job}").headers["Location"] == f"/job/{job}/repair"


def test_work_that_comes_up_beside_an_open_estimate_is_named_and_a_new_estimate_proposed(desk: Desk) -> None:
    job = ready_for_repair(desk)
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    assert "could go on the estimate too" not in desk.page(f"/job/{job}/estimate")
    desk.say(job, step=[{"requested": {"operation": "battery.charge", "ground": "customer"}}])
    page = desk.page(f"/job/{job}/estimate")
    assert "Charge the battery could go on the estimate too" in page
    assert "270.30 EUR" in page  # 240.30 and, by hand, 0.4 × 62.50 × 1.20 more
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    assert (
        desk.job(job).estimates[-1].record.name == "repair 2"
        and desk.job(job).estimates[-1].record.total == 27030
    )
    assert "Estimate: repair 2" in desk.page(f"/job/{job}/estimate")


def test_an_estimate_that_no_longer_says_what_a_new_one_would_says_so(desk: Desk) -> None:
    job = desk.begin()
    desk.say(job, step=[{"requested": {"operation": "battery.charge", "ground": "customer"}}])
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    assert "Something changed" not in desk.page(f"/job/{job}/estimate")
    desk.say(job, step=[{"waived": {"operation": "battery.charge", "because": "goodwill"}}])
    assert "Something changed since this estimate was made" in desk.page(f"/job/{job}/estimate")
    wish = desk.job(job).requested[0].id
    withdraw_entry(desk.shop.context, job, wish, "not wanted after all", request_id="the-wish-is-withdrawn")
    assert "calls for this work any more" in desk.page(f"/job/{job}/estimate")


def test_after_a_new_estimate_in_place_of_an_old_one_the_visit_goes_on(desk: Desk) -> None:
    job = desk.begin()
    approve_on_looking(desk, job)
    desk.say(job, step=[{"requested": {"operation": "battery.charge", "ground": "customer"}}])
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    desk.say(job, step=[{"requested": {"operation": "battery.replace", "ground": "customer"}}])
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    desk.send(f"/job/{job}/estimate", f"/job/{job}/approve", how="in person")
    assert desk.job(job).approvals[-1].record.estimate == "repair 2"
    assert desk.client.get(f"/job/{job}").headers["Location"] == f"/job/{job}/repair"


def test_an_approval_in_part_is_still_shown_when_tax_has_changed_since(desk: Desk) -> None:
    job = ready_for_repair(desk)
    desk.send(f"/job/{job}/estimate", f"/job/{job}/estimate-of/repair")
    desk.send(f"/job/{job}/estimate", f"/job/{job}/approve", want=["egr.clean"], how="in person")
    prices = desk.shop.context.folder / "prices.toml"
    prices.write_text(prices.read_text("utf-8").replace('standard = "20"', 'standard = "25"'), "utf-8")
    with_new_tax = Desk(desk.shop.context.folder)
    assert "part of 240.30 EUR" in with_new_tax.page(f"/job/{job}/estimate")
    with_new_tax.shop.close()


def test_a_part_that_may_not_be_called_for_yet_says_why_and_what_to_test(desk: Desk) -> None:
    visit = tomllib.loads(visit_file("undecided").read_text("utf-8"))
    job = desk.begin(**{key: visit[key] for key in ("reason", "vehicle")})
    desk.say(job, traits=visit["traits"])
    for step in visit["step"]:
        if "readings" in step or "seen" in step:
            desk.say(job, step=[step])
    page = desk.page(f"/job/{job}/estimate")
    assert "Not yet:" in page and "Next test:" in page
    assert "probab" not in page.lower() and "%" not in page, (
        "numbers of suspects are not for the customer's side of the screen"
    )


def test_every_paper_of_a_job_is_a_file_and_no_other_name_opens_one(desk: Desk) -> None:
    job = desk.begin()
    approve_on_looking(desk, job)
    paper = desk.client.get(f"/job/{job}/paper/diagnosis-1.pdf")
    assert (
        paper.mimetype == "application/pdf"
        and paper.data.startswith(b"%PDF")
        and paper.headers["Cache-Control"] == "no-store"
    )
    for name in ("invoice", "diagnosis-2", "..", "%2e%2e%2fshop", "repair 1"):
        assert desk.client.get(f"/job/{job}/paper/{name}.pdf").status_code == 404
    desk.say(job, step=[{"ended": {"how": "declined", "because": "not wanted"}}])
    desk.shop.issue(job)
    assert desk.client.get(f"/job/{job}/paper/invoice.pdf").data.startswith(b"%PDF")


def test_a_drive_priced_by_the_kilometre_is_asked_for_and_charged(empty_shop: Path) -> None:
    prices = empty_shop / "prices.toml"
    prices.write_text(
        prices.read_text("utf-8").replace("call_out  =", 'travel    = { per_km = "0.50" }\ncall_out  ='),
        "utf-8",
    )
    desk = Desk(empty_shop)
    job = desk.begin()
    for wrong in ("far", "-3", "99999"):
        refused = desk.send(f"/job/{job}/diagnosis", f"/job/{job}/estimate-of/diagnosis", km=wrong)
        assert refused.status_code == 422 and "in kilometres" in refused.text
    desk.send(f"/job/{job}/diagnosis", f"/job/{job}/estimate-of/diagnosis", km="14,5")
    assert (
        desk.job(job).estimates[0].record.total == 6870
    )  # (20.00 + 14.5 × 0.50 + 30.00) × 1.20 = 57.25 × 1.20
    desk.shop.close()
