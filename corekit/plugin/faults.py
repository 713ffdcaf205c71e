"""Fault tables: what can be wrong, how often, and what each test shows then. Read from a system's faults.toml."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from itertools import pairwise
from typing import Any

import attrs

from ..model.trouble import CodeProblem, read_code

NONE, OUTSIDE = "none", "outside"


@attrs.frozen(kw_only=True)
class Fault:
    """Something that can be wrong. `weight` says how often among such visits (only ratios count), `why` on what ground."""

    key: str
    name: str
    weight: float
    why: str = ""
    calls_for: str = ""


@attrs.frozen(kw_only=True)
class Row:
    """What a test shows under one fault: a probability for each outcome.

    `direct` names the outcome that speaks directly against this fault's part; only then may a part be called for.
    """

    p: tuple[float, ...]
    why: str = ""
    direct: str = ""


@attrs.frozen(kw_only=True)
class FaultTest:
    """A test of the table.

    Its outcome comes from one of four places: the bins of a measurand's reading (`measurand`, `place`, `at` in coherent
    units, one fewer than outcomes), the verdict of a finding (`code`: outcomes are in the order pass, fail), an
    observation's answer (`seen`, `answers` in the order of outcomes), or trouble codes (`codes`: outcomes are in the order any of
    them set, none set; without an outcome where no list was read).

    Attributes:
        question: What it answers, in the mechanic's words.
        minutes: Hands-on.
        sound: The outcome a vehicle without these faults shows.
        otherwise: The probabilities under every fault without a row of its own.
        given: Fault key → row.
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

    def likelihood(self, fault: str) -> tuple[float, ...]:
        row = self.given.get(fault)
        return row.p if row else self.otherwise


@attrs.frozen(kw_only=True)
class FaultTable:
    faults: Mapping[str, Fault]
    tests: Mapping[str, FaultTest]

    @property
    def codes(self) -> frozenset[str]:
        """Every trouble code that some test of the table asks for."""
        return frozenset(code for test in self.tests.values() for code in test.codes)


