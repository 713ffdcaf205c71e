"""Fault tables: what can be wrong, how often, and what each test shows then.

Read from a system's faults.toml.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from itertools import pairwise
from typing import Any

import attrs

from ..errors import CorekitError
from ..model.trouble import CodeError, read_code

NONE, OUTSIDE = "none", "outside"


@attrs.frozen(kw_only=True)
class Fault:
    """Something that can be wrong.

    `weight` says how often among such visits (only ratios count), `why` on what ground.
    """

    key: str
    name: str
    weight: float
    why: str = ""
    calls_for: str = ""


@attrs.frozen(kw_only=True)
class Pair:
    """Two faults at once, where that is met often enough to matter.

    `key` is both names, as `drain+worn_out`.
    """

    key: str
    of: tuple[str, str]
    weight: float
    why: str = ""


@attrs.frozen(kw_only=True)
class Row:
    """What a test shows under one fault: a probability for each outcome.

    `direct` names the outcome that speaks directly against this fault's part; only then may a part be called
    for.
    """

    p: tuple[float, ...]
    why: str = ""
    direct: str = ""


@attrs.frozen(kw_only=True)
class FaultTest:
    """A test of the table.

    Its outcome comes from one of four places: the bins of a measurand's reading (`measurand`, `place`, `at`
    in coherent units, one fewer than outcomes), the verdict of a finding (`code`: outcomes are in the order
    pass, fail), an observation's answer (`seen`, `answers` in the order of outcomes), or trouble codes
    (`codes`: outcomes are in the order any of them set, none set; without an outcome where no list was read).

    Attributes:
        question: What it answers, in the mechanic's words.
        minutes: Hands-on. waits: Minutes of waiting beside them, during which something else can be done.
        sound: The outcome a vehicle without these faults shows.
        otherwise: The probabilities under every fault without a row of its own.
        given: Fault or pair key → row.
        after: Test → its outcomes of which one must have been shown first; without that this test means
            nothing.
        spoils: Tests that read wrong once this one was made, so they come before it.
    """

    key: str
    question: str
    minutes: float
    outcomes: tuple[str, ...]
    sound: str
    otherwise: tuple[float, ...]
    given: Mapping[str, Row]
    measurand: str = ""
    place: str = ""
    at: tuple[float, ...] = ()
    code: str = ""
    seen: str = ""
    answers: tuple[str, ...] = ()
    codes: tuple[str, ...] = ()
    wants: str = ""
    waits: float = 0.0
    after: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict)
    spoils: tuple[str, ...] = ()

    def likelihood(self, fault: str) -> tuple[float, ...]:
        """The probability of each outcome under a fault (or a pair that has a row of its own)."""
        row = self.given.get(fault)
        return row.p if row else self.otherwise

    def together(
        self, rows: Sequence[Sequence[float]], otherwise: Sequence[float] | None = None
    ) -> tuple[float, ...]:
        """The probability of each outcome under several faults at once, from what each shows alone.

        The vehicle looks sound only where every one of them lets it: `otherwise` times the share that each
        leaves of it. The rest goes to the other outcomes in proportion to the larger chance that any of the
        faults gives them.
        """
        otherwise = otherwise or self.otherwise
        at = self.outcomes.index(self.sound)
        looks_sound = otherwise[at] * math.prod(min(1.0, row[at] / otherwise[at]) for row in rows)
        largest = [
            0.0 if place == at else max(row[place] for row in rows) for place in range(len(self.outcomes))
        ]
        rest = (1.0 - looks_sound) / sum(largest)
        return tuple(looks_sound if place == at else rest * p for place, p in enumerate(largest))


@attrs.frozen(kw_only=True)
class FaultTable:
    """What can be wrong, alone (`faults`) or two at once (`pairs`), and what each test shows then."""

    faults: Mapping[str, Fault]
    tests: Mapping[str, FaultTest]
    pairs: Mapping[str, Pair] = attrs.field(factory=dict)

    def of(self, hypothesis: str) -> tuple[str, ...]:
        """The faults that a hypothesis speaks of: one, or the two of a pair."""
        return self.pairs[hypothesis].of if hypothesis in self.pairs else (hypothesis,)

    def chances(self, test: FaultTest, hypothesis: str) -> tuple[float, ...]:
        """The probability of each outcome under a fault or a pair; a pair without a row of its own gets one
        from those of its two faults.
        """
        if hypothesis in test.given or hypothesis not in self.pairs:
            return test.likelihood(hypothesis)
        return test.together([test.likelihood(fault) for fault in self.pairs[hypothesis].of])

    @property
    def codes(self) -> frozenset[str]:
        """Every trouble code that some test of the table asks for."""
        return frozenset(code for test in self.tests.values() for code in test.codes)


class TableError(CorekitError, ValueError):
    """All that is wrong with a fault table, one line each."""

    def __init__(self, where: str, faults: list[str]) -> None:
        super().__init__(f"{where} cannot be used:\n" + "\n".join(f"  {fault}" for fault in faults))
        self.faults = faults


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
        TableError: lists every fault of the table at once, each with its key path.
    """
    reader = _Reader(to_coherent, measurands, observations, operations, system)
    rows = reader.table("faults", data.get("faults", {}))
    faults = {key: reader.fault(key, raw) for key, raw in rows.items() if key != "pairs"}
    pairs = reader.pairs("faults.pairs", rows.get("pairs", []), faults)
    for always, meaning in (
        (NONE, "a vehicle with none of these faults"),
        (OUTSIDE, "something outside this system"),
    ):
        if always not in faults:
            reader.wrong.append(f"faults.{always}: missing; every table needs {meaning}, with its weight")
    tests = {
        key: reader.test(key, raw, [*faults, *pairs])
        for key, raw in reader.table("test", data.get("test", {})).items()
    }
    reader.order(tests)
    reader.wrong.extend(
        f"{key}: unknown; a fault table has [faults] and [test.…]"
        for key in data
        if key not in ("faults", "test")
    )
    if reader.wrong:
        raise TableError(where, reader.wrong)
    return FaultTable(faults=faults, tests=tests, pairs=pairs)


