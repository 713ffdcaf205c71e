"""Jobs by what somebody knows of one: a plate, a VIN, a name, a phone number, an invoice's number, a day."""

from __future__ import annotations

from ..model.search_words import asked_words
from ..store.list_rows import JobRow
from .context import ShopContext


def found_jobs(shop: ShopContext, asked: str, most: int) -> list[JobRow]:
    """The jobs that fit, at most so many: what fits as a whole first, then what has every word."""
    found: dict[str, JobRow] = {}
    for words in asked_words(asked, shop.now.date()):
        if len(found) < most:
            found |= {row.id: row for row in shop.store.found_jobs(words, most) if row.id not in found}
    return list(found.values())[:most]
