"""What a file says anew: its rows held against what was taken in from it before.

A visit file is one growing list, imported again after every change. The same content adds nothing, a changed
row is a correction, a new row an addition, and a row that is gone is refused: what was once said is withdrawn
with a reason, never dropped.

What a screen says (`answered`) only ever adds to it or corrects one row.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from typing import Any

import attrs

from ..model.canonical import digest
from ..model.entry import Draft, Entry
from ..model.money import Money
from ..model.personal import Personal, PersonalText
from ..model.records import RECORDS, Withdrawn, as_the_file_says, body_of
from .rows import composed
from .statement import Statement

#: What the program says by itself and no file can say.
PROGRAM_KINDS = frozenset(
    {"offered", "issued", "published", "forgotten", "withdrawn", "receipted", "invoice", "payment"}
)

CORRECTED = "corrected in the file"
PUT_BACK = "put back in the file"
SETTLED = "settled by the file"

#: Why an answer replaces what stood.
ANSWERED_ANEW = "corrected on the screen"

#: Of these a job has one, and of an instrument one of each name, of a trait one answer per stage: an answer
#: that says it anew takes its place.
SINGLE = frozenset({"opened", "vehicle", "customer", "instrument", "fitted"})


@attrs.frozen(kw_only=True)
class Reconciled:
    """What an import or an answer comes to: statements to append, or faults, and then nothing is written."""

    statements: tuple[Statement, ...] = ()
    faults: tuple[str, ...] = ()


@attrs.frozen(kw_only=True, eq=False)
class _Row:
    """One row of a file, as it stands in the journal or as it is in the file now.

    Attributes:
        content: Hash of what it says, personal texts resolved, without the setup it refers to.
        setup: Subject of the setup it was read with, "" without one.
        companions: On a setup, the readings taken with it, (row, content, withdrawal), each with how often.
        withdrawal: Why it was withdrawn; None while it stands.
    """

    kind: str
    row: str
    content: str
    setup: str = ""
    companions: frozenset[tuple[tuple[str, str, str | None], int]] = frozenset()
    withdrawal: str | None = None


@attrs.frozen(kw_only=True, eq=False)
class _Known(_Row):
    """A row that the journal holds: all heads of its subject, and what is shown of it in a message."""

    subject: str
    n: int
    heads: tuple[str, ...]
    disputed: bool
    shown: str


@attrs.frozen(kw_only=True, eq=False)
class _New(_Row):
    """A row of the file, with its place in the list of drafts."""

    place: int


def reconcile(
    entries: Iterable[Entry],
    texts: Mapping[str, str],
    origin: str,
    drafts: Sequence[Draft],
    elsewhere: Collection[str] = frozenset(),
) -> Reconciled:
    """Hold the rows of a file against the journal.

    Rows are matched within one group (`Draft.row`) and kind: equal content first, then in the order in which
    they stand. Setups are matched before the readings that name them, by the readings that they keep, so that
    a step put in the middle changes none of the others.

    Args:
        entries: The job's whole journal; what other files, screens and the program said takes no part.
        texts: Hash → personal text of what these entries refer to.
        origin: The file's name for the job; subjects are `origin:row#n`.
        drafts: The file's rows in order. A reading's `setup` names the row of its setup draft as `row#k`, k
            counting from 1.
        elsewhere: Ids of entries that were said on a screen. Where one of them corrects or withdraws a row of
            the file, the file is compared with what it said itself, and what was said later on the screen
            stands until the file says something new.

    Returns:
        Statements in the order of the file, or every fault. One import is all or nothing.
    """
    origin, drafts = composed(origin), [attrs.evolve(draft, row=composed(draft.row)) for draft in drafts]
    journal = list(entries)
    faults = _unfit(origin, drafts, forgotten=any(entry.kind == "forgotten" for entry in journal))
    if faults:
        return Reconciled(faults=tuple(faults))
    if any(
        entry.id in elsewhere and not entry.replaces and entry.subject.startswith(f"{origin}:")
        for entry in journal
    ):
        why = (
            f"{origin} is the name of a job that began on a screen, and its rows stand under it. Give the"
            " file a name of its own, and add it to that job."
        )
        return Reconciled(faults=(why,))
    known = _known(journal, texts, origin, elsewhere)
    try:
        new = _companied([_new(place, draft) for place, draft in enumerate(drafts)], _named_rows(drafts))
    except ValueError as error:
        return Reconciled(
            faults=(f"{origin}: something in the file cannot be written down for good: {error}",)
        )

    found: dict[int, _Known] = _matched(
        [row for row in known if row.kind == "setup"],
        [row for row in new if row.kind == "setup"],
        _SETUP_PASSES,
    )
    subjects = _subjects(origin, known, new, found, only="setup")
    named = {name: subjects[place] for place, name in _named_rows(drafts).items()}
    faults = _without_setup(drafts, named, "the file")
    if faults:
        return Reconciled(faults=tuple(faults))
    bodies = [
        (
            {**draft.body, "setup": named[draft.body["setup"]]}
            if _setup_of(draft.kind, draft.body)
            else dict(draft.body)
        )
        for draft in drafts
    ]
    new = [attrs.evolve(row, setup=_setup_of(row.kind, bodies[row.place])) for row in new]

    found |= _matched(
        [row for row in known if row.kind != "setup"], [row for row in new if row.kind != "setup"], _PASSES
    )
    matched = {row.subject for row in found.values()}
    vanished = [row for row in known if row.subject not in matched and row.withdrawal is None]
    if vanished:
        return Reconciled(faults=tuple(_missing(origin, row) for row in vanished))
    subjects |= _subjects(origin, known, new, found)
    statements = [
        statement
        for row in new
        for statement in _said(
            row, found.get(row.place), subjects[row.place], drafts[row.place], bodies[row.place]
        )
    ]
    return Reconciled(statements=tuple(statements))


def answered(
    entries: Iterable[Entry],
    texts: Mapping[str, str],
    origin: str,
    drafts: Sequence[Draft],
    corrects: Entry | None = None,
) -> Reconciled:
    """What the rows of an answer add to the journal: each is new, but for what a job has one of, and for the
    one that corrects an entry.

    A setup that says what the latest one of its stage says is that one: it is asked once, in however many
    answers its readings come.

    Args:
        entries, texts: As for `reconcile`; the whole journal as it stands while the answer is written.
        origin: What the screens' rows of this job stand under.
        drafts: The answer's rows, as `reconcile` takes a file's.
        corrects: The standing entry whose place the one draft of its kind and row takes, whoever said it.

    Returns:
        Statements in the order of the drafts, or every fault.
    """
    origin, drafts = composed(origin), [attrs.evolve(draft, row=composed(draft.row)) for draft in drafts]
    journal = list(entries)
    faults = _unfit(origin, drafts, forgotten=any(entry.kind == "forgotten" for entry in journal))
    faults = faults or _without_setup(drafts, _named_rows(drafts).values(), "this answer")
    if faults:
        return Reconciled(faults=tuple(faults))
    # Only what the rows may be the same as is looked at closely: an answer is to cost as much late in a long
    # job as early.
    rows, there = (
        {draft.row for draft in drafts},
        ({corrects.subject, _setup_of(corrects.kind, corrects.body)} if corrects is not None else set()),
    )
    journal = [entry for entry in journal if row_of(entry.subject) in rows or entry.subject in there]
    known = _known(journal, texts, origin)
    if corrects is not None and not corrects.subject.startswith(f"{origin}:"):
        known += _known(
            [entry for entry in journal if entry.subject == corrects.subject],
            texts,
            corrects.subject.partition(":")[0],
        )
    corrected = _corrected(known, drafts, corrects)
    if isinstance(corrected, str):
        return Reconciled(faults=(corrected,))
    found = dict(corrected)
    single = {row.row: row for row in known if row.kind in SINGLE and row.subject.startswith(f"{origin}:")}
    found |= {
        place: single[draft.row]
        for place, draft in enumerate(drafts)
        if place not in found and draft.kind in SINGLE and draft.row in single
    }
    own = [row for row in known if row.subject.startswith(f"{origin}:")]
    try:
        return Reconciled(statements=tuple(_new_statements(origin, own, found, drafts)))
    except ValueError as error:
        return Reconciled(faults=(f"Something in the answer cannot be written down for good: {error}",))


def _corrected(
    known: Sequence[_Known], drafts: Sequence[Draft], corrects: Entry | None
) -> Mapping[int, _Known] | str:
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


def _new_statements(
    origin: str, known: Sequence[_Known], found: Mapping[int, _Known], drafts: Sequence[Draft]
) -> Iterator[Statement]:
    last: Counter[str] = Counter()
    for old in known:
        last[old.row] = max(last[old.row], old.n)
    latest = {
        old.row: (old.content, old.subject) for old in known if old.kind == "setup" and old.withdrawal is None
    }
    with_it = {row.setup for row in found.values() if row.setup}
    latest |= {
        old.row: (old.content, old.subject) for old in known if old.subject in with_it
    }  # a corrected reading is first held against its own
    named = _named_rows(drafts)
    setups: dict[str, str] = {}
    for place, draft in enumerate(drafts):
        body = dict(draft.body)
        before = found.get(place)
        if _setup_of(draft.kind, body):
            body["setup"] = setups[body["setup"]]
        elif draft.kind == "measured" and before is not None:
            body["setup"] = before.setup  # a corrected reading was read with what it was read with
        row = attrs.evolve(_new(place, draft), setup=_setup_of(draft.kind, body))
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
            yield from _said(row, before, subject, draft, body, (ANSWERED_ANEW,) * 3)


def _without_setup(drafts: Sequence[Draft], named: Collection[str], where: str) -> list[str]:
    """Readings that name a setup which is not among the rows."""
    return [
        f"{draft.at or draft.row}: it was read with setup {draft.body['setup']}, which is not in {where}."
        " Name one that is."
        for draft in drafts
        if _setup_of(draft.kind, draft.body) and _setup_of(draft.kind, draft.body) not in named
    ]


def _unfit(origin: str, drafts: Sequence[Draft], *, forgotten: bool) -> list[str]:
    """What keeps the rows from being compared at all."""
    if not origin or ":" in origin or "#" in origin:
        return [f"The file calls its job {origin!r}. Give it a name without ':' and '#'."]
    if forgotten and any(_holds_person(draft.body) for draft in drafts):
        return [
            f"The personal texts of {origin} were destroyed for good, and these rows would bring them back."
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


def _holds_person(data: Any) -> bool:
    if isinstance(data, Mapping):
        return any(_holds_person(item) for item in data.values())
    if isinstance(data, (list, tuple)):
        return any(_holds_person(item) for item in data)
    return isinstance(data, PersonalText)


# ── what the journal holds and what the file says ───────────────────────────────────────────────────────────


def _known(
    journal: Sequence[Entry], texts: Mapping[str, str], origin: str, elsewhere: Collection[str] = frozenset()
) -> list[_Known]:
    ordered = sorted(journal, key=lambda entry: (entry.chain, entry.n))
    replaced = {old for entry in ordered for old in entry.replaces}
    versions: dict[str, list[Entry]] = defaultdict(list)
    for entry in ordered:
        if entry.subject.startswith(f"{origin}:"):
            versions[entry.subject].append(entry)
    known: list[_Known] = []
    for subject, said in versions.items():
        row, mark, n = subject.removeprefix(f"{origin}:").rpartition("#")
        heads = [entry for entry in said if entry.id not in replaced]
        own = [entry for entry in said if entry.id not in elsewhere]
        contents = [entry for entry in own if entry.kind not in PROGRAM_KINDS]
        if not contents or not mark or not n.isdecimal():
            continue
        # Of two heads that differ the later one counts, as it does in the job; the earlier content of a
        # withdrawn row is what the file still shows.
        last = heads[-1] if heads[-1].id not in elsewhere else own[-1]
        content = last if last.kind != "withdrawn" else contents[-1]
        known.append(
            _Known(
                kind=content.kind,
                row=row,
                content=_content(content.kind, content.body, content.taken, texts),
                setup=_setup_of(content.kind, content.body),
                withdrawal=last.reason if last.kind == "withdrawn" else None,
                subject=subject,
                n=int(n),
                heads=tuple(entry.id for entry in heads),
                disputed=len({digest([entry.kind, entry.body]) for entry in heads}) > 1,
                shown=_shown(content, texts),
            )
        )
    known.sort(key=lambda row: row.n)
    return _companied(known, {row.subject: row.subject for row in known if row.kind == "setup"})


def _new(place: int, draft: Draft) -> _New:
    return _New(
        kind=draft.kind,
        row=draft.row,
        content=_content(draft.kind, draft.body, draft.taken, {}),
        setup=_setup_of(draft.kind, draft.body),
        withdrawal=draft.reason if draft.withdrawn else None,
        place=place,
    )


def _named_rows(drafts: Sequence[Draft]) -> dict[Any, str]:
    """Place of a setup in the list of drafts → the name that readings know it by, `row#k`."""
    counted: Counter[str] = Counter()
    names = {}
    for place, draft in enumerate(drafts):
        if draft.kind == "setup":
            counted[draft.row] += 1
            names[place] = f"{draft.row}#{counted[draft.row]}"
    return names


def _companied(rows: list[Any], names: Mapping[Any, str]) -> list[Any]:
    """The rows, each setup with the contents of the readings that name it."""
    companions: dict[str, Counter[tuple[str, str, str | None]]] = defaultdict(Counter)
    for row in rows:
        if row.setup:
            companions[row.setup][row.row, row.content, row.withdrawal] += 1
    return [
        (
            attrs.evolve(row, companions=frozenset(companions[names[_key(row)]].items()))
            if row.kind == "setup"
            else row
        )
        for row in rows
    ]


def row_of(subject: str) -> str:
    """The row that a subject numbers.

    >>> row_of("typed-visit:arrival/brakes.line_pressure/#2")
    'arrival/brakes.line_pressure/'
    """
    return subject.partition(":")[2].rpartition("#")[0]


def _key(row: Any) -> Any:
    return row.place if isinstance(row, _New) else row.subject


def _contents(row: _Row) -> list[tuple[str, str]]:
    return sorted({(of, content) for (of, content, _), _ in row.companions})


def _setup_of(kind: str, body: Mapping[str, Any]) -> str:
    return str(body.get("setup") or "") if kind == "measured" else ""


def _content(kind: str, body: Mapping[str, Any], taken: str, texts: Mapping[str, str]) -> str:
    """Hash of what a row says.

    A field that a later program added stands in it with its default, or every old row would look changed.
    """
    try:
        filled = body_of(RECORDS[kind](**body))
    except TypeError:
        filled = dict(body)
    filled.pop("setup", None)
    return digest([kind, taken, _resolved(as_the_file_says(filled), texts)])


def _resolved(data: Any, texts: Mapping[str, str]) -> Any:
    if isinstance(data, PersonalText):
        return {"personal": data.kind, "text": data.text}
    if isinstance(data, Personal):
        return _resolved({"personal": data.kind, "hash": data.hash}, texts)
    if isinstance(data, Mapping):
        if set(data) == {"personal", "hash"} and data["hash"] in texts:
            return {"personal": data["personal"], "text": texts[data["hash"]]}
        return {key: _resolved(item, texts) for key, item in data.items()}
    if isinstance(data, (list, tuple)):
        return [_resolved(item, texts) for item in data]
    return data


# ── matching ────────────────────────────────────────────────────────────────────────────────────────────────

#: What a row may be recognised by in one pass; nothing, and the pass leaves it alone.
_Recognised = Callable[[_Row], Iterable[Hashable]]


def _standing(row: _Row) -> bool:
    return row.withdrawal is None


# A file's withdrawn row may belong to one that still stands, but a new row never to one that was withdrawn.
_IN_ORDER: tuple[_Recognised, ...] = (
    lambda row: ["row"] if isinstance(row, _New) or _standing(row) else [],
    lambda row: [] if _standing(row) else ["withdrawn"],
)

_SETUP_PASSES: tuple[_Recognised, ...] = (
    lambda row: [(row.content, row.withdrawal, row.companions)],
    lambda row: [(row.content, companion) for companion in _contents(row)],
    lambda row: [(row.content, row.withdrawal)],
    lambda row: [row.content],
    _contents,
    *_IN_ORDER,
)

_PASSES: tuple[_Recognised, ...] = (
    lambda row: [(row.content, row.setup, row.withdrawal)],
    lambda row: [(row.content, row.setup)],
    lambda row: [(row.content, row.withdrawal)],
    lambda row: [row.content],
    lambda row: [row.setup] if row.setup and (isinstance(row, _New) or _standing(row)) else [],
    *_IN_ORDER,
)


def _matched(
    known: Sequence[_Known], new: Sequence[_New], passes: Sequence[_Recognised]
) -> dict[int, _Known]:
    """Place of a draft → the row of the journal that it is. Each pass matches what is left, in order."""
    found: dict[int, _Known] = {}
    taken: set[str] = set()
    for recognised in passes:
        left: dict[Hashable, list[_Known]] = defaultdict(list)
        for row in reversed(known):
            if row.subject not in taken:
                for sign in recognised(row):
                    left[row.row, row.kind, sign].append(row)
        for draft in new:
            if draft.place in found:
                continue
            for sign in recognised(draft):
                candidates = left.get((draft.row, draft.kind, sign), [])
                while candidates and candidates[-1].subject in taken:
                    candidates.pop()
                if candidates:
                    found[draft.place] = candidates.pop()
                    taken.add(found[draft.place].subject)
                    break
    return found


def _subjects(
    origin: str, known: Sequence[_Known], new: Sequence[_New], found: Mapping[int, _Known], only: str = ""
) -> dict[int, str]:
    """Place of a draft → its subject: the one it has, or the next number in its group."""
    last: Counter[str] = Counter()
    for row in known:
        last[row.row] = max(last[row.row], row.n)
    subjects: dict[int, str] = {}
    for draft in sorted(
        new, key=lambda row: row.kind != "setup"
    ):  # setups are numbered first, so that both rounds give them the same numbers
        if draft.place in found:
            subjects[draft.place] = found[draft.place].subject
        elif not only or draft.kind == only:
            last[draft.row] += 1
            subjects[draft.place] = f"{origin}:{draft.row}#{last[draft.row]}"
    return subjects


# ── what comes of it ────────────────────────────────────────────────────────────────────────────────────────


def _said(
    row: _New,
    known: _Known | None,
    subject: str,
    draft: Draft,
    body: Mapping[str, Any],
    reasons: tuple[str, str, str] = (CORRECTED, PUT_BACK, SETTLED),
) -> list[Statement]:
    """The statements that a row makes: none, one, or its content and then its withdrawal.

    `reasons` are given for a correction and what is like one.
    """
    statements: list[Statement] = []
    heads = known.heads if known else ()
    changed = known is None or (row.content, row.setup) != (known.content, known.setup)
    put_back = known is not None and known.withdrawal is not None and row.withdrawal is None
    if changed or put_back or (known is not None and known.disputed and row.withdrawal is None):
        corrected, back, settled = reasons
        why = "" if known is None else corrected if changed else back if put_back else settled
        reason = why if draft.withdrawn else draft.reason or why
        statements.append(
            Statement(
                kind=draft.kind, subject=subject, body=body, taken=draft.taken, replaces=heads, reason=reason
            )
        )
        heads = ()  # the store has a later statement of one append replace an earlier one about the same
    if row.withdrawal is not None and (
        statements or known is None or known.withdrawal != composed(row.withdrawal) or known.disputed
    ):
        statements.append(
            Statement(
                kind="withdrawn",
                subject=subject,
                body=body_of(Withdrawn()),
                taken=draft.taken,
                replaces=heads,
                reason=draft.reason,
            )
        )
    return statements


def _missing(origin: str, row: _Known) -> str:
    return (
        f"{row.row} of {origin} ({row.shown}), taken in before, is no longer in the file. "
        'Put the row back as it was and mark it withdrawn = "why"; nothing was taken in.'
    )


_TELLING = (
    "of",
    "place",
    "operation",
    "offer",
    "name",
    "typed",
    "low_typed",
    "high_typed",
    "answer",
    "cannot",
    "accuracy",
    "odometer_typed",
    "how",
    "because",
)


def _shown(entry: Entry, texts: Mapping[str, str]) -> str:
    """What a person recognises a row by: what it is about and what was typed."""
    body = entry.body
    parts = [str(body[name]) for name in _TELLING if isinstance(body.get(name), str) and body[name]]
    parts += [
        str(Money(body[name], body.get("currency", "")))
        for name in ("amount", "total")
        if isinstance(body.get(name), int)
    ]
    if isinstance(body.get("values"), Mapping):
        parts += [
            f"{key} {value.get('typed', '')}"
            for key, value in body["values"].items()
            if isinstance(value, Mapping)
        ]
    parts += [
        texts[value["hash"]]
        for value in body.values()
        if isinstance(value, Mapping) and value.get("hash") in texts
    ]
    return ", ".join(parts) or entry.kind
