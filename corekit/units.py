"""Units at the door: what people type goes in, what paper shows comes out. Inside there are only coherent floats.

The closed table stands in `shared/units.toml`: kinds of quantity with one coherent unit each, and every unit that can be typed.
Two kinds may share a dimension and still never mix: gauge and absolute pressure, torque and energy, a temperature and a
difference of temperatures, engine speed and frequency, amperes and the ratings of five cranking tests.

This is the only home of pint, which is imported when the first quantity goes in or out and never sees a text that somebody
typed: its parser reads `12,4 V` as 124 V.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any

import attrs

from .model.measurand import Accuracy
from .model.value import Value, exact
from .reference import DataProblem, data_path, load_toml

_DEFINITION = "si-brochure"  # the source of every row that names none


class UnitProblem(ValueError):
    """A unit was declared that the table does not have, or that leaves its kind open."""


class TypedProblem(ValueError):
    """What a person typed cannot be taken for a quantity.

    Attributes:
        got: What is wrong, in one phrase (`"12.6" has no unit`).
        expected: What belongs there (`a voltage in V, mV or kV`).
        write: What to write instead (`"12.6 V"`); empty when nobody can guess.
    """

    def __init__(self, got: str, expected: str, write: str = "") -> None:
        self.got, self.expected, self.write = got, expected, write
        super().__init__(f"{got}; write {write}" if write else f"{got}; expected {expected}")


@attrs.frozen
class Kind:
    """A kind of quantity. `unit` is its coherent unit, in which every number inside is; `title` is what paper calls it.

    `mark` ends the declared text of its units (`gauge`). `strict`: people must type the mark as well. `shown`: paper prints it.
    """

    name: str
    unit: str
    title: str
    mark: str = ""
    tails: tuple[str, ...] = ()
    strict: bool = False
    shown: bool = False


@attrs.frozen
class Unit:
    """One way to write quantities of one kind: coherent number = number · factor + offset.

    `text` is the declared text (`bar gauge`), `bare` the same without the mark (`bar`), `also` what else people type for it.
    `factor_exact` and `offset_exact` are the same numbers as fractions; `pint` is the unit's name in pint's registry;
    `source` is a key of `shared/sources.toml`.
    """

    text: str
    kind: str
    factor: float
    offset: float
    bare: str = attrs.field(repr=False)
    also: tuple[str, ...] = attrs.field(repr=False)
    factor_exact: Fraction = attrs.field(repr=False)
    offset_exact: Fraction = attrs.field(repr=False)
    pint: str = attrs.field(repr=False)
    define: str = attrs.field(repr=False, default="")
    note: str = attrs.field(repr=False, default="")
    source: str = attrs.field(repr=False, default=_DEFINITION)


@attrs.frozen
class Typed:
    """A quantity as somebody typed it: kind, number in the kind's coherent unit, the unit meant, and the text itself."""

    kind: str
    number: float
    unit: str
    text: str


# ---- the table


@attrs.frozen
class _Table:
    kinds: Mapping[str, Kind]
    units: tuple[Unit, ...]
    declared: Mapping[str, Unit]  # exact declared text → unit
    spelled: Mapping[str, tuple[Unit, ...]]  # any spelling → the units it may mean
    typed: Mapping[str, Mapping[str, Unit]]  # kind → spelling → unit, as a person may type it for that kind
    unmarked: Mapping[str, Mapping[str, Unit]]  # strict kind → spelling without its mark → unit


