"""The link key's file: made once, private, whole, never replaced by itself."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest

from corekit import files
from corekit.share.keys import LinkKeyError, create_link_key, new_bearer, read_link_key
from corekit.share.link import read_token

posix = pytest.mark.skipif(os.name != "posix", reason="file modes are a matter of POSIX")


def test_a_key_has_32_random_bytes_and_comes_back_as_written(tmp_path: Path) -> None:
    first, second = create_link_key(tmp_path / "one"), create_link_key(tmp_path / "shop" / "two")
    assert len(first) == len(second) == 32
    assert first != second
    assert read_link_key(tmp_path / "one") == first


@posix
def test_only_its_owner_can_read_the_key_whatever_the_umask(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        create_link_key(tmp_path / "key")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "key").stat().st_mode) == 0o600


@posix
def test_a_key_that_others_can_read_is_refused_with_the_cure(tmp_path: Path) -> None:
    path = tmp_path / "key"
    create_link_key(path)
    path.chmod(0o644)
    with pytest.raises(LinkKeyError, match=f"chmod 600 {path}"):
        read_link_key(path)


def test_a_key_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "key"
    key = create_link_key(path)
    with pytest.raises(LinkKeyError, match="never overwritten"):
        create_link_key(path)
    assert read_link_key(path) == key
    (tmp_path / "empty").write_bytes(b"")
    with pytest.raises(LinkKeyError, match="never overwritten"):
        create_link_key(tmp_path / "empty")
    assert (tmp_path / "empty").read_bytes() == b""


@posix
def test_a_link_that_leads_nowhere_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "key").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(LinkKeyError, match="never overwritten"):
        create_link_key(tmp_path / "key")
    assert not (tmp_path / "elsewhere").exists()


def test_of_many_who_create_at_once_one_wins_and_all_read_its_key(tmp_path: Path) -> None:
    path, got, start = tmp_path / "key", [], threading.Barrier(12)

    def make() -> None:
        start.wait()
        try:
            got.append(create_link_key(path))
        except LinkKeyError:
            got.append(read_link_key(path))

    threads = [threading.Thread(target=make) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert got == [read_link_key(path)] * 12
    assert [file.name for file in tmp_path.iterdir()] == ["key"]


@pytest.mark.parametrize("lacks", ["the file system", "the system"])
def test_without_hard_links_a_key_is_still_made_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lacks: str
) -> None:
    def none(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    if lacks == "the system":
        monkeypatch.delattr(files.os, "link")
    else:
        monkeypatch.setattr(files.os, "link", none)
    key = create_link_key(tmp_path / "key")
    with pytest.raises(LinkKeyError, match="never overwritten"):
        create_link_key(tmp_path / "key")
    assert read_link_key(tmp_path / "key") == key
    assert [file.name for file in tmp_path.iterdir()] == ["key"]


def test_a_disk_that_fills_up_leaves_no_part_of_a_key(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(LinkKeyError, match="No space left"):
        create_link_key(tmp_path / "key")
    assert list(tmp_path.iterdir()) == []


def test_a_lost_key_is_said_and_not_replaced(tmp_path: Path) -> None:
    with pytest.raises(LinkKeyError, match="backup"):
        read_link_key(tmp_path / "key")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "damage", ["", "corekit-link-key-1\n", "corekit-link-key-1 AAAA 00000000\n", "\x00\xff", "x" * 5000]
)
def test_what_is_no_key_is_refused(tmp_path: Path, damage: str) -> None:
    path = tmp_path / "key"
    path.write_bytes(damage.encode("latin-1"))
    path.chmod(0o600)
    with pytest.raises(LinkKeyError, match="not a link key"):
        read_link_key(path)


def test_every_single_wrong_letter_in_the_key_file_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "key"
    create_link_key(path)
    whole = path.read_bytes()
    for place in range(len(whole) - 1):  # the line end may go
        other = b"B" if whole[place : place + 1] != b"B" else b"C"
        path.write_bytes(whole[:place] + other + whole[place + 1 :])
        with pytest.raises(LinkKeyError):
            read_link_key(path)


def test_a_folder_in_the_keys_place_is_named(tmp_path: Path) -> None:
    with pytest.raises(LinkKeyError, match=str(tmp_path)):
        read_link_key(tmp_path)


def test_a_key_for_publishing_is_fresh_and_has_128_bits() -> None:
    drawn = {new_bearer() for _ in range(50)}
    assert len(drawn) == 50
    assert all(read_token(each) == each for each in drawn)
