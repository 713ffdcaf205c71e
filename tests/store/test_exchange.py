"""Entries of several vans in one store: the union, in the journal's order, each chain whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import attrs
import pytest

from corekit.model.entry import Draft, own_subject
from corekit.model.personal import PersonalText
from corekit.model.records import Customer, Handed, Opened, body_of
from corekit.store.errors import ForkError, StoreError
from corekit.store.exchange import Parcel
from corekit.store.store import Store

from .conftest import invoice, reading, said
from .writing import append, issue


@pytest.fixture
def vans(tmp_path: Path, clock: Callable[[], str]) -> Iterator[tuple[Store, Store]]:
    stores = []
    for letters in "AB":
        store = Store.create(tmp_path / f"{letters}.corekit", demo=False, now=clock)
        store.join("http://127.0.0.1:1", letters)
        stores.append(store)
    yield stores[0], stores[1]
    for store in stores:
        store.close()


def sent(giver: Store, *, behind: dict[str, int] | None = None) -> Parcel:
    """What a van sends, as the hub would hand it on."""
    parcel = giver.parcel_behind(behind or {})
    return Parcel.of(attrs.evolve(parcel, owners=dict.fromkeys(giver.own_heads(), giver.device)).data())


def began(store: Store, name: str = "visit") -> str:
    job = store.new_job()
    append(
        store,
        job,
        [
            said("opened", f"{name}:opened/#1", Opened(origin=name, words=PersonalText("words", "Rattles."))),
            said("customer", f"{name}:customer/#1", Customer(name=PersonalText("name", "Example Customer"))),
            said("measured", f"{name}:v/#1", reading("12.40 V")),
        ],
    )
    return job


def hand(store: Store, job: str, to: str) -> None:
    earlier = [one.id for one in store.job(job).entries if one.kind == "handed"]
    draft = Draft(
        kind="handed",
        subject=own_subject("handed", job),
        body=body_of(Handed(to=to)),
        replaces=tuple(earlier[-1:]),
    )
    append(store, job, [draft])


def test_what_another_van_wrote_is_here_once_however_often_it_comes(vans: tuple[Store, Store]) -> None:
    a, b = vans
    job = began(a)
    assert [entry.job for entry in b.take_in(sent(a)).entries] == [job] * 3
    assert b.take_in(sent(a)).entries == ()
    assert b.journal(job) == a.journal(job)
    assert b.verify() == []


def test_a_van_lists_its_own_jobs_and_those_handed_to_it_alone(vans: tuple[Store, Store]) -> None:
    a, b = vans
    job, other = began(a), began(a, "second")
    b.take_in(attrs.evolve(sent(a), persons=()))
    assert b.jobs() == []
    assert not b.is_here(job)
    hand(a, job, "B")
    taken = b.take_in(sent(a))
    assert taken.handed == (job,)
    assert [row.id for row in b.open_jobs(9)] == [job]
    assert [(row.id, row.state, row.because) for row in a.closed_jobs(9)] == [
        (job, "handed to another van", "B")
    ]
    assert [row.id for row in a.open_jobs(9)] == [other]
    assert a.verify() == b.verify() == []


def test_a_handed_job_goes_on_there_and_nowhere_else(vans: tuple[Store, Store]) -> None:
    a, b = vans
    job = began(a)
    b.take_in(sent(a))
    again = said("measured", "visit:v/#2", reading("12.60 V"))
    with pytest.raises(StoreError, match="another van's"):
        append(b, job, [again])
    hand(a, job, "B")
    with pytest.raises(StoreError, match="handed to van B"):
        append(a, job, [again])
    b.take_in(sent(a))
    append(b, job, [again])
    a.take_in(sent(b))
    assert a.job(job) == b.job(job)
    hand(b, job, "A")
    a.take_in(sent(b))
    append(a, job, [said("measured", "visit:v/#3", reading("12.70 V"))])
    b.take_in(sent(a))
    told = [noted.record.typed for noted in b.job(job).measured(0)]
    assert told == ["12.40 V", "12.60 V", "12.70 V"], "in the order in which it was written, whoever wrote it"
    assert a.verify() == b.verify() == []


def test_a_chain_that_went_on_in_two_copies_is_refused_with_the_way_out(
    vans: tuple[Store, Store], tmp_path: Path
) -> None:
    a, b = vans
    job = began(a)
    a.copy_to(tmp_path / "copy.corekit")
    append(a, job, [said("measured", "visit:v/#2", reading("12.50 V"))])
    b.take_in(sent(a))
    with Store.open(tmp_path / "copy.corekit") as copy:
        append(copy, job, [said("measured", "visit:v/#2", reading("11.00 V"))])
        before = b.journal(job)
        with pytest.raises(ForkError, match="corekit restored"):
            b.take_in(sent(copy))
        assert b.journal(job) == before


def test_a_gap_a_changed_entry_and_an_entry_of_what_is_not_here_are_refused(
    vans: tuple[Store, Store],
) -> None:
    a, b = vans
    began(a)
    whole = sent(a)
    with pytest.raises(ForkError, match="does not follow"):
        b.take_in(attrs.evolve(whole, entries=whole.entries[1:], persons=()))
    data = whole.data()
    data["entries"][2]["body"]["typed"] = "13.40 V"
    with pytest.raises(ForkError, match="does not match its id"):
        Parcel.of(data)
    b.take_in(whole)
    job = began(b, "of b")
    seen_b = attrs.evolve(sent(b), owners={})
    assert seen_b.entries[0].seen
    with Store.create(b.path.with_name("c.corekit"), demo=False) as c:
        with pytest.raises(StoreError, match="not here yet"):
            c.take_in(seen_b)
        assert c.jobs() == []
    assert b.has(job)


def test_persons_forgotten_by_one_van_are_gone_from_the_other_and_both_verify(
    vans: tuple[Store, Store],
) -> None:
    a, b = vans
    job = began(a)
    hand(a, job, "B")
    b.take_in(sent(a))
    phone = said("customer", "visit:customer/#2", Customer(phone=PersonalText("phone", "000 0001")))
    append(b, job, [phone])
    a.forget(job)
    taken = b.take_in(sent(a))
    assert taken.forgotten == (job,)
    assert b.texts(b.job(job).persons()) == {}
    assert b.to_sweep() == [job]
    b.sweep(job)
    assert b.to_sweep() == []
    a.take_in(sent(b))
    assert a.texts(a.job(job).persons()) == {}
    for store in vans:
        assert store.verify() == []
        assert b"000 0001" not in store.path.read_bytes()


def test_each_van_counts_its_own_invoices_and_none_waits_to_be_published_by_another(
    vans: tuple[Store, Store],
) -> None:
    a, b = vans
    for store in vans:
        job = began(store)
        chain = f"books/{store.device}/2026"
        issue(store, job, chain, lambda place, chain=chain: invoice(place, chain))  # type: ignore[misc]
    b.take_in(sent(a))
    assert len(b.books()) == 2
    assert len(b.waiting_invoices()) == 1
    assert len(b.times_since_last_number()) == 2, "the entries of its own invoice"
    job = began(b, "next")
    chain = "books/B/2026"
    issue(b, job, chain, lambda place: invoice(place, chain))
    assert [entry.body["number"] for entry in b.books(chain)] == [f"{chain}-0001", f"{chain}-0002"]
    assert b.verify() == []


def test_parcels_hold_what_comes_first_first_and_go_on_behind_the_heads(
    vans: tuple[Store, Store], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("corekit.store.exchange.MOST_ENTRIES", 2)
    a, b = vans
    job = began(a)
    chain = "books/A/2026"
    issue(a, job, chain, lambda place: invoice(place, chain))
    heads: dict[str, int] = {}
    parcels = 0
    while True:
        parcel = sent(a, behind=heads)
        b.take_in(parcel)
        heads |= {entry.chain: entry.n for entry in parcel.entries}
        parcels += 1
        if parcel.is_last:
            break
    assert parcels == 3
    assert b.verify() == []
    assert b.journal(job) == a.journal(job)


def test_a_parcel_holds_nothing_that_is_there_already_also_where_jobs_and_books_were_written_in_turn(
    vans: tuple[Store, Store],
) -> None:
    a, _ = vans
    job = began(a)
    chain = "books/A/2026"
    issued = issue(a, job, chain, lambda place: invoice(place, chain))
    append(a, job, [said("measured", "visit:v/#2", reading("12.60 V"))])
    heads = a.own_heads()
    assert a.parcel_behind(heads).entries == ()
    assert [entry.id for entry in a.parcel_behind({**heads, chain: -1}).entries] == [issued.id]
