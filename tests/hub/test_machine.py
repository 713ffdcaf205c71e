"""Vans, hub and office doing whatever they may in any order, with lines that are cut anywhere: nothing is
lost, nothing is there twice, every chain verifies on all sides.
"""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, LiteralString, cast

import attrs
import hypothesis
import pytest
from flask.testing import FlaskClient
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from corekit.hub import desk, devices, record
from corekit.hub.app import hub_app, open_hub
from corekit.hub.people import Person, Role
from corekit.hub.sealing import HubKey
from corekit.model.personal import PersonalText
from corekit.model.records import Customer, Paid, PaymentTaken
from corekit.share.signing import SigningKey
from corekit.store.exchange import Parcel
from corekit.store.store import Store
from corekit.sync.client import HubLine
from corekit.sync.message import SyncError, base32, unpacked

from ..store.conftest import reading, said
from ..store.writing import append, pay
from .conftest import VanAt

OFFICE = Person(name="Kim", role=Role.OFFICE)
#: Tables of the hub, so that one database serves every example.
TABLES = (
    "meta, device, invitation, person_in_charge, chain, entry, person, prices, job, job_device, job_word,"
    " invoice"
)


@attrs.define(kw_only=True)
class Cut:
    """A line that is cut before a question is sent, or after it was answered and before the answer is"
    " here."""

    after: int = -1
    is_sent: bool = False

    def at_this(self) -> bool:
        self.after -= 1
        return self.after == -1


@attrs.frozen(kw_only=True)
class DirectLine(HubLine):
    """A line without a network in between."""

    client: FlaskClient
    cut: Cut = attrs.field(factory=Cut)

    def _call(self, path: str, body: bytes, headers: dict[str, str]) -> Any:
        is_cut = self.cut.at_this()
        if is_cut and not self.cut.is_sent:
            raise SyncError("cut", later=True)
        reply = self.client.post(path, data=body, headers=headers)
        if is_cut:
            raise SyncError("cut", later=True)
        if reply.status_code != 200:
            raise SyncError(f"{reply.status_code}: {reply.text}")
        return unpacked(reply.data)


