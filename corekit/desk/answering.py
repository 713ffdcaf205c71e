"""Answers given on a screen: rows of a visit file that go into the record one by one, each once, however
often it is sent.

Whatever is answered is read by the reader of visit files and becomes the same entries as if a file had said
it. The reading happens while nobody else can write, so that two phones answering at once see one job.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import attrs

from ..billing.approval import ConsentError
from ..fault import Fault
from ..intake.fault import VisitError
from ..intake.rows import WHERE, read_rows, whole
from ..intake.visit import AgreedRow, VisitFile
from ..model.entry import JOB, Draft, Entry, seal, utc_text
from ..model.job import Job, fold
from ..model.records import Agreed, Withdrawn, body_of
from ..store.mark import LETTERS
from ..store.reconcile import PROGRAM_KINDS, row_of
from ..store.statement import Statement
from ..store.store import JOB_LETTERS, Told
from . import paper
from .in_memory import referring
from .offering import still_open
from .problem import DeskError

if TYPE_CHECKING:
    from .shop import Shop

_DRAWN = re.compile(f"[{LETTERS.lower()}]{{{JOB_LETTERS}}}")
#: These are said anew instead, or everything after them would lose its ground.
_NEVER_WITHDRAWN = frozenset({"opened", "vehicle", "customer", "instrument", "setup", "fitted", "agreed"})
# What happens at a moment of its own, and not when it is written down.
_OBSERVED = frozenset(
    {"measured", "seen", "codes", "started", "came", "left", "ended", "agreed", "repaired", "paid"}
)
#: An answer that took longer than this to arrive was not given just now, [s].
LATE = 60.0
#: Chain of entries that are only tried: it sorts behind every chain of a store, as if they were written last.
TRIAL = "~trial"


@attrs.frozen(kw_only=True)
class Answer:
    """What was answered.

    Attributes:
        id: Made where it was answered, 16 to 64 letters, digits, `-` and `_`; the same answer sent again has
            the same.
        rows: The very tables that a visit file holds; `instead_of` beside them names the entry that one of
            the rows corrects.
        kept: How long it waited where it was given, [s]. It is no part of what was said, so it may differ
            when the same answer comes again.
    """

    id: str
    rows: Mapping[str, Any]
    kept: float = 0.0


@attrs.frozen(kw_only=True)
class Answered:
    """What became of an answer: id and name of its job, the entries it became; `again` when it came before,
    and nothing was added.
    """

    job: str
    name: str
    entries: tuple[Entry, ...]
    again: bool = False


@attrs.frozen(kw_only=True)
class Tried:
    """A job as it would be: `new` are the ids of the entries that are only tried, `texts` the personal texts
    of all, `remarks` what is odd but no fault.
    """

    job: Job
    new: tuple[str, ...]
    texts: Mapping[str, str]
    remarks: tuple[str, ...] = ()


def answer(shop: Shop, job: str | None, given: Answer) -> Answered:
    """See `Shop.answer`."""
    rows = whole(given.rows)
    target = _target(shop, job)
    read: list[VisitFile] = []
    kept = shop.store.add(
        target,
        _reader(shop, rows, read, given.kept),
        answer=given.id,
        asked={"job": target if job else "", "rows": rows},
    )
    name = read[0].origin if read else shop.store.job(kept.job).name
    return Answered(job=kept.job, name=name, entries=kept.entries, again=kept.again)


def withdraw(shop: Shop, job: str, given: str, entry: str, because: str) -> Answered:
    """See `Shop.withdraw_answer`."""
    if not because.strip():
        raise DeskError(
            "What was said is withdrawn with a reason, which stays in the record. Write why. Nothing was"
            " changed."
        )
    job = shop.find(job)

    def tell(standing: Job | None) -> Told:
        assert standing is not None
        old = _standing(standing, entry)
        if old is None:
            raise DeskError(
                f"Nothing under {entry[:12]!r} stands in {standing.name}; it was corrected or withdrawn"
                " meanwhile. Look at it again."
            )
        if old.kind in PROGRAM_KINDS | _NEVER_WITHDRAWN:
            raise DeskError(
                f"What was said of {old.kind!r} is not withdrawn; correct it instead. Nothing was changed."
            )
        said = [
            Statement(
                kind="withdrawn",
                subject=entry.subject,
                body=body_of(Withdrawn()),
                replaces=(entry.id,),
                reason=because.strip(),
            )
            for entry in (old, *_came_with(standing, old))
        ]
        return Told(
            origin=_origin(shop, standing),
            statements=said,
            books=lambda said: shop._for_the_books(standing, standing.name, said),
        )

    kept = shop.store.add(job, tell, answer=given, asked={"withdraw": entry, "because": because})
    return Answered(job=job, name=shop.store.job(job).name, entries=kept.entries, again=kept.again)


def _came_with(job: Job, entry: Entry) -> list[Entry]:
    """What is withdrawn with an entry: with the last repair the traits of its new part, as long as nothing
    else was said after it.
    """
    if entry.kind != "repaired":
        return []
    stage = entry.body["stage"]
    after = [
        noted.entry
        for noted in job.standing
        if noted.entry.body.get("stage") == stage and noted.id != entry.id
    ]
    if stage != job.stage or any(other.kind != "fitted" for other in after):
        raise DeskError(
            "Readings or repairs followed this repair and rest on it. Withdraw those first, the last one"
            " first. Nothing was changed."
        )
    return after


def tried(shop: Shop, job: str | None, rows: Mapping[str, Any]) -> Tried:
    """See `Shop.tried`."""
    target = _target(shop, job)
    read: list[VisitFile] = []
    standing, statements = shop.store.trial(target, _reader(shop, whole(rows), read))
    texts = dict(shop.store.texts(standing.persons())) if standing is not None else {}
    entries: list[Entry] = []
    recorded = utc_text(datetime.now(UTC))
    latest: dict[str, str] = {}
    for place, said in enumerate(statements):
        replaces = (*said.replaces, *([latest[said.subject]] if said.subject in latest else []))
        entry = Entry(
            journal=JOB,
            job=target,
            chain=TRIAL,
            n=place,
            prev=entries[-1].id if entries else "",
            kind=said.kind,
            subject=said.subject,
            body=referring(said.body, texts),
            recorded=recorded,
            taken=said.taken,
            replaces=replaces,
            reason=said.reason,
        )
        entries.append(seal(entry))
        latest[said.subject] = entries[-1].id
    before = standing.entries if standing is not None else ()
    return Tried(
        job=fold(target, [*before, *entries]),
        new=tuple(entry.id for entry in entries),
        texts=texts,
        remarks=read[0].remarks,
    )


def _target(shop: Shop, job: str | None) -> str:
    """The job that is meant; an id that was drawn elsewhere is a new one's."""
    if job is None:
        return shop.store.new_job()
    if shop.store.has(job) or _DRAWN.fullmatch(job):
        return job
    return shop.find(job)


