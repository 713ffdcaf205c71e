"""Screens in another language: HTML that was made in English, with every text of ours in the language of who
works with it, text by text and label by label.

What people typed is theirs and stays: whatever an element with `translate="no"` or a language of its own
(`lang`, as a paper has) holds, what stands in a field, and every text that is named as somebody's own. What a
form sends back is never touched, so it does not change with the language.
"""

from __future__ import annotations

import html
import json
import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from datetime import date
from functools import lru_cache, partial
from pathlib import Path

import attrs

from ..datafile import read_toml
from ..errors import InputError
from ..languages import ENGLISH, SCREENS, screen_languages
from ..reference import data_path
from .catalogue import Catalogue, Speaker, catalogue, read_catalogue

#: Attributes that somebody reads or hears.
_SPOKEN = frozenset(
    {"aria-label", "placeholder", "title", "alt", "data-title", "data-computed", "data-other", "data-unable"}
)
#: Elements whose text is none of ours, or no text.
_LEFT = frozenset({"script", "style", "textarea", "code", "pre"})
_TOKEN = re.compile(
    r"(?P<note><!--.*?-->|<![^>]*>)|<(?P<tag>/?[a-zA-Z][\w-]*)(?P<rest>(?:\"[^\"]*\"|'[^']*'|[^>\"'])*)>"
    r"|(?P<text>[^<]+)|(?P<stray><)",
    re.DOTALL,
)
_ATTRIBUTE = re.compile(r"(?P<name>[\w|:-]+)=\"(?P<value>[^\"]*)\"")
_LANG = re.compile(r"(?<![\w-])lang=\"[^\"]*\"")
_BEFORE_UNIT = re.compile(r"(?<=[0-9]) (?=[^\W\d]{1,3}\b|[°%Ω±])")
_LETTER = re.compile(r"[^\W\d_]")
#: A text with a word, a decimal or a day in it.
_SAID = re.compile(r"[^\W\d_]|\d[.-]\d")
_DAY = re.compile(r"(?<![\w-])\d{4}-\d{2}-\d{2}(?![\w-])")
#: What a label may end with.
_HANGING = ",:"
#: A number of a paper, a plate: a text without words.
_CODE = re.compile(r"(?=\S*[A-Z])(?=\S*\d)[A-Z0-9/-]+")
#: Stands for somebody's own words while a text is looked up; it has no letters, so nobody translates it, and
#: signs that cannot be printed, so nobody types it.
_OWN = "\ue000{}\ue001"
_OWN_AGAIN = re.compile("\ue000(\\d+)\ue001")
_DECIMAL = re.compile(r"\d[.,]\d")
#: As errors say back what they were given.
_QUOTED = re.compile(r"\"[^\"]*\"|(?<!\w)'[^']*'(?!\w)")
#: A line of what is wrong with a file: where, and what.
_LINE = re.compile(r"(?P<where>[\w.\[\]\"-]+(?: \([^)]*\))?: )(?P<what>.+)")
#: What finds something that is left out, and how it is said by itself; None where it is not left out.
Finding = tuple[re.Pattern[str], Callable[[str], str | None]]
#: What has more parts is a list of things.
_LIST = 6
#: So many texts are remembered; a day's screens have fewer.
_REMEMBERED = 20_000


