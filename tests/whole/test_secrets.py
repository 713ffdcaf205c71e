"""No secret leaves the shop: a secret in every field of a visit, looked for on everything that others may
see, and in everything that is kept once its customer was forgotten.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import attrs
import pypdf
import pytest

from corekit.desk.backup import back_up
from corekit.desk.errors import DeskError
from corekit.desk.forgetting import EARLY_BECAUSE, RetentionError
from corekit.desk.publishing import token
from corekit.desk.settings import PUBLISHED
from corekit.desk.shop import Shop
from corekit.model.money import Money
from corekit.model.public_words import WHY_WITHDRAWN
from corekit.model.records import RECORDS
from corekit.share.link import token_hash
from corekit.share.published import PublishedFolder
from corekit.store.persons import references
from corekit.web.page_app import page_app

from .chain import found_shop, pages_of, paper_text

SECRET = "Zebedee"
#: Printed and published because their type says so; what is typed there names nobody.
PUBLIC = {"requested.because", "ended.because", "repaired.cause"}


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    monkeypatch.setattr("corekit.share.reader.asked", pages_of(tmp_path / "van"))
    with Shop(found_shop(tmp_path / "van")) as shop:
        yield shop


def a_visit(shop: Shop) -> str:
    """Every field of free words that a visit file has, each with a secret of its own number."""
    said = iter(f"{SECRET}{n} at 12 Hidden Lane" for n in range(100))
    step: list[dict[str, Any]] = [
        {
            "remarked": {"words": next(said)},
            "seen": [
                {"of": "battery.case", "words": next(said), "cleared": next(said)},
                {"of": "battery.terminals", "cannot": next(said)},
            ],
            "codes": {"cannot": next(said)},
            "readings": [
                {"of": "battery.open_circuit_voltage", "is": "12.4 V"},
                {"of": "battery.temperature", "is": "20 °C", "withdrawn": next(said)},
            ],
        },
        {"tried": {"part": "battery.battery", "how": "wetted", "result": "stayed", "words": next(said)}},
        {"paid": {"amount": "1.00", "how": next(said), "withdrawn": next(said)}},
        {"remarked": {"words": next(said), "cleared": next(said)}},
    ]
    data = {
        "job": "kerb",
        "reason": next(said),
        "customer": {"name": next(said), "phone": "0555 90210", "address": next(said)},
        "vehicle": {"description": next(said), "no_vin": next(said), "odometer": "98400 km"},
        "specification": [
            {"of": "battery.starter_current", "high": "200 A", "from": f"a letter of {next(said)}"}
        ],
        "step": step,
    }
    path = shop.context.folder.parent / "kerb.json"
    path.write_text(json.dumps(data), "utf-8")
    job = shop.import_visit(path)
    estimate = shop.estimate(job, "diagnosis")
    shop.approve(estimate, by="customer", how=f"by phone from {next(said)}", words=next(said))
    shop.pay(job, Money(500, "EUR"), f"lent by {next(said)}")
    return job


def public_faces(shop: Shop, caplog: pytest.LogCaptureFixture) -> dict[str, bytes]:
    """What anybody may come to see: page, its PDF and content, published files, logs."""
    published = PublishedFolder(shop.context.folder / PUBLISHED)
    app = page_app(published, bearer=None, demo=False, base="https://pages.example.org")
    client, faces = app.test_client(), {}
    for entry in shop.store.books():
        if entry.kind == "invoice":
            code = token(shop.context, str(entry.body["document_id"]), 1)
            page = client.post("/v/open", data={"code": code})
            assert page.status_code == 200
            faces["page"] = page.data
            pdf = shop.context.folder.parent / "masked.pdf"
            pdf.write_bytes(client.post("/v/paper", data={"code": code}).data)
            faces["masked paper"] = pdf.read_bytes() + paper_text(pdf).encode()
            faces["attachment"] = b"".join(
                content for files in pypdf.PdfReader(pdf).attachments.values() for content in files
            )
            assert faces["attachment"]
            faces["published"] = (published.path / f"{token_hash(code)}.json").read_bytes()
    faces["logs"] = caplog.text.encode()
    return faces


def test_a_secret_in_every_field_of_free_words_is_on_nothing_that_others_see(
    shop: Shop, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    job = a_visit(shop)
    pdf = shop.issue(job).pdf
    assert SECRET in paper_text(pdf), "else this test shows nothing"
    shop.publish()
    for name, seen in public_faces(shop, caplog).items():
        assert SECRET.encode() not in seen, name
        assert b"90210" not in seen, name


@pytest.mark.parametrize(
    ("called", "customer", "vehicle"),
    [
        ("zebedee-van", {"name": "Zebedee Brown"}, {}),
        ("van of ZEBEDEE", {"name": "Zebedee"}, {}),
        ("zebrown1", {"name": "Zeb Rown"}, {}),
        ("x-demo-77", {}, {"plate": "DEMO 77"}),
        ("tel 0555 90210", {"phone": "0555-90210"}, {}),
    ],
)
def test_what_a_job_is_called_names_no_customer(
    shop: Shop, called: str, customer: dict[str, str], vehicle: dict[str, str]
) -> None:
    data: dict[str, Any] = {"job": called, "reason": "x", "vehicle": {"plate": "DEMO-1", **vehicle}}
    data |= {"customer": customer} if customer else {}
    path = shop.context.folder.parent / "call.json"
    path.write_text(json.dumps(data), "utf-8")
    with pytest.raises(DeskError, match="stays in the record for good"):
        shop.import_visit(path)
    path.write_text(json.dumps({**data, "job": "zebra crossing 7"}), "utf-8")
    shop.import_visit(path)


def test_forgetting_takes_the_page_down_and_leaves_no_secret_in_store_papers_or_backup(shop: Shop) -> None:
    job = a_visit(shop)
    shop.issue(job)
    shop.publish()
    folder = shop.context.folder
    back_up(shop.context)
    gone = shop.forget(job, because=EARLY_BECAUSE[0])
    assert gone.withdrawn == 1
    assert gone.left == ()
    assert shop.verify().faults == ()
    code = token(shop.context, str(shop.store.books()[-1].body["document_id"]), 1)
    client = page_app(
        PublishedFolder(folder / PUBLISHED), bearer=None, demo=False, base="https://pages.example.org"
    ).test_client()
    assert client.post("/v/open", data={"code": code}).status_code == 404
    assert shop.publish() == []
    for path in folder.rglob("*"):
        if path.is_file():
            assert SECRET.encode() not in path.read_bytes(), path


def test_before_the_retention_time_is_over_forgetting_takes_a_listed_reason(shop: Shop) -> None:
    job = a_visit(shop)
    shop.issue(job)
    with pytest.raises(RetentionError, match="kept until"):
        shop.forget(job)
    with pytest.raises(RetentionError, match="Nothing was destroyed"):
        shop.forget(job, because="no more room")
    assert shop.forget(job, because=EARLY_BECAUSE[0])["name"] == 1
    assert shop.verify().faults == ()


@pytest.mark.parametrize(("days", "early"), [(-1, True), (0, False)])
def test_on_the_last_day_of_the_retention_time_it_takes_none(tmp_path: Path, days: int, early: bool) -> None:
    folder = found_shop(tmp_path / "van")
    with Shop(folder) as opened:
        job = a_visit(opened)
        opened.issue(job)
        now = opened.context.clock()
    later = now.replace(year=now.year + 10) + timedelta(days=days)
    with Shop(folder, now=lambda: later) as opened:
        if early:
            with pytest.raises(RetentionError):
                opened.forget(job)
        else:
            assert opened.forget(job)


def test_a_job_without_invoice_and_payment_may_be_forgotten_at_once(shop: Shop) -> None:
    path = shop.context.folder.parent / "call.json"
    path.write_text(json.dumps({"job": "call", "reason": SECRET, "vehicle": {"plate": "DEMO-1"}}), "utf-8")
    assert shop.forget(shop.import_visit(path))


def test_own_words_for_why_something_is_withdrawn_are_kept_with_the_persons_and_read_as_before(
    shop: Shop,
) -> None:
    job = a_visit(shop)
    withdrawn = [entry for entry in shop.store.job(job).entries if entry.kind == "withdrawn"]
    assert len(withdrawn) == 2
    for entry in withdrawn:
        assert entry.reason == WHY_WITHDRAWN.instead
        assert SECRET in shop.store.texts(references(entry.body)).popitem()[1]
    before = len(shop.store.job(job).entries)
    shop.import_visit(shop.context.folder.parent / "kerb.json")
    assert len(shop.store.job(job).entries) == before, "the same file says nothing new"


def test_a_field_of_text_is_an_answer_our_own_word_or_named_as_public() -> None:
    """A new field of text has to be thought about: may it hold a person's words, and who may read it?"""
    of_jobs = set(RECORDS) - {"estimated", "invoice", "issued", "receipted", "published", "payment"}
    plain = {
        f"{kind}.{field.name}"
        for kind in of_jobs
        for field in attrs.fields(RECORDS[kind])
        if field.type in ("str", str) and "public" not in field.metadata
    }
    assert plain - OWN == PUBLIC


