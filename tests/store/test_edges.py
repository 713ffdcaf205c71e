"""Whose entries a job's writer may replace: its own, and nobody else's."""

from __future__ import annotations

import attrs
import pytest

from corekit.model.entry import Draft, Entry
from corekit.model.records import InvoiceIssued, Opened
from corekit.store.errors import StoreError
from corekit.store.store import Store

from .conftest import invoice, reading, said
from .writing import append

SUBJECT = "visit:arrival/battery.open_circuit_voltage/#1"
Jobs = tuple[tuple[str, Entry], tuple[str, Entry]]


def with_a_reading(store: Store, origin: str) -> tuple[str, Entry]:
    job = store.new_job()
    opened = said("opened", f"{origin}:arrival/opened/#1", Opened(origin=origin))
    return job, append(store, job, [opened, said("measured", SUBJECT, reading("12.6 V"))])[1]


@pytest.fixture
def jobs(store: Store) -> Jobs:
    """Two jobs that have begun, each with a reading under the same subject."""
    return with_a_reading(store, "one"), with_a_reading(store, "two")


def correction(*replaced: Entry) -> Draft:
    return said(
        "measured",
        SUBJECT,
        reading("12.4 V"),
        replaces=tuple(entry.id for entry in replaced),
        reason="misread",
    )


def typed(store: Store, job: str) -> list[str]:
    return [noted.record.typed for noted in store.job(job).measured(0)]


def test_a_job_replaces_its_own_entry_and_leaves_the_other_job_alone(store: Store, jobs: Jobs) -> None:
    (one, mine), (other, _) = jobs
    append(store, one, [correction(mine)])
    assert (typed(store, one), typed(store, other)) == (["12.4 V"], ["12.6 V"])
    assert store.verify() == []


@pytest.mark.parametrize("beside_its_own", [False, True])
def test_a_job_that_has_begun_replaces_no_entry_of_another_even_under_the_same_subject(
    store: Store, jobs: Jobs, beside_its_own: bool
) -> None:
    (one, mine), (other, foreign) = jobs
    heads = store.heads()
    replaced = (mine, foreign) if beside_its_own else (foreign,)
    with pytest.raises(StoreError, match=foreign.id[:12]):
        append(store, one, [correction(*replaced)])
    assert store.heads() == heads
    assert (typed(store, one), typed(store, other)) == (["12.6 V"], ["12.6 V"])


def test_a_transaction_over_several_jobs_still_writes_a_job_s_own_journal_for_that_job_alone(
    store: Store, jobs: Jobs
) -> None:
    (one, mine), (other, foreign) = jobs
    heads = store.heads()
    with pytest.raises(StoreError, match=foreign.id[:12]), store.transaction(one, other) as transaction:
        transaction.append([correction(foreign)])
    assert store.heads() == heads
    with store.transaction(one, other) as transaction:
        transaction.append([correction(mine)])
    assert (typed(store, one), typed(store, other)) == (["12.4 V"], ["12.6 V"])


def test_an_invoice_over_several_jobs_tells_each_of_them_and_replaces_nothing(
    store: Store, jobs: Jobs
) -> None:
    (one, _), (other, _) = jobs
    third, _ = with_a_reading(store, "three")

    def over(place: int) -> InvoiceIssued:
        return attrs.evolve(invoice(place), jobs=[one, other])

    with store.transaction(one, other) as transaction:
        entry = transaction.issue("2026-A", over(transaction.next_number("2026-A")))
    told = [store.job(job).issued for job in (one, other)]
    assert [noted.entry.replaces for issued in told for noted in issued] == [(), ()]
    assert entry.replaces == () and not store.job(third).issued
    assert [typed(store, job) for job in (one, other, third)] == [["12.6 V"]] * 3
    assert store.verify() == []
