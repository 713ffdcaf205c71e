"""A VIN from a photo of its bar code or Data Matrix; read here, and the photo is not kept."""

from __future__ import annotations

import importlib.util
import io
import re

import flask

from ..model.vin import LENGTH, VinCheck, VinError, read_vin
from .context import Van
from .photo import PhotoError, read_photo

_RUN = re.compile(rf"[A-HJ-NPR-Z0-9]{{{LENGTH}}}")
_NOTHING = (
    "No VIN was found in the picture. Come closer, hold still, and keep the whole code in it; or type it."
)


def vins_in(texts: list[str]) -> list[str]:
    """Every VIN in what codes hold, those whose check digit agrees first.

    A label's bar code may have an I before the number, and others hold more than the number.

    >>> vins_in(["I1M8GDM9AXKP042788"])
    ['1M8GDM9AXKP042788']
    """
    found: dict[str, bool] = {}
    for text in texts:
        plain = text.upper()
        for at in range(len(plain) - LENGTH + 1):
            run = plain[at : at + LENGTH]
            around = plain[at - 1 : at] + plain[at + LENGTH : at + LENGTH + 1]
            if not _RUN.fullmatch(run) or any(char.isalnum() and char != "I" for char in around):
                continue
            try:
                found[run] = read_vin(run).check is VinCheck.AGREES
            except VinError:
                continue
    return sorted(found, key=lambda vin: not found[vin])


def read_codes(image: bytes) -> list[str]:
    """What the codes in a picture hold.

    Raises:
        PhotoError: it is no picture.
    """
    import zxingcpp
    from PIL import Image

    with Image.open(io.BytesIO(read_photo(image))) as picture:
        return [found.text for found in zxingcpp.read_barcodes(picture.convert("L"))]


def can_scan() -> bool:
    """True where the library that reads codes is installed (`pip install corekit[scan]`)."""
    return importlib.util.find_spec("zxingcpp") is not None


def add(app: flask.Flask, van: Van) -> None:
    app.jinja_env.globals["can_scan"] = can_scan()

    @app.post("/scan")
    def scan() -> tuple[flask.Response, int]:
        """The VIN in a photo, for the field beside it; nothing is written."""
        file = flask.request.files.get("photo")
        if not can_scan():
            return flask.jsonify(text="", words="Codes cannot be read on this device. Type the VIN."), 422
        try:
            found = vins_in(read_codes(file.read() if file is not None else b""))
        except PhotoError as error:
            return flask.jsonify(text="", words=str(error)), 422
        if not found:
            return flask.jsonify(text="", words=_NOTHING), 422
        return flask.jsonify(text=found[0], words=""), 200