@lru_cache(maxsize=1)
def _table() -> _Table:
    path = data_path("shared/units.toml")
    data = load_toml(path)
    kinds = {row["name"]: _kind(row) for row in data["kind"]}
    units = tuple(_unit(row, kinds[name]) for row in data["unit"] for name in row["kinds"])
    declared: dict[str, Unit] = {}
    spelled: dict[str, list[Unit]] = {}
    typed: dict[str, dict[str, Unit]] = {name: {} for name in kinds}
    unmarked: dict[str, dict[str, Unit]] = {}
    for one in units:
        if one.text in declared:
            raise DataProblem([f"{path}: the unit {one.text!r} stands there twice."])
        declared[one.text] = one
        kind = kinds[one.kind]
        bare = (one.bare, *one.also)
        marked = tuple(f"{name}{tail}" for name in bare for tail in _tails(kind))
        for spelling in marked if kind.strict else (*bare, *marked):
            if typed[one.kind].setdefault(_key(spelling), one) is not one:
                raise DataProblem([f"{path}: {spelling!r} means two units of {one.kind}."])
        if kind.strict:
            unmarked.setdefault(one.kind, {}).update({_key(spelling): one for spelling in bare})
        for spelling in dict.fromkeys(map(_key, (*bare, *marked))):
            spelled.setdefault(spelling, []).append(one)
    missing = [f"{path}: the coherent unit {kind.unit!r} of {kind.name} has no row of factor 1." for kind in kinds.values() if not _is_coherent(kind, declared)]
    if missing:
        raise DataProblem(missing)
    return _Table(kinds, units, declared, {spelling: tuple(found) for spelling, found in spelled.items()}, typed, unmarked)


def _kind(row: Mapping[str, Any]) -> Kind:
    strict = row.get("strict", False)
    return Kind(row["name"], row["unit"], row["title"], row.get("mark", ""), tuple(row.get("tails", ())), strict, row.get("shown", strict))


def _unit(row: Mapping[str, Any], kind: Kind) -> Unit:
    factor, offset = Fraction(row["factor"]), Fraction(row.get("offset", "0"))
    text = f"{row['text']} {kind.mark}" if kind.mark else row["text"]
    also = tuple(row.get("also", ()))
    return Unit(
        text=text, kind=kind.name, factor=float(factor), offset=float(offset), bare=row["text"], also=also, factor_exact=factor, offset_exact=offset,
        pint=row["pint"], define=row.get("define", ""), note=row.get("note", ""), source=row.get("source", _DEFINITION),
    )  # fmt: skip


def _tails(kind: Kind) -> tuple[str, ...]:
    return (f" {kind.mark}", f" ({kind.mark})", f"({kind.mark})", *kind.tails) if kind.mark else ()


def _is_coherent(kind: Kind, declared: Mapping[str, Unit]) -> bool:
    own = declared.get(kind.unit)
    return own is not None and own.kind == kind.name and own.factor_exact == 1 and own.offset_exact == 0


# One sign, several code points: Greek mu for micro, the ohm sign, degree signs with their letter, spaces that do not break.
_SAME = str.maketrans({"μ": "µ", "\u2126": "Ω", "℃": "°C", "℉": "°F", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "º": "°", "⋅": "·", "−": "-"})


def _key(spelling: str) -> str:
    return " ".join(spelling.translate(_SAME).split())


def kinds() -> Mapping[str, Kind]:
    """Name → kind, the whole closed table."""
    return _table().kinds


def units() -> tuple[Unit, ...]:
    """Every unit there is, in the table's order."""
    return _table().units


def unit(text: str) -> Unit:
    """The unit that a declaration names: `V`, `bar gauge`, `K diff`, `rev/s`, `A SAE`.

    Errors:
        UnitProblem: the table has no such unit (near matches are named), or the text leaves the kind open: a bare `bar`
            may be gauge, absolute or a difference.
    """
    table = _table()
    key = _key(text)
    if key in table.declared:
        return table.declared[key]
    found = table.spelled.get(key, ())
    if len(found) == 1:
        return found[0]
    if found:
        raise UnitProblem(f"The unit {text!r} leaves open what is meant; declare {_any_of(one.text for one in found)}.")
    raise UnitProblem(f"There is no unit {text!r}{_near(key, table)}; the table is shared/units.toml.")


