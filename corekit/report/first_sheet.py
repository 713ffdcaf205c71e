"""What stands around the account on its first sheet: who, the answer, what next, what it comes to, the
code.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import attrs

from ..model.document import Answer, ApprovalForm, Code, NextSteps, Pairs, Totals
from . import prose
from .code import MODULE_MM, QUIET, Symbol
from .fonts import Piece
from .layout import Box
from .measures import SheetMeasures
from .panel import Column, Panel, SetRule, panel
from .pen import BLACK, GREY, INK, MM, Pen
from .text import amount_text, clean
from .typesetter import Typesetter, bold

#: Sides of the codes on the first sheet in mm, at least: the link's from its first dark module to its last,
#: the one that carries the readings with its quiet zone.
CODE_MM, CARRIED_MM = 25.0, 45.0
_GUTTER = 22.0
#: So many lines may stand in half the sheet for one thing that is known of a person or a vehicle.
_LONGEST = 12
_BELOW_RULE = 1.5


def pairs(setter: Typesetter, measures: SheetMeasures, block: Pairs) -> list[Box]:
    """Label and words in two columns, filled one after the other, in the order they are read; below one
    another over the whole width where a text is so long that its column would break over sheets.
    """
    half = (setter.width - _GUTTER) / 2
    label = min(
        max((_natural(setter, name, measures) for name, _ in block.rows), default=0.0) + 8.0, half * 0.4
    )
    left = Column(0.0, half)
    right = Column(half + _GUTTER, half)
    voice = attrs.evolve(measures.small, colour=BLACK) if measures.facts_beside else measures.row
    entries = [
        (
            setter.own(name, measures.small, label - 6.0),
            setter.lines(setter.pieces(words), voice, half - label, balanced=True),
        )
        for name, words in block.rows
    ]
    if any(len(values) > _LONGEST for _, values in entries):
        return list(prose.pairs(setter, block))
    tall = [
        max(len(values) * voice.leading, len(names) * measures.small.leading) for names, values in entries
    ]
    things: list[Column] = []
    rest = math.fsum(tall)
    column, best = left, rest / 2
    used = 0.0
    for (names, values), height in zip(entries, tall, strict=True):
        if column is left and used and used + height / 2 > best:
            column, used = right, 0.0
        names_column = Column(column.x, label, down=used + voice.lead - measures.small.lead)
        names_column.add(names)
        values_column = Column(column.x + label, half - label, down=used)
        values_column.add(values)
        things += [names_column, values_column]
        used += height
    return [panel(*things, gap=measures.between)] if things else []


def _natural(setter: Typesetter, text: str, measures: SheetMeasures) -> float:
    return setter.own(text, measures.small, math.inf)[0].text.width


def answer(setter: Typesetter, measures: SheetMeasures, block: Answer) -> list[Box]:
    """The customer's words, the answer in large type, what it comes to, and the sentence that shows it."""
    words = setter.wording["account"]
    quiet = attrs.evolve(measures.body, colour=GREY)
    told = trimmed(setter.pieces(block.said)) if block.said else [(clean(block.symptoms), not setter.strict)]
    marks = words["quoted"].split("{words}") if block.said else ("", "")
    lead = words["told"]
    said = setter.lines(
        [(f"{lead} {marks[0]}", False), *told, (marks[1], False)], quiet, setter.width, balanced=True
    )
    top = Column(0.0, setter.width)
    if block.said or block.symptoms:
        top.add(said)
        top.skip(measures.between * 0.6)
    top.add(setter.own(block.text, measures.answer, setter.width, balanced=True))
    boxes: list[Box] = [panel(top, gap=measures.above)]
    if block.facts:
        boxes.append(_facts(setter, measures, block))
    if block.proof:
        shown = Column(0.0, setter.width)
        shown.add(setter.own(block.proof, measures.body, setter.width, balanced=True))
        boxes.append(panel(shown, gap=measures.between))
    return boxes


def trimmed(pieces: Sequence[Piece]) -> list[Piece]:
    """Without blanks where a person's words begin and end: marks of quotation stand close to them."""
    kept = [piece for piece in pieces if piece[0].strip()]
    if kept:
        kept[0] = (kept[0][0].lstrip(), kept[0][1])
        kept[-1] = (kept[-1][0].rstrip(), kept[-1][1])
    return kept


