"""A fault table as a system writes it: faults.toml."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping
from itertools import pairwise
from typing import Any

import attrs

from ..datafile import Positive, needed, structured, table
from ..fault import Faults, Place, any_of, quoted
from ..model.trouble import CodeError, read_code
from .faults import NONE, OUTSIDE, Fault, FaultTable, FaultTest, OutcomeRow, Pair

_ONE = Positive(1.0)


@table
class FaultRow:
    weight: Positive = needed("a number above 0, how often it is met among such visits", default=_ONE)
    name: str | None = None
    why: str = ""
    calls_for: str = ""


@table
class PairRow:
    of: list[str] = needed("two faults", '["…", "…"]', factory=list)
    weight: Positive = needed("a number above 0, how often both are met", default=_ONE)
    why: str = ""


@table
class ChanceRow:
    p: list[float] = needed("a probability for each outcome", factory=list)
    why: str = ""
    direct: str = ""


@table
class BinsTable:
    measurand: str = needed("the key of a measurand", default="")
    place: str = ""
    at: list[str] = needed("the limits between the outcomes", '["9 V", "11.5 V"]', factory=list)


@table
class SeenTable:
    of: str = needed("the key of an observation", default="")
    answers: list[str] = needed("one of its answers for each outcome", factory=list)


@table
class TestTable:
    question: str = needed("what the test answers", default="")
    minutes: Positive = needed("hands-on minutes, a number above 0", default=_ONE)
    waits: Positive = Positive(0.0)
    outcomes: list[str] = needed("two or more different outcomes", factory=list)
    sound: str = needed("the outcome of a sound vehicle", default="")
    otherwise: list[float] = needed("a probability for each outcome", factory=list)
    given: dict[str, ChanceRow | None] = attrs.field(factory=dict)
    bins: BinsTable | None = None
    check: str | None = None
    seen: SeenTable | None = None
    codes: list[str] | None = None
    wants: str = ""
    after: dict[str, list[str]] = attrs.field(factory=dict)
    spoils: list[str] = attrs.field(factory=list)


@table
class FaultFile:
    """`[faults]` holds `pairs` too, which are rows of another form and are read by themselves."""

    faults: dict[str, FaultRow | None] = attrs.field(factory=dict)
    test: dict[str, TestTable | None] = attrs.field(factory=dict)


def read_faults(
    data: Mapping[str, Any],
    where: str,
    to_coherent: Callable[[str, str], float],
    *,
    measurands: Mapping[str, Collection[str]],
    observations: Mapping[str, Collection[str]],
    operations: Collection[str],
    system: str = "",
) -> FaultTable:
    """A fault table from the data of a faults.toml.

    Args:
        to_coherent: (measurand key, text such as "12.4 V") → number in the coherent unit.
        measurands: Key → places. observations: Key → answers. operations: Keys.
        system: Key of the system whose table it is; a check or a wanted reading of its own must exist, or
            begin with it.

    Raises:
        DataFileError: lists every fault of the table at once, each with its key path.
    """
    faults = Faults()
    rows = data.get("faults", {})
    pairs: list[PairRow | None] = []
    if isinstance(rows, Mapping) and "pairs" in rows:
        at = ("faults", "pairs")
        pairs = structured(rows["pairs"], list[PairRow | None], faults, at)
        rows = {key: row for key, row in rows.items() if key != "pairs"}
    form = structured({**data, "faults": rows}, FaultFile, faults)
    table = _Meaning(faults, to_coherent, measurands, observations, operations, system).table(form, pairs)
    faults.refuse(data, where)
    return table


@attrs.frozen
class _Meaning:
    """One pass over a form. After a fault it goes on with something harmless, which never leaves it."""

    faults: Faults
    to_coherent: Callable[[str, str], float]
    measurands: Mapping[str, Collection[str]]
    observations: Mapping[str, Collection[str]]
    operations: Collection[str]
    system: str

    def table(self, form: FaultFile, pair_rows: list[PairRow | None]) -> FaultTable:
        faults = {key: self._fault(key, row or FaultRow()) for key, row in form.faults.items()}
        pairs = self._pairs(pair_rows, faults)
        for always, meaning in (
            (NONE, "a vehicle with none of these faults"),
            (OUTSIDE, "something outside this system"),
        ):
            path = ("faults", always)
            if always not in faults and not self.faults.at(("faults",)):
                self.faults.add(path, "is missing", f"{meaning}, with its weight; every table needs it")
        known = [*faults, *pairs]
        tests = {
            key: self._test(key, row, known)
            for key, row in form.test.items()
            if row is not None and not self.faults.below(("test", key, "outcomes"))
        }
        self._order(tests, list(form.test))
        return FaultTable(faults=faults, tests=tests, pairs=pairs)

    def _one_of(self, path: Place, key: str, what: str, choices: Iterable[str]) -> bool:
        """True when the key is one of them; else a fault that lists all, unless one is known there."""
        known = sorted(choices)
        if key in known:
            return True
        if not self.faults.at(path):
            self.faults.add(path, f"there is no {what} {quoted(key)}", any_of(known) or f"no {what}")
        return False

    def _fault(self, key: str, row: FaultRow) -> Fault:
        path: Place = ("faults", key)
        if "+" in key:
            self.faults.add(path, "has a + in its name, which stands between two of a pair", "a plain name")
        if row.calls_for:
            self._one_of((*path, "calls_for"), row.calls_for, "operation", self.operations)
        name = key if row.name is None else row.name
        return Fault(key=key, name=name, weight=row.weight, why=row.why, calls_for=row.calls_for)

    def _pairs(self, rows: list[PairRow | None], faults: Mapping[str, Fault]) -> dict[str, Pair]:
        pairs: dict[str, Pair] = {}
        for n, row in enumerate(rows):
            path: Place = ("faults", "pairs", n, "of")
            if row is None or self.faults.below(path):
                continue
            if len(row.of) != 2 or len(set(row.of)) != 2 or not set(row.of) <= set(faults) - {NONE}:
                expected = f"two different faults of {', '.join(key for key in faults if key != NONE)}"
                self.faults.add(path, f"is {_listed(row.of)}", expected)
            elif any(set(pair.of) == set(row.of) for pair in pairs.values()):
                self.faults.add(path, f"{' and '.join(row.of)} are a pair already", "each pair once")
            else:
                key = "+".join(row.of)
                pairs[key] = Pair(key=key, of=(row.of[0], row.of[1]), weight=row.weight, why=row.why)
        return pairs

    def _order(self, tests: Mapping[str, FaultTest], names: list[str]) -> None:
        """What must come before what leads somewhere, and never round in a circle."""
        for key, test in tests.items():
            others = [name for name in names if name != key]
            for first, outcomes in test.after.items():
                path: Place = ("test", key, "after", first)
                known = self._one_of(path, first, "other test", others) and first in tests
                if not known or self.faults.below(path):
                    continue
                if not outcomes or not set(outcomes) <= set(tests[first].outcomes):
                    expected = f"outcomes of {first}: {', '.join(tests[first].outcomes)}"
                    self.faults.add(path, f"is {_listed(outcomes)}", expected)
            for n, other in enumerate(test.spoils):
                self._one_of(("test", key, "spoils", n), other, "other test", others)
        earlier = {
            key: [other for other in (*test.after, *test.spoils) if other in tests and other != key]
            for key, test in tests.items()
        }
        for key in tests:
            reached, todo = set[str](), list(earlier[key])
            while todo:
                other = todo.pop()
                if other not in reached:
                    reached.add(other)
                    todo += earlier[other]
            if key in reached:
                got = "comes before itself by after and spoils"
                self.faults.add(("test", key), got, "an order", "the table without one of them")

    def _test(self, key: str, row: TestTable, faults: Collection[str]) -> FaultTest:
        path: Place = ("test", key)
        outcomes = tuple(row.outcomes)
        if len(outcomes) < 2 or len(set(outcomes)) < len(outcomes):
            got = f"is {_listed(outcomes)}"
            self.faults.add((*path, "outcomes"), got, "two or more different outcomes")
        if row.sound not in outcomes and not self._is_wrong(path, "sound"):
            got = f"{quoted(row.sound)} is not an outcome"
            self.faults.add((*path, "sound"), got, f"that of a sound vehicle, {any_of(outcomes)}")
        if not row.question and not self._is_wrong(path, "question"):
            self.faults.add((*path, "question"), "is empty", "what the test answers")
        if self.system and row.wants.startswith(f"{self.system}."):
            known = [*self.measurands, *self.observations]
            self._one_of((*path, "wants"), row.wants, "measurand or observation", known)
        given = {}
        for fault, chances in row.given.items():
            at = (*path, "given", fault)
            if fault not in faults and not self.faults.at(("faults",)):
                self.faults.add(at, f"there is no fault {quoted(fault)}", any_of(faults) or "one of [faults]")
            if chances is not None:
                given[fault] = self._row(at, chances, row)
        return FaultTest(
            key=key,
            question=row.question,
            minutes=row.minutes,
            outcomes=outcomes,
            sound=row.sound,
            otherwise=self._chances((*path, "otherwise"), row.otherwise, outcomes),
            given=given,
            wants=row.wants,
            waits=row.waits,
            after={first: tuple(names) for first, names in row.after.items()},
            spoils=tuple(row.spoils),
            **self._origin(path, row),
        )

    def _is_wrong(self, path: Place, key: str) -> bool:
        return self.faults.below((*path, key))

    def _row(self, path: Place, row: ChanceRow, test: TestTable) -> OutcomeRow:
        at = (*path, "direct")
        if row.direct and row.direct not in test.outcomes:
            self.faults.add(at, f"{quoted(row.direct)} is not an outcome", any_of(test.outcomes))
        if row.direct and "+" in str(path[-1]):
            got = "two faults together are no part"
            self.faults.add(at, got, "no direct", "direct in the row of one of them")
        if row.direct and test.codes is not None:
            got = "a trouble code names no part, so it never speaks directly against one"
            self.faults.add(at, got, "no direct", "the row without direct")
        p = self._chances((*path, "p"), row.p, tuple(test.outcomes))
        return OutcomeRow(p=p, why=row.why, direct=row.direct)

    def _chances(self, path: Place, numbers: list[float], outcomes: tuple[str, ...]) -> tuple[float, ...]:
        """Probabilities kept away from 0 and 1, so that one odd reading never rules anything out for good."""
        sums = math.isclose(sum(numbers), 1.0, abs_tol=1e-6) and min(numbers) >= 0
        if len(numbers) != len(outcomes) or not sums:
            if not self.faults.below(path):
                expected = f"{len(outcomes)} probabilities, one for each outcome, that sum to 1"
                self.faults.add(path, f"is {numbers}", expected)
            return tuple(1 / len(outcomes) for _ in outcomes)
        clamped = [min(0.995, max(0.005, p)) for p in numbers]
        return tuple(p / sum(clamped) for p in clamped)

    def _origin(self, path: Place, row: TestTable) -> dict[str, Any]:
        """Where the outcome comes from, as fields of a test."""
        kinds = [kind for kind in _ORIGINS if getattr(row, kind) is not None or self._is_wrong(path, kind)]
        if len(kinds) != 1:
            got = f"has {' and '.join(kinds) or 'nothing'} to say where the outcome comes from"
            self.faults.add(path, got, f"exactly one of {', '.join(_ORIGINS)}")
            return {}
        if row.bins is not None:
            return self._bins((*path, "bins"), row.bins, row.outcomes)
        if row.seen is not None:
            return self._seen((*path, "seen"), row.seen, row.outcomes)
        if row.codes is not None:
            self._two(path, row, "two for trouble codes, set and not set in this order")
            return {"codes": self._codes((*path, "codes"), row.codes)}
        if row.check is None:
            return {}
        self._two(path, row, "two for a check, pass and fail in this order")
        if not row.check or (self.system and not row.check.startswith(f"{self.system}.")):
            expected = f"the code of a finding, which begins with {self.system or 'its system'}."
            self.faults.add((*path, "check"), f"is {quoted(row.check)}", expected)
        return {"code": row.check}

    def _two(self, path: Place, row: TestTable, expected: str) -> None:
        if len(row.outcomes) != 2 and not self._is_wrong(path, "outcomes"):
            self.faults.add((*path, "outcomes"), f"are {len(row.outcomes)}", expected)

    def _bins(self, path: Place, row: BinsTable, outcomes: list[str]) -> dict[str, Any]:
        if not self._one_of((*path, "measurand"), row.measurand, "measurand", self.measurands):
            return {}
        places = self.measurands[row.measurand]
        if row.place not in (places or ("",)):
            got = (
                f"{row.measurand} is read at {any_of(places) or 'one place only'}, not at {quoted(row.place)}"
            )
            self.faults.add(
                (*path, "place"), got, any_of(places), "" if places else "the table without place"
            )
        at = []
        for n, text in enumerate(row.at):
            try:
                at.append(self.to_coherent(row.measurand, text))
            except ValueError as error:
                self.faults.add((*path, "at", n), str(error))
        rising = all(low < high for low, high in pairwise(at))
        if (len(row.at) != len(outcomes) - 1 or not rising) and not self._is_wrong(path, "at"):
            expected = f"{len(outcomes) - 1} rising limits between {len(outcomes)} outcomes"
            self.faults.add((*path, "at"), f"is {_listed(row.at)}", expected)
        return {"measurand": row.measurand, "place": row.place, "at": tuple(at)}

    def _seen(self, path: Place, row: SeenTable, outcomes: list[str]) -> dict[str, Any]:
        at = (*path, "answers")
        if (
            len(row.answers) != len(outcomes) or len(set(row.answers)) < len(row.answers)
        ) and not self.faults.below(at):
            expected = f"one answer for each of the {len(outcomes)} outcomes"
            self.faults.add(at, f"is {_listed(row.answers)}", expected)
        if self._one_of((*path, "of"), row.of, "observation", self.observations):
            for n, answer in enumerate(row.answers):
                if answer not in self.observations[row.of]:
                    got = f"{quoted(answer)} is not an answer of {row.of}"
                    self.faults.add((*at, n), got, any_of(map(quoted, self.observations[row.of])))
        return {"seen": row.of, "answers": tuple(row.answers)}

    def _codes(self, path: Place, texts: list[str]) -> tuple[str, ...]:
        if not texts and not self.faults.below(path):
            self.faults.add(path, "is empty", "a list of trouble codes", '["P0401"]')
        codes = []
        for n, text in enumerate(texts):
            try:
                codes.append(read_code(text, raw=False))
            except CodeError as error:
                self.faults.add((*path, n), error.got, error.expected, error.write)
        return tuple(codes)


_ORIGINS = ("bins", "check", "seen", "codes")


def _listed(texts: Iterable[str]) -> str:
    return f"[{', '.join(map(quoted, texts))}]"
