"""What a command prints and draws is the same whatever was kept at earlier starts, or could not be."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from .chain import JOBS

FILE = str(JOBS["worn-battery"])


def check(env: Mapping[str, str], folder: Path) -> bytes:
    run = subprocess.run(
        [sys.executable, "-m", "corekit", "check", FILE], capture_output=True, check=True, env=env, cwd=folder
    )
    assert run.stderr == b""
    return run.stdout


def draft(env: Mapping[str, str], shop: Path, out: Path) -> bytes:
    words = ["invoice", FILE, "--draft", "--shop", str(shop), "--out", str(out)]
    run = subprocess.run(
        [sys.executable, "-m", "corekit", *words], capture_output=True, check=True, env=env, cwd=out.parent
    )
    assert run.stderr == b""
    return out.read_bytes()


def environment(**more: str) -> dict[str, str]:
    return {key: one for key, one in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"} | more


def kept_files(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.kept"))


@pytest.fixture
def compiled(tmp_path: Path) -> Path:
    return tmp_path / "compiled"


def test_a_check_and_a_draft_are_the_same_bytes_whatever_became_of_what_was_kept(
    tmp_path: Path, compiled: Path, demo_copy: Path
) -> None:
    nothing = environment(PYTHONDONTWRITEBYTECODE="1", PYTHONPYCACHEPREFIX=str(tmp_path / "none"))
    keeping = environment(PYTHONPYCACHEPREFIX=str(compiled))
    said = check(nothing, tmp_path)
    drawn = draft(nothing, demo_copy, tmp_path / "draft.pdf")
    assert kept_files(tmp_path) == []

    def all_the_same() -> None:
        assert check(keeping, tmp_path) == said
        assert draft(keeping, demo_copy, tmp_path / "draft.pdf") == drawn

    all_the_same()  # writes
    files = kept_files(compiled)
    assert len(files) > 20, "the test looks at the wrong thing"
    all_the_same()  # reads
    for number, file in enumerate(files):  # each is damaged in one of several ways
        content = file.read_bytes()
        middle = len(content) // 2
        file.write_bytes(
            [
                content[:middle],
                content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1 :],
                b"",
                content + b"more",
            ][number % 4]
        )
    all_the_same()
    for file in kept_files(compiled):
        file.unlink()
    with ThreadPoolExecutor(4) as at_once:
        assert set(at_once.map(lambda _: check(keeping, tmp_path), range(4))) == {said}
    all_the_same()


def test_a_check_is_the_same_where_nothing_can_be_written(tmp_path: Path) -> None:
    nothing = environment(PYTHONDONTWRITEBYTECODE="1", PYTHONPYCACHEPREFIX=str(tmp_path / "none"))
    (tmp_path / "no folder").write_text("")  # for root a folder without rights would be none
    read_only = environment(PYTHONPYCACHEPREFIX=str(tmp_path / "no folder"))
    assert check(read_only, tmp_path) == check(nothing, tmp_path)
