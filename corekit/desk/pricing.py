"""Prices while the shop is open: a changed book is seen at once, and what a piece of work costs is written
into it from a screen.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import attrs

from ..billing.book import PriceBook
from ..billing.line import Condition
from ..billing.price_file import read_price_book
from ..errors import CorekitError
from ..fault import DataFault, DataFileError, quotation
from ..files import write_over
from .errors import DeskError, VisitError
from .settings import PRICE_FILE, read_prices

#: What a part may be before it goes in.
CONDITIONS = tuple(map(str, Condition))


@attrs.define(kw_only=True)
class CurrentPrices:
    """The price book as its file says it now.

    Attributes:
        folder: Of the shop.
        book: The last that could be used. fault: What is wrong with the file as it is by now; empty where
            nothing is.
    """

    folder: Path
    book: PriceBook
    fault: str = ""
    _read: tuple[int, int] = (0, 0)

    @classmethod
    def of(cls, folder: Path) -> CurrentPrices:
        """The prices of a shop.

        Raises:
            DeskError, DataFileError: its price book cannot be used.
        """
        stamp = _stamp(folder / PRICE_FILE)
        return cls(folder=folder, book=read_prices(folder), read=stamp)

    def refresh(self) -> None:
        """Read the file again where it changed; while it cannot be used, the book before it stands."""
        stamp = _stamp(self.folder / PRICE_FILE)
        if stamp == self._read:
            return
        try:
            self.book, self.fault = read_prices(self.folder), ""
        except CorekitError as error:
            self.fault = str(error)
        self._read = stamp


def _stamp(path: Path) -> tuple[int, int]:
    """When a file was changed and how long it is; nothing of a file that is not there."""
    try:
        found = path.stat()
    except OSError:
        return 0, 0
    return found.st_mtime_ns, found.st_size


@attrs.frozen(kw_only=True)
class TypedPart:
    """A part of a piece of work as it was typed; one without a name and a price is none."""

    name: str = ""
    price: str = ""
    quantity: str = "1"
    condition: str = "new"
    unit: str = ""
    number: str = ""
    tax: str = ""

    @property
    def is_filled(self) -> bool:
        """True where a part was typed at all."""
        return bool(self.name.strip() or self.price.strip())


def write_price(
    prices: CurrentPrices, key: str, hours: str, parts: Sequence[TypedPart], *, tax: str = ""
) -> None:
    """Write what a piece of work takes into the price book, in place of what it said of it.

    Args:
        key: Of an operation that an installed system declares, or the name of own work.
        hours, parts: As they were typed; a decimal comma is read as a point. tax: Rate of the labour; empty
            for the usual one.

    Raises:
        VisitError: something of it cannot be used, each with the field's name: `hours`, `parts[0].price` …
        DeskError: the book is written in a way that cannot be changed from here; nothing was.
    """
    path = prices.folder / PRICE_FILE
    text = path.read_text("utf-8")
    try:
        before = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DeskError(f"{PRICE_FILE} cannot be read as it is; nothing was changed: {error}") from error
    old = before.get("operations", {}).get(key, {})
    if "lump_sum" in old:
        raise DeskError(
            f"{quotation(key)} has one price for work and parts, which this form does not know; nothing was"
            f" changed. Change its lump_sum in {PRICE_FILE}; this screen sees it at once."
        )
    block = _block(key, hours, [part for part in parts if part.is_filled], tax, old)
    new = _with_block(text, key, block)
    try:
        after = tomllib.loads(new)
    except tomllib.TOMLDecodeError:
        after = {}
    if _without(after, key) != _without(before, key) or key not in after.get("operations", {}):
        raise DeskError(
            f"{PRICE_FILE} is written in a way that cannot be changed from here; nothing was changed. Write"
            " the price into the file; this screen sees it at once."
        )
    try:
        read_price_book(after, PRICE_FILE)
    except DataFileError as error:
        raise VisitError([_fault_here(fault, key) for fault in error.faults]) from error
    write_over(path, new.encode("utf-8"))
    prices.refresh()


def _block(key: str, hours: str, parts: Sequence[TypedPart], tax: str, old: Mapping[str, Any]) -> str:
    """The table of a piece of work; of what a form does not ask, the old one's hazard and its parts' deposits
    stay.
    """
    lines = [f"[operations.{_toml_string(key)}]", f"hours = {_toml_string(_number(hours) or '0')}"]
    if tax:
        lines.append(f"tax = {_toml_string(tax)}")
    cores = {str(part.get("name")): str(part["core"]) for part in old.get("parts", ()) if "core" in part}
    rows = []
    for part in parts:
        typed = {
            "name": part.name.strip(),
            "price": _number(part.price),
            "quantity": _number(part.quantity) or "1",
            "condition": part.condition,
        }
        optional = {"unit": part.unit, "number": part.number.strip(), "tax": part.tax}
        typed |= {name: text for name, text in optional.items() if text}
        if core := cores.get(part.name.strip()):
            typed["core"] = core
        rows.append("{ " + ", ".join(f"{name} = {_toml_string(text)}" for name, text in typed.items()) + " }")
    if rows:
        lines.append(f"parts = [ {', '.join(rows)} ]")
    if hazard := str(old.get("hazard", "")):
        lines.append(f"hazard = {_toml_string(hazard)}")
    return "\n".join(lines) + "\n"


def _number(text: str) -> str:
    return text.strip().replace(",", ".")


def _toml_string(text: str) -> str:
    """A TOML basic string on one line."""
    plain = "".join(char if char.isprintable() else " " for char in text)
    return '"' + plain.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _with_block(text: str, key: str, block: str) -> str:
    """The file with this block in place of the operation's own; at its end where there is none."""
    quoted = f"(?:{re.escape(_toml_string(key))}|'{re.escape(key)}')"
    header = re.compile(rf"^[ \t]*\[operations\.{quoted}\][ \t]*(?:#.*)?$\n?", re.M)
    found = header.search(text)
    if found is None:
        return f"{text.rstrip()}\n\n{block}"
    following = re.compile(r"^[ \t]*(?:\[|#)", re.M).search(text, found.end())
    end = following.start() if following else len(text)
    return f"{text[: found.start()]}{block}\n{text[end:]}"


def _without(data: dict[str, Any], key: str) -> dict[str, Any]:
    operations = {name: table for name, table in data.get("operations", {}).items() if name != key}
    return {**data, "operations": operations}


def _fault_here(fault: DataFault, key: str) -> DataFault:
    """A fault of the file as one of the form."""
    here = fault.path.removeprefix(f'operations."{key}"').lstrip(".")
    return attrs.evolve(fault, path=here)
