"""Folding a journal into a job."""

from __future__ import annotations

from typing import Any

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.model.entry import Entry, seal
from corekit.model.job import Job, fold, stage_name
from corekit.model.personal import Personal
from corekit.model.records import (
    RECORDS,
    Approved,
    Arrived,
    Customer,
    Estimated,
    Fitted,
    Instrument,
    Issued,
    Left,
    Measured,
    Opened,
    Paid,
    Photographed,
    Repaired,
    Requested,
    Seen,
    Setup,
    Specified,
    Started,
    Vehicle,
    Withdrawn,
    body_of,
)

KINDS = {record: kind for kind, record in RECORDS.items()}


class Journal:
    """Chains being written: `say` appends to one and gives the entry."""

    def __init__(self) -> None:
        self.chains: dict[str, list[Entry]] = {}

    def say(
        self,
        record: Any,
        subject: str,
        *,
        chain: str = "van",
        replaces: tuple[Entry, ...] = (),
        seen: tuple[Entry, ...] = (),
    ) -> Entry:
        written = self.chains.setdefault(chain, [])
        entry = Entry(
            journal="job",
            job="j",
            chain=chain,
            n=len(written),
            prev=written[-1].id if written else "",
            kind=KINDS[type(record)],
            subject=subject,
            body=body_of(record),
            recorded="",
            replaces=tuple(old.id for old in replaces),
            seen=tuple(head.id for head in seen),
        )
        written.append(seal(entry))
        return written[-1]

    @property
    def entries(self) -> list[Entry]:
        return [entry for written in self.chains.values() for entry in written]

    @property
    def job(self) -> Job:
        return fold("j", self.entries)


def volts(number: float, **more: Any) -> Measured:
    return Measured(of="brakes.voltage", typed=f"{number} V", kind="voltage", number=number, **more)


def numbers(job: Job) -> list[float]:
    return [noted.record.number for noted in job.all(Measured)]


@st.composite
def journals(draw: st.DrawFn) -> list[Entry]:
    """Two chains that say, correct and withdraw things about a few subjects, each knowing some of the other's
    heads.
    """
    journal = Journal()
    for _ in range(draw(st.integers(0, 12))):
        subject = draw(st.sampled_from("abc"))
        known = [entry for entry in journal.entries if entry.subject == subject]
        replaced = (
            tuple(draw(st.lists(st.sampled_from(known), unique_by=lambda entry: entry.id))) if known else ()
        )
        record = Withdrawn() if replaced and draw(st.booleans()) else volts(draw(st.sampled_from([1.0, 2.0])))
        journal.say(record, subject, chain=draw(st.sampled_from(["van", "phone"])), replaces=replaced)
    return journal.entries


@pytest.mark.parametrize(("first", "second"), [("a", "b"), ("b", "a")])
def test_what_a_van_knew_when_it_wrote_does_not_hang_on_the_names_of_chains(first: str, second: str) -> None:
    journal = Journal()
    told = [journal.say(volts(1.0), subject, chain=first) for subject in ("one", "two")]
    taken_over = journal.say(volts(2.0), "three", chain=second, seen=(told[1],))
    meanwhile = journal.say(volts(3.0), "four", chain=first)
    after = journal.say(volts(4.0), "five", chain=second)
    came_back = journal.say(volts(5.0), "six", chain=first, seen=(after,))
    job = journal.job
    assert all(job.knew(entry, one) for entry in (taken_over, after) for one in told)
    assert job.knew(after, taken_over)
    assert not any(job.knew(entry, meanwhile) for entry in (taken_over, after))
    assert not any(job.knew(meanwhile, entry) for entry in (taken_over, after))
    assert all(job.knew(came_back, one) for one in (*told, taken_over, meanwhile, after))
    assert not any(job.knew(one, one) for one in job.entries)
    assert {entry.id for entry in job.before(after).entries} == {one.id for one in (*told, taken_over)}


