"""A shop's own file, shop.toml: who issues, where the page is, which instruments are in the van."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

import attrs

from ..billing.book import PriceBook, read_price_book
from ..intake.datasheet import Sheet
from ..intake.declared import Declared
from ..intake.fault import path_text
from ..model.records import Instrument
from ..plugin.host import Plugins
from ..reference import load_toml
from ..report.sheet import Issuer
from ..share.link import base_problem
from .errors import DeskError

SHOP_FILE, PRICE_FILE, STORE_FILE, KEY_FILE = "shop.toml", "prices.toml", "journal.sqlite", "keys/link.key"
PAGE_KEY_FILE = "keys/page.key"
PAPERS, PUBLISHED = "papers", "published"
NUMBER_PATTERN = "{year}-{device}{place:04}"


@attrs.frozen(kw_only=True)
class Settings:
    """What shop.toml says.

    Attributes:
        page: Address of the page server (`https://…`), or empty: then papers carry the record mark and no
            code.
        publish: Where published documents go: a folder (relative to the shop's) or the page server's address.
        device: Letter of this issuing device; part of every number, so that two devices never use one twice.
        number: Pattern of the invoice number, with {year}, {device} and {place}.
        instruments: Name → what its sheet says. usual: Measurand key → name of the instrument that its
            readings are taken with when they name none.
        decimal: The mark in this shop's numbers, `.` or `,`; empty when both are usual.
    """

    issuer: Issuer
    page: str = ""
    publish: str = PUBLISHED
    device: str = "A"
    number: str = NUMBER_PATTERN
    instruments: Mapping[str, Instrument] = attrs.field(factory=dict)
    usual: Mapping[str, str] = attrs.field(factory=dict)
    decimal: str = ""


_TEXTS = ("name", "contact", "tax_id", "page", "publish", "device", "number", "guarantee", "pays_by")


def read_settings(folder: Path, *, demo: bool) -> Settings:
    """The shop's settings.

    Raises:
        DeskError: the file is missing, or everything that is wrong with it at once.
    """
    path = folder / SHOP_FILE
    if not path.is_file():
        cure = f"Set one up with `corekit init {folder}`, or name another folder with --shop."
        raise DeskError(f"{folder} is not a shop: there is no {SHOP_FILE} in it. {cure}")
    data = load_toml(path)
    known = (*_TEXTS, "decimal", "address", "instruments")
    wrong = [f"{key}: unknown key; known are {', '.join(known)}" for key in data if key not in known]
    wrong += [
        f"{key}: must be text in quotes; got {data[key]!r}"
        for key in _TEXTS
        if key in data and not isinstance(data[key], str)
    ]
    if not str(data.get("name", "")).strip():
        wrong.append("name: missing; an invoice needs the name of who issues it")
    address = data.get("address", [])
    if not isinstance(address, list) or not address or not all(isinstance(line, str) for line in address):
        wrong.append('address: must be a list of lines, e.g. ["Street 1", "Town"]; an invoice needs it')
        address = []
    page = str(data.get("page", "")).rstrip("/")
    fault = base_problem(page, demo=demo) if page else None
    if fault:
        wrong.append(f"page: {fault}")
    number = str(data.get("number", NUMBER_PATTERN))
    wrong += _number_faults(number)
    instruments, usual = _instruments(data.get("instruments", {}), wrong)
    if data.get("decimal", "") not in ("", ".", ","):
        wrong.append(f'decimal: must be "." or ","; got {data["decimal"]!r}')
    if wrong:
        raise DeskError(f"{path} cannot be used:\n" + "\n".join(f"  {fault}" for fault in wrong))
    issuer = Issuer(
        name=data["name"],
        address=tuple(address),
        contact=data.get("contact", ""),
        tax_id=data.get("tax_id", ""),
        guarantee=data.get("guarantee", ""),
        pays_by=data.get("pays_by", ""),
    )
    return Settings(
        issuer=issuer,
        page=page,
        publish=data.get("publish", PUBLISHED),
        device=data.get("device", "A"),
        number=number,
        instruments=instruments,
        usual=usual,
        decimal=data.get("decimal", ""),
    )


def read_prices(folder: Path) -> PriceBook:
    path = folder / PRICE_FILE
    if not path.is_file():
        raise DeskError(f"{folder} has no {PRICE_FILE}; `corekit init` writes one to fill in.")
    return read_price_book(load_toml(path), PRICE_FILE)


def _number_faults(pattern: str) -> list[str]:
    try:
        drawn = [pattern.format(year=2026, device="A", place=place) for place in (1, 2)]
    except (KeyError, ValueError, IndexError):
        return [
            "number: may hold {year}, {device} and {place} only, e.g."
            f' "{{year}}-{{device}}{{place:04}}"; got {pattern!r}'
        ]
    return (
        []
        if drawn[0] != drawn[1]
        else [f"number: must hold {{place}}, or every invoice would have the same number; got {pattern!r}"]
    )


def declared(plugins: Plugins, settings: Settings, currency: str) -> Declared:
    """What a visit file of this shop may speak of.

    Raises:
        DeskError: an instrument is said to be the usual one for something that is no reading of an
            installed system. What belongs to a system that is not installed waits until it is.
    """
    found = Declared.of(plugins, settings.instruments, currency, settings.usual, settings.decimal)
    wrong = []
    for key, name in settings.usual.items():
        if key not in plugins.measurands and key.partition(".")[0] in plugins.systems:
            got, _, write = found.unknown(key, "a reading", plugins.measurands)
            wrong.append(f"  instruments.{name}.for: {got}" + (f"; write {write}" if write else ""))
    if wrong:
        raise DeskError(f"{SHOP_FILE} cannot be used:\n" + "\n".join(wrong))
    return found


_SHEET: dict[str, type | tuple[type, ...]] = {
    "kind": str,
    "accuracy": str,
    "ranges": dict,
    "step": str,
    "calibrated": (str, date),
    "interval": str,
    "for": list,
}
_FORMS = {
    "ranges": "a table, range = step",
    "calibrated": "a day such as 2026-03-04",
    "for": 'a list of readings, e.g. ["brakes.pedal_force"]',
}


def _instruments(raw: Any, wrong: list[str]) -> tuple[dict[str, Instrument], dict[str, str]]:
    """The shop's instruments by name, and for which readings each is the usual one."""
    found: dict[str, Instrument] = {}
    usual: dict[str, str] = {}
    if not isinstance(raw, dict):
        wrong.append("instruments: write a table for each, [instruments.meter]")
        return found, usual
    for name, sheet in raw.items():
        where = f"instruments.{name}"
        if not isinstance(sheet, dict):
            wrong.append(f'{where}: write a table, [{where}] and accuracy = "0.5 % + 2 digits" in it')
            continue
        odd = [
            f"{where}.{key}: unknown key; known are {', '.join(_SHEET)}" for key in sheet if key not in _SHEET
        ]
        odd += [
            f"{where}.{key}: must be {_FORMS.get(key, 'text in quotes')}; got {sheet[key]!r}"
            for key, form in _SHEET.items()
            if key in sheet and not (isinstance(sheet[key], form) and _is_text(sheet[key]))
        ]
        if "accuracy" not in sheet:
            odd.append(f'{where}.accuracy: missing; write what the sheet says, e.g. "0.5 % + 2 digits"')
        wrong += odd
        if odd:
            continue
        instrument = Instrument(
            name=name,
            accuracy=sheet["accuracy"],
            ranges=dict(sheet.get("ranges", {})),
            calibrated=str(sheet.get("calibrated", "")),
            kind=sheet.get("kind", ""),
            step=sheet.get("step", ""),
            interval=sheet.get("interval", ""),
        )
        wrong += _sheet_faults(where, instrument)
        found[name] = instrument
        for key in sheet.get("for", []):
            if usual.setdefault(key, name) != name:
                wrong.append(f"{where}.for: {usual[key]} is the usual one for {key} already; one of the two")
    return found, usual


def _is_text(value: Any) -> bool:
    """True when everything in a list or table is text."""
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return all(isinstance(item, str) for item in inside) and not isinstance(value, datetime)


def _sheet_faults(where: str, instrument: Instrument) -> Iterator[str]:
    sheet = Sheet(
        accuracy=instrument.accuracy,
        ranges=instrument.ranges,
        step=instrument.step,
        interval=instrument.interval,
    )
    if not instrument.accuracy.strip():
        yield f'{where}.accuracy: is empty; write what the sheet says, e.g. "0.5 % + 2 digits"'
    for place, got, expected, write in sheet.faults():
        yield f"{where}.{path_text(place)}: {got}; " + (f"write {write}" if write else f"expected {expected}")
    try:
        date.fromisoformat(instrument.calibrated or "2026-01-01")
    except ValueError:
        yield f'{where}.calibrated: "{instrument.calibrated}" is no day; write e.g. 2026-03-04'
