"""From the bytes of a logger's file to lines of cells below titles.

Cells are parted by semicolon, tab, comma or bar. Titles may be preceded by lines that say other things, and
followed by a line of units. A delimiter at the end of every line, of the titles or of the numbers alone, adds
a cell that is no column; it is left out, and where it cannot be told which title a cell belongs to the file
is refused.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Sequence
from statistics import mode

import attrs

from ..fault import DataFault, quotation
from .errors import LogError

LARGEST = 16 << 20  # bytes: some hours of twenty columns
MOST_LINES = 400_000
LONGEST_LINE = 4_000  # characters
#: Lines with another number of cells that are set aside, as a share: a logger stops within a line.
_ASIDE = 0.02
_NAMED = 5
_MARKS = ";\t|,"
_BLANK = frozenset({"", "-", "--", "---", "nan", "n/a", "na", "null", "none", "no data", "?", "*"})
_NUMBER = re.compile(r"[+\-−]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_CLOCK = re.compile(r"(?:[0-9T./-]+[ T])?[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?(?:[.,][0-9]+)?(?: ?[AaPp][Mm])?Z?")
_DAY = re.compile(r"[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}")


def is_blank(cell: str) -> bool:
    """A cell in which no value is meant."""
    return cell.casefold() in _BLANK


@attrs.frozen(kw_only=True)
class Grid:
    """Titles and the lines below them: `rows[n]` are the cells of line `lines[n]`, as many as titles.

    `units` stand in a line of their own, or are empty. `remarks`: what was left out and why.
    """

    titles: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    remarks: tuple[str, ...] = ()

    def column(self, n: int) -> list[str]:
        return [row[n] for row in self.rows]


def read_grid(content: bytes) -> Grid:
    """The titles and lines of a logger's file.

    Raises:
        LogError: it is no table of numbers below titles, or its columns do not fit its titles.
    """
    remarks: list[str] = []
    rows = _numbered_lines(_text(content, remarks))
    mark, rows = _delimiter(rows)
    cells = [(number, _cells(line, mark)) for number, line in rows]
    first = next((n for n, (_, row) in enumerate(cells) if _is_data(row)), None)
    if first is None:
        _refuse("holds no line of numbers", "a logger's file: titles, and numbers below them")
    if first == 0:
        _refuse(
            "begins with numbers: no line above them says what the columns are",
            "titles above the numbers",
            "the file again with titles, or a title line put above them",
        )
    titles, own_units = _titles(cells[:first])
    titles, own_units, kept = _aligned_columns(titles, own_units, cells[first:], mark, remarks)
    return Grid(
        titles=tuple(titles),
        units=tuple(own_units),
        rows=tuple(tuple(row) for _, row in kept),
        lines=tuple(number for number, _ in kept),
        remarks=tuple(remarks),
    )


def _refuse(got: str, expected: str, write: str = "") -> None:
    raise LogError([DataFault("file", expected, got, write)])


# ---- text


def _text(content: bytes, remarks: list[str]) -> str:
    """The text in whatever a logger or a spreadsheet wrote it."""
    if len(content) > LARGEST:
        _refuse(f"is larger than {LARGEST >> 20} MiB", "a log of some hours", "a shorter stretch of it")
    if not content.strip():
        _refuse("is empty", "a logger's file")
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if content.startswith(mark):
            try:
                return content.decode(name)
            except UnicodeDecodeError:
                _refuse(f"begins like {name.removesuffix('-sig').upper()} text and is none", "text")
    if b"\0" in content:
        _refuse("holds NUL bytes, so it is no text", "a logger's file as text", "it again as CSV")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        remarks.append("The file is no UTF-8; it was read as Windows-1252, so check signs such as ° and µ.")
        return content.decode("cp1252", errors="replace")


def _numbered_lines(text: str) -> list[tuple[int, str]]:
    """Every line that says something, with its number."""
    lines = re.split(r"\r\n|\n|\r", text)
    if len(lines) > MOST_LINES:
        _refuse(f"has {len(lines)} lines", f"at most {MOST_LINES} lines", "a shorter stretch of it")
    found = [
        (number, line.strip("\ufeff \f\v"))
        for number, line in enumerate(lines, 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    long = next((number for number, line in found if len(line) > LONGEST_LINE), None)
    if long is not None:
        _refuse(f"line {long} is longer than {LONGEST_LINE} characters", "a line of cells")
    return found


def _delimiter(rows: list[tuple[int, str]]) -> tuple[str, list[tuple[int, str]]]:
    """The mark that parts the same number of cells, more than one, in most lines; a line `sep=;` names it."""
    if rows and (named := re.fullmatch(r"\"?sep=([;,\t|])\"?", rows[0][1])):
        return named[1], rows[1:]
    sample = [line for _, line in (*rows[:120], *rows[-80:])]
    best, most = "", 0.0
    for mark in _MARKS:
        counts = Counter(len(_cells(line, mark)) for line in sample)
        usual, times = max(
            ((count, times) for count, times in counts.items() if count > 1),
            key=lambda one: one[1],
            default=(0, 0),
        )
        # A comma may be the decimal mark of every number: another mark that fits as well goes before it.
        if usual and times > most * (1.25 if best else 1.0):
            best, most = mark, times
    if not best:
        _refuse(
            "has one column only",
            "columns parted by semicolon, tab, comma or bar",
            "the log as CSV, with a time and one quantity at least",
        )
    return best, rows


def _cells(line: str, mark: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=mark))]
    except (csv.Error, StopIteration):
        return [cell.strip() for cell in line.split(mark)]


def _is_value(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell) or _CLOCK.fullmatch(cell) or _DAY.fullmatch(cell))


def _is_data(row: Sequence[str]) -> bool:
    """A line of numbers: at least two cells, and at least half of those that say something."""
    said = [cell for cell in row if not is_blank(cell)]
    values = sum(map(_is_value, said))
    return values >= 1 and len(row) > 1 and 2 * values >= len(said)


# ---- titles and alignment


def _titles(above: list[tuple[int, list[str]]]) -> tuple[list[str], list[str]]:
    """The title line, and the line of units between it and the numbers where there is one.

    The last line with as many cells as any above the numbers is the title line; if the one before it has as
    many, and it looks like units, that one is.
    """
    widest = max(len([cell for cell in row if cell]) for _, row in above)
    full = [row for _, row in above if len([cell for cell in row if cell]) * 2 > widest]
    if widest < 2:
        _refuse("has no line of titles above its numbers", "a title for each column")
    last = full[-1]
    if len(full) > 1 and _looks_like_units(last) and len(full[-2]) >= len(last) - 1:
        return list(full[-2]), list(last)
    return list(last), []


def _looks_like_units(row: Sequence[str]) -> bool:
    from .column import unit_in

    said = [cell for cell in row if cell]
    return bool(said) and 2 * sum(bool(unit_in(cell)) for cell in said) > len(said)


def _aligned_columns(
    titles: list[str],
    own_units: list[str],
    data: list[tuple[int, list[str]]],
    mark: str,
    remarks: list[str],
) -> tuple[list[str], list[str], list[tuple[int, list[str]]]]:
    """Titles, units and lines with one cell each for every column."""
    usual = mode(len(row) for _, row in data)
    while titles and not titles[-1] and len(titles) != usual:
        titles.pop()
    odd = [(number, row) for number, row in data if len(row) != usual]
    kept = [(number, row) for number, row in data if len(row) == usual]
    surplus = usual - len(titles)
    while surplus > 0 and all(not row[-1] for _, row in kept):
        kept = [(number, row[:-1]) for number, row in kept]
        surplus -= 1
    if surplus > 0 and all(not row[0] for _, row in kept):
        kept = [(number, row[1:]) for number, row in kept]
        surplus -= 1
    if surplus < 0 and all(not title for title in titles[surplus:]):
        titles, surplus = titles[:surplus], 0
    if surplus:
        number = kept[0][0]
        comma = (
            "Commas part the columns and seem to be the decimal mark as well; export with semicolons"
            if mark == "," and usual >= 2 * len(titles) - 1
            else "the file again with a title for every column"
        )
        raise LogError(
            [
                DataFault(
                    f"line {number}",
                    f"{len(titles)} cells, one for each title",
                    f"has {len(kept[0][1])} cells below {len(titles)} titles, and nothing tells which title"
                    " belongs to which",
                    comma,
                )
            ]
        )
    mended = [(number, row) for number, row in odd if _fits(row, len(titles))]
    kept += [(number, [*row[: len(titles)], *[""] * (len(titles) - len(row))]) for number, row in mended]
    kept.sort(key=lambda one: one[0])
    lost = [number for number, row in odd if not _fits(row, len(titles))]
    if len(lost) > max(2, _ASIDE * len(data)):
        raise LogError(
            [
                DataFault(
                    f"line {lost[0]}",
                    f"{len(titles)} cells, as in the other lines",
                    f"{len(lost)} of {len(data)} lines have another number of cells",
                    "the file again as the logger wrote it",
                )
            ]
        )
    if lost:
        named = ", ".join(map(str, lost[:_NAMED]))
        remarks.append(f"Left out: line {named}, with another number of cells than {len(titles)}.")
    return titles, (own_units + [""] * len(titles))[: len(titles)], kept


def _fits(row: list[str], columns: int) -> bool:
    """A line with empty cells too many; one that is short was cut off, and its last number with it."""
    return len(row) > columns and not any(row[columns:])


def shown_titles(titles: Sequence[str]) -> str:
    return ", ".join(quotation(title) for title in titles[:12] if title)
