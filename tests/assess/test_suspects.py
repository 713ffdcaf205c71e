"""Inference over a fault table. Judge: Bayes' rule written out over the raw numbers."""

from __future__ import annotations

import itertools
import math
import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any

import pytest
from corekit.assess.posterior import lowest_share, perturbations
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit.assess import suspect
from corekit.assess.suspect import (
    CALL_AT,
    DRAWS,
    WRONG_BY,
    Outcome,
    call_for_part,
    next_tests,
    posterior,
    suspects,
)
from corekit.fault import DataFileError
from corekit.plugin.fault_file import read_faults
from corekit.plugin.faults import FaultTable

from .brakes import DATA, brakes
from .story import Story

RAW: dict[str, Any] = tomllib.loads((DATA / "faults.toml").read_text())
TABLE = brakes.fault_table(RAW, "faults.toml")

Shown = Mapping[str, Sequence[float]]  # test → weight of each of its outcomes


def raw_row(raw: Mapping[str, Any], test: str, fault: str) -> list[float]:
    row = raw["test"][test].get("given", {}).get(fault)
    return list(row["p"] if row else raw["test"][test]["otherwise"])


def raw_pairs(raw: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    return {"+".join(pair["of"]): pair for pair in raw["faults"].get("pairs", [])}


def raw_faults(raw: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    return {fault: entry for fault, entry in raw["faults"].items() if fault != "pairs"}


def pair_row(raw: Mapping[str, Any], test: str, pair: str) -> list[float]:
    """As the rule has it: the sound outcome is otherwise × Π min(1, p/otherwise), the rest in proportion to
    the larger p; an own row overrides.
    """
    entry = raw["test"][test]
    if pair in entry.get("given", {}):
        return list(entry["given"][pair]["p"])
    one, other = (raw_row(raw, test, fault) for fault in pair.split("+"))
    at = entry["outcomes"].index(entry["sound"])
    usual = entry["otherwise"][at]
    sound = usual * min(1.0, one[at] / usual) * min(1.0, other[at] / usual)
    larger = [max(pair) for place, pair in enumerate(zip(one, other, strict=True)) if place != at]
    rest = [(1 - sound) * p / math.fsum(larger) for p in larger]
    return [*rest[:at], sound, *rest[at:]]


def bayes(raw: Mapping[str, Any], shown: Shown) -> dict[str, float]:
    """Prior times likelihood, summed over what may have been shown, over its sum: each fault alone and each
    pair. Nothing of ours is used.
    """
    parts = {}
    for key, entry in {**raw_faults(raw), **raw_pairs(raw)}.items():
        parts[key] = float(entry["weight"])
        for test, weights in shown.items():
            row = pair_row(raw, test, key) if "+" in key else raw_row(raw, test, key)
            parts[key] *= sum(w * p for w, p in zip(weights, row, strict=True))
    return {key: part / math.fsum(parts.values()) for key, part in parts.items()}


def there(chances: Mapping[str, float], *faults: str) -> float:
    """Probability that one of these faults is there, alone or in a pair."""
    return math.fsum(chance for key, chance in chances.items() if set(key.split("+")) & set(faults))


def outcome(table: FaultTable, test: str, weights: Sequence[float]) -> Outcome:
    return Outcome(test=table.tests[test], weights=tuple(weights), evidence=())


def made(table: FaultTable, shown: Shown) -> list[Outcome]:
    return [outcome(table, test, weights) for test, weights in shown.items()]


def shares(several: int) -> st.SearchStrategy[list[float]]:
    return st.lists(st.floats(0.03, 1), min_size=several, max_size=several).map(
        lambda parts: [part / math.fsum(parts) for part in parts]
    )


def plain(several: int) -> st.SearchStrategy[list[float]]:
    return st.integers(0, several - 1).map(lambda at: [float(place == at) for place in range(several)])


@st.composite
def tables(draw: st.DrawFn) -> dict[str, Any]:
    """A raw fault table: a few faults, of which some call for the same part, and a few tests."""
    faults = ["none", "outside", "a", "b", "c"]
    calls = {"a": "part", "b": draw(st.sampled_from(["part", "work"])), "c": "work"}
    raw: dict[str, Any] = {"faults": {}, "test": {}}
    for fault in faults:
        raw["faults"][fault] = {"weight": draw(st.floats(0.1, 100))} | (
            {"calls_for": calls[fault]} if fault in calls else {}
        )
    pairs = draw(st.sets(st.sampled_from([("a", "b"), ("c", "a"), ("b", "c"), ("outside", "a")])))
    raw["faults"]["pairs"] = [{"of": list(of), "weight": draw(st.floats(0.1, 100))} for of in sorted(pairs)]
    for test in ("t0", "t1", "t2"):
        several = draw(st.integers(2, 3))
        names = [f"o{place}" for place in range(several)]
        given_ = {
            fault: {"p": draw(shares(several)), "direct": draw(st.sampled_from(["", "o0"]))}
            for fault in draw(st.sets(st.sampled_from(faults)))
        }
        given_ |= {"+".join(of): {"p": draw(shares(several))} for of in pairs if draw(st.integers(0, 3)) == 0}
        raw["test"][test] = {
            "seen": {"of": test, "answers": names},
            "question": "?",
            "minutes": draw(st.floats(0.5, 20)),
            "outcomes": names,
            "sound": draw(st.sampled_from(names)),
            "otherwise": draw(shares(several)),
            "given": given_,
        }
    return raw


@st.composite
def cases(draw: st.DrawFn) -> tuple[dict[str, Any], dict[str, list[float]]]:
    raw = draw(tables())
    shown = {}
    for test in draw(st.lists(st.sampled_from(["t0", "t1", "t2"]), unique=True)):
        several = len(raw["test"][test]["outcomes"])
        shown[test] = draw(shares(several) | plain(several))
    return raw, shown


def table_of(raw: Mapping[str, Any]) -> FaultTable:
    answers = {test: [f"o{place}" for place in range(3)] for test in ("t0", "t1", "t2")}
    try:
        return read_faults(
            raw,
            "drawn",
            lambda of, text: 0.0,
            measurands={},
            observations=answers,
            operations=["part", "work"],
        )
    except DataFileError as error:
        raise AssertionError(error) from error


# ---- inference


@given(cases())
def test_inference_equals_direct_enumeration(drawn: tuple[dict[str, Any], dict[str, list[float]]]) -> None:
    raw, shown = drawn
    table = table_of(raw)
    chances = posterior(table, made(table, shown))
    assert chances == pytest.approx(bayes(raw, shown), abs=1e-12)
    assert math.fsum(chances.values()) == pytest.approx(1, abs=1e-12)


def test_without_any_outcome_the_weights_speak() -> None:
    assert posterior(TABLE, []) == pytest.approx(
        {"none": 10 / 75, "outside": 5 / 75, "air": 30 / 75, "worn_master": 20 / 75, "soft_hose": 10 / 75}
    )


def test_an_open_outcome_shares_its_weight() -> None:
    # 12.38 V read in halves counts as half of each outcome's likelihood: for worn_master (0.5 · 0.05 + 0.5 ·
    # 0.95) and so on.
    half = posterior(TABLE, [outcome(TABLE, "pressure", (0.5, 0.5))])
    assert half == pytest.approx(posterior(TABLE, []), abs=1e-12)  # half of everything says nothing
    parts = {
        "none": 10 * 0.23,
        "outside": 5 * 0.23,
        "air": 30 * 0.38,
        "worn_master": 20 * 0.77,
        "soft_hose": 10 * 0.23,
    }  # 0.2 holds, 0.8 falls
    assert posterior(TABLE, [outcome(TABLE, "pressure", (0.2, 0.8))]) == pytest.approx(
        {fault: part / sum(parts.values()) for fault, part in parts.items()}
    )


def test_an_uncertain_reading_is_shared_between_the_bins_as_its_uncertainty_reaches() -> None:
    # 60 mm ± 2 mm (half-width): exactly on the edge, so half of it lies on either side; the far edge is 17
    # uncertainties away.
    story = Story().read("brakes.travel", "60 mm")
    chances = {suspect.fault: suspect.probability for suspect in story.assessment.suspects}
    assert chances == pytest.approx(bayes(RAW, {"travel": [0.0, 0.5, 0.5]}), abs=1e-12)


def test_an_undecided_check_is_shared_by_its_chance_of_conforming() -> None:
    story = Story().read("brakes.pressure", "41 bar", "left")
    chance = story.finding("brakes.pressure").probability
    assert chance is not None
    assert 0.5 < chance < 0.95
    found = {suspect.fault: suspect.probability for suspect in story.assessment.suspects}
    assert found == pytest.approx(bayes(RAW, {"pressure": [chance, 1 - chance]}), abs=1e-12)


def test_outcomes_of_look_check_and_reading_are_weighed_together() -> None:
    story = (
        Story()
        .see("brakes.pedal", "sinks")
        .read("brakes.pressure", "10 bar", "left")
        .read("brakes.travel", "90 mm")
    )
    found = {suspect.fault: suspect.probability for suspect in story.assessment.suspects}
    assert found == pytest.approx(
        bayes(RAW, {"pedal": [0, 0, 1], "pressure": [0, 1], "travel": [0, 0, 1]}), abs=1e-9
    )
    assert [suspect.fault for suspect in story.assessment.suspects][:2] == ["worn_master", "air"]


@given(cases())
def test_suspects_are_all_faults_likeliest_first(
    drawn: tuple[dict[str, Any], dict[str, list[float]]],
) -> None:
    raw, shown = drawn
    table = table_of(raw)
    ranked = suspects("s", table, made(table, shown))
    assert {suspect.fault for suspect in ranked} == set(raw_faults(raw))
    chances = [suspect.probability for suspect in ranked]
    assert chances == sorted(chances, reverse=True)
    expected = bayes(raw, shown)
    assert {suspect.fault: suspect.probability for suspect in ranked} == pytest.approx(
        {fault: there(expected, fault) for fault in raw_faults(raw)}, abs=1e-12
    )
    assert (
        math.fsum(chances) >= 1 - 1e-12
    )  # two at once count for both, so together they may be more than one


# ---- the next test


def entropy(chances: Mapping[str, float], group: Mapping[str, frozenset[str]]) -> float:
    sums: dict[frozenset[str], float] = {}
    for key, chance in chances.items():
        sums[group[key]] = sums.get(group[key], 0.0) + chance
    return -sum(chance * math.log2(chance) for chance in sums.values() if chance > 0)


def promised(raw: Mapping[str, Any], shown: Shown, test: str) -> float:
    """Entropy of the work called for, less what is left of it on average once the test was made, or settled
    if it was left open.
    """
    work = {fault: entry.get("calls_for") or f"({fault})" for fault, entry in raw_faults(raw).items()}
    group = {key: frozenset(work[fault] for fault in key.split("+")) for key in {**work, **raw_pairs(raw)}}
    others = {other: weights for other, weights in shown.items() if other != test}
    before, several = bayes(raw, others), len(raw["test"][test]["outcomes"])
    said = shown.get(test, [1.0] * several)
    likely, left = [], []
    for place in range(several):
        rows = {key: pair_row(raw, test, key) if "+" in key else raw_row(raw, test, key) for key in before}
        likely.append(said[place] * sum(chance * rows[key][place] for key, chance in before.items()))
        left.append(
            entropy(bayes(raw, {**others, test: [float(at == place) for at in range(several)]}), group)
        )
    return entropy(bayes(raw, shown), group) - sum(
        p * bits for p, bits in zip(likely, left, strict=True)
    ) / math.fsum(likely)


@settings(max_examples=60, deadline=None)
@given(cases())
def test_the_next_tests_are_ranked_by_what_they_tell_of_the_work_per_minute(
    drawn: tuple[dict[str, Any], dict[str, list[float]]],
) -> None:
    raw, shown = drawn
    estimated = next_tests("s", table_of(raw), made(table_of(raw), shown), {})
    assert all(test.bits >= 0.01 for test in estimated)
    for test in estimated:
        assert test.bits == pytest.approx(promised(raw, shown, test.key), abs=1e-9)
        assert test.repeat is (test.key in shown)
    rates = [test.bits / raw["test"][test.key]["minutes"] for test in estimated]
    assert rates == sorted(rates, reverse=True)
    settled = {test for test, weights in shown.items() if max(weights) >= 0.95}
    assert not settled & {test.key for test in estimated}
    left_out = set(raw["test"]) - settled - {test.key for test in estimated}
    assert all(-1e-9 < promised(raw, shown, test) < 0.01 + 1e-9 for test in left_out)


@given(cases())
def test_a_test_that_all_hypotheses_answer_alike_changes_nothing_and_is_never_offered(
    drawn: tuple[dict[str, Any], dict[str, list[float]]],
) -> None:
    raw, shown = drawn
    raw["test"]["t0"]["given"] = {}
    table = table_of(raw)
    others = {test: weights for test, weights in shown.items() if test != "t0"}
    several = len(raw["test"]["t0"]["outcomes"])
    for weights in ([1.0, *[0.0] * (several - 1)], [1 / several] * several):
        assert posterior(table, made(table, {**others, "t0": weights})) == pytest.approx(
            posterior(table, made(table, others)), abs=1e-12
        )
        assert "t0" not in {
            test.key for test in next_tests("s", table, made(table, {**others, "t0": weights}), {})
        }
    assert "t0" not in {test.key for test in next_tests("s", table, made(table, others), {})}


def test_a_test_that_was_made_is_not_offered_again() -> None:
    estimated = {test.key for test in Story().see("brakes.pedal", "spongy").assessment.next_tests}
    assert estimated == {"travel", "pressure"}  # the weather tells nothing


def test_a_test_without_a_bearing_is_never_offered_and_changes_nothing() -> None:
    before = Story().see("brakes.pedal", "spongy").assessment
    after = Story().see("brakes.pedal", "spongy").read("brakes.air", "25 °C").assessment
    assert "weather" not in {test.key for test in before.next_tests}
    assert [s.probability for s in after.suspects] == pytest.approx(
        [s.probability for s in before.suspects], abs=1e-12
    )
    assert [test.key for test in after.next_tests] == [test.key for test in before.next_tests]


def test_a_removed_row_changes_the_next_test() -> None:
    poorer = deepcopy(RAW)
    assert next_tests("brakes", TABLE, [], {})[0].key == "pedal"
    del poorer["test"]["pedal"]["given"]
    assert next_tests("brakes", brakes.fault_table(poorer, "poorer"), [], {})[0].key == "travel"


def test_faults_with_one_operation_need_not_be_told_apart() -> None:
    alike = deepcopy(RAW)
    for fault in ("air", "worn_master", "soft_hose", "none", "outside"):
        alike["faults"][fault]["calls_for"] = "brakes.bleed"
    assert next_tests("brakes", brakes.fault_table(alike, "alike"), [], {}) == []


def test_a_barred_check_is_not_offered_as_the_next_test() -> None:
    assert "pressure" not in {
        test.key for test in next_tests("brakes", TABLE, [], {"brakes.pressure": "brakes.force"})
    }


# ---- calling for a part


def robust(raw: Mapping[str, Any], shown: Shown, part: str) -> float:
    """The least share of the part's faults with any one number of the raw table a factor off, each row again
    summing to one.
    """
    lowest = 1.0
    against = {fault for fault, entry in raw_faults(raw).items() if entry.get("calls_for") == part}
    spelled = deepcopy(dict(raw))
    for entry in spelled[
        "test"
    ].values():  # every fault gets a row of its own, so that its numbers can be moved singly
        rows = entry.setdefault("given", {})
        rows.update(
            {fault: {"p": list(entry["otherwise"])} for fault in raw_faults(raw) if fault not in rows}
        )
    changes: list[tuple[Any, Any]] = [
        (entry, "weight") for entry in [*raw_faults(spelled).values(), *raw_pairs(spelled).values()]
    ]
    changes += [
        (row["p"], place)
        for test in shown
        for row in spelled["test"][test]["given"].values()
        for place in range(len(row["p"]))
    ]
    for holder, key in changes:
        for factor in (1.0, WRONG_BY, 1 / WRONG_BY):
            kept = list(holder) if isinstance(holder, list) else holder[key]
            holder[key] *= factor
            if isinstance(holder, list):
                holder[:] = [p / math.fsum(holder) for p in holder]
            lowest = min(lowest, there(bayes(spelled, shown), *against))
            if isinstance(holder, list):
                holder[:] = kept
            else:
                holder[key] = kept
    return lowest


@settings(max_examples=80, deadline=None)
@given(cases(), st.floats(1, 100))
def test_a_part_is_called_for_only_after_a_direct_test_and_when_one_wrong_number_could_not_change_it(
    drawn: tuple[dict[str, Any], dict[str, list[float]]], heavier: float
) -> None:
    raw, shown = drawn
    raw["faults"]["a"]["weight"] *= heavier
    table = table_of(raw)
    against = [fault for fault, entry in raw_faults(raw).items() if entry.get("calls_for") == "part"]
    direct = any(
        weights[0] >= 0.95 and raw["test"][test]["given"].get(fault, {}).get("direct") == "o0"
        for test, weights in shown.items()
        for fault in against
    )
    least = robust(raw, shown, "part")
    held = [there(chances, *against) > 0.5 for chances in perturbations(table, made(table, shown), DRAWS)]
    if abs(least - CALL_AT) > 1e-9:
        assert call_for_part(table, made(table, shown), "part", 0).met is (
            direct and least >= CALL_AT and sum(held) >= 95
        )


def test_a_number_of_one_fault_is_moved_in_all_its_pairs_at_once() -> None:
    """No weight alone moves as much as the one chance that stands behind a fault and two of its pairs."""
    rows = {"a": {"p": [0.9, 0.1]}, "b": {"p": [0.9, 0.1]}, "c": {"p": [0.05, 0.95]}}
    test = {
        "seen": {"of": "t0", "answers": ["o0", "o1"]},
        "question": "?",
        "minutes": 1,
        "outcomes": ["o0", "o1"],
        "sound": "o1",
        "otherwise": [0.05, 0.95],
    }
    faults: dict[str, Any] = {
        "none": {"weight": 0.01},
        "outside": {"weight": 0.01},
        "d": {"weight": 0.01},
        "c": {"weight": 10},
    }
    faults |= {key: {"weight": 5, "calls_for": "part"} for key in ("a", "b")} | {
        "pairs": [{"of": ["c", other], "weight": 10} for other in ("outside", "d")]
    }
    raw = {"faults": faults, "test": {"t0": test | {"given": rows}}}
    shown = {"t0": [1.0, 0.0]}
    # 9 (a and b) against 0.5 in three ways (c and its pairs, whose chance is 0.05 as well) and 3 · 0.01 ·
    # 0.05. With c's 0.05 moved up, 0.075 / (0.075 + 0.95) = 0.07317, all three grow; a's or b's weight alone
    # takes only 1.5 of the 9.
    least = lowest_share(table_of(raw), made(table_of(raw), shown), {"a", "b"})
    assert least == pytest.approx(9 / (9 + 3 * 10 * 0.075 / 1.025 + 0.0015), abs=1e-9)
    assert least == pytest.approx(robust(raw, shown, "part"), abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(cases(), st.floats(1, 100))
def test_the_least_a_part_holds_is_found_by_moving_every_number_also_inside_pairs(
    drawn: tuple[dict[str, Any], dict[str, list[float]]], heavier: float
) -> None:
    raw, shown = drawn
    raw["faults"]["a"]["weight"] *= heavier
    for part in ("part", "work"):
        against = {fault for fault, entry in raw_faults(raw).items() if entry.get("calls_for") == part}
        assert lowest_share(table_of(raw), made(table_of(raw), shown), against) == pytest.approx(
            robust(raw, shown, part), abs=1e-9
        )


@settings(max_examples=60, deadline=None)
@given(cases())
def test_numbers_moved_at_random_are_moved_by_the_factor_and_the_same_at_every_run(
    drawn: tuple[dict[str, Any], dict[str, list[float]]],
) -> None:
    raw, shown = drawn
    table = table_of(raw)
    first, again = (list(perturbations(table, made(table, shown), 8)) for _ in range(2))
    assert first == again
    assert all(math.fsum(chances.values()) == pytest.approx(1, abs=1e-12) for chances in first)
    # A weight moved by 1.5 and each of n rows moved up against down: no ratio of two hypotheses moves by more
    # than the product. (A row's p may move by 1.5² against its others, as it is made to sum to one again; a
    # pair's by that of both faults and of otherwise.)
    still = bayes(raw, shown)
    room = WRONG_BY**2 * WRONG_BY ** (12 * len(shown)) + 1e-9
    for chances in first:
        for one, other in itertools.pairwise(sorted(still)):
            moved = (chances[one] / chances[other]) / (still[one] / still[other])
            assert 1 / room <= moved <= room
    if not shown:
        ratios = {
            round(chances["a"] / chances["b"] / (still["a"] / still["b"]), 6)
            for chances in perturbations(table, [], 60)
        }
        assert ratios == {round(ratio, 6) for ratio in (WRONG_BY**2, 1.0, WRONG_BY**-2)}


def test_a_part_that_stands_only_while_most_numbers_are_right_is_not_called_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sure = {"pedal": [0.0, 0.0, 1.0], "pressure": [0.0, 1.0]}
    monkeypatch.setattr(suspect, "HALF", 0.97)  # of 96 % that this part holds
    call = call_for_part(TABLE, made(TABLE, sure), "brakes.replace_master", 0)
    assert not call.met
    assert call.why.startswith("Too much rests on the fault table: with all its numbers off by 1.5 at random")


def test_the_rule_needs_both_its_halves() -> None:
    sure = {"pedal": [0.0, 0.0, 1.0], "pressure": [0.0, 1.0]}
    assert robust(RAW, sure, "brakes.replace_master") >= 0.80
    assert call_for_part(TABLE, made(TABLE, sure), "brakes.replace_master", 0).met
    # The same outcomes, but no row says that a test speaks directly against the part.
    mute = deepcopy(RAW)
    for test in mute["test"].values():
        for row in test.get("given", {}).values():
            row.pop("direct", None)
    table = brakes.fault_table(mute, "mute")
    silent = call_for_part(table, made(table, sure), "brakes.replace_master", 0)
    assert not silent.met
    assert "No test that speaks directly" in silent.why
    # A direct test alone, while other explanations are left: 10 · 0.85 against 55 · 0.05 is 76 %.
    rarer = deepcopy(RAW)
    rarer["faults"]["worn_master"]["weight"] = 10
    table = brakes.fault_table(rarer, "rarer")
    perturbed = call_for_part(table, made(table, {"pedal": [0.0, 0.0, 1.0]}), "brakes.replace_master", 0)
    assert not perturbed.met
    assert "holds 76%" in perturbed.why


def test_a_share_that_one_wrong_number_could_bring_below_80_percent_is_not_enough() -> None:
    raw = deepcopy(RAW)
    raw["faults"]["worn_master"]["weight"] = (
        17  # 17 · 0.85 against 55 · 0.05 is 84 %; a third less of 17 is 78 %
    )
    shown = {"pedal": [0.0, 0.0, 1.0]}
    table = brakes.fault_table(raw, "raw")
    share = bayes(raw, shown)["worn_master"]
    assert share >= 0.80 > robust(raw, shown, "brakes.replace_master")
    call = call_for_part(table, made(table, shown), "brakes.replace_master", 0)
    assert not call.met
    assert f"{share:.0%}" in call.why


def test_a_part_that_no_fault_of_the_table_calls_for_is_never_called_for() -> None:
    assert not call_for_part(TABLE, made(TABLE, {"pedal": [0.0, 0.0, 1.0]}), "brakes.adjust", 0).met