def declared_text(text: str) -> str:
    """How paper writes a declared unit where the kind is clear: `bar gauge` → `bar`, `K diff` → `K`; `A SAE` stays."""
    one = unit(text)
    return one.text if kinds()[one.kind].shown else one.bare


def to_coherent(number: float, unit_text: str) -> float:
    """A number in a declared unit → in the coherent unit of its kind. Rounded once.

    >>> to_coherent(25, "°C")
    298.15

    Errors:
        UnitProblem: unknown unit. ValueError: the number is not finite.
    """
    one = unit(unit_text)
    return float(_fraction(number) * one.factor_exact + one.offset_exact)


def from_coherent(number: float, unit_text: str) -> float:
    """A number in the coherent unit of a kind → in a declared unit of that kind. Rounded once.

    >>> from_coherent(50, "rpm")
    3000.0

    Errors:
        UnitProblem: unknown unit. ValueError: the number is not finite.
    """
    one = unit(unit_text)
    return float((_fraction(number) - one.offset_exact) / one.factor_exact)


def _fraction(number: float) -> Fraction:
    if not math.isfinite(number):
        raise ValueError(f"A quantity needs a finite number; got {number!r}.")
    return Fraction(number)


# ---- what people type

_LONGEST = 64
_NUMBER = re.compile(r"(?P<sign>[+-]?)(?P<whole>[0-9]*)(?:(?P<mark>[.,])(?P<part>[0-9]+))?(?:[eE](?P<power>[+-]?[0-9]{1,2})(?![0-9]))?")
_RATIO = "1"


def read_quantity(text: str, accepts: Sequence[str]) -> Typed:
    """What a person typed for something declared in the units `accepts`, as a number in the coherent unit of its kind.

    Any unit of an accepted kind will do, and a plain `bar` is the declared kind of pressure. A decimal point and a decimal
    comma both count; a comma before exactly three digits may also be a thousands separator and is asked back.

    >>> read_quantity("8,9 V", ["V"]).number
    8.9

    Errors:
        TypedProblem: not one number with one unit of an accepted kind; it says what to write instead.
        UnitProblem: `accepts` names a unit that does not exist.
    """
    wanted = [unit(one) for one in accepts]
    expected = _expected(wanted)
    if len(text) > _LONGEST:
        raise TypedProblem(f"{_quoted(text[:20] + '…')} has {len(text)} characters, too many for a reading", expected)
    plain = _key(text)
    number, shown, rest = _split(plain, text, wanted, expected)
    if rest == "" and any(one.text == _RATIO for one in wanted):
        rest = _RATIO
    found = _find(rest, shown, text, wanted, expected)
    return Typed(found.kind, float(number * found.factor_exact + found.offset_exact), found.text, text)


def _split(plain: str, text: str, wanted: Sequence[Unit], expected: str) -> tuple[Fraction, str, str]:
    """The number, how to write it, and the text of the unit."""
    match = _NUMBER.match(plain)
    assert match is not None  # the pattern matches the empty text too
    if not match["whole"] and not match["part"]:
        raise TypedProblem(f"{_quoted(text)} does not begin with a number", expected, _example("…", wanted))
    whole, part, power = match["whole"] or "0", match["part"] or "", match["power"]
    rest = plain[match.end() :]
    sign = "-" if match["sign"] == "-" else ""
    shown = sign + whole + (f".{part}" if part else "") + (f"e{int(power)}" if power else "")
    _refuse_odd_number(match, rest, text, wanted, expected)
    number = Fraction(f"{sign}{whole}.{part or '0'}") * Fraction(10) ** int(power or 0)
    return number, shown, rest.strip()


