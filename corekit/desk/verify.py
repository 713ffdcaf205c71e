"""Is the store still as it was written, and does it still hold what a paper was printed from?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import attrs

from ..store.mark import normalise_id, record_mark
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

    The mark is computed from the newest entries at the time of issue. Each entry holds the hash of the one
    before it, so where the mark's entries are here and the chains verify, nothing that the document rests on
    was changed or removed since.
    """
    faults, words = store.verify(), ""
    if store.missing:
        faults = [*faults, f"{store.missing} of the entries that were seen under this name are not in it"]
    if mark:
        missing, words = _held_against(store, mark)
        faults = [*faults, *missing]
    return Verified(faults=tuple(faults), jobs=len(store.jobs()), mark=words)


def _held_against(store: Store, mark: str) -> tuple[list[str], str]:
    """Faults, or in words which paper the mark fixes."""
    wanted = normalise_id(mark.replace("-", "").replace(" ", ""))
    journals = [entry for job in store.jobs() for entry in store.journal(job)]
    entries = [*store.books(), *journals]
    for entry in entries:
        if (
            entry.kind not in _MARKED
            or normalise_id(record_mark(entry.body["heads"]).replace("-", "")) != wanted
        ):
            continue
        what = _MARKED[entry.kind](entry.body)
        there = {known.id for known in entries}
        lost = [head for head in entry.body["heads"] if head not in there]
        if lost:
            return [
                f"the record mark of {what}: {len(lost)} of the entries it was computed from are gone"
            ], ""
        return [], f"The mark is that of {what}: everything it was printed from is here, unchanged."
    why = "the end of the store was cut off, the document is another shop's, or a letter is wrong"
    return [f"the record mark {mark}: no invoice or receipt in this store has it; {why}"], ""


#: Kinds of entry whose document carries a record mark → what it is.
_MARKED: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "invoice": lambda body: f"invoice {body['number']}",
    "receipted": lambda body: f"receipt {body['name']}",
}
