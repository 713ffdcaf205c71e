"""Links to documents, each known by its token's hash alone, and what has become of its page."""

from __future__ import annotations

import sqlite3
from typing import Any

import attrs

from . import seals
from .errors import refusal


@attrs.frozen(kw_only=True)
class Link:
    """One link to a document.

    Attributes:
        token_hash: SHA-256 of the token, hexadecimal.
        document_id, link: Which document, and the number of the link to it.
        expires, revoked, published_at: RFC 3339 UTC; "" for never, not, and not yet.
    """

    token_hash: str
    document_id: str
    link: int
    expires: str = ""
    revoked: str = ""
    published_at: str = ""


def links(connection: sqlite3.Connection, where: str, *values: Any) -> list[Link]:
    """The links of one question, in the order asked for."""
    names = seals.SEALED["link"]
    found = connection.execute(seals.select("link", where), values).fetchall()
    return [Link(**dict(zip(names, seals.columns_without_seal("link", row), strict=True))) for row in found]


def link_of(connection: sqlite3.Connection, token_hash: str) -> Link:
    """The link of a token.

    Raises:
        StoreError: no such link is known.
    """
    for link in links(connection, "WHERE token_hash = ?", token_hash):
        return link
    raise refusal(
        f"No link with token hash {token_hash[:12]} is known in this store. Note it before anything is said"
        " about it."
    )


def same_link(connection: sqlite3.Connection, link: Link) -> Link | None:
    """What is known of this very link; None while nothing is.

    Raises:
        StoreError: its hash, or its document's link of that number, is another link's.
    """
    where = "WHERE token_hash = ? OR (document_id = ? AND link = ?)"
    for known in links(connection, where, link.token_hash, link.document_id, link.link):
        if attrs.evolve(known, revoked="", published_at="") != link:
            raise refusal(
                f"Link {link.link} of document {link.document_id} cannot be noted: its number or its token is"
                " another link's."
            )
        return known
    return None


def insert(connection: sqlite3.Connection, link: Link) -> None:
    seals.insert(connection, "link", attrs.astuple(link))


def change(connection: sqlite3.Connection, link: Link) -> None:
    seals.change(connection, "link", attrs.astuple(link))
