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
from corekit.desk.crediting import CreditAsked, credit
from corekit.desk.errors import DeskError, VisitError
from corekit.desk.forgetting import EARLY_BECAUSE, RetentionError
from corekit.desk.jobs import photograph
from corekit.desk.ledger import ledger
from corekit.desk.publishing import token
from corekit.desk.receipts import receipt_for
from corekit.desk.rows import add_rows
from corekit.desk.settings import PUBLISHED
from corekit.desk.shop import Shop
from corekit.model.money import Money
from corekit.model.public_words import WHY_WITHDRAWN
from corekit.model.records import RECORDS
from corekit.share.link import token_hash
from corekit.share.published import PublishedFolder
from corekit.store.errors import StoreError
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
            "records": [
                {
                    "of": "battery.drain_log",
                    "file": f"{next(said)}.csv",
                    "content": "s,mA\n0,20\n60,20\n",
                    "origin": {"file": next(said)},
                }
            ],
            "readings": [
                {"of": "battery.open_circuit_voltage", "is": "12.4 V", "origin": {"file": next(said)}},
                {"of": "battery.temperature", "is": "20 °C", "withdrawn": next(said)},
            ],
        },
        {"tried": {"part": "battery.battery", "how": "wetted", "result": "stayed", "words": next(said)}},
        {"tried": {"part": "battery.battery", "how": "swapped", "with": next(said), "result": "stayed"}},
        {"paid": {"amount": "1.00", "how": next(said), "withdrawn": next(said)}},
        {"codes": {"stored": [], "origin": {"bus": next(said)}}},
        {"announced": {"amount": "1.00", "how": next(said)}},
        {"planned": {"on": "2030-01-02", "place": next(said), "what": next(said)}},
        {"recalled": {"on": "2030-02-03", "what": next(said)}},
        {"requested": {"work": "Wipers", "ground": "customer"}},
        {"priced": {"operation": "Wipers", "hours": "0.5"}},
        {"remarked": {"words": next(said), "cleared": next(said)}},
    ]
    data = {
        "job": next(said),
        "reason": next(said),
        "customer": {
            "name": next(said),
            "phone": "0555 90210",
            "address": next(said),
            "email": f"{SECRET}@example.org",
            "tax_number": next(said),
            "order_number": next(said),
        },
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
    photograph(shop.context, job, f"{SECRET} as base64", what=next(said))
    receipt_for(shop.context, job)
    repair = shop.estimate(job, "repair")
    shop.approve(repair, by="customer", how=next(said))
    changes = [
        {"serviced": {"work": "Wipers"}},
        {
            "approved_more": {
                "operation": "Wipers",
                "amount": "12.00",
                "by": "customer",
                "how": next(said),
                "because": next(said),
            }
        },
        {"charged": {"operation": "Wipers", "hours": "0.6", "because": next(said)}},
        {"discounted": {"operation": "Wipers", "percent": "10", "because": next(said)}},
    ]
    for n, change in enumerate(changes):
        add_rows(shop.context, job, {"step": [change]}, request_id=f"work-that-changed-{n}")
    more = {"job": next(said), "reason": next(said), "vehicle": {"plate": f"{SECRET} 1"}}
    beside = {"job": next(said), "reason": "Smells.", "vehicle": {"plate": "DEMO-2"}}
    beside["step"] = [{"arrived": {"same_trip_as": data["job"]}}]
    for n, (further, of) in enumerate(((more, job), (beside, None))):
        path.with_name(f"{n}.json").write_text(json.dumps(further), "utf-8")
        shop.import_visit(path.with_name(f"{n}.json"), job=of)
    return job


def settle(shop: Shop, job: str) -> None:
    """What can be said in free words once an invoice is issued."""
    said = f"{SECRET} at 12 Hidden Lane is poor"
    off = {"written_off": {"amount": "1.00", "because": said}}
    add_rows(shop.context, job, {"step": [off]}, request_id="not-asked-for-any-more")
    credit(shop.context, job, said, CreditAsked(what="Wipers"))


def public_faces(shop: Shop, caplog: pytest.LogCaptureFixture) -> dict[str, bytes]:
    """What anybody may come to see: page, its PDF and content, published files, logs."""
    published = PublishedFolder(shop.context.folder / PUBLISHED)
    app = page_app(published, bearer=None, demo=False, base="https://pages.example.org")
    client, faces = app.test_client(), {}
    for entry in shop.store.books():
        if entry.kind == "invoice":
            code, of = token(shop.context, str(entry.body["document_id"]), 1), f" of {entry.body['number']}"
            page = client.post("/v/open", data={"code": code})
            assert page.status_code == 200
            faces["page" + of] = page.data
            pdf = shop.context.folder.parent / "masked.pdf"
            pdf.write_bytes(client.post("/v/paper", data={"code": code}).data)
            faces["masked paper" + of] = pdf.read_bytes() + paper_text(pdf).encode()
            faces["attachment" + of] = b"".join(
                content for files in pypdf.PdfReader(pdf).attachments.values() for content in files
            )
            assert faces["attachment" + of]
            faces["published" + of] = (published.path / f"{token_hash(code)}.json").read_bytes()
    faces["logs"] = caplog.text.encode()
    return faces


def test_a_secret_in_every_field_of_free_words_is_on_nothing_that_others_see(
    shop: Shop, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    job = a_visit(shop)
    pdf = shop.issue(job).pdf
    assert SECRET in paper_text(pdf), "else this test shows nothing"
    settle(shop, job)
    assert len(shop.publish()) == 2
    for name, seen in public_faces(shop, caplog).items():
        assert SECRET.encode() not in seen, name
        assert b"90210" not in seen, name


@pytest.mark.parametrize(
    ("said", "customer", "vehicle"),
    [
        ("a clamp that Zebedee Brown left loose", {"name": "Zebedee Brown"}, {}),
        ("loose (ZEBEDEE-BROWN)", {"name": "Zebedee Brown"}, {}),
        ("the wire of demo-77", {}, {"plate": "DEMO 77"}),
        ("ask 0555 90210", {"phone": "0555-90210"}, {}),
        ("ask z@example.org", {"email": "z@example.org"}, {}),
    ],
)
def test_words_that_everybody_may_read_hold_no_name_or_number_of_the_customer(
    shop: Shop, said: str, customer: dict[str, str], vehicle: dict[str, str]
) -> None:
    data: dict[str, Any] = {"job": "call", "reason": "x", "vehicle": {"plate": "DEMO-1", **vehicle}}
    data |= {"customer": customer} if customer else {}
    wish = {"work": "Wipers", "ground": "judgement", "because": said}
    path = shop.context.folder.parent / "call.json"
    path.write_text(json.dumps({**data, "step": [{"requested": wish}]}), "utf-8")
    with pytest.raises(DeskError, match="published for everybody"):
        shop.import_visit(path)
    path.write_text(
        json.dumps({**data, "step": [{"requested": {**wish, "because": "a brown wire"}}]}), "utf-8"
    )
    job = shop.import_visit(path)
    with pytest.raises(VisitError, match="published for everybody"):
        add_rows(
            shop.context,
            job,
            {"step": [{"requested": {**wish, "work": said}}]},
            request_id="said-on-a-screen",
        )


def test_a_job_that_was_forgotten_goes_by_its_id(shop: Shop) -> None:
    job = a_visit(shop)
    name = shop.store.job(job).name
    assert name.startswith(SECRET) and shop.store.find(name) == job
    assert any(SECRET in path.name for path in shop.context.folder.rglob("*"))
    beside = next(other for other in shop.store.jobs() if other != job)
    assert shop.store.job(beside).same_trip_as == job
    shop.forget(job, because=EARLY_BECAUSE[0])
    shop.forget(beside)
    for id_ in (job, beside):
        assert shop.store.job(id_).name == shop.store.find(id_) == shop.store.find(id_[:8]) == id_
        assert shop.store.names_of(id_) == []
    with pytest.raises(StoreError, match="No job fits"):
        shop.store.find(name)
    assert {row.name for row in shop.store.open_jobs(9)} == {job, beside}
    assert {row.job for row in ledger(shop.context).rows} == {job}
    assert not shop.store.found_jobs([SECRET.casefold()], 9)
    assert shop.verify().faults == ()


def test_a_journal_of_before_keeps_its_name_takes_the_same_file_as_the_same_and_forgetting_says_so(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = shop.context.folder.parent / "van.json"
    data = {"job": "van", "reason": SECRET, "vehicle": {"plate": "DEMO-1"}}
    path.write_text(json.dumps(data), "utf-8")
    with monkeypatch.context() as before:
        before.setattr("corekit.store.persons.FIRST_ROWS", "van")
        before.setattr("corekit.intake.visit.PersonalText", lambda kind, text: text)
        job = shop.import_visit(path)
    (opened, *_) = shop.store.journal(job)
    assert (opened.body["origin"], opened.subject) == ("van", "van:opened#1")
    count = len(shop.store.journal(job))
    assert shop.import_visit(path) == job and len(shop.store.journal(job)) == count
    path.write_text(json.dumps({**data, "reason": f"{SECRET}!"}), "utf-8")
    shop.import_visit(path)
    assert [entry.reason for entry in shop.store.journal(job)[count:]] == ["corrected in the file"]
    add_rows(shop.context, job, {"step": [{"remarked": {"words": SECRET}}]}, request_id="said-on-a-screen")
    gone = shop.forget(job)
    assert len(gone.left) == 1 and "older corekit" in gone.left[0]
    assert shop.store.job(job).name == "van"
    assert shop.verify().faults == ()


def test_the_rows_of_one_file_stand_under_one_key_in_every_store_and_it_says_nothing_of_the_name(
    shop: Shop,
) -> None:
    job = a_visit(shop)
    keys = {entry.subject.partition(":")[0] for entry in shop.store.journal(job) if entry.kind == "opened"}
    names = shop.store.names_of(job)
    assert len(keys) == len(names) == 2
    assert {shop.store.rows_key(shop.store.job(job), name) for name in names} == keys
    unknown = {shop.store.rows_key(shop.store.job(job), "a third") for _ in range(2)}
    assert len(unknown) == 1 and not unknown & keys
    shop.forget(job, because=EARLY_BECAUSE[0])
    after = {shop.store.rows_key(shop.store.job(job), "a third") for _ in range(2)}
    assert len(after) == 2, "what it was made with is gone, so nobody can try names on it"


def test_forgetting_takes_the_page_down_and_leaves_no_secret_in_store_papers_or_backup(shop: Shop) -> None:
    job = a_visit(shop)
    shop.issue(job)
    settle(shop, job)
    shop.publish()
    folder = shop.context.folder
    back_up(shop.context)
    gone = shop.forget(job, because=EARLY_BECAUSE[0])
    assert gone.withdrawn == 2, "of the invoice and of the credit note"
    assert gone.left == ()
    assert shop.verify().faults == ()
    code = token(shop.context, str(shop.store.books()[-1].body["document_id"]), 1)
    client = page_app(
        PublishedFolder(folder / PUBLISHED), bearer=None, demo=False, base="https://pages.example.org"
    ).test_client()
    assert client.post("/v/open", data={"code": code}).status_code == 404
    assert shop.publish() == []
    (beside,) = [other for other in shop.store.jobs() if other != job]
    shop.forget(beside)
    for path in folder.rglob("*"):
        assert SECRET not in path.name
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


#: Typed as pictures or by their own rules, never as words.
NO_WORDS = {"approved.signature", "customer.phone", "photo_chosen.image", "vehicle.vin"}


def test_the_secret_stands_in_every_field_that_a_person_may_have_typed(shop: Shop) -> None:
    job = a_visit(shop)
    shop.issue(job)
    settle(shop, job)
    entries = [entry for id_ in shop.store.jobs() for entry in shop.store.journal(id_)] + shop.store.books()
    typed = {
        f"{entry.kind}.{name}"
        for entry in entries
        for name, value in entry.body.items()
        if any(SECRET in text for text in shop.store.texts(references([value])).values())
    }
    personal = {
        f"{kind}.{field.name}"
        for kind, record in RECORDS.items()
        for field in attrs.fields(record)
        if "Personal" in str(field.type) or "_Person" in str(field.type) or "public" in field.metadata
    }
    assert len(personal) > 40
    assert personal - typed == NO_WORDS


def test_a_field_of_text_is_an_answer_our_own_word_or_named_as_public() -> None:
    """A new field of text has to be thought about: may it hold a person's words, and who may read it?"""
    documents = {"estimated", "invoice", "issued", "receipted", "reminded", "published"}
    of_jobs = set(RECORDS) - documents - {"payment", "drawer"}  # the drawer's reasons are of a closed list
    plain = {
        f"{kind}.{field.name}"
        for kind in of_jobs
        for field in attrs.fields(RECORDS[kind])
        if field.type in ("str", str) and "public" not in field.metadata
    }
    assert plain - OWN == PUBLIC


#: Keys, units, numbers as typed, closed lists and names that the program, a plugin or the shop's files give.
OWN = {
    *("announced.currency", "customer.language"),
    *("brought.content", "brought.mark"),
    *("planned.on", "planned.time", "recalled.on"),
    # Work of the shop's own is called as its price book calls work: printed, and read by everybody.
    *("serviced.operation", "priced.operation", "priced.hours", "priced.tax"),
    *("approved.by", "approved.currency"),
    "approved.cancellation",  # one of CancellationAnswer, or nothing is recorded
    *("approved_more.by", "approved_more.currency", "approved_more.operation"),
    *("charged.hours", "charged.operation", "charged.part", "charged.quantity"),
    *(
        "discounted.operation",
        "discounted.percent",
        "old_parts.choice",
        *("written_off.currency", "written_off.invoice"),
    ),
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
    "paid.currency",
    "photo.of",
    "photo.place",
    "photo_chosen.photo",  # an entry's id
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
    "vehicle.odometer_typed",
    "vehicle.vin_check",
    "waived.because",
    "waived.charge",
    "waived.invoice",
    "waived.operation",
}
