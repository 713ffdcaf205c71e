"""Backups: a whole copy of a shop in a folder of its own, checked before it counts; a shop made from one."""

from __future__ import annotations

import errno
import json
import re
import secrets
import shutil
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import attrs

from ..errors import CorekitError
from ..files import TEMPORARY, flush_folder, write_once, write_over
from ..store.store import Store
from .context import ShopContext
from .errors import DeskError
from .learned import LEARNED_FILE
from .settings import BACKUPS, PRICE_FILE, SHOP_FILE, STORE_FILE

HEADS_FILE, KEYS = "heads.json", "keys"
#: Backups that are made by themselves: the last so many days, and one a week before.
_DAYS, _WEEKS = 7, 4
_DAILY = timedelta(hours=20)  # a van that starts work a little earlier each day still gets one a day
_NAME = re.compile(r"(daily|backup)-(\d{8}T\d{6})Z")


@attrs.frozen(kw_only=True)
class Backup:
    """One backup: its folder, when it was made, and how many jobs are in it."""

    path: Path
    made: datetime
    jobs: int = 0
    daily: bool = False


class BackupError(DeskError):
    """A backup that could not be made, or cannot be used."""


def back_up(shop: ShopContext, to: Path | None = None, *, daily: bool = False) -> Backup:
    """Copy the shop into a new folder below `to` (the shop's own `backups` if nobody says where): the record,
    which is verified there, settings, prices, what was learned, keys, and the heads of the chains. Papers and
    pages are not in it: they are drawn from the record.

    Others may work meanwhile. The folder appears when everything in it is on the disk, never half.

    Raises:
        BackupError: it could not be written, or the copy does not verify.
    """
    to = to if to is not None else shop.folder / BACKUPS
    made = datetime.fromisoformat(shop.store.now())
    unfinished = to / f"{TEMPORARY}{secrets.token_hex(8)}"
    try:
        to.mkdir(parents=True, exist_ok=True)
        unfinished.mkdir(mode=0o700)
        try:
            shop.store.copy_to(unfinished / STORE_FILE)
            heads, jobs = _verified_heads(unfinished / STORE_FILE)
            for name in (SHOP_FILE, PRICE_FILE, LEARNED_FILE):
                if name != LEARNED_FILE or (shop.folder / name).is_file():
                    write_once(unfinished / name, (shop.folder / name).read_bytes())
            shutil.copytree(shop.folder / KEYS, unfinished / KEYS)
            told = {"made": shop.store.now(), "lineage": shop.store.lineage, "heads": heads, "jobs": jobs}
            write_once(unfinished / HEADS_FILE, json.dumps(told, indent=2).encode())
            path, made = _name_backup(unfinished, "daily" if daily else "backup", made)
            flush_folder(to)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)
    except OSError as error:
        raise BackupError(
            f"No backup could be written to {to}: {error.strerror or error}. Name a folder that can be"
            " written and has room, such as a memory stick. The shop itself is as it was."
        ) from error
    return Backup(path=path, made=made, jobs=jobs, daily=daily)


def _name_backup(unfinished: Path, kind: str, made: datetime) -> tuple[Path, datetime]:
    """Give a whole backup its name: its moment to the second, or the next that is free.

    Raises:
        OSError: the folder cannot be written.
    """
    while True:
        path = unfinished.with_name(f"{kind}-{made:%Y%m%dT%H%M%S}Z")
        if not path.exists():
            try:
                unfinished.rename(path)
                return path, made
            except OSError as error:
                if error.errno not in (errno.ENOTEMPTY, errno.EEXIST):  # another program was faster
                    raise
        made += timedelta(seconds=1)


def _verified_heads(store: Path) -> tuple[list[str], int]:
    """Heads of a copy's chains and how many jobs are in it, after it was verified.

    Raises:
        BackupError: it does not verify.
    """
    with Store.open(store) as copy:
        faults = copy.verify()
        if faults:
            raise BackupError(
                f"The record does not verify, so no backup was made of it: {faults[0]} See `corekit verify`,"
                " and keep the backups that there are."
            )
        return copy.heads(), copy.job_count


