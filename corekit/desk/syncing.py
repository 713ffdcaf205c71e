"""A van among others: enrolled at a hub, brought together with it, jobs handed from one van to another."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import attrs

from ..errors import CorekitError
from ..model.entry import Draft, Entry, own_subject
from ..model.records import Handed, body_of
from ..share.signing import SigningKey, create_signing_key, read_signing_key
from ..sync.client import HubLine, hub_address
from ..sync.message import OFFICE, SyncError, base32
from ..sync.van import synced
from .context import ShopContext, request_of
from .errors import DeskError
from .forgetting import sweep_forgotten
from .jobs import job_named
from .shared_prices import SharedPrices, take_in_prices

#: Apart from the keys that papers are signed with: whoever checks a paper need not know it.
DEVICE_KEY_FILE = "keys/device/device.key"


@attrs.frozen(kw_only=True)
class SyncReport:
    """What a sync did.

    Attributes:
        came, went: Number of entries. handed: Names of jobs that were handed to this van. disputed: Names of
            jobs in which two vans said different things, and nothing settles it yet.
        forgotten: How many jobs\' persons were destroyed here, because another van said so.
        left: What could not be done, in sentences.
    """

    came: int
    went: int
    handed: tuple[str, ...] = ()
    disputed: tuple[str, ...] = ()
    forgotten: int = 0
    prices: SharedPrices = SharedPrices()
    left: tuple[str, ...] = ()

    @property
    def is_news(self) -> bool:
        """Whether anything came, went, changed or could not be done."""
        return bool(self.came or self.went or self.forgotten or self.prices.is_changed or self.left)

    @property
    def sentences(self) -> tuple[str, ...]:
        """All of it in sentences."""
        told = [f"{_counted(self.came)} came from other vans, {_counted(self.went)} went to the hub."]
        told += [f"Handed to this van: {name}." for name in self.handed]
        told += [f"Two vans say different things in {name}; look at its record." for name in self.disputed]
        if self.forgotten:
            told.append(f"Customers forgotten, because another van said so: {self.forgotten}.")
        return (*told, *self.prices.sentences, *self.left)


def _counted(entries: int) -> str:
    return "1 entry" if entries == 1 else f"{entries} entries"


def enrol(shop: ShopContext, address: str, code: str) -> tuple[str, str]:
    """Enrol this van at a hub; gives its letters and the name that the hub calls it.

    Raises:
        SyncError: the hub cannot be reached or refuses. DeskError: this van has one already, or its invoice
            numbers could be another van's.
    """
    address = hub_address(address)
    if shop.store.hub:
        raise DeskError(f"This van syncs with {shop.store.hub} already.")
    _must_number_by_device(shop)
    key = _key(shop.folder)
    line = HubLine(address=address, key=key)
    books = {chain.split("/")[1] for chain in shop.store.own_heads() if chain.startswith("books/")}
    answer = line.enrol(
        {
            "code": code,
            "key": base32(key.public),
            "letters": shop.device,
            "books": sorted(books),
            "demo": shop.demo,
        }
    )
    letters, name = str(answer["letters"]), str(answer["name"])
    shop.store.join(address, letters, [str(one) for one in answer.get("was", ())])
    return letters, name


def _must_number_by_device(shop: ShopContext) -> None:
    if "{device}" not in shop.settings.number:
        raise DeskError(
            f"Invoice numbers of this shop are made of {shop.settings.number!r}, so two vans could give"
            " the same"
            " one. Write {device} into `number` of shop.toml."
        )


def _key(folder: Path) -> SigningKey:
    path = folder / DEVICE_KEY_FILE
    return read_signing_key(path) if path.exists() else create_signing_key(path)


def sync(shop: ShopContext) -> SyncReport:
    """Bring this van and its hub together.

    Raises:
        DeskError: it has no hub, or its invoice numbers could be another van's.
        SyncError: the hub cannot be reached or refuses; what went and came before that stays.
    """
    if not shop.store.hub:
        raise DeskError(
            "This van has no hub. Ask the office for a code, and say `corekit sync --hub ADDRESS --code"
            " CODE`."
        )
    _must_number_by_device(shop)
    line = HubLine(
        address=shop.store.hub, key=read_signing_key(shop.folder / DEVICE_KEY_FILE), letters=shop.store.device
    )
    done = synced(shop.store, line)
    shop.store.note_vans(done.vans)
    left = list(sweep_forgotten(shop))
    try:
        prices = take_in_prices(shop.folder, done.prices)
    except CorekitError as error:
        prices = SharedPrices()
        left.append(f"The price book of the hub was not taken over: {error}")
    shop.price_book.refresh()
    return SyncReport(
        came=done.came,
        went=done.went,
        handed=tuple(shop.store.job(job).name for job in done.handed),
        disputed=tuple(shop.store.job(job).name for job in done.disputed),
        forgotten=len(done.forgotten),
        prices=prices,
        left=tuple(left),
    )


def hub_of(shop: ShopContext) -> str:
    """The address of the hub that this van syncs with; empty where it has none."""
    return shop.store.hub


def vans(shop: ShopContext) -> Mapping[str, str]:
    """Letters → name of the devices that a job can be handed to."""
    return {
        letters: name
        for letters, name in shop.store.vans.items()
        if letters not in (shop.store.device, OFFICE)
    }


def hand(shop: ShopContext, job: str, to: str, *, request_id: str = "") -> Entry:
    """Hand a job to another van; it goes on there once both have synced.

    Raises:
        DeskError: there is no such van. StoreError: the job is another van\'s.
        RequestConflictError: the id is another request\'s.
    """
    known = vans(shop)
    if to not in known:
        names = ", ".join(f"{letters} ({name})" for letters, name in known.items()) or "none; sync first"
        raise DeskError(f"There is no van {to!r}. Known are: {names}. Nothing was written.")
    record = job_named(shop, job)
    earlier = [entry.id for entry in record.entries if entry.kind == "handed"]
    content = {"hand": record.id, "to": to}
    with shop.store.transaction(record.id, request=request_of(request_id, content)) as transaction:
        if transaction.known is not None:
            return transaction.known.entries[0]
        draft = Draft(
            kind="handed",
            subject=own_subject("handed", record.id),
            body=body_of(Handed(to=to)),
            replaces=tuple(earlier),
        )
        return transaction.append([draft])[0]


__all__ = ["SyncError", "SyncReport", "enrol", "hand", "hub_of", "sync", "vans"]