def _refuse_odd_number(match: re.Match[str], rest: str, text: str, wanted: Sequence[Unit], expected: str) -> None:
    """Whatever could be mistaken for another number is refused with what it probably means."""
    whole, part, sign = match["whole"], match["part"], match["sign"].replace("+", "")
    unit_text = re.sub(r"^[\s0-9.,_'’]*", "", rest)
    named = unit_text if unit_text and len(unit_text) < 16 else declared_text(wanted[0].text)

    def say(what: str, *numbers: str) -> TypedProblem:
        return TypedProblem(f"{_quoted(text)} {what}", expected, _any_of(_quoted(f"{number} {named}") for number in numbers))

    after = rest.lstrip()
    if whole == "0" and not part and rest[:1] in ("x", "X"):
        raise TypedProblem(f"{_quoted(text)} is a hexadecimal number", expected, _example("…", wanted))
    if rest[:1] in ("_", "'", "’"):
        raise say(f"has {_quoted(rest[:1])} inside its number", sign + re.sub(r"[_'’]", "", _leading(match[0] + rest)))
    if match["mark"] and rest[:1] in (".", ","):
        raise say("has more than one decimal mark", sign + _without_thousands(_leading(match[0] + rest)))
    if rest[:1].isdecimal() or (rest[:1] in ("e", "E") and rest[1:2] and rest[1:2] in "+-0123456789"):
        raise TypedProblem(f"{_quoted(text)} has an exponent that nobody measures", expected, _example("…", wanted))
    if after[:1].isdecimal():
        tail = _leading(after)
        numbers = (f"{match[0].lstrip('+')}.{tail}",) if not part and tail.isdecimal() else ()
        raise say("has a space inside its number", *numbers, match[0].lstrip("+").replace(",", ".") + tail)
    if after[:1] in (".", ","):
        raise say("has a decimal mark with no digits beside it", match[0].lstrip("+"))
    if after[:1] in ("-", "…", "~", "±") or after[:2] == "+-":
        raise TypedProblem(f"{_quoted(text)} is more than one number", expected, f"one reading, {_example(match[0].lstrip('+').replace(',', '.'), wanted)}")
    if match["mark"] == "," and part is not None and len(part) == 3 and 1 <= len(whole) <= 3 and not whole.startswith("0"):
        raise say("may mean two numbers a thousandfold apart", f"{sign}{whole}.{part}", f"{sign}{whole}{part}")


def _leading(text: str) -> str:
    match = re.match(r"[0-9.,_'’]*", text.lstrip("+-"))
    return match[0].rstrip(".,_'’") if match else ""


def _without_thousands(digits: str) -> str:
    """`1.234,5` → `1234.5`, `1,234,567` → `1234567`: the last mark is decimal when it differs from the first."""
    marks = [sign for sign in digits if sign in ".,"]
    if marks[0] != marks[-1]:
        head, _, tail = digits.rpartition(marks[-1])
        return re.sub(r"[.,]", "", head) + "." + tail
    return re.sub(r"[.,]", "", digits)


def _find(rest: str, shown: str, text: str, wanted: Sequence[Unit], expected: str) -> Unit:
    table = _table()
    if not rest:
        raise TypedProblem(f"{_quoted(text)} has no unit", expected, _any_of(_quoted(f"{shown} {_typed_text(one)}") for one in _firsts(wanted)))
    found = _meant(rest, [one.kind for one in _firsts(wanted)])
    if len(found) == 1:
        return found[0]
    if found:
        raise TypedProblem(f"{_quoted(text)} leaves open which is meant", expected, _any_of(_quoted(f"{shown} {one.text}") for one in found))
    if any(_key(rest).casefold() in (spelling.casefold() for spelling in table.unmarked.get(one.kind, ())) for one in wanted):
        got = f"{_quoted(text)} does not say by which test it was rated"
        raise TypedProblem(got, expected, _any_of(_quoted(f"{shown} {one.text}") for one in _firsts(wanted)))
    others = sorted(kind for kind in table.kinds if rest in table.typed[kind]) or sorted(kind for kind, bare in table.unmarked.items() if rest in bare)
    if others:
        named = _any_of(_in_a_sentence(table.kinds[kind].title) for kind in others)
        raise TypedProblem(f"{_quoted(text)} is of the wrong kind ({named})", expected, _example("…", wanted))
    choices = {spelling: one for kind in dict.fromkeys(one.kind for one in wanted) for spelling, one in table.typed[kind].items()}
    near = [name for name in choices if name.casefold() == rest.casefold()] or difflib.get_close_matches(rest, choices, n=1, cutoff=0.6)
    write = _quoted(f"{shown} {_typed_text(choices[near[0]])}") if near else _example("…", wanted)
    raise TypedProblem(f"{_quoted(rest)} in {_quoted(text)} is not a unit known here", expected, write)


