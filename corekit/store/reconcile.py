"""What a file says anew: its rows held against what was taken in from it before.

A visit file is one growing list, imported again after every change. The same content adds nothing, a changed
row is a correction, a new row an addition, and a row that is gone is refused: what was once said is withdrawn
with a reason, never dropped.

What a screen says (`additions`) only ever adds to it or corrects one row.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

import attrs

from ..model.entry import AS_TYPED, Draft, Entry
from ..model.personal import PersonalText
from ..model.records import RECORDS, Withdrawn, body_of, with_kept_reason
from .matching import (
    PASSES,
    PROGRAM_KINDS,
    SETUP_PASSES,
    KnownRow,
    NewRow,
    known_rows,
    matches_of,
    new_row,
    row_of,
    setup_names,
    setup_of,
    with_companions,
)
from .rows import composed

CORRECTED = "corrected in the file"
PUT_BACK = "put back in the file"
SETTLED = "settled by the file"
READ_NOW = "its system can read it now"

#: Why a row of a screen replaces what stood.
SAID_ANEW = "corrected on the screen"

#: Of these a job has one, and of an instrument one of each name, of a trait one answer per stage: a row
#: that says it anew takes its place.
SINGLE = frozenset({"opened", "vehicle", "customer", "instrument", "fitted", "old_parts"})


@attrs.frozen(kw_only=True)
class Reconciled:
    """What an import or a request comes to: drafts to append, or faults, and then nothing is written."""

    drafts: tuple[Draft, ...] = ()
    faults: tuple[str, ...] = ()


def reconcile(
    entries: Iterable[Entry],
    texts: Mapping[str, str],
    origin: str,
    drafts: Sequence[Draft],
    on_screens: Collection[str] = frozenset(),
    called: str = "",
) -> Reconciled:
    """Hold the rows of a file against the journal.

    Rows are matched within one group (`Draft.row`) and kind: equal content first, then in the order in which
    they stand. Setups are matched before the readings that name them, by the readings that they keep, so that
    a step put in the middle changes none of the others.

    Args:
        entries: The job's whole journal; what other files, screens and the program said takes no part.
        texts: Hash → personal text of what these entries refer to.
        origin: What the file's rows stand under; subjects are `origin:row#n`.
        drafts: The file's rows in order. A reading's `setup` names the row of its setup draft as `row#k`, k
            counting from 1.
        on_screens: Ids of entries that were said on a screen. Where one of them corrects or withdraws a row
            of the file, the file is compared with what it said itself, and what was said later on the screen
            stands until the file says something new.
        called: The file's name for the job, for messages; `origin` if empty.

    Returns:
        Drafts in the order of the file, or every fault. One import is all or nothing.
    """
    origin, drafts = composed(origin), [attrs.evolve(draft, row=composed(draft.row)) for draft in drafts]
    called = called or origin
    journal = list(entries)
    faults = _unfit(called, drafts, forgotten=any(entry.kind == "forgotten" for entry in journal))
    if faults:
        return Reconciled(faults=tuple(faults))
    if any(
        entry.id in on_screens and not entry.replaces and entry.subject.startswith(f"{origin}:")
        for entry in journal
    ):
        why = (
            f"{called} is the name of a job that began on a screen, and its rows stand under it. Give the"
            " file a name of its own, and add it to that job."
        )
        return Reconciled(faults=(why,))
    known = known_rows(journal, texts, origin, on_screens)
    try:
        new = with_companions(
            [new_row(place, draft) for place, draft in enumerate(drafts)], setup_names(drafts)
        )
    except ValueError as error:
        return Reconciled(
            faults=(f"{called}: something in the file cannot be written down for good: {error}",)
        )

    matches: dict[int, KnownRow] = matches_of(
        [row for row in known if row.kind == "setup"],
        [row for row in new if row.kind == "setup"],
        SETUP_PASSES,
    )
    subjects = _subjects(origin, known, new, matches, only="setup")
    named = {name: subjects[place] for place, name in setup_names(drafts).items()}
    faults = _without_setup(drafts, named, "the file")
    if faults:
        return Reconciled(faults=tuple(faults))
    bodies = [
        (
            {**draft.body, "setup": named[draft.body["setup"]]}
            if setup_of(draft.kind, draft.body)
            else dict(draft.body)
        )
        for draft in drafts
    ]
    new = [attrs.evolve(row, setup=setup_of(row.kind, bodies[row.place])) for row in new]

    matches |= matches_of(
        [row for row in known if row.kind != "setup"], [row for row in new if row.kind != "setup"], PASSES
    )
    there = {row.subject for row in matches.values()}
    vanished = [row for row in known if row.subject not in there and row.withdrawal is None]
    unread, read_now = _as_typed(vanished, new)
    vanished = [row for row in vanished if row not in unread.values() and row not in read_now]
    if vanished:
        return Reconciled(faults=tuple(_missing_words(called, row) for row in vanished))
    new = [row for row in new if row.place not in unread]
    subjects |= _subjects(origin, known, new, matches)
    numbered = [
        draft
        for row in new
        for draft in _row_drafts(
            row, matches.get(row.place), subjects[row.place], drafts[row.place], bodies[row.place]
        )
    ]
    return Reconciled(drafts=(*map(_read_now, read_now), *numbered))


def _as_typed(
    vanished: Sequence[KnownRow], new: Sequence[NewRow]
) -> tuple[dict[int, KnownRow], list[KnownRow]]:
    """Rows of a system that could not be read now, or before: place of a draft that is kept as it was typed →
    the row that was read of it before, which stands; and the rows that were kept as they were typed, which
    can be read now.
    """
    unread: dict[int, KnownRow] = {}
    for row in new:
        plain = row.row.removeprefix(AS_TYPED)
        before = [old for old in vanished if old.row == plain != row.row and old not in unread.values()]
        if before:
            unread[row.place] = before[0]
    readable = {row.row for row in new}
    return unread, [
        old for old in vanished if old.row.removeprefix(AS_TYPED) in readable and old.row.startswith(AS_TYPED)
    ]


def _read_now(row: KnownRow) -> Draft:
    return Draft(
        kind="withdrawn", subject=row.subject, body=body_of(Withdrawn()), replaces=row.heads, reason=READ_NOW
    )


def additions(
    entries: Iterable[Entry],
    texts: Mapping[str, str],
    origin: str,
    drafts: Sequence[Draft],
    corrects: Entry | None = None,
) -> Reconciled:
    """What the rows of a screen add to the journal: each is new, but for what a job has one of, and for the
    one that corrects an entry.

    A setup that says what the latest one of its stage says is that one: it is asked once, in however many
    requests its readings come.

    Args:
        entries, texts: As for `reconcile`; the whole journal as it stands while they are written.
        origin: What the screens' rows of this job stand under.
        drafts: The rows, as `reconcile` takes a file's.
        corrects: The standing entry whose place the one draft of its kind and row takes, whoever said it.

    Returns:
        Drafts in the order of the drafts, or every fault.
    """
    origin, drafts = composed(origin), [attrs.evolve(draft, row=composed(draft.row)) for draft in drafts]
    journal = list(entries)
    faults = _unfit(origin, drafts, forgotten=any(entry.kind == "forgotten" for entry in journal))
    faults = faults or _without_setup(drafts, setup_names(drafts).values(), "this answer")
    if faults:
        return Reconciled(faults=tuple(faults))
    # Only what the rows may be the same as is looked at closely: a request is to cost as much late in a long
    # job as early.
    rows, there = (
        {draft.row for draft in drafts},
        ({corrects.subject, setup_of(corrects.kind, corrects.body)} if corrects is not None else set()),
    )
    journal = [entry for entry in journal if row_of(entry.subject) in rows or entry.subject in there]
    known = known_rows(journal, texts, origin)
    if corrects is not None and not corrects.subject.startswith(f"{origin}:"):
        known += known_rows(
            [entry for entry in journal if entry.subject == corrects.subject],
            texts,
            corrects.subject.partition(":")[0],
        )
    corrected = _corrections(known, drafts, corrects)
    if isinstance(corrected, str):
        return Reconciled(faults=(corrected,))
    matches = dict(corrected)
    singles = {row.row: row for row in known if row.kind in SINGLE and row.subject.startswith(f"{origin}:")}
    matches |= {
        place: singles[draft.row]
        for place, draft in enumerate(drafts)
        if place not in matches and draft.kind in SINGLE and draft.row in singles
    }
    own = [row for row in known if row.subject.startswith(f"{origin}:")]
    try:
        return Reconciled(drafts=tuple(_new_drafts(origin, own, matches, drafts)))
    except ValueError as error:
        return Reconciled(faults=(f"Something in the answer cannot be written down for good: {error}",))


def _corrections(
    known: Sequence[KnownRow], drafts: Sequence[Draft], corrects: Entry | None
) -> Mapping[int, KnownRow] | str:
    """Place of the draft that corrects an entry → the row it corrects; a fault where it is not one row for
    one row.
    """
    if corrects is None:
        return {}
    rows = [row for row in known if row.subject == corrects.subject]
    if not rows or corrects.id not in rows[0].heads or rows[0].withdrawal is not None:
        return (
            "What was to be corrected does not stand any more: it was corrected or withdrawn meanwhile. Look"
            " at it again."
        )
    places = [
        place for place, draft in enumerate(drafts) if (draft.kind, draft.row) == (rows[0].kind, rows[0].row)
    ]
    if len(places) != 1:
        what = "nothing" if not places else f"{len(places)} rows"
        return (
            f"A correction of {rows[0].row} ({rows[0].shown}) says one row of the same kind, stage and place;"
            f" this one says {what} of it."
        )
    return {places[0]: rows[0]}


def _new_drafts(
    origin: str, known: Sequence[KnownRow], matches: Mapping[int, KnownRow], drafts: Sequence[Draft]
) -> Iterator[Draft]:
    last: Counter[str] = Counter()
    for old in known:
        last[old.row] = max(last[old.row], old.n)
    latest = {
        old.row: (old.content, old.subject) for old in known if old.kind == "setup" and old.withdrawal is None
    }
    with_it = {row.setup for row in matches.values() if row.setup}
    latest |= {
        old.row: (old.content, old.subject) for old in known if old.subject in with_it
    }  # a corrected reading is first held against its own
    named = setup_names(drafts)
    setups: dict[str, str] = {}
    for place, draft in enumerate(drafts):
        body = dict(draft.body)
        before = matches.get(place)
        if setup_of(draft.kind, body):
            body["setup"] = setups[body["setup"]]
        elif draft.kind == "measured" and before is not None:
            body["setup"] = before.setup  # a corrected reading was read with what it was read with
        row = attrs.evolve(new_row(place, draft), setup=setup_of(draft.kind, body))
        again = before is None and draft.kind == "setup" and latest.get(draft.row, ("", ""))[0] == row.content
        if before is not None or again:
            subject = before.subject if before is not None else latest[draft.row][1]
        else:
            last[draft.row] += 1
            subject = f"{origin}:{draft.row}#{last[draft.row]}"
        if draft.kind == "setup":
            setups[named[place]] = subject
            latest[draft.row] = (row.content, subject)
        if not again:
            yield from _row_drafts(row, before, subject, draft, body, (SAID_ANEW,) * 3)


def _without_setup(drafts: Sequence[Draft], named: Collection[str], where: str) -> list[str]:
    """Readings that name a setup which is not among the rows."""
    return [
        f"{draft.at or draft.row}: it was read with setup {draft.body['setup']}, which is not in {where}."
        " Name one that is."
        for draft in drafts
        if setup_of(draft.kind, draft.body) and setup_of(draft.kind, draft.body) not in named
    ]


def _unfit(called: str, drafts: Sequence[Draft], *, forgotten: bool) -> list[str]:
    """What keeps the rows from being compared at all."""
    if not called or ":" in called or "#" in called:
        return [f"The file calls its job {called!r}. Give it a name without ':' and '#'."]
    if forgotten and any(_holds_person(draft.body) or _holds_reason(draft) for draft in drafts):
        return [
            f"The personal texts of {called} were destroyed for good, and these rows would bring them back."
            " Take this visit into a new job, or leave it."
        ]
    faults = []
    for draft in drafts:
        if draft.kind in PROGRAM_KINDS or draft.kind not in RECORDS:
            faults.append(f"{draft.at or draft.row}: a file cannot say {draft.kind!r}; only the program can.")
        if draft.withdrawn and not draft.reason.strip():
            faults.append(
                f'{draft.at or draft.row}: it is withdrawn without a reason. Write withdrawn = "why".'
            )
    return faults


def _holds_reason(draft: Draft) -> bool:
    """True when it is withdrawn for a reason in own words, which are kept with the persons."""
    return draft.withdrawn and _holds_person(with_kept_reason("withdrawn", {}, draft.reason)[0])


def _holds_person(data: Any) -> bool:
    if isinstance(data, Mapping):
        return any(_holds_person(item) for item in data.values())
    if isinstance(data, (list, tuple)):
        return any(_holds_person(item) for item in data)
    return isinstance(data, PersonalText)


def _subjects(
    origin: str,
    known: Sequence[KnownRow],
    new: Sequence[NewRow],
    matches: Mapping[int, KnownRow],
    only: str = "",
) -> dict[int, str]:
    """Place of a draft → its subject: the one it has, or the next number in its group."""
    last: Counter[str] = Counter()
    for row in known:
        last[row.row] = max(last[row.row], row.n)
    subjects: dict[int, str] = {}
    for draft in sorted(
        new, key=lambda row: row.kind != "setup"
    ):  # setups are numbered first, so that both rounds give them the same numbers
        if draft.place in matches:
            subjects[draft.place] = matches[draft.place].subject
        elif not only or draft.kind == only:
            last[draft.row] += 1
            subjects[draft.place] = f"{origin}:{draft.row}#{last[draft.row]}"
    return subjects


# ── what comes of it ────────────────────────────────────────────────────────────────────────────────────────


def _row_drafts(
    row: NewRow,
    known: KnownRow | None,
    subject: str,
    draft: Draft,
    body: Mapping[str, Any],
    reasons: tuple[str, str, str] = (CORRECTED, PUT_BACK, SETTLED),
) -> list[Draft]:
    """The drafts that a row makes: none, one, or its content and then its withdrawal.

    `reasons` are given for a correction and what is like one.
    """
    drafts: list[Draft] = []
    heads = known.heads if known else ()
    changed = known is None or (row.content, row.setup) != (known.content, known.setup)
    put_back = known is not None and known.withdrawal is not None and row.withdrawal is None
    if changed or put_back or (known is not None and known.disputed and row.withdrawal is None):
        corrected, back, settled = reasons
        why = "" if known is None else corrected if changed else back if put_back else settled
        reason = why if draft.withdrawn else draft.reason or why
        replaces = (*heads, *(head for head in draft.replaces if head not in heads))
        drafts.append(attrs.evolve(draft, subject=subject, body=body, replaces=replaces, reason=reason))
        heads = ()  # the store has a later draft of one append replace an earlier one about the same
    if row.withdrawal is not None and (
        drafts or known is None or known.withdrawal != composed(row.withdrawal) or known.disputed
    ):
        drafts.append(
            Draft(
                kind="withdrawn",
                subject=subject,
                body=body_of(Withdrawn()),
                taken=draft.taken,
                replaces=heads,
                reason=draft.reason,
            )
        )
    return drafts


def _missing_words(called: str, row: KnownRow) -> str:
    return (
        f"{row.row} of {called} ({row.shown}), taken in before, is no longer in the file. "
        'Put the row back as it was and mark it withdrawn = "why"; nothing was taken in.'
    )
