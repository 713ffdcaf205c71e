"""Is the store still as it was written, and does it still hold what a paper was printed from?"""

from __future__ import annotations

from pathlib import Path

import attrs

from ..model.document import from_data
from ..model.entry import Entry
from ..model.mark import content_mark, hash_of_heads, mark_of_heads
from ..store.mark import normalise_id
from ..store.store import Store
from .settings import STORE_FILE


@attrs.frozen(kw_only=True)
class Verified:
    """Every fault in a sentence; how many jobs were looked at; and what a paper's record mark says, where one
    was given.
    """

    faults: tuple[str, ...]
    jobs: int
    mark: str = ""


def verify_folder(folder: Path, mark: str = "") -> Verified:
    """As `verify`, for a shop whose settings need not be readable."""
    with Store.open(folder / STORE_FILE) as store:
        return verify(store, mark)


def verify(store: Store, mark: str = "") -> Verified:
    """Check a shop's store, and hold it against the record mark of a paper.

    The mark is computed from the document and from the newest entries at the time of issue. Each entry holds
    the hash of the one before it, so where the document leads to the mark, its entries are here and the
    chains verify, nothing that the document says or rests on was changed or removed since.
    """
    faults, words = store.verify(), ""
    if store.missing:
        faults = [*faults, f"{store.missing} of the entries that were seen under this name are not in it"]
    if mark:
        missing, words = _held_against(store, mark)
        faults = [*faults, *missing]
    return Verified(faults=tuple(faults), jobs=store.job_count, mark=words)


def _held_against(store: Store, mark: str) -> tuple[list[str], str]:
    """Faults, or in words which paper the mark fixes."""
    wanted = _as_typed(mark)
    stated = ""
    for entry in store.entries_of(*_MARKED):
        what, heads = _marked_as(store, entry), entry.body["heads"]
        document = from_data(entry.body["document"])
        if not document.rests_on:
            leads_to = mark_of_heads(heads)
        elif document.rests_on == hash_of_heads(heads):
            leads_to = content_mark(document)
        else:
            leads_to = ""
        if _as_typed(leads_to) != wanted:
            stated = what if _as_typed(document.mark) == wanted else stated
            continue
        lost = [head for head in heads if not store.has_entry(head)]
        if lost:
            return [
                f"the record mark of {what}: {len(lost)} of the entries it was computed from are gone or"
                " rewritten"
            ], ""
        return [], f"The mark is that of {what}: everything it was printed from is here, unchanged."
    if stated:
        return [
            f"the record mark {mark}: {stated} states it, but what is kept leads to another mark; it was"
            " rewritten after it was issued"
        ], ""
    why = (
        "the record was rewritten, the end of the store was cut off, the document is another shop's, or a"
        " letter is wrong"
    )
    return [f"the record mark {mark}: no invoice, credit note or receipt in this store has it; {why}"], ""


def _as_typed(mark: str) -> str:
    return normalise_id(mark.replace("-", "").replace(" ", ""))


#: Kinds of entry whose document carries a record mark.
_MARKED = ("invoice", "receipted", "reminded")


def _marked_as(store: Store, entry: Entry) -> str:
    """What the document of such an entry is; journals of before name the job of a receipt themselves."""
    if entry.kind == "invoice":
        return f"{'credit note' if entry.body.get('credits') else 'invoice'} {entry.body['number']}"
    if entry.kind == "reminded":
        return f"reminder {entry.body['nth']} of invoice {entry.body['number']}"
    name = str(entry.body["name"])
    return f"receipt {store.called(entry.job)} {name}" if name.isdecimal() else f"receipt {name}"