def test_an_entry_knew_what_it_replaces() -> None:
    journal = Journal()
    old = journal.say(volts(1.0), "one", chain="a")
    new = journal.say(volts(2.0), "one", chain="b", replaces=(old,))
    assert journal.job.knew(new, old) and not journal.job.knew(old, new)


@given(journals(), st.data())
def test_a_merge_folds_alike_in_whatever_order_and_however_often(
    entries: list[Entry], data: st.DataObject
) -> None:
    first = data.draw(st.lists(st.sampled_from(entries))) if entries else []
    shuffled = data.draw(st.permutations(entries))
    assert fold("j", [*first, *shuffled]) == fold("j", entries)


@given(journals())
def test_nothing_is_lost_and_what_stands_is_what_nothing_replaces(entries: list[Entry]) -> None:
    job = fold("j", entries)
    assert {entry.id for entry in job.entries} == {entry.id for entry in entries}
    replaced = {old for entry in entries for old in entry.replaces}
    heads = [entry for entry in entries if entry.id not in replaced]
    assert {noted.id for noted in job.standing} <= {entry.id for entry in heads if entry.kind != "withdrawn"}
    for subject in {entry.subject for entry in heads}:
        several = [entry for entry in heads if entry.subject == subject]
        apart = len({(entry.kind, str(sorted(entry.body.items()))) for entry in several}) > 1
        assert apart == (subject in {dispute.subject for dispute in job.disputes})


def test_two_chains_that_say_different_things_are_in_dispute_and_both_are_named() -> None:
    journal = Journal()
    one, other = journal.say(volts(12.0), "r"), journal.say(volts(11.0), "r", chain="phone")
    (dispute,) = journal.job.disputes
    assert dispute.subject == "r"
    assert set(dispute.entries) == {one.id, other.id}
    settled = journal.say(volts(12.0), "r", replaces=(one, other))
    assert journal.job.disputes == ()
    assert [noted.id for noted in journal.job.standing] == [settled.id]


def test_two_chains_that_say_the_same_agree() -> None:
    journal = Journal()
    journal.say(volts(12.0), "r")
    twin = journal.say(volts(12.0), "r", chain="phone")
    # The same statement, its names in another order, as a store may give it back.
    turned = seal(attrs.evolve(twin, body=dict(reversed(list(twin.body.items())))))
    for entries in (journal.entries, [journal.chains["van"][0], turned]):
        job = fold("j", entries)
        assert job.disputes == ()
        assert numbers(job) == [12.0]


def test_a_withdrawal_beside_a_correction_is_a_dispute() -> None:
    journal = Journal()
    first = journal.say(volts(12.0), "r")
    journal.say(volts(11.0), "r", replaces=(first,))
    journal.say(Withdrawn(), "r", chain="phone", replaces=(first,))
    assert [dispute.subject for dispute in journal.job.disputes] == ["r"]


def test_what_was_withdrawn_does_not_stand() -> None:
    journal = Journal()
    first = journal.say(volts(12.0), "r")
    journal.say(volts(11.0), "s")
    journal.say(Withdrawn(), "r", replaces=(first,))
    assert numbers(journal.job) == [11.0]
    assert len(journal.job.entries) == 3


def test_a_correction_stands_where_the_statement_stood() -> None:
    journal = Journal()
    first = journal.say(volts(12.0), "r")
    journal.say(volts(11.0), "s")
    correction = journal.say(volts(12.5), "r", replaces=(first,))
    journal.say(volts(12.6), "r", replaces=(correction,))
    assert numbers(journal.job) == [12.6, 11.0]


def test_the_stage_is_the_number_of_repairs() -> None:
    journal = Journal()
    assert journal.job.stage == 0
    for stage in (1, 2):
        journal.say(Repaired(operation="brakes.bleed", stage=stage), f"repair {stage}")
    assert journal.job.stage == 2
    assert [stage_name(stage) for stage in journal.job.stages] == ["arrival", "after 1", "after 2"]


