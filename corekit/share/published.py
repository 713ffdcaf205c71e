"""Published documents: a folder of small files, each under the hash of its token, and the way into it.

What is published is the frozen Document with its personal references unresolved, wrapped in an envelope. The
folder never sees the journal, a name or a plate, and holds no token: who copies the folder can read its
documents but learns no code.
"""

from __future__ import annotations

import contextlib
import json
import re
import time
import urllib.error
import urllib.parse
import urllib.request
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlsplit

import attrs

from ..errors import CorekitError
from ..files import TEMPORARY, flush_folder, write_once
from ..model.canonical import canonical, digest
from ..model.document import Document, from_data, to_data
from ..model.entry import utc_text
from .link import is_loopback, is_token_hash

#: How long a page stays up when nobody says otherwise: two years.
LIFE = timedelta(days=731)
#: No envelope is larger. A document of ten pages takes some 60 kB.
LARGEST = 1_000_000

Answer = Literal["new", "same"]
#: What changes when a file is written anew: when it was changed, by two clocks of the disk, its length and
#: its number there.
FileVersion = tuple[int, int, int, int]

_FIELDS = {"document", "published", "expires", "seal"}
_BEARER = re.compile(r"[A-Za-z0-9._~+/=-]{16,200}")
_LEFT_BEHIND = 3600.0  # seconds after which a part of a file belongs to nobody any more


class PublishError(CorekitError):
    """Something could not be published, read or withdrawn; the message says what and what to do.

    Attributes:
        later: True when the same call may work later as it is (no network, the server is busy); the caller
            keeps the document waiting.
        taken: True when the link is in use for something else, or was withdrawn.
    """

    def __init__(self, message: str, *, later: bool = False, taken: bool = False) -> None:
        super().__init__(message)
        self.later, self.taken = later, taken


@attrs.frozen(kw_only=True)
class PublishedPage:
    """A published Document, and from when to when it can be opened."""

    document: Document
    published: datetime
    expires: datetime


def seal_envelope(document: Document, *, published: datetime, expires: datetime | None = None) -> bytes:
    """The envelope of a finished Document: canonical JSON with `document`, `published`, `expires`, and
    `seal`, the hash of the three.

    Args:
        document: As it was issued; its personal references stay references.
        published: The moment, with a time zone.
        expires: From when on there is nothing under the code; two years later when left away.

    Raises:
        PublishError: a draft, a moment without a time zone, or an end before the beginning.
    """
    if document.draft:
        raise PublishError(
            f"{document.title}: a draft is not published; make the estimate or issue the invoice first."
        )
    ends = published + LIFE if expires is None else expires
    if published.tzinfo is None or ends.tzinfo is None:
        raise PublishError(f"{document.title}: the moments of publishing and expiry need a time zone.")
    if ends <= published:
        raise PublishError(
            f"{document.title}: it would expire ({ends.isoformat()}) before it is published"
            f" ({published.isoformat()})."
        )
    content = {"document": to_data(document), "published": utc_text(published), "expires": utc_text(ends)}
    return canonical({**content, "seal": digest(content)})


def open_envelope(data: bytes) -> PublishedPage:
    """What an envelope holds, after checking all of it.

    Raises:
        PublishError: too large, not JSON, unknown or missing fields, a seal that does not fit, no Document,
            a draft.
    """
    if len(data) > LARGEST:
        raise PublishError(f"The envelope has {len(data)} bytes; {LARGEST} is the most.")
    content = strict_json(data)
    if not isinstance(content, dict) or set(content) != _FIELDS:
        raise PublishError(f"An envelope has the fields {', '.join(sorted(_FIELDS))} and no others.")
    seal = content.pop("seal")
    try:
        fits = digest(content) == seal
    except (ValueError, RecursionError) as error:
        raise PublishError("The envelope cannot be written down the canonical way.") from error
    if not fits:
        raise PublishError(
            "The envelope's seal does not fit its content; something changed it on the way or on the disk."
        )
    try:
        document = from_data(content["document"])
        if canonical(to_data(document)) != canonical(content["document"]):
            raise ValueError("what was read is not what was written")
        published, expires = (_moment_of(content[name]) for name in ("published", "expires"))
    except (ValueError, TypeError, AttributeError, KeyError, RecursionError) as error:
        raise PublishError("The envelope holds no document with its two moments.") from error
    if document.draft:
        raise PublishError("A draft is not published.")
    return PublishedPage(document=document, published=published, expires=expires)


