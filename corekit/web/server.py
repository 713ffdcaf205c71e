"""The one web server: under the screens on this device's own address or on the van's hotspot, and under the
customer's page.

What comes in is bounded: lines, of all and of one client, headers, body, and the time for a whole request
(`Limits`, `lines`). A line takes a thread when there is something to read on it and not before, so that a
browser that opens lines ahead of time, or a device that says nothing, keeps nobody waiting. There are as many
threads as lines, and only a few of them work at once (`wsgi.buffered`): who drips a byte at a time holds a
line of his own, for a while, and nothing else. The TLS handshake is made in that thread too; cheroot's own
TLS adapters make it where lines are accepted, and there one silent device would hold up all others.
"""

from __future__ import annotations

import contextlib
import ipaddress
import logging
import re
import signal
import socket
import ssl
import sys
import threading
from collections.abc import Callable, Iterator
from typing import Any, Protocol

import attrs
from cheroot import wsgi
from cheroot.errors import MaxSizeExceeded
from cheroot.server import HeaderReader, HTTPConnection, HTTPRequest

from ..errors import CorekitError
from .address import is_this_machine, peer_address
from .lines import Lines, Pace, Reader, Writer
from .wsgi import LINE, Headers, Wsgi, armour_of, behind_proxy, buffered, drained, plain_text

log = logging.getLogger("corekit.web.server")

PORT = 8742

#: Of a request's first line and headers together. cheroot waits for 256 bytes at a time, so that what has
#: 16 KiB and no end in sight is refused with the last of them and not when the line has been silent for long.
_HEADER_BYTES = 16_384 - 256
_TLS_HANDSHAKE = b"\x16"  # first byte of every TLS line; RFC 8446, section 5.1
_TOKEN = re.compile(rb"[!#$%&'*+.^_`|~0-9A-Za-z-]+")  # RFC 9110, section 5.6.2
_CONTROL = re.compile(rb"[\x00-\x08\x0a-\x1f\x7f]")  # in no header's value; RFC 9110, section 5.5


class ServeError(CorekitError):
    """A server cannot be set up or started; the message says why and what to do."""


@attrs.frozen(kw_only=True)
class Limits:
    """How much a server takes.

    Attributes:
        threads: Requests that are read, answered or written at one moment.
        lines: Open lines, used or not. Who comes after that takes the place of the line that has been slow
            for longest, and is sent away where none is slow.
        lines_of_one: The same of one client; this machine's own programs, a proxy among them, have no such
            limit.
        body_bytes: Of one request. More is refused before it is read.
        held_bytes: Of one body that is held in memory until all of it is here; see `wsgi.buffered`.
        at_once: Requests that are worked on at one moment.
        silent_seconds: Until a line on which nothing moves is closed.
        request_seconds: Until a whole request must be here, however little by little it comes, and until its
            answer must be taken; a body adds a second for every 16 KiB of it.
    """

    threads: int
    lines: int
    body_bytes: int
    silent_seconds: int
    held_bytes: int = 16 * 1024 * 1024
    at_once: int = 6
    lines_of_one: int = 24
    request_seconds: float = 20.0


