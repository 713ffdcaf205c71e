"""Photos as boxes on paper: two beside each other, the words of each above it."""

from __future__ import annotations

from collections.abc import Sequence

from ..model.document import Photos
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
    """Photos beside each other; where one may not be shown its room stays, so that every copy of a paper has
    the same sheets.
    """
    measures, columns = setter.measures, setter.columns((50, 50))
    words = [
        setter.typed(photo.what, bold(measures.row), column[1])
        + setter.own(photo.when, measures.small, column[1])
        for photo, column in zip(row, columns, strict=False)
    ]
    cells, placed = [], []
    below = Box(cells=tuple(Cell(*at, lines) for at, lines in zip(columns, words, strict=False))).height
    for photo, column, lines in zip(row, columns, words, strict=False):
        instead = setter.own(photo.instead, measures.row, column[1]) if photo.instead else ()
        cells.append(Cell(*column, lines + instead))
        placed.append((photo.picture, column[0], *_fitted(photo, column[1])))

    def draw(pen: Pen, x: float, top: float) -> None:
        for picture, at, width, height in placed:
            if picture is not None:
                pen.photo(picture, x + at, top - below - _BELOW_WORDS - height, width, height)

    room = max(2 * measures.row.leading, *(height for *_, height in placed))
    return Box(
        cells=tuple(cells),
        gap=measures.between + 2,
        min_height=below + _BELOW_WORDS + room,
        decoration=draw,
    )


def _fitted(photo: ShownPhoto, room: float) -> tuple[float, float]:
    """Width and height of a photo in a column, its sides in proportion."""
    scale = min(room / photo.width, _TALLEST_MM * MM / photo.height)
    return photo.width * scale, photo.height * scale
