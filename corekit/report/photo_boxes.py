"""Photos as boxes on paper: two beside each other, the words of each above it."""

from __future__ import annotations

from collections.abc import Sequence

from ..model.document import Photos
from ..model.jpeg import Jpeg
from .layout import Box, Cell
from .pen import MM, Pen
from .photos import ShownPhoto, shown_photo
from .typesetter import Typesetter, bold

_TALLEST_MM = 62.0
_BELOW_WORDS = 4.0


def photo_boxes(setter: Typesetter, block: Photos) -> list[Box]:
    """The rows of photos."""
    shown = [shown_photo(row, setter.resolve) for row in block.rows]
    made = []
    while shown:
        row, shown = shown[:2], shown[2:]
        made.append(_row(setter, row))
    return made


def _row(setter: Typesetter, row: Sequence[ShownPhoto]) -> Box:
    measures, columns = setter.measures, setter.columns((50, 50))
    cells = [
        Cell(
            *column,
            setter.typed(photo.what, bold(measures.row), column[1])
            + setter.own(photo.when, measures.small, column[1])
            + (setter.own(photo.instead, measures.row, column[1]) if photo.instead else ()),
        )
        for photo, column in zip(row, columns, strict=False)
    ]
    words = Box(cells=tuple(cells)).height
    placed = [
        (photo.picture, column[0], *_fitted(photo.picture, column[1]))
        for photo, column in zip(row, columns, strict=False)
        if photo.picture is not None
    ]
    if not placed:
        return Box(cells=tuple(cells), gap=measures.between + 2)

    def draw(pen: Pen, x: float, top: float) -> None:
        for picture, at, width, height in placed:
            pen.photo(picture, x + at, top - words - _BELOW_WORDS - height, width, height)

    tall = words + _BELOW_WORDS + max(height for *_, height in placed)
    return Box(cells=tuple(cells), gap=measures.between + 2, min_height=tall, decoration=draw)


def _fitted(picture: Jpeg, room: float) -> tuple[float, float]:
    """Width and height of a picture in a column, its sides in proportion."""
    scale = min(room / picture.width, _TALLEST_MM * MM / picture.height)
    return picture.width * scale, picture.height * scale
