"""Installed plugins are found as `importlib.metadata` finds them, also when they were kept from an earlier
start; it is the judge.
"""

from __future__ import annotations

import importlib.metadata
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from corekit.plugin import installed

GROUP = "corekit"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where packages are installed, on the way to modules."""
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "compiled"))
    packages = tmp_path / "packages"
    packages.mkdir()
    monkeypatch.syspath_prepend(str(packages))
    install(packages, "winch", "winch = winch_plugin")
    return packages


def install(folder: Path, name: str, *points: str, version: str = "1.0") -> Path:
    info = folder / f"{name}-{version}.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n")
    (info / "entry_points.txt").write_text("\n".join([f"[{GROUP}]", *points, ""]))
    return info


def found() -> list[tuple[str, str, str, str, str]]:
    return [
        (one.name, one.value, one.dist.name, one.dist.version, str(one.dist.locate_file("")))
        for one in installed.entry_points(GROUP)
        if one.dist is not None
    ]


def judged() -> list[tuple[str, str, str, str, str]]:
    importlib.invalidate_caches()
    return [
        (one.name, one.value, one.dist.name, one.dist.version, str(one.dist.locate_file("")))
        for one in importlib.metadata.entry_points(group=GROUP)
        if one.dist is not None
    ]


def asked_anew(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Grows with each time that `importlib.metadata` is asked."""
    asked: list[bool] = []
    plain = installed._found

    def counted(group: str) -> object:
        asked.append(True)
        return plain(group)

    monkeypatch.setattr(installed, "_found", counted)
    return asked


def test_what_is_installed_is_found_once_and_then_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = asked_anew(monkeypatch)
    assert found() == found() == judged()
    assert "winch" in [one[0] for one in found()]
    assert len(asked) == 1


def reinstalled(folder: Path) -> None:
    shutil.rmtree(folder / "winch-1.0.dist-info")
    install(folder, "winch", "winch = winch_plugin", version="1.1")


def rewritten(folder: Path) -> None:
    """With as many letters and the same time of the folder."""
    file = folder / "winch-1.0.dist-info" / "entry_points.txt"
    before = file.stat().st_mtime_ns
    file.write_text(file.read_text().replace("winch =", "hoist ="))
    os.utime(file, ns=(before, before + 1))


def described_anew(folder: Path) -> None:
    (folder / "winch-1.0.dist-info" / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: winch\nVersion: 2\n"
    )


def on_the_way_before(folder: Path) -> None:
    other = folder.parent / "other"
    other.mkdir()
    install(other, "winch", "winch = other_plugin", version="3.0")
    sys.path.insert(0, str(other))


@pytest.mark.parametrize(
    "change",
    [
        lambda folder: install(folder, "hoist", "hoist = hoist_plugin:made"),
        lambda folder: shutil.rmtree(folder / "winch-1.0.dist-info"),
        reinstalled,
        rewritten,
        described_anew,
        on_the_way_before,
        lambda folder: (folder / "winch-1.0.dist-info" / "entry_points.txt").unlink(),
    ],
    ids=["added", "removed", "renewed", "rewritten", "described anew", "before it", "without points"],
)
def test_a_change_of_what_is_installed_is_seen_at_the_next_start(
    change: Callable[[Path], object], folder: Path
) -> None:
    before = found()
    change(folder)
    assert found() == judged() != before


def test_a_finder_of_somebodys_own_is_asked_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    class Own:
        @staticmethod
        def find_spec(*_: object) -> None: ...

        @staticmethod
        def find_distributions(*_: object) -> list[importlib.metadata.Distribution]:
            return []

    monkeypatch.setattr(sys, "meta_path", [*sys.meta_path, Own])
    asked = asked_anew(monkeypatch)
    assert found() == found() == judged()
    assert len(asked) == 2


def test_packages_in_an_archive_are_asked_for_each_time(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = shutil.make_archive(str(folder.parent / "packed"), "zip", folder)
    shutil.rmtree(folder / "winch-1.0.dist-info")
    monkeypatch.setattr(sys, "path", [*sys.path, archive])
    asked = asked_anew(monkeypatch)
    assert [one[:4] for one in found()] == [one[:4] for one in found()] == [one[:4] for one in judged()]
    assert "winch" in [one[0] for one in found()]
    assert len(asked) == 3


@pytest.mark.parametrize(
    "value", ["winch_plugin", "winch_plugin:inner.made", "winch_plugin : inner.made [extra]"]
)
def test_a_kept_entry_point_gives_what_the_library_gives(folder: Path, value: str) -> None:
    (folder / "winch_plugin.py").write_text("class inner:\n    made = 5\n")
    (folder / "winch-1.0.dist-info" / "entry_points.txt").write_text(f"[{GROUP}]\nwinch = {value}\n")
    importlib.invalidate_caches()
    try:
        (judge,) = importlib.metadata.entry_points(group=GROUP, name="winch")
        for _ in range(2):
            (point,) = [one for one in installed.entry_points(GROUP) if one.name == "winch"]
            assert point.load() is judge.load()
    finally:
        sys.modules.pop("winch_plugin", None)
