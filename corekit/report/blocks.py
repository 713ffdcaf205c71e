"""The blocks of a Document as boxes, in their order, and what neighbours owe each other."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import takewhile

from ..model.document import (
    Block,
    Code,
    Findings,
    Heading,
    Pairs,
    Paragraph,
    Photos,
    Picture,
    PricedLines,
    Readings,
    Statement,
    Table,
    Totals,
)
from . import prose, tables
from .code import Symbol
from .layout import Box
from .photo_boxes import photo_boxes
from .typesetter import Typesetter


def document_boxes(setter: Typesetter, link: str | None, symbol: Symbol | None) -> list[Box]:
    """Everything that stands on the Document's paper, from the top.

    Args:
        link: Printed beside the code.
        symbol: The code that holds it; None where there is none.
    """
    boxes = [prose.opening(setter)]
    before: Block | None = None
    for block, block_boxes in boxes_of_blocks(setter, setter.document.blocks, link, symbol):
        if block_boxes and isinstance(before, Statement):
            block_boxes[0].gap = max(block_boxes[0].gap, setter.measures.between + 2)
        boxes += block_boxes
        before = block
    return boxes


def boxes_of_blocks(
    setter: Typesetter,
    blocks: Sequence[Block],
    link: str | None = None,
    symbol: Symbol | None = None,
    *,
    is_set_apart: Callable[[Block], bool] = lambda block: False,
) -> Iterator[tuple[Block, list[Box]]]:
    """Each block with its boxes; pictures that follow each other with those of the first. What whoever asks
    sets apart has none.
    """
    level, key_is_said = -1, False
    for nth, block in enumerate(blocks):
        if is_set_apart(block):
            yield block, []
        elif isinstance(block, Heading):
            level = min(block.level - 1, level + 1)  # an outline cannot skip a level
            yield block, [prose.heading(setter, block, max(level, 0))]
        elif isinstance(block, Readings):
            yield block, tables.readings(setter, block, says_key=not key_is_said)
            key_is_said = key_is_said or any(row.strip is not None for row in block.rows)
        elif isinstance(block, Picture):
            if nth == 0 or not isinstance(blocks[nth - 1], Picture):
                row = list(takewhile(lambda other: isinstance(other, Picture), blocks[nth:]))
                yield block, tables.pictures(setter, row)
            else:
                yield block, []
        elif isinstance(block, PricedLines):
            follower = next(iter(blocks[nth + 1 :]), None)
            yield block, tables.priced_lines(setter, block, totals_follow=isinstance(follower, Totals))
        elif isinstance(block, Code):
            yield block, prose.code(setter, block, link, symbol)
        else:
            boxes = _boxes_of(setter, block)
            follower = next(iter(blocks[nth + 1 :]), None)
            if boxes and isinstance(follower, Paragraph) and follower.tone == "choice":
                boxes[-1].keep = True  # what is to be ticked stands together, and with what asks for it
            yield block, boxes


def _boxes_of(setter: Typesetter, block: Block) -> list[Box]:
    """The boxes of a block that needs to know nothing of its neighbours."""
    if isinstance(block, Paragraph):
        return prose.paragraph(setter, block)
    if isinstance(block, Pairs):
        return list(prose.pairs(setter, block))
    if isinstance(block, Findings):
        return prose.findings(setter, block)
    if isinstance(block, Totals):
        return tables.totals(setter, block)
    if isinstance(block, Table):
        return tables.plain(setter, block)
    if isinstance(block, Statement):
        return prose.statement(setter, block)
    if isinstance(block, Photos):
        return photo_boxes(setter, block)
    raise TypeError(f"No way to set a {type(block).__name__} on paper.")
