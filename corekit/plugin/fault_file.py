"""A fault table as a system writes it: faults.toml."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping
from contextlib import suppress
from itertools import combinations, pairwise
from typing import Any

import attrs

from .. import units
from ..complaints import trials
from ..datafile import Positive, Words, required_field, structured, table
from ..fault import Faults, Place, any_of, quotation
from ..model.trouble import CodeError, read_code
from .faults import NONE, OUTSIDE, Fault, FaultTable, FaultTest, NotWhile, OutcomeRow, Pair

_ONE = Positive(1.0)
#: No chance is 0 or 1, so that one odd reading never rules anything out for good.
LEAST = 0.002
#: The same for what is plainly seen or told: a crack is hardly ever noted where there is none.
LEAST_SEEN = 0.0001
_PREVALENCE = "a number above 0, how many of 1000 vehicles taken at random have it now"


@table
class FaultRow:
    per_1000: Positive = required_field(_PREVALENCE, "per_1000 = 5", default=_ONE)
    why: str = required_field("on what ground the prevalence stands", default="")
    name: str | None = None
    part: str = ""
    calls_for: str = ""
    refer: str = ""
    life: Positive | None = None
    only: dict[str, list[str]] = attrs.field(factory=dict)
    cause: str = ""
    tells: str = ""


@table
class PairRow:
    of: list[str] = required_field("two faults", '["…", "…"]', factory=list)
    per_1000: Positive = required_field(_PREVALENCE, "per_1000 = 2", default=_ONE)
    why: str = required_field("on what ground the prevalence stands", default="")


@table
class ChanceRow:
    p: list[float] = required_field("a probability for each outcome", factory=list)
    why: str = ""
    direct: Words = Words(())


@table
class BinsTable:
    measurand: str = ""
    check: str = ""
    place: str = ""
    at: list[str] = required_field("the limits between the outcomes", '["9 V", "11.5 V"]', factory=list)
    fitted: dict[str, dict[str, list[str]]] = attrs.field(factory=dict)


@table
class SeenTable:
    of: str = required_field("the key of an observation", default="")
    answers: list[Words] = required_field("one or several of its answers for each outcome", factory=list)


@table
class GradeTable:
    check: str = required_field("the code of a finding", default="")
    answers: list[Words] = required_field("one or several of its grades for each outcome", factory=list)
    unsaid: str = ""


@table
class TraitTable:
    of: str = required_field("the key of a trait", default="")
    at: list[str] = attrs.field(factory=list)
    answers: list[Words] = attrs.field(factory=list)


@table
class TestTable:
    question: str = required_field("what the test answers", default="")
    minutes: float = required_field("hands-on minutes, 0 for a question", default=1.0)
    waits: Positive = Positive(0.0)
    outcomes: list[str] = required_field("two or more different outcomes", factory=list)
    sound: str = required_field("the outcome of a sound vehicle", default="")
    none: list[float] = required_field("a probability for each outcome on a sound vehicle", factory=list)
    otherwise: list[float] = required_field(
        "a probability for each outcome under every other fault", factory=list
    )
    outside: list[float] | None = None
    given: dict[str, ChanceRow | None] = attrs.field(factory=dict)
    bins: BinsTable | None = None
    check: str | None = None
    beyond: list[str] = attrs.field(factory=list)
    seen: SeenTable | None = None
    grade: GradeTable | None = None
    trait: TraitTable | None = None
    codes: list[str] | None = None
    place: str = ""
    wants: str = ""
    after: dict[str, list[str]] = attrs.field(factory=dict)
    since: list[str] = attrs.field(factory=list)
    until: list[str] = attrs.field(factory=list)
    spoils: list[str] = attrs.field(factory=list)
    group: str = ""
    again: float = 0.96
    rests_on: list[str] | None = None
    only: dict[str, list[str]] = attrs.field(factory=dict)
    proposed: bool = True
    lasting: bool = False
    trials: list[str] = attrs.field(factory=list)
    not_told: list[str] = attrs.field(factory=list)
    retells: dict[str, list[str]] = attrs.field(factory=dict)


@table
class NotWhileRow:
    seen: dict[str, list[str]] = required_field("an observation with the answers that bar", factory=dict)
    found: list[str] = attrs.field(factory=list)
    tests: list[str] = attrs.field(factory=list)
    works: list[str] = attrs.field(factory=list)
    why: str = required_field("the danger", default="")


@table
class RelievedRow:
    by: str = required_field("an operation", default="")
    faults: list[str] = attrs.field(factory=list)
    why: str = required_field("why the complaint may go while they stay", default="")


@table
class FaultFile:
    """`[faults]` holds `pairs` too, which are rows of another form and are read by themselves."""

    faults: dict[str, FaultRow | None] = attrs.field(factory=dict)
    test: dict[str, TestTable | None] = attrs.field(factory=dict)
    symptoms: dict[str, dict[str, float] | None] = attrs.field(factory=dict)
    when: dict[str, dict[str, float] | None] = attrs.field(factory=dict)
    not_while: list[NotWhileRow | None] = attrs.field(factory=list)
    relieved: list[RelievedRow | None] = attrs.field(factory=list)


@attrs.frozen(kw_only=True)
class Declared:
    """What a system declares, as its fault table may name it.

    Attributes:
        to_coherent: (key of a measurand or of a trait, text such as "12.4 V") → number in the coherent unit.
        measurands: Key → places. observations: Key → answers. traits: Key → answers, none for a value.
        operations, parts: Keys.
        codes: Every code that the source of its checks names; None where that cannot be read.
        symptoms: Keys of all that a customer can tell; None: not looked up.
        circumstances: Keys of when it can show.
        places: Key of a measurand or an observation → its places.
    """

    to_coherent: Callable[[str, str], float]
    measurands: Mapping[str, Collection[str]] = attrs.field(factory=dict)
    observations: Mapping[str, Collection[str]] = attrs.field(factory=dict)
    traits: Mapping[str, Collection[str]] = attrs.field(factory=dict)
    operations: Collection[str] = ()
    parts: Collection[str] = ()
    codes: Collection[str] | None = None
    symptoms: Collection[str] | None = None
    circumstances: Collection[str] | None = None
    places: Mapping[str, Collection[str]] = attrs.field(factory=dict)


def read_faults(data: Mapping[str, Any], where: str, declared: Declared, system: str) -> FaultTable:
    """A fault table from the data of a faults.toml.

    Args:
        declared: What the system declares. system: Its key.

    Raises:
        DataFileError: lists every fault of the table at once, each with its key path.
    """
    faults = Faults()
    rows = data.get("faults", {})
    pairs: list[PairRow | None] = []
    if isinstance(rows, Mapping) and "pairs" in rows:
        at = ("faults", "pairs")
        pairs = structured(
            _without_weights([*_list(rows["pairs"])], at, faults), list[PairRow | None], faults, at
        )
        rows = {key: row for key, row in rows.items() if key != "pairs"}
    if isinstance(rows, Mapping):
        rows = _without_weights(dict(rows), ("faults",), faults)
    form = structured({**data, "faults": rows}, FaultFile, faults)
    table = _Meaning(faults, declared, system).table(form, pairs)
    faults.refuse(data, where)
    return table


def _list(rows: object) -> list[Any]:
    return rows if isinstance(rows, list) else [rows]


def _without_weights(rows: Any, path: Place, faults: Faults) -> Any:
    """The rows without `weight`, which is refused: a share among complaints is no prevalence."""
    for key, row in rows.items() if isinstance(rows, dict) else enumerate(rows):
        if isinstance(row, Mapping) and "weight" in row:
            got = "is a share among visits with a complaint"
            expected = "per_1000, how many of 1000 vehicles taken at random have it now, with a why"
            faults.add((*path, key, "weight"), got, expected, "per_1000 = 5")
            rows[key] = {"per_1000": 1.0, "why": "?", **{k: v for k, v in row.items() if k != "weight"}}
    return rows


@attrs.frozen
class _Meaning:
    """One pass over a form. After a fault it goes on with something harmless, which never leaves it."""

    faults: Faults
    declared: Declared
    system: str

    def table(self, form: FaultFile, pair_rows: list[PairRow | None]) -> FaultTable:
        for always, meaning in (
            (NONE, "a vehicle without a fault is every table's"),
            (OUTSIDE, "something that no installed system speaks of is every table's"),
        ):
            if always in form.faults:
                path: Place = ("faults", always)
                self.faults.add(path, "is the core's own", f"no fault of that name: {meaning}")
        faults = {
            key: self._fault(key, row or FaultRow())
            for key, row in form.faults.items()
            if key not in (NONE, OUTSIDE)
        }
        pairs = self._pairs(pair_rows, faults)
        known = [*faults, *pairs]
        tests = {
            key: self._test(key, row, known)
            for key, row in form.test.items()
            if row is not None and not self.faults.below(("test", key, "outcomes"))
        }
        self._order(tests, list(form.test))
        table = FaultTable(
            system=self.system,
            faults=faults,
            tests=tests,
            pairs=pairs,
            symptoms=self._factors("symptoms", form.symptoms, faults, self.declared.symptoms, "symptom"),
            when=self._factors("when", form.when, faults, self.declared.circumstances, "circumstance"),
            not_while=tuple(
                self._not_while(("not_while", n), row, tests)
                for n, row in enumerate(form.not_while)
                if row is not None
            ),
            relieved={
                row.by: self._relieved(("relieved", n), row, faults)
                for n, row in enumerate(form.relieved)
                if row is not None
            },
        )
        self._as_a_whole(table)
        return table

    def _as_a_whole(self, table: FaultTable) -> None:
        """What no single row shows: faults that nothing tells apart, and no word about what lies outside."""
        if table.tests and not any(test.outside for test in table.tests.values()):
            got = "has no row for outside in any test"
            expected = "one in at least one test: what it shows when something else is wrong"
            self.faults.add(("test",), got, expected, "outside = [0.9, 0.1]")
        if self.faults.at(("faults",)):
            return
        for one, other in combinations(table.faults.values(), 2):
            if one.calls_for == other.calls_for and one.refer == other.refer:
                continue  # the same work cures both
            apart = any(
                test.likelihood(one.key) != test.likelihood(other.key) for test in table.tests.values()
            ) or any(row.get(one.key) != row.get(other.key) for row in table.symptoms.values())
            if not apart:
                got = f"no test tells {one.key} and {other.key} apart, and each calls for other work"
                self.faults.add(("faults", other.key), got, "a row of its own in some test")

    def _not_while(self, path: Place, row: NotWhileRow, tests: Collection[str]) -> NotWhile:
        for of, answers in row.seen.items():
            at = (*path, "seen", of)
            if self._one_of(at, of, "observation", self.declared.observations):
                for answer in answers:
                    self._one_of(at, answer, "answer", self.declared.observations[of])
        for code in row.found:
            if code.partition(".")[0] != self.system or not code.partition(".")[2]:
                got = f"{quotation(code)} is no code of this system's findings"
                self.faults.add((*path, "found"), got, quotation(f"{self.system}.name"))
        for key in row.tests:
            self._one_of((*path, "tests"), key, "test", tests)
        for key in row.works:
            self._one_of((*path, "works"), key, "operation", self.declared.operations)
        return NotWhile(
            seen={of: tuple(answers) for of, answers in row.seen.items()},
            found=frozenset(row.found),
            tests=frozenset(row.tests),
            works=frozenset(row.works),
            why=row.why,
        )

    def _relieved(self, path: Place, row: RelievedRow, faults: Collection[str]) -> frozenset[str]:
        self._one_of((*path, "by"), row.by, "operation", self.declared.operations)
        for key in row.faults:
            self._one_of((*path, "faults"), key, "fault", faults)
        return frozenset(row.faults)

    def _factors(
        self,
        table: str,
        rows: Mapping[str, Mapping[str, float] | None],
        faults: Collection[str],
        known: Collection[str] | None,
        what: str,
    ) -> dict[str, dict[str, float]]:
        """Symptom or circumstance → fault → number."""
        found = {}
        for key, row in rows.items():
            of_another = "." in key and not key.startswith(f"{self.system}.")
            if known is not None and not of_another:  # another system may not be there
                self._one_of((table, key), key, what, known)
            for fault, number in (row or {}).items():
                path: Place = (table, key, fault)
                self._one_of(path, fault, "fault", faults)
                if not number > 0 or (table == "symptoms" and number >= 1):
                    expected = "a chance between 0 and 1" if table == "symptoms" else "a factor above 0"
                    self.faults.add(path, f"is {number}", expected)
            found[key] = dict(row or {})
        return found

    def _one_of(self, path: Place, key: str, what: str, choices: Iterable[str]) -> bool:
        """True when the key is one of them; else a fault that lists all, unless one is known there."""
        known = sorted(choices)
        if key in known:
            return True
        if not self.faults.at(path):
            self.faults.add(path, f"there is no {what} {quotation(key)}", any_of(known) or f"no {what}")
        return False

    def _only(self, path: Place, rows: Mapping[str, list[str]]) -> dict[str, tuple[str, ...]]:
        for trait, answers in rows.items():
            at = (*path, "only", trait)
            if trait.startswith(f"{self.system}.") and self._one_of(at, trait, "trait", self.declared.traits):
                known = self.declared.traits[trait]
                for answer in answers:
                    if not known and answer.isdecimal():  # a trait with a value that is counted
                        continue
                    if answer not in known:
                        got = f"{quotation(answer)} is not an answer of {trait}"
                        self.faults.add(at, got, any_of(map(quotation, known)) or "a whole number")
        return {trait: tuple(answers) for trait, answers in rows.items()}

    def _parts(self, path: Place, keys: Iterable[str]) -> tuple[str, ...]:
        full = tuple(key if not key or "." in key else f"{self.system}.{key}" for key in keys)
        for key in full:
            if key:
                self._one_of(path, key, "part", self.declared.parts)
        return full

    def _fault(self, key: str, row: FaultRow) -> Fault:
        path: Place = ("faults", key)
        if "+" in key:
            self.faults.add(path, "has a + in its name, which stands between two of a pair", "a plain name")
        if row.calls_for:
            self._one_of((*path, "calls_for"), row.calls_for, "operation", self.declared.operations)
        if not row.why.strip() and not self.faults.below((*path, "why")):
            self.faults.add((*path, "why"), "is empty", "on what ground the prevalence stands")
        return Fault(
            key=key,
            name=key if row.name is None else row.name,
            per_1000=self._per_1000(path, row.per_1000),
            why=row.why,
            part=self._parts((*path, "part"), [row.part])[0],
            calls_for=row.calls_for,
            refer=row.refer,
            life=row.life,
            only=self._only(path, row.only),
            cause=row.cause,
            tells=row.tells,
        )

    def _per_1000(self, path: Place, per_1000: float) -> float:
        """A prevalence with odds: not every vehicle has it."""
        if per_1000 < 1000:
            return per_1000
        self.faults.add((*path, "per_1000"), f"is {per_1000}", "a number below 1000, of 1000 vehicles")
        return 1.0

    def _pairs(self, rows: list[PairRow | None], faults: Mapping[str, Fault]) -> dict[str, Pair]:
        pairs: dict[str, Pair] = {}
        for n, row in enumerate(rows):
            path: Place = ("faults", "pairs", n, "of")
            if row is None or self.faults.below(path):
                continue
            if len(row.of) != 2 or len(set(row.of)) != 2 or not set(row.of) <= set(faults):
                expected = f"two different faults of {', '.join(faults)}"
                self.faults.add(path, f"is {_list_of(row.of)}", expected)
            elif any(set(pair.of) == set(row.of) for pair in pairs.values()):
                self.faults.add(path, f"{' and '.join(row.of)} are a pair already", "each pair once")
            else:
                key, each = "+".join(row.of), [faults[fault].per_1000 for fault in row.of]
                per_1000 = self._per_1000(path[:-1], row.per_1000)
                by_chance = 1000 * each[0] / (1000 - each[0]) * each[1] / (1000 - each[1])
                if per_1000 <= by_chance and not self.faults.below(path[:2]):
                    got = f"is {per_1000}, and by chance the two are met together in {by_chance:.2g}"
                    expected = "more than that, or no pair: every two faults are reckoned with anyway"
                    self.faults.add((*path[:-1], "per_1000"), got, expected)
                pairs[key] = Pair(key=key, of=(row.of[0], row.of[1]), per_1000=per_1000, why=row.why)
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
                    self.faults.add(path, f"is {_list_of(outcomes)}", expected)
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
            got = f"is {_list_of(outcomes)}"
            self.faults.add((*path, "outcomes"), got, "two or more different outcomes")
        if row.sound not in outcomes and not self._is_wrong(path, "sound"):
            got = f"{quotation(row.sound)} is not an outcome"
            self.faults.add((*path, "sound"), got, f"that of a sound vehicle, {any_of(outcomes)}")
        if not row.question and not self._is_wrong(path, "question"):
            self.faults.add((*path, "question"), "is empty", "what the test answers")
        if row.wants.startswith(f"{self.system}."):
            known = [*self.declared.measurands, *self.declared.observations]
            self._one_of((*path, "wants"), row.wants, "measurand or observation", known)
        for name, operations in (("since", row.since), ("until", row.until)):
            for n, operation in enumerate(operations):
                self._one_of((*path, name, n), operation, "operation", self.declared.operations)
        if not 0 <= row.minutes < math.inf:
            self.faults.add((*path, "minutes"), f"is {row.minutes}", "hands-on minutes, 0 for a question")
        if not 0.5 <= row.again < 1:
            self.faults.add((*path, "again"), f"is {row.again}", "a chance from 0.5 to below 1")
        given = {}
        for fault, chances in row.given.items():
            at = (*path, "given", fault)
            if fault not in faults and not self.faults.at(("faults",)):
                self.faults.add(
                    at, f"there is no fault {quotation(fault)}", any_of(faults) or "one of [faults]"
                )
            if chances is not None:
                given[fault] = self._row(at, chances, row)
        return FaultTest(
            key=key,
            question=row.question,
            minutes=row.minutes,
            outcomes=outcomes,
            sound=row.sound,
            none=self._chances((*path, "none"), row.none, outcomes, _least(row)),
            otherwise=self._chances((*path, "otherwise"), row.otherwise, outcomes, _least(row)),
            outside=(
                ()
                if row.outside is None
                else self._chances((*path, "outside"), row.outside, outcomes, _least(row))
            ),
            given=given,
            wants=row.wants,
            waits=row.waits,
            proposed=row.proposed,
            lasting=row.lasting or bool(row.codes),
            trials=self._ways(path, row),
            not_told=self._not_told(path, row),
            retells=self._retells(path, row),
            after={first: tuple(names) for first, names in row.after.items()},
            since=tuple(row.since),
            until=tuple(row.until),
            spoils=tuple(row.spoils),
            group=row.group,
            again=row.again,
            rests_on=None if row.rests_on is None else self._parts((*path, "rests_on"), row.rests_on),
            only=self._only(path, row.only),
            **self._origin_at_place(path, row, self._origin(path, row)),
        )

    def _ways(self, path: Place, row: TestTable) -> tuple[str, ...]:
        """Ways of trial that ask the same as a test, of the parts that it rests on."""
        for n, way in enumerate(row.trials):
            self._one_of((*path, "trials", n), way, "way of trial", trials().ways)
        if row.trials and not row.rests_on:
            self.faults.add(
                (*path, "trials"), "stands without rests_on", "rests_on, the parts that are tried"
            )
        return tuple(row.trials)

    def _retells(self, path: Place, row: TestTable) -> dict[str, tuple[str, ...]]:
        for symptom, names in row.retells.items():
            here = (*path, "retells", symptom)
            if self.declared.symptoms is not None:
                self._one_of(here, symptom, "symptom", self.declared.symptoms)
            for n, name in enumerate(names):
                if name not in row.outcomes:
                    self.faults.add(
                        (*here, n), f"there is no outcome {quotation(name)}", any_of(row.outcomes)
                    )
                elif name == row.sound:
                    expected = "an outcome that shows what was told"
                    self.faults.add((*here, n), f"{quotation(name)} is what a sound vehicle shows", expected)
        return {symptom: tuple(names) for symptom, names in row.retells.items()}

    def _not_told(self, path: Place, row: TestTable) -> tuple[str, ...]:
        if self.declared.symptoms is not None:
            for n, symptom in enumerate(row.not_told):
                self._one_of((*path, "not_told", n), symptom, "symptom", self.declared.symptoms)
        return tuple(row.not_told)

    def _origin_at_place(self, path: Place, row: TestTable, origin: dict[str, Any]) -> dict[str, Any]:
        """The origin at one of several like places, where the test names one."""
        if not row.place:
            return origin
        of = origin.get("seen") or row.wants
        places = self.declared.places.get(of, ())
        if row.bins is not None and row.bins.measurand:
            got = "stands beside bins of a measurand"
            self.faults.add((*path, "place"), got, "place within bins")
        elif row.place not in places:
            got = f"{quotation(row.place)} is no place of {of or 'what it asks for'}"
            self.faults.add((*path, "place"), got, any_of(map(quotation, places)) or "no place")
        return {**origin, "place": row.place}

    def _is_wrong(self, path: Place, key: str) -> bool:
        return self.faults.below((*path, key))

    def _row(self, path: Place, row: ChanceRow, test: TestTable) -> OutcomeRow:
        at = (*path, "direct")
        for one in row.direct:
            if one not in test.outcomes:
                self.faults.add(at, f"{quotation(one)} is not an outcome", any_of(test.outcomes))
        if row.direct and "+" in str(path[-1]):
            got = "two faults together are no part"
            self.faults.add(at, got, "no direct", "direct in the row of one of them")
        if row.direct and test.codes is not None:
            got = "a trouble code names no part, so it never speaks directly against one"
            self.faults.add(at, got, "no direct", "the row without direct")
        p = self._chances((*path, "p"), row.p, tuple(test.outcomes), _least(test))
        return OutcomeRow(p=p, why=row.why, direct=row.direct)

    def _chances(
        self, path: Place, numbers: list[float], outcomes: tuple[str, ...], least: float
    ) -> tuple[float, ...]:
        """Probabilities kept away from 0 and 1."""
        sums = math.isclose(math.fsum(numbers), 1.0, abs_tol=1e-6) and min(numbers) >= 0
        if len(numbers) != len(outcomes) or not sums:
            if not self.faults.below(path):
                expected = f"{len(outcomes)} probabilities, one for each outcome, that sum to 1"
                self.faults.add(path, f"is {numbers}", expected)
            return tuple(1 / len(outcomes) for _ in outcomes)
        clamped = [min(1 - least, max(least, p)) for p in numbers]
        return tuple(p / math.fsum(clamped) for p in clamped)

    def _origin(self, path: Place, row: TestTable) -> dict[str, Any]:
        """Where the outcome comes from, as fields of a test."""
        kinds = [kind for kind in _ORIGINS if getattr(row, kind) is not None or self._is_wrong(path, kind)]
        if len(kinds) != 1:
            got = f"has {' and '.join(kinds) or 'nothing'} to say where the outcome comes from"
            self.faults.add(path, got, f"exactly one of {', '.join(_ORIGINS)}")
            return {}
        if row.beyond and row.check is None and not self._is_wrong(path, "check"):
            self.faults.add((*path, "beyond"), "stands without a check", "check, the code of a finding")
        if row.bins is not None:
            return self._bins((*path, "bins"), row, row.bins)
        if row.seen is not None:
            return self._sighting_rows((*path, "seen"), row.seen, row.outcomes)
        if row.grade is not None:
            self._code((*path, "grade", "check"), row.grade.check)
            self._asks(path, row)
            return {
                "graded": row.grade.check,
                "answers": self._grades((*path, "grade"), row.grade, row.outcomes),
            }
        if row.trait is not None:
            return self._trait((*path, "trait"), row, row.trait)
        if row.codes is not None:
            self._two(path, row, "two for trouble codes, set and not set in this order")
            return {"codes": self._codes((*path, "codes"), row.codes)}
        if row.check is None:
            return {}
        self._code((*path, "check"), row.check)
        self._asks(path, row)
        if row.beyond:
            return {"code": row.check, **self._beyond((*path, "beyond"), row)}
        self._two(path, row, "two for a check without beyond, pass and fail in this order")
        return {"code": row.check}

    def _code(self, path: Place, code: str) -> None:
        """A code that begins with the system's key and that a check of the system names."""
        if not code or not code.startswith(f"{self.system}."):
            expected = f"the code of a finding, which begins with {self.system}."
            self.faults.add(path, f"is {quotation(code)}", expected)
        elif self.declared.codes is not None and code not in self.declared.codes:
            self.faults.add(
                path, f"no check of the system yields {quotation(code)}", "a code that one yields"
            )

    def _asks(self, path: Place, row: TestTable) -> None:
        """A test of a finding says what to read for it, or nothing could ever answer it."""
        if not row.wants and not self._is_wrong(path, "wants"):
            expected = "the measurand or observation to read for it"
            self.faults.add((*path, "wants"), "is missing", expected, f'"{self.system}.…"')

    def _two(self, path: Place, row: TestTable, expected: str) -> None:
        if len(row.outcomes) != 2 and not self._is_wrong(path, "outcomes"):
            self.faults.add((*path, "outcomes"), f"are {len(row.outcomes)}", expected)

    def _bins(self, path: Place, test: TestTable, row: BinsTable) -> dict[str, Any]:
        if bool(row.measurand) == bool(row.check):
            got = "names both" if row.check else "names neither"
            self.faults.add(path, got, "either a measurand or a check")
            return {}
        if row.check:
            self._code((*path, "check"), row.check)
            self._asks(path[:-1], test)
            at = self._steps((*path, "at"), row.at, test.outcomes, _of_any_unit)
            self._one_kind((*path, "at"), row.at)
            fitted = self._fitted_steps(path, row, test.outcomes, _of_any_unit)
            return {"code": row.check, "at": at, "at_fitted": fitted}
        if not self._one_of((*path, "measurand"), row.measurand, "measurand", self.declared.measurands):
            return {}
        places = self.declared.measurands[row.measurand]
        if row.place not in (places or ("",)):
            where = any_of(places) or "one place only"
            got = f"{row.measurand} is read at {where}, not at {quotation(row.place)}"
            self.faults.add(
                (*path, "place"), got, any_of(places), "" if places else "the table without place"
            )

        def number(text: str) -> float:
            return self.declared.to_coherent(row.measurand, text)

        return {
            "measurand": row.measurand,
            "place": row.place,
            "at": self._steps((*path, "at"), row.at, test.outcomes, number),
            "at_fitted": self._fitted_steps(path, row, test.outcomes, number),
        }

    def _fitted_steps(
        self, path: Place, row: BinsTable, outcomes: list[str], number: Callable[[str], float]
    ) -> dict[str, dict[str, tuple[float, ...]]]:
        """The limits that hold on a vehicle fitted so."""
        found: dict[str, dict[str, tuple[float, ...]]] = {}
        for trait, rows in row.fitted.items():
            here = (*path, "fitted", trait)
            if not self._one_of(here, trait, "trait", self.declared.traits):
                continue
            for answer, at in rows.items():
                if answer not in self.declared.traits[trait]:
                    known = any_of(map(quotation, self.declared.traits[trait])) or "no answer: it is a number"
                    self.faults.add((*here, answer), "is no answer of it", known)
                    continue
                found.setdefault(trait, {})[answer] = self._steps((*here, answer), at, outcomes, number)
                self._one_kind((*here, answer), [*row.at, *at] if row.check else ())
        return found

    def _steps(
        self, path: Place, texts: list[str], outcomes: list[str], number: Callable[[str], float]
    ) -> tuple[float, ...]:
        """The limits between outcomes, rising, one fewer than outcomes."""
        at = []
        for n, text in enumerate(texts):
            try:
                at.append(number(text))
            except ValueError as error:
                self.faults.add((*path, n), str(error))
        rising = all(low < high for low, high in pairwise(at))
        if (len(texts) != len(outcomes) - 1 or not rising) and not self.faults.below(path):
            expected = f"{len(outcomes) - 1} rising limits between {len(outcomes)} outcomes"
            self.faults.add(path, f"is {_list_of(texts)}", expected)
        return tuple(at)

    def _one_kind(self, path: Place, texts: Collection[str]) -> None:
        """Limits without a measurand name their unit themselves, and all the same kind of quantity."""
        kinds = set()
        for text in texts:
            with suppress(ValueError):  # told where the number is read
                kinds.add(units.read_quantity(text, [_unit_in(text)]).kind)
        if len(kinds) > 1:
            self.faults.add(path, f"is {_list_of(texts)}", "one kind of quantity")

    def _beyond(self, path: Place, row: TestTable) -> dict[str, Any]:
        relative = all(text.rstrip().endswith("%") for text in row.beyond)
        steps = self._steps(path, row.beyond, row.outcomes, _of_any_unit if relative else _difference)
        self._one_kind(path, row.beyond)
        return {"beyond": steps, "relative": relative}

    def _sighting_rows(self, path: Place, row: SeenTable, outcomes: list[str]) -> dict[str, Any]:
        if not self._one_of((*path, "of"), row.of, "observation", self.declared.observations):
            return {}
        known = self.declared.observations[row.of]
        return {
            "seen": row.of,
            "answers": self._answers((*path, "answers"), row.answers, outcomes, known, row.of),
        }

    def _trait(self, path: Place, test: TestTable, row: TraitTable) -> dict[str, Any]:
        if not self._one_of((*path, "of"), row.of, "trait", self.declared.traits):
            return {}
        known = self.declared.traits[row.of]
        if known:
            at = (*path, "answers")
            return {"trait": row.of, "answers": self._answers(at, row.answers, test.outcomes, known, row.of)}
        steps = self._steps(
            (*path, "at"), row.at, test.outcomes, lambda text: self.declared.to_coherent(row.of, text)
        )
        return {"trait": row.of, "at": steps}

    def _grades(self, path: Place, grade: GradeTable, outcomes: list[str]) -> tuple[tuple[str, ...], ...]:
        """Of each outcome the grades that mean it; of the one that no finding says (`unsaid`) none."""
        if grade.unsaid and grade.unsaid not in outcomes:
            got = f"{quotation(grade.unsaid)} is no outcome of this test"
            self.faults.add((*path, "unsaid"), got, any_of(map(quotation, outcomes)))
        said = [name for name in outcomes if name != grade.unsaid]
        answers = self._answers((*path, "answers"), grade.answers, said, None, "")
        if len(answers) != len(said):
            return answers
        given = dict(zip(said, answers, strict=True))
        return tuple(given.get(name, ()) for name in outcomes)

    def _answers(
        self,
        path: Place,
        rows: list[Words],
        outcomes: list[str],
        known: Collection[str] | None,
        of: str,
    ) -> tuple[tuple[str, ...], ...]:
        """Of each outcome the words that mean it; no word means two."""
        answers = tuple(tuple(row) for row in rows)
        words = [word for row in answers for word in row]
        each_once = len(answers) == len(outcomes) and len(set(words)) == len(words) and all(answers)
        if not each_once and not self.faults.below(path):
            got = f"is [{', '.join(map(_answer_text, answers))}]"
            expected = f"one answer, or a list of several, for each of the {len(outcomes)} outcomes"
            self.faults.add(path, got, expected)
        for n, row in enumerate(answers):
            for word in row:
                if known is not None and word not in known:
                    got = f"{quotation(word)} is not an answer of {of}"
                    self.faults.add((*path, n), got, any_of(map(quotation, known)))
        return answers

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


def _least(test: TestTable) -> float:
    return LEAST if test.seen is None else LEAST_SEEN


_ORIGINS = ("bins", "check", "seen", "grade", "trait", "codes")


def _of_any_unit(text: str) -> float:
    """A quantity in whatever unit it names, in the coherent unit of its kind."""
    return units.read_quantity(text, [_unit_in(text)]).number


def _difference(text: str) -> float:
    """How far apart two quantities are, in the coherent unit of their kind: a scale's zero falls out."""
    unit = _unit_in(text)
    return units.read_quantity(text, [unit]).number - units.to_coherent(0.0, unit)


def _unit_in(text: str) -> str:
    parts = text.split(maxsplit=1)
    if len(parts) < 2:
        raise ValueError(f"a number with its unit belongs here, like 0.5 V; got {quotation(text)}")
    return parts[1].strip()


def _answer_text(words: tuple[str, ...]) -> str:
    return quotation(words[0]) if len(words) == 1 else _list_of(words)


def _list_of(texts: Iterable[str]) -> str:
    return f"[{', '.join(map(quotation, texts))}]"