@attrs.frozen
class PublishedFolder:
    """A folder of published documents. It may be copied, and served from, while documents come in."""

    path: Path = attrs.field(converter=Path)

    def put(self, token_hash: str, data: bytes) -> Answer:
        """Keep an envelope under a token's hash.

        The same Document again is `same`, and the first envelope stands: a shop whose network broke before
        the answer came sends again, with a later moment in the envelope. Anything else under a hash in use is
        refused, and a withdrawn hash is never given out again.

        Raises:
            PublishError: a bad name or envelope, other content is there, withdrawn, or the disk refuses.
        """
        place = self._place(token_hash)
        envelope = open_envelope(data)
        try:
            self.path.mkdir(parents=True, exist_ok=True, mode=0o700)
            if self._withdrawn(token_hash).exists():
                raise PublishError(
                    "This link was withdrawn, and a withdrawn link is never used again; publish under a new"
                    " link number.",
                    taken=True,
                )
            write_once(place, data)
        except FileExistsError:
            if self._read_page(place).document == envelope.document:
                return "same"
            raise PublishError(
                "Another document is published under this link already, and a published document never"
                " changes.",
                taken=True,
            ) from None
        except OSError as error:
            raise PublishError(
                f"{self.path}: the document could not be kept ({error.strerror or error}).", later=True
            ) from error
        return "new"

    def get(self, token_hash: str, now: datetime) -> PublishedPage | None:
        """What can be opened under this hash at this moment; None when it is unknown, withdrawn, expired, or
        no hash at all.

        Raises:
            PublishError: the file is damaged, or cannot be read.
        """
        if not is_token_hash(token_hash) or self._withdrawn(token_hash).exists():
            return None
        place = self._place(token_hash)
        if not place.exists():
            return None
        found = self._read_page(place)
        return found if now < found.expires else None

    def version(self, token_hash: str) -> FileVersion | None:
        """Which version of a document's file stands there; None where nothing can be opened. Nothing of it is
        read: what was read once from this version need not be read again.
        """
        if not is_token_hash(token_hash) or self._withdrawn(token_hash).exists():
            return None
        try:
            found = self._place(token_hash).stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_ctime_ns, found.st_size, found.st_ino

    def answer(self, token_hash: str, data: bytes) -> bool:
        """Keep a customer's answer; True when it was the first, which stands.

        Raises:
            PublishError: a bad name, or the disk refuses.
        """
        try:
            write_once(self._place(token_hash).with_suffix(".answer"), data)
        except FileExistsError:
            return False
        except OSError as error:
            raise PublishError(
                f"{self.path}: the answer could not be kept ({error.strerror or error}).", later=True
            ) from error
        return True

    def answer_of(self, token_hash: str) -> bytes | None:
        """The answer that is kept under this hash; None while there is none.

        Raises:
            PublishError: a bad name, or it cannot be read.
        """
        try:
            return self._place(token_hash).with_suffix(".answer").read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise PublishError(
                f"{self.path}: an answer cannot be read ({error.strerror or error}).", later=True
            ) from error

    def withdraw(self, token_hash: str) -> bool:
        """Take a document down for good and leave a mark, so that nothing is ever published under this link
        again.

        Returns True when there was something to take down. Withdrawing twice, or what was never there, is no
        error.

        Raises:
            PublishError: a bad name, or the disk refuses.
        """
        place, mark = self._place(token_hash), self._withdrawn(token_hash)
        try:
            self.path.mkdir(parents=True, exist_ok=True, mode=0o700)
            # The mark first: a power cut in between leaves a document that is not shown.
            with contextlib.suppress(FileExistsError):
                write_once(mark, b"")
            there = place.exists()
            place.unlink(missing_ok=True)
            flush_folder(self.path)
        except OSError as error:
            raise PublishError(
                f"{self.path}: the document could not be withdrawn ({error.strerror or error}).",
                later=True,
            ) from error
        return there

    def sweep(self, now: datetime) -> int:
        """Take down what has expired (as `withdraw` does) and remove parts of files that a power cut left.

        The number of documents taken down.

        A damaged file is left for `get` to name.
        """
        gone = 0
        for file in sorted(self.path.glob("*.json")) if self.path.is_dir() else ():
            if is_token_hash(file.stem):
                with contextlib.suppress(PublishError):
                    if self._read_page(file).expires <= now:
                        gone += self.withdraw(file.stem)
        for part in self.path.glob(f"{TEMPORARY}*"):
            with contextlib.suppress(OSError):
                if time.time() - part.stat().st_mtime > _LEFT_BEHIND:
                    part.unlink()
        return gone

    def _place(self, token_hash: str) -> Path:
        if not is_token_hash(token_hash):
            raise PublishError(
                f"A document is published under 64 hexadecimal figures; got {token_hash[:80]!r}."
            )
        return self.path / f"{token_hash}.json"

    def _withdrawn(self, token_hash: str) -> Path:
        return self._place(token_hash).with_suffix(".withdrawn")

    def _read_page(self, place: Path) -> PublishedPage:
        try:
            with place.open("rb") as file:
                data = file.read(LARGEST + 1)
            return open_envelope(data)
        except OSError as error:
            raise PublishError(f"{place}: cannot be read ({error.strerror or error}).", later=True) from error
        except PublishError as error:
            raise PublishError(f"{place}: {error} Publish it again after removing the file.") from error


