"""Units at the door: what people type goes in, what paper shows comes out.

Inside there are only coherent floats.

The closed table stands in `shared/units.toml`: kinds of quantity with one coherent unit each, and every unit
that can be typed. Two kinds may share a dimension and still never mix: gauge and absolute pressure, torque
and energy, a temperature and a difference of temperatures, engine speed and frequency, amperes and the
ratings of five cranking tests.

This is the only home of pint, which is imported when the first quantity goes in or out and never sees a text
that somebody typed: its parser reads `12,4 V` as 124 V.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any

import attrs

from . import numerals
from .errors import CorekitError
from .model.measurand import Accuracy
from .model.value import Value, exact
from .unit_table import (
    Kind,
    Table,
    Unit,
    UnitError,
    any_of,
    key_of,
    kinds,
    table,
    unit,
    units,
    units_of,
)

__all__ = [
    "BARE",
    "IN_PLACE_OF",
    "Kind",
    "NotAValue",
    "Scale",
    "Typed",
    "TypedError",
    "Unit",
    "UnitError",
    "decimal_text",
    "declared_text",
    "from_coherent",
    "from_quantity",
    "kinds",
    "parse_accuracy",
    "quantity",
    "read_quantity",
    "read_reading",
    "registry",
    "show",
    "show_uncertainty",
    "shown_in",
    "shown_scale",
    "shown_unit",
    "to_coherent",
    "unit",
    "units",
    "units_of",
]


class TypedError(CorekitError, ValueError):
    """What a person typed cannot be taken for a quantity.

    Attributes:
        got: What is wrong, in one phrase (`"12.6" has no unit`).
        expected: What belongs there (`a voltage in V, mV or kV`).
        write: What to write instead (`"12.6 V"`); empty when nobody can guess.
    """

    def __init__(self, got: str, expected: str, write: str = "") -> None:
        self.got, self.expected, self.write = got, expected, write
        super().__init__(f"{got}; write {write}" if write else f"{got}; expected {expected}")


class NotAValue(TypedError):
    """What was typed for a reading is worth keeping, but it is no value.

    Attributes:
        noted: The same as a reason why there is none (`beyond the range, shows OL`), for `cannot` of an
            observation.
    """

    def __init__(self, got: str, expected: str, noted: str) -> None:
        super().__init__(got, expected)
        self.noted = noted


@attrs.frozen
class Typed:
    """A quantity as somebody typed it.

    Attributes:
        kind, number: The quantity, in the kind's coherent unit. unit: The unit meant. text: What was typed.
        half_width: What the way of typing allows for to both sides, in the coherent unit: of a range half its
            width.
        loosely: `range`, `about` or `±` (keys of `numerals.LOOSELY`); empty for one plain number.
        shown: The number in the unit meant, as plainly as it can be written (`3.5-4`); empty where two units
            were typed.
    """

    kind: str
    number: float
    unit: str
    text: str
    half_width: float = 0.0
    loosely: str = ""
    shown: str = ""


# ---- declared units


def declared_text(text: str) -> str:
    """How paper writes a declared unit where the kind is clear: `bar gauge` → `bar`, `K diff` → `K`; `A SAE`
    stays.
    """
    one = unit(text)
    return one.text if kinds()[one.kind].shown else one.bare


def to_coherent(number: float, unit_text: str) -> float:
    """A number in a declared unit → in the coherent unit of its kind. Rounded once.

    >>> to_coherent(25, "°C")
    298.15

    Raises:
        UnitError: unknown unit. ValueError: the number is not finite.
    """
    one = unit(unit_text)
    if not one.offset_exact:
        above, below = one.factor_exact.numerator, one.factor_exact.denominator
        if below == 1 and above <= _EXACT and math.isfinite(found := number * above):
            return found + 0.0  # as in `_amount`
        if above == 1 and below <= _EXACT and math.isfinite(number):
            return number / below + 0.0
    return float(_fraction(number) * one.factor_exact + one.offset_exact) + 0.0


def from_coherent(number: float, unit_text: str) -> float:
    """A number in the coherent unit of a kind → in a declared unit of that kind. Rounded once.

    >>> from_coherent(50, "rpm")
    3000.0

    Raises:
        UnitError: unknown unit. ValueError: the number is not finite.
    """
    one = unit(unit_text)
    return _in_unit(number, one)


#: The largest whole number of which a float holds every smaller one.
_EXACT = 2**53


def _in_unit(number: float, one: Unit) -> float:
    """A number in the coherent unit of its kind → in this one. Rounded once."""
    if one.offset_exact:
        return float((_fraction(number) - one.offset_exact) / one.factor_exact) + 0.0  # as in `_amount`
    return _amount(number, one)


def _amount(number: float, one: Unit) -> float:
    """How many of this unit an amount in the coherent one is, wherever its scale begins. Rounded once.

    One product or quotient of floats that are exact is rounded once as well, and takes a tenth of the time of
    a fraction; most units are a whole number of others.
    """
    if not math.isfinite(number):
        raise ValueError(f"A quantity needs a finite number; got {number!r}.")
    above, below = one.factor_exact.numerator, one.factor_exact.denominator
    if below == 1 and above <= _EXACT:
        return number / above + 0.0  # there is no zero below zero here
    if above == 1 and below <= _EXACT and math.isfinite(found := number * below):
        return found + 0.0
    return float(Fraction(number) / one.factor_exact) + 0.0


def _fraction(number: float) -> Fraction:
    if not math.isfinite(number):
        raise ValueError(f"A quantity needs a finite number; got {number!r}.")
    return Fraction(number)


# ---- what people type

_LONGEST = 64
_COUNT = "count"
#: Units that are neither typed nor printed.
BARE = ("1", _COUNT)


def read_quantity(text: str, accepts: Sequence[str], decimal: str = "") -> Typed:
    """What a person typed for something declared in the units `accepts`, as a number in the coherent unit of
    its kind.

    Any unit of an accepted kind will do, and a plain `bar` is the declared kind of pressure. A decimal point
    and a decimal comma both count; a comma before exactly three digits may also be a thousands separator and
    is asked back. In a shop whose `decimal` mark is the comma it is the point that is asked back.

    >>> read_quantity("8,9 V", ["V"]).number
    8.9

    Raises:
        TypedError: not one number with one unit of an accepted kind; it says what to write instead.
        UnitError: `accepts` names a unit that does not exist.
    """
    return _typed_value(text, accepts, decimal, loose=False)


def read_reading(text: str, accepts: Sequence[str], decimal: str = "") -> Typed:
    """As `read_quantity`, for a reading: it may also be a range, an approximation, or carry a ± of its own.

    What the way of typing allows for comes out as `half_width`, an uncertainty of this one reading, evenly
    likely.

    >>> found = read_reading("3.5-4 kOhm", ["ohm"])
    >>> (found.number, found.half_width, found.loosely)
    (3750.0, 250.0, 'range')

    Raises:
        NotAValue: it shows no number, only on which side of one the reading lies, or what somebody thinks of
            it.
        TypedError, UnitError: as `read_quantity`.
    """
    return _typed_value(text, accepts, decimal, loose=True)


def _typed_value(text: str, accepts: Sequence[str], decimal: str, *, loose: bool) -> Typed:
    wanted, expected = _accepted_units(tuple(accepts), table())
    if len(text) > _LONGEST:
        raise TypedError(
            f"{_in_quotes(text[:20] + '…')} has {len(text)} characters, too many for a reading", expected
        )
    plain = key_of(text)
    if loose:
        _refuse_what_is_no_value(plain, text, expected)
    asked = _Asked(text, wanted, expected, decimal)
    take = _loosely if loose else _plainly
    try:
        return take(plain, asked)
    except TypedError as error:
        digits, sure = numerals.with_digits(plain)
        if digits == plain:
            rating = _rating(plain, asked)
            if rating is None:
                raise
            return take(*rating)  # the text itself is kept
        try:
            read = take(digits, asked)
        except TypedError:
            raise error from None
        if sure:  # the text itself is kept, and paper prints the number
            return read
        meant = unit(read.unit)
        write = (
            _in_quotes(read.shown if meant.text in BARE else f"{read.shown} {_typed_text(meant)}")
            if read.shown
            else ""
        )
        raise TypedError(
            f"{_in_quotes(text)} may have a letter where a digit belongs", expected, write
        ) from None


@lru_cache(maxsize=1024)
def _accepted_units(accepts: tuple[str, ...], there: Table) -> tuple[tuple[Unit, ...], str]:
    """The units that are accepted, and how a refusal calls them; asked anew when the table has changed."""
    wanted = tuple(unit(one) for one in accepts)
    return wanted, _unit_list(wanted)


@attrs.frozen
class _Asked:
    """What one text is read for: the text as typed, the units wanted, how the refusal calls them, and the
    shop's decimal mark.
    """

    text: str
    wanted: Sequence[Unit]
    expected: str
    decimal: str


@attrs.frozen
class _Quantity:
    """One number with its unit, still exact."""

    value: Fraction
    unit: Unit
    shown: str
    step: Fraction

    @property
    def coherent(self) -> Fraction:
        return self.value * self.unit.factor_exact + self.unit.offset_exact

    @property
    def label(self) -> str:
        return "" if self.unit.text in BARE else f" {_typed_text(self.unit)}"

    def typed(self, asked: _Asked) -> Typed:
        return Typed(self.unit.kind, float(self.coherent), self.unit.text, asked.text, shown=self.shown)


def _one(plain: str, asked: _Asked) -> _Quantity:
    found, rest = _number(plain, asked)
    if rest == "":
        rest = next((one.text for one in asked.wanted if one.text in BARE), rest)
    return _Quantity(found.value, _find(rest, found.shown, asked), found.shown, found.step)


def _plainly(plain: str, asked: _Asked) -> Typed:
    return _one(plain, asked).typed(asked)


def _loosely(plain: str, asked: _Asked) -> Typed:
    plain, is_about = numerals.without_about(plain)
    for split in numerals.splits(plain):
        unit_of_head = _unit_of(split.head, asked)
        if unit_of_head is not None:
            return _several(split, unit_of_head, asked)
    one = _one(plain, asked)
    if not is_about:
        return one.typed(asked)
    half = max(abs(one.value) * numerals.ABOUT_SHARE, one.step / 2) * one.unit.factor_exact
    return attrs.evolve(
        one.typed(asked), half_width=float(half), loosely=numerals.ABOUT, shown=f"about {one.shown}"
    )


def _unit_of(part: str, asked: _Asked) -> str | None:
    """The unit that follows the number in one part of a range, "" for none; None when a range cannot be
    divided there.
    """
    try:
        _, rest = numerals.leading(part, asked.decimal)
    except numerals.NumberError as error:
        return None if error.what == numerals.SEVERAL else ""
    return rest if not rest or _meant(rest, [one.kind for one in asked.wanted]) else None


def _several(split: numerals.Split, unit_of_head: str, asked: _Asked) -> Typed:
    """A range, or a number with a ± of its own."""
    tail = (
        f"{split.tail} {unit_of_head}" if unit_of_head and _unit_of(split.tail, asked) == "" else split.tail
    )
    upper = _one(tail, asked)
    lower = _one(split.head if unit_of_head else f"{split.head}{upper.label}", asked)
    if lower.unit.kind != upper.unit.kind:
        raise TypedError(
            f"{_in_quotes(asked.text)} names two kinds of quantity",
            asked.expected,
            _example("…", asked.wanted),
        )
    alike = lower.unit is upper.unit
    if split.mark == numerals.OWN:
        half = upper.value * upper.unit.factor_exact
        if half <= 0:
            raise TypedError(
                f"{_in_quotes(asked.text)} allows for nothing with its ±",
                asked.expected,
                _in_quotes(f"{lower.shown}{lower.label}"),
            )
        return attrs.evolve(
            lower.typed(asked),
            half_width=float(half),
            loosely=numerals.OWN,
            shown=f"{lower.shown} ± {upper.shown}" if alike else "",
        )
    if lower.coherent >= upper.coherent:
        backwards = lower.coherent > upper.coherent
        write = (
            f"{upper.shown}{'' if alike else upper.label}{_to(lower)}{lower.shown}{lower.label}"
            if backwards
            else f"{upper.shown}{upper.label}"
        )
        what = "runs from the higher end to the lower" if backwards else "has both ends alike"
        raise TypedError(f"{_in_quotes(asked.text)} {what}", asked.expected, _in_quotes(write))
    middle, half = (lower.coherent + upper.coherent) / 2, (upper.coherent - lower.coherent) / 2
    shown = f"{lower.shown}{_to(upper)}{upper.shown}" if alike else ""
    return attrs.evolve(
        upper.typed(asked), number=float(middle), half_width=float(half), loosely=numerals.RANGE, shown=shown
    )


def _to(upper: _Quantity) -> str:
    """What stands between the ends of a range: a hyphen would be lost before a minus."""
    return " to " if upper.value < 0 else "-"


def _number(plain: str, asked: _Asked) -> tuple[numerals.Numeral, str]:
    try:
        return numerals.leading(plain, asked.decimal)
    except numerals.NumberError as error:
        got = f"{_in_quotes(asked.text)} {error.what}"
        if error.what == numerals.SEVERAL:
            raise TypedError(
                got, asked.expected, f"one reading, {_example(error.numbers[0], asked.wanted)}"
            ) from None
        if not error.numbers:
            raise TypedError(got, asked.expected, _example("…", asked.wanted)) from None
        named = error.tail if error.tail and len(error.tail) < 16 else declared_text(asked.wanted[0].text)
        raise TypedError(
            got, asked.expected, any_of(_in_quotes(f"{one} {named}") for one in error.numbers)
        ) from None


def _refuse_what_is_no_value(plain: str, text: str, expected: str) -> None:
    """What a display shows beyond its range, bounds and judgements: worth noting, and not a number."""
    if numerals.bound(plain):
        raise NotAValue(
            f"{_in_quotes(text)} says on which side of a number it lies, and not what it is",
            expected,
            f"no number, only: {plain}",
        )
    if numerals.beyond(plain):
        raise NotAValue(
            f"{_in_quotes(text)} is what a display shows beyond its range, and not a value",
            expected,
            f"beyond the range, shows {plain}",
        )
    if numerals.judged(plain):
        raise NotAValue(
            f"{_in_quotes(text)} is a judgement, and not a value", expected, f"no number noted, only: {plain}"
        )


def _find(rest: str, shown: str, asked: _Asked) -> Unit:
    there, text, wanted, expected = table(), asked.text, asked.wanted, asked.expected
    if not rest:
        raise TypedError(
            f"{_in_quotes(text)} has no unit",
            expected,
            any_of(_in_quotes(f"{shown} {_typed_text(one)}") for one in _firsts(wanted)),
        )
    found = _meant(rest, [one.kind for one in _firsts(wanted)])
    if len(found) == 1:
        return found[0]
    if found:
        raise TypedError(
            f"{_in_quotes(text)} leaves open which is meant",
            expected,
            any_of(_in_quotes(f"{shown} {one.text}") for one in found),
        )
    if any(
        key_of(rest).casefold() in (spelling.casefold() for spelling in there.unmarked.get(one.kind, ()))
        for one in wanted
    ):
        got = f"{_in_quotes(text)} does not say by which test it was rated"
        raise TypedError(got, expected, any_of(_in_quotes(f"{shown} {one.text}") for one in _firsts(wanted)))
    others = sorted(kind for kind in there.kinds if rest in there.typed[kind]) or sorted(
        kind for kind, bare in there.unmarked.items() if rest in bare
    )
    if others:
        named = any_of(_in_a_sentence(there.kinds[kind].title) for kind in others)
        raise TypedError(
            f"{_in_quotes(text)} is of the wrong kind ({named})", expected, _example("…", wanted)
        )
    # Every unit of the kind, never the nearest: MV is spelled most like mV, a thousand-millionth of it.
    same = [other for one in _firsts(wanted) for other in units_of(one.kind) if other.text not in BARE]
    write = any_of(_in_quotes(f"{shown} {_typed_text(one)}") for one in same) or _example(shown, wanted)
    raise TypedError(f"{_in_quotes(rest)} in {_in_quotes(text)} is not a unit known here", expected, write)


def _meant(rest: str, wanted: Sequence[str]) -> list[Unit]:
    """The units of the wanted kinds that a text may mean: as spelled, else in other capitals, but never m for
    M.
    """
    there = table()
    exactly = [there.typed[kind][rest] for kind in wanted if rest in there.typed[kind]]
    if exactly:
        return exactly
    loosely: dict[str, Unit] = {}
    for kind in wanted:
        for spelling, one in there.typed[kind].items():
            if spelling.casefold() == rest.casefold() and not _changes_prefix(spelling, rest, one, there):
                loosely[one.text] = one
    return list(loosely.values())


def _changes_prefix(spelling: str, typed: str, one: Unit, there: Table) -> bool:
    """True when other capitals would make a milli of a mega: `MV` is no mV."""
    prefixed = one.bare[:1] in ("m", "M") and one.bare[1:] in there.typed[one.kind]
    return prefixed and spelling[:1] != typed[:1]


_WORD = re.compile(r"[^\W\d_]+")
_ROUND_A_MARK = re.compile(r"[()\[\]:;/]|(?<![0-9.,])-|[.,-](?![0-9])")
_TWO_NUMBERS = re.compile(r"[0-9] +[0-9]")


def _rating(plain: str, asked: _Asked) -> tuple[str, _Asked] | None:
    """A rating with the mark of its test behind the unit, wherever it stood (`EN 640 A`, `CCA 640 SAE`), and
    asked by this test alone; None where no mark is asked for, or one number stands alone.

    Raises:
        TypedError: it names two tests, none, or one that is not known; all ways to write it are named.
    """
    strict = [one for one in _firsts(asked.wanted) if kinds()[one.kind].strict]
    if not strict:
        return None
    marks = {
        kind.mark.casefold(): units_of(kind.name)[0] for kind in kinds().values() if kind.strict and kind.mark
    }
    bare = {
        word.casefold() for one in strict for spelling in (one.bare, *one.also) for word in spelling.split()
    }
    words = [word for word in _WORD.findall(plain) if word.casefold() not in bare]
    if not words and plain[:1].isdecimal():
        return None  # one number and no test: what is wanted is said already
    named = dict.fromkeys(marks[word.casefold()].text for word in words if word.casefold() in marks)
    others = [word for word in words if word.casefold() not in marks]
    without = _WORD.sub(lambda found: " " if found[0].casefold() in {*marks, *bare} else found[0], plain)
    number = " ".join(_ROUND_A_MARK.sub(" ", without).split())
    is_about = numerals.without_about(plain)[1]  # then CA may be *circa*
    one_number = number[:1].isdecimal() and not _TWO_NUMBERS.search(number)
    if len(named) == 1 and not others and not is_about and one_number:
        text = next(iter(named))
        by_this = tuple(one for one in strict if one.kind == unit(text).kind)
        return f"{number} {text}", attrs.evolve(asked, wanted=by_this or asked.wanted)
    plainly = number if re.fullmatch(r"[0-9]+", number) else "…"
    if len(named) > 1:
        what = f"names {len(named)} tests that it was rated by"
    elif named and (others or not is_about):
        what = "does not name a number and the test that it was rated by, and nothing else"
    else:
        what = "does not say by which of the tests known here it was rated"
    raise TypedError(
        f"{_in_quotes(asked.text)} {what}",
        asked.expected,
        any_of(_in_quotes(f"{plainly} {one.text}") for one in strict),
    )


def _firsts(wanted: Sequence[Unit]) -> list[Unit]:
    return list({one.kind: one for one in reversed(wanted)}.values())[::-1]


def _typed_text(one: Unit) -> str:
    """How a person would write it: without the mark unless it must be typed; a ratio needs no unit."""
    return one.text if kinds()[one.kind].strict else one.bare


def _example(number: str, wanted: Sequence[Unit]) -> str:
    return any_of(
        _in_quotes(f"{number} {_typed_text(one)}" if one.text not in BARE else number)
        for one in _firsts(wanted)
    )


def _unit_list(wanted: Sequence[Unit]) -> str:
    names = []
    for one in _firsts(wanted):
        same = list(dict.fromkeys([_typed_text(one), *(_typed_text(other) for other in units_of(one.kind))]))
        names.append(f"{_in_a_sentence(kinds()[one.kind].title)} in {any_of(same)}")
    return any_of(names)


def _in_a_sentence(title: str) -> str:
    return title[:1].lower() + title[1:]


def _in_quotes(text: str) -> str:
    """A text in quotation marks, with nothing in it that could disturb a terminal."""
    return '"' + "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text) + '"'


# ---- accuracy, as an instrument's sheet gives it

_PLAIN_NUMBER = re.compile(r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)(?![0-9.,]|[eE][+-]?[0-9])")
_PERCENT = re.compile(r"(?:%|percent)(?P<reading>\s*(?:of|o\.)\s*(?:the\s+)?(?:reading|rdg))?")
_DIGITS = re.compile(r"(?:digits?|dgts?|counts?|lsd)", re.IGNORECASE)
_POINTS = re.compile(r"(?:percentage\s+)?points?")
_ACCURACY = "an accuracy such as 0.5 % + 2 digits, or a fixed amount with its unit"


def parse_accuracy(text: str, unit: str) -> Accuracy:
    """± as an instrument's sheet prints it, for something measured in the declared `unit`.

    Terms joined by +: `0.5 %` (of the reading), `2 digits`, an amount `5 N`. Amounts come out in the coherent
    unit; of a kind with an offset they are differences (`2 °C` is 2 K), and percent of the reading has no
    meaning there. For a ratio a bare `%` could be of the reading or points: write `2 % of reading` or `2
    points`.

    >>> parse_accuracy("2 % + 5 N", "N")
    Accuracy(percent=2.0, digits=0.0, amount=5.0, text='2 % + 5 N')

    Raises:
        TypedError: not an accuracy, or none at all. UnitError: the unit does not exist.
    """
    own = _by_name(unit)
    if len(text) > _LONGEST:
        raise TypedError(f"{_in_quotes(text[:20] + '…')} is too long for an accuracy", _ACCURACY)
    plain = key_of(text).replace("+/-", "±").lstrip("± ").removeprefix("(").removesuffix(")").strip()
    sums: dict[str, Fraction] = {}
    for term in plain.split("+"):
        name, amount = _accuracy_term(term.strip(), text, own)
        sums[name] = sums[name] + amount if name in sums else amount
    if not any(sums.values()):
        raise TypedError(
            f"{_in_quotes(text)} promises a reading without uncertainty, and there is none",
            _ACCURACY,
            '"0.5 % + 2 digits"',
        )
    percent, digits, amounts = (float(sums.get(name, 0)) for name in ("percent", "digits", "amount"))
    return Accuracy(percent, digits, amounts, text)


def _by_name(text: str) -> Unit:
    return unit(text)


def _accuracy_term(term: str, text: str, own: Unit) -> tuple[str, Fraction]:
    match = _PLAIN_NUMBER.match(term)
    if match is None:
        raise TypedError(f"{_in_quotes(text)} is not an accuracy", _ACCURACY, '"0.5 % + 2 digits"')
    amount = Fraction(match[0].replace(",", "."))
    rest = term[match.end() :].strip()
    percent = _PERCENT.fullmatch(rest)
    if percent and own.kind == "ratio" and not percent["reading"]:
        raise TypedError(
            f"{_in_quotes(text)} leaves open what the percent are of",
            _ACCURACY,
            f'"{match[0]} % of reading" or "{match[0]} points"',
        )
    if percent and _has_offset(own.kind):
        raise TypedError(
            f"{_in_quotes(text)} gives a percentage of a {own.kind}, which depends on where its scale begins",
            _ACCURACY,
            f'"2 {own.bare}"',
        )
    if percent and amount > 100:
        raise TypedError(f"{_in_quotes(text)} is more than 100 %", _ACCURACY)
    if percent:
        return "percent", amount
    if _DIGITS.fullmatch(rest):
        return "digits", amount
    if own.kind == "ratio" and _POINTS.fullmatch(rest):
        return "amount", amount / 100
    if own.text in BARE and not rest:
        return "amount", amount
    found = _meant(rest, [own.kind]) or [
        one for spelling, one in table().unmarked.get(own.kind, {}).items() if spelling == rest
    ]
    if len(found) != 1:
        unit_problem = (
            f"{_in_quotes(rest)} in {_in_quotes(text)} is no unit of {own.kind}"
            if rest
            else f"{_in_quotes(term)} in {_in_quotes(text)} has no unit"
        )
        raise TypedError(unit_problem, f"%, digits or an amount in {own.bare}", f'"{match[0]} {own.bare}"')
    return "amount", amount * found[0].factor_exact


def _has_offset(kind: str) -> bool:
    return any(one.offset_exact for one in units_of(kind))


# ---- what paper shows

_MINUS = "−"
#: Digits of a float of which something may be left after a conversion; it holds fifteen.
_SURE_DIGITS = 12
#: Power of ten of a declared unit below which nobody measures anything; own estimate.
_FINEST = -15


# ---- the shop's own units

#: A unit that a shop may want printed → the declared units in whose place it is printed, of every kind that
#: has both.
IN_PLACE_OF: dict[str, tuple[str, ...]] = {
    "mi": ("km",),
    "ft": ("m",),
    "in": ("mm", "cm"),
    "mph": ("km/h",),
    "°F": ("°C", "K"),
    "psi": ("bar", "kPa", "MPa", "mbar", "hPa"),
    "inHg": ("kPa", "mbar", "hPa"),
}
_wanted: ContextVar[tuple[str, ...]] = ContextVar("units of the shop", default=())


@contextmanager
def shown_in(wanted: Sequence[str]) -> Iterator[None]:
    """Inside, quantities are printed in these units (keys of `IN_PLACE_OF`); what is computed, kept and
    typed stays as it is.
    """
    token = _wanted.set(tuple(wanted))
    try:
        yield
    finally:
        _wanted.reset(token)


def shown_unit(unit: str) -> str:
    """The unit in which paper and screens print what is declared in another: the shop's, where it wants one
    in its place, of the same kind. Of a difference it is the unit of a difference.

    >>> with shown_in(["°F", "psi"]):
    ...     shown_unit("°C"), shown_unit("K diff"), shown_unit("bar gauge"), shown_unit("V")
    ('°F', '°F diff', 'psi gauge', 'V')
    """
    wanted = _wanted.get()
    if not wanted:
        return unit
    own = _by_name(unit)
    for name in wanted:
        if own.bare in IN_PLACE_OF[name]:
            found = next((one.text for one in units_of(own.kind) if one.bare == name), "")
            if found:
                return found
    return unit


@attrs.frozen
class Scale:
    """The scale of a figure: the unit that it is drawn in, as paper writes it."""

    unit: str
    declared: str = attrs.field(repr=False)

    def at(self, number: float) -> float:
        """Where a number in the coherent unit of its kind stands on it."""
        return from_coherent(number, self.declared)


def shown_scale(unit: str) -> Scale:
    """The scale on which a figure draws what is declared in this unit: the shop's unit, where it wants one.

    Raises:
        UnitError: unknown unit.
    """
    shown = shown_unit(unit)
    return Scale(declared_text(shown), shown)


#: So many digits of a number that is exact in its own unit are printed in the shop's.
_DIGITS_CHANGED = 4


def show(value: Value, unit: str, uncertainty: bool = True, *, as_typed: bool = False) -> str:
    """A value as printed in a declared unit: `12.64 V ± 0.04 V (k = 2)`.

    The expanded uncertainty U = 2 u is rounded to two significant digits, to one when its first digit is 3 or
    more (GUM 7.2.6 asks for at most two; the one digit is our choice), and the number to the same place.
    Without uncertainty in it, or with less than a thousand-millionth of the number, the number stands alone
    with up to six digits; there is never an exponent. `uncertainty=False` leaves the ± part away and rounds
    the same. A count is a whole number and stands alone.

    It is printed in the shop's unit, where it wants one in place of the declared one; `as_typed`: not.

    Raises:
        UnitError: unknown unit. ValueError: the unit is of another kind than the value.
    """
    one = _by_name(unit)
    if one.kind != value.kind:
        raise ValueError(f"A {value.kind} cannot be shown in {one.text}, a unit of {one.kind}.")
    changed = unit if as_typed else shown_unit(unit)
    digits = 6 if changed == unit else _DIGITS_CHANGED
    one, unit = _by_name(changed), changed
    number = _in_unit(value.number, one)
    spread = _amount(2 * value.u, one)
    label = _label(one)
    if one.text == _COUNT:
        return _with_sign(_round(number, 0))
    if spread <= max(1e-9 * _size(value.number, one), 10.0**_FINEST):
        return decimal_text(value.number, unit, digits).replace("-", _MINUS) + label
    place = _place(spread)
    shown = _with_sign(_round(number, place)) + label
    return f"{shown} ± {_with_sign(_round(spread, place))}{label} (k = 2)" if uncertainty else shown


def show_uncertainty(u: float, unit: str) -> str:
    """A standard uncertainty, in the coherent unit, as printed in a declared unit at k = 2: `± 0.04 V`.

    Raises:
        UnitError: unknown unit. ValueError: it is not finite.
    """
    one = _by_name(shown_unit(unit))
    spread = _amount(2 * abs(u), one)
    return f"± {_with_sign(_round(spread, _place(spread))) if spread else '0'}{_label(one)}"


def decimal_text(number: float, unit: str, digits: int = 6) -> str:
    """A number in the coherent unit of its kind as people write it in a declared unit, without the unit: with
    at most so many digits, without an exponent, and without what the computer's own rounding left over.

    >>> decimal_text(273.15, "°C"), decimal_text(1e-05, "V"), decimal_text(1e-05, "mV")
    ('0', '0.00001', '0.01')

    Raises:
        UnitError: unknown unit. ValueError: the number is not finite.
    """
    one = _by_name(unit)
    shown = _in_unit(number, one)
    size = Decimal(repr(_size(number, one)))
    return numerals.decimal_text(shown, digits, max(size.adjusted() - _SURE_DIGITS if size else 0, _FINEST))


def _size(number: float, one: Unit) -> float:
    """How large the number is in this unit as the computer holds it: of a kind with an offset also the
    offset, in which its digits get lost.
    """
    if one.offset_exact:
        return float(max(abs(_fraction(number)), abs(one.offset_exact)) / one.factor_exact)
    return _amount(abs(number), one)


def _label(one: Unit) -> str:
    return "" if one.text in BARE else f" {declared_text(one.text)}"


def _place(spread: float) -> int:
    """The power of ten of the last digit to print for this much uncertainty."""
    exactly = Decimal(repr(spread))
    return exactly.adjusted() - (0 if exactly.as_tuple().digits[0] >= 3 else 1)


def _round(number: float, place: int) -> Decimal:
    return numerals.rounded(Decimal(repr(number)), place)


def _with_sign(number: Decimal) -> str:
    return f"{number:f}".replace("-", _MINUS)


# ---- pint's door


@lru_cache(maxsize=1)
def _registry() -> tuple[Any, set[str]]:
    """The one registry of this process, and what was defined in it."""
    import pint

    return pint.UnitRegistry(), set()


def registry() -> Any:
    """The one pint registry of this process, with the dimensions that pint lacks.

    Quantities of another registry do not mix. What a system declares for itself gets a dimension that is
    named after its kind: a stranger's text is never parsed.
    """
    made, defined = _registry()
    for line in dict.fromkeys(one.define for one in units() if one.define):
        if line not in defined:
            made.define(line)
            defined.add(line)
    return made


def quantity(value: Value) -> Any:
    """A Value as a pint Quantity in its kind's coherent unit; the uncertainty stays behind."""
    own = unit(kinds()[value.kind].unit)
    return registry().Quantity(value.number, own.pint)


