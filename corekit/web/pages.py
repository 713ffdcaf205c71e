"""Serve published documents: those of a shop on this machine, or those that shops send here."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from ..desk.errors import DeskError
from ..desk.settings import PAGE_KEY_FILE, STORE_FILE, read_settings
from ..files import write_once
from ..languages import ENGLISH, screen_languages
from ..share.keys import new_bearer
from ..share.link import base_problem
from ..share.published import LARGEST, PublishedFolder
from ..store.store import Store
from .server import Limits, Server, check_line, serve, server_for
from .wsgi import Wsgi

#: Four work at once, so that many PDFs at one moment take no more memory than a few.
PAGES = Limits(threads=100, lines=100, body_bytes=LARGEST, silent_seconds=30, held_bytes=LARGEST, at_once=4)


def page_server(app: Wsgi, host: str = "127.0.0.1", port: int = 8741, *, proxy: str | None = None) -> Server:
    """A server for the page, bound but not yet running.

    Args:
        app: See `page_app`.
        host: Where to listen; this machine alone unless told otherwise.
        port: 0 takes a free one.
        proxy: Address of the reverse proxy in front (it ends TLS); only its word on who asks is believed, and
            no other machine is answered.

    Raises:
        ServeError: the address or port cannot be had, or strangers would be answered without TLS.
    """
    check_line(host, proxy)
    return server_for(app, host, port, limits=PAGES, proxy=proxy)


def serve_shop(folder: Path, *, host: str, port: int, proxy: str | None = None) -> None:
    """Serve until stopped. The server sees the published folder and nothing else: never the journal.

    Raises:
        DeskError: the shop publishes to another server, or has no page address.
        ServeError: the address cannot be listened on, or strangers would be answered without TLS.
    """
    with Store.open(folder / STORE_FILE) as store:
        demo = store.demo
    settings = read_settings(folder, demo=demo)
    if "://" in settings.publish:
        raise DeskError(
            f"This shop publishes to {settings.publish}; the page is served there. To serve here, set publish"
            " to a folder in shop.toml."
        )
    if not settings.page:
        raise DeskError(
            "This shop has no page address (page in shop.toml), so no code leads to a page; there is nothing"
            " to serve."
        )
    _serve(
        folder / settings.publish,
        page=settings.page,
        bearer=None,
        demo=demo,
        at=(host, port),
        proxy=proxy,
        language=settings.language,
    )


def serve_published(
    folder: Path,
    *,
    page: str,
    key: Path,
    host: str,
    port: int,
    proxy: str | None = None,
    language: str = ENGLISH,
) -> None:
    """Be a page server without a shop: keep in `folder` what shops send that have the key, and show it.

    Serves until stopped.

    Args:
        page: The address that codes are printed with, `https://…`; what ends TLS stands in front and passes
            everything on.
        key: File with the key for publishing; drawn and written where there is none yet.
        language: Of what stands around documents, where a browser asks for none that there is.

    Raises:
        DeskError: no phone could reach the page address, or the key can be neither written nor read.
        ServeError: the key cannot be used, the address cannot be listened on, or strangers would be answered
            without TLS.
    """
    check_line(host, proxy)  # before anything is written
    fault = base_problem(page)
    if fault:
        raise DeskError(f"--page: {fault}")
    try:
        if not key.exists():
            write_once(key, f"{new_bearer()}\n".encode("ascii"))
            print(
                f"A key for publishing was drawn: {key}. Every shop that publishes here needs a copy of it,"
                f" as {PAGE_KEY_FILE}."
            )
        bearer = key.read_text("ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise DeskError(
            f"{key}: the key for publishing can be neither read nor written ({error}); name another file"
            " with --key."
        ) from error
    if language not in screen_languages():
        raise DeskError(f"--language {language}: there is {', '.join(screen_languages())}.")
    _serve(folder, page=page, bearer=bearer, demo=False, at=(host, port), proxy=proxy, language=language)


def _serve(
    folder: Path,
    *,
    page: str,
    bearer: str | None,
    demo: bool,
    at: tuple[str, int],
    proxy: str | None,
    language: str,
) -> None:
    from .page_app import page_app

    host, port = at
    published = PublishedFolder(folder)
    app = page_app(published, bearer=bearer, demo=demo, base=page, language=language)
    folder.mkdir(parents=True, exist_ok=True)
    published.sweep(datetime.now(UTC))
    server = page_server(app, host, port, proxy=proxy)
    print(f"Serving {folder} at http://{host}:{server.bind_addr[1]}/v  (Ctrl-C stops it)", flush=True)
    serve(server)
