"""What is approved, declined, done and open is one answer: next step, papers and bill never differ.

The laws are our own rule: the latest word on a piece of work counts, what was done under an approval stays
approved, and nothing is charged that was not both approved and done.
"""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit.account.account import Account, account_of
from corekit.account.row import FaultRow
from corekit.account.state import Progress, State
from corekit.assess.assessment import assess
from corekit.billing import approval as approval_module
from corekit.billing import together as together_module
from corekit.billing.approval import ApprovedWork, may_invoice, rounding_to_approved
from corekit.billing.line import Line, LineKind
from corekit.billing.totals import totals
from corekit.desk.bill import Bill
from corekit.desk.issuing import left_out
from corekit.desk.offerable import to_invoice
from corekit.model.entry import Entry
from corekit.model.job import Job
from corekit.model.records import Approved, Estimated, Opened, Repaired, Waived, Withdrawn
from corekit.plugin.host import Plugins
from corekit.visit.progress import Step, standing

from ..billing.test_approval import BOOK, KEYS, LOOK, estimate, work, yes
from ..model.test_job import Journal


@attrs.define
class Told:
    """A job told act by act, with what an independent count of the acts expects."""

    journal: Journal = attrs.field(factory=Journal)
    estimates: list[Estimated] = attrs.field(factory=list)
    approvals: dict[str, Entry] = attrs.field(factory=dict)
    repairs: int = 0
    notes: int = 0

    def __attrs_post_init__(self) -> None:
        self.journal.say(Opened(origin="demo"), "opened")

    def estimate(self, lines: tuple[Line, ...], stage: str = "repair") -> Estimated:
        made = estimate(f"{stage} {len(self.estimates) + 1}", lines)
        self.estimates.append(made)
        self.journal.say(made, f":offered/{made.name}")
        return made

    def approve(self, estimated: Estimated, *declined: str) -> None:
        old = self.approvals.get(estimated.name)
        said = yes(estimated, *declined)
        self.approvals[estimated.name] = self.journal.say(
            said, f":approved/{estimated.name}", replaces=(old,) if old else ()
        )

    def note(self, estimated: Estimated, *declined: str) -> None:
        """An answer under a subject of its own, as a visit file notes it."""
        self.notes += 1
        self.journal.say(yes(estimated, *declined), f"visit:approved/{self.notes}")

    def withdraw(self, name: str) -> None:
        if old := self.approvals.pop(name, None):
            self.journal.say(Withdrawn(), old.subject, replaces=(old,))

    def repair(self, operation: str) -> None:
        self.repairs += 1
        self.journal.say(Repaired(operation=operation, stage=self.repairs), f"repaired {self.repairs}")

    def waive(self, operation: str) -> None:
        self.journal.say(Waived(because="did not fix", operation=operation), f"waived {operation}")

    @property
    def job(self) -> Job:
        return self.journal.job


KEY = st.sampled_from(KEYS)
SOME = st.sets(KEY, min_size=1)
ACTS = st.one_of(
    st.tuples(st.just("estimate"), SOME),
    st.tuples(st.just("diagnosis"), st.none()),
    st.tuples(st.just("answer"), st.tuples(st.integers(0, 9), st.sets(KEY))),
    st.tuples(st.just("answer by file"), st.tuples(st.integers(0, 9), st.sets(KEY))),
    st.tuples(st.just("estimate and answer"), st.tuples(SOME, st.sets(KEY))),
    st.tuples(st.just("withdraw"), st.integers(0, 9)),
    st.tuples(st.just("repair"), KEY),
    st.tuples(st.just("waive"), KEY),
)


def held(estimated: Estimated) -> set[str]:
    return {line["operation"] for line in estimated.lines} - {""}


def told(acts: list[tuple[str, Any]]) -> Told:
    job = Told()
    for act, what in acts:
        if act == "estimate":
            job.estimate(work(*sorted(what)))
        elif act == "diagnosis":
            job.approve(job.estimate(LOOK, "diagnosis"))
        elif act == "estimate and answer":
            keys, no = what
            job.approve(job.estimate(work(*sorted(keys))), *sorted(no & keys))
        elif act == "answer" and job.estimates:
            estimated = job.estimates[what[0] % len(job.estimates)]
            job.approve(estimated, *sorted(what[1] & held(estimated)))
        elif act == "answer by file" and job.estimates:
            estimated = job.estimates[what[0] % len(job.estimates)]
            job.note(estimated, *sorted(what[1] & held(estimated)))
        elif act == "withdraw" and job.estimates:
            job.withdraw(job.estimates[what % len(job.estimates)].name)
        elif act == "repair":
            job.repair(what)
        elif act == "waive":
            job.waive(what)
    return job


