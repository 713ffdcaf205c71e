"""Which shop a command is about."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.cli.command import shop_folder


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The current folder, which is no shop yet; another one stands in COREKIT_SHOP."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COREKIT_SHOP", "from-the-environment")
    return tmp_path


def test_the_shop_that_is_named_comes_before_the_folder_one_is_in(folder: Path) -> None:
    (folder / "shop.toml").touch()
    assert shop_folder("named") == Path("named")


def test_the_folder_one_is_in_comes_before_the_environment_if_it_is_a_shop(folder: Path) -> None:
    assert shop_folder(None) == Path("from-the-environment")
    (folder / "shop.toml").touch()
    assert shop_folder(None) == Path()


def test_without_either_the_shop_is_in_the_home_folder(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COREKIT_SHOP")
    monkeypatch.setenv("HOME", str(folder))
    assert shop_folder("") == folder / "corekit"
