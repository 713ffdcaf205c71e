"""Every sign of an ignition case is seen to fail on the same visit without what it rests on."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest

from .claims import said
from .loader import FieldCase, cases, tried

CASES = {case.id: case for case in cases("ign-")}
Visit = dict[str, Any]


def without(key: str) -> Callable[[Visit], None]:
    """Takes out every row about a thing, wherever it stands, and a trial of its part."""

    def take(visit: Visit) -> None:
        for step in visit["step"]:
            for name in ("readings", "seen"):
                step[name] = [row for row in step.get(name, []) if row["of"] != key]
            if step.get("tried", {}).get("part") == key:
                del step["tried"]
            if key == "codes":
                step.pop("codes", None)
        visit["specification"] = [row for row in visit.get("specification", []) if row["of"] != key]
        visit.get("traits", {}).pop(key, None)
        for name in ("readings", "seen"):
            visit["step"] = [
                {key: value for key, value in step.items() if key != name or value} for step in visit["step"]
            ]
        visit["step"] = [step for step in visit["step"] if step] or [
            {"seen": [{"of": "ignition.lead_look", "place": "lead 12", "is": "sound"}]}
        ]

    return take


def untold(visit: Visit) -> None:
    """The same visit where the customer told nothing."""
    visit.pop("complaint", None)


def visit_of(case: FieldCase) -> Visit:
    return copy.deepcopy(case.visit)


def rests_on() -> list[Any]:
    return [pytest.param(*row, id=f"{row[0]}-{row[1]}") for row in RESTS]


RESTS: list[tuple[str, str, Callable[[Visit], None]]] = []
