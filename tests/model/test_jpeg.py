"""A JPEG file that may stand on a paper holds a picture and nothing else; its headers say its size."""

from __future__ import annotations

import io
from typing import Any

import pytest
from PIL import Image

from corekit.model.jpeg import JpegError, read_jpeg

GPS, LATITUDE = 0x8825, 2  # tags of the Exif standard (CIPA DC-008, from memory)


def a_jpeg(size: tuple[int, int] = (64, 48), mode: str = "RGB", **more: Any) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size, "white").save(out, "JPEG", **more)
    return out.getvalue()


@pytest.mark.parametrize("size", [(64, 48), (1, 1), (3, 700)])
@pytest.mark.parametrize(("mode", "colours"), [("RGB", 3), ("L", 1)])
@pytest.mark.parametrize("progressive", [False, True])
def test_size_and_colours_are_those_that_another_reader_finds(
    size: tuple[int, int], mode: str, colours: int, progressive: bool
) -> None:
    found = read_jpeg(a_jpeg(size, mode, progressive=progressive))
    assert (found.width, found.height, found.colours) == (*size, colours)


def with_position() -> bytes:
    made = Image.Exif()
    made.get_ifd(GPS)[LATITUDE] = (52.0, 31.0, 12.0)
    return a_jpeg(exif=made)


@pytest.mark.parametrize("data", [with_position(), a_jpeg(comment=b"at home"), a_jpeg(icc_profile=b"one")])
def test_what_holds_more_than_a_picture_is_refused(data: bytes) -> None:
    with pytest.raises(JpegError, match="more than a picture"):
        read_jpeg(data)


@pytest.mark.parametrize(
    "data",
    [b"", b"\xff\xd8", b"GIF89a", b"%PDF-1.7", a_jpeg()[:30], a_jpeg()[:160], a_jpeg(mode="CMYK")],
)
def test_what_is_no_whole_picture_of_a_kind_for_paper_is_refused_in_one_sentence(data: bytes) -> None:
    with pytest.raises(JpegError) as error:
        read_jpeg(data)
    assert str(error.value).endswith(".") and str(error.value).count(".") == 1
