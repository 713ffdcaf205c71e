"""The rows that a journal holds and those that a file or a screen brings, and which of them are the same."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Hashable, Iterable, Mapping, Sequence
from typing import Any

import attrs

from ..model.canonical import digest
from ..model.entry import Draft, Entry
from ..model.job import in_order
from ..model.money import Money
from ..model.personal import KeptWords, Personal, PersonalText
from ..model.records import RECORDS, Withdrawn, as_the_file_says, body_of

#: What the program says by itself and no file can say.
PROGRAM_KINDS = frozenset(
    {
        *("estimated", "issued", "published", "forgotten", "withdrawn", "receipted", "reminded", "handed"),
        *("invoice", "payment", "drawer"),
    }
)


@attrs.frozen(kw_only=True, eq=False)
class RecordRow:
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
class KnownRow(RecordRow):
    """A row that the journal holds: all heads of its subject, and what is shown of it in a message."""

    subject: str
    n: int
    heads: tuple[str, ...]
    disputed: bool
    shown: str


@attrs.frozen(kw_only=True, eq=False)
class NewRow(RecordRow):
    """A row of the file, with its place in the list of drafts."""

    place: int


# ── what the journal holds and what the file says ───────────────────────────────────────────────────────────


def known_rows(
    journal: Sequence[Entry], texts: Mapping[str, str], origin: str, on_screens: Collection[str] = frozenset()
) -> list[KnownRow]:
    ordered = in_order(journal)
    replaced = {old for entry in ordered for old in entry.replaces}
    versions: dict[str, list[Entry]] = defaultdict(list)
    for entry in ordered:
        if entry.subject.startswith(f"{origin}:"):
            versions[entry.subject].append(entry)
    known: list[KnownRow] = []
    for subject, said in versions.items():
        row, mark, n = subject.removeprefix(f"{origin}:").rpartition("#")
        heads = [entry for entry in said if entry.id not in replaced]
        own = [entry for entry in said if entry.id not in on_screens]
        contents = [entry for entry in own if entry.kind not in PROGRAM_KINDS]
        if not contents or not mark or not n.isdecimal():
            continue
        # Of two heads that differ the later one counts, as it does in the job; the earlier content of a
        # withdrawn row is what the file still shows. A row without heads gave way to what was said of the
        # same thing elsewhere; it stands until the file says something new.
        last = heads[-1] if heads and heads[-1].id not in on_screens else own[-1]
        content = last if last.kind != "withdrawn" else contents[-1]
        known.append(
            KnownRow(
                kind=content.kind,
                row=row,
                content=_content(content.kind, content.body, content.taken, texts),
                setup=setup_of(content.kind, content.body),
                withdrawal=_why(last, texts) if last.kind == "withdrawn" else None,
                subject=subject,
                n=int(n),
                heads=tuple(entry.id for entry in heads),
                disputed=len({digest([entry.kind, entry.body]) for entry in heads}) > 1,
                shown=_row_words(content, texts),
            )
        )
    known.sort(key=lambda row: row.n)
    return with_companions(known, {row.subject: row.subject for row in known if row.kind == "setup"})


def _why(withdrawn: Entry, texts: Mapping[str, str]) -> str:
    """Why something was withdrawn, in the words in which it was said."""
    because = Withdrawn(**withdrawn.body).because
    return because.words(texts) if isinstance(because, KeptWords) else withdrawn.reason


def new_row(place: int, draft: Draft) -> NewRow:
    return NewRow(
        kind=draft.kind,
        row=draft.row,
        content=_content(draft.kind, draft.body, draft.taken, {}),
        setup=setup_of(draft.kind, draft.body),
        withdrawal=draft.reason if draft.withdrawn else None,
        place=place,
    )


def setup_names(drafts: Sequence[Draft]) -> dict[Any, str]:
    """Place of a setup in the list of drafts → the name that readings know it by, `row#k`."""
    counted: Counter[str] = Counter()
    names = {}
    for place, draft in enumerate(drafts):
        if draft.kind == "setup":
            counted[draft.row] += 1
            names[place] = f"{draft.row}#{counted[draft.row]}"
    return names


def with_companions(rows: list[Any], names: Mapping[Any, str]) -> list[Any]:
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
    return row.place if isinstance(row, NewRow) else row.subject


def _contents(row: RecordRow) -> list[tuple[str, str]]:
    return sorted({(of, content) for (of, content, _), _ in row.companions})


def setup_of(kind: str, body: Mapping[str, Any]) -> str:
    return str(body.get("setup") or "") if kind == "measured" else ""


#: Kind → what only a screen can say of it, so that a file neither has it nor takes it away.
_ONLY_ON_SCREENS = {"approved": ("signature", "said")}


def _content(kind: str, body: Mapping[str, Any], taken: str, texts: Mapping[str, str]) -> str:
    """Hash of what a row says.

    A field that a later program added stands in it with its default, or every old row would look changed.
    """
    try:
        filled = body_of(RECORDS[kind](**body))
    except TypeError:
        filled = dict(body)
    for name in ("setup", *_ONLY_ON_SCREENS.get(kind, ())):
        filled.pop(name, None)
    return digest([kind, taken, _with_texts(as_the_file_says(filled), texts)])


def _with_texts(data: Any, texts: Mapping[str, str]) -> Any:
    if isinstance(data, PersonalText):
        return {"personal": data.kind, "text": data.text}
    if isinstance(data, Personal):
        return _with_texts({"personal": data.kind, "hash": data.hash}, texts)
    if isinstance(data, Mapping):
        if set(data) == {"personal", "hash"} and data["hash"] in texts:
            return {"personal": data["personal"], "text": texts[data["hash"]]}
        return {key: _with_texts(item, texts) for key, item in data.items()}
    if isinstance(data, (list, tuple)):
        return [_with_texts(item, texts) for item in data]
    return data


# ── matching ────────────────────────────────────────────────────────────────────────────────────────────────

#: What a row may be recognised by in one pass; nothing, and the pass leaves it alone.
_Recognised = Callable[[RecordRow], Iterable[Hashable]]


def _is_standing(row: RecordRow) -> bool:
    return row.withdrawal is None


# A file's withdrawn row may belong to one that still stands, but a new row never to one that was withdrawn.
_IN_ORDER: tuple[_Recognised, ...] = (
    lambda row: ["row"] if isinstance(row, NewRow) or _is_standing(row) else [],
    lambda row: [] if _is_standing(row) else ["withdrawn"],
)

SETUP_PASSES: tuple[_Recognised, ...] = (
    lambda row: [(row.content, row.withdrawal, row.companions)],
    lambda row: [(row.content, companion) for companion in _contents(row)],
    lambda row: [(row.content, row.withdrawal)],
    lambda row: [row.content],
    _contents,
    *_IN_ORDER,
)

PASSES: tuple[_Recognised, ...] = (
    lambda row: [(row.content, row.setup, row.withdrawal)],
    lambda row: [(row.content, row.setup)],
    lambda row: [(row.content, row.withdrawal)],
    lambda row: [row.content],
    lambda row: [row.setup] if row.setup and (isinstance(row, NewRow) or _is_standing(row)) else [],
    *_IN_ORDER,
)


def matches_of(
    known: Sequence[KnownRow], new: Sequence[NewRow], passes: Sequence[_Recognised]
) -> dict[int, KnownRow]:
    """Place of a draft → the row of the journal that it is. Each pass matches what is left, in order."""
    found: dict[int, KnownRow] = {}
    taken: set[str] = set()
    for recognised in passes:
        left: dict[Hashable, list[KnownRow]] = defaultdict(list)
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


_TELLING = (
    "of",
    "place",
    "operation",
    "estimate",
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


def _row_words(entry: Entry, texts: Mapping[str, str]) -> str:
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
