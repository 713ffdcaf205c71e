"""Numbers of a fault table that a shop took over from its own retested jobs.

They stand in the shop's learned.toml, each with the number that it takes the place of and the retested visits
behind it, and hold for the very table that they were learned on: where that has changed they wait until
somebody learns again. What a test shows directly of a part, and how surely a part must be known before it is
called for, cannot be learned.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import attrs

from ..complaints import symptoms
from ..datafile import Positive, required_field, structured, table
from ..fault import Faults, Place
from ..model.canonical import digest
from .fault_file import LEAST
from .faults import NONE, FaultTable, FaultTest, OutcomeRow
from .host import Failure, Plugins

#: Rows of a test that are no fault's.
OTHERWISE = "otherwise"
_SUM_TO = 1e-6
#: What a file may say: no fault so rare that it is none, nor on (nearly) every vehicle; no more visits than
#: there are vehicles.
_LEAST_CHANCE, _MOST_PER_1000, _MOST_VISITS = 1e-9, 900.0, 10**9


@attrs.frozen(kw_only=True)
class LearnedRow:
    """One number or row of numbers: of which fault (or `none`, `otherwise`), under which symptom or test."""

    under: str
    of: str
    p: tuple[float, ...]
    visits: int


@attrs.frozen(kw_only=True)
class Learned:
    """What was learned of one system's table.

    Attributes:
        table: Fingerprint of the table that it was learned on. day: When it was proposed.
        visits: Retested visits behind it all.
        per_1000: Of each fault, `under` empty. symptoms: The chance that a symptom is told.
        tests: Rows of a test.
    """

    system: str
    table: str
    day: str
    visits: int
    per_1000: tuple[LearnedRow, ...] = ()
    symptoms: tuple[LearnedRow, ...] = ()
    tests: tuple[LearnedRow, ...] = ()

    @property
    def words(self) -> str:
        return f"from {self.visits} retested visits"


def fingerprint(faults: FaultTable) -> str:
    """Tells a table's numbers from any others."""
    rows = {
        key: [
            list(test.outcomes),
            *(list(row) for row in (test.none, test.otherwise, test.outside)),
            {fault: list(row.p) for fault, row in test.given.items()},
        ]
        for key, test in faults.tests.items()
    }
    told = {symptom: dict(given) for symptom, given in faults.symptoms.items()}
    return digest([{key: fault.per_1000 for key, fault in faults.faults.items()}, told, rows])[:16]


@attrs.frozen(eq=False)
class _Held:
    """A table as the key of what follows from it: it is itself and no other."""

    table: FaultTable


_HELD: dict[int, _Held] = {}


def with_learned(faults: FaultTable, learned: Learned) -> FaultTable:
    """The table with the learned numbers in place of its own; the same object for the same two, so that what
    others work out for it once is kept.
    """
    return _with(_HELD.setdefault(id(faults), _Held(faults)), learned)


@lru_cache(maxsize=16)
def _with(held: _Held, learned: Learned) -> FaultTable:
    return _changed(held.table, learned)


def _changed(faults: FaultTable, learned: Learned) -> FaultTable:
    odds = {row.of: row for row in learned.per_1000}
    told: dict[str, dict[str, float]] = {key: dict(given) for key, given in faults.symptoms.items()}
    behind = dict.fromkeys(faults.faults, 0)
    for row in (*learned.per_1000, *learned.symptoms):
        behind[row.of] = max(behind[row.of], row.visits)
    for row in learned.symptoms:
        told.setdefault(row.under, {})[row.of] = row.p[0]
    tests = dict(faults.tests)
    for row in learned.tests:
        tests[row.under] = with_row(tests[row.under], row.of, row.p, f"from {row.visits} retested visits")
    return attrs.evolve(
        faults,
        faults={
            key: attrs.evolve(
                fault,
                per_1000=odds[key].p[0] if key in odds else fault.per_1000,
                why=f"from {odds[key].visits} retested visits" if key in odds else fault.why,
                visits=behind[key],
            )
            for key, fault in faults.faults.items()
        },
        symptoms=told,
        tests=tests,
    )


def with_row(test: FaultTest, of: str, p: tuple[float, ...], why: str = "") -> FaultTest:
    """The test with another row; what it shows directly stays as the table says."""
    if of == NONE:
        return attrs.evolve(test, none=p)
    if of == OTHERWISE:
        return attrs.evolve(test, otherwise=p)
    row = test.given[of]
    return attrs.evolve(
        test, given={**test.given, of: OutcomeRow(p=p, why=why or row.why, direct=row.direct)}
    )


def row_of(test: FaultTest, of: str) -> tuple[float, ...]:
    """The row of a fault, of `none` or of `otherwise`."""
    return test.none if of == NONE else test.otherwise if of == OTHERWISE else test.given[of].p


# ---- the file


@table
class _NumberRow:
    now: Positive = required_field("the learned number", default=Positive(1.0))
    was: Positive = required_field("the table's own", default=Positive(1.0))
    visits: int = required_field("how many retested visits stand behind it", default=0)