def from_quantity(q: Any, unit: str) -> Value:
    """A pint Quantity (of our `registry()`) as an exact Value of the kind that the declared `unit` names.

    pint knows dimensions, not kinds: that 2 bar are meant as gauge pressure, or newton metres as torque, only
    `unit` says.

    Raises:
        ValueError: another dimension, another registry, a temperature for a difference or the reverse, or not
            one finite number.
    """
    import pint

    own = _by_name(unit)
    if not isinstance(q, registry().Quantity):
        raise ValueError(f"A quantity of corekit's own registry is needed, for {own.text}; got {q!r}.")
    named = str(q.units)
    is_difference = "delta_" in named
    is_reading = named in ("degree_Celsius", "degree_Fahrenheit")
    if (own.kind == "temperature" and is_difference) or (own.kind == "temperature difference" and is_reading):
        raise ValueError(
            f"{q} cannot be taken for a {own.kind}; 5 °C and a difference of 5 °C are two things."
        )
    try:
        coherent = float(q.to(table().declared[kinds()[own.kind].unit].pint).magnitude)
    except pint.DimensionalityError as error:
        raise ValueError(f"{q} cannot be taken for a {own.kind} in {own.text}: {error}.") from error
    except TypeError as error:
        raise ValueError(f"One number is needed for {own.text}; got {q!r}.") from error
    return exact(own.kind, coherent)