def publish_to(
    target: str | Path, token_hash: str, envelope: bytes, bearer: str | None = None, *, timeout: float = 20.0
) -> Answer:
    """Send an envelope to where the shop's page is served from.

    Args:
        target: A folder, or the address of a page server; there it is `PUT <address>/published/<token hash>`
            with the bearer key. Only https, except on this machine itself.
        timeout: Seconds that the server may stay silent.

    Returns:
        `new`, or `same` when this Document was there already.

    Raises:
        PublishError: with `later` set when trying again as it is may work.
    """
    if isinstance(target, Path) or "://" not in target:
        return PublishedFolder(target).put(token_hash, envelope)
    open_envelope(envelope)
    answer = _call("PUT", target, token_hash, envelope, bearer, timeout=timeout)
    if answer not in ("new", "same"):
        raise PublishError(
            f"{target}: this is no page server of corekit (it answered something else); check the address."
        )
    return "new" if answer == "new" else "same"


def answer_from(
    target: str | Path, token_hash: str, bearer: str | None = None, *, timeout: float = 20.0
) -> bytes | None:
    """The customer's answer that is kept in a folder or at a page server; None while there is none.

    Raises:
        PublishError: as of `publish_to`.
    """
    if isinstance(target, Path) or "://" not in target:
        return PublishedFolder(target).answer_of(token_hash)
    said = _call("GET", target, token_hash, None, bearer, timeout=timeout)
    return said.encode("ascii", "replace") if said else None


def _opener(host: str) -> urllib.request.OpenerDirector:
    """No proxy stands between this machine and itself."""
    return urllib.request.build_opener(*([urllib.request.ProxyHandler({})] if is_loopback(host) else []))


def withdraw_from(
    target: str | Path, token_hash: str, bearer: str | None = None, *, timeout: float = 20.0
) -> None:
    """Take a published document down, in a folder or at a page server (`DELETE <address>/published/<token
    hash>`).

    Raises:
        PublishError: as of `publish_to`.
    """
    if isinstance(target, Path) or "://" not in target:
        PublishedFolder(target).withdraw(token_hash)
    elif _call("DELETE", target, token_hash, None, bearer, timeout=timeout) != "withdrawn":
        raise PublishError(
            f"{target}: this is no page server of corekit (it answered something else); check the address."
        )


def check_bearer(bearer: str | None) -> str:
    """The key for publishing, if it is one that can travel in a header and is long enough not to be guessed.

    Raises:
        PublishError: there is none, or it is too short or has other characters.
    """
    if not bearer:
        raise PublishError("There is no key for publishing; set the same one here and at the page server.")
    if not _BEARER.fullmatch(bearer):
        raise PublishError(
            "The key for publishing must have 16 to 200 letters, figures or . _ ~ + / = - and nothing else;"
            " draw a new one."
        )
    return bearer