class Fleet(RuleBasedStateMachine):
    """Three vans and the office on one hub."""

    address: str

    @initialize()
    def enrol(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.hub = open_hub(self.address, HubKey(b"k" * 32))
        with self.hub.database.line() as line:
            line.execute(f"TRUNCATE {TABLES} RESTART IDENTITY CASCADE".encode())
        self.hub.database.close()
        self.hub = open_hub(self.address, HubKey(b"k" * 32))
        client = hub_app(self.hub).test_client()
        self.vans: list[VanAt] = []
        self.written: set[str] = set()
        self.numbers: list[str] = []
        self.forgotten: set[str] = set()
        self.known_again: set[str] = set()
        for n in range(3):
            store = Store.create(self.folder / f"{n}.corekit", demo=False)
            key = SigningKey(bytes([n]) * 32)
            code = devices.invited(self.hub.database, f"Van {n}")
            letters, *_ = devices.enrolled(
                self.hub.database, code, base32(key.public), wish="A", books=[], now=self.hub.clock()
            )
            store.join("http://127.0.0.1:1", letters)
            line = DirectLine(address="http://127.0.0.1:1", key=key, letters=letters, client=client)
            self.vans.append(VanAt(store, line))

    def jobs_of(self, van: VanAt) -> list[str]:
        """Jobs that go on in a van, as it knows."""
        open_ = [row.id for row in van.store.open_jobs(50)]
        return sorted(open_)

    @rule(van=st.integers(0, 2))
    def begin(self, van: int) -> None:
        self.vans[van].begin(f"job{len(self.written)}", f"Person {len(self.written)}")
        self.noted(van)

    @rule(van=st.integers(0, 2), pick=st.integers(0, 99), volts=st.integers(100, 140))
    def read(self, van: int, pick: int, volts: int) -> None:
        """Correct a reading that may be another van's as well."""
        store = self.vans[van].store
        for job in self.jobs_of(self.vans[van])[pick % 3 :][:1]:
            told = [noted.entry for noted in store.job(job).standing if noted.entry.kind == "measured"]
            typed = f"{volts / 10:.2f} V"
            drafts = [
                said("measured", entry.subject, reading(typed), replaces=(entry.id,)) for entry in told[:1]
            ] or [said("measured", f"{job}:v/#9", reading(typed))]
            append(store, job, drafts)
            self.noted(van)

    @rule(van=st.integers(0, 2), pick=st.integers(0, 99))
    def call(self, van: int, pick: int) -> None:
        """A new phone number of the customer."""
        store = self.vans[van].store
        for job in self.jobs_of(self.vans[van])[pick % 3 :][:1]:
            phone = Customer(phone=PersonalText("phone", f"000 {pick:04}"))
            append(store, job, [said("customer", f"{job}:c{pick}/#1", phone)])
            if job in self.forgotten:
                self.known_again.add(job)
            self.noted(van)

    @rule(van=st.integers(0, 2), to=st.integers(0, 2), pick=st.integers(0, 99))
    def hand(self, van: int, to: int, pick: int) -> None:
        for job in self.jobs_of(self.vans[van])[pick % 3 :][:1]:
            self.vans[van].hand(job, self.vans[to].letters)
            self.noted(van)

    @rule(van=st.integers(0, 2), pick=st.integers(0, 99))
    def bill(self, van: int, pick: int) -> None:
        for job in self.jobs_of(self.vans[van])[pick % 3 :][:1]:
            self.numbers.append(self.vans[van].bill(job))
            self.noted(van)

    @rule(van=st.integers(0, 2), pick=st.integers(0, 99), amount=st.integers(1, 9))
    def pay(self, van: int, pick: int, amount: int) -> None:
        at = self.vans[van]
        for job in self.jobs_of(at)[pick % 3 :][:1]:
            taken = PaymentTaken(amount=amount, currency="EUR", how="cash", job_name="visit")
            pay(
                at.store,
                job,
                f"books/{at.letters}/2026",
                Paid(amount=amount, currency="EUR", how="cash"),
                taken,
            )
            self.noted(van)

    @rule(van=st.integers(0, 2), pick=st.integers(0, 99))
    def forget(self, van: int, pick: int) -> None:
        store = self.vans[van].store
        jobs = sorted(store.jobs())
        for job in jobs[pick % 3 :][:1]:
            if store.texts(store.job(job).persons()):
                store.forget(job)
                self.forgotten.add(job)
                self.noted(van)

    @rule(van=st.integers(0, 2))
    def office_call(self, van: int) -> None:
        call = desk.Call(who=f"Caller {len(self.written)}", words="Rattles.", van=self.vans[van].letters)
        desk.take_call(self.hub, OFFICE, call)
        self.noted_by_office()

    @rule(van=st.integers(0, 2), pick=st.integers(0, 99))
    def office_hand(self, van: int, pick: int) -> None:
        for row in desk.open_jobs(self.hub, OFFICE)[pick % 3 :][:1]:
            desk.hand(self.hub, OFFICE, row.id, self.vans[van].letters)
            self.noted_by_office()

    @rule(van=st.integers(0, 2))
    def sync(self, van: int) -> None:
        self.synced(van)

    @rule(van=st.integers(0, 2), after=st.integers(0, 12), is_sent=st.booleans())
    def cut_sync(self, van: int, after: int, is_sent: bool) -> None:
        line = self.vans[van].line
        assert isinstance(line, DirectLine)
        line.cut.after, line.cut.is_sent = after, is_sent
        with contextlib.suppress(SyncError):
            self.synced(van)
        line.cut.after = -1

    @rule(van=st.integers(0, 2))
    def restart(self, van: int) -> None:
        """The program of a van ends and begins again."""
        at = self.vans[van]
        at.store.close()
        at.store = Store.open(at.store.path)

    @precondition(lambda self: hasattr(self, "vans"))
    @invariant()
    def each_van_verifies(self) -> None:
        if len(self.written) % 7 == 0:
            for van in self.vans:
                assert van.store.verify() == [], "every van verifies"

    def synced(self, van: int) -> None:
        at = self.vans[van]
        at.sync()
        self.noted(van)

    def noted(self, van: int) -> None:
        """Whatever a van holds was acknowledged."""
        found = self.vans[van].store._connection.execute("SELECT id FROM entry")
        self.written |= {str(id_) for (id_,) in found}

    def noted_by_office(self) -> None:
        with self.hub.database.line() as line:
            self.written |= {str(id_) for (id_,) in line.execute("SELECT id FROM entry")}

    def teardown(self) -> None:
        if not hasattr(self, "vans"):
            return
        try:
            for _ in range(3):
                for van in range(3):
                    self.synced(van)
            self.hub_is_whole()
            self.vans_are_whole()
            self.what_was_forgotten_is_gone()
        finally:
            for van in self.vans:
                van.store.close()
            self.hub.database.close()
            shutil.rmtree(self.folder, ignore_errors=True)

    def hub_is_whole(self) -> None:
        with self.hub.database.line() as line:
            there = [str(id_) for (id_,) in line.execute("SELECT id FROM entry ORDER BY arrived")]
            numbers = [str(number) for (number,) in line.execute("SELECT number FROM invoice")]
        assert len(there) == len(set(there)), "each entry once"
        assert set(there) == self.written, "what was acknowledged, and nothing else"
        assert sorted(numbers) == sorted(self.numbers), "the numbers that were given"
        assert len(set(numbers)) == len(numbers), "no number twice"
        assert record.faults(self.hub.database, self.hub.key) == [], "the hub verifies"

    def vans_are_whole(self) -> None:
        jobs: dict[str, Any] = {}
        for van in self.vans:
            here = {str(id_) for (id_,) in van.store._connection.execute("SELECT id FROM entry")}
            assert here == self.written, "every entry on every van"
            assert van.store.verify() == [], "every van verifies"
            for (job,) in van.store._connection.execute("SELECT DISTINCT job FROM entry WHERE job <> ''"):
                folded = van.store.job(job)
                # What it is called is a person's, and is known where its texts are.
                plain = attrs.evolve(folded, called="")
                assert jobs.setdefault(job, plain) == plain, "the same job on every van"
                if not van.store.is_here(job):
                    assert van.store.texts(folded.persons()) == {}, "texts where the job is alone"

    def what_was_forgotten_is_gone(self) -> None:
        for job in self.forgotten - self.known_again:
            with self.hub.database.line() as line:
                count = line.execute("SELECT count(*) FROM person WHERE job = %s", (job,)).fetchone()
            texts = [van.store.texts(van.store.job(job).persons()) for van in self.vans]
            assert count == (0,), "forgotten on the hub"
            assert texts == [{}, {}, {}], "forgotten on every van"


def test_whatever_vans_hub_and_office_do_the_record_is_whole_on_all_sides(new_database: Any) -> None:
    machine = type("FleetHere", (Fleet,), {"address": new_database()})
    hypothesis.stateful.run_state_machine_as_test(
        machine,
        settings=hypothesis.settings(
            max_examples=8,
            stateful_step_count=25,
            deadline=None,
            phases=(hypothesis.Phase.generate, hypothesis.Phase.shrink),
            suppress_health_check=list(hypothesis.HealthCheck),
        ),
    )


# ── that each of these claims can fail ──────────────────────────────────────────────────────────────────────


def on_the_hub(*statements: LiteralString) -> Callable[[Fleet], None]:
    def plant(fleet: Fleet) -> None:
        with fleet.hub.database.line() as line:
            for statement in statements:
                line.execute(statement)

    return plant


def in_a_van(statement: str) -> Callable[[Fleet], None]:
    return lambda fleet: (fleet.vans[1].store._connection.execute(statement), None)[1]


def texts_for_everybody(fleet: Fleet) -> None:
    """A van is given the texts of a job that is another's."""
    job = next(iter(fleet.vans[0].store.jobs()))
    told = fleet.vans[0].store.parcel_behind({}).persons
    with fleet.vans[2].store.transaction() as transaction:
        transaction.take_in(Parcel(persons=tuple(one for one in told if one.job == job)))


def forgotten_text_stays_on_the_hub(fleet: Fleet) -> None:
    fleet.forget(0, 0)
    (job,) = fleet.forgotten
    with fleet.hub.database.line() as line:
        line.execute("CREATE TABLE kept AS SELECT * FROM person WHERE job = %s", (job,))
    fleet.synced(0)
    with fleet.hub.database.line() as line:
        line.execute("INSERT INTO person SELECT * FROM kept WHERE kind = 'words'")


def forgotten_text_stays_on_a_van(fleet: Fleet) -> None:
    told = fleet.vans[0].store.parcel_behind({}).persons
    fleet.forget(0, 0)
    (job,) = fleet.forgotten
    for van in range(3):
        fleet.synced(van)
    with fleet.vans[0].store.transaction() as transaction:
        transaction.take_in(Parcel(persons=tuple(one for one in told if one.job == job)))


def another_job_on_a_van(fleet: Fleet) -> None:
    """A van reads something else out of the same entries."""
    fleet.vans[1].store = cast("Store", Misread(fleet.vans[1].store))


class Misread:
    def __init__(self, store: Store) -> None:
        self.store = store

    def __getattr__(self, name: str) -> Any:
        return getattr(self.store, name)

    def job(self, id_: str) -> Any:
        return attrs.evolve(self.store.job(id_), entries=self.store.job(id_).entries[:-1])


def a_number_twice(fleet: Fleet) -> None:
    fleet.numbers = [fleet.numbers[0]] * len(fleet.numbers)
    with fleet.hub.database.line() as line:
        line.execute("UPDATE invoice SET number = %s", (fleet.numbers[0],))


_LAST: LiteralString = "(SELECT max(arrived) FROM entry WHERE kind = 'measured')"


@pytest.mark.parametrize(
    ("plant", "claim"),
    [
        (
            on_the_hub(
                "ALTER TABLE entry DROP CONSTRAINT entry_id_key",
                "ALTER TABLE entry DROP CONSTRAINT entry_chain_n_key",
                "ALTER TABLE entry ALTER arrived SET GENERATED BY DEFAULT",
                "CREATE TABLE more AS SELECT * FROM entry WHERE kind = 'measured' LIMIT 1",
                "UPDATE more SET arrived = 9999",
                "INSERT INTO entry SELECT * FROM more",
            ),
            "each entry once",
        ),
        (on_the_hub(f"DELETE FROM entry WHERE arrived = {_LAST}"), "what was acknowledged, and nothing else"),
        (on_the_hub("UPDATE invoice SET number = 'other'"), "the numbers that were given"),
        (a_number_twice, "no number twice"),
        (on_the_hub("UPDATE entry SET taken = 'then'"), "the hub verifies"),
        (on_the_hub("UPDATE job SET state = 'closed'"), "the hub verifies"),
        (on_the_hub("UPDATE invoice SET owed = 1"), "the hub verifies"),
        (on_the_hub("DELETE FROM job_word"), "the hub verifies"),
        (in_a_van("DELETE FROM entry WHERE kind = 'measured'"), "every entry on every van"),
        (in_a_van("UPDATE entry SET taken = 'then' WHERE kind = 'measured'"), "every van verifies"),
        (another_job_on_a_van, "the same job on every van"),
        (texts_for_everybody, "texts where the job is alone"),
        (forgotten_text_stays_on_the_hub, "forgotten on the hub"),
        (forgotten_text_stays_on_a_van, "forgotten on every van"),
    ],
)
def test_a_planted_fault_is_found_by_the_claim_it_breaks(
    new_database: Any, plant: Callable[[Fleet], None], claim: str
) -> None:
    fleet = type("FleetHere", (Fleet,), {"address": new_database()})()
    fleet.enrol()
    fleet.begin(0)
    fleet.begin(1)
    fleet.bill(0, 0)
    fleet.bill(1, 0)
    for van in (0, 1, 2, 0, 1):
        fleet.synced(van)
    for check in CHECKS:
        check(fleet)
    plant(fleet)
    with pytest.raises(AssertionError, match=claim):
        for check in CHECKS:
            check(fleet)
    for at in fleet.vans:
        at.store.close()
    fleet.hub.database.close()
    shutil.rmtree(fleet.folder, ignore_errors=True)


CHECKS = (Fleet.hub_is_whole, Fleet.vans_are_whole, Fleet.what_was_forgotten_is_gone)
