"""A VIN is read from a photo of its code."""

from __future__ import annotations

import io
from typing import Any

import pytest

from corekit.screens.scan import vins_in

from .pages import Visit

zxing = pytest.importorskip("zxingcpp")
#: The worked example of 49 CFR 565 for the check digit.
VIN = "1M8GDM9AXKP042788"


def picture(text: str, kind: Any) -> bytes:
    from PIL import Image

    drawn = zxing.create_barcode(text, kind).to_image(scale=4)
    code = Image.fromarray(drawn) if not hasattr(drawn, "save") else drawn
    sheet = Image.new("L", (code.width + 200, code.height + 200), 255)
    sheet.paste(code, (100, 100))
    out = io.BytesIO()
    sheet.convert("RGB").rotate(3, expand=True, fillcolor="white").save(out, "JPEG", quality=85)
    return out.getvalue()


@pytest.mark.parametrize(
    "kind", [zxing.BarcodeFormat.DataMatrix, zxing.BarcodeFormat.Code39, zxing.BarcodeFormat.QRCode]
)
def test_a_vin_is_read_from_a_photo_of_its_code(visit: Visit, kind: Any) -> None:
    photo = io.BytesIO(picture(VIN, kind))
    reply = visit.client.post("/scan", data={"photo": (photo, "code.jpg")})
    assert reply.status_code == 200 and reply.json == {"text": VIN, "words": ""}


def test_a_picture_without_a_vin_says_what_to_do(visit: Visit) -> None:
    photo = io.BytesIO(picture("NOT-A-VIN", zxing.BarcodeFormat.QRCode))
    reply = visit.client.post("/scan", data={"photo": (photo, "code.jpg")})
    assert reply.status_code == 422 and "type it" in reply.json["words"]
    reply = visit.client.post("/scan", data={"photo": (io.BytesIO(b"no picture"), "code.jpg")})
    assert reply.status_code == 422 and not reply.json["text"]


@pytest.mark.parametrize(
    ("held", "vins"),
    [
        (f"I{VIN}", [VIN]),
        (f"VIN: {VIN}; 2019", [VIN]),
        (VIN.lower(), [VIN]),
        (f"{VIN}9", []),  # a longer number is none
        (VIN[:-1], []),
        (VIN.replace("M", "O"), []),
    ],
)
def test_a_vin_is_found_whole_in_what_a_code_holds(held: str, vins: list[str]) -> None:
    assert vins_in([held]) == vins


def test_of_two_the_one_whose_check_digit_agrees_comes_first() -> None:
    other = VIN[:8] + "0" + VIN[9:]
    assert vins_in([other, VIN]) == [VIN, other]
