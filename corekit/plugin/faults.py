"""Fault tables: what can be wrong, how often, and what each test shows then. Read from a system's faults.toml."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
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
    to_coherent: Any,
    *,
    measurands: Collection[str],
    observations: Mapping[str, Collection[str]],
    operations: Collection[str],
) -> FaultTable:
    """A fault table from the data of a faults.toml.

    Args:
        to_coherent: (measurand key, text such as "12.4 V") → number in the coherent unit.

    Errors:
        TableProblem: lists every fault of the table at once, each with its key path.
    """
    wrong: list[str] = []
    faults = {key: _fault(key, raw, operations, wrong) for key, raw in data.get("faults", {}).items()}
    for always, meaning in ((NONE, "a vehicle with none of these faults"), (OUTSIDE, "something outside this system")):
        if always not in faults:
            wrong.append(f"faults.{always}: missing; every table needs {meaning}, with its weight")
    tests = {}
    for key, raw in data.get("test", {}).items():
        test = _test(key, raw, faults, to_coherent, wrong)
        if test is not None:
            _check_origin(test, measurands, observations, wrong)
            tests[key] = test
    wrong += [f"{key}: unknown; a fault table has [faults] and [test.…]" for key in data if key not in ("faults", "test")]
    if wrong:
        raise TableProblem(where, wrong)
    return FaultTable(faults=faults, tests=tests)


def _fault(key: str, raw: Mapping[str, Any], operations: Collection[str], wrong: list[str]) -> Fault:
    weight = raw.get("weight", 0)
    if not isinstance(weight, (int, float)) or not weight > 0:
        wrong.append(f"faults.{key}.weight: must be a number above 0; got {weight!r}")
        weight = 1.0
    calls_for = raw.get("calls_for", "")
    if calls_for and calls_for not in operations:
        wrong.append(f"faults.{key}.calls_for: no operation {calls_for!r}; there are {', '.join(sorted(operations))}")
    surplus = set(raw) - {"weight", "name", "why", "calls_for"}
    wrong.extend(f"faults.{key}.{name}: unknown key" for name in sorted(surplus))
    return Fault(key=key, name=raw.get("name", key), weight=float(weight), why=raw.get("why", ""), calls_for=calls_for)


_TEST_KEYS = {"question", "minutes", "outcomes", "sound", "otherwise", "given", "bins", "check", "seen", "codes", "wants"}


def _test(key: str, raw: Mapping[str, Any], faults: Mapping[str, Fault], to_coherent: Any, wrong: list[str]) -> FaultTest | None:
    where = f"test.{key}"
    before = len(wrong)
    wrong.extend(f"{where}.{name}: unknown key" for name in sorted(set(raw) - _TEST_KEYS))
    outcomes = tuple(raw.get("outcomes", ()))
    if len(outcomes) < 2 or len(set(outcomes)) < len(outcomes):
        wrong.append(f"{where}.outcomes: needs two or more different outcomes; got {list(outcomes)}")
        return None
    if raw.get("sound") not in outcomes:
        wrong.append(f"{where}.sound: names the outcome of a sound vehicle, one of {', '.join(outcomes)}; got {raw.get('sound')!r}")
    if not raw.get("question"):
        wrong.append(f"{where}.question: missing; say what the test answers")
    if not isinstance(raw.get("minutes"), (int, float)) or raw["minutes"] <= 0:
        wrong.append(f"{where}.minutes: hands-on minutes, above 0; got {raw.get('minutes')!r}")
    otherwise = _chances(f"{where}.otherwise", raw.get("otherwise"), outcomes, wrong)
    given = {}
    for fault, row in raw.get("given", {}).items():
        if fault not in faults:
            wrong.append(f"{where}.given.{fault}: no such fault; there are {', '.join(faults)}")
        direct = row.get("direct", "")
        if direct and direct not in outcomes:
            wrong.append(f"{where}.given.{fault}.direct: one of {', '.join(outcomes)}; got {direct!r}")
        if direct and "codes" in raw:
            wrong.append(f"{where}.given.{fault}.direct: a trouble code names no part, so it never speaks directly against one; leave direct away")
        given[fault] = Row(p=_chances(f"{where}.given.{fault}.p", row.get("p"), outcomes, wrong), why=row.get("why", ""), direct=direct)
    origin = _origin(where, raw, outcomes, to_coherent, wrong)
    if len(wrong) > before:
        return None
    return FaultTest(
        key=key, question=raw["question"], minutes=float(raw["minutes"]), outcomes=outcomes, sound=raw["sound"], otherwise=otherwise, given=given,
        wants=raw.get("wants", ""), **origin,
    )  # fmt: skip


def _origin(where: str, raw: Mapping[str, Any], outcomes: tuple[str, ...], to_coherent: Any, wrong: list[str]) -> dict[str, Any]:
    kinds = [name for name in ("bins", "check", "seen", "codes") if name in raw]
    if len(kinds) != 1:
        wrong.append(f"{where}: exactly one of bins, check, seen and codes says where the outcome comes from; got {', '.join(kinds) or 'none'}")
        return {}
    if kinds == ["bins"]:
        bins = raw["bins"]
        at = []
        for text in bins.get("at", ()):
            try:
                at.append(to_coherent(bins.get("measurand", ""), text))
            except ValueError as problem:
                wrong.append(f"{where}.bins.at: {problem}")
        if len(at) != len(outcomes) - 1 or at != sorted(at):
            wrong.append(f"{where}.bins.at: {len(outcomes)} outcomes need {len(outcomes) - 1} rising limits; got {bins.get('at')}")
        return {"measurand": bins.get("measurand", ""), "place": bins.get("place", ""), "at": tuple(at)}
    if kinds == ["check"]:
        if len(outcomes) != 2:
            wrong.append(f"{where}.outcomes: a check has two outcomes, pass and fail in this order; got {len(outcomes)}")
        return {"code": raw["check"]}
    if kinds == ["codes"]:
        return {"codes": _codes(where, raw["codes"], outcomes, wrong)}
    answers = tuple(raw["seen"].get("answers", ()))
    if len(answers) != len(outcomes):
        wrong.append(f"{where}.seen.answers: one answer for each of the {len(outcomes)} outcomes; got {list(answers)}")
    return {"seen": raw["seen"].get("of", ""), "answers": answers}


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


def _chances(where: str, raw: Any, outcomes: tuple[str, ...], wrong: list[str]) -> tuple[float, ...]:
    """Probabilities kept away from 0 and 1, so that one odd reading never rules anything out for good."""
    fair = isinstance(raw, list) and len(raw) == len(outcomes) and all(isinstance(p, (int, float)) and p >= 0 for p in raw)
    if not fair or not math.isclose(sum(raw), 1.0, abs_tol=1e-6):
        wrong.append(f"{where}: {len(outcomes)} probabilities that sum to 1; got {raw}")
        return tuple(1 / len(outcomes) for _ in outcomes)
    clamped = [min(0.995, max(0.005, p)) for p in raw]
    return tuple(p / sum(clamped) for p in clamped)


def _check_origin(test: FaultTest, measurands: Collection[str], observations: Mapping[str, Collection[str]], wrong: list[str]) -> None:
    if test.measurand and test.measurand not in measurands:
        wrong.append(f"test.{test.key}.bins.measurand: no measurand {test.measurand!r}")
    if test.seen:
        if test.seen not in observations:
            wrong.append(f"test.{test.key}.seen.of: no observation {test.seen!r}")
        else:
            wrong.extend(
                f"test.{test.key}.seen.answers: {answer!r} is not an answer of {test.seen}" for answer in test.answers if answer not in observations[test.seen]
            )
