"""The carried code: what was read and what it cost, signed, in a code that no server is needed for.

Canonical JSON (RFC 8785) of texts alone, deflated (RFC 1951), then the Ed25519 signature of the deflated
bytes, then the first four bytes of the SHA-256 of both, which tell damage from a stranger's key; all in
base64url (RFC 4648, section 5) without padding.

The texts are short because they must fit: `a` is number|date|total|currency; `r`, `f` and `w` list rows by
the system they belong to, `/system;row;row`, what is empty at the end of a row left away. A reading's row is
measurand|place|unit|before|after|low|high|verdict before|verdict after.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
import zlib
from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any

import attrs

from ..model.canonical import canonical
from ..model.mark import letters
from .signing import SigningKey, is_signed_by

#: Characters of a fragment at most: a symbol of version 16, 45 mm wide. Source: ISO/IEC 18004, capacities.
LONGEST = 460
_CONTEXT = b"corekit carried code 1\n"
_SIGNATURE, _CHECK = 64, 4
_INFLATED_AT_MOST = 20_000

Row = tuple[str, str, str, str, str, str, str, str, str]
BEFORE, AFTER, LOW, VERDICT_BEFORE, VERDICT_AFTER = 3, 4, 5, 7, 8


@attrs.frozen(kw_only=True)
class CarriedContent:
    """What a carried code says.

    Attributes:
        number, issued, currency, total: As on the document. Who issued it is known by the key.
        rows: Readings. found: What failed or stayed undecided without a reading: (code, place, verdict).
        works: (operation or kind of charge, net).
    """

    number: str
    issued: str
    currency: str
    total: str
    rows: tuple[Row, ...] = ()
    found: tuple[tuple[str, str, str], ...] = ()
    works: tuple[tuple[str, str], ...] = ()

    def data(self) -> dict[str, Any]:
        """The texts that are written down."""
        return {
            "a": "|".join(map(_plain, (self.number, self.issued, self.total, self.currency))),
            "f": _rows_by_system(self.found),
            "r": _rows_by_system(self.rows),
            "w": _rows_by_system(self.works),
        }


def _rows_by_system(rows: Sequence[Sequence[str]]) -> str:
    """Rows by the system that their first text names; what belongs to none stands under an empty name."""
    groups: dict[str, list[str]] = {}
    for first, *rest in rows:
        system, _, name = first.rpartition(".")
        row = "|".join(map(_plain, (name, *rest))).rstrip("|")
        groups.setdefault(_plain(system), []).append(row)
    return "".join(f"/{system};{';'.join(several)}" for system, several in groups.items())


def _plain(text: str) -> str:
    return re.sub(r"[/;|]", " ", text)


def _rows_of(text: str, width: int) -> list[list[str]]:
    """The rows of such a text, each with so many parts.

    Raises:
        ValueError: it is no such text.
    """
    rows: list[list[str]] = []
    for group in text.split("/")[1:]:
        system, *several = group.split(";")
        for row in several:
            parts = row.split("|")
            parts[0] = f"{system}.{parts[0]}" if system else parts[0]
            if len(parts) > width:
                raise ValueError("a row of a carried code has too many parts")
            rows.append(parts + [""] * (width - len(parts)))
    return rows


def _understood(data: Any) -> dict[str, Any]:
    """What the texts of a code say: number, date, total, currency, and the rows.

    Raises:
        ValueError: they are none.
    """
    if not isinstance(data, dict) or set(data) != {"a", "f", "r", "w"}:
        raise ValueError("no carried code")
    if not all(isinstance(text, str) for text in data.values()):
        raise ValueError("a carried code holds texts")
    number, issued, total, currency = data["a"].split("|")
    return {
        "number": number,
        "issued": issued,
        "total": total,
        "currency": currency,
        "rows": _rows_of(data["r"], 9),
        "found": _rows_of(data["f"], 3),
        "works": _rows_of(data["w"], 2),
    }


@attrs.frozen(kw_only=True)
class CarriedCode:
    """A code that fits, its mark and key as they are printed beside it, and how much was left out."""

    fragment: str
    mark: str
    key: str
    passes_left_out: int = 0
    conditions_left_out: int = 0


def is_unchanged_pass(row: Row) -> bool:
    """A reading that passed and was not taken again."""
    return row[VERDICT_BEFORE] == "p" and not row[AFTER]


def is_condition(row: Row) -> bool:
    """A reading that nothing was judged by, taken once."""
    return not row[VERDICT_BEFORE] and not row[VERDICT_AFTER] and not row[AFTER]


def carried_code(content: CarriedContent, key: SigningKey) -> CarriedCode | None:
    """The signed code; what is too much is left out in this order: unchanged passes, then conditions, the
    last ones first. A fail, an undecided, an amount or a reading after the work never is.

    None where even that is too long for a code.
    """
    rows, gone = list(content.rows), [0, 0]
    while True:
        fragment = _fragment(attrs.evolve(content, rows=tuple(rows)), key)
        if len(fragment) <= LONGEST:
            return CarriedCode(
                fragment=fragment,
                mark=mark_of(fragment),
                key=key.name,
                passes_left_out=gone[0],
                conditions_left_out=gone[1],
            )
        for nth, may_go in enumerate((is_unchanged_pass, is_condition)):
            last = next((at for at in reversed(range(len(rows))) if may_go(rows[at])), None)
            if last is not None:
                del rows[last]
                gone[nth] += 1
                break
        else:
            return None


def mark_of(fragment: str) -> str:
    """The carried code's own mark: 40 bits over what it carries, in two groups of four letters."""
    return letters(hashlib.sha256(_bytes_of(fragment)).digest())[:9]