def words(job: Job) -> Iterator[tuple[int, str, bool]]:
    """(place, operation, yes or no) of every word that stands, read by hand from the journal."""
    estimates = {noted.record.name: noted.record for noted in job.estimates}
    last = {noted.record.estimate: noted.id for noted in job.approvals}
    for place, noted in enumerate(job.standing):
        if isinstance(noted.record, Approved) and noted.id == last[noted.record.estimate]:
            for key in held(estimates[noted.record.estimate]):
                yield place, key, key not in noted.record.declined


def left_out_of(job: Job) -> list[str]:
    store = SimpleNamespace(job=lambda _: job)
    plugins = SimpleNamespace(operations={}, measurands={}, title=lambda key: key)
    shop: Any = SimpleNamespace(store=store, find=lambda name: name, prices=BOOK, plugins=plugins)
    return left_out(shop, job)


def beginning(sentences: list[str], said: str) -> set[str]:
    return {sentence.split(" ")[0] for sentence in sentences if said in sentence}


def told_next(account: Account) -> list[str]:
    return [f"{step.label}: {''.join(map(str, step.words))}" for step in account.steps]


def named_in(sentences: list[str], before: str) -> set[str]:
    found = [sentence.partition(before)[2].rstrip(".") for sentence in sentences if before in sentence]
    return {key for names in found for key in names.removesuffix("; not charged").split("; ")}


@settings(max_examples=300)
@given(st.lists(ACTS, max_size=12))
def test_next_step_paper_bill_and_what_is_left_out_give_one_answer(acts: list[tuple[str, Any]]) -> None:
    job = told(acts).job
    assessment = assess(job, Plugins())
    stands = standing(job, assessment)
    approved = ApprovedWork.of(job, BOOK)
    lines = to_invoice(job, approved, assessment)
    account = account_of(job, assessment, Plugins(), lines=lines)
    sentences, watch = left_out_of(job), told_next(account)
    billed = {line.operation for line in lines} - {""}
    done = {noted.record.operation for noted in job.repairs}
    # The mechanic's list, what the bill leaves out and what the paper calls not done are the same work.
    assert len(set(stands.to_do)) == len(stands.to_do)
    assert set(stands.to_do) == beginning(sentences, "nothing says that it was done")
    assert set(stands.to_do) == named_in(watch, "Approved, not done yet: ")
    # Done is either billed or was never approved, and nothing is billed that was not done.
    assert billed | beginning(sentences, "nobody approved it") == done
    assert billed.isdisjoint(beginning(sentences, "nobody approved it"))
    # Nobody is told to do, and nobody pays for, what the last word on it declined.
    last: dict[str, tuple[int, bool]] = {key: (place, said) for place, key, said in words(job)}
    for key, (place, said) in last.items():
        doings = [
            at
            for at, noted in enumerate(job.standing)
            if isinstance(noted.record, Repaired) and noted.record.operation == key
        ]
        if not said or any(at > place for at in doings):
            assert key not in stands.to_do
        elif not doings:
            assert key in stands.to_do
        # What was done is never called declined as well: a later no is about doing it again.
        assert (key in named_in(watch, "Declined by you: ")) == (not said and key not in done)
    rows = {row.operation: row for row in account.rows if isinstance(row, FaultRow)}
    # Whatever was decided or done has a row; on it stands no work without a price or a reason, and every
    # line of the bill is on one.
    assert set(rows) >= done | last.keys()
    assert all(work.net is not None or work.reason for row in rows.values() for work in row.works)
    assert all(row.works for key, row in rows.items() if key in done)
    assert sum(len(row.works) for key, row in rows.items() if key in billed) + len(account.charges) == len(
        lines
    )
    for key, row in rows.items():
        assert (row.state is State.DECLINED) <= (key not in done)
        assert (row.progress is Progress.DONE) == (key in done)
        assert row.state is not State.SHOWN  # nothing was read in these jobs
    assert set(stands.to_do) <= last.keys()
    # What stands approved is what was done under its yes and what is still open, each in its own lines.
    for key in KEYS:
        kinds = [
            [line.operation for line in of if line.kind is LineKind.LABOUR] for of in (approved.lines, lines)
        ]
        assert kinds[0].count(key) == kinds[1].count(key) + (key in stands.to_do)
    # The bill of this work is always allowed, and no work is charged more often than it was done.
    if lines:
        may_invoice(lines, approved, rounding_to_approved(lines, approved))
        charged = totals(lines, BOOK).gross + rounding_to_approved(lines, approved)
        assert charged <= approved.total
    for key in billed:
        labour = [line for line in lines if (line.operation, line.kind) == (key, LineKind.LABOUR)]
        assert len(labour) <= [noted.record.operation for noted in job.repairs].count(key)
        assert all(line.net.minor == 0 for line in labour) or key not in {
            noted.record.operation for noted in job.waived
        }
    assert len([line for line in lines if line.kind is LineKind.DIAGNOSIS]) <= 1
    # An estimate waits for an answer on the screen when the bill says that it has none.
    assert {f"the estimate {name!r} has no answer yet." for name in stands.pending} == {
        sentence for sentence in sentences if "has no answer" in sentence
    }
    if stands.step is Step.REPAIR:
        assert stands.to_do


