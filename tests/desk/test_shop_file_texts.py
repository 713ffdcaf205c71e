"""What a shop's own files say is looked at where they are read, not first where a paper is made of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.desk.settings import PRICE_FILE, SHOP_FILE, read_prices, read_settings
from corekit.errors import CorekitError
from corekit.reference import data_path

DEMO = data_path("demo") / "shop"
STEERING = {
    "an escape": ("\\u001b[2J", "U+001B"),
    "a sign that turns the writing": ("\\u202Egnp", "U+202E"),
    "a bell": ("\\u0007", "U+0007"),
}


def written(folder: Path, file: str, old: str, new: str) -> Path:
    for name in (SHOP_FILE, PRICE_FILE):
        text = (DEMO / name).read_text("utf-8")
        if name == file:
            assert old in text
            text = text.replace(old, new)
        (folder / name).write_text(text, "utf-8")
    return folder


@pytest.mark.parametrize("kind", STEERING)
def test_a_price_list_with_signs_that_steer_is_refused_with_the_place(tmp_path: Path, kind: str) -> None:
    typed, code = STEERING[kind]
    folder = written(tmp_path, PRICE_FILE, "Terminal protection", f"Terminal {typed}")
    with pytest.raises(CorekitError) as refused:
        read_prices(folder)
    said = str(refused.value)
    assert code in said and PRICE_FILE in said and "clean_contacts" in said


@pytest.mark.parametrize("kind", STEERING)
def test_a_shop_file_with_signs_that_steer_is_refused_with_the_place(tmp_path: Path, kind: str) -> None:
    typed, code = STEERING[kind]
    folder = written(tmp_path, SHOP_FILE, "Example Driveway Repairs", f"Example {typed}")
    with pytest.raises(CorekitError) as refused:
        read_settings(folder, demo=True)
    assert code in str(refused.value) and "name" in str(refused.value)


def test_names_in_every_script_and_lines_are_taken(tmp_path: Path) -> None:
    folder = written(tmp_path, SHOP_FILE, "Example Driveway Repairs", "日本 עברית Zoë")
    assert read_settings(folder, demo=True).issuer.name == "日本 עברית Zoë"
    folder = written(tmp_path, PRICE_FILE, "Terminal protection", "حماية")
    assert read_prices(folder).operations["battery.clean_contacts"].parts[0].name == "حماية"