def test_readings_and_looks_belong_to_their_stage() -> None:
    journal = Journal()
    journal.say(volts(12.0), "r")
    journal.say(Seen(of="brakes.pedal", answer="firm"), "p")
    journal.say(volts(11.0, stage=1), "s")
    assert [noted.record.number for noted in journal.job.measured(1)] == [11.0]
    assert [noted.record.answer for noted in journal.job.seen(0)] == ["firm"]
    assert (journal.job.spoken_of(0), journal.job.spoken_of(1)) == (
        ("brakes.voltage", "brakes.pedal"),
        ("brakes.voltage",),
    )


def test_of_what_is_fitted_the_latest_answer_up_to_the_stage_counts() -> None:
    journal = Journal()
    journal.say(
        Fitted(of="brakes.pads", typed="new", answer="new", stage=1), "repair/pads"
    )  # said first, true later
    journal.say(Fitted(of="brakes.pads", typed="worn", answer="worn"), "pads")
    answers = [journal.job.fitted(stage)["brakes.pads"].record.answer for stage in (0, 1, 2)]
    assert answers == ["worn", "new", "new"]


def test_a_job_without_a_beginning_says_so() -> None:
    with pytest.raises(ValueError, match="no beginning"):
        _ = Journal().job.opened


def test_every_kind_of_record_is_found_again() -> None:
    journal = Journal()
    told = Personal("name", "h" * 64)
    estimated = Estimated(
        name="repair 1",
        stage="repair",
        document_id="d",
        document={"note": {"personal": "note", "hash": "k"}},
        document_hash="h",
        total=1,
        currency="EUR",
        lines=[],
        versions={},
        heads=[],
    )
    said = [
        Opened(origin="visit.toml", demo=True),
        Vehicle(plate=Personal("plate", "p" * 64)),
        Customer(name=told),
        Instrument(name="meter", accuracy="1 %"),
        Setup(values={}),
        Specified(of="brakes.voltage", where_from="label", kind="voltage", low=1.0),
        Requested(operation="brakes.bleed", ground="customer"),
        estimated,
        Approved(
            estimate="repair 1", document_hash="h", total=1, currency="EUR", by="customer", how="in person"
        ),
        Repaired(operation="brakes.bleed", stage=1),
        Issued(number="1", document_id="d", document_hash="h", books_entry="b"),
        Paid(amount=1, currency="EUR", how="cash"),
    ]
    for place, record in enumerate(said):
        journal.say(record, f"s{place}")
    job = journal.job
    assert [noted.record for noted in job.standing] == said
    assert (job.name, job.demo, job.customer.name) == ("visit.toml", True, told)
    assert job.vehicle.plate == Personal("plate", "p" * 64)
    assert [
        one[0].record
        for one in (
            job.estimates,
            job.approvals,
            job.repairs,
            job.requested,
            job.issued,
            job.payments,
            job.specified,
        )
    ] == [
        said[7],
        said[8],
        said[9],
        said[6],
        said[10],
        said[11],
        said[5],
    ]
    assert job.instruments == {"meter": said[3]}
    setup = job.setup("s4")
    assert setup is not None
    assert setup.record == said[4]
    assert job.setup("s0") is None
    assert set(job.persons()) == {Personal("plate", "p" * 64), told, Personal("note", "k")}


# ---- visits, waiting, pictures


def started(of: str = "battery.parasitic_draw", place: str = "") -> Started:
    return Started(of=of, wait=1800.0, wait_typed="30 min", place=place)


def read(of: str = "battery.parasitic_draw", place: str = "") -> Measured:
    return Measured(of=of, typed="20 mA", kind="electric current", number=0.02, place=place)