def test_what_was_done_under_an_approval_is_charged_although_doing_it_again_was_declined() -> None:
    job = Told()
    first = job.estimate(work("battery.clean"))
    job.approve(first)
    job.repair("battery.clean")
    job.approve(job.estimate(work("battery.clean", "battery.trace_draw")), "battery.clean")
    approved = ApprovedWork.of(job.job, BOOK)
    assert [line.operation for line in approved.done] == ["battery.clean"]
    assert (job.job.approval.open, job.job.approval.unapproved) == (("battery.trace_draw",), ())
    assert str(approved.sums["repair 1"]) == "36.00"  # 0.5 h at 60.00, tax 20 %


def test_work_that_is_approved_again_after_it_was_done_is_to_be_done_again() -> None:
    job = Told()
    job.approve(job.estimate(work("battery.clean")))
    job.repair("battery.clean")
    job.approve(job.estimate(work("battery.clean")))
    assert job.job.approval.open == ("battery.clean",)
    assert len(ApprovedWork.of(job.job, BOOK).done) == 1
    job.repair("battery.clean")
    assert job.job.approval.open == ()
    assert str(totals(ApprovedWork.of(job.job, BOOK).done, BOOK).gross) == "72.00"


def test_work_done_before_the_approval_is_covered_by_it_and_not_to_be_done_again() -> None:
    job = Told()
    job.repair("battery.clean")
    assert job.job.approval.unapproved == ("battery.clean",)
    job.approve(job.estimate(work("battery.clean")))
    assert (job.job.approval.unapproved, job.job.approval.open) == ((), ())
    assert len(ApprovedWork.of(job.job, BOOK).done) == 1


def test_a_withdrawn_approval_leaves_nothing_to_do() -> None:
    job = Told()
    job.approve(job.estimate(work("battery.clean")))
    job.withdraw("repair 1")
    assert (job.job.approval.open, job.job.approval.pending) == ((), ("repair 1",))


def test_an_approval_of_an_estimate_that_was_never_made_approves_nothing() -> None:
    job = Told()
    made = job.estimate(work("battery.clean"))
    job.approve(attrs.evolve(made, document_hash="another paper's"))
    assert job.job.approval.open == ()


def test_what_an_approval_would_come_to_is_what_it_comes_to_when_it_is_given_again() -> None:
    job = Told()
    first = job.estimate(work("battery.clean", "battery.trace_draw"))
    job.approve(first)
    job.approve(job.estimate(work("battery.clean")), "battery.clean")
    before = job.job
    (earlier,) = (noted.id for noted in before.approvals if noted.record.estimate == first.name)
    asked = ApprovedWork.of(before, BOOK, [yes(first)], instead_of={earlier}).sums[first.name]
    job.approve(first)
    assert asked == ApprovedWork.of(job.job, BOOK).sums[first.name]


def test_one_bill_reads_each_line_once_and_works_each_sum_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    job = Told()
    job.approve(job.estimate(LOOK, "diagnosis"))
    job.approve(job.estimate(work(*KEYS)), KEYS[0])
    for key in KEYS[1:]:
        job.repair(key)
    counts: dict[str, int] = {}

    def counted(module: Any, name: str) -> None:
        plain = getattr(module, name)

        def call(*args: Any, **more: Any) -> Any:
            counts[name] = counts.get(name, 0) + 1
            return plain(*args, **more)

        monkeypatch.setattr(module, name, call)

    counted(approval_module, "from_data")
    counted(approval_module, "_priced")
    counted(together_module, "totals")
    record = job.job
    bill = Bill(record, assess(record, Plugins()), Plugins(), BOOK)
    assert bill.total == bill.share.alone
    estimated = sum(len(made.lines) for made in job.estimates)
    assert counts == {"from_data": estimated, "_priced": len(job.estimates), "totals": 1}


def test_an_estimate_that_a_newer_one_replaced_waits_for_no_answer() -> None:
    job = Told()
    job.estimate(work("battery.clean"))
    job.estimate(work("battery.trace_draw"))
    assert job.job.approval.pending == ("repair 2",)


def test_of_two_answers_to_one_estimate_only_the_latest_counts_whoever_noted_it() -> None:
    job = Told()
    made = job.estimate(work("battery.clean"))
    job.approve(made)
    job.repair("battery.clean")
    job.note(made, "battery.clean")
    assert (job.job.approval.approved, job.job.approval.unapproved) == ((), ("battery.clean",))
    assert ApprovedWork.of(job.job, BOOK).done == ()
