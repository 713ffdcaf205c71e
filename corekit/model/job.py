"""A job, folded from its journal."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from typing import Any, Generic, TypeVar

import attrs

from ..errors import InputError
from .approval import Approval, estimate_of, operations_of
from .canonical import digest
from .entry import Entry
from .personal import PICTURE_KINDS, KeptWords, Personal, PersonalText, SpokenWords
from .records import (
    RECORDS,
    Announced,
    Approved,
    ApprovedMore,
    Arrived,
    Charged,
    CodesRead,
    Complained,
    Customer,
    Discounted,
    Ended,
    Estimated,
    Fitted,
    Handed,
    Instrument,
    Issued,
    Left,
    Measured,
    OldParts,
    Opened,
    Paid,
    PhotoChosen,
    Photographed,
    Planned,
    Priced,
    Recalled,
    Receipted,
    Recorded,
    Reminded,
    Repaired,
    Requested,
    Retold,
    Seen,
    Serviced,
    Setup,
    Specified,
    Started,
    Tried,
    Vehicle,
    Waived,
    WrittenOff,
)

R = TypeVar("R")


def stage_name(stage: int) -> str:
    """`arrival`, `after 1`, `after 2` …: counted from the repairs in the journal."""
    return "arrival" if stage == 0 else f"after {stage}"


@attrs.frozen
class Noted(Generic[R]):
    """A record that stands, with the entry that says it."""

    entry: Entry
    record: R

    @property
    def id(self) -> str:
        return self.entry.id


@attrs.frozen
class Dispute:
    """Two stores said different things about one subject, and nothing settles it yet."""

    subject: str
    entries: tuple[str, ...]


@attrs.frozen(kw_only=True)
class Job:
    """What a person sees of a job: the standing entries of its journal, in the journal's order.

    Attributes:
        called: What its file or screen called it last; empty where that was forgotten.
    """

    id: str
    entries: tuple[Entry, ...]
    standing: tuple[Noted[object], ...]
    disputes: tuple[Dispute, ...]
    called: str = ""

    def knew(self, later: Entry, earlier: Entry) -> bool:
        """True where one entry stood in the journal in which another was written: what another van wrote in
        the meantime did not. The names of chains say nothing of it.
        """
        if later.chain == earlier.chain:
            return earlier.n < later.n
        return self._known[later.id].get(earlier.chain, -1) >= earlier.n

    @cached_property
    def _known(self) -> Mapping[str, Mapping[str, int]]:
        """Id of an entry → of each chain the last entry that was known when it was written, or it itself."""
        found: dict[str, dict[str, int]] = {}
        last: dict[str, dict[str, int]] = {}
        for entry in self.entries:
            known = dict(last.get(entry.chain, {}))
            for seen in (*entry.seen, *entry.replaces):
                for chain, n in found.get(seen, {}).items():
                    known[chain] = max(n, known.get(chain, -1))
            known[entry.chain] = entry.n
            found[entry.id] = last[entry.chain] = known
        return found

    def before(self, entry: Entry) -> Job:
        """The job as it stood when an entry of it was written."""
        return fold(self.id, (one for one in self.entries if self.knew(entry, one)))

    def all(self, kind: type[R]) -> tuple[Noted[R], ...]:
        """Everything of one kind that stands, oldest first."""
        if kind not in self._of_kind:
            self._of_kind[kind] = tuple(noted for noted in self.standing if isinstance(noted.record, kind))
        return self._of_kind[kind]

    @cached_property
    def _of_kind(self) -> dict[type, tuple[Noted[Any], ...]]:
        """What was asked for of each kind before."""
        return {}

    def last(self, kind: type[R]) -> Noted[R] | None:
        found = self.all(kind)
        return found[-1] if found else None

    @property
    def opened(self) -> Opened:
        first = self.last(Opened)
        if first is None:
            raise InputError(f"Job {self.id} has no beginning in its journal; nothing can be shown of it.")
        return first.record

    @property
    def complained(self) -> Complained | None:
        """The complaint by the list of symptoms, where it was told so."""
        noted = self.last(Complained)
        return noted.record if noted else None

    @property
    def tried(self) -> tuple[Noted[Tried], ...]:
        return self.all(Tried)

    @property
    def retold(self) -> tuple[Noted[Retold], ...]:
        """The complaint, as it was looked at again."""
        return self.all(Retold)

    @property
    def name(self) -> str:
        """What people call it: by the name that it was given, or by its id where that was forgotten."""
        return self.called or self.id

    @property
    def demo(self) -> bool:
        return self.opened.demo

    @property
    def vehicle(self) -> Vehicle:
        noted = self.last(Vehicle)
        return noted.record if noted else Vehicle()

    @property
    def customer(self) -> Customer:
        noted = self.last(Customer)
        return noted.record if noted else Customer()

    @property
    def stage(self) -> int:
        """The stage the vehicle is in now: the number of repairs made."""
        return len(self.all(Repaired))

    @property
    def stages(self) -> range:
        return range(self.stage + 1)

    def measured(self, stage: int) -> tuple[Noted[Measured], ...]:
        return tuple(noted for noted in self.all(Measured) if noted.record.stage == stage)

    def recorded(self, stage: int) -> tuple[Noted[Recorded], ...]:
        return tuple(noted for noted in self.all(Recorded) if noted.record.stage == stage)

    def seen(self, stage: int) -> tuple[Noted[Seen], ...]:
        return tuple(noted for noted in self.all(Seen) if noted.record.stage == stage)

    def codes_read(self, stage: int) -> tuple[Noted[CodesRead], ...]:
        """The lists of trouble codes read in a stage, in order; `cannot` alone when none could be read.

        A list that was read again adds to what it said before: a code that was there once was set.
        """
        noted = [noted for noted in self.all(CodesRead) if noted.record.stage == stage]
        return tuple(one for one in noted if one.record.state) or tuple(noted[-1:])

    def codes_by_list(self, stage: int) -> dict[str, tuple[str, ...]]:
        """Each list of trouble codes that was read in a stage → every code that it ever held there."""
        lists: dict[str, tuple[str, ...]] = {}
        for noted in self.codes_read(stage):
            if noted.record.state:
                before = lists.get(noted.record.state, ())
                lists[noted.record.state] = tuple(dict.fromkeys((*before, *noted.record.codes)))
        return lists

    def spoken_of(self, stage: int) -> tuple[str, ...]:
        """Keys of everything that was read, recorded or looked at in a stage, in order."""
        return (
            *(noted.record.of for noted in self.measured(stage)),
            *(noted.record.of for noted in self.recorded(stage)),
            *(noted.record.of for noted in self.seen(stage)),
        )

    def setup(self, subject: str) -> Noted[Setup] | None:
        for noted in self.all(Setup):
            if noted.entry.subject == subject:
                return noted
        return None

    def fitted(self, stage: int) -> dict[str, Noted[Fitted]]:
        """Trait key → the latest answer given up to this stage.

        Whether a repair ended it is for the declarations to say.
        """
        answers: dict[str, Noted[Fitted]] = {}
        for noted in self.all(Fitted):
            if noted.record.stage <= stage and (
                noted.record.of not in answers or noted.record.stage >= answers[noted.record.of].record.stage
            ):
                answers[noted.record.of] = noted
        return answers

    @property
    def specified(self) -> tuple[Noted[Specified], ...]:
        return self.all(Specified)

    @property
    def instruments(self) -> dict[str, Instrument]:
        return {noted.record.name: noted.record for noted in self.all(Instrument)}

    @property
    def estimates(self) -> tuple[Noted[Estimated], ...]:
        return self.all(Estimated)

    @property
    def approvals(self) -> tuple[Noted[Approved], ...]:
        return self.all(Approved)

    @cached_property
    def approval(self) -> Approval:
        """What is approved, declined, done and open."""
        acts = (
            noted.record
            for noted in self.standing
            if isinstance(noted.record, (Approved, Repaired, Serviced))
        )
        return Approval.of([noted.record for noted in self.estimates], acts)

    @property
    def repairs(self) -> tuple[Noted[Repaired], ...]:
        return self.all(Repaired)

    @property
    def serviced(self) -> tuple[Noted[Serviced], ...]:
        """Work of the shop's own that was done; it opens no stage."""
        return self.all(Serviced)

    @property
    def works_done(self) -> tuple[str, ...]:
        """All work that was done, each once: repairs first, then work of the shop's own."""
        repaired = [noted.record.operation for noted in self.repairs]
        return tuple(dict.fromkeys([*repaired, *(noted.record.operation for noted in self.serviced)]))

    @property
    def priced(self) -> dict[str, Priced]:
        """Work → what it costs in this job alone, where that was said."""
        return {noted.record.operation: noted.record for noted in self.all(Priced)}

    @property
    def requested(self) -> tuple[Noted[Requested], ...]:
        return self.all(Requested)

    @property
    def issued(self) -> tuple[Noted[Issued], ...]:
        """Invoices that stand: credit notes are none, and what was credited whole stands no more."""
        gone = {noted.record.credits for noted in self.all(Issued) if noted.record.whole}
        return tuple(
            noted
            for noted in self.all(Issued)
            if not noted.record.credits and noted.record.number not in gone
        )

    @cached_property
    def goes_on(self) -> bool:
        """True where another invoice is to follow those that stand: since the last of them an estimate was
        made and waits for an answer, something was approved, approved work was done, or one was credited
        whole.
        """
        if not self.issued or self.issued[-1].record.shared:
            return False
        last = self.issued[-1].entry
        after = [n for n in self.standing if n.entry.id != last.id and not self.knew(last, n.entry)]
        records = [noted.record for noted in after]
        if any(isinstance(record, Issued) and record.whole for record in records):
            return True
        if any(isinstance(record, Approved) and self.approves_something(record) for record in records):
            return True
        has_ended = any(isinstance(record, Ended) for record in records)
        made = {record.name for record in records if isinstance(record, Estimated)}
        if made & set(self.approval.pending) and not has_ended:
            return True
        done = {record.operation for record in records if isinstance(record, (Repaired, Serviced))}
        if not done:
            return False
        return not done.isdisjoint(self.before(last).approval.open)

    def approves_something(self, approval: Approved) -> bool:
        """False where all of its estimate was declined."""
        estimate = estimate_of(approval, [noted.record for noted in self.estimates])
        if estimate is None:
            return False
        has_charges = any(not line.get("operation") for line in estimate.lines)
        return has_charges or bool(set(operations_of(estimate)) - set(approval.declined))

    @property
    def credited(self) -> tuple[Noted[Issued], ...]:
        """Credit notes, on whatever invoice."""
        return tuple(noted for noted in self.all(Issued) if noted.record.credits)

    @property
    def announced(self) -> tuple[Noted[Announced], ...]:
        return self.all(Announced)

    @property
    def written_off(self) -> tuple[Noted[WrittenOff], ...]:
        """What is not asked for any more, of whatever invoice."""
        return self.all(WrittenOff)

    @property
    def lapsed(self) -> tuple[tuple[Noted[WrittenOff], Noted[Issued]], ...]:
        """What was written off of an invoice that was credited whole since, each with that credit note: it
        takes the place of the writing off.
        """
        return tuple((off, note) for off in self.written_off if (note := self._lapsed_by.get(off.id)))

    @cached_property
    def settles(self) -> dict[str, str]:
        """Entry that says what of an invoice is settled without money (written off, or rounded with a payment
        in cash) → the number of that invoice.
        """
        found, standing = dict[str, str](), list[str]()
        for noted in self.standing:
            record = noted.record
            if isinstance(record, Issued) and record.credits:
                standing = [number for number in standing if not record.whole or number != record.credits]
            elif isinstance(record, Issued):
                standing.append(record.number)
            elif isinstance(record, WrittenOff):
                found[noted.id] = record.invoice or (standing[-1] if standing else "")
            elif isinstance(record, Paid) and record.rounded:
                found[noted.id] = standing[-1] if standing else ""
        return found

    @cached_property
    def _lapsed_by(self) -> dict[str, Noted[Issued]]:
        """Of what is settled without money → the credit note on all of its invoice, which takes its place."""
        whole = {noted.record.credits: noted for noted in self.credited if noted.record.whole}
        return {entry: whole[number] for entry, number in self.settles.items() if number in whole}

    @property
    def rounded(self) -> tuple[tuple[Noted[Paid], Noted[Issued] | None], ...]:
        """Payments in cash that were rounded, each with the credit note on all of its invoice, if there is
        one: then the rounding counts no more.
        """
        return tuple(
            (noted, self._lapsed_by.get(noted.id)) for noted in self.payments if noted.record.rounded
        )

    @property
    def written_off_now(self) -> tuple[Noted[WrittenOff], ...]:
        """What of the invoice that stands is not asked for any more."""
        gone = {noted.id for noted, _ in self.lapsed}
        return tuple(noted for noted in self.written_off if noted.id not in gone) if self.issued else ()

    @property
    def payments(self) -> tuple[Noted[Paid], ...]:
        return self.all(Paid)

    @property
    def charged(self) -> tuple[Noted[Charged], ...]:
        return self.all(Charged)

    @property
    def approved_more(self) -> tuple[Noted[ApprovedMore], ...]:
        return self.all(ApprovedMore)

    @property
    def discounted(self) -> tuple[Noted[Discounted], ...]:
        return self.all(Discounted)

    @property
    def old_parts(self) -> str:
        """What the customer chose for the parts that were taken out; empty while nobody has said."""
        last = self.last(OldParts)
        return last.record.choice if last is not None else ""

    @property
    def receipts(self) -> tuple[Noted[Receipted], ...]:
        return self.all(Receipted)

    @property
    def reminders(self) -> tuple[Noted[Reminded], ...]:
        return self.all(Reminded)

    @property
    def visits(self) -> tuple[Noted[Left | Arrived], ...]:
        """Where visits of this job ended and began again, oldest first."""
        return tuple(
            Noted(noted.entry, noted.record)
            for noted in self.standing
            if isinstance(noted.record, (Left, Arrived))
        )

    @property
    def planned(self) -> Noted[Planned] | None:
        """The next visit, while nobody has come since it was planned."""
        noted = self.last(Planned)
        if noted is None:
            return None
        after = self.standing[[one.id for one in self.standing].index(noted.id) :]
        return None if any(isinstance(one.record, Arrived) for one in after) else noted

    @property
    def recalls(self) -> tuple[Noted[Recalled], ...]:
        """What the vehicle is to be looked at again for."""
        return self.all(Recalled)

    @property
    def left_open(self) -> Noted[Left] | None:
        """The end of the last visit, while nobody has come again since."""
        last = self.visits[-1:]
        return next(
            (Noted(noted.entry, noted.record) for noted in last if isinstance(noted.record, Left)), None
        )

    @property
    def same_trip_as(self) -> str:
        """The job whose customer pays for the call-out; empty where this one does."""
        named = [noted.record.same_trip_as for noted in self.all(Arrived) if noted.record.same_trip_as]
        return named[-1] if named else ""

    @property
    def waiting(self) -> tuple[Noted[Started], ...]:
        """Tests that were begun and whose reading is still to be taken, oldest first; of one begun twice the
        later.
        """
        running: dict[tuple[str, str], Noted[Started]] = {}
        for noted in self.standing:
            record = noted.record
            if isinstance(record, Started):
                running.pop((record.of, record.place), None)
                running[record.of, record.place] = Noted(noted.entry, record)
            elif isinstance(record, (Measured, Recorded, Seen)):
                # Without a place the whole thing was begun, or could not be had.
                over = [
                    key
                    for key in running
                    if key[0] == record.of and (key[1] == record.place or not key[1] or not record.place)
                ]
                for key in over:
                    del running[key]
        return tuple(running.values())

    @property
    def handed_to(self) -> str:
        """Letters of the device that the job was handed to last; empty where it goes on where it began."""
        last = self.last(Handed)
        return last.record.to if last is not None else ""

    @property
    def ended(self) -> Noted[Ended] | None:
        """How the job ended without (further) repair, where it did."""
        return self.last(Ended)

    @property
    def waived(self) -> tuple[Noted[Waived], ...]:
        return self.all(Waived)

    @property
    def photos(self) -> tuple[Noted[Photographed], ...]:
        return self.all(Photographed)

    @property
    def photos_for_paper(self) -> tuple[tuple[Noted[Photographed], PhotoChosen], ...]:
        """The photos chosen for the evidence sheet, each once with what chose it, in the order in which they
        were taken.
        """
        chosen = {noted.record.photo: noted.record for noted in self.all(PhotoChosen)}
        return tuple((photo, chosen[photo.id]) for photo in self.photos if photo.id in chosen)

    def disputed(self, entry: str) -> tuple[Noted[object], ...]:
        """What else is said of the subject of an entry that stands, while nothing settles it."""
        others = {one for dispute in self.disputes if entry in dispute.entries for one in dispute.entries}
        return tuple(
            Noted(one, RECORDS[one.kind](**one.body))
            for one in self.entries
            if one.id in others - {entry} and one.kind != "withdrawn"
        )

    def instead_of(self, entry: str) -> Entry | None:
        """What stands in an entry's place, be it a correction or a withdrawal with its reason; None while the
        entry stands, or was never here.
        """
        known = {one.id: one for one in self.entries}
        if entry not in known:
            return None
        replaced = {old for one in self.entries for old in one.replaces}
        heads = [
            one for one in self.entries if one.subject == known[entry].subject and one.id not in replaced
        ]
        return None if any(one.id == entry for one in heads) else heads[-1]

    def in_words(self, texts: Mapping[str, str]) -> Job:
        """The same job with own words as they were said, for the shop's own eyes; no Document is built of
        it.
        """
        return attrs.evolve(self, standing=tuple(_in_words(noted, texts) for noted in self.standing))

    def persons(self, *kinds: str) -> Iterator[Personal]:
        """Every reference to personal text in the journal, of these kinds; without any, of all kinds but
        pictures, which are long.
        """
        for entry in self.entries:
            for reference in _references(entry.body):
                if reference.kind in kinds if kinds else reference.kind not in PICTURE_KINDS:
                    yield reference