@pytest.mark.parametrize(
    ("begun", "then", "waits"),
    [
        (started(), [], True),
        (started(), [read()], False),
        (started(), [Seen(of="battery.parasitic_draw", cannot="the owner left")], False),
        (started(), [read("battery.open_circuit_voltage")], True),
        (started(place="posts"), [read(place="clamps")], True),
        (started(place="posts"), [read(place="posts")], False),
        (started(place="posts"), [Seen(of="battery.parasitic_draw", cannot="no reach")], False),
        (started(), [read(place="posts")], False),
    ],
)
def test_a_test_waits_until_its_own_reading_is_taken_or_cannot_be(
    begun: Started, then: list[Any], waits: bool
) -> None:
    journal = Journal()
    journal.say(read(), "before")  # what was read before it was begun ends nothing
    journal.say(begun, "begun")
    for place, record in enumerate(then):
        journal.say(record, f"then{place}")
    assert [noted.record for noted in journal.job.waiting] == ([begun] if waits else [])


def test_a_test_begun_again_waits_once() -> None:
    journal = Journal()
    journal.say(started(), "first")
    second = journal.say(started(), "second")
    assert [noted.id for noted in journal.job.waiting] == [second.id]


def test_a_waiting_test_that_was_withdrawn_waits_no_more() -> None:
    journal = Journal()
    begun = journal.say(started(), "begun")
    journal.say(Withdrawn(), "begun", replaces=(begun,))
    assert journal.job.waiting == ()


def test_a_job_is_left_open_until_somebody_comes_again() -> None:
    journal = Journal()
    assert journal.job.left_open is None
    journal.say(Arrived(), "arrived")
    left = journal.say(Left(because="part missing"), "left")
    assert journal.job.left_open is not None
    assert journal.job.left_open.id == left.id
    journal.say(Arrived(odometer=1.0, odometer_typed="0.001 km"), "again")
    assert journal.job.left_open is None
    assert [type(noted.record) for noted in journal.job.visits] == [Arrived, Left, Arrived]


def test_pictures_are_no_persons_unless_somebody_asks_for_them() -> None:
    journal, picture, words = Journal(), Personal("photo", "f" * 64), Personal("note", "n" * 64)
    journal.say(Photographed(image=picture, what=words), "photo")
    assert list(journal.job.persons()) == [words]
    assert list(journal.job.persons("photo", "signature")) == [picture]


def test_what_stands_in_place_of_an_entry_is_its_last_correction_or_its_withdrawal() -> None:
    journal = Journal()
    first = journal.say(read(), "r")
    assert journal.job.instead_of(first.id) is None
    second = journal.say(read(), "r", replaces=(first,))
    third = journal.say(Withdrawn(), "r", replaces=(second,))
    job = journal.job
    assert (job.instead_of(first.id), job.instead_of(second.id), job.instead_of(third.id)) == (
        third,
        third,
        None,
    )
    assert job.instead_of("no entry") is None


def test_an_approval_without_a_signature_has_the_body_that_it_always_had() -> None:
    approved = Approved(
        estimate="diagnosis 1", document_hash="h", total=1, currency="EUR", by="customer", how="in person"
    )
    assert "signature" not in body_of(approved)
    signed = attrs.evolve(approved, signature=Personal("signature", "s"))
    assert RECORDS["approved"](**body_of(signed)) == signed


def test_work_counts_as_approved_by_the_latest_word_on_it() -> None:
    journal = Journal()
    for name, keys, declined in (
        ("repair 1", ["a", "b"], ["b"]),
        ("repair 2", ["b", "c"], ["c"]),
        ("repair 3", ["d"], None),
    ):
        lines = [{"operation": key} for key in ("", *keys)]
        estimated = Estimated(
            name=name,
            stage="repair",
            document_id="d",
            document={},
            document_hash="h",
            total=0,
            currency="EUR",
            lines=lines,
            versions={},
            heads=[],
        )
        journal.say(estimated, f"offered {name}")
        if declined is not None:
            approved = Approved(
                estimate=name,
                document_hash="h",
                total=0,
                currency="EUR",
                by="customer",
                how="in person",
                declined=declined,
            )
            journal.say(approved, f"approved {name}")
    assert journal.job.approval.approved == ("a", "b")
