"""Field cases as jobs: what a careful mechanic would type at each, read and assessed like any visit file.

A case's own data holds what was read and what may be claimed; `conditions.toml` says how it would be typed.
Nothing else of the case reaches the job: the outcome is not in the data at all.
"""

from __future__ import annotations

import copy
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import attrs

from corekit.assess.assessment import Assessment, assess
from corekit.complaints import CHECK_UP
from corekit.desk.in_memory import scratch_job
from corekit.fault import DataFault
from corekit.intake.declared import Declared
from corekit.intake.fault import VisitError
from corekit.intake.visit import read_visit
from corekit.plugin.host import Plugins, load

HERE = Path(__file__).parent
UNITS = {"degC": "°C", "1": "", "ohm": "Ω", "kohm": "kΩ", "mohm": "mΩ"}


@cache
def table(name: str) -> dict[str, Any]:
    """One of the tables beside the tests."""
    return tomllib.loads((HERE / name).read_text("utf-8"))


@cache
def installed() -> Plugins:
    return load()


@attrs.frozen(eq=False)
class FieldCase:
    """One case: its data, and how it is typed."""

    data: Mapping[str, Any]
    typed: Mapping[str, Any]

    @property
    def id(self) -> str:
        return str(self.data["id"])

    @property
    def must(self) -> bool:
        return bool(self.data["priority"] == "must")

    @property
    def complaint(self) -> bool:
        told = self.typed.get("complaint", {}).get("symptoms", ())
        return CHECK_UP not in told

    @property
    def expected(self) -> Mapping[str, Any]:
        return self.data["expected"]  # type: ignore[no-any-return]

    @property
    def left_out(self) -> Mapping[str, str]:
        return self.typed.get("left_out", {})  # type: ignore[no-any-return]

    def quantity(self, name: str) -> str:
        """`name` or `name#2`: a number of the data with its unit, as it would be typed.

        Raises:
            LookupError: the data has no such reading.
        """
        plain, _, nth = name.partition("#")
        found = [row for row in self.data.get("readings", ()) if row["name"] == plain]
        try:
            row = found[int(nth or 1) - 1]
        except IndexError:
            raise LookupError(f"{self.id} has no reading {name}.") from None
        return f"{row['value']} {UNITS.get(row['unit'], row['unit'])}".strip()

    @property
    def visit(self) -> dict[str, Any]:
        """The visit file, as data."""
        filled: dict[str, Any] = _filled(self._rows, self)
        return {
            "job": self.id,
            "reason": str(self.data["description"]),
            "vehicle": {"description": "as in the case", "no_vin": "not told"},
            **filled,
        }

    def taken(self) -> Iterator[str]:
        """Names of the data's numbers that are typed."""
        yield from _names(self._rows)

    @property
    def _rows(self) -> dict[str, Any]:
        """What is typed into the visit file."""
        return {key: value for key, value in self.typed.items() if key != "left_out"}


def _filled(data: Any, case: FieldCase) -> Any:
    """`from` exchanged for what the data says; a specification's own `from` names a place and stays."""
    if isinstance(data, Mapping):
        if set(data) == {"from"}:
            return case.quantity(data["from"])
        row = {key: _filled(value, case) for key, value in data.items()}
        if "from" in row and not {"low", "high"} & set(row):
            row["is"] = case.quantity(row.pop("from"))
        return row
    if isinstance(data, list):
        return [_filled(item, case) for item in data]
    return data


def _names(data: Any) -> Iterator[str]:
    if isinstance(data, Mapping):
        if "from" in data and not {"low", "high"} & set(data):
            yield data["from"]
        for value in data.values():
            yield from _names(value)
    elif isinstance(data, list):
        for item in data:
            yield from _names(item)


def cases(of: str = "") -> list[FieldCase]:
    """All cases of the data, or those whose id begins so after an optional `syn-`."""
    typed = table("conditions.toml")
    found = [tomllib.loads(path.read_text("utf-8")) for path in sorted((HERE / "data").glob("*.toml"))]
    return [
        FieldCase(data, typed.get(data["id"], {}))
        for data in found
        if data["id"].removeprefix("syn-").startswith(of)
    ]


@attrs.frozen(eq=False)
class Tried:
    """What became of a case: what intake asked back, and what was made of the rest.

    A row that intake refuses is not in the job: the mechanic has to answer first.
    """

    case: FieldCase
    faults: tuple[DataFault, ...]
    assessment: Assessment


def tried(case: FieldCase, visit: Mapping[str, Any] | None = None) -> Tried:
    """The case's visit, or another one, read and assessed with every installed system."""
    data = copy.deepcopy(dict(visit if visit is not None else case.visit))
    declared = Declared.of(installed(), currency="EUR")
    faults: list[DataFault] = []
    for _ in range(2):
        try:
            job, _texts = scratch_job(read_visit(json.dumps(data).encode(), declared))
            return Tried(case, tuple(faults), assess(job, installed()))
        except VisitError as error:
            faults += error.faults
            _without(data, error.faults)
    raise AssertionError(f"{case.id} cannot be read:\n" + "\n".join(map(str, faults)))


def _without(data: dict[str, Any], faults: tuple[DataFault, ...]) -> None:
    """Takes out the readings and printed limits that intake refused; anything else that is wrong is a slip in
    the table of conditions.
    """
    for fault in faults:
        reading = re.fullmatch(r"step\[(\d+)\]\.readings\[(\d+)\]\.is", fault.path)
        limit = re.fullmatch(r"specification\[(\d+)\]\.\w+", fault.path)
        assert reading or limit, str(fault)
        if reading:
            data["step"][int(reading[1])]["readings"][int(reading[2])] = None
        elif limit:
            data["specification"][int(limit[1])] = None
    if "specification" in data:
        data["specification"] = [row for row in data["specification"] if row is not None]
    for step in data["step"]:
        if "readings" in step:
            step["readings"] = [row for row in step["readings"] if row is not None]
