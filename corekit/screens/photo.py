"""Photos from outside: whatever comes in goes out as a small JPEG made here, which holds the picture and
nothing else.
"""

from __future__ import annotations

import io
import threading
from typing import TYPE_CHECKING

from ..errors import CorekitError

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

SIDE = 1600  # pixels of the longer side
LARGEST = 400_000  # bytes of what is kept
_PIXELS = 80_000_000  # of what comes in; a phone takes 12 to 64 million, and more are a bomb
_PIXELS_WHOLE = 30_000_000  # of formats that can only be unpacked at full size
_QUALITIES = (85, 75, 65, 55, 45, 35)
_TAKES = ("JPEG", "PNG", "WEBP")
#: One at a time, or several at one moment would take the memory of as many whole pictures.
_one_at_a_time = threading.Lock()


class PhotoError(CorekitError, ValueError):
    """A file that is not taken as a photo; one sentence."""


def read_photo(data: bytes, *, side: int = SIDE, largest: int = LARGEST) -> bytes:
    """The picture in a file, as a JPEG of at most so many pixels a side and so many bytes.

    Turned upright as the camera says, then made anew from its pixels: position, time, camera and comments
    stay behind. What was transparent is white.

    Args:
        data: A JPEG, PNG or WebP file. Of several pictures in it the first is taken.

    Raises:
        PhotoError: it is none of these, is broken off, or has more pixels than a camera takes.
    """
    from PIL import Image, UnidentifiedImageError

    if not data:
        raise PhotoError("There is no picture in it. Take the photo again.")
    try:
        picture = Image.open(io.BytesIO(data), formats=_TAKES)
        most = _PIXELS if picture.format == "JPEG" else _PIXELS_WHOLE
        if picture.width * picture.height > most:
            raise PhotoError(
                f"The picture has {picture.width} × {picture.height} pixels, more than is accepted"
                f" ({most // 1_000_000} million)."
            )
        with _one_at_a_time:
            return _encode(_upright(picture, side), largest)
    except PhotoError:
        raise
    except UnidentifiedImageError as error:
        raise PhotoError("This kind of picture is not accepted. Send a JPEG, a PNG or a WebP.") from error
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PhotoError(
            f"The picture has more pixels than are accepted ({_PIXELS // 1_000_000} million)."
        ) from error
    except Exception as error:  # a file made to break a decoder breaks it in any way it likes
        raise PhotoError(
            "The picture is broken, or was cut off on the way. Take or send it again."
        ) from error


def _upright(picture: Picture, side: int) -> Picture:
    """The bare pixels, upright and small enough, on white."""
    from PIL import Image, ImageOps

    picture.draft("RGB", (side, side))  # a JPEG need not be unpacked at full size
    turned = ImageOps.exif_transpose(picture)
    turned.thumbnail((side, side), Image.Resampling.LANCZOS)
    bare = Image.new("RGB", turned.size, "white")
    clear = turned.convert("RGBA") if turned.mode in ("RGBA", "LA", "PA", "P", "La", "RGBa") else None
    bare.paste(
        clear if clear is not None else turned.convert("RGB"),
        mask=clear.getchannel("A") if clear is not None else None,
    )
    return bare


def _encode(picture: Picture, largest: int) -> bytes:
    """As good as fits: first the quality goes down, then the size."""
    from PIL import Image

    while True:
        for quality in _QUALITIES:
            out = io.BytesIO()
            picture.save(out, "JPEG", quality=quality, optimize=True)
            if out.tell() <= largest:
                return out.getvalue()
        picture = picture.resize(
            (max(1, picture.width * 3 // 4), max(1, picture.height * 3 // 4)), Image.Resampling.LANCZOS
        )
