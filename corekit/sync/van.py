"""Bringing a van and its hub together: what the others wrote comes, what was written here goes.

Pulling comes first, so that what was forgotten elsewhere is never sent once more. Each parcel is taken in
whole or not at all, on both sides, so a cut line costs the parcel that was on its way and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import attrs

from ..model.entry import JOB
from ..store.exchange import Parcel, TakenIn
from ..store.store import Store
from .client import HubLine
from .message import SyncError


@attrs.frozen(kw_only=True)
class Synced:
    """What a sync did.

    Attributes:
        came, went: Number of entries. handed: Jobs that were handed to this van. forgotten: Jobs whose
            persons were destroyed here, because another van said so. disputed: Jobs of this van in which two
            things are said of one.
        vans: Letters → name of every device. prices: The shop's price book as the hub has it; empty where it
            has none.
    """

    came: int = 0
    went: int = 0
    handed: tuple[str, ...] = ()
    forgotten: tuple[str, ...] = ()
    vans: Mapping[str, str] = attrs.field(factory=dict)
    disputed: tuple[str, ...] = ()
    prices: str = ""


_OLDER = (
    "The hub has {count} that were written on this device and are not here: this is an older copy of its"
    " store. If the newer one is lost, say `corekit restored`, and enrol this one with a new code. Nothing"
    " was sent."
)


def synced(store: Store, line: HubLine) -> Synced:
    """Bring this store and the hub together.

    Raises:
        SyncError: the hub cannot be reached or refuses; what went and came before that stays.
        StoreError: what came cannot be taken in.
    """
    state = line.ask("/sync/state", {})
    own = {str(chain): (int(n), str(head)) for chain, (n, head) in state["own"].items()}
    here = store.own_heads()
    behind = [chain for chain, (n, _) in own.items() if here.get(chain, -1) < n]
    for chain, (n, head) in own.items():
        if chain in behind:
            if chain == store.lineage or (chain in here and chain.startswith(f"books/{store.device}/")):
                count = n - here.get(chain, -1)
                raise SyncError(_OLDER.format(count="1 entry" if count == 1 else f"{count} entries"))
        elif not store.has_entry(head):
            raise SyncError(_OLDER.format(count="entries"))
    taken: list[TakenIn] = []
    while True:
        parcel = Parcel.of(
            line.ask("/sync/pull", {"arrived": store.arrived, "at": store.arrived_at, "own": behind})
        )
        taken.append(store.take_in(parcel))
        if parcel.is_last:
            break
    went = _pushed(store, line, {chain: n for chain, (n, _) in own.items()})
    prices = str(line.ask("/sync/prices", {})["text"])
    return Synced(
        came=sum(len(one.entries) for one in taken),
        went=went,
        handed=tuple(dict.fromkeys(job for one in taken for job in one.handed)),
        disputed=_disputed(store, taken),
        forgotten=tuple(dict.fromkeys(job for one in taken for job in one.forgotten)),
        vans={str(letters): str(name) for letters, name in state["vans"].items()},
        prices=prices,
    )


def _disputed(store: Store, taken: Sequence[TakenIn]) -> tuple[str, ...]:
    """Jobs of this van into which entries came and in which two heads differ."""
    jobs = dict.fromkeys(entry.job for one in taken for entry in one.entries if entry.journal == JOB)
    return tuple(job for job in jobs if store.is_here(job) and store.job(job).disputes)


def _pushed(store: Store, line: HubLine, heads: dict[str, int]) -> int:
    went = 0
    while True:
        parcel = store.parcel_behind(heads)
        if parcel.entries:
            answer: Any = line.ask("/sync/push", parcel.data())
            went += int(answer["taken"])
            for entry in parcel.entries:
                heads[entry.chain] = entry.n
        if parcel.is_last:
            return went
