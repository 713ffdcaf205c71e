"""The page asked as any reader would ask it: does something answer at its address, and does a code open there
what it should?
"""

from __future__ import annotations

import html
import re
import urllib.error
import urllib.parse
import urllib.request
from urllib.parse import urlsplit

from ..model.document import Document, from_data
from .link import is_loopback
from .published import LARGEST, PublishError, strict_json

_CONTENT = re.compile(r'<script type="application/json" id="content">(.*?)</script>', re.DOTALL)


class NotOpenError(PublishError):
    """A document lies where it is to be served from, and its address does not open it yet."""


def fetch_back(address: str, token: str, document: Document, *, timeout: float = 20.0) -> None:
    """Return when the page at the address opens this very document for a reader with the code.

    Args:
        address: The page address, as it is printed.
        timeout: Seconds that it may stay silent.

    Raises:
        NotOpenError: it does not; `later` is set, since it may yet.
    """
    status, page = asked(f"{address}/v/open", {"code": token}, timeout)
    if status != 200:
        raise NotOpenError(
            f"{address}: the page does not open {document.title} yet ({status or page})."
            " Publish again once its documents are served there.",
            later=True,
        )
    if not _shows(page, document):
        raise NotOpenError(
            f"{address}: the page shows something else under the code of {document.title}. Check that the"
            " page is served from where its documents are published.",
            later=True,
        )


def page_problem(address: str, *, timeout: float = 5.0) -> str:
    """Why no code opens anything at this address, as far as can be seen from here; empty where a page answers
    there.
    """
    status, page = asked(f"{address}/v", None, timeout)
    if not status:
        return f"it cannot be reached from here ({page})"
    if status != 200:
        return f"what is there answers with status {status}"
    return "" if 'name="code"' in page and 'action="/v"' in page else "what answers there is another page"


def asked(address: str, form: dict[str, str] | None, timeout: float) -> tuple[int, str]:
    """Status and text of what answers; 0 and the reason where nothing does."""
    body = urllib.parse.urlencode(form).encode("ascii") if form is not None else None
    # No proxy stands between this machine and itself.
    direct = [urllib.request.ProxyHandler({})] if is_loopback(urlsplit(address).hostname or "") else []
    request = urllib.request.Request(address, data=body, method="GET" if body is None else "POST")
    try:
        with urllib.request.build_opener(*direct).open(request, timeout=timeout) as response:
            return int(response.status), response.read(4 * LARGEST).decode("utf-8", "replace")
    except urllib.error.HTTPError as error:
        with error:
            return error.code, ""
    except Exception as error:  # http.client raises its own family when the other side speaks no HTTP
        return 0, str(getattr(error, "reason", "") or error or type(error).__name__)


def _shows(page: str, document: Document) -> bool:
    content = _CONTENT.search(page)
    if not document.rests_on or content is None:  # of before, or a page of the shop's own making
        return document.title in html.unescape(page)
    try:
        return from_data(strict_json(content[1].encode("utf-8"))) == document
    except (PublishError, ValueError):
        return False