@attrs.define
class Tongue:
    """Says texts of screens in one language, and remembers how. Safe to use from several threads.

    Attributes:
        missing: What has no translation and was said in English, in the order in which it came.
    """

    language: str
    _speaker: Speaker
    missing: dict[str, None] = attrs.field(factory=dict, init=False)
    _said: OrderedDict[str, str | None] = attrs.field(factory=OrderedDict, init=False)
    _lock: threading.Lock = attrs.field(factory=threading.Lock, init=False)

    def said(self, text: str, own: Own | None = None) -> str:
        """A text in the language; as it is where it has no translation."""
        core = " ".join(text.replace("\xa0", " ").split())
        if not core or _CODE.fullmatch(core) or (own is not None and own.is_whole(core)):
            return text
        said = next((one for one in self._ways(core, own) if one is not None), None)
        if said is None and core[-1] in _HANGING:
            bare = next((one for one in self._ways(core[:-1], own) if one is not None), None)
            said = f"{bare}{core[-1]}" if bare is not None else None
        if said is None and "\n" in text.strip():
            said = self._line_by_line(text.strip(), own)
        if said is None:
            self.missing[core] = None
            return text
        if "\xa0" in text:
            said = _BEFORE_UNIT.sub("\xa0", said)
        start, end = len(text) - len(text.lstrip()), len(text.rstrip())
        return f"{text[:start]}{said}{text[end:]}"

    def _ways(self, text: str, own: Own | None) -> Iterator[str | None]:
        """The text without what is quoted and what somebody typed; without what the shop calls things by as
        well; without what is quoted alone, and of that only what was typed; and as it stands, for a common
        word may have been typed too.
        """

        def typed(part: str) -> str | None:
            return part if own is not None and own.has_typed(part[1:-1]) else None

        def quoted(part: str) -> str:
            """An answer that is quoted is said; what was typed stays, and a number as it can be typed."""
            kept = typed(part) or (part if _DECIMAL.search(part) else None)
            return kept or self._remembered(part) or part

        for pattern in own.patterns if own is not None else ():
            yield self._without(text, (_QUOTED, quoted), (pattern, str))
        if _QUOTED.search(text):
            yield self._without(text, (_QUOTED, quoted))
            yield self._without(text, (_QUOTED, typed))
        yield self._remembered(text)

    def _line_by_line(self, text: str, own: Own | None) -> str | None:
        """All that is wrong with a file, each on a line of its own; none where a line has no translation."""
        said = []
        for line in text.splitlines():
            core = " ".join(line.split())
            fault = _LINE.fullmatch(core)
            where, what = (fault["where"], fault["what"]) if fault is not None else ("", core)
            one = next((way for way in self._ways(what, own) if way is not None), None) if what else ""
            if one is None:
                return None
            said.append(f"{line[: len(line) - len(line.lstrip())]}{where}{one}")
        return "\n".join(said)

    def _without(self, text: str, *left_out: Finding) -> str | None:
        """The text by way of one in which what is found is left out; none where nothing is."""
        parts: list[str] = []

        def found(one: re.Match[str], said: Callable[[str], str | None]) -> str:
            part = said(one[0])
            if part is None:
                return one[0]
            parts.append(part)
            return _OWN.format(len(parts) - 1)

        for pattern, part_said in left_out:
            text = pattern.sub(partial(found, said=part_said), text)
        said = self._remembered(text) if parts else None
        return said and _OWN_AGAIN.sub(partial(_part_of, parts), said)

    @property
    def speaks(self) -> Collection[str]:
        """The English of all that it has a translation of, with {names}."""
        return self._speaker.catalogue.texts.keys()

    def has(self, text: str) -> bool:
        """It has a translation, which may be the same; a text with {names} stands so in a catalogue."""
        core = " ".join(text.split())
        texts = self._speaker.catalogue.texts
        return core in texts or ("{" not in core and self._remembered(core) is not None)

    def _looked_up(self, text: str) -> str | None:
        """The text by the catalogue; of a long list each thing by itself, for a search over all of it would
        take seconds where one of them is missing.
        """
        lacking: dict[str, None] = {}
        things = text.split("; ")
        if len(things) <= _LIST:
            said = self._speaker.said(text, lacking)
            return None if lacking else said
        spoken = []
        for thing in things:
            spoken.append(self._speaker.said(thing, lacking))
            if lacking:
                return None
        return "; ".join(spoken)

    def _remembered(self, text: str) -> str | None:
        with self._lock:
            if text in self._said:
                self._said.move_to_end(text)
                return self._said[text]
            said = self._looked_up(text)
            self._said[text] = None if said is None else _with_days(said, self.language)
            while len(self._said) > _REMEMBERED:
                self._said.popitem(last=False)
            return self._said[text]