#: For the screens. The body may be larger than that of any form, so that the application itself says what was
#: too large; beyond it nothing is even read.
SCREENS = Limits(threads=100, lines=100, body_bytes=64 * 1024 * 1024, silent_seconds=15)


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
        proxy: Address of the reverse proxy in front, which speaks for many and is the only one from another
            machine that is answered; None where there is none.
        armour: Headers of every answer that is made here and not by the application; see `wsgi.armour_of`.
        lines: The lines that are open now.
    """

    tls: Tls | None = None
    answers_at: Callable[[str], bool] = staticmethod(lambda address: True)
    proxy: str | None = None

    def __init__(self, address: tuple[str, int], app: Wsgi, limits: Limits, armour: Headers) -> None:
        super().__init__(
            address,
            app,
            numthreads=limits.threads,
            max=limits.threads,
            request_queue_size=64,
            timeout=limits.silent_seconds,
            shutdown_timeout=5,
            accepted_queue_size=limits.lines,
            accepted_queue_timeout=1,
        )
        self.limits, self.armour = limits, armour
        self.lines: Lines[_Connection] = Lines(limits.lines, limits.lines_of_one)
        self.gateway = _Gateway
        self.max_request_header_size, self.max_request_body_size = _HEADER_BYTES, limits.body_bytes
        self.keep_alive_conn_limit = limits.lines
        self.ConnectionClass = _Connection

    def process_conn(self, conn: Any) -> None:
        """Give a line to a thread once there is something to read on it."""
        if conn.last_used is not None:
            super().process_conn(conn)
            return
        slow = self.lines.admit(conn, peer_address(conn.remote_addr or ""), self.proxy)
        if slow is None:
            conn.refuse()
            return
        for line in slow:
            line.hang_up()
        self.put_conn(conn)

    @property
    def open_lines(self) -> int:
        return len(self.lines)

    def error_log(self, msg: str = "", level: int = 20, traceback: bool = False) -> None:
        # A browser that closes its line in the middle is no fault of anybody's.
        is_lost = isinstance(sys.exception(), ssl.SSLError | ConnectionError | TimeoutError)
        log.log(logging.DEBUG if is_lost else level, "%s", msg, exc_info=traceback)


class _RequestHeaders(dict[bytes, bytes]):
    """Headers of a request, without those on which a proxy in front could think otherwise than we do about
    where the request ends (request smuggling; RFC 9112, section 11.2).
    """

    def __setitem__(self, name: bytes, value: bytes) -> None:
        if name in (b"Content-Length", b"Host") and name in self:
            raise ValueError(f"{name.decode()} stands there more than once.")
        if name == b"Content-Length" and not value.isdigit():
            raise ValueError("Malformed Content-Length header.")
        if _CONTROL.search(value):
            raise ValueError("Illegal header value.")
        super().__setitem__(name, value)


class _HeaderReader(HeaderReader):
    def _transform_key(self, key_name: bytes) -> bytes:
        if not _TOKEN.fullmatch(key_name):
            raise ValueError("Illegal header name.")
        return key_name.title()

    def _allow_header(self, key_name: bytes) -> bool:
        return b"_" not in key_name  # to the application it would look like the same name with a hyphen


class _ResponseHeaders(list[tuple[bytes, bytes]]):
    """Headers of an answer, without the one that says what the server is made with."""

    def append(self, header: tuple[bytes, bytes]) -> None:
        if header[0] != b"Server":
            super().append(header)


class _Request(HTTPRequest):
    header_reader = _HeaderReader()

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.inheaders, self.outheaders = _RequestHeaders(), _ResponseHeaders()

    def read_request_headers(self) -> bool:
        try:
            is_read = bool(super().read_request_headers())  # type: ignore[no-untyped-call]
        except MaxSizeExceeded:
            # RFC 6585, section 5
            self.simple_response("431 Request Header Fields Too Large")
            return False
        if self.chunked_read:
            self.close_connection = True  # what follows the chunks is never taken for the next request
        return is_read

    def simple_response(self, status: str | int, msg: str | bytes = "") -> None:
        """Say that the request cannot be answered, and why; the line is closed after it."""
        self.close_connection = True
        text = msg.decode("latin-1") if isinstance(msg, bytes) else msg
        with contextlib.suppress(ConnectionError):
            self.conn.wfile.write(_whole_answer(str(status), text, self.server.armour))


def _whole_answer(status: str, text: str, armour: Headers) -> bytes:
    body, headers = plain_text(text, armour)
    lines = [f"HTTP/1.1 {status}", *(f"{name}: {value}" for name, value in headers), "", ""]
    return "\r\n".join(lines).encode("latin-1") + body


class _Gateway(wsgi.Gateway_10):
    """Tells the application's environment which line asks, so that `wsgi.buffered` can say that all of a
    request is here.
    """

    def get_environ(self) -> dict[str, Any]:  # type: ignore[override]
        environ: dict[str, Any] = super().get_environ()  # type: ignore[no-untyped-call]
        environ[LINE] = self.req.conn.pace
        return environ


class _Connection(HTTPConnection):
    """One line. Under TLS the first thing on it is the handshake; whoever speaks plain http instead gets one
    page and no more.
    """

    RequestHandlerClass = _Request
    _is_greeted = False

    def __init__(self, server: Server, sock: socket.socket, *_: Any) -> None:
        self.pace = Pace(server.limits.request_seconds, server.limits.silent_seconds)
        super().__init__(server, sock, self._file)

    def _file(self, line: socket.socket, mode: str, _: int = 0) -> Reader | Writer:
        return Reader(line, self.pace) if "r" in mode else Writer(line, self.pace)

    def hang_up(self) -> None:
        """Let whoever reads this line find it at its end, and close it."""
        with contextlib.suppress(OSError):
            self.socket.shutdown(socket.SHUT_RDWR)

    def refuse(self) -> None:
        """Close a new line, because there are too many. Never waits: lines are accepted in this thread."""
        if self.server.tls is None:
            with contextlib.suppress(OSError):
                self.socket.setblocking(False)
                headers = [("Retry-After", "30"), *self.server.armour]
                self.socket.send(_whole_answer("503 Service Unavailable", "", headers))
        self.close()

    def communicate(self) -> bool:
        self.pace.begin()
        try:
            return self._communicate()
        finally:
            self.pace.rest()

    def _communicate(self) -> bool:
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
        self.server.lines.remove(self)
        # A line may be gone by itself at this moment; an error here would reach the thread that serves, and
        # end the whole server.
        with contextlib.suppress(OSError):
            super().close()

    def _greet(self, tls: Tls, address: str) -> bool:
        line: socket.socket = self.socket
        first_byte = line.recv(1, socket.MSG_PEEK)
        if first_byte not in (b"", _TLS_HANDSHAKE):
            line.recv(16_384)  # what stays unread would tear the answer down with the line
            line.sendall(tls.plain(address))
        context = tls.context_for(address) if first_byte == _TLS_HANDSHAKE else None
        if context is None:
            return False
        self.rfile.close()
        self.wfile.close()
        # In two steps, so that a line whose handshake fails is still there to be closed.
        wrapped = self.socket = context.wrap_socket(line, server_side=True, do_handshake_on_connect=False)
        wrapped.do_handshake()
        self.rfile, self.wfile = self._file(wrapped, "rb"), self._file(wrapped, "wb")
        self.ssl_env = {"wsgi.url_scheme": "https", "HTTPS": "on"}
        return True


def check_line(host: str, proxy: str | None) -> None:
    """That plain http goes no further than to this machine, or to the proxy that ends TLS.

    Args:
        host: Address to listen on. proxy: That of the proxy in front, as this machine sees it.

    Raises:
        ServeError: strangers would be answered without TLS, or the proxy has no address.
    """
    if proxy is not None and not _is_address(proxy):
        raise ServeError(
            f"--behind-proxy {proxy}: this is no address; write that of the proxy as this machine sees it,"
            " for instance 127.0.0.1."
        )
    if proxy is None and not is_this_machine(host):
        raise ServeError(
            f"--host {host}: other machines are not answered over plain http, where whoever is in between"
            " reads and changes what they like. Put a proxy in front that ends TLS and name its address with"
            " --behind-proxy; then it alone is answered. Where it runs on this machine, leave --host out."
        )


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def server_for(
    app: Wsgi,
    host: str = "127.0.0.1",
    port: int = PORT,
    *,
    limits: Limits = SCREENS,
    tls: Tls | None = None,
    answers_at: Callable[[str], bool] = lambda address: True,
    proxy: str | None = None,
) -> Server:
    """A server, bound but not yet running.

    Args:
        app: What it says of its own answers (`wsgi.armour_of`) holds for those of the server too.
        host: Address to listen on; this device alone unless told otherwise. port: 0 takes a free one; see
            `bind_addr`.
        answers_at, proxy: See `Server`.

    Raises:
        ServeError: the address or port cannot be had.
    """
    armour = armour_of(app)
    held = buffered(app, at_once=limits.at_once, largest=limits.held_bytes, armour=armour)
    proxy = None if proxy is None else peer_address(proxy)
    server = Server((host, port), drained(behind_proxy(held, proxy, armour)), limits, armour)
    server.tls, server.answers_at, server.proxy = tls, answers_at, proxy
    try:
        server.prepare()
    except (OSError, OverflowError) as error:
        cause = error.__cause__ or error
        words = (getattr(cause, "strerror", None) or str(cause)).lower()
        raise ServeError(
            f"Nothing can be served at {host}, port {port} ({words}); end what is using it, or name another"
            " port with --port."
        ) from error
    return server


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

    def request_end(*_: object) -> None:
        end.set()

    is_main = threading.current_thread() is threading.main_thread()
    previous_handlers = (
        {number: signal.signal(number, request_end) for number in (signal.SIGINT, signal.SIGTERM)}
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
        for number, handler in previous_handlers.items():
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
