"""The server under the screens: a few threads on this device's own address, or on the van's hotspot over TLS.

What comes in is bounded: headers, body, the time that a line may be silent. A line takes a thread when there
is something to read on it and not before, so that a browser that opens lines ahead of time, or a device that
says nothing, keeps nobody waiting; the TLS handshake is made in that thread too.
"""

from __future__ import annotations

import contextlib
import logging
import signal
import socket
import ssl
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Protocol

from cheroot import wsgi
from cheroot.makefile import StreamReader, StreamWriter
from cheroot.server import HTTPConnection

from .page_server import ServeError

log = logging.getLogger("corekit.screens")

PORT = 8742

_THREADS = 6
_HEADER_BYTES = 16_384
#: More than any form may have, so that the application itself says what was too large; beyond it nothing is
#: even read.
_BODY_BYTES = 64 * 1024 * 1024
_SILENT_SECONDS = 15
_PIECE = 65_536
_TLS_HANDSHAKE = b"\x16"  # first byte of every TLS line; RFC 8446, section 5.1

Wsgi = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class Tls(Protocol):
    """What a server needs for TLS; `corekit.web.pairing` has the van's own."""

    def context_for(self, address: str) -> ssl.SSLContext | None:
        """The certificate for a line that came in at this address of the machine; None where nothing is
        served.
        """

    def plain(self, address: str) -> bytes:
        """A whole HTTP answer for who speaks plain http at this address."""


class Server(wsgi.Server):
    """A bound server: `bind_addr` says where, `serve()` runs it, `stop()` ends it from another thread.

    Attributes:
        answers_at: True for an address of this machine at which it answers; lines to others, of a network
            that it is also in, are closed.
    """

    tls: Tls | None = None
    answers_at: Callable[[str], bool] = staticmethod(lambda address: True)

    def process_conn(self, conn: Any) -> None:
        """Give a line to a thread once there is something to read on it."""
        if conn.last_used is None:  # just accepted
            self.put_conn(conn)
        else:
            super().process_conn(conn)

    def error_log(self, msg: str = "", level: int = 20, traceback: bool = False) -> None:
        # A browser that closes its line in the middle is no fault of anybody's.
        is_lost = isinstance(sys.exception(), ssl.SSLError | ConnectionError | TimeoutError)
        log.log(logging.DEBUG if is_lost else level, "%s", msg, exc_info=traceback)


class _Reader(StreamReader):
    """A reader of a TLS line, which knows what was decrypted and not taken yet."""

    def __init__(self, line: ssl.SSLSocket) -> None:
        super().__init__(line, "rb")
        self._line = line

    def has_data(self) -> bool:
        return bool(super().has_data()) or self._line.pending() > 0  # type: ignore[no-untyped-call]


class _Connection(HTTPConnection):
    """One line. Under TLS the first thing on it is the handshake; whoever speaks plain http instead gets one
    page and no more.
    """

    _is_greeted = False

    def communicate(self) -> bool:
        if not self._is_greeted:
            self._is_greeted = True
            try:
                address = self.socket.getsockname()[0]
                if not self.server.answers_at(address) or (
                    self.server.tls and not self._greet(self.server.tls, address)
                ):
                    return False
            except OSError as error:  # an ssl.SSLError is one, and so is a line that was silent for too long
                log.debug("no handshake: %s", type(error).__name__)
                return False
            except Exception:
                log.exception("no handshake")
                return False
        return bool(super().communicate())  # type: ignore[no-untyped-call]

    def close(self) -> None:
        # A line may be gone by itself at this moment; an error here would reach the thread that serves, and
        # end the whole server.
        with contextlib.suppress(OSError):
            super().close()

    def _greet(self, tls: Tls, address: str) -> bool:
        line: socket.socket = self.socket
        first = line.recv(1, socket.MSG_PEEK)
        if first not in (b"", _TLS_HANDSHAKE):
            line.recv(_HEADER_BYTES)  # what stays unread would tear the answer down with the line
            line.sendall(tls.plain(address))
        context = tls.context_for(address) if first == _TLS_HANDSHAKE else None
        if context is None:
            return False
        self.rfile.close()
        self.wfile.close()
        # In two steps, so that a line whose handshake fails is still there to be closed.
        wrapped = self.socket = context.wrap_socket(line, server_side=True, do_handshake_on_connect=False)
        wrapped.do_handshake()
        self.rfile, self.wfile = _Reader(wrapped), StreamWriter(wrapped, "wb", self.wbufsize)
        self.ssl_env = {"wsgi.url_scheme": "https", "HTTPS": "on"}
        return True


def server_for(
    app: Wsgi,
    host: str = "127.0.0.1",
    port: int = PORT,
    *,
    tls: Tls | None = None,
    answers_at: Callable[[str], bool] = lambda address: True,
) -> Server:
    """A server, bound but not yet running.

    Args:
        host: IPv4 address to listen on; this device alone unless told otherwise. port: 0 takes a free one;
            see `bind_addr`.
        answers_at: See `Server`.

    Raises:
        ServeError: the address or port cannot be had.
    """
    server = Server(
        (host, port),
        _drained(app),
        numthreads=_THREADS,
        max=_THREADS,
        request_queue_size=64,
        timeout=_SILENT_SECONDS,
        shutdown_timeout=5,
        accepted_queue_size=256,
        accepted_queue_timeout=1,
    )
    server.server_name = "corekit"  # and neither what it is made with nor the version of that
    server.max_request_header_size, server.max_request_body_size = _HEADER_BYTES, _BODY_BYTES
    server.keep_alive_conn_limit = 64
    server.ConnectionClass = _Connection
    server.tls, server.answers_at = tls, answers_at
    try:
        server.prepare()
    except (OSError, OverflowError) as error:
        why = error.__cause__ or error
        words = (getattr(why, "strerror", None) or str(why)).lower()
        raise ServeError(
            f"The screens cannot be served at {host}, port {port} ({words}); end what is using it, or name"
            " another with --port."
        ) from error
    return server


def _drained(app: Wsgi) -> Wsgi:
    """Read to its end what was refused as too large; else the browser shows a broken line and not the
    sentence that says so.
    """

    def drained(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        said: list[str] = []

        def start(status: str, headers: list[tuple[str, str]], *more: Any) -> Any:
            said.append(status)
            return start_response(status, headers, *more)

        answer = app(environ, start)
        if said and said[-1].startswith("413") and environ.get("CONTENT_LENGTH"):
            while environ["wsgi.input"].read(_PIECE):
                pass
        return answer

    return drained


def serve(*servers: Server) -> None:
    """Run until Ctrl-C or a request to end (SIGTERM); then stop taking lines, let the answers under way
    finish, and return.
    """
    end = threading.Event()

    def run(server: Server) -> None:
        try:
            server.serve()
        finally:
            end.set()

    def asked(*_: object) -> None:
        end.set()

    is_main = threading.current_thread() is threading.main_thread()
    before = (
        {number: signal.signal(number, asked) for number in (signal.SIGINT, signal.SIGTERM)}
        if is_main
        else {}
    )
    threads = [threading.Thread(target=run, args=(server,), daemon=True) for server in servers]
    try:
        for thread in threads:
            thread.start()
        while not end.wait(1):
            pass
    finally:
        for server in servers:
            server.stop()
        for thread in threads:
            thread.join(10)
        for number, handler in before.items():
            signal.signal(number, handler)


@contextlib.contextmanager
def running(server: Server) -> Iterator[Server]:
    """Run a server in a thread for as long as the block lasts."""
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.stop()
        thread.join(10)