@table
class _ChancesRow:
    now: list[float] = required_field("the learned chances", factory=list)
    was: list[float] = required_field("the table's own", factory=list)
    visits: int = required_field("how many retested visits stand behind it", default=0)


@table
class _SystemRow:
    table: str = required_field("the fingerprint of the table that it was learned on", default="")
    day: str = ""
    visits: int = required_field("how many retested visits stand behind it", default=0)
    per_1000: dict[str, _NumberRow] = attrs.field(factory=dict)
    symptoms: dict[str, dict[str, _NumberRow]] = attrs.field(factory=dict)
    test: dict[str, dict[str, _ChancesRow]] = attrs.field(factory=dict)


def read_learned(data: Mapping[str, Any], where: str) -> tuple[Learned, ...]:
    """What a file says was learned, system by system.

    Raises:
        DataFileError: everything that is wrong with it, at once.
    """
    faults, found = Faults(), []
    for system, raw in data.items():
        form = structured(raw, _SystemRow, faults, (system,))
        _check_visits(faults, (system,), form.visits)
        for key, number in form.per_1000.items():
            _check_visits(faults, (system, "per_1000", key), number.visits)
            if not _LEAST_CHANCE <= number.now <= _MOST_PER_1000:
                wanted = f"a number above 0, up to {_MOST_PER_1000:g}"
                _odd(faults, (system, "per_1000", key, "now"), number.now, wanted)
        for symptom, given in form.symptoms.items():
            for key, number in given.items():
                _check_visits(faults, (system, "symptoms", symptom, key), number.visits)
                if not _LEAST_CHANCE <= number.now < 1:
                    _odd(faults, (system, "symptoms", symptom, key, "now"), number.now, "a chance")
        for name, rows in form.test.items():
            for key, row in rows.items():
                _check_visits(faults, (system, "test", name, key), row.visits)
                # Each is a chance by itself first: floats beyond all bounds cannot be added up.
                whole = all(LEAST * (1 - _SUM_TO) <= p <= 1 for p in row.now) and math.isclose(
                    math.fsum(row.now), 1, abs_tol=_SUM_TO
                )
                if not whole or len(row.now) != len(row.was):
                    wanted = f"as many chances as the table has, none below {LEAST}, 1 in all"
                    _odd(faults, (system, "test", name, key, "now"), row.now, wanted)
        found.append(
            Learned(
                system=system,
                table=form.table,
                day=form.day,
                visits=form.visits,
                per_1000=tuple(
                    LearnedRow(under="", of=key, p=(one.now,), visits=one.visits)
                    for key, one in form.per_1000.items()
                ),
                symptoms=tuple(
                    LearnedRow(under=symptom, of=key, p=(one.now,), visits=one.visits)
                    for symptom, given in form.symptoms.items()
                    for key, one in given.items()
                ),
                tests=tuple(
                    LearnedRow(under=name, of=key, p=tuple(one.now), visits=one.visits)
                    for name, rows in form.test.items()
                    for key, one in rows.items()
                ),
            )
        )
    faults.refuse(dict(data), where)
    return tuple(found)


def _check_visits(faults: Faults, at: Place, visits: int) -> None:
    if not 0 <= visits <= _MOST_VISITS:
        got = str(visits) if abs(visits) <= _MOST_VISITS else "a number beyond all vehicles"
        _odd(faults, (*at, "visits"), got, f"how many retested visits, 0 to {_MOST_VISITS}")


def _odd(faults: Faults, at: Place, got: object, expected: str) -> None:
    faults.add(at, f"is {got}", expected)


def plugins_with(plugins: Plugins, learned: tuple[Learned, ...]) -> Plugins:
    """The plugins with what was learned in their tables. Of a system that is not installed it waits; of a
    table that has other numbers now, or lacks what was learned of, it is not used, and that is said.
    """
    systems, versions, failures, used = dict(plugins.systems), dict(plugins.versions), [], []
    for one in learned:
        system = systems.get(one.system)
        faults = system.faults if system is not None else None
        if system is None or faults is None:
            continue
        if not _fits(faults, one):
            failures.append(
                Failure(
                    plugin=one.system,
                    what="learned.toml was learned on another fault table than the one it has now",
                    cost="The table's own numbers are used. Run `corekit learn` again.",
                    distribution=plugins.distributions.get(one.system, ""),
                )
            )
            continue
        systems[one.system] = system.with_faults(with_learned(faults, one))
        if one.system in versions:
            versions[one.system] += f", numbers {one.words}"
        used.append(one)
    return attrs.evolve(
        plugins,
        systems=systems,
        versions=versions,
        failures=(*plugins.failures, *failures),
        learned=tuple(used),
    )


def _fits(faults: FaultTable, learned: Learned) -> bool:
    keys = {row.of for row in (*learned.per_1000, *learned.symptoms)}
    rows = all(
        row.under in faults.tests
        and (row.of in (NONE, OTHERWISE) or row.of in faults.tests[row.under].given)
        and len(row.p) == len(faults.tests[row.under].outcomes)
        for row in learned.tests
    )
    told = {row.under for row in learned.symptoms} <= symptoms().symptoms.keys()
    return learned.table == fingerprint(faults) and keys <= faults.faults.keys() and told and rows
