"""The account on paper: what was wrong, how that was shown, what was done about it, what it cost, how it
stands.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import attrs

from ..model.document import Account, AccountRow, DocumentKind, ProofRow, WorkRow
from ..model.figure import Strip
from .layout import Box, Cell, CellLine
from .measures import SheetMeasures
from .panel import Column, SetLine, panel
from .pen import BLACK, INK, MM, Voice
from .strip import place_on
from .text import clean, price_word
from .typesetter import Typesetter, bold

STRIP_MM = 50.0
_BETWEEN = 13.0
_LEAST_NET = 40.0
_BELOW_NUMBERS = 2.0

_Columns = tuple[tuple[float, float], ...]  # what was wrong, proof, work, net


def account_boxes(setter: Typesetter, measures: SheetMeasures, block: Account) -> list[Box]:
    """The table, its head repeated on a new page."""
    if not block.rows:
        return []
    columns = _columns(setter, measures, block)
    head = _head(setter, measures, block, columns)
    rows = [_row(setter, measures, row, columns) for row in _each_point_once(block.rows)]
    for nth, row in enumerate(rows):
        row.head = head
        row.rule = 0.4 if nth else 0.0
    return [head, *rows]


def _each_point_once(rows: Sequence[AccountRow]) -> Iterator[AccountRow]:
    """The rows; where work stands below work and nothing was read of either, what both answer is said over
    the first alone.
    """
    before: AccountRow | None = None
    for row in rows:
        same = before is not None and row.what and row.point == before.point
        quiet = same and before is not None and not row.proofs and not before.proofs
        yield attrs.evolve(row, point="") if quiet else row
        before = row


def work_start(setter: Typesetter, measures: SheetMeasures, block: Account) -> float:
    """Where the column of work begins: what stands below the table is in line with it."""
    return _columns(setter, measures, block)[2][0]


def _columns(setter: Typesetter, measures: SheetMeasures, block: Account) -> _Columns:
    """Strips have their 50 mm, amounts what the widest needs, words the rest in equal parts."""
    amounts = [work.net for row in block.rows for work in row.works if work.net]
    widest = max(
        (setter.own(clean(amount), measures.row, math.inf)[0].text.width for amount in amounts), default=0.0
    )
    net = min(max(widest + 1.0, _LEAST_NET), setter.width * 0.2)
    strip = STRIP_MM * MM
    words = (setter.width - strip - net - 3 * _BETWEEN) / 2
    edges = [0.0, words + _BETWEEN, words + strip + 2 * _BETWEEN]
    return (
        (edges[0], words),
        (edges[1], strip),
        (edges[2], words),
        (setter.width - net, net),
    )


def _head(setter: Typesetter, measures: SheetMeasures, block: Account, columns: _Columns) -> Box:
    words = setter.wording["account"]
    is_estimate = setter.document.kind is DocumentKind.ESTIMATE
    titles = (
        words["found" if is_estimate else "what"],
        words["proof_proposed" if is_estimate else "proof"],
        words["proposed" if is_estimate else "work"],
        words[price_word(setter.document)].format(currency=clean(block.currency)),
    )
    cells = tuple(
        Cell(
            *column,
            setter.own(title, measures.table_head, column[1] + 20.0, "right" if nth == 3 else "left"),
        )
        for nth, (title, column) in enumerate(zip(titles, columns, strict=True))
    )
    end = setter.width
    foot = max(len(cell.lines) for cell in cells) * measures.table_head.leading + 3.0
    return Box(
        cells=cells,
        gap=measures.above,
        pad=3.0,
        keep=True,
        decoration=lambda pen, x, top: pen.rule(x, top - foot, x + end, top - foot, weight=0.9, colour=INK),
    )


def _row(setter: Typesetter, measures: SheetMeasures, row: AccountRow, columns: _Columns) -> Box:
    (what_x, what_width), (proof_x, proof_width), (work_x, work_width), (net_x, net_width) = columns
    strong = bold(measures.row)
    # All first lines share one baseline.
    lead = measures.row.lead
    quiet_down = lead - measures.small.lead
    point, name = (row.point, row.what) if row.what else ("", row.point)
    what = Column(what_x, what_width, down=quiet_down if point else 0.0)
    if point:
        what.add(setter.own(point, measures.small, what_width, balanced=True))
    what.add(setter.own(name, strong, what_width, balanced=True))
    if row.cause:
        what.add(setter.typed(row.cause, measures.cause, what_width, balanced=True))
    proof = Column(proof_x, proof_width, down=quiet_down)
    for nth, one in enumerate(row.proofs):
        proof.skip(measures.proof if nth else 0.0)
        _add_proof(setter, measures, proof, one)
    work = Column(work_x, work_width)
    net = Column(net_x, net_width)
    for nth, piece in enumerate(row.works):
        work.skip(measures.proof * 0.5 if nth else 0.0)
        _add_work(setter, measures, work, net, piece)
    state = Column(what_x, what_width, down=what.down)
    if row.state:
        state.skip(2.0)
        state.add(
            setter.own(row.state[:1].upper() + row.state[1:], attrs.evolve(strong, colour=INK), what_width)
        )
    return panel(what, proof, work, net, state, pad=measures.row_pad)


def _add_proof(setter: Typesetter, measures: SheetMeasures, column: Column, proof: ProofRow) -> None:
    """Its name, the strip with the values at the dots, what is usual; or what was seen."""
    width, small = column.width, measures.small
    column.add(setter.own(proof.name, small, width, balanced=True))
    if proof.strip is not None:
        add_scale(setter, column, proof.strip, proof.name, before=proof.before, now=proof.now, voice=small)
    else:
        values = spoken_values(setter, proof.before, proof.now)
        if values:
            column.add(setter.own(values, measures.row, width))
    if proof.seen:
        column.add(setter.typed(proof.seen, measures.row, width))
    if proof.usual:
        usual = setter.own(setter.wording["account"]["usual"].format(usual=proof.usual), small, width)
        if not (measures.usual_beside and _stands_beside(column, usual)):
            column.skip(1.5)
            column.add(usual)


def _stands_beside(column: Column, lines: Sequence[CellLine]) -> bool:
    """Sets one line beside the column's last, at the left or at the right, where that stands clear of it."""
    last = column.things[-1]
    if not isinstance(last, SetLine) or len(lines) != 1 or last.width == column.width:
        return False
    (line,) = lines
    needed = line.text.width + 10.0
    right = column.x + column.width
    if needed <= last.x - column.x:
        start = column.x
    elif needed <= right - last.x - last.width:
        start = right - line.text.width
    else:
        return False
    column.things.append(SetLine(start, line.text.width, last.down, line))
    return True


