"""Photos on paper, page and terminal: a small JPEG each that the mechanic chose, with what it shows and when.

A Document names a photo as personal text. Only a copy whose reader is given the texts shows the picture;
everywhere else, and once it was destroyed, words stand in its place.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Sequence

import attrs

from ..model.document import PhotoRow, Photos
from ..model.jpeg import Jpeg, JpegError, read_jpeg
from .layout import Box, Cell
from .pen import MM, Pen
from .text import Resolve, clean, plain_text
from .typesetter import Typesetter, bold

#: Of a photo on paper; two stand beside each other.
_TALLEST_MM = 62.0
_BELOW_WORDS = 4.0


@attrs.frozen(kw_only=True)
class ShownPhoto:
    """A photo as one reader gets it: `picture`, or what stands in its place; what it shows, and when."""

    picture: Jpeg | None
    instead: str
    what: str
    when: str


def shown_photo(row: PhotoRow, resolve: Resolve) -> ShownPhoto:
    """A photo as whoever resolves personal text like this gets it."""
    picture, instead = None, ""
    for run in row.image:
        said = run if isinstance(run, str) else resolve(run)
        try:
            picture = read_jpeg(base64.b64decode(said, validate=True))
        except (JpegError, binascii.Error, ValueError):
            instead = clean(said)
    return ShownPhoto(
        picture=picture,
        instead="" if picture is not None else instead,
        what=plain_text(row.what, resolve),
        when=clean(row.when),
    )


def data_address(picture: Jpeg) -> str:
    """The picture as an address that holds it."""
    return f"data:image/jpeg;base64,{base64.b64encode(picture.data).decode('ascii')}"


def boxes(setter: Typesetter, block: Photos) -> list[Box]:
    """Two beside each other, the words of each above it."""
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
