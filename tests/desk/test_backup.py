"""Backups are whole and verified or are not there; what is made from one never shares a number with its
origin; an older copy put back is recognised.
"""

from __future__ import annotations

import errno
import json
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from corekit.cli.command import run
from corekit.desk import backup
from corekit.desk.backup import BackupError, back_up, backups, daily_backup, restore
from corekit.desk.errors import DeskError
from corekit.desk.settings import BACKUPS, STORE_FILE
from corekit.desk.shop import Shop
from corekit.desk.verify import verify_folder
from corekit.store.errors import StoreError
from corekit.store.store import Store

from .test_clock import VISIT, Clock
from .visits_by_answer import demo_shop


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    demo_shop(tmp_path / "van").close()
    return tmp_path / "van"


@pytest.fixture
def shop(folder: Path, clock: Clock) -> Iterator[Shop]:
    with Shop(folder, now=clock) as opened:
        yield opened


@pytest.fixture
def job(shop: Shop, ready: Callable[[Shop, str], str]) -> str:
    return ready(shop, "one")


@pytest.fixture
def ready(tmp_path: Path) -> Callable[[Shop, str], str]:
    def made(shop: Shop, name: str) -> str:
        file = tmp_path / f"{name}.toml"
        file.write_text(VISIT.partition("[[step]]\napproved")[0].format(name=name), encoding="utf-8")
        total = str(shop.estimate(shop.import_visit(file), "repair").total)
        file.write_text(VISIT.format(name=name, total=total), encoding="utf-8")
        return shop.import_visit(file)

    return made


def test_a_backup_taken_while_the_shop_is_open_holds_everything_acknowledged(
    shop: Shop, job: str, tmp_path: Path
) -> None:
    made = back_up(shop.context, tmp_path / "stick")
    again = restore(made.path, tmp_path / "other")
    assert again.jobs == made.jobs == 1
    with Shop(tmp_path / "other") as other:
        assert other.context.store.journal(job) == shop.context.store.journal(job)
        assert other.verify().faults == ()


def test_two_backups_of_one_second_are_two(shop: Shop, job: str, tmp_path: Path) -> None:
    first, second = (back_up(shop.context, tmp_path / "stick") for _ in range(2))
    assert first.path != second.path and second.made - first.made == timedelta(seconds=1)
    assert {restore(one.path, tmp_path / one.path.name).jobs for one in (first, second)} == {1}


def test_a_restored_shop_prints_what_was_issued_and_shares_no_number_with_the_one_it_came_from(
    shop: Shop, job: str, ready: Callable[[Shop, str], str], tmp_path: Path
) -> None:
    first = shop.issue(job)
    made = back_up(shop.context)
    restored = restore(made.path, tmp_path / "other")
    twice = restore(made.path, tmp_path / "third")
    with Shop(tmp_path / "other") as other:
        assert other.issue(job).document == first.document
        assert other.issue(job).link == first.link
        number = other.issue(ready(other, "two"), date_is_right=True).number
    with Shop(tmp_path / "third") as third:
        assert third.context.device == twice.letters
    assert number == f"{datetime.now(UTC).year}-{restored.letters}0001"
    assert shop.issue(ready(shop, "two")).number == "2026-A0002"


def test_a_backup_is_never_written_over_a_record(shop: Shop, job: str, folder: Path) -> None:
    made = back_up(shop.context)
    before = (folder / STORE_FILE).read_bytes()
    with pytest.raises(BackupError, match="never written over"):
        restore(made.path, folder)
    assert (folder / STORE_FILE).read_bytes() == before


def test_settings_and_keys_that_are_there_are_kept_and_named(
    shop: Shop, job: str, tmp_path: Path, folder: Path
) -> None:
    made = back_up(shop.context)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "shop.toml").write_bytes((folder / "shop.toml").read_bytes() + b"\n# mine\n")
    restored = restore(made.path, tmp_path / "other")
    assert restored.kept == ("shop.toml",)
    assert (tmp_path / "other" / "shop.toml").read_text("utf-8").endswith("# mine\n")


def damage_record(path: Path) -> None:
    with Store.open(path / STORE_FILE) as store:
        store._connection.execute("UPDATE entry SET reason = 'other' WHERE n = 1")


def cut_record(path: Path) -> None:
    told = json.loads((path / "heads.json").read_text("utf-8"))
    (path / "heads.json").write_text(json.dumps({**told, "heads": [*told["heads"], "0" * 64]}), "utf-8")