def spoken_values(setter: Typesetter, before: str, now: str) -> str:
    """Both values in one line of words, where no strip shows them."""
    words = setter.wording["account"]
    if before and now:
        return f"{words['before'].format(value=before)} · {words['now'].format(value=now)}"
    return before or now


def add_scale(
    setter: Typesetter,
    column: Column,
    strip: Strip,
    name: str,
    *,
    before: str,
    now: str,
    voice: Voice,
    numbered: bool = False,
) -> None:
    """A scale with what was read written at its dots: now above it, before below, so that they never meet.

    Where there is one reading only its value stands above, whenever it was taken; what was read before and
    has no dot stands below at the left.
    """
    words = setter.wording["account"]
    strong = attrs.evolve(bold(voice), colour=BLACK)
    if before and now:
        above, below = words["now"].format(value=now), words["before"].format(value=before)
    else:
        above, below = now or before, ""
    above_lines = setter.own(above, strong, column.width) if above else ()
    below_lines = setter.own(below, voice, column.width) if below else ()
    _add_label(column, strip, above_lines, strip.reading)
    column.add_figure(setter.scale(strip, clean(name), column.width, numbered=numbered))
    column.skip(_BELOW_NUMBERS if numbered else 0.0)
    if below_lines:
        _add_label(column, strip, below_lines, strip.low_end if strip.before is None else strip.before)


def _add_label(column: Column, strip: Strip, lines: Sequence[CellLine], value: float) -> None:
    """Centred over its dot, as far as the column goes; more than a line begins at its left."""
    if len(lines) != 1:
        column.add(lines)
        return
    (line,) = lines
    centred = place_on(strip, value) * column.width - line.text.width / 2
    column.add_at(min(max(centred, 0.0), column.width - line.text.width), line)


def _add_work(setter: Typesetter, measures: SheetMeasures, work: Column, net: Column, piece: WorkRow) -> None:
    net.down = work.down
    text = setter.typed(piece.text, measures.row, work.width, balanced=True)
    work.add(text)
    detail = ", ".join(part for part in (piece.detail, piece.reason) if part)
    if detail:
        _add_detail(setter, measures, work, text, setter.typed(detail, measures.small, work.width))
    if piece.net:
        net.add(setter.own(piece.net, measures.row, net.width, "right"))


def _add_detail(
    setter: Typesetter,
    measures: SheetMeasures,
    work: Column,
    text: Sequence[CellLine],
    detail: Sequence[CellLine],
) -> None:
    """Below the work; or beside its last line, where measures ask for it and there is room."""
    beside = text[-1].text.width + 5.0
    if measures.detail_beside and len(detail) == 1 and beside + detail[0].text.width <= work.width:
        work.down -= measures.row.leading
        work.skip(measures.row.lead - measures.small.lead)
        work.add_at(beside, detail[0])
        work.down += measures.row.leading - measures.small.leading - (measures.row.lead - measures.small.lead)
    else:
        work.add(detail)
