"""What corekit installs is listed with its licence, and what stands on inner names is bounded above."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
NEEDS = PROJECT["dependencies"]
TABLE = (ROOT / "shared" / "licences.md").read_text("utf-8")
LISTED: dict[str, str] = dict(re.findall(r"^\| (?!package)([a-z0-9-]+) \|[^|]+\| ([^|]+) \|$", TABLE, re.M))
#: Those of the extras that a shop installs; the others are for who works on corekit or writes a plugin.
EXTRAS: dict[tuple[str, str], str] = {
    (extra, package): licence
    for extra, package, licence in re.findall(
        r"^\| ([a-z-]+) \| ([a-z0-9-]+) \|[^|]+\| ([^|]+) \|$", TABLE, re.M
    )
    if extra != "extra"
}
FOR_WORK_ON_IT = {"plugin", "release", "benchmark", "test", "fleet-many"}


def name_of(need: str) -> str:
    return re.split(r"[<>=\[]", need)[0]


def test_every_package_is_listed_and_no_other() -> None:
    assert sorted(LISTED) == sorted(map(name_of, NEEDS))


def test_every_package_of_an_extra_that_a_shop_installs_is_listed_and_no_other() -> None:
    asked = {
        (extra, name_of(need))
        for extra, needs in PROJECT["optional-dependencies"].items()
        if extra not in FOR_WORK_ON_IT
        for need in needs
    }
    assert set(EXTRAS) == asked


def test_what_opens_the_bytes_of_others_is_renewed_first() -> None:
    named = re.search(r"with what others send \(([^)]+)\)", TABLE)
    assert named
    first = set(named[1].split(", "))
    assert first <= {*LISTED, *(package for _, package in EXTRAS)}
    assert first >= {"cheroot", "cryptography", "pillow", "pypdf", "psycopg", "zxing-cpp", "python-can"}


@pytest.mark.parametrize(
    ("package", "least"),
    [
        ("flask", (3, 1, 3)),  # GHSA-68rp-wp8r-4726
        ("pillow", (13,)),  # CVE-2026-96639 and GHSA-5x8w-8jj5-q52h, which a JPEG from outside reaches
        ("pypdf", (7,)),  # those of 6.21.4 and 7.0.0
        ("werkzeug", (3, 1, 6)),  # CVE-2025-66221, CVE-2026-21860, GHSA-29vq-49wr-vm6x
    ],
)
def test_no_version_with_a_published_fault_that_is_known_here_is_admitted(
    package: str, least: tuple[int, ...]
) -> None:
    # Release notes of these versions; pillow's of 13.0.0 and pypdf's of 7.0.0 name the most.
    (need,) = (need for need in NEEDS if name_of(need) == package)
    floor = re.search(r">=([0-9.]+)", need)
    assert floor and tuple(map(int, floor[1].split("."))) >= least


@pytest.mark.parametrize("package", sorted({*LISTED, *(package for _, package in EXTRAS)}))
def test_the_licence_is_the_one_that_the_package_states(package: str) -> None:
    told = metadata(package)
    stated = " ".join(
        [
            told.get("License-Expression") or "",
            (told.get("License") or "").split("\n")[0],
            *(line for line in told.get_all("Classifier") or [] if line.startswith("License")),
        ]
    ).lower()
    listed = {**{name: licence for (_, name), licence in EXTRAS.items()}, **LISTED}
    words = re.findall(r"[a-z]+", listed[package].lower())
    assert words[0] in stated or {"apache", "bsd", "mit"}.intersection(words) & set(stated.split())


@pytest.mark.parametrize(
    "package",
    ["cattrs", "cheroot", "pint", "reportlab", "fontpkg-fira-sans", "fontpkg-fira-code", "python-bidi"],
)
def test_what_is_used_by_its_inner_names_is_bounded_above(package: str) -> None:
    (need,) = (need for need in NEEDS if name_of(need) == package)
    assert "<" in need
