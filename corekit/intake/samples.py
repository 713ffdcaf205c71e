"""Samples from a file of two columns, as loggers and spreadsheets write it.

Columns are parted by semicolons, tabs or commas; numbers have a decimal point or a decimal comma, one of them
throughout. Lines above the numbers name the columns and may give their units: `Time [s]`, `Current (A)`,
`t / s`, `mA`. Blank lines, and lines that begin with `#`, say nothing. Whatever else is no number is named
with its line; nothing in a cell is ever carried out.
"""

from __future__ import annotations

import csv
import hashlib
import math
import re
from collections.abc import Iterable, Sequence
from fractions import Fraction

import attrs

from .. import units
from ..datafile import text_of
from ..fault import DataFault, DataFileError, quotation
from ..model.sampling import LEAST_SAMPLES, MOST_SAMPLES, Sampling
from ..units import TypedError

LONGEST_LINE = 200  # characters; two numbers take forty
#: So many lines of one kind of fault are named, the rest are counted: a file that is no such file has one in
#: every line.
NAMED = 8
MOST_TITLES = 4  # lines above the numbers

_WHAT = "a file of two columns"
_BOM = b"\xef\xbb\xbf"  # what a spreadsheet puts before its UTF-8
_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,20}(?:[.,][0-9]{1,20})?|[.,][0-9]{1,20})(?:[eE][+-]?[0-9]{1,3})?")
_BEGINS_A_NUMBER = re.compile(r"[+\-−]?[.,]?[0-9]")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}(?![0-9]).*")
_IN_BRACKETS = re.compile(r".*[\[(]\s*([^\[\]()]+?)\s*[\])]\s*")
_BEHIND = re.compile(r".*\s(?:/|in)\s+(\S+)")


class SamplesError(DataFileError):
    """A file holds no record that can be taken."""


@attrs.frozen(kw_only=True)
class Samples:
    """What a file holds, in coherent units; `unit` and `over_unit` are those it came in, `lines` where each
    sample stands.
    """

    over: tuple[float, ...]
    samples: tuple[float, ...]
    over_unit: str
    unit: str
    sha256: str
    lines: tuple[int, ...]


@attrs.frozen
class _Line:
    number: int
    cells: tuple[str, str]


def read_samples(content: bytes, sampling: Sampling, given: Sequence[str] = (), decimal: str = "") -> Samples:
    """The samples that a file holds.

    Args:
        given: The units of the two columns, where the file does not say them: first what is sampled over.
        decimal: The decimal mark, `.` or `,`; needed only where commas may part thousands.

    Raises:
        SamplesError: every fault with its line, but of one kind no more than a few.
    """
    try:
        text = text_of(content.removeprefix(_BOM), _WHAT)
    except DataFileError as error:
        raise SamplesError(error.faults) from error
    faults = _LineFaults()
    lines = _lines(text, faults)
    titles = next((n for n, line in enumerate(lines) if _holds_number(line)), len(lines))
    declared = (sampling.over_unit, sampling.unit)
    found = [
        _unit_of(column, lines[: min(titles, MOST_TITLES)], declared[column], given, faults)
        for column in (0, 1)
    ]
    if titles > MOST_TITLES:
        faults.add(
            lines[0].number,
            f"the first {titles} lines hold no number",
            f"at most {MOST_TITLES} lines above the numbers, or # before each",
        )
    rows = lines[titles:]
    if not LEAST_SAMPLES <= len(rows) <= MOST_SAMPLES and not faults.found:
        faults.add(
            0,
            f"holds {len(rows)} samples",
            f"{LEAST_SAMPLES} to {MOST_SAMPLES}",
            "every second or tenth line alone" if len(rows) > MOST_SAMPLES else "",
        )
    faults.refuse()
    mark = _decimal_mark(rows, decimal, faults)
    faults.refuse()
    columns = [_numbers(rows, column, found[column], declared[column], mark, faults) for column in (0, 1)]
    faults.refuse()
    numbers = tuple(line.number for line in rows)
    rising(columns[0], [f"line {number}" for number in numbers], [line.cells[0] for line in rows], faults)
    faults.refuse()
    return Samples(
        over=tuple(columns[0]),
        samples=tuple(columns[1]),
        over_unit=found[0] or declared[0],
        unit=found[1] or declared[1],
        sha256=hashlib.sha256(content).hexdigest(),
        lines=numbers,
    )


