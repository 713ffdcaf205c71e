"""The shop's one price book, as the hub has it, and what this van says otherwise.

The last book that came is kept beside the van's own. What the van changed since stays as it is and is named
with both prices at every sync; everything else follows the hub.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import attrs

from ..billing.price_file import read_price_book
from ..files import write_over
from .settings import PRICE_FILE

#: The hub's book as it came last; the van's own as it was before the first one came.
HUB_FILE, BEFORE_FILE = "prices.hub.toml", "prices.before-hub.toml"


@attrs.frozen(kw_only=True)
class SharedPrices:
    """What became of the hub's price book: whether this van's changed by it, and what stays its own."""

    is_changed: bool = False
    kept: tuple[str, ...] = ()
    before: str = ""

    @property
    def sentences(self) -> tuple[str, ...]:
        told = ["The price book was brought up to date."] if self.is_changed else []
        if self.before:
            told.append(f"What it was before stands in {self.before}.")
        return (*told, *self.kept)


def take_in_prices(folder: Path, text: str) -> SharedPrices:
    """Bring the van's price book up to date with the hub's.

    Raises:
        DataFileError: the two together make no price book; nothing was changed.
    """
    if not text:
        return SharedPrices()
    own, last = folder / PRICE_FILE, folder / HUB_FILE
    new = tomllib.loads(text)
    read_price_book(new, HUB_FILE)
    if not last.exists():
        return _first(folder, text)
    here, base = tomllib.loads(own.read_text("utf-8")), tomllib.loads(last.read_text("utf-8"))
    changed = [at for at in _points(here) | _points(base) if _at(here, at) != _at(base, at)]
    kept = [at for at in changed if _at(here, at) != _at(new, at)]
    merged = _merged(new, here, kept)
    if merged != here:
        read_price_book(merged, PRICE_FILE)
        write_over(own, (text if not kept else _toml(merged)).encode())
    if base != new:
        write_over(last, text.encode())
    told = []
    for at in sorted(kept):
        own_words, hub_words = _words(_at(here, at)), _words(_at(new, at))
        told.append(f"Kept as this van has it: {'.'.join(at)}, {own_words}; the hub says {hub_words}.")
    return SharedPrices(is_changed=merged != here, kept=tuple(told))


def _first(folder: Path, text: str) -> SharedPrices:
    own = folder / PRICE_FILE
    before = own.read_bytes() if own.exists() else b""
    if before == text.encode():
        write_over(folder / HUB_FILE, text.encode())
        return SharedPrices()
    if before:
        write_over(folder / BEFORE_FILE, before)
    write_over(own, text.encode())
    write_over(folder / HUB_FILE, text.encode())
    return SharedPrices(is_changed=True, before=BEFORE_FILE if before else "")


_At = tuple[str, ...]


def _points(book: Mapping[str, Any]) -> set[_At]:
    """Where a book says something: each piece of work is one, and each other row."""
    work = {("operations", key) for key in book.get("operations", {})}
    return work | {(key,) for key in book if key != "operations"}


def _at(book: Mapping[str, Any], at: _At) -> Any:
    found: Any = book
    for key in at:
        found = found.get(key) if isinstance(found, Mapping) else None
    return found


def _merged(new: Mapping[str, Any], here: Mapping[str, Any], kept: list[_At]) -> dict[str, Any]:
    merged = {**new, "operations": dict(new.get("operations", {}))}
    for at in kept:
        table = merged if len(at) == 1 else merged["operations"]
        if (own := _at(here, at)) is None:
            table.pop(at[-1], None)
        else:
            table[at[-1]] = own
    return (
        merged
        if merged["operations"] or "operations" in new
        else {k: v for k, v in merged.items() if k != "operations"}
    )


def _words(value: Any) -> str:
    return "nothing" if value is None else _inline(value)


def _toml(book: Mapping[str, Any]) -> str:
    rows = ["# Prices of the hub, with what this van has otherwise."]
    rows += [f"{_key(key)} = {_inline(value)}" for key, value in book.items() if key != "operations"]
    for key, table in book.get("operations", {}).items():
        rows += ["", f"[operations.{_key(key)}]"]
        rows += [f"{_key(name)} = {_inline(value)}" for name, value in table.items()]
    return "\n".join(rows) + "\n"


def _key(key: str) -> str:
    return key if key.isascii() and key.replace("_", "").replace("-", "").isalnum() else _inline(key)


def _inline(value: Any) -> str:
    """A value on one line, as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        plain = "".join(char if char.isprintable() else " " for char in value)
        return '"' + plain.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_inline(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    return str(value)
