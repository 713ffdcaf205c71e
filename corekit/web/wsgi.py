"""What stands between the server and an application, whichever application it is."""

from __future__ import annotations

import contextlib
import errno
import io
import ipaddress
import threading
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from cheroot.errors import MaxSizeExceeded

from .address import is_this_machine, peer_address

Wsgi = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
Headers = list[tuple[str, str]]

#: Under this name in its `config` an application says which headers its answers carry for safety's sake.
ARMOUR = "ARMOUR"

_PIECE = 65_536  # bytes
_PAST_PROXY = (
    "Here only the proxy in front is answered, because this line has no TLS. Open the https address that the"
    " proxy serves."
)
#: Headers by which a proxy says for whom it speaks; RFC 7239, and the customary ones before it.
_PROXY_HEADERS = (
    "HTTP_FORWARDED",
    *(f"HTTP_X_FORWARDED_{what}" for what in ("FOR", "HOST", "PROTO", "PORT", "BY", "PREFIX")),
)


def armour_of(app: Wsgi) -> Headers:
    """The headers that every answer of the application carries; none for one that says none.

    What is answered before the application is asked carries them too.
    """
    return list(getattr(app, "config", {}).get(ARMOUR, ()))


def plain_text(text: str, armour: Headers) -> tuple[bytes, Headers]:
    """Body and headers of an answer that no application makes; the line is closed after it."""
    body = text.encode("utf-8")
    return body, [
        ("Content-Type", "text/plain; charset=utf-8"),
        ("Content-Length", str(len(body))),
        ("Cache-Control", "no-store"),
        ("Connection", "close"),
        *armour,
    ]


