"""What corekit installs is listed with its licence, and what stands on inner names is bounded above."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NEEDS = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["dependencies"]
TABLE = (ROOT / "shared" / "licences.md").read_text("utf-8")
LISTED: dict[str, str] = dict(re.findall(r"^\| (?!package)([a-z0-9-]+) \|[^|]+\| ([^|]+) \|$", TABLE, re.M))


def name_of(need: str) -> str:
    return re.split(r"[<>=]", need)[0]


def test_every_package_is_listed_and_no_other() -> None:
    assert sorted(LISTED) == sorted(map(name_of, NEEDS))


@pytest.mark.parametrize("package", sorted(LISTED))
def test_the_licence_is_the_one_that_the_package_states(package: str) -> None:
    told = metadata(package)
    stated = " ".join(
        [
            told.get("License-Expression") or "",
            (told.get("License") or "").split("\n")[0],
            *(line for line in told.get_all("Classifier") or [] if line.startswith("License")),
        ]
    ).lower()
    words = re.findall(r"[a-z]+", LISTED[package].lower())
    assert words[0] in stated or {"apache", "bsd", "mit"}.intersection(words) & set(stated.split())


@pytest.mark.parametrize(
    "package",
    ["cattrs", "cheroot", "pint", "reportlab", "fontpkg-fira-sans", "fontpkg-fira-code", "python-bidi"],
)
def test_what_is_used_by_its_inner_names_is_bounded_above(package: str) -> None:
    (need,) = (need for need in NEEDS if name_of(need) == package)
    assert "<" in need
