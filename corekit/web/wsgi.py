"""What stands between the server and an application, whichever application it is."""

from __future__ import annotations

import errno
import io
import ipaddress
import threading
from collections.abc import Callable, Iterable
from typing import Any

from cheroot.errors import MaxSizeExceeded

Wsgi = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]

_PIECE = 65_536  # bytes
#: Headers by which a proxy says for whom it speaks; RFC 7239, and the customary ones before it.
_PROXY_HEADERS = (
    "HTTP_FORWARDED",
    *(f"HTTP_X_FORWARDED_{what}" for what in ("FOR", "HOST", "PROTO", "PORT", "BY", "PREFIX")),
)


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


def buffered(app: Wsgi, *, at_once: int) -> Wsgi:
    """Call the application when the whole request is here, and send when the whole answer is made: a client
    that sends or reads slowly then costs a waiting thread, and none of the few that may work `at_once`.

    Bodies are held in memory; the server's own limit bounds them.
    """
    permits = threading.BoundedSemaphore(at_once)

    def buffered_app(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        try:
            body = _request_body(environ)
        except MaxSizeExceeded:
            return _plain_answer("413 Request Entity Too Large", start_response)
        except ValueError:
            return _plain_answer("400 Bad Request", start_response)
        environ["wsgi.input"], environ["CONTENT_LENGTH"] = io.BytesIO(body), str(len(body))
        environ.pop("HTTP_TRANSFER_ENCODING", None)
        with permits:
            answer = app(environ, start_response)
            try:
                return list(answer)
            finally:
                close = getattr(answer, "close", None)
                if close is not None:
                    close()

    return buffered_app


def _request_body(environ: dict[str, Any]) -> bytes:
    """The request's body, of a known length or in chunks.

    Raises:
        MaxSizeExceeded: the chunks make more than the server takes.
        ValueError: they are no chunks.
        OSError: the line broke or was silent for too long.
    """
    stream = environ["wsgi.input"]
    if environ.get("wsgi.input_terminated"):
        try:
            return bytes(stream.read())
        except (ConnectionError, TimeoutError):
            raise
        except OSError as error:  # as which cheroot raises it for a chunk, without a number
            raise MaxSizeExceeded from error
    length = int(environ.get("CONTENT_LENGTH") or 0)
    body = bytes(stream.read(length)) if length else b""
    if len(body) < length:
        raise ConnectionResetError(errno.ECONNRESET, "the body ended too early")
    return body


def _plain_answer(status: str, start_response: Callable[..., Any]) -> Iterable[bytes]:
    text = f"{status}\n".encode("ascii")
    headers = [("Content-Type", "text/plain"), ("Content-Length", str(len(text))), ("Connection", "close")]
    start_response(status, headers)
    return [text]


def behind_proxy(app: Wsgi, proxy: str | None) -> Wsgi:
    """Believe the reverse proxy at the address `proxy`, and nobody else, about who asks (its last
    `X-Forwarded-For`). Whatever else such headers say never reaches the application.
    """

    def proxied_app(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        claims = {header: environ.pop(header, "") for header in _PROXY_HEADERS}
        if proxy is not None and environ.get("REMOTE_ADDR") == proxy:
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