def _in_words(noted: Noted[object], texts: Mapping[str, str]) -> Noted[object]:
    record: Any = noted.record
    said = {
        name: SpokenWords(value.words(texts))
        for name, value in ((field.name, getattr(record, field.name)) for field in attrs.fields(type(record)))
        if isinstance(value, KeptWords)
    }
    return Noted(noted.entry, attrs.evolve(record, **said)) if said else noted


def _references(data: object) -> Iterator[Personal]:
    if isinstance(data, dict):
        if set(data) == {"personal", "hash"}:
            yield Personal(data["personal"], data["hash"])
        else:
            for item in data.values():
                yield from _references(item)
    elif isinstance(data, (list, tuple)):
        for item in data:
            yield from _references(item)


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """The entries of one job, each once and none before one that was known when it was written; of those that
    nobody wrote knowing of the other, by chain.
    """
    known = {entry.id: entry for entry in entries}
    ordered = sorted(known.values(), key=lambda entry: (entry.chain, entry.n))
    if not ordered or ordered[0].chain == ordered[-1].chain:
        return ordered
    waits: dict[str, int] = {}
    before: dict[str, list[str]] = {}
    previous: Entry | None = None
    for entry in ordered:
        needed = {seen for seen in map(str, entry.seen) if seen in known and known[seen].chain != entry.chain}
        if previous is not None and previous.chain == entry.chain:
            needed.add(previous.id)
        waits[entry.id] = len(needed)
        for one in needed:
            before.setdefault(one, []).append(entry.id)
        previous = entry
    ready = [(entry.chain, entry.n, entry.id) for entry in ordered if not waits[entry.id]]
    heapq.heapify(ready)
    found: list[Entry] = []
    while ready:
        *_, id_ = heapq.heappop(ready)
        found.append(known[id_])
        for after in before.get(id_, ()):
            waits[after] -= 1
            if not waits[after]:
                heapq.heappush(ready, (known[after].chain, known[after].n, after))
    # Ids are hashes of what was seen, so nothing can wait for itself; only made-up ids could.
    return found if len(found) == len(ordered) else ordered


