"""Photos on paper, page and terminal: a small JPEG each that the mechanic chose, with what it shows and when.

A Document names a photo as personal text. Only a copy whose reader is given the texts shows the picture;
everywhere else, and once it was destroyed, words stand in its place.
"""

from __future__ import annotations

import base64
import binascii

import attrs

from ..model.document import PhotoRow
from ..model.jpeg import Jpeg, JpegError, read_jpeg
from .text import Resolve, clean, plain_text


@attrs.frozen(kw_only=True)
class ShownPhoto:
    """A photo as one reader gets it: `picture`, or what stands in its place; its size in pixels, what it
    shows, and when.
    """

    picture: Jpeg | None
    width: int
    height: int
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
        width=max(row.width, 1),
        height=max(row.height, 1),
        instead="" if picture is not None else instead,
        what=plain_text(row.what, resolve),
        when=clean(row.when),
    )


def data_address(picture: Jpeg) -> str:
    """The picture as an address that holds it."""
    return f"data:image/jpeg;base64,{base64.b64encode(picture.data).decode('ascii')}"
