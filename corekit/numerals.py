"""Numbers as people type them, before anybody asks for their unit.

One number, a range (`3.5-4`), a number with its own ± (`3.5 ± 0.2`) or an approximation (`~11`, `about 8`) is
understood; what a display shows beyond its range (`OL`, `1 .`), a bound (`>20`) and a judgement (`within
spec`) are told apart from numbers; whatever could be mistaken for another number is refused with what it
probably means. Nothing here is ever handed to a general parser.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction

import attrs

from .errors import CorekitError

#: How loosely a number was typed; what each allows for stands in `LOOSELY`.
RANGE, ABOUT, OWN = "range", "about", "±"

#: Way of typing → what it allows for, as it is printed beside the instrument's uncertainty. Half-widths are
#: taken as evenly likely (JCGM 100:2008, 4.3.7); that *about* means five in a hundred or half a last digit is
#: our own estimate, no source.
LOOSELY = {
    RANGE: "typed as a range: ± half its width",
    ABOUT: "typed as about: ± 5 % of it, or ± half a step of its last digit where that is more",
    OWN: "typed with a ± of its own",
}
SEVERAL = "is more than one number"
ABOUT_SHARE = Fraction(5, 100)  # own estimate, no source


class NumberError(CorekitError, ValueError):
    """A text that holds no number, or one that could be mistaken for another.

    Attributes:
        what: What is wrong, to be read after the text (`has a space inside its number`).
        numbers: What to write in its place, still without a unit; several when nobody can know which is
            meant.
        tail: What follows the number, for whoever finds the unit in it.
    """

    def __init__(self, what: str, numbers: tuple[str, ...] = (), tail: str = "") -> None:
        self.what, self.numbers, self.tail = what, numbers, tail
        super().__init__(what)


@attrs.frozen
class Numeral:
    """One number: exactly what it is, how to write it plainly, and what one step of its last digit is."""

    value: Fraction
    shown: str
    step: Fraction


def decimal_text(number: float, digits: int = 6, finest: int | None = None) -> str:
    """A number as people write it: never with an exponent, and without zeros that say nothing.

    Args:
        digits: At most so many significant digits.
        finest: Power of ten below which nothing is meant: what is left over by the computer's own rounding.

    >>> decimal_text(1e-05), decimal_text(1234567.0, 3), decimal_text(-2.27e-14, finest=-10)
    ('0.00001', '1230000', '0')
    """
    exactly = Decimal(repr(number))
    place = exactly.adjusted() - digits + 1
    shown = rounded(exactly, place if finest is None else max(place, finest))
    text = f"{shown:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def rounded(number: Decimal, place: int) -> Decimal:
    """The number rounded to this power of ten, halves away from zero; zero has no sign."""
    scaled = number.scaleb(-place, _WIDE).quantize(Decimal(1), ROUND_HALF_UP, _WIDE)
    return (abs(scaled) if scaled == 0 else scaled).scaleb(place, _WIDE)


_WIDE = Context(prec=400)
_NUMBER = re.compile(
    r"(?P<sign>[+-]?)(?P<whole>[0-9]*)(?:(?P<mark>[.,])(?P<part>[0-9]+))?(?:[eE](?P<power>[+-]?[0-9]{1,2})(?![0-9]))?"
)

_FRACTION = re.compile(
    r"(?P<sign>-?)\+?(?:(?P<whole>[0-9]{1,6}) )?(?P<top>[0-9]{1,6}) ?/"
    r" ?(?P<below>0*[1-9][0-9]{0,5})(?![0-9.,/])(?P<tail>.*)"
)


def leading(plain: str, decimal: str = "") -> tuple[Numeral, str]:
    """The number that a text begins with, and what follows it, its blanks stripped.

    Args:
        plain: With single spaces and `-` for every minus.
        decimal: The mark of the shop, `.` or `,`; empty when both are usual. The other mark counts where it
            cannot be one between thousands.

    Raises:
        NumberError: no number, or one that could be mistaken for another.
    """
    if fraction := _FRACTION.match(plain):
        written = Fraction(int(fraction["top"]), int(fraction["below"])) + int(fraction["whole"] or 0)
        raise NumberError(
            "is a fraction",
            (f"{fraction['sign']}{decimal_text(float(written), 4)}".replace(".", decimal or "."),),
            fraction["tail"].strip(),
        )
    match = _NUMBER.match(plain)
    assert match is not None  # the pattern matches the empty text too
    if not match["whole"] and not match["part"]:
        raise NumberError("does not begin with a number")
    whole, part, power = match["whole"] or "0", match["part"] or "", int(match["power"] or 0)
    rest = plain[match.end() :]
    _refuse_odd(match, rest, decimal)
    sign = "-" if match["sign"] == "-" else ""
    ten = Fraction(10) ** power
    shown = f"{sign}{whole}" + (f".{part}" if part else "")
    if power:  # nobody reads an exponent on paper
        shown = f"{Decimal(shown).scaleb(power, _WIDE):f}"
    value = Fraction(f"{sign}{whole}.{part or '0'}") * ten
    return Numeral(value, shown.replace(".", decimal or "."), ten / 10 ** len(part)), rest.strip()


def _refuse_odd(match: re.Match[str], rest: str, decimal: str) -> None:
    """Whatever could be mistaken for another number is refused with what it probably means."""
    whole, part, sign = match["whole"], match["part"], match["sign"].replace("+", "")
    after = rest.lstrip()
    point = decimal or "."

    def odd(what: str, *numbers: str) -> NumberError:
        return NumberError(
            what, tuple(number.replace(".", point) for number in numbers), re.sub(r"^[\s0-9.,_'’]*", "", rest)
        )

    if whole == "0" and not part and rest[:1] in ("x", "X"):
        raise odd("is a hexadecimal number")
    if rest[:1] in ("_", "'", "’"):
        raise odd(
            f'has "{rest[0]}" inside its number',
            sign + re.sub(r"[_'’]", "", _run(match[0] + rest)).replace(",", "."),
        )
    if match["mark"] and rest[:1] in (".", ",") and rest[1:2].isdecimal():
        raise odd("has more than one decimal mark", sign + _without_thousands(_run(match[0] + rest)))
    if rest[:1].isdecimal() or (rest[:1] in ("e", "E") and rest[1:2] and rest[1:2] in "+-0123456789"):
        raise odd("has an exponent that nobody measures")
    plainly = match[0].lstrip("+").replace(",", ".")
    if after[:1].isdecimal():
        tail = _run(after)
        numbers = [plainly + tail.replace(",", ".")]
        if not part and tail.isdecimal():
            numbers.insert(
                1 if len(tail) == 3 else 0, f"{plainly}.{tail}"
            )  # a group of three is more likely thousands
        raise odd("has a space inside its number", *numbers)
    if _SEPARATOR.match(after) or after[:1] in ("-", "…", "~", "±"):
        raise odd(SEVERAL, plainly)
    if after[:1] in (".", ","):
        raise odd("has a decimal mark with no digits beside it", plainly)
    if _may_be_thousands(match, decimal):
        either = (f"{sign}{whole}.{part}", f"{sign}{whole}{part}")
        raise odd(
            "may mean two numbers a thousandfold apart", *(either if decimal != "." else reversed(either))
        )


def _may_be_thousands(match: re.Match[str], decimal: str) -> bool:
    """A mark before exactly three digits, and not the shop's own decimal mark.

    Where the shop names none the point is one.
    """
    whole, part = match["whole"], match["part"]
    foreign = "." if decimal == "," else ","
    return match["mark"] == foreign and len(part) == 3 and 1 <= len(whole) <= 3 and not whole.startswith("0")


def _run(text: str) -> str:
    match = re.match(r"[0-9.,_'’]*", text.lstrip("+-"))
    return match[0].rstrip(".,_'’") if match else ""


def _without_thousands(digits: str) -> str:
    """`1.234,5` → `1234.5`, `1,234,567` → `1234567`: the last mark is decimal when it differs
    from the first.
    """
    marks = [sign for sign in digits if sign in ".,"]
    if marks[0] != marks[-1]:
        head, _, tail = digits.rpartition(marks[-1])
        return re.sub(r"[.,]", "", head) + "." + tail
    return re.sub(r"[.,]", "", digits)


# ---- more than one number, and less than one


def _either(*words: str) -> str:
    """A pattern for any of the words (patterns themselves), the longer ones first."""
    return f"(?:{'|'.join(sorted(words, key=len, reverse=True))})"


_A_NUMBER = r"(?=[+-]?[.,]?[0-9])"
_A_NUMBER_OR_SO = r"(?=[+-]?[.,]?[0-9OoIl])"  # a letter may stand for a digit in it
_SEPARATOR = re.compile(rf"\s*(?P<mark>±|\+/?-|-|–|—|…|\.{{2,3}}|\b(?:to|and|or)\b)\s*{_A_NUMBER}")
_BETWEEN = re.compile(r"between\s+", re.IGNORECASE)
_WORDS_FOR_ABOUT = _either(
    "about",
    "approximately",
    r"approx\.?",
    r"appr\.?",
    r"ca\.?",
    "circa",
    "around",
    "roughly",
    "close to",
    "something like",
)
_ABOUT = re.compile(rf"(?:[~≈∼]|{_WORDS_FOR_ABOUT}(?![a-z]))\s*{_A_NUMBER_OR_SO}", re.IGNORECASE)


@attrs.frozen
class Split:
    """Where a text falls into two numbers: what stands before the mark, the mark, and what follows it."""

    head: str
    mark: str
    tail: str


def splits(plain: str) -> Iterator[Split]:
    """Every place where a range may be divided, first to last; the head always holds a digit."""
    between = _BETWEEN.match(plain)
    text = plain[between.end() :] if between else plain
    for match in _SEPARATOR.finditer(text):
        head = text[: match.start()]
        joins = match["mark"] != "or" and (match["mark"] != "and" or between is not None)
        if joins and any(sign.isdecimal() for sign in head):
            yield Split(head, OWN if match["mark"] in ("±", "+-", "+/-") else RANGE, text[match.end() :])


def without_about(plain: str) -> tuple[str, bool]:
    """The text without the word or sign that makes it an approximation, and whether there was one."""
    match = _ABOUT.match(plain)
    return (plain[match.end() :], True) if match else (plain, False)


_ON_A_DISPLAY = _either(r"[O0]\.?L\.?", "OFL?", r"1\s+\.", "-{2,}", "—+", "∞", "inf", "infinity", "infinite")
_IN_WORDS = _either(
    "over", "over-?range", "over ?load", "out of range", "open", "open circuit", "no continuity"
)
_BEYOND = re.compile(rf"[+-]?(?:{_ON_A_DISPLAY}|{_IN_WORDS})(?![a-z.])\s*[^\s0-9]{{0,12}}", re.IGNORECASE)
_WITHIN = r"(?:with)?in(?: its| the)? (?:specs?|specifications?|limits?|range|tolerance)"
_OPINION = _either(
    "in order",
    "ok",
    "okay",
    "good",
    "fine",
    "normal",
    "bad",
    "pass",
    "passed",
    "fail",
    "failed",
    "low",
    "high",
    "none",
    "no change",
)
_JUDGED = re.compile(rf"{_WITHIN}|{_OPINION}", re.IGNORECASE)
_SIDES = _either(
    "[<>≤≥]=?",
    "less than",
    "more than",
    "greater than",
    "smaller than",
    "over",
    "under",
    "above",
    "below",
    "at least",
    "at most",
    "up to",
    "exceeding",
    "beyond",
    r"max\.?",
    r"min\.?",
)
_BOUND = re.compile(rf"{_SIDES}\s*{_A_NUMBER}", re.IGNORECASE)
_OPEN_END = re.compile(r"[+-]?[.,]?[0-9].*?(?:\+|\bor (?:more|less|above|below|over|under))", re.IGNORECASE)


def beyond(plain: str) -> bool:
    """A mark that a display shows beyond its range, or that says the same in words."""
    return _BEYOND.fullmatch(plain) is not None


def judged(plain: str) -> bool:
    """A judgement in the place of a number."""
    return _JUDGED.fullmatch(plain.rstrip(".! ")) is not None


def bound(plain: str) -> bool:
    """A text that says on which side of a number the reading lies, and not what it is."""
    return _BOUND.match(plain) is not None or _OPEN_END.fullmatch(plain) is not None


# ---- letters in the place of digits

_MIXED = re.compile(r"(?<![\w.,])[+-]?[0-9OoIl.,]*[0-9][0-9OoIl.,]*")
_PLAIN = re.compile(r"[+-]?(?:0|[1-9][0-9]*)?(?:[.,][0-9]+)?")
_LETTERS = str.maketrans("OoIl", "0011")


def with_digits(plain: str) -> tuple[str, bool]:
    """The text with the letters O and o read as 0, I and l as 1 where they stand in a number, and whether
    nothing else can be meant.

    A letter at the end of a number that touches what follows may begin a unit (`20oC`, `5l`): that is for
    asking, not for reading.
    """
    sure = True

    def digits(match: re.Match[str]) -> str:
        nonlocal sure
        token = match[0]
        read = token.translate(_LETTERS)
        if read == token or not _PLAIN.fullmatch(read):
            return token
        after = plain[match.end() :]
        if token[-1] in "Oo" and after.lstrip()[:1] in ("C", "F"):
            return token  # a degree sign, as far as a keyboard has one
        if token[-1] in "OoIl" and (after[:1].isalpha() or after[:1] in "°/" or not after):
            sure = False
        return read

    return _MIXED.sub(digits, plain), sure