def _meant(rest: str, wanted: Sequence[str]) -> list[Unit]:
    """The units of the wanted kinds that a text may mean: as spelled, else in other capitals, but never m for M."""
    table = _table()
    exactly = [table.typed[kind][rest] for kind in wanted if rest in table.typed[kind]]
    if exactly:
        return exactly
    loosely: dict[str, Unit] = {}
    for kind in wanted:
        for spelling, one in table.typed[kind].items():
            if spelling.casefold() == rest.casefold() and not _changes_prefix(spelling, rest, one, table):
                loosely[one.text] = one
    return list(loosely.values())


def _changes_prefix(spelling: str, typed: str, one: Unit, table: _Table) -> bool:
    """True when other capitals would make a milli of a mega: `MV` is no mV."""
    prefixed = one.bare[:1] in ("m", "M") and one.bare[1:] in table.typed[one.kind]
    return prefixed and spelling[:1] != typed[:1]


def _firsts(wanted: Sequence[Unit]) -> list[Unit]:
    return list({one.kind: one for one in reversed(wanted)}.values())[::-1]


def _typed_text(one: Unit) -> str:
    """How a person would write it: without the mark unless it must be typed; a ratio needs no unit."""
    return one.text if kinds()[one.kind].strict else one.bare


def _example(number: str, wanted: Sequence[Unit]) -> str:
    return _any_of(_quoted(f"{number} {_typed_text(one)}" if one.text != _RATIO else number) for one in _firsts(wanted))


def _expected(wanted: Sequence[Unit]) -> str:
    names = []
    for one in _firsts(wanted):
        same = list(dict.fromkeys([_typed_text(one), *(_typed_text(other) for other in units() if other.kind == one.kind)]))
        names.append(f"{_in_a_sentence(kinds()[one.kind].title)} in {_any_of(same)}")
    return _any_of(names)


def _in_a_sentence(title: str) -> str:
    return title[:1].lower() + title[1:]


def _quoted(text: str) -> str:
    """A text in quotation marks, with nothing in it that could disturb a terminal."""
    return '"' + "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text) + '"'


def _any_of(names: Iterable[str]) -> str:
    listed = list(dict.fromkeys(names))
    return listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} or {listed[-1]}" if listed else ""


def _near(key: str, table: _Table) -> str:
    near = [spelling for spelling in table.spelled if spelling.casefold() == key.casefold()] or difflib.get_close_matches(key, table.spelled, n=3, cutoff=0.6)
    meant = dict.fromkeys(one.text for spelling in near for one in table.spelled[spelling])
    return f"; near to it: {', '.join(list(meant)[:6])}" if meant else ""


# ---- accuracy, as an instrument's sheet gives it

_PERCENT = re.compile(r"(?:%|percent)(?P<reading>\s*(?:of|o\.)\s*(?:the\s+)?(?:reading|rdg))?")
_DIGITS = re.compile(r"(?:digits?|dgts?|counts?|lsd)", re.IGNORECASE)
_POINTS = re.compile(r"(?:percentage\s+)?points?")
_ACCURACY = "an accuracy such as 0.5 % + 2 digits, or a fixed amount with its unit"


