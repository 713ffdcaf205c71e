"""A shop's own file, shop.toml: who issues, where the page is, which instruments are in the van."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import attrs

from ..billing.book import PriceBook, read_price_book
from ..model.records import Instrument
from ..reference import load_toml
from ..report.papers import Issuer
from ..share.link import base_problem
from .problem import DeskProblem

SHOP_FILE, PRICE_FILE, STORE_FILE, KEY_FILE = "shop.toml", "prices.toml", "journal.sqlite", "keys/link.key"
PAGE_KEY_FILE = "keys/page.key"
PAPERS, PUBLISHED = "papers", "published"
NUMBER_PATTERN = "{year}-{device}{place:04}"


@attrs.frozen(kw_only=True)
class Settings:
    """What shop.toml says.

    Attributes:
        page: Address of the page server (`https://…`), or empty: then papers carry the record mark and no code.
        publish: Where published documents go: a folder (relative to the shop's) or the page server's address.
        device: Letter of this issuing device; part of every number, so that two devices never use one twice.
        number: Pattern of the invoice number, with {year}, {device} and {place}.
    """

    issuer: Issuer
    page: str = ""
    publish: str = PUBLISHED
    device: str = "A"
    number: str = NUMBER_PATTERN
    instruments: Mapping[str, Instrument] = attrs.field(factory=dict)


_TEXTS = ("name", "contact", "tax_id", "page", "publish", "device", "number", "guarantee", "pays_by")


def read_settings(folder: Path, *, demo: bool) -> Settings:
    """The shop's settings.

    Errors:
        DeskProblem: the file is missing, or everything that is wrong with it at once.
    """
    path = folder / SHOP_FILE
    if not path.is_file():
        cure = f"Set one up with `corekit init {folder}`, or name another folder with --shop."
        raise DeskProblem(f"{folder} is not a shop: there is no {SHOP_FILE} in it. {cure}")
    data = load_toml(path)
    known = (*_TEXTS, "address", "instruments")
    wrong = [f"{key}: unknown key; known are {', '.join(known)}" for key in data if key not in known]
    wrong += [f"{key}: must be text in quotes; got {data[key]!r}" for key in _TEXTS if key in data and not isinstance(data[key], str)]
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
    instruments = _instruments(data.get("instruments", {}), wrong)
    if wrong:
        raise DeskProblem(f"{path} cannot be used:\n" + "\n".join(f"  {fault}" for fault in wrong))
    issuer = Issuer(
        name=data["name"],
        address=tuple(address),
        contact=data.get("contact", ""),
        tax_id=data.get("tax_id", ""),
        guarantee=data.get("guarantee", ""),
        pays_by=data.get("pays_by", ""),
    )
    return Settings(
        issuer=issuer, page=page, publish=data.get("publish", PUBLISHED), device=data.get("device", "A"), number=number, instruments=instruments
    )


def read_prices(folder: Path) -> PriceBook:
    path = folder / PRICE_FILE
    if not path.is_file():
        raise DeskProblem(f"{folder} has no {PRICE_FILE}; `corekit init` writes one to fill in.")
    return read_price_book(load_toml(path), PRICE_FILE)


def _number_faults(pattern: str) -> list[str]:
    try:
        drawn = [pattern.format(year=2026, device="A", place=place) for place in (1, 2)]
    except (KeyError, ValueError, IndexError):
        return [f'number: may hold {{year}}, {{device}} and {{place}} only, e.g. "{{year}}-{{device}}{{place:04}}"; got {pattern!r}']
    return [] if drawn[0] != drawn[1] else [f"number: must hold {{place}}, or every invoice would have the same number; got {pattern!r}"]


def _instruments(raw: Any, wrong: list[str]) -> dict[str, Instrument]:
    found: dict[str, Instrument] = {}
    for name, sheet in raw.items() if isinstance(raw, dict) else ():
        unknown = sorted(set(sheet) - {"accuracy", "ranges", "calibrated"})
        wrong += [f"instruments.{name}.{key}: unknown key" for key in unknown]
        if not isinstance(sheet.get("accuracy"), str):
            wrong.append(f'instruments.{name}.accuracy: missing; write what the sheet says, e.g. "0.5 % + 2 digits"')
            continue
        found[name] = Instrument(name=name, accuracy=sheet["accuracy"], ranges=dict(sheet.get("ranges", {})), calibrated=str(sheet.get("calibrated", "")))
    return found