class TableProblem(ValueError):
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
        system: Key of the system whose table it is; a check or a wanted reading of its own must exist, or begin with it.

    Errors:
        TableProblem: lists every fault of the table at once, each with its key path.
    """
    reader = _Reader(to_coherent, measurands, observations, operations, system)
    faults = {key: reader.fault(key, raw) for key, raw in reader.table("faults", data.get("faults", {})).items()}
    for always, meaning in ((NONE, "a vehicle with none of these faults"), (OUTSIDE, "something outside this system")):
        if always not in faults:
            reader.wrong.append(f"faults.{always}: missing; every table needs {meaning}, with its weight")
    tests = {key: reader.test(key, raw, faults) for key, raw in reader.table("test", data.get("test", {})).items()}
    reader.wrong.extend(f"{key}: unknown; a fault table has [faults] and [test.…]" for key in data if key not in ("faults", "test"))
    if reader.wrong:
        raise TableProblem(where, reader.wrong)
    return FaultTable(faults=faults, tests=tests)


_FAULT_KEYS = ("weight", "name", "why", "calls_for")
_TEST_KEYS = ("question", "minutes", "outcomes", "sound", "otherwise", "given", "bins", "check", "seen", "codes", "wants")
_ROW_KEYS = ("p", "why", "direct")
_ORIGINS = ("bins", "check", "seen", "codes")


@attrs.frozen
class _Reader:
    """Reads on after every fault, with something harmless in its place, so that all of them are told at once."""

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
        row = self.table(where, raw, _FAULT_KEYS)
        calls_for = self.text(f"{where}.calls_for", row.get("calls_for", ""))
        if calls_for and calls_for not in self.operations:
            self.wrong.append(f"{where}.calls_for: no operation {calls_for!r}; there are {', '.join(sorted(self.operations))}")
        return Fault(
            key=key,
            name=self.text(f"{where}.name", row.get("name", key)),
            weight=self.above_0(f"{where}.weight", row.get("weight"), "a number"),
            why=self.text(f"{where}.why", row.get("why", "")),
            calls_for=calls_for,
        )

    def test(self, key: str, raw: Any, faults: Mapping[str, Fault]) -> FaultTest:
        where = f"test.{key}"
        row = self.table(where, raw, _TEST_KEYS)
        outcomes = self.texts(f"{where}.outcomes", row.get("outcomes", ()))
        if len(outcomes) < 2 or len(set(outcomes)) < len(outcomes):
            self.wrong.append(f"{where}.outcomes: needs two or more different outcomes; got {list(outcomes)}")
        sound = row.get("sound")
        if sound not in outcomes:
            self.wrong.append(f"{where}.sound: names the outcome of a sound vehicle, one of {', '.join(outcomes)}; got {sound!r}")
        question = self.text(f"{where}.question", row.get("question", ""))
        if not question:
            self.wrong.append(f"{where}.question: missing; say what the test answers")
        wants = self.text(f"{where}.wants", row.get("wants", ""))
        if self.system and wants.startswith(f"{self.system}.") and wants not in self.measurands and wants not in self.observations:
            self.wrong.append(f"{where}.wants: no measurand or observation {wants!r}")
        given = {}
        for fault, entry in self.table(f"{where}.given", row.get("given", {})).items():
            if fault not in faults:
                self.wrong.append(f"{where}.given.{fault}: no such fault; there are {', '.join(faults)}")
            given[fault] = self.row(f"{where}.given.{fault}", entry, outcomes, coded="codes" in row)
        return FaultTest(
            key=key,
            question=question,
            minutes=self.above_0(f"{where}.minutes", row.get("minutes"), "hands-on minutes,"),
            outcomes=outcomes,
            sound=str(sound),
            otherwise=self.chances(f"{where}.otherwise", row.get("otherwise"), outcomes),
            given=given,
            wants=wants,
            **self.origin(where, row, outcomes),
        )

    def row(self, where: str, raw: Any, outcomes: tuple[str, ...], coded: bool) -> Row:
        row = self.table(where, raw, _ROW_KEYS)
        direct = self.text(f"{where}.direct", row.get("direct", ""))
        if direct and direct not in outcomes:
            self.wrong.append(f"{where}.direct: one of {', '.join(outcomes)}; got {direct!r}")
        if direct and coded:
            self.wrong.append(f"{where}.direct: a trouble code names no part, so it never speaks directly against one; leave direct away")
        return Row(p=self.chances(f"{where}.p", row.get("p"), outcomes), why=self.text(f"{where}.why", row.get("why", "")), direct=direct)

    def chances(self, where: str, raw: Any, outcomes: tuple[str, ...]) -> tuple[float, ...]:
        """Probabilities kept away from 0 and 1, so that one odd reading never rules anything out for good."""
        numbers = isinstance(raw, list) and all(isinstance(p, (int, float)) and not isinstance(p, bool) and p >= 0 for p in raw)
        if not numbers or len(raw) != len(outcomes) or not math.isclose(sum(raw), 1.0, abs_tol=1e-6):
            self.wrong.append(f"{where}: {len(outcomes)} probabilities that sum to 1; got {raw}")
            return tuple(1 / len(outcomes) for _ in outcomes)
        clamped = [min(0.995, max(0.005, p)) for p in raw]
        return tuple(p / sum(clamped) for p in clamped)

    def origin(self, where: str, row: Mapping[str, Any], outcomes: tuple[str, ...]) -> dict[str, Any]:
        kinds = [name for name in _ORIGINS if name in row]
        if len(kinds) != 1:
            self.wrong.append(f"{where}: exactly one of bins, check, seen and codes says where the outcome comes from; got {', '.join(kinds) or 'none'}")
            return {}
        if kinds == ["bins"]:
            return self.bins(f"{where}.bins", row["bins"], outcomes)
        if kinds == ["seen"]:
            return self.sight(f"{where}.seen", row["seen"], outcomes)
        if kinds == ["codes"]:
            return {"codes": _codes(where, row["codes"], outcomes, self.wrong)}
        if len(outcomes) != 2:
            self.wrong.append(f"{where}.outcomes: a check has two outcomes, pass and fail in this order; got {len(outcomes)}")
        code = self.text(f"{where}.check", row["check"])
        if not code or (self.system and not code.startswith(f"{self.system}.")):
            self.wrong.append(f"{where}.check: the code of a finding, which begins with {self.system or 'its system'}.; got {code!r}")
        return {"code": code}

    def bins(self, where: str, raw: Any, outcomes: tuple[str, ...]) -> dict[str, Any]:
        row = self.table(where, raw, ("measurand", "place", "at"))
        of = self.text(f"{where}.measurand", row.get("measurand", ""))
        place = self.text(f"{where}.place", row.get("place", ""))
        texts = self.texts(f"{where}.at", row.get("at", ()))
        if of not in self.measurands:
            self.wrong.append(f"{where}.measurand: no measurand {of!r}; there are {', '.join(sorted(self.measurands))}")
            return {}
        places = self.measurands[of]
        if place not in (places or ("",)):
            self.wrong.append(f"{where}.place: {of} is read at {', '.join(places) or 'one place only, so leave place away'}; got {place!r}")
        at = []
        for index, text in enumerate(texts):
            try:
                at.append(self.to_coherent(of, text))
            except ValueError as problem:
                self.wrong.append(f"{where}.at[{index}]: {problem}")
        rising = all(low < high for low, high in pairwise(at))
        if len(texts) != len(outcomes) - 1 or not rising:
            self.wrong.append(f"{where}.at: {len(outcomes)} outcomes need {len(outcomes) - 1} rising limits; got {list(texts)}")
        return {"measurand": of, "place": place, "at": tuple(at)}

    def sight(self, where: str, raw: Any, outcomes: tuple[str, ...]) -> dict[str, Any]:
        row = self.table(where, raw, ("of", "answers"))
        of = self.text(f"{where}.of", row.get("of", ""))
        answers = self.texts(f"{where}.answers", row.get("answers", ()))
        if len(answers) != len(outcomes) or len(set(answers)) < len(answers):
            self.wrong.append(f"{where}.answers: one answer for each of the {len(outcomes)} outcomes; got {list(answers)}")
        if of not in self.observations:
            self.wrong.append(f"{where}.of: no observation {of!r}; there are {', '.join(sorted(self.observations))}")
        else:
            known = self.observations[of]
            self.wrong.extend(f"{where}.answers: {answer!r} is not an answer of {of}; it has {', '.join(known)}" for answer in answers if answer not in known)
        return {"seen": of, "answers": answers}


def _codes(where: str, raw: Any, outcomes: tuple[str, ...], wrong: list[str]) -> tuple[str, ...]:
    if len(outcomes) != 2:
        wrong.append(f"{where}.outcomes: trouble codes have two outcomes, set and not set in this order; got {len(outcomes)}")
    if not isinstance(raw, list) or not raw:
        wrong.append(f"{where}.codes: a list of trouble codes; got {raw!r}")
        return ()
    found = []
    for place, text in enumerate(raw):
        try:
            found.append(read_code(str(text), raw=False))
        except CodeProblem as problem:
            wrong.append(f"{where}.codes[{place}]: {problem}")
    return tuple(found)
