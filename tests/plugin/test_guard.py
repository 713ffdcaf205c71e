"""Whose code a file is, and how its line is named."""

from __future__ import annotations

import json
import sysconfig
from pathlib import Path

import pytest

import corekit
from corekit.plugin.guard import first_foreign, is_foreign

LIBRARY = Path(json.__file__).parents[1]


@pytest.mark.parametrize(
    ("file", "foreign"),
    [
        (str(Path(corekit.__file__).parent / "judge.py"), False),
        (str(Path(json.__file__)), False),
        ("<string>", False),
        (str(LIBRARY / "site-packages" / "corekit_horn" / "pitch.py"), True),
        ("/srv/plugins/corekit_horn/pitch.py", True),
    ],
    ids=["core", "library", "no file", "installed", "in a folder of its own"],
)
def test_code_is_foreign_that_is_neither_of_the_core_nor_of_python_s_library(
    file: str, foreign: bool
) -> None:
    assert is_foreign(file) is foreign
    assert bool(first_foreign(iter([(file, 3)]))) is foreign


def test_the_innermost_line_of_a_plugin_is_named_as_it_is_imported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.path", ["/srv", "/srv/plugins", sysconfig.get_path("stdlib")])
    lines = [(json.__file__, 7), ("/srv/plugins/corekit_horn/pitch.py", 12), ("/srv/plugins/other.py", 1)]
    assert first_foreign(iter(lines)) == "corekit_horn/pitch.py line 12"
    assert first_foreign(iter([("/elsewhere/horn.py", 4)])) == "/elsewhere/horn.py line 4"
    assert first_foreign(iter(lines[:1])) == ""