def _call(
    method: str, target: str, token_hash: str, body: bytes | None, bearer: str | None, *, timeout: float
) -> str:
    if not is_token_hash(token_hash):
        raise PublishError(f"A document is published under 64 hexadecimal figures; got {token_hash[:80]!r}.")
    key = check_bearer(bearer)
    try:
        if any(not 0x21 <= ord(letter) <= 0x7E for letter in target):
            raise ValueError("an address has no spaces, and no letters beyond ASCII")
        parts = urlsplit(target)
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        parts, host = urlsplit(""), ""
    if (
        parts.scheme not in ("http", "https")
        or not host
        or parts.query
        or parts.fragment
        or "@" in parts.netloc
    ):
        raise PublishError(
            f'{target!r} is no address of a page server; write it like "https://papers.your-shop-name.com",'
            " or name a folder."
        )
    if parts.scheme == "http" and not is_loopback(host):
        raise PublishError(
            f"{target}: the key for publishing goes over https only; write https:// (http is for this machine"
            " itself)."
        )
    request = urllib.request.Request(f"{target.rstrip('/')}/published/{token_hash}", data=body, method=method)
    request.add_header("Authorization", f"Bearer {key}")
    if body is not None:
        request.add_header("Content-Type", "application/json")
    # urllib follows no redirect of a PUT or DELETE, so the key is not sent on.
    try:
        with _opener(host).open(request, timeout=timeout) as response:
            return _answer(response.read(20_000))
    except urllib.error.HTTPError as error:
        with error:
            raise _refusal(target, error.code) from error
    except (OSError, EOFError) as error:  # URLError, a broken connection and a timeout are OSErrors
        reason = getattr(error, "reason", error)
        raise PublishError(
            f"{target}: the page server cannot be reached ({reason}); the document waits and can be sent"
            " again.",
            later=True,
        ) from error
    except Exception as error:  # http.client raises its own family when the other side speaks no HTTP
        raise PublishError(
            f"{target}: what answered there is no page server ({type(error).__name__}); check the address."
        ) from error


_REFUSALS = {
    400: "the page server could not read the document; both sides need the same version of corekit",
    401: "the page server does not know this key for publishing; set the same one on both sides",
    403: "the page server does not know this key for publishing; set the same one on both sides",
    404: (
        "nothing takes documents there; check the address, and that the page server was started with a key"
        " for publishing"
    ),
    405: "nothing takes documents there; check the address",
    409: (
        "another document is published under this link already, or the link was withdrawn; a published"
        " document never changes"
    ),
    413: "the document is too large for the page server",
}


def _refusal(target: str, status: int) -> PublishError:
    if status in _REFUSALS:
        return PublishError(f"{target}: {_REFUSALS[status]}.", taken=status == 409)
    if 300 <= status < 400:
        return PublishError(
            f"{target}: the page server sends us elsewhere, and the key is not sent on; write the final"
            " address."
        )
    return PublishError(
        f"{target}: the page server is in trouble (status {status}); the document waits and can be sent"
        " again.",
        later=True,
    )


def _answer(body: bytes) -> str:
    try:
        answer = json.loads(body)["answer"]
    except (ValueError, KeyError, TypeError):
        return ""
    return answer if isinstance(answer, str) else ""


def strict_json(data: bytes) -> Any:
    """JSON in which every key stands once and every number is one.

    Raises:
        PublishError: it is not.
    """

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            raise ValueError("a key stands twice")
        return found

    def no_number(text: str) -> Any:
        raise ValueError(f"{text} is no number")

    try:
        return json.loads(data.decode("utf-8"), object_pairs_hook=once, parse_constant=no_number)
    except (ValueError, RecursionError) as error:
        raise PublishError("The envelope is not JSON that can be relied on.") from error


def _moment_of(text: Any) -> datetime:
    if not isinstance(text, str):
        raise ValueError("a moment is text")
    when = datetime.fromisoformat(text)
    if when.tzinfo is None:
        raise ValueError("a moment has a time zone")
    return when