def _with_days(text: str, language: str) -> str:
    """Days that stand in it as they are kept, as people write them; no part of a number is taken for one."""

    def written(found: re.Match[str]) -> str:
        from babel.dates import format_date

        try:
            return str(format_date(date.fromisoformat(found[0]), format="medium", locale=language))
        except ValueError:
            return found[0]

    return _DAY.sub(written, text)


def _part_of(parts: Sequence[str], found: re.Match[str]) -> str:
    return parts[int(found[1])] if int(found[1]) < len(parts) else found[0]


@attrs.frozen
class Own:
    """Texts that are somebody's own.

    Attributes:
        whole: Those that stay wherever they are the whole of a text.
        patterns: What finds them within others, the longest first.
    """

    whole: frozenset[str]
    patterns: tuple[re.Pattern[str], ...]

    def is_whole(self, text: str) -> bool:
        return text in self.whole

    def has_typed(self, text: str) -> bool:
        """Somebody typed it, or what it is part of."""
        begun = text.removesuffix("…")
        return any(begun in one for one in self.whole)


def own_words(typed: Iterable[str], names: Iterable[str] = (), called: Iterable[str] = ()) -> Own:
    """What people typed, names, and what the shop calls things by, which may be words of everybody.

    A text may begin large where it was typed small, and the other way round.
    """
    personal, shops, others = (
        {form for text in texts for form in _forms(" ".join(text.split()))}
        for texts in (typed, names, called)
    )
    patterns = (_finding(personal | shops), _finding(personal | shops | others) if others else None)
    return Own(frozenset(personal), tuple(one for one in patterns if one is not None))


def _forms(text: str) -> tuple[str, ...]:
    bare = text.rstrip(".")
    return (text, bare, *(f"{one[:1].swapcase()}{one[1:]}" for one in (text, bare)))


def _finding(texts: Iterable[str]) -> re.Pattern[str] | None:
    words = sorted((text for text in texts if _LETTER.search(text)), key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, words))})(?!\w)") if words else None


def in_tongue(page: str, tongue: Tongue, own: Own | None = None) -> str:
    """A page, or a piece of one, in the language.

    Args:
        own: Texts that are somebody's own, wherever they stand.
    """
    return "".join(_pieces(page, tongue, own))


def _pieces(page: str, tongue: Tongue, own: Own | None) -> Iterator[str]:
    left, depth = "", 0  # within this element nothing is ours
    for token in _TOKEN.finditer(page):
        tag, text = token["tag"], token["text"]
        if tag is not None:
            name, rest = tag.lower(), token["rest"]
            if left:
                depth += (name == left and not rest.endswith("/")) - (name == f"/{left}")
                left = left if depth else ""
                yield token[0]
                continue
            if name == "html":
                yield _LANG.sub(f'lang="{tongue.language}"', token[0])
                continue
            if name[0] != "/" and _is_left(name, rest) and not rest.endswith("/"):
                if name not in _VOID:
                    left, depth = name, 1
                yield token[0] if name not in _LEFT else f"<{tag}{_spoken(rest, tongue, own)}>"
                continue
            yield f"<{tag}{_spoken(rest, tongue, own)}>" if '="' in rest else token[0]
        elif text and not left and _SAID.search(text):
            plain = html.unescape(text)
            said = tongue.said(plain, own)
            yield text if said == plain else html.escape(said, quote=False)
        else:
            yield token[0]


#: What a script says: a text, with {names} for what is filled in.
_SAID_BY_SCRIPT = re.compile(r"inWords\(\s*\"((?:[^\"\\]|\\.)*)\"")
#: Where a script has the same texts in the language of what it stands in.
_TABLE = "const IN_WORDS = {};"


def texts_of_script(source: str) -> list[str]:
    """What a script says itself, as it stands in its file.

    >>> texts_of_script('inWords("{count} answers wait", { count }) + inWords("Sent")')
    ['{count} answers wait', 'Sent']
    """
    return list(dict.fromkeys(json.loads(f'"{text}"') for text in _SAID_BY_SCRIPT.findall(source)))


