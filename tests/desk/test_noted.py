"""What nobody judges is not lost: free words stand on paper, and what is odd in a file is said."""

from __future__ import annotations

from pathlib import Path

import pypdf
import pytest

from corekit.cli import main

VISIT = """
job    = "noted"
demo   = true
reason = "Please look."
vehicle = { vin = "0TSTE1A17A0000001", description = "a van" }

[[step]]
seen = [
  { of = "battery.case", is = "sound" },
  { of = "battery.terminals", words = "green crust under the boot" },
]
"""


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    path = tmp_path / "noted.toml"
    path.write_text(VISIT, "utf-8")
    return path


def test_what_was_noted_in_free_words_stands_on_the_paper(
    visit: Path, demo_out: Path, tmp_path: Path
) -> None:
    assert (
        main(
            ["invoice", str(visit), "--draft", "--shop", str(demo_out), "--out", str(tmp_path / "draft.pdf")]
        )
        == 0
    )
    text = " ".join(
        " ".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "draft.pdf").pages).split()
    )
    assert "Noted, Posts and clamps: green crust under the boot" in text


def test_a_check_digit_that_differs_is_said_and_refuses_nothing(
    visit: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """49 CFR 565.15(c): the check digit of this made-up number would be 6, core-vin-08."""
    assert main(["check", str(visit)]) == 0
    assert "position 9) would be 6" in " ".join(capsys.readouterr().out.split())


def test_the_paper_does_not_say_nothing_to_watch_while_own_words_are_not_followed_up(
    visit: Path, demo_out: Path, tmp_path: Path
) -> None:
    def paper(text: str) -> str:
        visit.write_text(text, "utf-8")
        out = tmp_path / "draft.pdf"
        assert main(["invoice", str(visit), "--draft", "--shop", str(demo_out), "--out", str(out)]) == 0
        return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(out).pages).split())

    opened = paper(VISIT)
    assert "Nothing is open" not in opened
    assert "Noted in words, not followed up yet:" in opened
    cleared = paper(VISIT.replace('boot" }', 'boot", cleared = "cleaned off" }'))
    assert "not followed up" not in cleared
    assert "green crust under the boot Followed up: cleaned off" in cleared