def _fragment(content: CarriedContent, key: SigningKey) -> str:
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = packer.compress(canonical(content.data())) + packer.flush()
    signed = packed + key.sign(_CONTEXT + packed)
    whole = signed + hashlib.sha256(signed).digest()[:_CHECK]
    return base64.urlsafe_b64encode(whole).decode("ascii").rstrip("=")


class Outcome(StrEnum):
    """What a reader can say of a carried code; nobody can say more."""

    MATCHES = "matches this page's key"
    UNKNOWN = "key unknown here"
    ALTERED = "altered"
    UNCHECKED = "this browser cannot check it"


@attrs.frozen(kw_only=True)
class Opened:
    """A carried code that was read: what came of checking it, by which key, and what it says; empty where it
    was altered.
    """

    outcome: Outcome
    key: str = ""
    content: Mapping[str, Any] = attrs.field(factory=dict)


def open_carried(fragment: str, keys: Mapping[str, bytes]) -> Opened:
    """Read a carried code and hold it against these public keys, by fingerprint."""
    try:
        whole = _bytes_of(fragment)
        signed, check = whole[:-_CHECK], whole[-_CHECK:]
        packed, signature = signed[:-_SIGNATURE], signed[-_SIGNATURE:]
        if not packed or hashlib.sha256(signed).digest()[:_CHECK] != check:
            return Opened(outcome=Outcome.ALTERED)
        unpacker = zlib.decompressobj(-15)
        text = unpacker.decompress(packed, _INFLATED_AT_MOST)
        if not unpacker.eof or unpacker.unused_data:
            return Opened(outcome=Outcome.ALTERED)
        content = json.loads(text)
        if canonical(content) != text:
            return Opened(outcome=Outcome.ALTERED)
        content = _understood(content)
    except (ValueError, zlib.error, RecursionError):
        return Opened(outcome=Outcome.ALTERED)
    for name, public in keys.items():
        if is_signed_by(public, _CONTEXT + packed, signature):
            return Opened(outcome=Outcome.MATCHES, key=name, content=content)
    return Opened(outcome=Outcome.UNKNOWN, content=content)


def _bytes_of(fragment: str) -> bytes:
    """The bytes of a fragment written the one way there is.

    Raises:
        ValueError: it is not.
    """
    data = base64.b64decode(fragment + "=" * (-len(fragment) % 4), altchars=b"-_", validate=True)
    if base64.urlsafe_b64encode(data).decode("ascii").rstrip("=") != fragment:
        raise ValueError("not canonical base64url")
    return data