@attrs.define
class _LineFaults:
    """Faults with the line that they stand in; 0 is the whole file."""

    found: list[DataFault] = attrs.field(factory=list)

    def add(self, line: int | str, got: str, expected: str, write: str = "") -> None:
        where = line if isinstance(line, str) else f"line {line}" if line else "file"
        self.found.append(DataFault(where, expected, got, write))

    def several(self, faults: Iterable[tuple[int | str, str]], expected: str, write: str = "") -> None:
        """Faults of one kind: the first of them, and how many there are besides."""
        listed = list(faults)
        for line, got in listed[:NAMED]:
            self.add(line, got, expected, write)
        if len(listed) > NAMED:
            self.add(0, f"{len(listed) - NAMED} more lines have the same fault", expected)

    def refuse(self) -> None:
        if self.found:
            raise SamplesError(self.found)


def rising(over: Sequence[float], where: Sequence[str], typed: Sequence[str], faults: _LineFaults) -> None:
    """Names every place on the scale that comes again, or after a later one."""
    wrong: list[tuple[int | str, str]] = []
    for n in range(1, len(over)):
        if over[n] <= over[n - 1]:
            again = "comes again after" if over[n] == over[n - 1] else "comes after"
            wrong.append((where[n], f"{quotation(typed[n])} {again} {quotation(typed[n - 1])}"))
    faults.several(wrong, "one sample at each place, from the first to the last")


def points_rise(over: Sequence[float], typed: Sequence[str]) -> tuple[DataFault, ...]:
    """The same for points that were typed by hand; the faults name the point, counted from 0."""
    faults = _LineFaults()
    rising(over, [str(n) for n in range(len(over))], typed, faults)
    return tuple(faults.found)


# ---- from text to cells