def _facts(setter: Typesetter, measures: SheetMeasures, block: Answer) -> Box:
    """The facts beside each other, each as wide as it needs, the last what is left; labels above them, or
    before them where measures are close.
    """
    between = 26.0
    columns: list[Column] = []
    count = len(block.facts)
    # What is long leaves the others their share.
    least = min(setter.width * 0.22, (setter.width - (count - 1) * between) / count)
    x = 0.0
    for nth, (label, words, strong) in enumerate(block.facts):
        voice = measures.fact if strong else measures.row
        name = _natural(setter, label, measures)
        value = setter.own(words, voice, math.inf)[0].text.width
        most = setter.width - x - (count - 1 - nth) * (least + between)
        beside = min(name + 5.0, most * 0.4) if measures.facts_beside else 0.0
        room = most if nth == count - 1 else min(max(name, beside + value) + 1.0, most)
        if measures.facts_beside:
            labels = Column(x, beside, down=measures.fact.lead - measures.small.lead)
            labels.add(setter.own(label, measures.small, beside))
            values = Column(x + beside, room - beside, down=measures.fact.lead - voice.lead)
        else:
            labels = Column(x, room)
            labels.add(setter.own(label, measures.small, room))
            values = Column(x, room, down=labels.down + measures.fact.lead - voice.lead)
        values.add(setter.own(words, voice, values.width))
        columns += [labels, values]
        x += room + between
    return panel(*columns, gap=measures.between)


def next_and_totals(
    setter: Typesetter,
    measures: SheetMeasures,
    steps: NextSteps | None,
    totals: Totals | None,
    start: float,
) -> list[Box]:
    """What next in a ruled column on the left; on the right, from `start`, what it comes to."""
    columns: list[Column] = []
    rules: list[SetRule] = []
    if steps is not None and steps.rows:
        left = _steps(setter, measures, steps, setter.width if totals is None else start - _GUTTER)
        columns += left
        rules.append(SetRule(0.8, 0.0, 0.8, left[-1].down, weight=1.6, colour=INK))
    if totals is not None:
        labels, ruled = _totals(setter, measures, totals, start, setter.width - start)
        columns += labels
        rules += ruled
    box = panel(*columns, gap=measures.above)
    return [attrs.evolve(box, things=(*rules, *box.things))]


def _steps(setter: Typesetter, measures: SheetMeasures, block: NextSteps, width: float) -> list[Column]:
    indent = 11.0
    label = min(max(_natural(setter, name, measures) for name, _ in block.rows) + 10.0, width * 0.34)
    top = Column(indent, width - indent)
    title = setter.wording["account"]["next"]
    if block.rows[0][0] != title:  # else the first row says it
        top.add(setter.own(title, attrs.evolve(bold(measures.row), colour=INK), top.width))
    columns, down = [top], top.down
    for name, words in block.rows:
        down += measures.between * 0.5 if down else 0.0
        names = Column(indent, label, down=down + measures.row.lead - measures.small.lead)
        names.add(setter.own(name, measures.small, label - 8.0))
        said = Column(indent + label, width - indent - label, down=down)
        said.add(setter.lines(setter.pieces(words), measures.row, said.width, balanced=True))
        columns += [names, said]
        down = max(names.down, said.down)
    return columns


def _totals(
    setter: Typesetter, measures: SheetMeasures, block: Totals, x: float, width: float
) -> tuple[list[Column], list[SetRule]]:
    columns: list[Column] = []
    rules: list[SetRule] = []
    down = -measures.total_pad
    for label, value, strong in block.rows:
        voice = measures.total if strong else measures.row
        amount = setter.own(amount_text(value), voice, width * 0.5, "right")
        room = width - max(line.text.width for line in amount) - 8.0
        if strong and columns:
            rules.append(SetRule(x, down, x + width, down, weight=0.9, colour=INK))
            down += _BELOW_RULE
        down += measures.total_pad
        labels = Column(x, room, down=down)
        labels.add(setter.own(label, voice, room))
        values = Column(x, width, down=down)
        values.add(amount)
        columns += [labels, values]
        down = max(labels.down, values.down) + measures.total_pad
    return columns, rules


def approval_form(setter: Typesetter, measures: SheetMeasures, block: ApprovalForm) -> list[Box]:
    """A box for every piece of work, what happens if nothing is done, and where to sign."""
    words = setter.wording["approval"]
    top = Column(0.0, setter.width)
    heading = attrs.evolve(bold(measures.row), colour=INK)
    top.add(setter.own(words["tick"], heading, setter.width))
    boxes: list[Box] = [panel(top, gap=measures.above)]
    side = 9.0
    for text, net in block.works:
        amount = setter.own(net, measures.row, setter.width * 0.2, "right")
        what = Column(side + 9.0, setter.width * 0.72)
        what.add(setter.typed(text, measures.row, what.width))
        price = Column(setter.width * 0.8, setter.width * 0.2)
        price.add(amount)
        choice = panel(what, price, gap=measures.between * 0.5)
        choice.decoration = prose.tick_box(measures.row.lead, side)
        boxes.append(choice)
    about = Column(0.0, setter.width)
    if block.otherwise:
        about.add(setter.own(block.otherwise, measures.row, setter.width, balanced=True))
    if block.valid_until:
        about.add(
            setter.own(words["until"].format(date=clean(block.valid_until)), measures.row, setter.width)
        )
    if about.things:
        boxes.append(panel(about, gap=measures.between))
    boxes.append(_signature(setter, measures))
    for box in boxes[:-1]:
        box.keep = True
    return boxes