def backups(folder: Path) -> list[Backup]:
    """The backups that lie in the shop's own folder, the newest last."""
    found = []
    for path in (folder / BACKUPS).glob("*-*Z"):
        named = _NAME.fullmatch(path.name)
        if named and (path / STORE_FILE).is_file():
            made = datetime.strptime(named[2], "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
            found.append(Backup(path=path, made=made, daily=named[1] == "daily"))
    return sorted(found, key=lambda one: one.made)


def last_backup(folder: Path) -> datetime | None:
    """When the newest backup in the shop's own folder was made; None where there is none."""
    found = backups(folder)
    return found[-1].made if found else None


def daily_backup(shop: ShopContext) -> Backup | None:
    """Today's backup by itself, where none was made today and the shop has a job; then the oldest of those
    made by themselves are thinned out. Gives it, or None where none was due.

    Raises:
        BackupError: it could not be made.
    """
    now = datetime.fromisoformat(shop.store.now())
    known = backups(shop.folder)
    if not shop.store.heads() or (known and timedelta() <= now - known[-1].made < _DAILY):
        return None
    made = back_up(shop, daily=True)
    for old in _superfluous([one for one in backups(shop.folder) if one.daily]):
        shutil.rmtree(old.path, ignore_errors=True)
    return made


def _superfluous(daily: Sequence[Backup]) -> list[Backup]:
    """Which of the daily backups, oldest first, are neither among the last days nor the first of a week."""
    older = daily[:-_DAYS]
    weeks: dict[tuple[int, int], Backup] = {}
    for one in older:
        weeks.setdefault(one.made.isocalendar()[:2], one)
    kept = list(weeks.values())[-_WEEKS:]
    return [one for one in older if one not in kept]


def forget_in_backups(folder: Path, job: str) -> int:
    """Destroy a job's personal texts in the backups in the shop's own folder too; gives in how many.

    Copies elsewhere are out of reach.
    """
    count = 0
    for one in backups(folder):
        with Store.open(one.path / STORE_FILE) as store:
            if store.has(job):
                store.forget(job)
                _write_heads(one.path, store)
                count += 1
    return count


def _write_heads(backup: Path, store: Store) -> None:
    """The heads as they are now: that a person was forgotten is an entry of its own."""
    told = json.loads((backup / HEADS_FILE).read_text("utf-8"))
    write_over(backup / HEADS_FILE, json.dumps({**told, "heads": store.heads()}, indent=2).encode())


@attrs.frozen(kw_only=True)
class Restored:
    """A shop that was made from a backup, under a chain and letters of its own."""

    folder: Path
    jobs: int
    lineage: str
    letters: str
    kept: tuple[str, ...] = ()


def restore(backup: Path, folder: Path) -> Restored:
    """Make the shop in `folder` from a backup: its record, which is verified first, and what of settings,
    prices and keys is not there already.

    The restored record goes on in a chain of its own and numbers invoices with letters of its own, because
    the other one may still be written to.

    Raises:
        BackupError: there is a record in the folder already, the backup is none, or it is damaged.
    """
    source, target = backup / STORE_FILE, folder / STORE_FILE
    if not source.is_file() or not (backup / HEADS_FILE).is_file():
        raise BackupError(
            f"{backup} is no backup: there is no {STORE_FILE} with a {HEADS_FILE} in it. Name the folder that"
            " `corekit backup` made."
        )
    if target.exists():
        raise BackupError(
            f"There is a record in {folder} already, and a backup is never written over one. Restore into"
            " another folder with --shop, or move what is there away first."
        )
    unfinished = folder / f"{TEMPORARY}{secrets.token_hex(8)}"
    kept = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        unfinished.mkdir(mode=0o700)
        try:
            shutil.copy(source, unfinished / STORE_FILE)
            (unfinished / STORE_FILE).chmod(0o600)
            jobs, lineage, letters = _continuation(unfinished / STORE_FILE, backup)
            learned = [LEARNED_FILE] if (backup / LEARNED_FILE).is_file() else []
            for name in (SHOP_FILE, PRICE_FILE, *learned, *_keys_in(backup)):
                if (folder / name).exists():
                    kept.append(name)
                    continue
                (folder / name).parent.mkdir(mode=0o700, exist_ok=True)
                write_once(folder / name, (backup / name).read_bytes())
            (unfinished / STORE_FILE).rename(target)
            flush_folder(folder)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)
    except OSError as error:
        raise BackupError(
            f"The backup could not be written to {folder}: {error.strerror or error}. The backup is as it"
            " was."
        ) from error
    return Restored(folder=folder, jobs=jobs, lineage=lineage, letters=letters, kept=tuple(kept))


def _keys_in(backup: Path) -> list[str]:
    return [f"{KEYS}/{path.name}" for path in sorted((backup / KEYS).iterdir()) if path.is_file()]


def _continuation(copy: Path, backup: Path) -> tuple[int, str, str]:
    """Number of jobs in the copy of a backup's record, and the chain and letters that it goes on under.

    Raises:
        BackupError: it is not what was backed up.
    """
    try:
        told = json.loads((backup / HEADS_FILE).read_text("utf-8"))
        heads = sorted(told["heads"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BackupError(f"{backup / HEADS_FILE} cannot be read ({error}); use another backup.") from error
    try:
        with Store.open(copy) as store:
            faults = store.verify()
            if not faults and store.heads() != heads:
                faults = ["it does not end where it ended when it was made"]
            if faults:
                raise BackupError(
                    f"The backup in {backup} is damaged: {faults[0]}. Nothing was restored; use another one."
                )
            name, letters = store.continue_restored()
            return store.job_count, name, letters
    except BackupError:
        raise
    except CorekitError as error:
        raise BackupError(
            f"The backup in {backup} is damaged: {error} Nothing was restored; use another one."
        ) from error