def fold(job: str, entries: Iterable[Entry], texts: Mapping[str, str] | None = None) -> Job:
    """The job that a journal tells of: of each subject the heads that nothing replaces.

    What it is called is looked up in `texts`, hash → personal text.

    The union of two journals folds to the same job in whatever order it comes. Two different heads of one
    subject are a dispute; two heads with equal bodies agree. A withdrawn subject does not stand.
    """
    ordered = in_order(entries)
    replaced = {old for entry in ordered for old in entry.replaces}
    heads: dict[str, list[Entry]] = {}
    for entry in ordered:
        if entry.id not in replaced:
            heads.setdefault(entry.subject, []).append(entry)
    # A correction stands where the statement it corrects stood: order is that of each subject's first entry.
    first: dict[str, int] = {}
    for place, entry in enumerate(ordered):
        first.setdefault(entry.subject, place)
    standing: list[Noted[object]] = []
    disputes: list[Dispute] = []
    for subject in sorted(heads, key=first.__getitem__):
        versions = heads[subject]
        if len(versions) > 1 and len({digest([entry.kind, entry.body]) for entry in versions}) > 1:
            disputes.append(Dispute(subject, tuple(entry.id for entry in versions)))
        for entry in versions[-1:]:
            if entry.kind != "withdrawn":
                standing.append(Noted(entry, RECORDS[entry.kind](**entry.body)))
    opened = [noted.record for noted in standing if isinstance(noted.record, Opened)]
    return Job(
        id=job,
        entries=tuple(ordered),
        standing=tuple(standing),
        disputes=tuple(disputes),
        called=name_said(opened[-1].origin, texts or {}) if opened else "",
    )


def name_said(origin: object, texts: Mapping[str, str]) -> str:
    """What a job is called by this beginning of it, as far as that is known: a plain text in journals of
    before, else a personal text, which may be forgotten.
    """
    if isinstance(origin, (Mapping, Personal)):
        return texts.get(origin.hash if isinstance(origin, Personal) else str(origin.get("hash", "")), "")
    return origin.text if isinstance(origin, PersonalText) else str(origin)