def parse_accuracy(text: str, unit: str) -> Accuracy:
    """± as an instrument's sheet prints it, for something measured in the declared `unit`.

    Terms joined by +: `0.5 %` (of the reading), `2 digits`, an amount `5 N`. Amounts come out in the coherent unit; of a kind
    with an offset they are differences (`2 °C` is 2 K), and percent of the reading has no meaning there. For a ratio a bare
    `%` could be of the reading or points: write `2 % of reading` or `2 points`.

    >>> parse_accuracy("2 % + 5 N", "N")
    Accuracy(percent=2.0, digits=0.0, amount=5.0, text='2 % + 5 N')

    Errors:
        TypedProblem: not an accuracy, or none at all. UnitProblem: the unit does not exist.
    """
    own = _by_name(unit)
    if len(text) > _LONGEST:
        raise TypedProblem(f"{_quoted(text[:20] + '…')} is too long for an accuracy", _ACCURACY)
    plain = _key(text).replace("+/-", "±").lstrip("± ").removeprefix("(").removesuffix(")").strip()
    sums = {"percent": Fraction(0), "digits": Fraction(0), "amount": Fraction(0)}
    for term in plain.split("+"):
        name, amount = _accuracy_term(term.strip(), text, own)
        sums[name] += amount
    if not any(sums.values()):
        raise TypedProblem(f"{_quoted(text)} promises a reading without doubt, and there is none", _ACCURACY, '"0.5 % + 2 digits"')
    return Accuracy(float(sums["percent"]), float(sums["digits"]), float(sums["amount"]), text)


def _by_name(text: str) -> Unit:
    return unit(text)


def _accuracy_term(term: str, text: str, own: Unit) -> tuple[str, Fraction]:
    match = _NUMBER.match(term)
    assert match is not None
    if match["sign"] or (not match["whole"] and not match["part"]) or match["power"]:
        raise TypedProblem(f"{_quoted(text)} is not an accuracy", _ACCURACY, '"0.5 % + 2 digits"')
    number = Fraction(f"{match['whole'] or '0'}.{match['part'] or '0'}")
    rest = term[match.end() :].strip()
    percent = _PERCENT.fullmatch(rest)
    if percent and own.kind == "ratio" and not percent["reading"]:
        raise TypedProblem(
            f"{_quoted(text)} leaves open what the percent are of", _ACCURACY, f'"{match[0]} % of reading" or "{match[0]} points"'
        )
    if percent and _has_offset(own.kind):
        raise TypedProblem(f"{_quoted(text)} gives a percentage of a {own.kind}, which depends on where its scale begins", _ACCURACY, f'"2 {own.bare}"')
    if percent and number > 100:
        raise TypedProblem(f"{_quoted(text)} is more than 100 %", _ACCURACY)
    if percent:
        return "percent", number
    if _DIGITS.fullmatch(rest):
        return "digits", number
    if own.kind == "ratio" and _POINTS.fullmatch(rest):
        return "amount", number / 100
    if own.text == _RATIO and not rest:
        return "amount", number
    found = _meant(rest, [own.kind]) or [one for spelling, one in _table().unmarked.get(own.kind, {}).items() if spelling == rest]
    if len(found) != 1:
        unit_problem = f"{_quoted(rest)} in {_quoted(text)} is no unit of {own.kind}" if rest else f"{_quoted(term)} in {_quoted(text)} has no unit"
        raise TypedProblem(unit_problem, f"%, digits or an amount in {own.bare}", f'"{match[0]} {own.bare}"')
    return "amount", number * found[0].factor_exact


def _has_offset(kind: str) -> bool:
    return any(one.offset_exact for one in units() if one.kind == kind)


# ---- what paper shows

_WIDE = Context(prec=400)
_MINUS = "−"


