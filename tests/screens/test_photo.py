"""Photos from outside: made anew, small, upright, without anything in them but the picture; and what is no
photo is refused in one sentence.
"""

from __future__ import annotations

import base64
import io
import re
import struct
import time
import zlib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit.desk.jobs import job_named, pictures_of
from corekit.desk.rows import add_rows, withdraw_entry
from corekit.desk.shop import Shop
from corekit.model.personal import Personal
from corekit.screens import photo
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.screens.photo import LARGEST, SIDE, PhotoError, read_photo

from .everywhere import found

Image = pytest.importorskip("PIL.Image", reason="Pillow is not installed")

ORIENTATION, GPS, MAKE = 0x0112, 0x8825, 0x010F  # tags of the Exif standard (CIPA DC-008, from memory)


def a_file(size: tuple[int, int] = (60, 40), *, mode: str = "RGB", kind: str = "JPEG", **more: Any) -> bytes:
    """A picture whose left half is dark, so that one sees which way up it is."""
    picture = Image.new(mode, size, "white")
    picture.paste(
        "black" if mode in ("RGB", "L") else picture.getpixel((0, 0)), (0, 0, size[0] // 2, size[1])
    )
    out = io.BytesIO()
    picture.save(out, kind, **more)
    return out.getvalue()


def exif(**tags: Any) -> Any:
    made = Image.Exif()
    made[ORIENTATION] = tags.get("orientation", 1)
    made[MAKE] = "a camera that should not be told"
    made.get_ifd(GPS)[2] = (52.0, 31.0, 12.0)  # latitude in degrees, minutes, seconds
    return made


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_every_kind_that_a_phone_makes_comes_out_as_a_jpeg(kind: str) -> None:
    kept = Image.open(io.BytesIO(read_photo(a_file(kind=kind))))
    assert kept.format == "JPEG" and kept.size == (60, 40)


def test_position_camera_comment_and_colour_profile_stay_behind() -> None:
    sent = a_file(exif=exif(), comment=b"taken at home", icc_profile=b"a profile")
    assert b"should not be told" in sent and b"taken at home" in sent
    kept = read_photo(sent)
    picture = Image.open(io.BytesIO(kept))
    assert not picture.getexif() and not {"exif", "comment", "icc_profile", "xmp"} & set(picture.info)
    assert b"Exif" not in kept and b"description" not in kept and b"home" not in kept


@pytest.mark.parametrize(
    ("orientation", "size", "dark"),
    # Exif orientation: 1 as it is, 3 upside down, 6 turned a quarter clockwise to be upright, 8 the other way
    # (CIPA DC-008, from memory).
    [(1, (60, 40), (10, 20)), (3, (60, 40), (50, 20)), (6, (40, 60), (20, 10)), (8, (40, 60), (20, 50))],
)
def test_a_photo_comes_out_upright(orientation: int, size: tuple[int, int], dark: tuple[int, int]) -> None:
    kept = Image.open(io.BytesIO(read_photo(a_file(exif=exif(orientation=orientation)))))
    assert kept.size == size
    assert sum(kept.getpixel(dark)) < 100
    assert sum(kept.getpixel((size[0] - 1 - dark[0], size[1] - 1 - dark[1]))) > 600


@pytest.mark.parametrize("size", [(4000, 3000), (300, 6000), (1600, 1600)])
def test_a_photo_is_small_whatever_comes_in(size: tuple[int, int]) -> None:
    out = io.BytesIO()
    Image.effect_noise(size, 120).convert("RGB").save(out, "JPEG", quality=95)  # noise packs worst of all
    kept = read_photo(out.getvalue())
    picture = Image.open(io.BytesIO(kept))
    assert len(kept) <= LARGEST and max(picture.size) <= SIDE
    assert picture.width / picture.height == pytest.approx(size[0] / size[1], rel=0.02)


def test_what_was_transparent_is_white() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(out, "PNG")
    assert min(Image.open(io.BytesIO(read_photo(out.getvalue()))).getpixel((4, 4))) > 250


def bomb(width: int, height: int) -> bytes:
    """A PNG of a few bytes that claims to be vast (PNG specification, chunks IHDR, IDAT, IEND)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("side", [6_000, 9_400, 30_000, 2_000_000])
def test_a_picture_that_unpacks_to_more_than_a_camera_takes_is_refused(side: int) -> None:
    with pytest.raises(PhotoError, match="pixels"):
        read_photo(bomb(side, side))


@pytest.mark.parametrize(
    "data",
    [b"", b"GIF89a", b"<svg xmlns='x'/>", b"%PDF-1.7", b"\xff\xd8\xff", a_file()[:400], a_file(kind="GIF")],
)
def test_what_is_no_photo_is_refused_in_one_sentence_or_two(data: bytes) -> None:
    with pytest.raises(PhotoError) as error:
        read_photo(data)
    assert str(error.value).endswith(".") and len(str(error.value)) < 120


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 800), st.binary(min_size=1, max_size=30), st.sampled_from(["JPEG", "PNG", "WEBP"]))
def test_a_spoiled_file_gives_a_photo_or_a_refusal_and_nothing_else(
    at: int, spoilt: bytes, kind: str
) -> None:
    sent = a_file(kind=kind)
    at %= len(sent)
    try:
        kept = read_photo(sent[:at] + spoilt + sent[at + len(spoilt) :])
    except PhotoError:
        return
    assert Image.open(io.BytesIO(kept)).format == "JPEG"


def test_a_photo_is_kept_once_shown_to_the_mechanic_alone_and_destroyed_with_the_persons(
    empty_shop: Path,
) -> None:
    shop = Shop(empty_shop)
    client = work_app(Van(shop.context), NoAuth()).test_client()
    job = add_rows(
        shop.context,
        None,
        {"reason": "Dent.", "vehicle": {"plate": "DEMO-1"}},
        request_id="a-job-with-photos",
    ).job
    for _ in range(3):
        form = {
            "answer": "the-same-photo-again",
            "what": "Dent in the left door",
            "photo": (io.BytesIO(a_file(exif=exif())), "x.jpg"),
        }
        assert (
            client.post(f"/job/{job}/photo", data=form, content_type="multipart/form-data").status_code == 303
        )
    assert len(shop.store.job(job).photos) == 1
    page = client.get(f"/job/{job}/photos").text
    assert "Dent in the left door" in page
    address = page.split('<img src="')[1].split('"')[0]
    shown = client.get(address)
    assert shown.mimetype == "image/jpeg" and shown.headers["Cache-Control"] == "no-store"
    assert Image.open(io.BytesIO(shown.data)).size == (60, 40)
    assert (
        base64.b64encode(shown.data).decode()
        in pictures_of(shop.context, job_named(shop.context, job), "photo").values()
    )
    other = add_rows(
        shop.context,
        None,
        {"reason": "Noise.", "vehicle": {"plate": "DEMO-2"}},
        request_id="another-job-here",
    ).job
    assert client.get(address.replace(job, other)).status_code == 404
    withdraw_entry(
        shop.context,
        job,
        shop.store.job(job).photos[0].id,
        "the wrong car",
        request_id="that-photo-taken-back",
    )
    assert client.get(address).status_code == 404 and "<img" not in client.get(f"/job/{job}/photos").text


def test_a_photo_is_put_on_the_document_and_taken_off_where_it_is_shown_and_at_hand_over(
    empty_shop: Path,
) -> None:
    with Shop(empty_shop) as shop:
        job = found(shop)
        client = work_app(Van(shop.context), NoAuth()).test_client()
        out = io.BytesIO()
        # As a camera sends it: large, with its place in it.
        Image.linear_gradient("L").resize((2400, 1800)).save(out, "JPEG", exif=exif())
        form = {
            "answer": "a-photo-for-the-paper",
            "what": "Acid at the post",
            "photo": (io.BytesIO(out.getvalue()), "x.jpg"),
        }
        client.post(f"/job/{job}/photo", data=form, content_type="multipart/form-data")
        page = client.get(f"/job/{job}/photos").text
        assert "Put it on the document" in page and "at most 80 kB" in page
        (entry,) = re.findall(rf"/job/{job}/photo/(\w+)/choice", page)
        path = f"/job/{job}/photo/{entry}/choice"
        asked = {"answer": "chosen-for-the-paper", "chosen": "yes", "next": f"/job/{job}/hand"}
        assert client.post(path, data=asked).headers["Location"].endswith(f"/job/{job}/hand")
        ((_, chosen),) = shop.store.job(job).photos_for_paper
        assert isinstance(chosen.image, Personal)
        data = base64.b64decode(shop.store.text(chosen.image.hash) or "")
        picture = Image.open(io.BytesIO(data))
        assert max(picture.size) == 1000 and len(data) <= 80_000 and not picture.getexif()
        page = client.get(f"/job/{job}/photos").text
        assert "On the document." in page and f"Adds {-(-len(data) // 1000)} kB" in page
        hand = client.get(f"/job/{job}/hand").text
        assert "Photos on the document: 1 of 1" in hand and "Take it off the document" in hand
        estimate = client.get(f"/job/{job}/estimate")
        assert estimate.status_code == 200
        asked = {"answer": "taken-off-the-paper-1", "chosen": "no", "next": "//example.org"}
        assert client.post(path, data=asked).headers["Location"].endswith(f"/job/{job}/photos")
        assert shop.store.job(job).photos_for_paper == ()
        assert "Photos on the document: 0 of 1" in client.get(f"/job/{job}/hand").text


def test_a_photo_is_destroyed_with_the_persons(empty_shop: Path) -> None:
    shop = Shop(empty_shop)
    client = work_app(Van(shop.context), NoAuth()).test_client()
    job = add_rows(
        shop.context,
        None,
        {"reason": "Dent.", "vehicle": {"plate": "DEMO-1"}},
        request_id="a-job-to-be-forgotten",
    ).job
    form = {
        "answer": "a-photo-to-be-forgotten",
        "what": "Left door",
        "photo": (io.BytesIO(a_file()), "x.jpg"),
    }
    client.post(f"/job/{job}/photo", data=form, content_type="multipart/form-data")
    address = client.get(f"/job/{job}/photos").text.split('<img src="')[1].split('"')[0]
    shop.forget(job)
    assert client.get(address).status_code == 404
    assert "Destroyed after retention" in client.get(f"/job/{job}/photos").text
    shop.close()


def test_a_file_that_is_no_photo_comes_back_with_the_words_kept(empty_shop: Path) -> None:
    shop = Shop(empty_shop)
    client = work_app(Van(shop.context), NoAuth()).test_client()
    job = add_rows(
        shop.context,
        None,
        {"reason": "Dent.", "vehicle": {"plate": "DEMO-1"}},
        request_id="a-job-without-photo",
    ).job
    form = {
        "answer": "no-photo-at-all-here",
        "screen": f"/job/{job}/photos",
        "what": "Left door",
        "photo": (io.BytesIO(b"hello"), "x.jpg"),
    }
    refused = client.post(f"/job/{job}/photo", data=form, content_type="multipart/form-data")
    assert (
        refused.status_code == 422
        and "kind of picture is not accepted" in refused.text
        and 'value="Left door"' in refused.text
    )
    assert not shop.store.job(job).photos
    shop.close()


def test_pictures_are_decoded_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each may take the memory of a whole picture; six at once took half a gigabyte."""
    at_once, most = 0, 0
    upright = photo._upright

    def watched(picture: Any, side: int) -> Any:
        nonlocal at_once, most
        at_once += 1
        most = max(most, at_once)
        time.sleep(0.02)
        try:
            return upright(picture, side)
        finally:
            at_once -= 1

    monkeypatch.setattr(photo, "_upright", watched)
    out = io.BytesIO()
    Image.new("RGB", (40, 30)).save(out, "PNG")
    with ThreadPoolExecutor(6) as six:
        assert all(six.map(photo.read_photo, [out.getvalue()] * 6))
    assert most == 1
