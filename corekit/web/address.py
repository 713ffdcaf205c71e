"""What a browser says about where it is and where it wants to go, and whose line it is, held against what is
ours.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Collection
from urllib.parse import urlsplit

import flask

_HOST = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9.-]+)(:[0-9]{1,5})?", re.IGNORECASE)
_LONGEST_PATH = 2000


def bare_host(header: str) -> str:
    """The name in a Host header, in small letters and without port and final dot; empty when it is none.

    >>> bare_host("Papers.example.org.:443")
    'papers.example.org'
    """
    match = _HOST.fullmatch(header)
    return match[1].lower().removesuffix(".") if match else ""


def peer_address(text: str) -> str:
    """An address in its one spelling, an IPv4 one within an IPv6 one as itself; what is none, as it is.

    >>> peer_address("::ffff:192.0.2.1"), peer_address("2001:DB8::0:1"), peer_address("proxy")
    ('192.0.2.1', '2001:db8::1', 'proxy')
    """
    try:
        parsed = ipaddress.ip_address(text)
    except ValueError:
        return text
    return str(getattr(parsed, "ipv4_mapped", None) or parsed)


def is_this_machine(address: str) -> bool:
    """Whether what comes from this address, or goes to it, never leaves the machine."""
    try:
        return address == "localhost" or ipaddress.ip_address(peer_address(address)).is_loopback
    except ValueError:
        return False


def own_path(path: str, otherwise: str = "/") -> str:
    r"""A path of this server, or `otherwise`: no form and no link sends anybody elsewhere.

    >>> own_path("/job/1/test?of=voltage"), own_path("//example.org", "/jobs"), own_path(r"/\example.org")
    ('/job/1/test?of=voltage', '/jobs', '/')
    """
    try:
        parts = urlsplit(path)
    except ValueError:  # e.g. a bracket that no IPv6 address closes
        return otherwise
    is_own = (
        path.startswith("/")
        and not path.startswith("//")
        and "\\" not in path
        and not parts.scheme
        and not parts.netloc
        and path.isprintable()
        and path.isascii()
        and len(path) <= _LONGEST_PATH
    )
    return path if is_own else otherwise


def is_from_own_page() -> bool:
    """True when the browser says that a page of this very origin sent the request."""
    return is_from_page_of({f"{flask.request.scheme}://{flask.request.environ.get('HTTP_HOST', '')}"})


def is_from_page_of(origins: Collection[str]) -> bool:
    """True when the browser says that a page of the origin asked, which is one of these, sent the request
    (Fetch Metadata; RFC 6454).
    """
    headers = flask.request.headers
    site, origin = headers.get("Sec-Fetch-Site"), headers.get("Origin")
    if site is not None and site != "same-origin":
        return False
    if origin in (None, "null"):
        return site is not None
    return origin.lower() in {own.lower() for own in origins}
