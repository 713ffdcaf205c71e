"""Papers in another language: a Document that was built in English, with every text of ours in the language
of the customer, and its days and amounts as people there write them (Unicode CLDR, by babel).

A catalogue is data: an English text with {names} for what is filled in, and the same in the language. What
{day} stands for is a day, {amount} an amount of money, {number} another number, {code} the number of a paper
or a currency; anything else is looked up for itself. What no catalogue has stays as it is, and is named.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from datetime import date
from decimal import Decimal, InvalidOperation
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import attrs

from ..datafile import read_toml
from ..errors import InputError
from ..fault import DataFault, DataFileError
from ..languages import ENGLISH, FOLDER, languages
from ..model.document import Document
from ..model.figure import Figure, Strip
from ..model.personal import Personal
from ..reference import data_path
from .dates import MONTHS

#: Fields that hold no text of ours: keys, hashes, numbers of documents, how something is drawn.
_NO_TEXT = frozenset(
    {
        *("id", "kind", "number", "language", "mark", "rests_on", "carried", "carried_mark", "carried_key"),
        *("transfer", "record_mark", "document_id", "currency", "prices", "tone", "shop", "state_key"),
    }
)
_FIELD = re.compile(r"\{(\w+)\}")
_AMOUNT = r"[-−]?\d[\d ]*\.\d{2,3}"
_DAY = r"\d{1,2} (?:" + "|".join(MONTHS) + r") \d{4}"
_SHAPES = {
    "day": _DAY,
    "amount": _AMOUNT,
    "number": r"[-−]?\d+(?:\.\d+)?",
    "code": r"[A-Z]{3}|\S*\d\S*",
}
#: What a text is taken apart at, in this order.
_BETWEEN = (
    re.compile(r"( · )"),
    re.compile(r"(?<=[.:])( )(?=[A-Z])"),
    re.compile(r"(; )"),
    re.compile(r"(, )"),
)
_WORD = re.compile(r"[^\W\d_]")
_UNITS = re.compile(r"(?<=\d)[ \u00a0]?(?:km|mi|h|min|l|L|ml|mL|kg|g|m|mm|%)\b")
_MARK = re.compile(r"[0-9A-Z]{4}(?:-[0-9A-Z]{4})+")
_PLAIN_NUMBER = re.compile(r"(?P<number>[-−]?\d+\.\d+)(?P<unit> ?\D{0,12})")


@attrs.frozen
class _Pattern:
    """A text with something to fill in, and the same in the language."""

    matches: re.Pattern[str]
    text: str
    weight: int


@attrs.frozen
class Catalogue:
    """The texts of one language.

    Attributes:
        language: Its code by ISO 639, such as `de`.
        texts: English text → the same in the language.
    """

    language: str
    texts: Mapping[str, str]

    @cached_property
    def _patterns(self) -> list[_Pattern]:
        found = [
            _Pattern(_pattern(key), text, len(_FIELD.sub("", key)))
            for key, text in self.texts.items()
            if _FIELD.search(key)
        ]
        return sorted(found, key=lambda one: -one.weight)

    def said(self, text: str, missing: dict[str, None], known: Mapping[str, str]) -> str:
        """The text in the language; what has no translation stays, and is noted in `missing`.

        Args:
            known: Texts of the shop's or the customer's own, by their small letters, which nobody translates.
        """
        core = text.strip()
        if not core:
            return text
        start = text.index(core)
        return text[:start] + self._core(core, missing, known) + text[start + len(core) :]

    def _core(self, text: str, missing: dict[str, None], known: Mapping[str, str]) -> str:
        if text in self.texts:
            return self.texts[text]
        if text.casefold() in known:
            return known[text.casefold()]
        if not _WORD.search(_UNITS.sub("", text)) or _MARK.fullmatch(text):
            return self._shaped(text) or text
        if (shaped := self._shaped(text)) is not None:
            return shaped
        lacking: dict[str, None] = {text: None}
        for found in (*self._by_patterns(text, known), *self._in_parts(text, known)):
            said, still = found
            if not still:
                return said
            lacking = still if len("".join(still)) < len("".join(lacking)) else lacking
        missing |= lacking
        return text

    def _by_patterns(self, text: str, known: Mapping[str, str]) -> Iterator[tuple[str, dict[str, None]]]:
        """The text by each pattern that fits it, with what of it lacks a translation."""
        for pattern in self._patterns:
            match = pattern.matches.fullmatch(text)
            if match is not None:
                lacking: dict[str, None] = {}
                parts = {
                    name: part if name.startswith("code") else self.said(part, lacking, known)
                    for name, part in match.groupdict().items()
                }
                yield pattern.text.format_map(parts), lacking

    def _in_parts(self, text: str, known: Mapping[str, str]) -> Iterator[tuple[str, dict[str, None]]]:
        """The text sentence by sentence, and as a list of several things."""
        for between in _BETWEEN:
            parts = between.split(text)
            if len(parts) > 1:
                lacking: dict[str, None] = {}
                said = [
                    part if between.fullmatch(part) else self.said(part, lacking, known) for part in parts
                ]
                yield "".join(said), lacking

    def _shaped(self, text: str) -> str | None:
        """A day, an amount or a number as it is written in the language; None for anything else."""
        if re.fullmatch(_DAY, text):
            return self._day(text)
        if re.fullmatch(_AMOUNT, text):
            return self._number(text)
        plain = _PLAIN_NUMBER.fullmatch(text)
        if plain is not None:
            return f"{self._number(plain['number'])}{plain['unit']}"
        return None

    def _day(self, text: str) -> str:
        from babel.dates import format_date

        day, month, year = text.split()
        on = date(int(year), MONTHS.index(month) + 1, int(day))
        return str(format_date(on, format="medium", locale=self.language))

    def _number(self, text: str) -> str:
        from babel.numbers import format_decimal

        bare = text.replace(" ", "").replace("−", "-")
        try:
            number = Decimal(bare)
        except InvalidOperation:
            return text
        places = len(bare.partition(".")[2])
        pattern = f"#,##0.{'0' * places}" if places else "#,##0"
        return str(format_decimal(number, format=pattern, locale=self.language))


def _pattern(key: str) -> re.Pattern[str]:
    parts = _FIELD.split(key)
    literal = [re.escape(part) if n % 2 == 0 else _group(part) for n, part in enumerate(parts)]
    return re.compile("".join(literal), re.DOTALL)


def _group(name: str) -> str:
    shape = _SHAPES.get(name.rstrip("0123456789"), ".+?")
    return f"(?P<{name}>{shape})"


@lru_cache(maxsize=8)
def catalogue(language: str) -> Catalogue:
    """The texts of a language, from templates/language.

    Raises:
        InputError: there is no such language.
        DataFileError: the file asks for something that is not filled in, or says nothing.
    """
    if language not in languages():
        raise InputError(f"There is no language {language!r}; there is: {', '.join(languages())}.")
    return read_catalogue(data_path(FOLDER) / f"{language}.toml")


def read_catalogue(path: Path) -> Catalogue:
    """A catalogue, checked; see `catalogue`."""
    data = read_toml(path)
    texts = data.get("texts", {})
    faults = []
    for key, text in texts.items():
        if not isinstance(text, str) or not text.strip():
            faults.append(DataFault(f"texts.{key!r}", "the text in the language", "is empty"))
        elif set(_FIELD.findall(key)) != set(_FIELD.findall(text)):
            asked = ", ".join(f"{{{name}}}" for name in _FIELD.findall(key)) or "nothing to fill in"
            faults.append(DataFault(f"texts.{key!r}", asked, f"{text!r} fills in something else"))
    if faults:
        raise DataFileError(faults, str(path))
    return Catalogue(path.stem, texts)


@attrs.frozen(kw_only=True)
class Translated:
    """A Document in another language, and the texts that stayed in English."""

    document: Document
    missing: tuple[str, ...]


def in_language(document: Document, language: str, known: Collection[str] = ()) -> Translated:
    """The Document with its texts in a language.

    Args:
        known: Texts of the shop's or the customer's own.

    Raises:
        InputError: there is no such language.
    """
    if language == ENGLISH:
        return Translated(document=document, missing=())
    texts, missing = catalogue(language), dict[str, None]()
    own = {
        text.casefold(): text for text in (document.shop, document.number, document.currency, *known) if text
    }
    spoken = attrs.evolve(_mapped(document, texts, missing, own), language=language)
    return Translated(document=spoken, missing=tuple(missing))


def _mapped(item: Any, texts: Catalogue, missing: dict[str, None], known: Mapping[str, str]) -> Any:
    if isinstance(item, str):
        return texts.said(item, missing, known)
    if isinstance(item, tuple):
        return tuple(_mapped(one, texts, missing, known) for one in item)
    if isinstance(item, (Figure, Strip, Personal)) or not attrs.has(type(item)):
        return item
    changed = dict(_changed_fields(item, texts, missing, known))
    return attrs.evolve(item, **changed) if changed else item


def _changed_fields(
    item: Any, texts: Catalogue, missing: dict[str, None], known: Mapping[str, str]
) -> Iterator[tuple[str, Any]]:
    for field in attrs.fields(type(item)):
        value = getattr(item, field.name)
        if field.name in _NO_TEXT or not isinstance(value, (str, tuple)) or isinstance(value, bool):
            continue
        changed = _mapped(value, texts, missing, known)
        if changed != value:
            yield field.name, changed
