"""What was read of data files is kept between starts, and never served once what it hangs on has changed."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit import kept as module
from corekit.kept import kept
from corekit.model.limit import Limit
from corekit.plugin.system import System


@pytest.fixture
def read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[str, bool]]:
    """Reads the file `data`, and says whether it was read anew."""
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "compiled"))
    (tmp_path / "data").write_text("one")
    (tmp_path / "code").mkdir()
    (tmp_path / "code" / "plugin.py").write_text("pass")

    def given(told: object = "", name: str = "words") -> tuple[str, bool]:
        made = []

        def make() -> str:
            made.append(True)
            return (tmp_path / "data").read_text()

        text = kept(name, [tmp_path / "data"], make, code=tmp_path / "code", told=told)
        return text, bool(made)

    return given


def test_what_was_read_once_is_not_read_again(read: Callable[..., tuple[str, bool]]) -> None:
    assert read() == ("one", True)
    assert read() == ("one", False)


def test_a_changed_file_is_read_anew_even_with_its_size_and_time_as_before(
    read: Callable[..., tuple[str, bool]], tmp_path: Path
) -> None:
    read()
    before = (tmp_path / "data").stat()
    (tmp_path / "data").write_text("two")
    os.utime(tmp_path / "data", ns=(before.st_atime_ns, before.st_mtime_ns))
    assert read() == ("two", True)


@pytest.mark.parametrize("how", ["changed", "added", "removed", "in a package below"])
def test_a_changed_module_of_the_plugin_lets_everything_be_read_anew(
    how: str, read: Callable[..., tuple[str, bool]], tmp_path: Path
) -> None:
    read()
    code = tmp_path / "code"
    if how == "changed":
        (code / "plugin.py").write_text("1 + 1")
    elif how == "added":
        (code / "more.py").write_text("pass")
    elif how == "removed":
        (code / "plugin.py").unlink()
    else:
        (code / "below").mkdir()
        (code / "below" / "more.py").write_text("pass")
    assert read()[1]


def test_another_core_python_or_declaration_lets_it_be_read_anew(
    read: Callable[..., tuple[str, bool]], monkeypatch: pytest.MonkeyPatch
) -> None:
    read()
    assert read(told="another measurand")[1]
    monkeypatch.setattr(module, "_environment", lambda: b"another core")
    assert read(told="another measurand")[1]


@pytest.mark.parametrize("how", ["cut short", "one byte changed", "emptied", "no reader's"])
def test_a_damaged_copy_is_no_harm(how: str, read: Callable[..., tuple[str, bool]], tmp_path: Path) -> None:
    read()
    (file,) = (tmp_path / "compiled").rglob("*.kept")
    content = file.read_bytes()
    file.write_bytes(
        {
            "cut short": content[:-1],
            "one byte changed": content[:-3] + bytes([content[-3] ^ 1]) + content[-2:],
            "emptied": b"",
            "no reader's": b"x" * len(content),
        }[how]
    )
    assert read() == ("one", True)
    assert read() == ("one", False)


def test_nothing_is_kept_where_python_may_write_no_compiled_modules(
    read: Callable[..., tuple[str, bool]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    assert read()[1] and read()[1]
    assert not list(tmp_path.rglob("*.kept"))


def test_where_nothing_can_be_written_it_is_read_each_time(
    read: Callable[..., tuple[str, bool]], tmp_path: Path
) -> None:
    (tmp_path / "compiled").write_text("a file where the folder would be")
    assert read() == ("one", True)
    assert read() == ("one", True)


def test_the_tables_of_every_system_come_back_as_they_were_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from corekit.plugin.host import load

    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path))
    for system in load().systems.values():
        read = [_plain(system)]
        for _ in range(2):
            for name in ("faults", "limits"):
                system.__dict__.pop(name, None)
            read.append(_plain(system))
        assert read[0] == read[1] == read[2]
    assert len(list(tmp_path.rglob("*-faults-*.kept"))) == len(load().systems) > 1


def _plain(system: System) -> tuple[dict[str, Any], list[tuple[str, Limit]]]:
    assert system.faults is not None
    return attrs.asdict(system.faults), list(system.limits.items())
