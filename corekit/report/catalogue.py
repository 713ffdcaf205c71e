"""A catalogue: English texts with {names} for what is filled in, and the same in another language.

What {day} stands for is a day, {amount} an amount of money, {number} another number, {code} the number of a
paper or a currency, {own} a name or a path of somebody's own, {units} a few units; anything else is looked up
for itself. What no catalogue has stays as it is, and is named.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal, InvalidOperation
from functools import cached_property, lru_cache
from itertools import chain
from pathlib import Path

import attrs

from ..datafile import read_toml
from ..errors import InputError
from ..fault import DataFault, DataFileError
from ..languages import FOLDER, languages
from ..reference import data_path
from ..unit_table import Table, table
from .dates import MONTHS

_FIELD = re.compile(r"\{(\w+)\}")
_AMOUNT = r"[-−]?\d[\d ]*\.\d{2,3}"
_DAY = r"\d{1,2} (?:" + "|".join(MONTHS) + r") \d{4}"
_UNIT = r"[^\s,]{1,12}(?: (?:SAE|EN|IEC|DIN|CA|US|UK|gauge|absolute|diff))?"
_SHAPES = {
    "day": _DAY,
    "amount": _AMOUNT,
    "number": r"[-−]?\d+(?:\.\d+)?",
    "code": r"[A-Z]{3}|\S*\d\S*",
    "own": r"(?:(?![.:;!?] ).)*?",
    "units": rf"{_UNIT}(?:, {_UNIT})*(?: or {_UNIT})?",
}
#: What nobody looks up, whatever it is.
_LEFT_AS_IT_IS = ("code", "own")
#: One word that is a key, a path, the name of a file, a number with letters or a currency.
_KEY = re.compile(r"(?=\S*(?:[\d_/\[]|[^\W_]\.[^\W_]))\S*[^\W_]\S*|[A-Z]{3}")
#: What a text is taken apart at, in this order; of each the outermost parts first.
_BETWEEN = (
    re.compile(r"(?<=[.:!?])( )(?=[A-Z“0-9])"),
    re.compile(r"(; )"),
    re.compile(r"(, )"),
    re.compile(r"( )(?=\()"),
    re.compile(r"(: )"),
    re.compile(r"( · )"),
)
#: So many parts of one text are looked up.
_MOST_STEPS = 4000
#: What has more parts of one kind is a list of them.
_MANY = 3
#: A text with so few letters of its own fits much that it is not meant for.
_PLAIN = 5
#: So many places of one kind a text is taken apart at.
_MOST_PLACES = 40
_WORD = re.compile(r"[^\W\d_]")
_WORDS = re.compile(r"[^\W\d_]{3,}")
#: Units that a language has words of its own for.
_UNITS_IN_WORDS = frozenset({"rpm", "years", "d", "count", "1", "in", "ft", "gal US", "gal UK"})
#: Said of an uncertainty, in the symbols of every language.
_COVERAGE = "(k = 2)"
_NAMED = re.compile(r"(?<=\d) (?:rpm|years|d)\b")
#: An escaped full stop, which no digit follows.
_STOP = re.compile(r"\\\.(?!\d)")
_TROUBLE = re.compile(r"\b[PBCU][0-3][0-9A-F]{3}\b")
_MARK = re.compile(r"[0-9A-Z]{4}(?:-[0-9A-Z]{4})+")
_DECIMAL = re.compile(r"(?<![\d.])(?P<whole>\d+)\.(?=\d+(?![\d.]))")
_ENDS = (".", "?")
#: What a text is filled in with for English grammar alone: the ending of a word, a pronoun.
_GRAMMAR = frozenset({"s", "them"})


@attrs.frozen
class _Pattern:
    """A text with something to fill in, and the same in the language; it is matched with the first of what is
    filled in as short as can be, and again as long as can be.

    Attributes:
        weight: How much it says by itself.
        beside: Two of its names that no word is between, each with what is.
    """

    key: str
    text: str

    @cached_property
    def weight(self) -> int:
        return sum(map(len, _FIELD.split(self.key)[::2]))

    @cached_property
    def words(self) -> tuple[str, ...]:
        """What stands in it whatever is filled in; how it begins may be written small or large."""
        first, *rest = _FIELD.split(self.key)[::2]
        return tuple(filter(None, (part.strip() for part in (first[1:], *rest))))

    @cached_property
    def beside(self) -> tuple[tuple[str, str, str], ...]:
        parts = _FIELD.split(self.key)
        pairs = zip(parts[1::2], parts[3::2], parts[2::2], strict=False)
        return tuple(pair for pair in pairs if not pair[2].strip() and pair[0] != pair[1])

    @cached_property
    def _shortest(self) -> re.Pattern[str]:
        return _pattern(self.key, ".*?")

    @cached_property
    def _longest(self) -> re.Pattern[str]:
        return _pattern(self.key, ".*")

    def matches(self, text: str) -> Iterator[dict[str, str]]:
        """What stands for each name, in the ways that there are."""
        if any(words not in text for words in self.words):
            return
        first = self._shortest.fullmatch(text)
        if first is not None:
            yield first.groupdict("")
            other = self._longest.fullmatch(text)
            if other is not None and other.groups() != first.groups():
                yield other.groupdict("")
            yield from self._shared_out(first.groupdict(""))

    def _shared_out(self, filled: dict[str, str]) -> Iterator[dict[str, str]]:
        """What stands for two names that no word is between, shared out between them in every other way."""
        for one, other, between in self.beside:
            whole = f"{filled[one]}{between}{filled[other]}"
            for space in re.finditer(" ", whole):
                end = space.end() if between else space.start()
                yield {**filled, one: whole[: space.start()], other: whole[end:]}


@attrs.frozen
class Catalogue:
    """The texts of one language.

    Attributes:
        language: Its code by ISO 639, such as `de`.
        texts: English text → the same in the language.
    """

    language: str
    texts: Mapping[str, str]

    def with_more(self, others: Iterable[Catalogue]) -> Catalogue:
        """With the texts of others, where it has none of its own."""
        texts: dict[str, str] = {}
        for other in others:
            texts = {**other.texts, **texts}
        return Catalogue(self.language, {**texts, **self.texts})

    def said(self, text: str, missing: dict[str, None], known: Mapping[str, str]) -> str:
        """The text in the language; what has no translation stays, and is noted in `missing`.

        Args:
            known: Texts of the shop's or the customer's own, by their small letters, which nobody translates.
        """
        return Speaker(self, known).said(text, missing)

    @cached_property
    def patterns(self) -> Mapping[str, list[_Pattern]]:
        """The texts with something to fill in, by the longest word of each; "" has those without a word."""
        found: dict[str, list[_Pattern]] = {}
        for key, text in self.texts.items():
            if _FIELD.search(key):
                words = max(_WORDS.findall(_FIELD.sub("·", key)), key=len, default="")
                found.setdefault(words.casefold(), []).append(_Pattern(key, text))
        return found

    @cached_property
    def tails(self) -> frozenset[tuple[str, ...]]:
        """How texts begin that go on with a sentence: the mark and the first word."""
        begun = (key.split(" ")[:2] for key in self.texts if key[0] in ":,;")
        return frozenset(tuple(words) for words in begun)

    def patterns_for(self, text: str) -> list[_Pattern]:
        """Those that may fit a text, the one that says most by itself first."""
        words = dict.fromkeys(("", *_WORDS.findall(text.casefold())))
        return sorted(
            (one for word in words for one in self.patterns.get(word, ())), key=lambda one: -one.weight
        )


@attrs.define
class Speaker:
    """Says texts in a language, and remembers how.

    Attributes:
        known: Texts of the shop's or the customer's own, by their small letters, which nobody translates.
        keeps_keys: One word that is a key of a file or a path is none of a language, and stays.
    """

    catalogue: Catalogue
    known: Mapping[str, str]
    keeps_keys: bool = False
    _said: dict[str, tuple[str, dict[str, None]]] = attrs.field(factory=dict, init=False)
    _depth: int = attrs.field(default=0, init=False)
    _steps: int = attrs.field(default=0, init=False)

    def said(self, text: str, missing: dict[str, None]) -> str:
        """The text in the language; what has no translation stays, and is noted in `missing`."""
        core = text.strip()
        if not core:
            return text
        self._steps = self._steps - 1 if self._depth else _MOST_STEPS
        words, lacking = self._said.get(core) or self._looked_up(core)
        missing |= lacking
        start = text.index(core)
        return text[:start] + words + text[start + len(core) :]

    def _looked_up(self, text: str) -> tuple[str, dict[str, None]]:
        """What is found, kept; nothing is looked for without end."""
        if self._steps < 0:
            return text, {text: None}
        self._said[text] = (text, {text: None})  # what leads back to itself has no translation
        self._depth += 1
        found = self._found(text)
        self._depth -= 1
        if found[1] and self._steps < 0 and self._depth:
            del self._said[text]  # it was not looked for to its end
        else:
            self._said[text] = found
        return found

    def _found(self, text: str) -> tuple[str, dict[str, None]]:
        for said in self._at_once(text):
            if said is not None:
                return said, {}
        lacking: dict[str, None] = {text: None}
        for said, still in chain(
            self._headed(text),
            self._by_patterns(text),
            self._in_parts(text),
            self._by_patterns(text, plain=True),
        ):
            if not still:
                return said, {}
            lacking = still if len("".join(still)) < len("".join(lacking)) else lacking
        return text, lacking

    def _at_once(self, text: str) -> Iterator[str | None]:
        """What has one text by itself: as a whole, before a full stop, before or behind a number."""
        yield self._known(text)
        if text[-1] == "." and text[:-1].strip():
            said = self._known(text[:-1].rstrip())
            yield None if said is None else f"{said}."
        yield self._long_list(text)
        for at in _beside_numbers(text):
            first, second = self._known(text[:at].strip()), self._known(text[at:].strip())
            yield None if first is None or second is None else f"{first} {second}"

    def _long_list(self, text: str) -> str | None:
        """Many things or many sentences, where each of them can be said by itself."""
        for between in (_BETWEEN[0], _BETWEEN[1]):
            parts = between.split(text)[::2]
            if len(parts) <= _MANY:
                continue
            mark = " " if between is _BETWEEN[0] else "; "
            said, lacking = [], dict[str, None]()
            while parts and not lacking:
                whole, size = self._begun_by_one_text(parts, mark)
                if whole is None:
                    self._steps = _MOST_STEPS
                    whole = self.said(parts[0], lacking)
                said.append(whole)
                del parts[:size]
            if not lacking:
                return mark.join(said)
        return None

    def _begun_by_one_text(self, parts: Sequence[str], mark: str) -> tuple[str | None, int]:
        """What the first of them are together, where they are one text, and how many these are; the most."""
        for size in range(min(_MANY, len(parts)), 1, -1):
            whole = self._known(mark.join(parts[:size]))
            if whole is not None:
                return whole, size
        return None, 1

    def _known(self, text: str) -> str | None:
        """What has one text by itself, or is no text: a number, a day, a mark."""
        texts = self.catalogue.texts
        if text in texts:
            return texts[text]
        if text.casefold() in self.known:
            own = self.known[text.casefold()]
            return f"{own[0].upper()}{own[1:]}" if text[0].isupper() else own
        flipped = f"{text[0].swapcase()}{text[1:]}"
        if flipped in texts and len(text) > 1:  # a letter alone is a symbol: h is no H
            said = texts[flipped]
            return f"{said[:1].upper()}{said[1:]}" if text[0].isupper() else said
        if text in _unit_names(table()):
            return text
        for end in _ENDS:
            for whole in (text + end, flipped + end):
                if whole in texts and texts[whole].endswith(end):
                    return texts[whole].removesuffix(end)
        if not _WORD.search(_bare(text)) or _MARK.fullmatch(text):
            return self._shaped(text) or _in_letters(text, self.catalogue.language)
        if self.keeps_keys and _KEY.fullmatch(text):
            return text
        return self._shaped(text)

    def _by_patterns(self, text: str, *, plain: bool = False) -> Iterator[tuple[str, dict[str, None]]]:
        """The text by each pattern that fits it, with what of it lacks a translation.

        Args:
            plain: By those alone that say next to nothing themselves, such as `{text1} to {text2}`.
        """
        for pattern in self.catalogue.patterns_for(text):
            if (pattern.weight <= _PLAIN) is not plain:
                continue
            for filled in pattern.matches(text):
                lacking: dict[str, None] = {}
                parts = {
                    name: part if name.startswith(_LEFT_AS_IT_IS) else self.said(part, lacking)
                    for name, part in filled.items()
                    if name not in _GRAMMAR
                }
                said = pattern.text.format_map(parts).strip()
                large = text[0].isupper() and said[:1].islower()
                yield f"{said[0].upper()}{said[1:]}" if large else said, lacking

    def _headed(self, text: str) -> Iterator[tuple[str, dict[str, None]]]:
        """What stands behind a heading that is a text of its own, unless a pattern has both."""
        head, colon, tail = text.partition(": ")
        if not colon or not tail.strip() or head not in self.catalogue.texts:
            return
        if not any(pattern.key.startswith(f"{head}:") for pattern in self.catalogue.patterns_for(text)):
            lacking: dict[str, None] = {}
            yield f"{self.catalogue.texts[head]}: {self.said(tail, lacking)}", lacking

    def _in_parts(self, text: str) -> Iterator[tuple[str, dict[str, None]]]:
        """The text in two parts, between which the language says the same."""
        if text[0] == "(" and text[-1] == ")" and ")" not in text[1:-1]:
            lacking: dict[str, None] = {}
            yield f"({self.said(text[1:-1], lacking)})", lacking
        if text[-1] == "." and text[:-1].strip():
            lacking = {}
            yield f"{self.said(text[:-1], lacking)}.", lacking
        for between in _BETWEEN:
            for place in list(between.finditer(text))[:_MOST_PLACES]:
                yield from self._halves(text, place.start(), place.end())
        for at in _beside_numbers(text):
            yield from self._halves(text, at, at + 1)

    def _halves(self, text: str, end: int, start: int) -> Iterator[tuple[str, dict[str, None]]]:
        head, tail = text[:end], text[start:]
        if not head.strip() or not tail.strip():
            return
        lacking: dict[str, None] = {}
        first = self.said(head, lacking)
        if (
            text[end] in ":,;"
            and (whole := text[end:].split(" ")[:2])
            and tuple(whole) in self.catalogue.tails
        ):
            still = dict(lacking)
            yield f"{first}{self.said(text[end:], still)}", still
        yield f"{first}{text[end:start]}{self.said(tail, lacking)}", lacking

    def _shaped(self, text: str) -> str | None:
        """A day, or an amount, as it is written in the language; None for anything else."""
        if re.fullmatch(_DAY, text):
            return self._day(text)
        if re.fullmatch(_AMOUNT, text):
            return self._number(text)
        return None

    def _day(self, text: str) -> str:
        from babel.dates import format_date

        day, month, year = text.split()
        on = date(int(year), MONTHS.index(month) + 1, int(day))
        return str(format_date(on, format="medium", locale=self.catalogue.language))

    def _number(self, text: str) -> str:
        from babel.numbers import format_decimal

        bare = text.replace(" ", "").replace("−", "-")
        try:
            number = Decimal(bare)
        except InvalidOperation:
            return text
        places = len(bare.partition(".")[2])
        pattern = f"#,##0.{'0' * places}" if places else "#,##0"
        said = str(format_decimal(number, format=pattern, locale=self.catalogue.language))
        return said.replace("-", "−") if "−" in text else said


def _in_letters(text: str, language: str) -> str:
    """Decimals in a text without words, with the mark that the language has."""
    from babel.numbers import get_decimal_symbol

    mark = str(get_decimal_symbol(language))
    return text if mark == "." else _DECIMAL.sub(rf"\g<whole>{mark}", text)


@lru_cache(maxsize=4)
def _unit_names(units: Table) -> frozenset[str]:
    """Units that are written alike in every language."""
    names = {name for one in units.units for name in (one.text, one.bare)}
    return frozenset(names - _UNITS_IN_WORDS | {"l", "ml"})


@lru_cache(maxsize=4)
def _units(units: Table) -> re.Pattern[str]:
    """A unit behind a number."""
    names = _unit_names(units)
    longest_first = sorted(map(re.escape, names), key=lambda name: (-len(name), name))
    return re.compile(rf"(?<=\d)[ \u00a0]?(?:{'|'.join(longest_first)})(?![^\W_])")


def _bare(text: str) -> str:
    """The text without units after numbers and without trouble codes: what letters are left are words."""
    return _units(table()).sub("", _TROUBLE.sub("", text.replace(_COVERAGE, "")))


def _beside_numbers(text: str) -> Iterator[int]:
    """Where what stands before or behind is a number with its unit, and the rest words."""
    spaces = [place.start() for place in re.finditer(" ", text)]
    yield from (place for place in spaces[:4] if not _WORD.search(_bare(_NAMED.sub("", text[:place]))))
    yield from (place for place in spaces[-4:] if not _WORD.search(_bare(_NAMED.sub("", text[place:]))))


def _literal(part: str, *, begins: bool) -> str:
    """A part as it stands; no full stop within a number is taken for the end of a sentence."""
    escaped = _STOP.sub(lambda stop: f"{stop[0]}(?!\\d)", re.escape(part))
    if begins and part[:1].isalpha():
        return f"[{part[0].upper()}{part[0].lower()}]{escaped[1:]}"
    return escaped


def _pattern(key: str, anything: str) -> re.Pattern[str]:
    """What stands for a name at either end may be nothing, and the space beside it gone with it."""
    parts = _FIELD.split(key)
    found: list[str] = []
    for n, part in enumerate(parts):
        if n % 2 == 0:
            found.append(_literal(part, begins=n == 0))
        else:
            found.append(f"(?P={part})" if part in parts[1:n:2] else _group(part, anything))
    if len(parts) > 3 or parts[0] or parts[-1]:
        if not parts[0] and parts[2][:1] == " ":
            found[1:3] = [f"(?:{found[1]} )?", _literal(parts[2][1:], begins=False)]
        if not parts[-1] and parts[-3][-1:] == " ":
            found[-3:] = [found[-3].removesuffix(r"\ "), f"(?: {found[-2]})?"]
    return re.compile("".join(found), re.DOTALL)


def _group(name: str, anything: str) -> str:
    shape = _SHAPES.get(name.rstrip("0123456789"), anything)
    return f"(?P<{name}>{shape})"


def catalogue(language: str, folders: Iterable[Path] = ()) -> Catalogue:
    """The texts of a language: the core's, from templates/language, and those of systems.

    Args:
        folders: Of the systems; each may have a file language/<code>.toml.

    Raises:
        InputError: there is no such language.
        DataFileError: a file asks for something that is not filled in, or says nothing.
    """
    if language not in languages():
        raise InputError(f"There is no language {language!r}; there is: {', '.join(languages())}.")
    return _together(language, tuple(folders))


@lru_cache(maxsize=8)
def _together(language: str, folders: tuple[Path, ...]) -> Catalogue:
    own = data_path(FOLDER) / f"{language}.toml"
    shared = data_path(FOLDER) / "shared" / f"{language}.toml"
    files = [shared, *(folder / "language" / f"{language}.toml" for folder in folders)]
    return read_catalogue(own).with_more(read_catalogue(file) for file in files if file.is_file())


def read_catalogue(path: Path) -> Catalogue:
    """A catalogue, checked; see `catalogue`."""
    data = read_toml(path)
    texts = data.get("texts", {})
    faults = []
    for key, text in texts.items():
        if not isinstance(text, str) or not text.strip():
            faults.append(DataFault(f"texts.{key!r}", "the text in the language", "is empty"))
        elif set(_FIELD.findall(key)) - _GRAMMAR != set(_FIELD.findall(text)) - _GRAMMAR:
            asked = ", ".join(f"{{{name}}}" for name in _FIELD.findall(key)) or "nothing to fill in"
            faults.append(DataFault(f"texts.{key!r}", asked, f"{text!r} fills in something else"))
    if faults:
        raise DataFileError(faults, str(path))
    return Catalogue(path.stem, texts)