def _lines(text: str, faults: _LineFaults) -> list[_Line]:
    """Every line that says something, in its two cells."""
    rows = [
        (number, line.strip())
        for number, line in enumerate(re.split(r"\r\n|\n|\r", text), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    mark = _separator(rows)
    if rows and re.fullmatch(r"sep=.?", rows[0][1]):
        rows = rows[1:]
    too_long = [(number, f"has {len(line)} characters") for number, line in rows if len(line) > LONGEST_LINE]
    faults.several(too_long, f"two numbers, at most {LONGEST_LINE} characters")
    found, odd = [], []
    for number, line in rows:
        if len(line) > LONGEST_LINE:
            continue
        try:
            cells = [cell.strip() for cell in next(csv.reader([line], delimiter=mark, strict=True))]
        except csv.Error as error:
            odd.append((number, f"{quotation(line)} cannot be parted into columns ({error})"))
            continue
        while len(cells) > 2 and not cells[-1]:
            cells.pop()
        if len(cells) == 2:
            found.append(_Line(number, (cells[0], cells[1])))
        else:
            columns = "1 column" if len(cells) == 1 else f"{len(cells)} columns"
            odd.append((number, f"{quotation(line)} has {columns}"))
    faults.several(odd, "two columns, parted by semicolon, tab or comma")
    return found


def _separator(rows: Sequence[tuple[int, str]]) -> str:
    """The first of semicolon, tab and comma that the last line has: titles may hold commas of their own."""
    if rows and (named := re.fullmatch(r"sep=([;,\t])", rows[0][1])):
        return named[1]
    last = rows[-1][1] if rows else ""
    return next((mark for mark in ";\t" if mark in last), ",")


def _holds_number(line: _Line) -> bool:
    """True for a line of samples, also for one in which one of the two is none: that is then named."""
    return any(_BEGINS_A_NUMBER.match(cell) for cell in line.cells)


# ---- units


def _unit_of(
    column: int, titles: Sequence[_Line], declared: str, given: Sequence[str], faults: _LineFaults
) -> str:
    """The unit of a column, as given or as its title says; empty where neither does, and each number has to.

    A unit that belongs to another kind is a fault: then the columns were probably swapped.
    """
    told = {line.number: unit for line in titles if (unit := _title_unit(line.cells[column], declared))}
    kind = units.unit(declared).kind
    for number, text in told.items():
        try:
            told[number] = units.read_quantity(f"1 {text}", [declared]).unit
        except TypedError:
            faults.add(
                number, f"column {column + 1} is in {quotation(text)}", f"a {kind}", "the columns swapped"
            )
            return ""
    said = next(iter(told.values()), "")
    own = given[column] if given else ""
    if own and said and own != said:
        faults.add(
            next(iter(told)), f"column {column + 1} is in {said}, and the row says {own}", "one unit for it"
        )
    return own or said


def _title_unit(title: str, declared: str) -> str:
    """The unit that a title ends with; empty where none does. Words in brackets are units only where they
    are some.
    """
    plain = title.strip()
    match = _IN_BRACKETS.fullmatch(plain) or _BEHIND.fullmatch(plain)
    text = match[1] if match else plain
    for accepted in (declared, text):
        try:
            units.read_quantity(f"1 {text}", [accepted])
        except (TypedError, units.UnitError):
            continue
        return text
    return ""


# ---- numbers


def _decimal_mark(rows: Sequence[_Line], decimal: str, faults: _LineFaults) -> str:
    """The decimal mark of the whole file: one that uses both is refused, and so is a comma that may part
    thousands everywhere.
    """
    marked = {
        mark: [(line.number, cell) for line in rows for cell in line.cells if mark in cell] for mark in ".,"
    }
    if marked["."] and marked[","]:
        number, cell = marked[","][0]
        other, point = marked["."][0]
        faults.add(
            number,
            f"{quotation(cell)} has a comma, and {quotation(point)} in line {other} a point",
            "one decimal mark",
        )
    elif decimal and marked["," if decimal == "." else "."]:
        number, cell = marked["," if decimal == "." else "."][0]
        faults.add(
            number,
            f"{quotation(cell)} has another mark than decimal = {quotation(decimal)}",
            "one decimal mark",
        )
    elif marked[","] and not decimal and all(_THOUSANDS.fullmatch(cell) for _, cell in marked[","]):
        number, cell = marked[","][0]
        faults.add(
            number,
            f"{quotation(cell)} may mean two numbers a thousandfold apart, and so may every other one here",
            "a file without marks between thousands",
            'decimal = "," in the row if the comma is the decimal mark',
        )
    return "," if marked[","] else "."


def _numbers(
    rows: Sequence[_Line], column: int, unit: str, declared: str, mark: str, faults: _LineFaults
) -> list[float]:
    numbers: list[float] = []
    wrong: list[tuple[int | str, str]] = []
    one = units.unit(unit or declared)
    for line in rows:
        cell = line.cells[column].replace("−", "-")
        try:
            if unit:
                numbers.append(_number(cell, mark, one.factor_exact, one.offset_exact))
            else:
                numbers.append(units.read_quantity(cell, [declared], mark).number)
        except TypedError as error:
            wrong.append((line.number, f"column {column + 1}, {error.got}"))
        except (ValueError, OverflowError):
            shown = quotation(line.cells[column])
            wrong.append((line.number, f"{shown} in column {column + 1} is not a number"))
    if unit:
        faults.several(wrong, f"a number in {unit}", "the file without this line if nothing was read")
    else:
        expected = (
            f"a number with its unit, the unit in the column's title ([{declared}]), or units in the row"
        )
        faults.several(wrong, expected)
    return numbers


def _number(cell: str, mark: str, factor: Fraction, offset: Fraction) -> float:
    """Exactly what is written, in the coherent unit, rounded once.

    Raises:
        ValueError: it is no plain number. OverflowError: nothing is that large.
    """
    if not _NUMBER.fullmatch(cell):
        raise ValueError(cell)
    number = float(Fraction(cell.replace(mark, ".")) * factor + offset)
    if not math.isfinite(number):
        raise OverflowError(cell)
    return number
