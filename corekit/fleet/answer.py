"""An answer as a table of text, as CSV, and as a figure."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

import attrs

from ..model.figure import Dot, Figure, Label, Mark, Polyline
from ..plugin.host import Plugins
from ..report.figure_svg import figure_svg
from .questions import LEAST_VEHICLES, Question, Tables

#: Digits that are shown of a number that is no count.
DIGITS = 3
#: Rows that a figure draws at most: the first of the answer.
MOST_DRAWN = 40
_ROW_MM = 4.5
_WHOLE = 1e-6


@attrs.frozen(kw_only=True)
class Answer:
    """The rows of an answer, in order: the columns of the question's names, then what is said of them.

    `hidden`: so many rows are of too few vehicles, and nothing of them is told.
    """

    question: Question
    rows: tuple[Mapping[str, Any], ...]
    hidden: int

    @property
    def headings(self) -> tuple[str, ...]:
        return tuple(self.question.columns.values())

    def cells(self) -> list[tuple[str, ...]]:
        """Every row as texts, as they are printed."""
        return [tuple(_text(row[name]) for name in self.question.columns) for row in self.rows]


def answer_of(question: Question, tables: Tables) -> Answer:
    """Ask the question of the tables, wherever they are."""
    made = question.expression(tables).to_pyarrow().to_pylist()
    rows = [{name: _plain(value) for name, value in row.items()} for row in made]
    shown = [row for row in rows if row["vehicles"] >= LEAST_VEHICLES]
    return Answer(
        question=question,
        rows=tuple(sorted(shown, key=lambda row: _order(question, row))),
        hidden=len(rows) - len(shown),
    )


def in_words(answer: Answer, plugins: Plugins) -> Answer:
    """The same with titles beside the keys, as whoever reads it knows the things."""
    from ..complaints import symptoms

    def words(value: Any) -> Any:
        if not isinstance(value, str):
            return value
        if value in symptoms().symptoms:
            return symptoms().symptoms[value].words
        title = plugins.title(value)
        if title != value:
            return title
        system, _, key = value.partition(".")
        table = plugins.systems[system].faults if system in plugins.systems else None
        if table is not None and key in table.faults:
            return table.faults[key].name
        if table is not None and key in table.tests:
            return table.tests[key].question
        return value

    named = set(answer.question.names)
    rows = [{name: words(row[name]) if name in named else row[name] for name in row} for row in answer.rows]
    return attrs.evolve(answer, rows=tuple(rows))


def as_text(answer: Answer) -> str:
    """The answer as a table for a terminal, with what was left out below it."""
    lines = [answer.question.asks, ""]
    cells = [answer.headings, *answer.cells()]
    widths = [max(len(row[n]) for row in cells) for n in range(len(answer.headings))]
    is_text = [
        bool(answer.rows) and all(isinstance(row[name], str) for row in answer.rows)
        for name in answer.question.columns
    ]
    for row in cells:
        padded = (
            cell.ljust(width) if left else cell.rjust(width)
            for cell, width, left in zip(row, widths, is_text, strict=True)
        )
        lines.append("  ".join(padded).rstrip())
    if not answer.rows:
        lines.append(f"Nothing is known of {LEAST_VEHICLES} vehicles or more.")
    if answer.hidden:
        lines += ["", f"{answer.hidden} more of fewer than {LEAST_VEHICLES} vehicles are not shown."]
    return "\n".join(lines) + "\n"


def as_csv(answer: Answer) -> str:
    """The answer as CSV (RFC 4180), by the columns' names and with all digits."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(answer.question.columns)
    writer.writerows(
        ["" if row[name] is None else row[name] for name in answer.question.columns] for row in answer.rows
    )
    return text.getvalue()


def figure_of(answer: Answer) -> Figure:
    """Each row as a dot with the whisker of its interval on one common scale."""
    value, low, high = answer.question.figure
    rows = answer.rows[:MOST_DRAWN]
    # Unlike units share no scale: of readings each row has its own, from end to end of it.
    own = answer.question.key == "readings"
    ends = [(row[low], row[high]) for row in rows]
    least = min((one for one, _ in ends), default=0.0)
    most = max((one for _, one in ends), default=1.0)
    least, most = min(0.0, least), most if most > least else least + 1.0
    height = len(rows) + 1.0
    marks: list[Mark] = []
    for n, row in enumerate(rows):
        y = height - n - 1.0
        start, end = (row[low], row[high]) if own else (least, most)
        across = (end - start) or 1.0

        def at(number: float, start: float = start, across: float = across) -> float:
            return 55.0 + 40.0 * (number - start) / across

        name = ", ".join(str(row[one]) for one in answer.question.names if row[one] not in (None, ""))
        marks += [
            Label(0.0, y - 0.15, name, "start"),
            Polyline(((at(row[low]), y), (at(row[high]), y))),
            Dot(at(row[value]), y),
            Label(100.0, y - 0.15, f"{_text(row[value])}, n {row['vehicles']}", "end"),
        ]
    if not own and rows:
        marks.append(Polyline(((55.0, 0.3), (95.0, 0.3)), 0.5))
        marks += [Label(55.0, 0.0, _text(least), "middle"), Label(95.0, 0.0, _text(most), "middle")]
    told = "; ".join(
        f"{', '.join(str(row[one]) for one in answer.question.names if row[one])}: {_text(row[value])}"
        f" ({_text(row[low])} to {_text(row[high])}, {row['vehicles']} vehicles)"
        for row in rows
    )
    return Figure(
        width=100.0,
        height=height,
        height_mm=_ROW_MM * height,
        title=answer.question.asks,
        description=told or "Nothing is known of vehicles enough.",
        marks=tuple(marks),
    )


def as_svg(answer: Answer) -> str:
    """The figure as a file of its own."""
    drawn = figure_svg(figure_of(answer), f"ask-{answer.question.key}", 900.0)
    if "xmlns=" not in drawn.partition(">")[0]:
        drawn = drawn.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return drawn + "\n"


def _order(question: Question, row: Mapping[str, Any]) -> tuple[Any, ...]:
    """By the first name, then what there is most of, then by the others; alike on every engine."""
    first, *rest = question.names
    weight = row.get("jobs", row.get("repairs", row["vehicles"]))
    return (
        row[first] or "",
        *(row[one] for one in rest if isinstance(row[one], int)),
        -round(weight, 6),
        *(str(row[one] or "") for one in rest),
    )


def _plain(value: Any) -> Any:
    """Numbers as Python's own; an average of whole numbers comes as a decimal from some engines."""
    if value is None or isinstance(value, (str, bool, int)):
        return value
    return float(value)


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        whole = round(value)
        return str(whole) if abs(value - whole) < _WHOLE and abs(value) < 1e15 else f"{value:.{DIGITS}g}"
    return str(value)


def headings(questions: Mapping[str, Question]) -> Sequence[str]:
    """Each question with what it is asked by."""
    width = max(map(len, questions))
    return [f"{key:<{width}}  {one.asks}" for key, one in questions.items()]
