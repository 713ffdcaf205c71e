"""What a shop says of itself, changed in its two files in place: comments, order and everything else stay."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import attrs

from ..billing.price_file import read_price_book
from ..errors import InputError
from ..fault import DataFault, DataFileError
from ..files import write_over
from ..languages import ENGLISH, screen_languages
from ..model.account_number import read_iban
from .errors import DeskError, VisitError
from .settings import PRICE_FILE, SHOP_FILE

#: What the shop may charge no tax for, as the price book's default says it.
_RATE = "standard"


@attrs.frozen(kw_only=True)
class ShopAnswers:
    """What a shop says of itself, as it is typed, in the order in which it is asked; empty leaves what
    stands.
    """

    name: str = ""
    address: str = ""
    contact: str = ""
    tax_id: str = ""
    tax_rate: str = ""
    per_hour: str = ""
    call_out: str = ""
    diagnosis: str = ""
    pays_by: str = ""
    iban: str = ""
    screen_language: str = ""


def answers_of(folder: Path) -> ShopAnswers:
    """What the two files of a shop say now, as it would be typed.

    Raises:
        DeskError: one of them cannot be read.
    """
    shop, prices = _read(folder / SHOP_FILE), _read(folder / PRICE_FILE)
    tax = prices.get("tax", {})
    rate = str(tax.get("rates", {}).get(tax.get("default", ""), ""))
    return ShopAnswers(
        name=str(shop.get("name", "")),
        address="\n".join(map(str, shop.get("address", []))),
        contact=str(shop.get("contact", "")),
        tax_id=str(shop.get("tax_id", "")),
        tax_rate=rate,
        per_hour=str(prices.get("labour", {}).get("per_hour", "")),
        call_out=str(prices.get("call_out", "")),
        diagnosis=str(prices.get("diagnosis", {}).get("price", "")),
        pays_by=str(shop.get("pays_by", "")),
        iban=str(shop.get("iban", "")),
        screen_language=str(shop.get("screen_language", ENGLISH)),
    )


def change(folder: Path, answers: ShopAnswers) -> list[Path]:
    """Write what was said into the two files; gives those that changed.

    Raises:
        VisitError: an answer cannot be used, each with the name of its field.
        DeskError: a file is written in a way that cannot be changed from here; nothing was changed.
    """
    shop, prices = _read(folder / SHOP_FILE), _read(folder / PRICE_FILE)
    _refuse_wrong(answers)
    said = {
        "name": answers.name.strip(),
        "address": [line.strip() for line in re.split(r"[\n;]", answers.address) if line.strip()],
        "contact": answers.contact.strip(),
        "tax_id": answers.tax_id.strip(),
        "pays_by": " ".join(answers.pays_by.split()),
        "iban": read_iban(answers.iban) if answers.iban.strip() else "",
        "screen_language": _new_language(shop, answers),
    }
    new_shop = {key: value for key, value in said.items() if value and shop.get(key) != value}
    new_prices = _new_prices(prices, answers)
    texts = {
        folder / SHOP_FILE: _with_values(folder / SHOP_FILE, new_shop),
        folder / PRICE_FILE: _with_values(folder / PRICE_FILE, new_prices),
    }
    try:
        read_price_book(tomllib.loads(texts[folder / PRICE_FILE]), PRICE_FILE)
    except DataFileError as error:
        raise VisitError(
            [attrs.evolve(one, path=_FIELDS.get(one.path, "")) for one in error.faults]
        ) from error
    changed = [path for path, text in texts.items() if text != path.read_text("utf-8")]
    for path in changed:
        write_over(path, texts[path].encode("utf-8"))
    return changed


#: Place in the price book → the field that it is typed into.
_FIELDS = {
    f"tax.rates.{_RATE}": "tax_rate",
    "labour.per_hour": "per_hour",
    "call_out": "call_out",
    "diagnosis.price": "diagnosis",
}


def _new_prices(prices: Mapping[str, Any], answers: ShopAnswers) -> dict[str, Any]:
    new: dict[str, Any] = {}
    if rate := _number(answers.tax_rate):
        tax = dict(prices.get("tax", {}))
        if "none" in tax or "reverse_charge" in tax:
            tax = {}
        default = tax.get("default", _RATE)
        tax["rates"] = {**tax.get("rates", {}), default: rate}
        new["tax"] = {**tax, "default": default}
    if hour := _number(answers.per_hour):
        new["labour"] = {**prices.get("labour", {}), "per_hour": hour}
    if call_out := _number(answers.call_out):
        new["call_out"] = call_out
    if diagnosis := _number(answers.diagnosis):
        new["diagnosis"] = {**prices.get("diagnosis", {}), "price": diagnosis}
    return {key: value for key, value in new.items() if prices.get(key) != value}


def _new_language(shop: Mapping[str, Any], answers: ShopAnswers) -> str:
    """The language of the screens, where it is another than it was; English needs no row."""
    return "" if answers.screen_language == shop.get("screen_language", ENGLISH) else answers.screen_language


def _number(text: str) -> str:
    return text.strip().removesuffix("%").strip().replace(",", ".")


def _refuse_wrong(answers: ShopAnswers) -> None:
    faults = []
    for field, what, most in (
        ("tax_rate", "A tax rate is a number of percent, such as 20.", 100),
        ("per_hour", "The price of an hour is an amount, such as 62.50.", 100_000),
        ("call_out", "The price of coming is an amount, such as 25.00.", 100_000),
        ("diagnosis", "The price of a diagnosis is an amount, such as 35.00.", 100_000),
    ):
        text = _number(getattr(answers, field))
        try:
            right = not text or 0 <= Decimal(text) <= most
        except ArithmeticError:
            right = False
        if not right:
            faults.append(DataFault(field, "", what))
    if answers.screen_language and answers.screen_language not in screen_languages():
        faults.append(DataFault("screen_language", "", "The screens cannot be in that language."))
    try:
        _ = read_iban(answers.iban) if answers.iban.strip() else ""
    except InputError as error:
        faults.append(DataFault("iban", "", str(error)))
    if faults:
        raise VisitError(faults)


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise DeskError(f"{path.name} cannot be read as it is; nothing was changed: {error}") from error


def _with_values(path: Path, values: Mapping[str, Any]) -> str:
    """The file with these values in the place of what stood there; its end of the line stays.

    Raises:
        DeskError: that would change anything else in it.
    """
    text = path.read_text("utf-8")
    before = tomllib.loads(text)
    for key, value in values.items():
        head = re.compile(
            rf"^(?P<key>{key}[ \t]*=[ \t]*)(?P<value>.*?)(?P<rest>[ \t]*(?:#[^\"'\n]*)?)$", re.M
        )
        line = _inline(value)
        found = head.search(text)
        text = (
            f"{text[: found.start('value')]}{line}{text[found.end('value') :]}"
            if found is not None
            else f"{key} = {line}\n{text}"
        )
    try:
        after = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        after = {}
    if after != {**before, **values}:
        raise DeskError(
            f"{path.name} is written in a way that cannot be changed from here; nothing was changed. Change"
            " it with any text editor."
        )
    return text


def _inline(value: Any) -> str:
    """A value as it is written on one line of a TOML file."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(name)} = {_inline(one)}" for name, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    if isinstance(value, bool | int):
        return str(value).lower()
    plain = "".join(char if char.isprintable() else " " for char in str(value))
    return '"' + plain.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _inline(name)
