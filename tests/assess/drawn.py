"""Drawn fault tables, and Bayes' rule over them written out: every hypothesis, every state after every
repair, and every outcome that a test would have shown is followed by itself. Nothing of the inference
is used.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import combinations
from pathlib import Path
from typing import Any

import attrs
from hypothesis import assume
from hypothesis import strategies as st

from corekit.assess.hypotheses import Complaint, Tables, joint
from corekit.assess.inference import Act, Beliefs, Retold, Shown, start, step
from corekit.assess.outcome import Outcome
from corekit.assess.suspect import Evidence
from corekit.assess.timeline import StageOutcome
from corekit.fault import DataFileError
from corekit.plugin.fault_file import Declared, read_faults
from corekit.plugin.faults import FaultTable

SYMPTOMS: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[2] / "shared" / "symptoms.toml").read_text("utf-8")
)
SYMPTOM = "clicks"
FAULTS, TESTS = ("a", "b", "c"), ("t0", "t1", "t2")

#: From the specification: the chance that work brings in a fault of its part; of the complaint, how surely it
#: is there again on an untouched vehicle, and how seldom it comes by itself.
BROUGHT_IN, AGAIN, BY_ITSELF = 0.01, 0.96, 0.03

Raw = Mapping[str, Any]
State = frozenset[str]
Chances = dict[State, float]
Weights = Mapping[str, Sequence[float]]  # test → weight of each of its outcomes
TOLD = Complaint()


# ---- drawing


def shares(several: int) -> st.SearchStrategy[list[float]]:
    return st.lists(st.floats(0.03, 1), min_size=several, max_size=several).map(
        lambda parts: [part / math.fsum(parts) for part in parts]
    )


def plain(several: int) -> st.SearchStrategy[list[float]]:
    return st.integers(0, several - 1).map(lambda at: [float(place == at) for place in range(several)])


@st.composite
def raw_tables(draw: st.DrawFn, outcomes: tuple[int, int] = (2, 3)) -> dict[str, Any]:
    """A few faults of two parts, with two operations, and a few tests."""
    works = {"a": "s.renew", "b": draw(st.sampled_from(["s.renew", "s.mend"])), "c": "s.mend"}
    faults: dict[str, Any] = {
        fault: {"per_1000": draw(st.floats(0.5, 200)), "why": "drawn", "calls_for": work, "part": work[2:]}
        for fault, work in works.items()
    }
    pairs = draw(st.sets(st.sampled_from(list(combinations(FAULTS, 2))), max_size=2))
    faults["pairs"] = [
        {
            "of": list(of),
            "per_1000": min(900, 3 * 1000 * math.prod(odds(faults[one]) for one in of)),
            "why": "x",
        }
        for of in sorted(pairs)
    ]
    raw: dict[str, Any] = {"faults": faults, "test": {}}
    for number, test in enumerate(TESTS):
        several = draw(st.integers(*outcomes))
        names = [f"o{place}" for place in range(several)]
        rows = {
            fault: {"p": draw(shares(several)), **draw(st.sampled_from([{}, {"direct": "o0"}]))}
            for fault in draw(st.sets(st.sampled_from(FAULTS)))
        }
        rows |= {"+".join(of): {"p": draw(shares(several))} for of in pairs if draw(st.booleans())}
        raw["test"][test] = {
            "seen": {"of": f"s.{test}", "answers": names},
            "question": f"{test}?",
            "minutes": draw(st.floats(0.5, 20)),
            "outcomes": names,
            "sound": draw(st.sampled_from(names)),
            "none": draw(shares(several)),
            "otherwise": draw(shares(several)),
            "given": rows,
        }
        if number == 0 or draw(st.booleans()):
            raw["test"][test]["outside"] = draw(shares(several))
    told = {fault: draw(st.floats(0.0005, 0.9)) for fault in draw(st.sets(st.sampled_from(FAULTS)))}
    raw["symptoms"] = {SYMPTOM: told}
    raw["when"] = {"wet": {"a": draw(st.floats(0.5, 4))}}
    return raw


def table_of(raw: Raw, system: str = "s") -> FaultTable:
    declared = Declared(
        to_coherent=lambda of, text: 0.0,
        observations={f"{system}.{test}": ["o0", "o1", "o2"] for test in raw["test"]},
        operations=[f"{system}.renew", f"{system}.mend"],
        parts=[f"{system}.renew", f"{system}.mend"],
        symptoms=SYMPTOMS["symptoms"],
    )
    try:
        return read_faults(raw, "drawn", declared, system)
    except DataFileError as error:
        if all("no test tells" in str(fault) for fault in error.faults):
            raise UnusableError from None
        raise AssertionError(error) from error


class UnusableError(Exception):
    """A drawn table that says the same of two faults."""


@st.composite
def usable(draw: st.DrawFn, outcomes: tuple[int, int] = (2, 3)) -> tuple[dict[str, Any], FaultTable]:
    raw = draw(raw_tables(outcomes))
    try:
        return raw, table_of(raw)
    except UnusableError:
        assume(False)
        raise


COMPLAINTS = st.sampled_from([None, Complaint()]) | st.builds(
    Complaint,
    symptoms=st.just((SYMPTOM,)),
    circumstances=st.sampled_from([(), ("wet",)]),
    shows=st.sampled_from([1.0, 0.5, 0.3, 0.1]),
)


def tables_of(table: FaultTable, complaint: Complaint | None = None, system: str = "s") -> Tables:
    """With all faults let in."""
    return joint({system: table}, complaint, {}, {system}, [f"{system}.{fault}" for fault in table.faults])


def believed(tables: Tables, events: Iterable[Act | Retold | Shown]) -> Beliefs:
    beliefs = start(tables)
    for event in events:
        beliefs = step(beliefs, event)
    return beliefs


@st.composite
def events(draw: st.DrawFn, table: FaultTable, most: int = 5) -> list[Act | Retold | Shown]:
    """Tests, made again as well, at most two repairs, and the complaint looked at again."""
    shows = draw(st.sampled_from([1.0, 0.5, 0.1]))
    found: list[Act | Retold | Shown] = []
    for _ in range(draw(st.integers(0, most))):
        kind = draw(st.sampled_from(["test", "test", "test", "act", "retold"]))
        if kind == "test":
            test = table.tests[draw(st.sampled_from(TESTS))]
            several = len(test.outcomes)
            weights = tuple(draw(shares(several) | plain(several)))
            found.append(Shown(system="s", test=test, weights=weights, shows=shows))
        elif kind == "retold":
            found.append(Retold(draw(st.booleans())))
        elif sum(isinstance(one, Act) for one in found) < 2:
            part = draw(st.sampled_from(["s.renew", "s.mend"]))
            of = frozenset(f"s.{key}" for key, fault in table.faults.items() if fault.part == part)
            undone = draw(st.sampled_from([None, None, True, False]))
            fails = draw(st.sampled_from([0.1, 0.3]))
            found.append(
                Act(removes=of, fails=fails, brings=frozenset() if undone is not None else of, undone=undone)
            )
    return found


# ---- all that the reasoning goes by


def evidence(
    table: FaultTable, made: Weights, system: str = "s", complaint: Complaint | None = TOLD
) -> Evidence:
    steps = [Shown(system=system, test=table.tests[test], weights=tuple(w)) for test, w in made.items()]
    latest = {
        one.key: StageOutcome(
            system=system, stage=0, outcome=Outcome(test=one.test, weights=one.weights, evidence=())
        )
        for one in steps
    }
    return Evidence(
        beliefs=believed(tables_of(table, complaint, system), steps),
        events=(),
        latest=latest,
        current=frozenset(latest),
        made=frozenset(latest),
        barred=frozenset(),
        fitted={},
    )


# ---- Bayes' rule


def odds(entry: Mapping[str, Any]) -> float:
    return entry["per_1000"] / (1000 - entry["per_1000"])


def raw_row(raw: Raw, test: str, fault: str) -> list[float]:
    entry = raw["test"][test]
    if fault == "outside":
        return list(entry.get("outside", entry["none"]))
    return list(entry["given"][fault]["p"] if fault in entry.get("given", {}) else entry["otherwise"])


def row_under(raw: Raw, test: str, state: State) -> list[float]:
    """As the rule has it: of two faults the sound outcome is none × Π min(1, p/none), the rest in
    proportion to the larger p; an own row of the pair overrides.
    """
    entry = raw["test"][test]
    if not state:
        return list(entry["none"])
    if len(state) == 1:
        return raw_row(raw, test, *state)
    for key, row in entry.get("given", {}).items():
        if "+" in key and set(key.split("+")) == state:
            return list(row["p"])
    one, other = (raw_row(raw, test, fault) for fault in state)
    at = entry["outcomes"].index(entry["sound"])
    usual = entry["none"][at]
    sound = usual * min(1.0, one[at] / usual) * min(1.0, other[at] / usual)
    larger = [max(both) for place, both in enumerate(zip(one, other, strict=True)) if place != at]
    rest = [(1 - sound) * p / math.fsum(larger) for p in larger]
    return [*rest[:at], sound, *rest[at:]]


def told_under(raw: Raw, state: State, complaint: Complaint | None) -> float:
    if complaint is None:
        return 1.0
    if not complaint.symptoms:  # in words only: estimates of the specification
        chances, none = [0.30 for _ in state], 0.02
    else:
        entry = SYMPTOMS["symptoms"][SYMPTOM]
        none = entry["none"]
        chances = [
            entry["outside"] if one == "outside" else raw["symptoms"][SYMPTOM].get(one, none) for one in state
        ]
    return max(none, 1 - math.prod(1 - chance for chance in chances)) if state else none


def prevalences(raw: Raw, complaint: Complaint | None) -> Chances:
    outside = SYMPTOMS["outside"]
    when = raw["when"]["wet"] if complaint and "wet" in complaint.circumstances else {}
    each = {
        fault: odds(raw["faults"][fault]) * when.get(fault, 1.0) for fault in FAULTS if fault in raw["faults"]
    }
    each["outside"] = odds(outside)
    found: Chances = {frozenset(): 1.0} | {frozenset({fault}): one for fault, one in each.items()}
    for one, other in combinations(each, 2):
        found[frozenset({one, other})] = each[one] * each[other]
    for pair in raw["faults"].get("pairs", []):
        state = frozenset(pair["of"])
        named = pair["per_1000"] / 1000 * math.prod(when.get(fault, 1.0) for fault in state)
        found[state] = max(found[state], named)
    return whole(found)


def whole(chances: Chances) -> Chances:
    total = math.fsum(chances.values())
    return {state: chance / total for state, chance in chances.items()}


@attrs.frozen
class Path:
    """One way in which it may have come: the fault at first and now, what each test would show (with the
    fault seen, and with it hidden) and whether the complaint is there, where that was looked at since the
    last change.
    """

    first: State
    now: State
    looks: tuple[tuple[str, tuple[int, int]], ...] = ()
    there: bool | None = True


def enumerated(
    raw: Raw, complaint: Complaint | None, happened: Iterable[Act | Retold | Shown]
) -> tuple[Chances, Chances]:
    """What may have been at first, and what may be now."""
    paths = followed(raw, complaint, happened)
    return _summed(paths, lambda path: path.first), _summed(paths, lambda path: path.now)


def followed(
    raw: Raw, complaint: Complaint | None, happened: Iterable[Act | Retold | Shown]
) -> dict[Path, float]:
    """Every way in which it may have come, with how likely that is and all that was read."""
    paths = {
        Path(state, state): chance * told_under(raw, state, complaint)
        for state, chance in prevalences(raw, complaint).items()
    }
    for event in happened:
        further: dict[Path, float] = {}
        for path, chance in paths.items():
            for reached, share in _ways_on(raw, complaint, path, event):
                further[reached] = further.get(reached, 0.0) + chance * share
        paths = further
    return paths


def _summed(paths: Mapping[Path, float], of: Callable[[Path], State]) -> Chances:
    found: Chances = {}
    for path, chance in paths.items():
        found[of(path)] = found.get(of(path), 0.0) + chance
    return whole(found)


def _ways_on(
    raw: Raw, complaint: Complaint | None, path: Path, event: Act | Retold | Shown
) -> Iterator[tuple[Path, float]]:
    shows = complaint.shows if complaint else 1.0
    if isinstance(event, Retold):
        for there, share in _complaint_next(raw, complaint, path):
            seen = shows if there else 0.0
            yield attrs.evolve(path, there=there), share * (seen if event.still else 1 - seen)
    elif isinstance(event, Shown):
        looks = dict(path.looks)
        for (seen, hidden), share in _look_next(raw, path, event):
            fits = event.shows * event.weights[seen] + (1 - event.shows) * event.weights[hidden]
            after = tuple(sorted({**looks, event.test.key: (seen, hidden)}.items()))
            yield attrs.evolve(path, looks=after), share * fits
    elif event.undone is not None:
        for state, share in _after(path.now, event):
            if state == path.now:
                still = shows * sum(
                    chance for there, chance in _complaint_next(raw, complaint, path) if there
                )
            else:
                still = shows * _left(raw, complaint, state, path.first)
            yield path, share * (still if event.undone else 1 - still)
    else:
        for state, share in _after(path.now, event):
            yield (path if state == path.now else Path(path.first, state, (), None)), share


def _after(state: State, act: Act) -> Iterator[tuple[State, float]]:
    own = frozenset(fault.removeprefix("s.") for fault in act.removes)
    brings = frozenset(fault.removeprefix("s.") for fault in act.brings)
    ends = [(state - own, 1 - act.fails), (state, act.fails)] if state & own else [(state, 1.0)]
    for left, share in ends:
        new = sorted(brings - state) if len(left) < 2 else []
        yield left, share * (1 - BROUGHT_IN if new else 1)
        for fault in new:
            yield left | {fault}, share * BROUGHT_IN / len(new)


def _left(raw: Raw, complaint: Complaint | None, state: State, first: State) -> float:
    left = told_under(raw, state, complaint) / told_under(raw, first, complaint) if state else 0.0
    return min(AGAIN, max(BY_ITSELF, left))


def _complaint_next(raw: Raw, complaint: Complaint | None, path: Path) -> list[tuple[bool, float]]:
    if path.there is None:
        chance = _left(raw, complaint, path.now, path.first)
    else:
        chance = AGAIN if path.there else BY_ITSELF
    return [(True, chance), (False, 1 - chance)]


def _look_next(raw: Raw, path: Path, event: Shown) -> Iterator[tuple[tuple[int, int], float]]:
    """Both outcomes at the first look, alike as far as the two rows agree; then both stay, or with the chance
    of a repeat that differs both are drawn anew.
    """
    key, places = event.test.key, range(len(event.test.outcomes))
    known = dict(path.looks).get(key)
    if known is not None:
        slip = (1 - 0.96) / (len(places) - 1)
        yield known, 0.96 - slip
        for place in places:
            yield (place, place), slip
        return
    seen, hidden = row_under(raw, key, path.now), row_under(raw, key, frozenset())
    if event.shows == 1:
        hidden = seen
    common = [min(pair) for pair in zip(seen, hidden, strict=True)]
    rest = 1 - math.fsum(common)
    for i in places:
        yield (i, i), common[i]
        for j in places:
            if rest > 1e-12:
                yield (i, j), (seen[i] - common[i]) * (hidden[j] - common[j]) / rest


def without_mark(chances: Mapping[State, float], system: str = "s") -> Chances:
    return {
        frozenset(fault.removeprefix(f"{system}.") for fault in state): chance
        for state, chance in chances.items()
    }


def there(chances: Mapping[State, float], faults: Sequence[str]) -> float:
    return math.fsum(chance for state, chance in chances.items() if state & set(faults))