_FAULT_KEYS = ("weight", "name", "why", "calls_for")
_PAIR_KEYS = ("of", "weight", "why")
_TEST_KEYS = (
    "question",
    "minutes",
    "waits",
    "outcomes",
    "sound",
    "otherwise",
    "given",
    "bins",
    "check",
    "seen",
    "codes",
    "wants",
    "after",
    "spoils",
)
_ROW_KEYS = ("p", "why", "direct")
_ORIGINS = ("bins", "check", "seen", "codes")


@attrs.frozen
class _Reader:
    """Reads on after every fault, with something harmless in its place, so that all of them are
    told at once.
    """

    to_coherent: Callable[[str, str], float]
    measurands: Mapping[str, Collection[str]]
    observations: Mapping[str, Collection[str]]
    operations: Collection[str]
    system: str
    wrong: list[str] = attrs.field(factory=list, init=False)

    def table(self, where: str, raw: Any, keys: Collection[str] | None = None) -> Mapping[str, Any]:
        if not isinstance(raw, Mapping):
            self.wrong.append(f"{where}: a table; got {raw!r}")
            return {}
        if keys is not None:
            self.wrong.extend(f"{where}.{name}: unknown key" for name in sorted(set(raw) - set(keys)))
        return raw

    def text(self, where: str, raw: Any) -> str:
        if isinstance(raw, str):
            return raw
        self.wrong.append(f"{where}: text; got {raw!r}")
        return ""

    def texts(self, where: str, raw: Any) -> tuple[str, ...]:
        if isinstance(raw, (list, tuple)) and all(isinstance(item, str) for item in raw):
            return tuple(raw)
        self.wrong.append(f"{where}: a list of texts; got {raw!r}")
        return ()

    def above_0(self, where: str, raw: Any, what: str) -> float:
        if isinstance(raw, (int, float)) and not isinstance(raw, bool) and 0 < raw < math.inf:
            return float(raw)
        self.wrong.append(f"{where}: {what} above 0; got {raw!r}")
        return 1.0

    def fault(self, key: str, raw: Any) -> Fault:
        where = f"faults.{key}"
        if "+" in key:
            self.wrong.append(f"{where}: a fault's name has no +, which stands between the two of a pair")
        row = self.table(where, raw, _FAULT_KEYS)
        calls_for = self.text(f"{where}.calls_for", row.get("calls_for", ""))
        if calls_for and calls_for not in self.operations:
            self.wrong.append(
                f"{where}.calls_for: no operation {calls_for!r}; there are"
                f" {', '.join(sorted(self.operations))}"
            )
        return Fault(
            key=key,
            name=self.text(f"{where}.name", row.get("name", key)),
            weight=self.above_0(f"{where}.weight", row.get("weight"), "a number"),
            why=self.text(f"{where}.why", row.get("why", "")),
            calls_for=calls_for,
        )

    def pairs(self, where: str, raw: Any, faults: Mapping[str, Fault]) -> dict[str, Pair]:
        if not isinstance(raw, list):
            self.wrong.append(
                f"{where}: a list of pairs, each {{ of = [two faults], weight, why }}; got {raw!r}"
            )
            return {}
        found: dict[str, Pair] = {}
        for place, entry in enumerate(raw):
            here = f"{where}[{place}]"
            row = self.table(here, entry, _PAIR_KEYS)
            of = self.texts(f"{here}.of", row.get("of", ()))
            weight = self.above_0(f"{here}.weight", row.get("weight"), "a number")
            why = self.text(f"{here}.why", row.get("why", ""))
            if len(of) != 2 or len(set(of)) != 2 or not set(of) <= set(faults) - {NONE}:
                self.wrong.append(
                    f"{here}.of: two different faults, and not {NONE}; there are {', '.join(faults)}; got"
                    f" {list(of)}"
                )
            elif any(set(pair.of) == set(of) for pair in found.values()):
                self.wrong.append(f"{here}.of: {' and '.join(of)} are a pair already")
            else:
                key = "+".join(of)
                found[key] = Pair(key=key, of=(of[0], of[1]), weight=weight, why=why)
        return found

    def order(self, tests: Mapping[str, FaultTest]) -> None:
        """What must come before what leads somewhere, and never round in a circle."""
        for key, test in tests.items():
            for first, outcomes in test.after.items():
                where = f"test.{key}.after.{first}"
                if first not in tests or first == key:
                    self.wrong.append(
                        f"{where}: no other test of that name; there are"
                        f" {', '.join(name for name in tests if name != key)}"
                    )
                elif not outcomes or not set(outcomes) <= set(tests[first].outcomes):
                    self.wrong.append(
                        f"{where}: outcomes of {first}, which are {', '.join(tests[first].outcomes)}; got"
                        f" {list(outcomes)}"
                    )
            others = ", ".join(name for name in tests if name != key)
            self.wrong.extend(
                f"test.{key}.spoils: no other test {other!r}; there are {others}"
                for other in test.spoils
                if other not in tests or other == key
            )
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
                self.wrong.append(
                    f"test.{key}: by after and spoils it comes before itself; leave one of them away"
                )

    def test(self, key: str, raw: Any, faults: Collection[str]) -> FaultTest:
        where = f"test.{key}"
        row = self.table(where, raw, _TEST_KEYS)
        outcomes = self.texts(f"{where}.outcomes", row.get("outcomes", ()))
        if len(outcomes) < 2 or len(set(outcomes)) < len(outcomes):
            self.wrong.append(f"{where}.outcomes: needs two or more different outcomes; got {list(outcomes)}")
        sound = row.get("sound")
        if sound not in outcomes:
            self.wrong.append(
                f"{where}.sound: names the outcome of a sound vehicle, one of {', '.join(outcomes)}; got"
                f" {sound!r}"
            )
        question = self.text(f"{where}.question", row.get("question", ""))
        if not question:
            self.wrong.append(f"{where}.question: missing; say what the test answers")
        wants = self.text(f"{where}.wants", row.get("wants", ""))
        if (
            self.system
            and wants.startswith(f"{self.system}.")
            and wants not in self.measurands
            and wants not in self.observations
        ):
            self.wrong.append(f"{where}.wants: no measurand or observation {wants!r}")
        given = {}
        for fault, entry in self.table(f"{where}.given", row.get("given", {})).items():
            if fault not in faults:
                self.wrong.append(f"{where}.given.{fault}: no such fault; there are {', '.join(faults)}")
            given[fault] = self.row(
                f"{where}.given.{fault}", entry, outcomes, coded="codes" in row, paired="+" in fault
            )
        return FaultTest(
            key=key,
            question=question,
            minutes=self.above_0(f"{where}.minutes", row.get("minutes"), "hands-on minutes,"),
            outcomes=outcomes,
            sound=str(sound),
            otherwise=self.chances(f"{where}.otherwise", row.get("otherwise"), outcomes),
            given=given,
            wants=wants,
            waits=(
                self.above_0(f"{where}.waits", row["waits"], "minutes of waiting,") if "waits" in row else 0.0
            ),
            after={
                first: self.texts(f"{where}.after.{first}", names)
                for first, names in self.table(f"{where}.after", row.get("after", {})).items()
            },
            spoils=self.texts(f"{where}.spoils", row.get("spoils", ())),
            **self.origin(where, row, outcomes),
        )

    def row(self, where: str, raw: Any, outcomes: tuple[str, ...], *, coded: bool, paired: bool) -> Row:
        row = self.table(where, raw, _ROW_KEYS)
        direct = self.text(f"{where}.direct", row.get("direct", ""))
        if direct and direct not in outcomes:
            self.wrong.append(f"{where}.direct: one of {', '.join(outcomes)}; got {direct!r}")
        if direct and paired:
            self.wrong.append(
                f"{where}.direct: two faults together are no part; say direct in the row of one of them"
            )
        if direct and coded:
            self.wrong.append(
                f"{where}.direct: a trouble code names no part, so it never speaks directly against one;"
                " leave direct away"
            )
        return Row(
            p=self.chances(f"{where}.p", row.get("p"), outcomes),
            why=self.text(f"{where}.why", row.get("why", "")),
            direct=direct,
        )

    def chances(self, where: str, raw: Any, outcomes: tuple[str, ...]) -> tuple[float, ...]:
        """Probabilities kept away from 0 and 1, so that one odd reading never rules anything out for good."""
        numbers = isinstance(raw, list) and all(
            isinstance(p, (int, float)) and not isinstance(p, bool) and p >= 0 for p in raw
        )
        if not numbers or len(raw) != len(outcomes) or not math.isclose(sum(raw), 1.0, abs_tol=1e-6):
            self.wrong.append(f"{where}: {len(outcomes)} probabilities that sum to 1; got {raw}")
            return tuple(1 / len(outcomes) for _ in outcomes)
        clamped = [min(0.995, max(0.005, p)) for p in raw]
        return tuple(p / sum(clamped) for p in clamped)

    def origin(self, where: str, row: Mapping[str, Any], outcomes: tuple[str, ...]) -> dict[str, Any]:
        kinds = [name for name in _ORIGINS if name in row]
        if len(kinds) != 1:
            self.wrong.append(
                f"{where}: exactly one of bins, check, seen and codes says where the outcome comes from; got"
                f" {', '.join(kinds) or 'none'}"
            )
            return {}
        if kinds == ["bins"]:
            return self.bins(f"{where}.bins", row["bins"], outcomes)
        if kinds == ["seen"]:
            return self.sight(f"{where}.seen", row["seen"], outcomes)
        if kinds == ["codes"]:
            return {"codes": _codes(where, row["codes"], outcomes, self.wrong)}
        if len(outcomes) != 2:
            self.wrong.append(
                f"{where}.outcomes: a check has two outcomes, pass and fail in this order; got"
                f" {len(outcomes)}"
            )
        code = self.text(f"{where}.check", row["check"])
        if not code or (self.system and not code.startswith(f"{self.system}.")):
            self.wrong.append(
                f"{where}.check: the code of a finding, which begins with {self.system or 'its system'}.; got"
                f" {code!r}"
            )
        return {"code": code}

    def bins(self, where: str, raw: Any, outcomes: tuple[str, ...]) -> dict[str, Any]:
        row = self.table(where, raw, ("measurand", "place", "at"))
        of = self.text(f"{where}.measurand", row.get("measurand", ""))
        place = self.text(f"{where}.place", row.get("place", ""))
        texts = self.texts(f"{where}.at", row.get("at", ()))
        if of not in self.measurands:
            self.wrong.append(
                f"{where}.measurand: no measurand {of!r}; there are {', '.join(sorted(self.measurands))}"
            )
            return {}
        places = self.measurands[of]
        if place not in (places or ("",)):
            self.wrong.append(
                f"{where}.place: {of} is read at"
                f" {', '.join(places) or 'one place only, so leave place away'}; got {place!r}"
            )
        at = []
        for index, text in enumerate(texts):
            try:
                at.append(self.to_coherent(of, text))
            except ValueError as error:
                self.wrong.append(f"{where}.at[{index}]: {error}")
        rising = all(low < high for low, high in pairwise(at))
        if len(texts) != len(outcomes) - 1 or not rising:
            self.wrong.append(
                f"{where}.at: {len(outcomes)} outcomes need {len(outcomes) - 1} rising limits; got"
                f" {list(texts)}"
            )
        return {"measurand": of, "place": place, "at": tuple(at)}

    def sight(self, where: str, raw: Any, outcomes: tuple[str, ...]) -> dict[str, Any]:
        row = self.table(where, raw, ("of", "answers"))
        of = self.text(f"{where}.of", row.get("of", ""))
        answers = self.texts(f"{where}.answers", row.get("answers", ()))
        if len(answers) != len(outcomes) or len(set(answers)) < len(answers):
            self.wrong.append(
                f"{where}.answers: one answer for each of the {len(outcomes)} outcomes; got {list(answers)}"
            )
        if of not in self.observations:
            self.wrong.append(
                f"{where}.of: no observation {of!r}; there are {', '.join(sorted(self.observations))}"
            )
        else:
            known = self.observations[of]
            self.wrong.extend(
                f"{where}.answers: {answer!r} is not an answer of {of}; it has {', '.join(known)}"
                for answer in answers
                if answer not in known
            )
        return {"seen": of, "answers": answers}


def _codes(where: str, raw: Any, outcomes: tuple[str, ...], wrong: list[str]) -> tuple[str, ...]:
    if len(outcomes) != 2:
        wrong.append(
            f"{where}.outcomes: trouble codes have two outcomes, set and not set in this order; got"
            f" {len(outcomes)}"
        )
    if not isinstance(raw, list) or not raw:
        wrong.append(f"{where}.codes: a list of trouble codes; got {raw!r}")
        return ()
    found = []
    for place, text in enumerate(raw):
        try:
            found.append(read_code(str(text), raw=False))
        except CodeError as error:
            wrong.append(f"{where}.codes[{place}]: {error}")
    return tuple(found)