@pytest.mark.parametrize(
    "harm",
    [
        damage_record,
        cut_record,
        lambda path: (path / STORE_FILE).write_bytes(b"no store"),
        lambda path: (path / "heads.json").write_text("{", "utf-8"),
    ],
    ids=["entry changed", "heads differ", "no store", "heads unreadable"],
)
def test_a_damaged_backup_restores_nothing(
    shop: Shop, job: str, tmp_path: Path, harm: Callable[[Path], object]
) -> None:
    made = back_up(shop.context)
    harm(made.path)
    with pytest.raises(BackupError):
        restore(made.path, tmp_path / "other")
    assert not (tmp_path / "other" / STORE_FILE).exists()
    assert [*(tmp_path / "other").iterdir()] == []


def test_a_record_that_does_not_verify_is_not_backed_up_over_good_copies(
    shop: Shop, job: str, folder: Path
) -> None:
    shop.context.store._connection.execute("UPDATE entry SET reason = 'other' WHERE n = 1")
    with pytest.raises(BackupError, match="does not verify"):
        back_up(shop.context)
    assert [*(folder / BACKUPS).iterdir()] == []


def test_a_backup_that_finds_no_room_leaves_nothing_behind(
    shop: Shop, job: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, data: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(backup, "write_once", full)
    with pytest.raises(BackupError, match="No space left"):
        back_up(shop.context)
    assert [*(folder / BACKUPS).iterdir()] == []


def test_one_backup_a_day_is_made_by_itself_and_old_ones_are_thinned(
    shop: Shop, job: str, folder: Path, clock: Clock
) -> None:
    mine = back_up(shop.context)
    assert daily_backup(shop.context) is None
    clock.at += timedelta(hours=19, minutes=59)
    assert daily_backup(shop.context) is None
    for _ in range(60):
        clock.at += timedelta(days=1)
        assert daily_backup(shop.context) is not None
    left = [one for one in backups(folder) if one.daily]
    ages = [(clock.at - one.made).days for one in left]
    assert ages[-7:] == [6, 5, 4, 3, 2, 1, 0]
    assert len(ages) == 7 + 4
    assert all(later - earlier == -7 for earlier, later in pairwise(ages[:4]))
    assert mine.path.is_dir()


def test_a_shop_without_a_job_gets_no_backup_by_itself(shop: Shop) -> None:
    assert daily_backup(shop.context) is None


def test_forgetting_reaches_the_backups_in_the_shops_folder_which_still_restore(
    shop: Shop, job: str, tmp_path: Path
) -> None:
    made = back_up(shop.context)
    shop.forget(job)
    for file in made.path.rglob("*"):
        assert not file.is_file() or b"DEMO-7" not in file.read_bytes()
    assert restore(made.path, tmp_path / "other").jobs == 1


def test_a_damaged_backup_keeps_nothing_from_being_forgotten_in_the_shop_itself(shop: Shop, job: str) -> None:
    made = back_up(shop.context)
    (made.path / STORE_FILE).write_bytes(b"no store")
    with pytest.raises(StoreError):
        shop.forget(job)
    assert shop.context.store.texts(shop.context.store.job(job).persons()) == {}


def test_a_plain_copy_of_the_open_record_is_recognised_as_older_until_somebody_says_so(
    shop: Shop, job: str, ready: Callable[[Shop, str], str], folder: Path, tmp_path: Path
) -> None:
    shutil.copytree(folder, tmp_path / "copied", ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    with pytest.raises(DeskError, match=r"entries that were seen under this name are not in it.*-wal"):
        Shop(tmp_path / "copied")
    assert run(["restored", "--shop", str(tmp_path / "copied")]) == 0
    Shop(tmp_path / "copied").close()


def test_an_older_copy_put_back_in_place_is_recognised(
    shop: Shop, job: str, ready: Callable[[Shop, str], str], folder: Path, tmp_path: Path
) -> None:
    shop.close()
    older = (folder / STORE_FILE).read_bytes()
    with Shop(folder) as opened:
        ready(opened, "two")
    (folder / STORE_FILE).write_bytes(older)
    with pytest.raises(DeskError, match="older copy of itself"):
        Shop(folder)
    (fault,) = verify_folder(folder).faults
    assert "entries that were seen under this name are not in it" in fault


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"entries": "x", "last": 1}', b"\xff\xfe"])
def test_a_file_of_what_was_seen_that_cannot_be_read_bars_nobody(
    shop: Shop, job: str, folder: Path, content: bytes
) -> None:
    shop.close()
    (folder / f"{STORE_FILE}.seen").write_bytes(content)
    Shop(folder).close()


def test_the_commands_back_up_and_restore(
    shop: Shop, job: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop.close()
    assert run(["backup", str(tmp_path / "stick"), "--shop", str(folder)]) == 0
    said = capsys.readouterr().out
    path = Path(said.splitlines()[0])
    assert "A whole copy with 1 job, verified." in said
    assert run(["restore", str(path), "--shop", str(tmp_path / "other")]) == 0
    assert "1 job restored, and everything verifies." in capsys.readouterr().out
    assert run(["verify", "--shop", str(tmp_path / "other")]) == 0
