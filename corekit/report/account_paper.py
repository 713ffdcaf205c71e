"""The pages of an account: one sheet that holds account, bill and code, and the sheets behind it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs

from ..model.document import (
    Account,
    Answer,
    ApprovalForm,
    Block,
    Code,
    Evidence,
    NextSteps,
    Pairs,
    Readings,
    Totals,
)
from . import evidence, first_sheet
from .account_table import account_boxes, work_start
from .blocks import boxes_of_blocks
from .code import Symbol
from .layout import Box, Cell, Placed, paginate
from .measures import EVIDENCE, SHEETS, SheetMeasures
from .pen import INK
from .text import clean
from .typesetter import Typesetter

_HOPELESS = 2  # sheets: what takes more in any measures fits on one in none
_PART = 10.0  # a gap of this or more parts two things, and may be wider
_TOTALS_START = 0.6  # of the width, where no account stands above the totals
_MOST_WHITE = 12.0  # what is added to such a gap at most
_LITTLE = 0.22  # of a sheet: with less on it the last one is not worth its paper
_LESS_WHITE = (0.75, 0.5)  # shares of the white between the boxes of the sheets behind


def account_pages(
    setter: Typesetter,
    link: str | None,
    symbols: Sequence[Symbol | None],
    rooms: tuple[float, float],
) -> list[list[Placed]]:
    """What stands on which sheet of an account's paper.

    The first sheet is set as roomily as it fits on one; where it does not fit, it goes on over the next.

    Args:
        link: Printed beside the code.
        symbols: The code that holds it, and the one that carries the readings; None where there is none.
        rooms: Height of the body in points, of the first sheet and of those behind.
    """
    blocks = setter.document.blocks
    behind = next((nth for nth, block in enumerate(blocks) if isinstance(block, Evidence)), len(blocks))

    def sheets(measures: SheetMeasures) -> list[list[Placed]]:
        boxes = _first_boxes(
            attrs.evolve(setter, measures=measures), measures, blocks[:behind], link, symbols
        )
        return paginate(boxes, min(rooms))

    pages: list[list[Placed]] | None = None
    # Most fit in the roomiest; of the others the first that fits is looked for from the middle.
    nth, first, last = 0, 0, len(SHEETS) - 1
    while first <= last:
        tried = sheets(SHEETS[nth])
        if len(tried) == 1:
            pages, last = tried, nth - 1
        else:
            first = nth + 1
        if len(tried) > _HOPELESS:
            break
        nth = (first + last) // 2
    if pages is not None:
        pages = [_spread_out(pages[0], min(rooms))]
    else:
        pages = sheets(SHEETS[1])
        _stand_at_foot(pages[-1], min(rooms))
    if behind < len(blocks):
        behind_setter = attrs.evolve(setter, measures=EVIDENCE)
        pages += _sheets_behind(list(_boxes_behind(behind_setter, blocks[behind:])), rooms[1])
    return pages


def _sheets_behind(boxes: Sequence[Box], room: float) -> list[list[Placed]]:
    """The sheets behind the first. A last one with little on it is saved, where less white between the others
    makes room for it.
    """
    pages = paginate(boxes, room)
    box, down = pages[-1][-1]
    if len(pages) == 1 or down + box.height > _LITTLE * room:
        return pages
    for share in _LESS_WHITE:
        closer = paginate([_with_less_white(one, share) for one in boxes], room)
        if len(closer) < len(pages):
            return closer
    return pages


def _with_less_white(box: Box, share: float) -> Box:
    closer = attrs.evolve(box, gap=box.gap * share, pad=box.pad * share)
    if closer.on_new_page is not None:
        closer.on_new_page = _with_less_white(closer.on_new_page, share)
    return closer


def _spread_out(page: Sequence[Placed], room: float) -> list[Placed]:
    """The white that is left, in part between the parts of the sheet; the code ends it."""
    last, down = page[-1]
    spare = room - down - last.height
    wide = [nth for nth, (box, _) in enumerate(page) if nth and box.gap >= _PART]
    more = min(spare / (len(wide) + 1), _MOST_WHITE) if wide else 0.0
    spread = [(box, at + more * sum(1 for part in wide if part <= nth)) for nth, (box, at) in enumerate(page)]
    _stand_at_foot(spread, room)
    return spread


def _stand_at_foot(page: list[Placed], room: float) -> None:
    """The code ends the sheet it is on, whatever white there is above it."""
    box, _ = page[-1]
    if box.rule_colour == INK:
        page[-1] = box, room - box.height


def _first_boxes(
    setter: Typesetter,
    measures: SheetMeasures,
    blocks: Sequence[Block],
    link: str | None,
    symbols: Sequence[Symbol | None],
) -> list[Box]:
    boxes: list[Box] = []
    start = setter.width * _TOTALS_START
    for nth, block in enumerate(blocks):
        before = blocks[nth - 1] if nth else None
        after = blocks[nth + 1] if nth + 1 < len(blocks) else None
        made: list[Box] = []
        if isinstance(block, Pairs):
            made = first_sheet.pairs(setter, measures, block)
        elif isinstance(block, Answer):
            made = first_sheet.answer(setter, measures, block)
        elif isinstance(block, Account):
            start = work_start(setter, measures, block)
            made = account_boxes(setter, measures, block)
        elif isinstance(block, ApprovalForm):
            made = first_sheet.approval_form(setter, measures, block)
        elif isinstance(block, NextSteps):
            totals = after if isinstance(after, Totals) else None
            made = first_sheet.next_and_totals(setter, measures, block, totals, start)
        elif isinstance(block, Totals):
            if not isinstance(before, NextSteps):
                made = first_sheet.next_and_totals(setter, measures, None, block, start)
        elif isinstance(block, Code):
            if boxes:
                boxes[-1].keep = True  # no sheet holds the code alone
            made = [first_sheet.foot(setter, measures, block, link, symbols)]
        else:
            made = [box for _, several in boxes_of_blocks(setter, (block,)) for box in several]
        boxes += made
    if boxes:
        boxes[0].bookmark = clean(setter.document.title), 0
    return boxes


def _boxes_behind(setter: Typesetter, blocks: Sequence[Block]) -> Iterator[Box]:
    """The heading of what is behind, and everything after it."""
    scales = evidence.common_scales(blocks)
    says_key = True
    opening, *rest = blocks
    assert isinstance(opening, Evidence)
    voice = SHEETS[0].answer
    yield Box(
        cells=(Cell(0, setter.width, setter.own(opening.title, voice, setter.width)),),
        pad=2.0,
        keep=True,
        bookmark=(clean(opening.title), 0),
    )
    for block, boxes in boxes_of_blocks(setter, rest, is_set_apart=evidence.is_set_here):
        if isinstance(block, Readings):
            yield from evidence.readings(setter, block, scales, says_key=says_key)
            says_key = says_key and not any(row.strip is not None for row in block.rows)
        elif isinstance(block, Pairs) and evidence.are_notes(block):
            yield from evidence.notes(setter, block)
        else:
            yield from boxes
