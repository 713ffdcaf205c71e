"""Whole visits that tests follow: those of the demo by their names, and some that the demo does not show."""

from __future__ import annotations

from pathlib import Path

from corekit.reference import data_path


def visit_file(name: str) -> Path:
    """The visit file of that name: of the demo, where it stands behind a number, or beside this module."""
    of_demo = list((data_path("demo") / "jobs").glob(f"[0-9]-{name}.toml"))
    return of_demo[0] if of_demo else Path(__file__).parent / f"{name}.toml"