def _reader(
    shop: Shop, rows: Mapping[str, Any], read: list[VisitFile], kept: float = 0.0
) -> Callable[[Job | None], Told]:
    """What reads the rows once the job stands still; what it read is put into `read`."""

    def tell(standing: Job | None) -> Told:
        fragment = dict(rows)
        corrects = _to_correct(standing, fragment.pop("instead_of", None))
        name = standing.name if standing is not None else _new_name(shop)
        demo = standing.demo if standing is not None else shop.store.demo
        visit = read_rows(fragment, shop.declared, name=name, demo=demo, job=standing, corrects=corrects)
        read.append(visit)
        origin = _origin(shop, standing) if standing is not None else name
        drafts = [
            *paper.instruments_for(attrs.evolve(visit, origin=origin), shop.settings),
            *_bound(shop, visit, standing),
        ]
        drafts = _dated(drafts, shop.now(), kept)

        if corrects is not None:
            same = [
                draft
                for draft in drafts
                if (draft.kind, draft.row) == (corrects.kind, row_of(corrects.subject))
            ]
            if len(same) != 1:
                why = (
                    "A correction says one row of the same kind, stage and place as the entry it corrects;"
                    f" this says {len(same)} of it."
                )
                raise _refused("instead_of", why)

        def books(said: Sequence[Statement]) -> Any:
            try:
                shop._payable(standing, said)
            except DeskError as error:
                at = next((f"{draft.at}.amount" for draft in drafts if draft.kind == "paid"), "")
                raise _refused(at, str(error)) from error
            return shop._for_the_books(standing, name, said)

        return Told(origin=origin, drafts=drafts, corrects=corrects, books=books)

    return tell


