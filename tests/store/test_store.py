"""What a store keeps, gives back and refuses."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any
from unicodedata import normalize

import attrs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corekit import files
from corekit.model.canonical import digest
from corekit.model.entry import Draft
from corekit.model.personal import Personal, PersonalText
from corekit.model.records import (
    Customer,
    Estimated,
    Issued,
    Measured,
    Opened,
    Paid,
    PaymentTaken,
    Seen,
    body_of,
)
from corekit.store.errors import StoreError, store_error
from corekit.store.store import Store

from .conftest import fill, invoice, reading, said
from .writing import append, issue, mark_published, note_link, pay, revoke_link

# ── jobs ────────────────────────────────────────────────────────────────────────────────────────────────────


def test_what_was_appended_is_read_back_by_the_next_program(store: Store, job: str) -> None:
    written = append(
        store, job, [said("measured", "visit:v/#1", reading("12.6 V"), taken="2026-03-01T08:00:00Z")]
    )
    store.close()
    with Store.open(store.path) as again:
        assert list(again.job(job).entries)[1:] == written
        assert again.job(job).measured(0)[0].record == reading("12.6 V")
        assert again.jobs() == [job]
        assert again.verify() == []


def test_entries_of_all_jobs_stand_in_one_chain_and_name_the_heads_of_the_others(
    store: Store, job: str
) -> None:
    booked = issue(store, job, "2026-A", invoice)
    other = store.new_job()
    (entry,) = append(store, other, [said("opened", "o:opened/#1", Opened(origin="o"))])
    assert entry.chain == store.lineage and entry.n == 2
    assert entry.prev == store.journal(job)[-1].id
    assert entry.seen == (booked.id,)
    assert booked.seen == (store.journal(job)[0].id,)
    assert store.heads() == sorted([booked.id, entry.id])


def test_times_of_recording_are_utc_and_can_be_given(store: Store, job: str, tmp_path: Path) -> None:
    assert store.journal(job)[0].recorded == "2026-03-01T08:01:00Z", (
        "the second time that this test's clock was asked; making the store was the first"
    )
    with Store.create(tmp_path / "by-the-clock.corekit", demo=False) as real:
        (entry,) = append(real, real.new_job(), [said("opened", "o:opened/#1", Opened(origin="o"))])
        assert re.fullmatch(r"20\d\d-\d\d-\d\dT\d\d:\d\d:\d\dZ", entry.recorded)


def test_an_id_of_a_job_is_twelve_letters_that_survive_being_read_aloud(store: Store) -> None:
    names = {store.new_job() for _ in range(200)}
    assert len(names) == 200
    assert all(re.fullmatch(r"[0-9a-hjkmnp-tv-z]{12}", name) for name in names)


def test_a_job_is_found_by_its_id_its_name_and_the_beginning_of_its_id(store: Store, job: str) -> None:
    for text in (job, job.upper(), f" {job} ", job[:8], job.replace("0", "O").replace("1", "l"), "visit"):
        assert store.find(text) == job


def test_a_job_that_cannot_be_found_is_answered_with_those_that_there_are(store: Store, job: str) -> None:
    with pytest.raises(StoreError, match=rf"worn.*There are: {job} \(visit\)"):
        store.find("worn")
    with pytest.raises(StoreError, match="No job fits ''"):
        store.find("")


def test_a_name_that_two_jobs_bear_is_not_guessed_at(store: Store, job: str) -> None:
    other = store.new_job()
    append(store, other, [said("opened", "visit:arrival/opened/#1", Opened(origin="visit"))])
    with pytest.raises(StoreError, match="More than one job") as raised:
        store.find("visit")
    assert job in str(raised.value) and other in str(raised.value)
    assert store.jobs() == [job, other]


def test_of_two_statements_about_one_subject_the_later_replaces_the_earlier(store: Store, job: str) -> None:
    first, second = append(
        store,
        job,
        [
            said("measured", "visit:v/#1", reading("12.6 V")),
            said("measured", "visit:v/#1", reading("12.7 V")),
        ],
    )
    assert second.replaces == (first.id,)
    assert [noted.record.typed for noted in store.job(job).measured(0)] == ["12.7 V"]


def test_payments_may_go_into_the_books_in_the_same_stroke(store: Store, job: str) -> None:
    paid, taken = (
        Paid(amount=100, currency="EUR", how="cash"),
        PaymentTaken(amount=100, currency="EUR", how="cash", job_name="visit"),
    )
    append(store, job, [said("paid", "visit:paid/#1", paid)], books={"2026-A": [taken]})
    assert [entry.kind for entry in store.books()] == ["payment"]
    assert store.job(job).payments[0].record == paid


def test_nothing_to_say_writes_nothing(store: Store, job: str) -> None:
    assert append(store, job, []) == []
    assert len(store.journal(job)) == 1


# ── what is refused ─────────────────────────────────────────────────────────────────────────────────────────

REFUSED: dict[str, tuple[Draft, str]] = {
    "a kind that there is not": (Draft(kind="weighed", subject="s", body={}), "kind must be one of"),
    "a body that is no record": (Draft(kind="measured", subject="s", body={"colour": "red"}), "measured"),
    "no subject": (said("measured", "", reading("1 V")), "about"),
    "an empty personal text": (said("customer", "s", Customer(name=PersonalText("name", "  "))), "empty"),
    "a number that is none": (
        said("measured", "s", attrs.evolve(reading("1 V"), number=float("nan"))),
        "cannot be kept",
    ),
    "half a character": (
        said("seen", "s", Seen(of="x", words=PersonalText("note", "\ud800"))),
        "cannot be kept",
    ),
    "replacing what is not there": (
        said("measured", "s", reading("1 V"), replaces=("0" * 64,)),
        "no entry of this job",
    ),
    "a person who is not there": (
        said("customer", "s", Customer(name=Personal("name", "0" * 64))),
        "does not have",
    ),
    "a demo in a real store": (said("opened", "s", Opened(origin="x", demo=True)), "demo"),
    "a document with another hash": (
        said(
            "estimated",
            "s",
            Estimated(
                name="n",
                stage="s",
                document_id="d",
                document={},
                document_hash="0",
                total=1,
                currency="EUR",
                lines=[],
                versions={},
                heads=[],
            ),
        ),
        "hash",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_a_statement_that_cannot_be_kept_is_refused_and_its_whole_append_with_it(
    store: Store, job: str, what: str
) -> None:
    statement, why = REFUSED[what]
    person = said("customer", "visit:c/#1", Customer(name=PersonalText("name", "Example Customer")))
    with pytest.raises(StoreError, match=why) as raised:
        append(store, job, [person, statement])
    assert "Nothing was written" in str(raised.value)
    assert len(store.journal(job)) == 1
    assert store._connection.execute("SELECT count(*) FROM person").fetchone() == (0,)
    assert store.verify() == []


def test_a_job_that_never_began_takes_no_statement(store: Store) -> None:
    with pytest.raises(StoreError, match="no job"):
        append(store, "zzzzzzzzzzzz", [said("measured", "v:r#1", reading("1 V"))])
    assert store.jobs() == []


def test_another_job_s_person_is_not_lent(store: Store, job: str) -> None:
    """Forgetting the one job would tear a hole into the other."""
    append(
        store, job, [said("customer", "visit:c/#1", Customer(name=PersonalText("name", "Example Customer")))]
    )
    name = store.job(job).customer.name
    other = store.new_job()
    with pytest.raises(StoreError, match="does not have"):
        append(
            store,
            other,
            [
                said("opened", "o:opened/#1", Opened(origin="o")),
                said("customer", "o:c/#1", Customer(name=name)),
            ],
        )


def test_an_entry_of_another_job_is_never_replaced(store: Store, job: str) -> None:
    (mine,) = append(store, job, [said("measured", "visit:v/#1", reading("12.6 V"))])
    other = store.new_job()
    opened = said("opened", "o:opened/#1", Opened(origin="o"))
    with pytest.raises(StoreError, match="no entry of this job"):
        append(store, other, [opened, said("measured", "o:v/#1", reading("9 V"), replaces=(mine.id,))])
    assert store.jobs() == [job] and store.job(job).measured(0)[0].id == mine.id


def test_a_demo_store_says_so_and_takes_demo_files(tmp_path: Path) -> None:
    with Store.create(tmp_path / "demo.corekit", demo=True) as demo:
        assert demo.demo
        append(demo, demo.new_job(), [said("opened", "o:opened/#1", Opened(origin="o", demo=True))])


# ── persons ─────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_person_s_words_stand_apart_from_the_journal(store: Store, job: str) -> None:
    append(
        store,
        job,
        [
            said(
                "customer",
                "visit:c/#1",
                Customer(
                    name=PersonalText("name", "Example Customer"), phone=PersonalText("phone", "000 0001")
                ),
            )
        ],
    )
    name = store.job(job).customer.name
    assert isinstance(name, Personal)
    assert store.text(name.hash) == "Example Customer"
    assert sorted(store.texts(store.job(job).persons()).values()) == ["000 0001", "Example Customer"]
    assert all("Example Customer" not in str(entry.body) for entry in store.journal(job))


def test_a_personal_text_deep_in_a_body_is_exchanged_too(store: Store, job: str) -> None:
    body = {
        **body_of(Measured(of="x", typed="1 V", kind="voltage", number=1.0)),
        "place": [{"by": PersonalText("name", "Example Customer")}],
    }
    (entry,) = append(store, job, [Draft(kind="measured", subject="visit:x/#1", body=body)])
    assert set(entry.body["place"][0]["by"]) == {"personal", "hash"}
    assert store.text(entry.body["place"][0]["by"]["hash"]) == "Example Customer"


def test_the_same_text_twice_cannot_be_recognised_by_its_hash(store: Store, job: str) -> None:
    a, b = append(
        store,
        job,
        [said("seen", f"visit:x/#{n}", Seen(of="x", words=PersonalText("plate", "DEMO-1"))) for n in (1, 2)],
    )
    assert a.body["words"]["hash"] != b.body["words"]["hash"]
    assert digest("DEMO-1") not in (a.body["words"]["hash"], b.body["words"]["hash"])


def files_with(folder: Path, text: str) -> list[str]:
    return [path.name for path in folder.iterdir() if text.encode() in path.read_bytes()]


def test_forgotten_texts_are_gone_from_every_file_and_the_chain_still_verifies(store: Store) -> None:
    filled = fill(store)
    texts = [
        text
        for kind, text in store._connection.execute(
            "SELECT kind, text FROM person WHERE job = ?", (filled.job,)
        )
        if text
    ]
    hashes = [ref.hash for ref in store.job(filled.job).persons()]
    assert len(texts) == 5 and all(files_with(store.path.parent, text) for text in texts)
    counts = {"name": 1, "note": 1, "phone": 1, "plate": 1, "words": 1}
    assert store.forget(filled.job) == counts
    assert store.verify() == []
    for text in texts:
        assert files_with(store.path.parent, text) == []
    for hash_ in hashes:
        assert store.text(hash_) is None and store.forgotten(hash_, filled.job)
    assert not store.forgotten("0" * 64, filled.job)
    last = store.journal(filled.job)[-1]
    assert (last.kind, last.body["counts"]) == ("forgotten", counts)
    assert store.invoice("2026-A-0001").body["document"]["to"][0]["hash"] in hashes, (
        "the invoice stands, with a reference that nothing answers"
    )


def test_what_another_program_left_in_unused_pages_goes_too(store: Store, job: str) -> None:
    append(
        store, job, [said("customer", "visit:c/#1", Customer(name=PersonalText("name", "Example Customer")))]
    )
    with closing(sqlite3.connect(store.path, isolation_level=None)) as tool:
        tool.execute("PRAGMA secure_delete = OFF")
        tool.execute("CREATE TABLE scratch AS SELECT * FROM person")
        tool.execute("DROP TABLE scratch")
        tool.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert store.path.read_bytes().count(b"Example Customer") == 2, (
        "deleted the ordinary way a text stays in the file"
    )
    assert store.forget(job) == {"name": 1}
    assert files_with(store.path.parent, "Example Customer") == []


def test_forgetting_one_job_leaves_the_others(store: Store, job: str) -> None:
    append(
        store, job, [said("customer", "visit:c/#1", Customer(name=PersonalText("name", "Example Customer")))]
    )
    other = store.new_job()
    append(
        store,
        other,
        [said("opened", "o:opened/#1", Opened(origin="o", words=PersonalText("words", "Squeaks.")))],
    )
    store.forget(other)
    name = store.job(job).customer.name
    assert isinstance(name, Personal)
    assert store.text(name.hash) == "Example Customer"
    assert not store.forgotten(name.hash, job)


def test_forgetting_twice_says_it_once_and_what_came_after_can_be_forgotten_too(
    store: Store, job: str
) -> None:
    for number in (1, 2):
        append(
            store,
            job,
            [said("customer", f"visit:c/#{number}", Customer(name=PersonalText("name", "Example Customer")))],
        )
        assert store.verify() == []
        assert store.forget(job) == {"name": 1}
        assert store.forget(job) == {}
        assert store.verify() == []
    assert [entry.kind for entry in store.journal(job)].count("forgotten") == 2


def test_a_reader_who_keeps_the_old_state_is_named_and_forgetting_again_finishes(
    store: Store, job: str
) -> None:
    append(
        store, job, [said("customer", "visit:c/#1", Customer(name=PersonalText("name", "Example Customer")))]
    )
    hasty = Store.open(store.path, patience=0.05)
    with closing(sqlite3.connect(store.path, isolation_level=None)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT * FROM person").fetchall()
        with pytest.raises(StoreError, match="Close that program"):
            hasty.forget(job)
    assert hasty.forget(job) == {}
    assert files_with(store.path.parent, "Example Customer") == []
    hasty.close()


# ── books ───────────────────────────────────────────────────────────────────────────────────────────────────


def test_an_invoice_stands_in_the_books_and_the_job_names_it(store: Store, job: str) -> None:
    entry = issue(store, job, "2026-A", invoice)
    (issued,) = store.job(job).issued
    assert issued.record == Issued(
        number="2026-A-0001",
        document_id=entry.body["document_id"],
        document_hash=entry.body["document_hash"],
        books_entry=entry.id,
    )
    assert store.invoice("2026-A-0001") == entry
    assert (entry.journal, entry.job, entry.chain, entry.n, entry.body["place"]) == (
        "books",
        job,
        "2026-A",
        0,
        1,
    )


def test_an_invoice_that_cannot_be_built_takes_no_number(store: Store, job: str) -> None:
    def fails(place: int) -> Any:
        raise ArithmeticError(f"no invoice {place}")

    issue(store, job, "2026-A", invoice)
    with pytest.raises(ArithmeticError, match="no invoice 2"):
        issue(store, job, "2026-A", fails)
    assert issue(store, job, "2026-A", invoice).body["place"] == 2
    assert store.verify() == []


def test_each_books_chain_counts_for_itself_and_only_invoices_take_a_number(store: Store, job: str) -> None:
    fill(store)
    assert [(entry.chain, entry.body["place"]) for entry in store.books() if entry.kind == "invoice"] == [
        ("2026-A", 1),
        ("2026-A", 2),
        ("2026-B", 1),
    ]
    assert issue(store, job, "2026-A", invoice).body["place"] == 3
    kinds = [entry.kind for entry in store.books("2026-A")]
    assert kinds == ["invoice", "invoice", "payment", "drawer", "drawer", "invoice"]


@pytest.mark.parametrize(
    ("build", "why"),
    [
        (lambda place: invoice(place + 1), "was to be number 1"),
        (lambda place: attrs.evolve(invoice(place), number=""), "empty or taken"),
        (lambda place: attrs.evolve(invoice(place), document_hash="0"), "hash"),
    ],
)
def test_an_invoice_that_does_not_fit_its_number_is_refused(
    store: Store, job: str, build: Any, why: str
) -> None:
    with pytest.raises(StoreError, match=why):
        issue(store, job, "2026-A", build)
    assert store.books() == []
    assert len(store.journal(job)) == 1


def test_a_printed_number_is_given_once_over_all_books(store: Store, job: str) -> None:
    issue(store, job, "2026-A", invoice)
    with pytest.raises(StoreError, match="taken"):
        issue(store, job, "2026-B", invoice)


def test_what_builds_an_invoice_may_read_the_store_but_not_write_it(store: Store, job: str) -> None:
    def reads(place: int) -> Any:
        assert store.job(job).name == "visit"
        return attrs.evolve(invoice(place), heads=store.heads())

    def writes(place: int) -> Any:
        append(store, job, [said("measured", "visit:v/#1", reading("1 V"))])
        return invoice(place)

    assert issue(store, job, "2026-A", reads).body["heads"] == [store.journal(job)[0].id]
    with pytest.raises(StoreError, match="not write it"):
        issue(store, job, "2026-A", writes)
    assert len(store.books()) == 1


@pytest.mark.parametrize("chain", ["", "a b", "ä"])
def test_the_books_have_a_plain_name(store: Store, job: str, chain: str) -> None:
    with pytest.raises(StoreError, match="books"):
        issue(store, job, chain, invoice)


def test_the_books_are_not_kept_among_the_jobs(store: Store, job: str) -> None:
    with pytest.raises(StoreError, match="which holds jobs"):
        issue(store, job, store.lineage, invoice)


def test_a_payment_is_the_same_in_the_job_and_in_the_books(store: Store, job: str) -> None:
    paid, taken = (
        Paid(amount=500, currency="EUR", how="cash"),
        PaymentTaken(amount=500, currency="EUR", how="cash", job_name="visit"),
    )
    told, booked = pay(store, job, "2026-A", paid, taken)
    assert (told.kind, told.journal, booked.kind, booked.journal) == ("paid", "job", "payment", "books")
    pay(store, job, "2026-A", paid, taken)
    assert len(store.job(job).payments) == 2, "paying the same again is another payment"
    with pytest.raises(StoreError, match="must be the same"):
        pay(store, job, "2026-A", paid, attrs.evolve(taken, amount=501))
    assert len(store.books()) == 2


def test_an_unknown_invoice_is_answered_with_those_that_there_are(store: Store, job: str) -> None:
    with pytest.raises(StoreError, match="None was issued yet"):
        store.invoice("2026-A-0001")
    issue(store, job, "2026-A", invoice)
    with pytest.raises(StoreError, match=r"no invoice 7.*2026-A-0001"):
        store.invoice("7")


# ── links ───────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_link_is_noted_published_and_revoked_once(store: Store, job: str) -> None:
    noted = note_link(store, "ab" * 32, "document", 1, expires="2028-03-01T00:00:00Z")
    assert note_link(store, "ab" * 32, "document", 1, expires="2028-03-01T00:00:00Z") == noted
    published = mark_published(store, "ab" * 32, job, at="2026-03-02T08:00:00Z")
    assert published.published_at == "2026-03-02T08:00:00Z"
    assert mark_published(store, "ab" * 32, job) == published, "the first time stays"
    assert [entry.kind for entry in store.journal(job)] == ["opened", "published"]
    revoked = revoke_link(store, "ab" * 32)
    assert revoke_link(store, "ab" * 32, at="2030-01-01T00:00:00Z") == revoked
    assert store.links() == [revoked] == store.links("document")
    assert store.links("another") == []
    assert store.verify() == []


def test_a_link_s_number_and_token_are_its_own(store: Store) -> None:
    note_link(store, "ab" * 32, "document", 1)
    for token_hash, link in (("cd" * 32, 1), ("ab" * 32, 2)):
        with pytest.raises(StoreError, match="another link's"):
            note_link(store, token_hash, "document", link)
    with pytest.raises(StoreError, match="is known"):
        mark_published(store, "cd" * 32)


# ── lineage ─────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_restored_copy_goes_on_in_a_chain_of_its_own_and_reads_the_old_one(store: Store, job: str) -> None:
    old, entries = store.lineage, store.journal(job)
    new, _ = store.continue_restored()
    assert new == store.lineage != old and new > old
    (entry,) = append(store, job, [said("measured", "visit:v/#1", reading("1 V"))])
    assert (entry.chain, entry.n, entry.prev, entry.seen) == (new, 0, "", (entries[-1].id,))
    assert store.journal(job) == [*entries, entry]
    assert store.verify() == []


def test_two_stores_have_two_lineages(store: Store, tmp_path: Path) -> None:
    with Store.create(tmp_path / "other.corekit", demo=False) as other:
        assert other.lineage != store.lineage


# ── opening ─────────────────────────────────────────────────────────────────────────────────────────────────


def test_what_is_no_store_is_told_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "text").write_text("job = 'worn-battery'\n" * 200)
    (tmp_path / "empty").touch()
    with closing(sqlite3.connect(tmp_path / "other.db")) as connection:
        connection.execute("CREATE TABLE t (x)")
    for name, why in (
        ("absent", "There is no store"),
        ("folder", "is not a file"),
        ("text", "not a corekit store"),
        ("empty", "not a corekit store"),
        ("other.db", "not a corekit store"),
    ):
        before = (tmp_path / name).read_bytes() if (tmp_path / name).is_file() else None
        with pytest.raises(StoreError, match=why) as raised:
            Store.open(tmp_path / name)
        assert str(tmp_path / name) in str(raised.value)
        assert before is None or (tmp_path / name).read_bytes() == before


def test_without_hard_links_a_store_that_appeared_meanwhile_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "journal.sqlite"

    def none(*_: object) -> None:
        path.write_bytes(b"somebody else's")
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(files.os, "link", none)
    with pytest.raises(StoreError, match="exists already"):
        Store.create(path, demo=True)
    assert path.read_bytes() == b"somebody else's"
    assert [file.name for file in tmp_path.iterdir()] == ["journal.sqlite"]


def test_a_store_is_never_made_over_something_else(store: Store, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="exists already"):
        Store.create(store.path, demo=True)
    with pytest.raises(StoreError, match="folder must exist"):
        Store.create(tmp_path / "nowhere" / "shop.corekit", demo=True)
    assert not store.demo
    assert [path.name for path in tmp_path.iterdir() if ".new" in path.name] == []


@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX permissions")
def test_only_its_owner_may_read_a_store(store: Store) -> None:
    assert store.path.stat().st_mode & 0o077 == 0


def test_a_store_that_another_program_writes_to_is_told_as_locked(store: Store, job: str) -> None:
    with (
        closing(sqlite3.connect(store.path, isolation_level=None)) as other,
        Store.open(store.path, patience=0.05) as hasty,
    ):
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match=r"locked.*try again"):
            append(hasty, job, [said("measured", "visit:v/#1", reading("1 V"))])
        assert hasty.jobs() == [job], "reading goes on"
        other.execute("ROLLBACK")
        assert append(hasty, job, [said("measured", "visit:v/#1", reading("1 V"))])


def test_a_closed_store_says_so(store: Store) -> None:
    store.close()
    store.close()
    for ask in (store.jobs, store.heads, store.continue_restored, lambda: store.forget("x")):
        with pytest.raises(StoreError, match="was closed"):
            ask()


def test_opening_a_store_loads_nothing_heavy() -> None:
    code = "import sys, corekit.store.store; print(*sorted({name.split('.')[0] for name in sys.modules}))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    assert not set(loaded) & {
        "pint",
        "reportlab",
        "flask",
        "numpy",
        "jinja2",
        "qrcode",
        "cattrs",
        "pluggy",
        "sqlalchemy",
    }


# ── laws ────────────────────────────────────────────────────────────────────────────────────────────────────

plain = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
readings = st.builds(
    Measured,
    of=plain,
    typed=plain,
    kind=st.just("voltage"),
    number=st.floats(allow_nan=False, allow_infinity=False),
    place=plain,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(record=readings, reason=plain, words=plain.filter(lambda text: text.strip()), subject=plain)
def test_whatever_is_typed_comes_back_as_it_was_and_keeps_the_chain_whole(
    store: Store, record: Measured, reason: str, words: str, subject: str
) -> None:
    job = store.new_job()
    opened = said("opened", "o:opened/#1", Opened(origin="o", words=PersonalText("words", words)))
    written = append(store, job, [opened, said("measured", f"visit:{subject}#1", record, reason=reason)])
    assert store.journal(job) == written
    assert all(digest(entry.content()) == entry.id for entry in written)
    back = store.job(job).measured(0)[0].record
    assert (back.of, back.typed, back.place) == tuple(
        normalize("NFC", text) for text in (record.of, record.typed, record.place)
    )
    assert float(back.number) == record.number
    assert written[1].reason == normalize("NFC", reason)
    (person,) = store.texts(store.job(job).persons()).values()
    assert person == normalize("NFC", words)
    assert store.verify() == []


@pytest.mark.parametrize(
    ("code", "words", "said"),
    [
        # Result codes by sqlite.org/rescode.html, from memory; the upper bytes are the extended code.
        (5, "database is locked", "another program is writing"),
        (6, "database table is locked", "another program is writing"),
        (13, "database or disk is full", "Make room"),
        (10 | 12 << 8, "disk I/O error", "Make room"),
        (8, "attempt to write a readonly database", "may not be written"),
        (14, "unable to open database file", "its folder must exist"),
        (26, "file is not a database", "is not a corekit store"),
        (11, "database disk image is malformed", "is damaged"),
        (1, "Could not decode to UTF-8 column 'body'", "is damaged"),
        (1, "no such table: entry", "could not do this"),
        (None, "no such table: entry", "could not do this"),
    ],
)
def test_what_an_error_of_the_database_means_is_said_with_what_to_do(
    tmp_path: Path, code: int | None, words: str, said: str
) -> None:
    error = sqlite3.OperationalError(words)
    if code is not None:
        error.sqlite_errorcode = code
    assert said in str(store_error(error, tmp_path / "shop.corekit"))
