"""What a plugin adds to another plugin's system: faults, tests, checks and whatever they need."""

from __future__ import annotations

import copy
import sys
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

import attrs

from ..datafile import read_toml
from ..model.limit import Limit
from ..model.source import Source
from ..reference import sources as read_sources
from .api import check_api
from .check import Check
from .faults import FaultTable
from .system import SHELVES, System


class Addition(System):
    """An addition to a system that another plugin declares.

    It declares what a system declares, under the system's own key: what `name` adds to brakes is called
    `brakes.name_…`, and so are the codes of its findings. Its limits.toml and sources.toml stand beside it.
    Its faults.toml may have faults, tests, symptoms and pairs of its own, rows for its own faults in tests of
    the system, `[test.pressure] given.name_fault = …`, and rows for the system's faults in its own tests; it
    changes nothing that the system says itself.

    Args:
        system: What it adds to; imported from that plugin's package.
        name: Short name, lower case; the entry point is called `system.name`.
        title: What lists call it.
        folder: Where its data files stand; the folder of the module that makes it when left out.
        api: As of a system.

    Raises:
        ValueError: the name is no plain lower-case name. ApiError: this corekit has another API.
    """

    def __init__(
        self, system: System, name: str, title: str, folder: Path | None = None, *, api: str = ""
    ) -> None:
        beside = Path(str(sys._getframe(1).f_globals.get("__file__", "."))).parent
        super().__init__(name, title, folder or beside)
        self.key = system.key
        self.name = name
        self.system = system
        self.api = check_api(self.entry_point, api)

    def __repr__(self) -> str:
        return f"<addition {self.entry_point}>"

    @property
    def entry_point(self) -> str:
        """What its entry point is called."""
        return f"{self.system.key}.{self.name}"

    @cached_property
    def whole(self) -> System:
        """The system with the addition, for its tests."""
        return self.onto(self.system)

    @cached_property
    def sources(self) -> Mapping[str, Source]:
        return {**self.system.sources, **self.own_sources}

    @cached_property
    def own_sources(self) -> Mapping[str, Source]:
        """Those of its own file.

        Raises:
            ValueError: one has the key of another source of the system.
        """
        path = self.folder / "sources.toml"
        own = read_sources(path) if path.is_file() else {}
        for key, source in own.items():
            if self.system.sources.get(key, source) != source:
                raise ValueError(
                    f"the source {key!r} is another one of {self.system.key}; give it a key of its own"
                )
        return own

    @cached_property
    def limits(self) -> Mapping[str, Limit]:
        path = self.folder / "limits.toml"
        if not path.is_file():
            return {}
        from .limit_file import read_limits

        found = read_limits(path, f"{path.name} of {self.entry_point}", self.sources)
        for key in found:
            own = f"{self.entry_point}_"
            if not key.startswith(own):
                raise ValueError(f"the limit {key!r} is not the addition's; its limits begin with {own}")
        return found

    @cached_property
    def faults(self) -> FaultTable | None:
        return self.whole.faults

    def table_data(self) -> Mapping[str, Any]:
        """Its faults.toml as plain data; empty where it has none."""
        path = self.folder / "faults.toml"
        return read_toml(path, f"{path.name} of {self.entry_point}") if path.is_file() else {}

    def onto(self, base: System) -> System:
        """A system with this addition; `base` itself stays as it is.

        Raises:
            ValueError: it says what the system says already. DataFileError: all that is wrong with the fault
                table of the two together.
        """
        whole = copy.copy(base)
        for shelf in SHELVES:
            setattr(whole, shelf, {**getattr(base, shelf), **getattr(self, shelf)})
        whole.checks = {
            **base.checks,
            **{f"{self.name}_{key}": self._with_origin(one) for key, one in self.checks.items()},
        }
        whole.units = (*base.units, *self.units)
        whole.from_channels = (*base.from_channels, *self.from_channels)
        whole.added = (*base.added, self.entry_point)
        space = whole.__dict__
        space["sources"] = {**base.sources, **self.own_sources}
        space["limits"] = {**base.limits, **self.limits}
        data, more = base.table_data(), self.table_data()
        space["_data"] = _together(data, more, self) if more else data
        where = f"faults.toml of {self.key} with {self.name}"
        space["faults"] = whole.fault_table(space["_data"], where) if space["_data"] else None
        return whole

    def _with_origin(self, check: Check[Any]) -> Check[Any]:
        return attrs.evolve(check, plugin=self.entry_point)

    def checked_code(self, code: str) -> str:
        if not code.startswith(f"{self.entry_point}_"):
            raise ValueError(f"An addition's code begins with {self.entry_point}_…; got {code!r}.")
        return code

    def declares(self, one: Any) -> bool:
        return super().declares(one) or self.system.declares(one)

    def _key(self, name: str) -> str:
        return super()._key(f"{self.name}_{name}")


def _together(data: Mapping[str, Any], more: Mapping[str, Any], of: Addition) -> dict[str, Any]:
    """One table out of the system's and the addition's.

    Raises:
        ValueError: the addition speaks of something that is the system's own.
    """
    made: dict[str, Any] = {key: copy.deepcopy(one) for key, one in data.items()}
    faults = made.setdefault("faults", {})
    named = {key for key in more.get("faults", {}) if key != "pairs"}
    for key in named:
        if key in faults:
            raise _theirs(of, f"the fault {key!r}")
        if not key.startswith(f"{of.name}_"):
            raise ValueError(f"the fault {key!r} is the addition's; call it {of.name}_{key}")
        faults[key] = more["faults"][key]
    if pairs := more.get("faults", {}).get("pairs"):
        faults["pairs"] = [*faults.get("pairs", []), *pairs]
    tests = made.setdefault("test", {})
    for key, row in more.get("test", {}).items():
        if key not in tests:
            if not key.startswith(f"{of.name}_"):
                raise ValueError(f"the test {key!r} is none of {of.key}; call it {of.name}_{key}")
            tests[key] = row
            continue
        if set(row) != {"given"} or not named.issuperset(row["given"]):
            raise _theirs(of, f"the test {key!r}", "rows of its own faults, given.FAULT, and nothing else")
        tests[key]["given"] = {**tests[key].get("given", {}), **row["given"]}
    for what in ("symptoms", "when"):
        for key, row in more.get(what, {}).items():
            here = made.setdefault(what, {}).setdefault(key, {})
            if again := set(row) & set(here):
                raise _theirs(of, f"{what}.{key}.{min(again)}")
            here.update(row)
    made["not_while"] = [*made.get("not_while", []), *more.get("not_while", [])]
    return made


def _theirs(of: Addition, what: str, may: str = "what it does not say yet") -> ValueError:
    return ValueError(f"{what} is {of.key}'s own; an addition gives {may}")