def _dated(drafts: list[Draft], now: datetime, kept: float) -> list[Draft]:
    """What waited on its way in was observed that long ago: a test that was started an hour before the
    connection came back is an hour old.
    """
    if kept < LATE:
        return drafts
    then = utc_text(now - timedelta(seconds=kept))
    return [
        attrs.evolve(draft, taken=draft.taken or then) if draft.kind in _OBSERVED else draft
        for draft in drafts
    ]


def _new_name(shop: Shop) -> str:
    """Day and running number, as the first job of the day is called in `2026-11-25-1`."""
    day = f"{shop.now().date().isoformat()}-"
    taken = [
        name.removeprefix(day)
        for names in shop.store.names().values()
        for name in names
        if name.startswith(day)
    ]
    return f"{day}{1 + max((int(number) for number in taken if number.isdecimal()), default=0)}"


def _origin(shop: Shop, job: Job) -> str:
    """What the screens' rows of a job stand under: its name, if it began on a screen; else one that no file
    can have, for a file keeps its own rows.
    """
    first = next(entry for entry in job.entries if entry.kind == "opened")
    name = str(first.body["origin"])
    return name if first.id in shop.store.by_answers(job.id) else f"{name}/screen"


def _standing(job: Job, entry: str) -> Entry | None:
    return next((noted.entry for noted in job.standing if noted.id == entry), None)


def _to_correct(job: Job | None, entry: object) -> Entry | None:
    """The entry whose place one of the rows takes."""
    if entry is None:
        return None
    old = _standing(job, entry) if job is not None and isinstance(entry, str) else None
    if old is None:
        raise _refused(
            "instead_of",
            "What was to be corrected does not stand any more: it was corrected or withdrawn meanwhile. Look"
            " at it again.",
        )
    if old.kind in PROGRAM_KINDS:
        raise _refused("instead_of", f"What the program says itself ({old.kind}) is not corrected.")
    return old


def _bound(shop: Shop, visit: VisitFile, job: Job | None) -> list[Draft]:
    """The rows, each agreement bound to the hash of its offer."""
    for step in visit.steps:
        if isinstance(step, AgreedRow) and shop._offer_named(job, step.offer) is None:
            made = (
                ", ".join(repr(noted.record.name) for noted in job.offers)
                if job is not None and job.offers
                else "none"
            )
            raise _refused(
                f"{step.at}.offer",
                f"There is no offer {step.offer!r}; made were: {made}. Make the offer first.",
            )
        if isinstance(step, AgreedRow) and job is not None:
            _refuse(step.at, lambda: still_open(job))
            try:
                drafts, _ = shop._bound(attrs.evolve(visit, steps=(step,)), job)
                shop.agreed_total(job, [Agreed(**draft.body) for draft in drafts])
            except (DeskError, ConsentError) as error:
                raise _refused(step.at, str(error)) from error
    return shop._bound(visit, job)[0]


def _refuse(at: str, ask: Callable[[], object]) -> None:
    try:
        ask()
    except DeskError as error:
        raise _refused(at, str(error)) from error


def _refused(at: str, why: str) -> VisitError:
    return VisitError([Fault(at, "", why)], WHERE)
