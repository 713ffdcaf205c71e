"""What the code on paper holds: an address, and a token that nobody can guess and the shop can draw again.

The token stands in the fragment of the address. A browser does not send a fragment to the server, so neither
a server's log nor a proxy's sees it (W3C TAG, Good Practices for Capability URLs); scanner apps and histories
do.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import ipaddress
import re
from urllib.parse import urlsplit

from ..model.canonical import canonical

#: Bytes in a link key.
KEY_BYTES = 32
#: Bits in a token, and the characters they take in base 32. OWASP ASVS 5.0, 11.5.1 asks for 128 bits of
#: entropy.
TOKEN_BITS = 128
TOKEN_LENGTH = 26
#: The only page address on the machine itself that is allowed, and only for the demo.
DEMO_BASE = "http://127.0.0.1:8741"

# 26 characters carry 130 bits; the last one has two to spare, and they are 0.
_TOKEN = re.compile(r"[A-Z2-7]{25}[AEIMQUY4]")
_TOKEN_HASH = re.compile(r"[0-9a-f]{64}")
# What people and their phones put between the groups of a code: spaces, and every kind of dash.
_BETWEEN = dict.fromkeys(map(ord, " \t-\u00a0\u2009\u202f\u2010\u2011\u2012\u2013\u2014\u2212"))
_TYPED_AT_MOST = 80

_LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?", re.IGNORECASE)
# Names that only mean something inside one network: RFC 6761 (localhost, test, invalid, example), RFC 6762
# (local), RFC 8375 (home.arpa), RFC 7686 (onion); internal by ICANN's reservation; lan and home by common
# practice, no source.
_INSIDE_NAMES = (
    "localhost",
    "local",
    "internal",
    "home.arpa",
    "lan",
    "home",
    "test",
    "invalid",
    "example",
    "onion",
)


def token(key: bytes, document_id: str, link: int) -> str:
    """The token of one link of one document: the first 128 bits of HMAC-SHA256, in base 32 without padding.

    The same key, document and link number always give the same token, so a code can be drawn again although
    only the hash of the token is kept anywhere. A document may have several links, numbered from 1, each
    revocable alone.

    Source: RFC 2104 (HMAC), RFC 4648 section 6 (base 32), RFC 8785 (the message).

    Raises:
        ValueError: the key has not 32 bytes, the document id is empty, or the link number is below 1.
    """
    if len(key) != KEY_BYTES:
        raise ValueError(f"A link key has {KEY_BYTES} bytes; got {len(key)}.")
    if not document_id:
        raise ValueError("A link needs the id of its document; got an empty one.")
    if isinstance(link, bool) or link < 1:
        raise ValueError(f"Links of a document are numbered from 1; got {link!r}.")
    message = canonical({"document": document_id, "for": "corekit hosted link", "link": link})
    code = hmac.new(key, message, hashlib.sha256).digest()[: TOKEN_BITS // 8]
    return base64.b32encode(code).decode("ascii").rstrip("=")


def token_hash(token: str) -> str:
    """SHA-256 of the token in hexadecimal: the name under which a document is published.

    Raises:
        ValueError: this is not a token.
    """
    if not _TOKEN.fullmatch(token):
        raise ValueError(f"A token is {TOKEN_LENGTH} characters of A–Z and 2–7; this is not one.")
    return hashlib.sha256(token.encode("ascii")).hexdigest()


def is_token_hash(text: str) -> bool:
    return _TOKEN_HASH.fullmatch(text) is not None


def read_token(typed: str) -> str | None:
    """The token in what a person typed or a code held: case, spaces and dashes do not count.

    None when there is none.
    """
    if len(typed) > _TYPED_AT_MOST:
        return None
    bare = typed.translate(_BETWEEN)
    # Only ASCII is put in capitals: beyond it, ``ı`` would become ``I`` and two texts would open one
    # document.
    if not bare.isascii():
        return None
    found = bare.upper()
    return found if _TOKEN.fullmatch(found) else None


def link(base: str, token: str) -> str:
    """The address in the code: the page, and the token behind ``#``."""
    return f"{base}/v#{token}"


def base_problem(text: str, *, demo: bool = False) -> str | None:
    """Why this cannot be the shop's page address, and what to write instead; None when it can.

    A printed code outlives the paper's first day, so the address must be one that any phone can reach: https,
    a host with a public name or address, nothing behind it. The demo's own address passes when `demo` is set.
    """
    if demo and text == DEMO_BASE:
        return None
    wanted = 'write it like "https://papers.your-shop-name.com"'
    if not text:
        return f"There is no page address; {wanted}."
    if any(not 0x21 <= ord(letter) <= 0x7E for letter in text):
        return (
            f"The page address {text!r} has a space, a control character or a letter beyond ASCII in it;"
            f" {wanted} (a name beyond ASCII in its xn-- form)."
        )
    if not text.lower().startswith("https://"):
        return (
            f"The page address {text!r} does not begin with https://; codes are opened over the open network,"
            f" so {wanted}."
        )
    for sign, what in (("#", "a fragment"), ("?", "a query"), ("@", "a user name"), ("\\", "a backslash")):
        if sign in text:
            return f"The page address {text!r} has {what} ({sign}) in it; {wanted}."
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        return f"The page address {text!r} cannot be read; {wanted}."
    if parts.path:
        return (
            f"The page address {text!r} has a path ({parts.path!r}); the page is always at /v of the host, so"
            f" {wanted}."
        )
    host = parts.hostname or ""
    if not host:
        return f"The page address {text!r} has no host; {wanted}."
    if port == 0 or parts.netloc.endswith(":"):
        return (
            f"The page address {text!r} has no usable port after the colon; leave the colon away for the"
            " usual one."
        )
    why = _host_problem(host)
    return f"The page address {text!r} {why}; {wanted}." if why else None


def static_problem(text: str) -> str | None:
    """Why this cannot be the address of the static page, a file with a path; None when it can."""
    at = text.find("/", len("https://"))
    base, path = (text[:at], text[at:]) if at > 0 else (text, "")
    if (odd := base_problem(base)) is not None:
        return odd
    if any(not 0x21 <= ord(letter) <= 0x7E or letter in "#?" for letter in path):
        return f"The path of {text!r} has a space, # or ? in it; write the address of the file alone."
    return None


def is_loopback(host: str) -> bool:
    """True when the host is this machine itself."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _host_problem(host: str) -> str | None:
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return _name_problem(host)
    if address.is_global and not address.is_multicast and not address.is_reserved:
        return None
    return "is an address that only this machine or this network can reach"


def _name_problem(host: str) -> str | None:
    name = host.removesuffix(".").lower()
    labels = name.split(".")
    if len(name) > 253 or not all(_LABEL.fullmatch(label) for label in labels):
        return "has a host that is no valid name (RFC 1123)"
    if any(name == inside or name.endswith(f".{inside}") for inside in _INSIDE_NAMES):
        return "has a name that only this machine or this network knows"
    # A last label of figures is an IPv4 address in one of its old spellings (127.1, 0x7f000001, 2130706433).
    if re.fullmatch(r"[0-9]+|0x[0-9a-f]*", labels[-1]):
        return "has a host that is an address in an unusual spelling"
    if len(labels) < 2:
        return "has a name without a dot, which only this network knows"
    return None