#: Keys, units, numbers as typed, closed lists and names that the program, a plugin or the shop's files give.
OWN = {
    "announced.currency",
    *("brought.content", "brought.mark"),
    *("planned.on", "planned.time", "recalled.on"),
    # Work of the shop's own is called as its price book calls work: printed, and read by everybody.
    *("serviced.operation", "priced.operation", "priced.hours", "priced.tax"),
    "approved.by",
    "approved.currency",
    *("approved_more.by", "approved_more.currency", "approved_more.operation"),
    *("charged.hours", "charged.operation", "charged.part", "charged.quantity"),
    *("discounted.operation", "discounted.percent", "old_parts.choice", "written_off.currency"),
    "approved.document_hash",
    "approved.estimate",
    "arrived.odometer_typed",
    "arrived.same_trip_as",
    "codes.state",
    "complaint.shows",
    "complaint_again.result",
    "ended.how",
    "fitted.answer",
    "fitted.kind",
    "fitted.of",
    "fitted.typed",
    "forgotten.because",
    "handed.to",
    "instrument.accuracy",
    "instrument.calibrated",
    "instrument.interval",
    "instrument.kind",
    "instrument.name",
    "instrument.step",
    "left.back",
    "left.because",
    "measured.instrument",
    "measured.kind",
    "measured.loosely",
    "measured.of",
    "measured.place",
    "measured.setup",
    "measured.span",
    "measured.typed",
    "opened.origin",
    "paid.currency",
    "photo.of",
    "photo.place",
    "recorded.instrument",
    "recorded.kind",
    "recorded.of",
    "recorded.over_kind",
    "recorded.over_unit",
    "recorded.place",
    "recorded.sha256",
    "recorded.span",
    "recorded.unit",
    "repaired.operation",
    "requested.ground",
    "requested.invoice",
    "requested.operation",
    "seen.answer",
    "seen.of",
    "seen.place",
    "specified.high_typed",
    "specified.kind",
    "specified.low_typed",
    "specified.of",
    "started.of",
    "started.place",
    "started.wait_typed",
    "tried.ago_typed",
    "tried.how",
    "tried.part",
    "tried.place",
    "tried.result",
    "tried.swapped_with",
    "vehicle.odometer_typed",
    "vehicle.vin_check",
    "waived.because",
    "waived.charge",
    "waived.invoice",
    "waived.operation",
}