def _signature(setter: Typesetter, measures: SheetMeasures) -> Box:
    words = setter.wording["approval"]
    date, sign = setter.width * 0.26, setter.width - setter.width * 0.26 - _GUTTER
    down = 24.0
    left = Column(0.0, date, down=down + 2.0)
    left.add(setter.own(words["date"], measures.small, date))
    right = Column(date + _GUTTER, sign, down=down + 2.0)
    right.add(setter.own(words["signature"], measures.small, sign))
    box = panel(left, right)
    rules = (
        SetRule(0.0, down, date, down, weight=0.6, colour=BLACK),
        SetRule(date + _GUTTER, down, setter.width, down, weight=0.6, colour=BLACK),
    )
    return attrs.evolve(box, things=(*rules, *box.things))


def foot(
    setter: Typesetter,
    measures: SheetMeasures,
    block: Code,
    link: str | None,
    symbols: Sequence[Symbol | None],
) -> Box:
    """The codes with the address, the mark, and how to compare; of a draft, that it carries none.

    Args:
        symbols: The link's, at the left, and at the right that of the transfer and the one that carries the
            readings; None where there is none.
    """
    words = setter.wording["code"]
    hosted, carried, transfer = symbols
    placed: list[tuple[Symbol, float, float]] = []  # with the left edge of its dark modules
    start, end, quiet = 0.0, setter.width, 0.0
    if hosted is not None:
        module = max(MODULE_MM, CODE_MM / len(hosted.rows)) * MM
        # The first dark modules stand at the margin: left of them the sheet is empty, as it is to be.
        placed.append((hosted, module, 0.0))
        quiet = QUIET * module
        start = hosted.side * module - quiet + 4.0
    for symbol, side in ((carried, CARRIED_MM), (transfer, CODE_MM)):
        if symbol is not None:
            module = max(MODULE_MM, side / symbol.side) * MM
            gap = QUIET * module if end < setter.width else 0.0
            at = end - gap - len(symbol.rows) * module
            placed.append((symbol, module, at))
            quiet = max(quiet, QUIET * module)
            end = at - QUIET * module - 4.0
    sides = [symbol.side * module for symbol, module, _ in placed]
    column = Column(start, end - start, down=max(quiet - 3.0, 5.0))
    if setter.document.draft:
        column.add(setter.own(words["draft"], measures.small, column.width))
    else:
        _add_address(setter, measures, column, block, link)
        if transfer is not None:
            column.add(setter.own(words["transfer"], measures.small, column.width))
    box: Panel = panel(column, gap=measures.above)
    box.min_height = max([box.min_height, *sides])
    box.rule, box.rule_colour = 0.9, INK
    box.decoration = _codes(placed)
    return box


def _codes(placed: Sequence[tuple[Symbol, float, float]]) -> Callable[[Pen, float, float], None]:
    def draw(pen: Pen, x: float, top: float) -> None:
        for symbol, module, at in placed:
            pen.dark_squares(symbol.runs(), x + at, top - QUIET * module, module)

    return draw


def _add_address(
    setter: Typesetter, measures: SheetMeasures, column: Column, block: Code, link: str | None
) -> None:
    words, room = setter.wording["code"], column.width
    strong = attrs.evolve(bold(measures.row), colour=INK)
    if link is not None:
        column.add(setter.own(words["see"], strong, room))
        page, code = spelt_link(link)
        column.add(setter.typed(page, measures.row, room))
        if code:
            column.add(setter.typed(words["typed"].format(code=code), measures.row, room))
        if setter.document.no_page:
            column.add(setter.own(setter.document.no_page, measures.small, room))
    else:
        column.add(setter.own(words["no_link"], measures.row, room))
    column.skip(measures.between * 0.4)
    column.add(setter.own(f"{words['mark']} {block.record_mark}", bold(measures.row), room))
    column.add(setter.own(words["compare"], measures.small, room))
    document = setter.document
    if document.carried:
        signed = words["carried"].format(mark=document.carried_mark, key=document.carried_key)
        column.add(setter.own(signed, measures.small, room))
    elif document.no_carried:
        column.add(setter.own(document.no_carried, measures.small, room))


def spelt_link(link: str) -> tuple[str, str]:
    """The address as one types it: the page, and the code in groups of four."""
    page, _, code = link.partition("#")
    bare = code.replace("-", "")
    groups = " ".join(bare[at : at + 4] for at in range(0, len(bare), 4))
    return page.removeprefix("https://"), groups