def script_in_tongue(source: str, tongue: Tongue) -> str:
    """A script with its own texts in the language, where it has room for them."""
    if _TABLE not in source:
        return source
    said = {text: tongue.said(text) for text in texts_of_script(source)}
    table = json.dumps(said, ensure_ascii=False, sort_keys=True).replace("</", "<\\/")
    return source.replace(_TABLE, f"const IN_WORDS = {table};")


def language_asked(header: str, otherwise: str) -> str:
    """Which language of the screens a browser wants most, by its Accept-Language (RFC 9110, 12.5.4).

    >>> language_asked("fr, de-AT;q=0.8, en;q=0.5", "en"), language_asked("fr", "de")
    ('de', 'de')
    """
    asked: list[tuple[float, str]] = []
    for one in header[:_LONGEST_HEADER].split(","):
        tag, _, quality = one.partition(";")
        weight = _QUALITY.fullmatch(quality.strip() or "q=1")
        code = tag.strip().partition("-")[0].casefold()
        if weight is not None and float(weight[1]) > 0 and code in screen_languages():
            asked.append((-float(weight[1]), code))
    return min(asked, key=lambda pair: pair[0])[1] if asked else otherwise


_LONGEST_HEADER = 500
_QUALITY = re.compile(r"q=([01](?:\.\d{0,3})?)", re.IGNORECASE)
_VOID = frozenset({"input", "img", "br", "hr", "meta", "link"})


def _is_left(name: str, rest: str) -> bool:
    return name in _LEFT or 'translate="no"' in rest or (" lang=" in rest)


def _spoken(rest: str, tongue: Tongue, own: Own | None) -> str:
    def said(found: re.Match[str]) -> str:
        if found["name"] not in _SPOKEN or not found["value"]:
            return found[0]
        plain = html.unescape(found["value"])
        return f'{found["name"]}="{html.escape(tongue.said(plain, own))}"'

    return _ATTRIBUTE.sub(said, rest)


def tongue_of(language: str, folders: Iterable[Path] = (), titles: Iterable[str] = ()) -> Tongue | None:
    """Says the texts of screens in a language; None for English, in which they are made.

    Args:
        folders: Of the systems; each may have a file language/screens/<code>.toml.
        titles: Of documents, which have their name in every language.

    Raises:
        InputError: screens cannot be in it. DataFileError: a catalogue asks for something that is not filled
            in, or says nothing.
    """
    return None if language == ENGLISH else _tongue(language, tuple(folders), tuple(titles))


@lru_cache(maxsize=8)
def _tongue(language: str, folders: tuple[Path, ...], titles: tuple[str, ...]) -> Tongue:
    named = {part: part for title in titles for part in (title, *title.split(", "))}
    texts = screen_catalogue(language, folders).texts
    return Tongue(language, Speaker(Catalogue(language, {**named, **texts}), {}, keeps_keys=True))


def screen_catalogue(language: str, folders: Iterable[Path] = ()) -> Catalogue:
    """The texts of screens in a language: their own, the words that renderers add, and those of papers."""
    if language not in screen_languages():
        known = ", ".join(screen_languages())
        raise InputError(f"Screens cannot be in the language {language!r}; there is: {known}.")
    systems = tuple(folders)
    files = [folder / "language" / "screens" / f"{language}.toml" for folder in systems]
    own = read_catalogue(data_path(SCREENS) / f"{language}.toml")
    more = [read_catalogue(file) for file in files if file.is_file()]
    errors = data_path(SCREENS) / "errors" / f"{language}.toml"
    if errors.is_file():
        more.insert(0, read_catalogue(errors))
    return own.with_more([*more, catalogue(language, systems), _wording(language)])


def _wording(language: str) -> Catalogue:
    """The words that renderers add, from the English file and that of the language."""
    english = dict(_words(read_toml(data_path("templates") / "wording.toml")))
    path = data_path("templates") / f"wording.{language}.toml"
    spoken = dict(_words(read_toml(path))) if path.is_file() else {}
    texts = {english[key]: text for key, text in spoken.items() if english.get(key)}
    return Catalogue(language, texts)


def _words(table: object, at: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(table, str):
        yield at, table
    elif isinstance(table, dict):
        for key, value in table.items():
            yield from _words(value, f"{at}.{key}")