def drained(app: Wsgi) -> Wsgi:
    """Read to its end what the application refused as too large; else the browser shows a broken line and not
    the sentence that says so.
    """

    def drained_app(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        statuses: list[str] = []

        def start(status: str, headers: list[tuple[str, str]], *more: Any) -> Any:
            statuses.append(status)
            return start_response(status, headers, *more)

        answer = app(environ, start)
        if statuses and statuses[-1].startswith("413") and environ.get("CONTENT_LENGTH"):
            while environ["wsgi.input"].read(_PIECE):
                pass
        return answer

    return drained_app


#: Bodies that are on their way or worked on, all together and of one client. One as small as most forms are
#: is always taken, so that large ones shut nobody out.
_BODIES, _BODIES_OF_ONE, _SMALL = 128 * 1024 * 1024, 32 * 1024 * 1024, _PIECE
#: In the environment: the pace of the line that asks (`lines.Pace`).
LINE = "corekit.line"


def buffered(app: Wsgi, *, at_once: int, largest: int, armour: Headers) -> Wsgi:
    """Call the application when the whole request is here, and send when the whole answer is made: a client
    that sends or reads slowly then costs a waiting thread, and none of the few that may work `at_once`.

    Args:
        largest: Of a body that is held in memory, [bytes]. A larger one that says its length is for the
            application to refuse unread.
        armour: What is refused here carries these headers.
    """
    permits = threading.BoundedSemaphore(at_once)
    room = _Room()

    def buffered_app(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        client = environ.get("REMOTE_ADDR", "")
        with room.held(client) as held:
            try:
                body = _request_body(environ, largest, held)
            except MaxSizeExceeded:
                return _plain_answer("413 Request Entity Too Large", start_response, armour)
            except _NoRoomError:
                return _plain_answer(
                    "503 Service Unavailable", start_response, [("Retry-After", "30"), *armour]
                )
            except ValueError:
                return _plain_answer("400 Bad Request", start_response, armour)
            if body is not None:
                environ["wsgi.input"], environ["CONTENT_LENGTH"] = io.BytesIO(body), str(len(body))
                environ.pop("HTTP_TRANSFER_ENCODING", None)
            if LINE in environ:
                environ[LINE].is_read = True
            with permits:
                answer = app(environ, start_response)
                try:
                    return list(answer)
                finally:
                    close = getattr(answer, "close", None)
                    if close is not None:
                        close()

    return buffered_app


class _NoRoomError(Exception):
    """More bodies are on their way than are held in memory."""


class _Room:
    """Memory for bodies on their way. Safe to use from several threads."""

    def __init__(self) -> None:
        self._taken: dict[str, int] = {}
        self._lock = threading.Lock()

    @contextlib.contextmanager
    def held(self, client: str) -> Iterator[Callable[[int], None]]:
        """Gives what takes room for more bytes, which is free again after the block."""
        taken = 0

        def take(size: int) -> None:
            nonlocal taken
            with self._lock:
                own = self._taken.get(client, 0)
                if own + size > _BODIES_OF_ONE or sum(self._taken.values()) + size > _BODIES:
                    raise _NoRoomError
                self._taken[client] = own + size
            taken += size

        try:
            yield take
        finally:
            with self._lock:
                rest = self._taken.get(client, 0) - taken
                self._taken.pop(client, None)
                if rest:
                    self._taken[client] = rest


def _request_body(environ: dict[str, Any], largest: int, take: Callable[[int], None]) -> bytes | None:
    """The request's body, of a known length or in chunks; None where it is larger than what is held and the
    application can refuse it by its length.

    Raises:
        MaxSizeExceeded: the chunks make more than is taken.
        ValueError: they are no chunks.
        _NoRoomError: too many large ones are on their way.
        OSError: the line broke or was slow for too long.
    """
    stream = environ["wsgi.input"]
    is_chunked = bool(environ.get("wsgi.input_terminated"))
    length = int(environ.get("CONTENT_LENGTH") or 0)
    if not is_chunked and length > largest:
        return None
    body = bytearray()
    while is_chunked or len(body) < length:
        wanted = _PIECE if is_chunked else min(_PIECE, length - len(body))
        if len(body) + wanted > _SMALL:
            take(wanted)
        try:
            piece = stream.read(wanted)
        except (ConnectionError, TimeoutError):
            raise
        except OSError as error:  # as which cheroot raises it for a chunk, without a number
            raise MaxSizeExceeded from error
        if not piece:
            break
        body += piece
        if len(body) > largest:
            raise MaxSizeExceeded
    if not is_chunked and len(body) < length:
        raise ConnectionResetError(errno.ECONNRESET, "the body ended too early")
    return bytes(body)


def _plain_answer(
    status: str, start_response: Callable[..., Any], more: Headers, words: str = ""
) -> Iterable[bytes]:
    body, headers = plain_text(f"{words or status}\n", more)
    start_response(status, headers)
    return [body]


def behind_proxy(app: Wsgi, proxy: str | None, armour: Headers) -> Wsgi:
    """Believe the reverse proxy at the address `proxy`, and nobody else, about who asks (its last
    `X-Forwarded-For`). Whatever else such headers say never reaches the application.

    Where there is a proxy, nobody else is answered but this machine itself: the line has no TLS.
    """

    def proxied_app(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        claims = {header: environ.pop(header, "") for header in _PROXY_HEADERS}
        peer = environ["REMOTE_ADDR"] = peer_address(environ.get("REMOTE_ADDR", ""))
        if proxy is not None and peer != proxy and not is_this_machine(peer):
            return _plain_answer("403 Forbidden", start_response, armour, _PAST_PROXY)
        if proxy is not None and peer == proxy:
            client = _last_client(claims["HTTP_X_FORWARDED_FOR"])
            if client is not None:
                environ["REMOTE_ADDR"] = client
        return app(environ, start_response)

    return proxied_app


def _last_client(forwarded_for: str) -> str | None:
    """The address that the nearest proxy added: `192.0.2.1`, `192.0.2.1:4711`, `2001:db8::1` or
    `[2001:db8::1]:4711`; None when it is none.
    """
    last = forwarded_for.rpartition(",")[2].strip().strip('"')
    host = last[1:].partition("]")[0] if last.startswith("[") else last
    if host.count(":") == 1:
        host = host.partition(":")[0]
    try:
        return str(ipaddress.ip_address(host))
    except ValueError:
        return None
