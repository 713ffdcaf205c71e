"""`corekit practise`: its folder, what it says, what it refuses."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.cli import main
from corekit.desk.settings import PRACTICE_FILE
from corekit.desk.shop import Shop
from corekit.practice.folder import PracticeFolder


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Folders that the screens were opened for, in place of serving them."""
    opened: list[Path] = []
    monkeypatch.setattr(
        "corekit.screens.serve.serve_here", lambda folder, **more: opened.append(Path(folder))
    )
    return opened


def test_it_makes_a_folder_puts_the_car_in_and_opens_the_screens(
    tmp_path: Path, served: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "cars"
    assert main(["practise", "--out", str(out), "--seed", "7", "--system", "cooling", "--hard"]) == 0
    assert served == [out] and (out / PRACTICE_FILE).is_file()
    assert "corekit practise --seed 7 --system cooling --hard" in capsys.readouterr().out
    with Shop(out) as shop:
        assert shop.context.practice
        (job,) = shop.store.jobs()
        wish = PracticeFolder(shop.context).wish(job)
    assert wish is not None and (wish.seed, wish.system, wish.hard) == (7, "cooling", True)


def test_asked_again_another_car_stands_beside_the_first(tmp_path: Path, served: list[Path]) -> None:
    out = tmp_path / "cars"
    for seed in ("1", "2"):
        assert main(["practise", "--out", str(out), "--seed", seed]) == 0
    with Shop(out) as shop:
        assert len(shop.store.jobs()) == 2


def test_a_system_that_cannot_be_practised_is_named_before_anything_is_written(
    tmp_path: Path, served: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "cars"
    assert main(["practise", "--out", str(out), "--system", "brooms"]) != 0
    said = capsys.readouterr()
    assert "brooms: has no practice vehicle" in said.out + said.err
    assert not out.exists() and served == []


def test_a_folder_that_holds_something_else_is_left_alone(
    tmp_path: Path, served: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.txt").write_text("mine", "utf-8")
    assert main(["practise", "--out", str(tmp_path)]) != 0
    said = capsys.readouterr()
    assert "nothing was touched" in said.out + said.err
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"] and served == []
