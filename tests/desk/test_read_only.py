"""A shop that may only be read is read, verified and printed from, and nothing in it changes."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from corekit.cli.command import run
from corekit.desk.backup import back_up, restore
from corekit.desk.shop import Shop
from corekit.store.errors import StoreError

from .test_clock import VISIT, Clock
from .visits_by_answer import demo_shop


def files_in(where: Path) -> dict[str, bytes]:
    return {str(path.relative_to(where)): path.read_bytes() for path in where.rglob("*") if path.is_file()}


def ready(shop: Shop, folder: Path) -> str:
    """A job that waits for its invoice."""
    file = folder.parent / "one.toml"
    file.write_text(VISIT.partition("[[step]]\napproved")[0].format(name="one"), encoding="utf-8")
    total = str(shop.estimate(shop.import_visit(file), "repair").total)
    file.write_text(VISIT.format(name="one", total=total), encoding="utf-8")
    return shop.import_visit(file)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    demo_shop(tmp_path / "van").close()
    return tmp_path / "van"


@pytest.fixture
def closed(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A shop with an issued job that nobody may write; what it holds is the same afterwards."""
    with Shop(folder, now=Clock()) as shop:
        shop.issue(ready(shop, folder))
    before = files_in(folder)
    write_protect(folder, monkeypatch)
    yield folder
    assert files_in(folder) == before


def write_protect(where: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a read-only mount, for root too."""
    asked = os.access

    def access(path: Path, mode: int) -> bool:
        return asked(path, mode) and not (mode & os.W_OK and Path(path).is_relative_to(where))

    monkeypatch.setattr(os, "access", access)


def test_it_is_read_and_verified(closed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["verify"], ["check", "one"], ["books"]):
        assert run([*words, "--shop", str(closed)]) == 0, capsys.readouterr()
    assert "verifies" in capsys.readouterr().out


def test_its_papers_are_printed_into_the_folder_one_stands_in(
    closed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    assert run(["invoice", "one", "--yes", "--shop", str(closed)], "command-0123456789abcdef") == 0
    (paper,) = (tmp_path / "here").glob("invoice-*.pdf")
    assert paper.read_bytes().startswith(b"%PDF")


def test_whatever_would_write_is_refused_in_one_sentence(closed: Path) -> None:
    with Shop(closed) as shop, pytest.raises(StoreError, match="may not be written"):
        shop.forget("one", because="the customer asked for it")


def test_what_still_stands_in_the_log_is_read_too(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`immutable` alone would show a store without its newest entries."""
    with Shop(folder, now=Clock()) as shop:
        job = ready(shop, folder)
        entries = shop.store.journal(job)
        copy = Path(shutil.copytree(folder, tmp_path / "stick"))
    assert (copy / "journal.sqlite-wal").stat().st_size > 0
    before = files_in(copy)
    write_protect(copy, monkeypatch)
    with Shop(copy, now=Clock()) as shop:
        assert shop.store.journal(job) == entries
        assert shop.verify().faults == ()
    assert files_in(copy) == before


def test_a_backup_is_made_of_it_elsewhere(closed: Path, tmp_path: Path) -> None:
    with Shop(closed, now=Clock()) as shop:
        made = back_up(shop.context, tmp_path / "stick")
    assert restore(made.path, tmp_path / "again").jobs == 1
