"""What every use of a shop is given: its folder, record, settings, prices, plugins, clock and assessor."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import attrs

from ..assess.assessment import Assessor, assess
from ..billing.book import PriceBook
from ..files import sweep
from ..intake.declared import Declared
from ..model.entry import utc_text
from ..model.jurisdiction import Jurisdiction
from ..plugin.host import Plugins, load
from .errors import DeskError
from .learned import with_learned
from .looked_over import look_over, look_over_words
from .pricing import CurrentPrices
from .settings import (
    KEY_FILE,
    PAPERS,
    PRACTICE_FILE,
    STORE_FILE,
    Settings,
    declared,
    jurisdiction_of,
    read_settings,
    with_settings,
)

TYPE_CHECKING = False  # a draft of a visit file opens no store
if TYPE_CHECKING:
    from ..store.requests import Request
    from ..store.store import Store


def utc_now() -> datetime:
    return datetime.now(UTC)


@attrs.frozen(kw_only=True, eq=False)
class ShopContext:
    """A shop that is open.

    Attributes:
        folder: Where everything of it lies. store: Its record.
        settings: Its own file, as it was when it was opened. price_book: Its prices, as their file says now.
        load_plugins: Gives the systems; a use that needs none loads none.
        clock: This moment. assessor: Assesses its jobs.
        lock: Held by an action that rests on what it read just before, from there until it has written.
    """

    folder: Path
    store: Store
    settings: Settings
    price_book: CurrentPrices
    load_plugins: Callable[[], Plugins]
    clock: Callable[[], datetime] = utc_now
    assessor: Assessor = assess
    lock: threading.RLock = attrs.field(factory=threading.RLock, repr=False)

    @property
    def prices(self) -> PriceBook:
        """What everything costs."""
        return self.price_book.book

    @cached_property
    def plugins(self) -> Plugins:
        """The systems that are installed, loaded when they are first asked for."""
        return with_learned(with_settings(self.load_plugins(), self.settings), self.folder)

    @property
    def declared(self) -> Declared:
        """What a visit file of this shop may say, by the price book as it is now."""
        return declared(self.plugins, self.settings, self.prices.currency, self.prices)

    @cached_property
    def jurisdiction(self) -> Jurisdiction:
        """The rules of the shop's place."""
        return jurisdiction_of(self.settings, self.plugins)

    @property
    def now(self) -> datetime:
        """This moment by the shop's own clock: papers are dated and numbers counted by it."""
        return self.settings.local(self.clock())

    @cached_property
    def link_key(self) -> bytes:
        """The key that the codes of this shop's papers are made with."""
        from ..share import keys

        return keys.read_link_key(self.folder / KEY_FILE)

    @cached_property
    def demo(self) -> bool:
        """True in a shop for trying things out."""
        return self.store.demo

    @cached_property
    def practice(self) -> bool:
        """True in a shop of practice cars: its papers stay drafts, and no number is taken."""
        return self.demo and (self.folder / PRACTICE_FILE).is_file()

    @property
    def books_chain(self) -> str:
        """Name of the books that this device writes in this year."""
        return f"books/{self.device}/{self.now.year}"

    @property
    def device(self) -> str:
        """Letters of this device in the numbers of invoices: a restored copy has some of its own."""
        return self.store.device or self.settings.device


def request_of(request_id: str, content: Any) -> Request | None:
    """What is asked for under an id; None where nobody gave it one.

    Args:
        content: All that is asked for, as plain data: the same id with other content is refused.
    """
    from ..store.requests import Request

    return Request(id=request_id, content=content) if request_id else None


_OLDER = (
    "{path} is an older copy of itself: {count} of the entries that were seen under this name are not in it."
    " If it was copied while a program had it open, copy the file beside it that ends in -wal as well. If it"
    " is all that you have, say `corekit restored`: it then goes on under letters of its own, and nothing is"
    " mixed up."
)


def open_context(
    folder: Path,
    *,
    plugins: Plugins | None = None,
    clock: Callable[[], datetime] | None = None,
    assessor: Assessor = assess,
    is_restored: bool = False,
) -> ShopContext:
    """Open a shop; whoever does closes its store.

    Args:
        is_restored: Somebody says that its store is an older copy; else one that lacks what was seen under
            its name is refused.

    Raises:
        DeskError: there is no shop, or its settings cannot be used.
        StoreError: its store cannot be opened.
    """
    from ..store.door import Door
    from ..store.store import Store

    if not (folder / STORE_FILE).is_file():
        read_settings(folder, demo=True)  # says first what is missing
    moment = clock or utc_now
    store = Store.open(folder / STORE_FILE, now=lambda: utc_text(moment()))
    store.door = Door(drafts=look_over, words=look_over_words)
    if not store.is_read_only:
        sweep(folder / PAPERS)
    try:
        if store.missing and not is_restored:
            raise DeskError(_OLDER.format(path=store.path, count=store.missing))
        return ShopContext(
            folder=folder,
            store=store,
            settings=read_settings(folder, demo=store.demo),
            price_book=CurrentPrices.of(folder),
            load_plugins=load if plugins is None else lambda: plugins,
            clock=moment,
            assessor=assessor,
        )
    except BaseException:
        store.close()
        raise
