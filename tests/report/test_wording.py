"""What a shop may restyle is checked before anything is printed with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.fault import DataFileError
from corekit.reference import data_path
from corekit.report.fonts import typeface
from corekit.report.wording import contrast_with_white, read_theme, read_wording, wording


def changed(tmp_path: Path, file: str, old: str, new: str) -> Path:
    text = data_path(f"templates/{file}").read_text("utf-8")
    assert old in text
    path = tmp_path / file
    path.write_text(text.replace(old, new), "utf-8")
    return path


def test_the_words_we_ship_can_all_be_set() -> None:
    for section in wording().values():
        for word in section.values():
            assert typeface("regular").knows(word)
            assert typeface("strong").knows(word)


def test_no_word_we_print_says_that_driving_is_without_danger() -> None:
    import re

    everything = " ".join(word for section in wording().values() for word in section.values()) + data_path(
        "templates/page/page.html"
    ).read_text("utf-8")
    assert re.search(r"\bsafe", everything, re.IGNORECASE) is None


def test_every_fault_of_a_wording_file_is_named_at_once(tmp_path: Path) -> None:
    path = changed(
        tmp_path,
        "wording.toml",
        'page  = "page {page} of {pages}"',
        'page  = "page {nth} of {pages}"\nfoot = "x"',
    )
    path.write_text(
        path.read_text("utf-8").replace("[mask] ", "[masks] ").replace('tax      = "Tax"', 'tax      = " "'),
        "utf-8",
    )
    with pytest.raises(DataFileError) as error:
        read_wording(path)
    text = str(error.value)
    assert "running.page: {nth} is not filled in here; expected {page}, {pages}" in text
    assert "running.foot: is not a key here; expected one of page, draft, demo" in text
    assert "masks: is not a key here; write one of running, opening, " in text
    assert "mask: is missing; expected a section [mask]" in text
    assert "lines.tax: is empty; expected a text" in text


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"#1d3a4f"', '"#ffcc00"', "to 1 against white"),
        ('"#1d3a4f"', '"navy"', "#rrggbb"),
        ("left   = 18", "left   = 3", "margins.left: is 3 mm; expected 8 to 40 mm"),
        ("left   = 18", 'left   = "18"', "margins.left"),
        ("[margins] ", "[margin] ", "margins: is missing; expected a section [margins]"),
        (
            "[margins] ",
            "logo = 1\n[margins] ",
            "logo: is not a key here; expected one of ink, paper, margins",
        ),
        ('"A4"  ', '"A5"  ', 'paper: "A5" is no size known here; write "A4" or "letter"'),
        ('paper = "A4"', "", "paper: is missing"),
    ],
)
def test_a_theme_that_would_not_print_well_is_refused(tmp_path: Path, old: str, new: str, said: str) -> None:
    with pytest.raises(DataFileError, match=said.replace("[", r"\[").replace("]", r"\]")):
        read_theme(changed(tmp_path, "theme.toml", old, new))


def test_contrast_is_reckoned_as_the_guideline_says() -> None:
    """WCAG 2.2: black on white is 21 to 1; #767676 is the well-known lightest grey that just reaches 4.5
    (value from memory).
    """
    assert contrast_with_white("#000000") == pytest.approx(21.0)
    assert contrast_with_white("#ffffff") == pytest.approx(1.0)
    assert contrast_with_white("#767676") >= 4.5 > contrast_with_white("#777777")
