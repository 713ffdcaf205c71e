"""Serve the published documents of a shop."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from ..share.published import PublishedFolder
from ..store.store import Store
from .problem import DeskProblem
from .settings import STORE_FILE, read_settings


def serve_shop(folder: Path, *, host: str, port: int) -> None:
    """Serve until stopped. The server sees the published folder and nothing else: never the journal.

    Errors:
        DeskProblem: the shop publishes to another server.
        ServeProblem: the address cannot be listened on.
    """
    from ..share.server import page_app, serve

    with Store.open(folder / STORE_FILE) as store:
        demo = store.demo
    settings = read_settings(folder, demo=demo)
    if "://" in settings.publish:
        raise DeskProblem(f"This shop publishes to {settings.publish}; the page is served there. To serve here, set publish to a folder in shop.toml.")
    published = folder / settings.publish
    published.mkdir(parents=True, exist_ok=True)
    if not settings.page:
        raise DeskProblem("This shop has no page address (page in shop.toml), so no code leads to a page; there is nothing to serve.")
    shelf = PublishedFolder(published)
    shelf.sweep(datetime.now(UTC))
    app = page_app(shelf, bearer=None, demo=demo, base=settings.page, now=lambda: datetime.now(UTC))
    print(f"Serving {published} at http://{host}:{port}/v  (Ctrl-C stops it)")
    serve(app, host, port)
