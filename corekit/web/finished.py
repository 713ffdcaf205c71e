"""Finished bytes: what a code opens is checked and drawn once for each version of its file, and kept packed.

A published document never changes under its name, so the same bytes go out again as long as its file stands
there unchanged. What is asked most, the empty page and a code that was opened before, is answered here, in
front of the application; everything else, a wrong code among it, goes on to the application as it came.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

import attrs

from ..model.document import DocumentKind
from ..share.link import read_token, token_hash
from ..share.published import FileVersion, PublishedFolder
from .address import bare_host
from .wsgi import Headers, Wsgi

#: Of finished pages and papers in memory, all together; an opened account takes some 100 kB with its paper.
_KEPT_BYTES = 32_000_000
_FORM = "application/x-www-form-urlencoded"
#: A form as the page's own script sends it; any other spelling of one is for the application to read.
_CODE_FORM = re.compile(rb"code=([A-Za-z2-7-]{1,60})")
_PACKED = re.compile(r"(?:^|,)\s*gzip\s*(?:,|$)", re.IGNORECASE)


@attrs.frozen(eq=False)
class Body:
    """The body of an answer: as it is, packed, and the tag by which a browser knows it again.

    Nothing in it comes from who asks, so that its packed size tells nothing.
    """

    plain: bytes
    packed: bytes
    tag: str

    @classmethod
    def of(cls, text: str) -> Body:
        data = text.encode("utf-8")
        return cls(data, gzip.compress(data, 9, mtime=0), f'"{hashlib.sha256(data).hexdigest()[:32]}"')

    def answer(self, accepted: str) -> tuple[bytes, Headers]:
        """What is sent to who accepts these encodings."""
        headers = [
            ("Content-Type", "text/html; charset=utf-8"),
            ("ETag", self.tag),
            ("Vary", "Accept-Encoding"),
        ]
        if not _PACKED.search(accepted):
            return self.plain, [*headers, ("Content-Length", str(len(self.plain)))]
        return self.packed, [
            *headers,
            ("Content-Encoding", "gzip"),
            ("Content-Length", str(len(self.packed))),
        ]


@attrs.define(eq=False)
class Finished:
    """All that a code opens, made of one version of its file.

    Attributes:
        piece: For the page's own script. page: The same as a whole page. paper: The masked PDF, from when
            somebody first asked for it.
    """

    version: FileVersion
    expires: datetime
    kind: DocumentKind
    piece: Body
    page: Body
    paper: bytes = b""

    @property
    def size(self) -> int:
        return len(self.paper) + sum(len(body.plain) + len(body.packed) for body in (self.piece, self.page))


class FinishedPages:
    """What was finished last, by the name of its file. Safe to use from several threads."""

    def __init__(self, folder: PublishedFolder, most: int = _KEPT_BYTES) -> None:
        self._folder, self._most = folder, most
        self._kept: OrderedDict[str, Finished] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, name: str, now: datetime) -> Finished | None:
        """What is kept of a file that stands as it was when it was checked and is not over; else None, and it
        must be checked (again).
        """
        with self._lock:
            found = self._kept.get(name)
            if found is None:
                return None
            self._kept.move_to_end(name)
        if now < found.expires and self._folder.version(name) == found.version:
            return found
        with self._lock:
            self._kept.pop(name, None)
        return None

    def keep(self, name: str, finished: Finished) -> None:
        """Keep what was finished; what was asked for longest ago goes when it becomes too much."""
        with self._lock:
            self._kept[name] = finished
            self._kept.move_to_end(name)
            while len(self._kept) > 1 and sum(one.size for one in self._kept.values()) > self._most:
                self._kept.popitem(last=False)


@attrs.frozen(kw_only=True, eq=False)
class Front:
    """What stands in front of the application.

    Attributes:
        shell: The page that is the same for everybody, by the languages that a browser asks for (its
            Accept-Language). armour: What every answer carries beside its own headers.
        noted: Is told method, rule, status and the beginning of the file's name, for the log.
    """

    pages: FinishedPages
    shell: Callable[[str], Body]
    armour: Headers
    now: Callable[[], datetime]
    hosts: frozenset[str]
    noted: Callable[[str, str, int, str], None]

    def before(self, app: Wsgi) -> Wsgi:
        """The application with this in front of it."""

        def front(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
            method, path = environ["REQUEST_METHOD"], environ.get("PATH_INFO", "")
            if bare_host(environ.get("HTTP_HOST", "")) in self.hosts:
                if path == "/v" and method in ("GET", "HEAD"):
                    return self._shell(environ, start_response, method)
                if path == "/v/open" and method == "POST":
                    finished, name = self._page_of_form(environ)
                    if finished is not None:
                        self.noted(method, path, 200, name[:8])
                        data, headers = finished.piece.answer(environ.get("HTTP_ACCEPT_ENCODING", ""))
                        cache = ("Cache-Control", "no-store")
                        start_response("200 OK", [*headers, cache, *self.armour])
                        return [data]
            return app(environ, start_response)

        return front

    def _shell(
        self, environ: dict[str, Any], start_response: Callable[..., Any], method: str
    ) -> Iterable[bytes]:
        shell = self.shell(environ.get("HTTP_ACCEPT_LANGUAGE", ""))
        data, headers = shell.answer(environ.get("HTTP_ACCEPT_ENCODING", ""))
        known = shell.tag in environ.get("HTTP_IF_NONE_MATCH", "")
        if known:
            data, headers = b"", [("ETag", shell.tag)]
        headers = [pair for pair in headers if pair[0] != "Vary"]
        headers.append(("Vary", "Accept-Encoding, Accept-Language"))
        status = "304 Not Modified" if known else "200 OK"
        self.noted(method, "/v", int(status[:3]), "-")
        # It says nothing about anybody; a browser may keep it, and asks whether it is still the same.
        start_response(status, [*headers, ("Cache-Control", "no-cache"), *self.armour])
        return [b"" if method == "HEAD" else data]

    def _page_of_form(self, environ: dict[str, Any]) -> tuple[Finished | None, str]:
        """What is finished under the code of a form; None for all that the application has to look at, which
        finds the form as it came.
        """
        length = environ.get("CONTENT_LENGTH") or ""
        if environ.get("CONTENT_TYPE", "").partition(";")[0].strip().lower() != _FORM:
            return None, ""
        if not (length.isascii() and length.isdigit() and 0 < int(length) <= 65):
            return None, ""
        body = environ["wsgi.input"].read(int(length))
        environ["wsgi.input"] = io.BytesIO(body)
        form = _CODE_FORM.fullmatch(body)
        code = read_token(form[1].decode("ascii")) if form else None
        if code is None:
            return None, ""
        name = token_hash(code)
        return self.pages.get(name, self.now()), name