def show(value: Value, unit: str, doubt: bool = True) -> str:
    """A value as printed in a declared unit: `12.64 V ± 0.04 V (k = 2)`.

    The expanded uncertainty U = 2 u is rounded to two significant digits, to one when its first digit is 3 or more
    (GUM 7.2.6 asks for at most two; the one digit is our choice), and the number to the same place. Without doubt in it, or
    with less than a thousand-millionth of the number, the number stands alone with up to six digits. `doubt=False` leaves
    the ± part away and rounds the same.

    Errors:
        UnitProblem: unknown unit. ValueError: the unit is of another kind than the value.
    """
    one = _by_name(unit)
    if one.kind != value.kind:
        raise ValueError(f"A {value.kind} cannot be shown in {one.text}, a unit of {one.kind}.")
    number = float((_fraction(value.number) - one.offset_exact) / one.factor_exact)
    spread = float(_fraction(2 * value.u) / one.factor_exact)
    label = _label(one)
    if spread <= 1e-9 * abs(number) or spread == 0.0:
        return _signed(Decimal(f"{number:.6g}")) + label
    place = _place(spread)
    shown = _signed(_rounded(number, place)) + label
    return f"{shown} ± {_signed(_rounded(spread, place))}{label} (k = 2)" if doubt else shown


def show_number(number: float, unit: str, digits: int) -> str:
    """A coherent number as printed in a declared unit, with `digits` digits after the point: `12.6 V`.

    Errors:
        UnitProblem: unknown unit. ValueError: the number is not finite.
    """
    one = _by_name(unit)
    there = float((_fraction(number) - one.offset_exact) / one.factor_exact)
    return _signed(_rounded(there, -digits)) + _label(one)


def _label(one: Unit) -> str:
    return "" if one.text == _RATIO else f" {declared_text(one.text)}"


def _place(spread: float) -> int:
    """The power of ten of the last digit to print for this much doubt."""
    exactly = Decimal(repr(spread))
    return exactly.adjusted() - (0 if exactly.as_tuple().digits[0] >= 3 else 1)


def _rounded(number: float, place: int) -> Decimal:
    scaled = Decimal(repr(number)).scaleb(-place, _WIDE).quantize(Decimal(1), ROUND_HALF_UP, _WIDE)
    return abs(scaled).scaleb(place, _WIDE) if scaled == 0 else scaled.scaleb(place, _WIDE)


def _signed(number: Decimal) -> str:
    return f"{number:f}".replace("-", _MINUS)


# ---- pint's door


@lru_cache(maxsize=1)
def registry() -> Any:
    """The one pint registry of this process, with the dimensions that pint lacks. Quantities of another registry do not mix."""
    import pint

    made: Any = pint.UnitRegistry()
    for line in dict.fromkeys(one.define for one in units() if one.define):
        made.define(line)
    return made


def quantity(value: Value) -> Any:
    """A Value as a pint Quantity in its kind's coherent unit; the doubt stays behind."""
    own = unit(kinds()[value.kind].unit)
    return registry().Quantity(value.number, own.pint)


def from_quantity(q: Any, unit: str) -> Value:
    """A pint Quantity (of our `registry()`) as an exact Value of the kind that the declared `unit` names.

    pint knows dimensions, not kinds: that 2 bar are meant as gauge pressure, or newton metres as torque, only `unit` says.

    Errors:
        ValueError: another dimension, another registry, a temperature for a difference or the reverse, or not one finite number.
    """
    import pint

    own = _by_name(unit)
    if not isinstance(q, registry().Quantity):
        raise ValueError(f"A quantity of corekit's own registry is needed, for {own.text}; got {q!r}.")
    named = str(q.units)
    is_difference = "delta_" in named
    is_reading = named in ("degree_Celsius", "degree_Fahrenheit")
    if (own.kind == "temperature" and is_difference) or (own.kind == "temperature difference" and is_reading):
        raise ValueError(f"{q} cannot be taken for a {own.kind}; 5 °C and a difference of 5 °C are two things.")
    try:
        coherent = float(q.to(_table().declared[kinds()[own.kind].unit].pint).magnitude)
    except pint.DimensionalityError as problem:
        raise ValueError(f"{q} cannot be taken for a {own.kind} in {own.text}: {problem}.") from problem
    except TypeError as problem:
        raise ValueError(f"One number is needed for {own.text}; got {q!r}.") from problem
    return exact(own.kind, coherent)
