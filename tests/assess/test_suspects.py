"""From what is believed to suspects, the next test, and calls for a part. Judge: Bayes' rule written out."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any

import attrs
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from corekit.assess.hypotheses import Complaint
from corekit.assess.inference import Shown
from corekit.assess.suspect import (
    CALL_AT,
    WORK_AT,
    Evidence,
    NextTest,
    call_for_part,
    next_tests,
    suspects,
    work_is_likely,
)
from corekit.plugin.faults import FaultTable
from corekit.testing.evidence import shown as shown_by_tests

from .brakes import DATA, brakes
from .drawn import (
    FAULTS,
    TESTS,
    TOLD,
    Chances,
    State,
    Weights,
    enumerated,
    evidence,
    followed,
    plain,
    shares,
    table_of,
    there,
    usable,
)
from .story import Story

RAW: dict[str, Any] = tomllib.loads((DATA / "faults.toml").read_text())
TABLE = brakes.fault_table(RAW, "faults.toml")
SLOWLY = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
)
Drawn = tuple[dict[str, Any], FaultTable]


def over_brakes(made: Weights, raw: Mapping[str, Any] = RAW, complaint: Complaint | None = TOLD) -> Evidence:
    return evidence(brakes.fault_table(raw, "here"), made, "brakes", complaint)


def bayes(raw: Mapping[str, Any], made: Weights, table: FaultTable) -> Chances:
    steps = [Shown(system="s", test=table.tests[test], weights=tuple(w)) for test, w in made.items()]
    return enumerated(raw, TOLD, steps)[1]


@st.composite
def cases(draw: st.DrawFn) -> tuple[dict[str, Any], FaultTable, dict[str, list[float]]]:
    raw, table = draw(usable())
    made = {}
    for test in draw(st.lists(st.sampled_from(TESTS), unique=True)):
        several = len(table.tests[test].outcomes)
        made[test] = draw(shares(several) | plain(several))
    return raw, table, made


# ---- suspects


@SLOWLY
@given(cases())
def test_suspects_are_all_faults_with_none_and_outside_likeliest_first(
    drawn: tuple[dict[str, Any], FaultTable, dict[str, list[float]]],
) -> None:
    raw, table, made = drawn
    ranked = suspects(evidence(table, made))
    assert {suspect.fault for suspect in ranked} == {*FAULTS, "none", "outside"}
    chances = [suspect.probability for suspect in ranked]
    assert chances == sorted(chances, reverse=True)
    expected = bayes(raw, made, table)
    found = {suspect.fault: suspect.probability for suspect in ranked}
    assert found.pop("none") == pytest.approx(expected[frozenset()])
    assert found == pytest.approx({fault: there(expected, [fault]) for fault in found}, abs=1e-12)
    assert (
        math.fsum(chances) >= 1 - 1e-12
    )  # two at once count for both, so together they may be more than one


def test_an_uncertain_reading_is_shared_between_the_bins_as_its_uncertainty_reaches() -> None:
    # 60 mm ± 2 mm (half-width): exactly on the edge, so half of it lies on either side; the far edge is 17
    # uncertainties away.
    told = Story().read("brakes.travel", "60 mm").chances
    by_hand = {one.fault: one.probability for one in suspects(over_brakes({"travel": [0.0, 0.5, 0.5]}))}
    assert told == pytest.approx(by_hand, abs=1e-12)


def test_an_undecided_check_is_shared_by_its_chance_of_conforming() -> None:
    story = Story().read("brakes.pressure", "41 bar", "left")
    chance = story.finding("brakes.pressure").probability
    assert chance is not None
    assert 0.5 < chance < 0.95
    by_hand = {
        one.fault: one.probability for one in suspects(over_brakes({"pressure": [chance, 1 - chance]}))
    }
    assert story.chances == pytest.approx(by_hand, abs=1e-12)


def test_outcomes_of_look_check_and_reading_are_weighed_together_by_hand() -> None:
    story = (
        Story()
        .see("brakes.pedal", "sinks")
        .read("brakes.pressure", "10 bar", "left")
        .read("brakes.travel", "90 mm")
    )
    # Prevalence odds times the chance to complain at all (0.30 of a fault, 0.02 of none, estimates), times
    # what each shows: sinks, falls, to the floor.
    odds = {"none": 1.0, "air": 30 / 970, "worn": 20 / 980, "hose": 10 / 990, "outside": 80 / 920}
    tells = {"none": 0.02, "air": 0.3, "worn": 0.3, "hose": 0.3, "outside": 0.3}
    shows = {
        "none": 0.05 * 0.05 * 0.05,
        "air": 0.05 * 0.30 * 0.30,
        "worn": 0.85 * 0.95 * 0.60,
        "hose": 0.05 * 0.05 * 0.05,
        "outside": 0.10 * 0.05 * 0.05,
    }
    alone = {key: odds[key] * tells[key] * shows[key] for key in odds}
    found = story.chances
    assert found["worn_master"] > 0.98
    # Of the vehicles with one fault or none, the same shares: pairs are checked by enumeration above.
    singles = {
        ("none", "none"): "none",
        ("air", "air"): "air",
        ("worn_master", "worn"): "worn",
        ("outside", "outside"): "outside",
    }
    states = story_states(story)
    for (key, name), _ in singles.items():
        state = frozenset[str]() if key == "none" else frozenset({key})
        ratio = states[state] / states[frozenset({"worn_master"})]
        assert ratio == pytest.approx(alone[name] / alone["worn"], rel=1e-6)
    assert story.assessment.suspects[0].fault == "worn_master"


def story_states(story: Story) -> Mapping[State, float]:
    assert story.assessment.suspects
    made = {"pedal": "sinks", "pressure": "falls", "travel": "to the floor"}
    return shown_by_tests(brakes, TABLE, **made).together


def test_a_suspect_says_what_speaks_for_it_and_against_it() -> None:
    # sinks: 0.85 under a worn cylinder, 0.05 without a fault; air 0.05, so neither way. A line that falls:
    # 0.95 against 0.05; air 0.30 against 0.05.
    (worn,) = [
        one
        for one in Story()
        .see("brakes.pedal", "sinks")
        .read("brakes.pressure", "90 bar", "left")
        .assessment.suspects
        if one.fault == "worn_master"
    ]
    assert worn.speaks_for == ("How does the pedal feel? sinks",)
    assert worn.speaks_against == ("Does the line hold its pressure? holds",)


# ---- the next test


#: States that are unlikely together are left out of a ranking (5 of 10,000), so bits are good to this.
UNLIKELY = 0.008


def silent(table: FaultTable) -> FaultTable:
    """Without a word on what speaks directly against a part: such a test is worth more than its bits."""
    return attrs.evolve(
        table,
        tests={
            key: attrs.evolve(
                test, given={fault: attrs.evolve(row, direct="") for fault, row in test.given.items()}
            )
            for key, test in table.tests.items()
        },
    )


def test_a_test_that_would_show_a_likely_part_directly_is_worth_more_than_its_bits() -> None:
    raw = deepcopy(RAW)
    raw["faults"]["worn_master"]["per_1000"] = 950
    said, unsaid = (
        {test.key: test.bits for test in next_tests(evidence(table, {}, "brakes", None))}
        for table in (brakes.fault_table(raw, "here"), silent(brakes.fault_table(raw, "here")))
    )
    assert said["pedal"] > unsaid["pedal"] + 0.5
    assert said["travel"] == pytest.approx(unsaid["travel"])  # it speaks directly against nothing


def entropy(chances: Mapping[State, float], group: Mapping[State, frozenset[str]]) -> float:
    sums: dict[frozenset[str], float] = {}
    for key, chance in chances.items():
        sums[group[key]] = sums.get(group[key], 0.0) + chance
    return -sum(chance * math.log2(chance) for chance in sums.values() if chance > 0)


def promised(raw: Mapping[str, Any], made: Weights, test: str, table: FaultTable) -> float:
    """Entropy of the work called for, less what is left of it on average once the test is made (again)."""
    work = {fault: raw["faults"][fault]["calls_for"] for fault in FAULTS} | {"outside": "(outside)"}
    steps = [Shown(system="s", test=table.tests[key], weights=tuple(w)) for key, w in made.items()]
    before = enumerated(raw, TOLD, steps)[1]
    group = {state: frozenset(work[fault] for fault in state) for state in before}
    several = len(raw["test"][test]["outcomes"])
    left = 0.0
    for place in range(several):
        weights = tuple(float(at == place) for at in range(several))
        again = Shown(system="s", test=table.tests[test], weights=weights)
        # The chance of this outcome: what the evidence weighs with it, over what it weighs without.
        likely = weighed(raw, [*steps, again]) / weighed(raw, steps)
        left += likely * entropy(enumerated(raw, TOLD, [*steps, again])[1], group)
    return entropy(before, group) - left


def opening(raw: Mapping[str, Any], made: Weights, first: NextTest, table: FaultTable) -> float:
    """What the test that it opens promises, times the chance that it opens it; 0 where it opens none."""
    if not first.opens:
        return 0.0
    (later,) = (one for one in table.tests.values() if one.question == first.opens)
    assert first.then == later.minutes
    steps = [Shown(system="s", test=table.tests[key], weights=tuple(w)) for key, w in made.items()]
    names = table.tests[first.key].outcomes
    opens = tuple(float(name in later.after[first.key]) for name in names)
    again = Shown(system="s", test=table.tests[first.key], weights=opens)
    chance = weighed(raw, [*steps, again]) / weighed(raw, steps)
    return chance * promised(raw, made, later.key, table)


def weighed(raw: Mapping[str, Any], steps: Sequence[Shown]) -> float:
    """How likely all this evidence is, over every fault."""
    return math.fsum(followed(raw, TOLD, steps).values())


@SLOWLY
@given(cases())
def test_the_next_tests_are_ranked_by_what_they_tell_of_the_work_per_minute(
    drawn: tuple[dict[str, Any], FaultTable, dict[str, list[float]]],
) -> None:
    raw, table, made = drawn
    table = silent(table)
    estimated = next_tests(evidence(table, made))
    assert all(test.bits >= 0.03 for test in estimated)
    for test in estimated:
        told = promised(raw, made, test.key, table) + opening(raw, made, test, table)
        assert test.bits == pytest.approx(told, abs=UNLIKELY)
        assert test.repeat is (test.key in made)
        assert test.rate == pytest.approx(test.bits / (raw["test"][test.key]["minutes"] + test.then))
    rates = [test.rate for test in estimated]
    assert rates == sorted(rates, reverse=True)
    settled = {test for test, weights in made.items() if max(weights) >= 0.95}
    assert not settled & {test.key for test in estimated}
    left_out = set(raw["test"]) - settled - {test.key for test in estimated}
    if there(bayes(raw, made, table), FAULTS) < 0.05:  # hardly anything is at fault: what was made alone
        assert {test.key for test in estimated} <= set(made)
        left_out &= set(made)
    for test in left_out:
        assert -1e-9 < promised(raw, made, test, table) < 0.03 + UNLIKELY


def test_a_system_with_hardly_a_fault_is_not_taken_up_for_what_it_would_tell_of_others() -> None:
    """Outside is about as likely as no fault here, and the pedal would tell them well apart."""
    raw = deepcopy(RAW)
    raw["test"]["pedal"]["outside"] = [0.05, 0.90, 0.05]
    assert next_tests(over_brakes({}, raw))[0].key == "pedal"
    for fault in ("air", "worn_master", "soft_hose"):
        raw["faults"][fault]["per_1000"] = 0.5  # together 1 in 100, once somebody complains
    assert next_tests(over_brakes({}, raw)) == []


@SLOWLY
@given(cases())
def test_a_test_that_all_hypotheses_answer_alike_changes_nothing_and_is_never_offered(
    drawn: tuple[dict[str, Any], FaultTable, dict[str, list[float]]],
) -> None:
    _, table, made = drawn
    mute = attrs.evolve(table.tests["t0"], given={}, otherwise=table.tests["t0"].none, outside=())
    table = attrs.evolve(table, tests={**table.tests, "t0": mute})
    others = {test: weights for test, weights in made.items() if test != "t0"}
    several = len(mute.outcomes)
    without = {one.fault: one.probability for one in suspects(evidence(table, others))}
    for weights in ([1.0, *[0.0] * (several - 1)], [1 / several] * several):
        found = evidence(table, {**others, "t0": weights})
        assert {one.fault: one.probability for one in suspects(found)} == pytest.approx(without, abs=1e-12)
        assert "t0" not in {test.key for test in next_tests(found)}
    assert "t0" not in {test.key for test in next_tests(evidence(table, others))}


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
    assert next_tests(over_brakes({}))[0].key == "pedal"
    del poorer["test"]["pedal"]["given"]
    assert next_tests(over_brakes({}, poorer))[0].key == "travel"


def test_faults_with_one_operation_need_not_be_told_apart() -> None:
    """What is left to tell is whether there is any of them, and that no test of this table does."""
    alike = deepcopy(RAW)
    for fault in ("air", "worn_master", "soft_hose"):
        alike["faults"][fault]["calls_for"] = "brakes.bleed"
    apart = {test.key: test.bits for test in next_tests(over_brakes({}))}
    merged = {test.key: test.bits for test in next_tests(over_brakes({}, alike))}
    assert all(bits < apart[key] for key, bits in merged.items())


def test_a_barred_check_is_not_offered_as_the_next_test() -> None:
    free = over_brakes({})
    assert "pressure" in {test.key for test in next_tests(free)}
    barred = attrs.evolve(free, barred=frozenset({"brakes.pressure"}))
    assert "pressure" not in {test.key for test in next_tests(barred)}


@pytest.mark.parametrize(("bad", "offered"), [(0.26, False), (0.28, True)])
def test_a_test_that_tells_less_than_three_hundredths_of_a_bit_is_not_offered(
    bad: float, offered: bool
) -> None:
    test = {
        "seen": {"of": "s.t0", "answers": ["o0", "o1"]},
        "question": "?",
        "minutes": 1,
        "outcomes": ["good", "bad"],
        "sound": "good",
        "none": [0.9, 0.1],
        "otherwise": [0.9, 0.1],
        "outside": [0.9, 0.1],
        "given": {"a": {"p": [1 - bad, bad]}},
    }
    raw = {
        "faults": {"a": {"per_1000": 250, "why": "x", "calls_for": "s.mend"}},
        "test": {"t0": test},
        "symptoms": {},
        "when": {},
    }
    chance = 0.25  # odds 1/3, whatever else is there

    def h(p: float) -> float:
        return -p * math.log2(p) - (1 - p) * math.log2(1 - p)

    bits = h(0.1 + chance * (bad - 0.1)) - (1 - chance) * h(0.1) - chance * h(bad)
    assert (bits >= 0.03) is offered
    found = next_tests(evidence(table_of(raw), {}, complaint=None))
    # Beside the fault stands what is outside, which this test does not part from none.
    assert [test.key for test in found] == (["t0"] if offered else [])


# ---- calling for a part


@SLOWLY
@given(cases(), st.floats(1, 900))
def test_a_part_is_called_for_only_after_a_direct_test_and_at_0_86(
    drawn: tuple[dict[str, Any], FaultTable, dict[str, list[float]]], heavier: float
) -> None:
    raw, table, made = drawn
    raw = deepcopy(raw)
    raw["faults"]["pairs"] = []
    raw["faults"]["a"]["per_1000"] = heavier
    faults = {**table.faults, "a": attrs.evolve(table.faults["a"], per_1000=heavier)}
    table = attrs.evolve(table, faults=faults, pairs={})
    against = [fault for fault in FAULTS if raw["faults"][fault]["calls_for"] == "s.renew"]
    direct = any(
        weights[0] >= 0.95 and raw["test"][test]["given"].get(fault, {}).get("direct") == "o0"
        for test, weights in made.items()
        for fault in against
    )
    for test in raw["test"].values():
        test["given"] = {key: row for key, row in test["given"].items() if "+" not in key}
    held = there(bayes(raw, made, table), against)
    if abs(held - 0.86) > 1e-9:
        assert call_for_part(evidence(table, made), "s.renew", 0).met is (direct and held >= 0.86)


def held_at(per_1000: float) -> Evidence:
    """The brakes with one direct test that plainly fails, and this prevalence of the part's fault."""
    raw = deepcopy(RAW)
    raw["faults"]["worn_master"]["per_1000"] = per_1000
    return over_brakes({"pedal": [0.0, 0.0, 1.0]}, raw, None)


def between(share: float) -> float:
    """The prevalence at which the part holds just this share, found by halving."""
    low, high = 0.1, 999.0
    for _ in range(80):
        middle = (low + high) / 2
        held = work_is_likely(held_at(middle), "brakes.replace_master")
        low, high = (middle, high) if held < share else (low, middle)
    return (low + high) / 2


@pytest.mark.parametrize("share", [0.859, 0.861])
def test_a_part_is_called_for_at_0_86_and_not_just_below(share: float) -> None:
    assert (CALL_AT, WORK_AT) == (0.86, 0.80)
    found = held_at(between(share))
    assert work_is_likely(found, "brakes.replace_master") == pytest.approx(share, abs=1e-6)
    call = call_for_part(found, "brakes.replace_master", 0)
    assert call.met is (share > 0.86)
    if not call.met:
        assert call.why == "Other explanations remain: the part holds 85%; 86% is asked for."
    else:
        assert call.why == "How does the pedal feel? Answer: sinks."


@pytest.mark.parametrize("share", [0.859, 0.861])
def test_a_part_that_no_test_shows_is_left_to_a_trial_from_0_86_on_and_is_never_called_for(
    share: float,
) -> None:
    def unseen(per_1000: float) -> Evidence:
        raw = deepcopy(RAW)
        raw["faults"]["worn_master"]["per_1000"] = per_1000
        for row in raw["test"]["pedal"]["given"].values():
            row.pop("direct", None)
        return over_brakes({"pedal": [0.0, 0.0, 1.0]}, raw, None)

    call = call_for_part(unseen(between(share)), "brakes.replace_master", 0)
    assert not call.met and "No test that speaks directly" in call.why
    assert ("a part known to be good" in call.why) is (share > 0.86)


@pytest.mark.parametrize(("weight", "speaks"), [(0.949, False), (0.951, True)])
def test_a_direct_test_speaks_only_when_it_is_plain(weight: float, speaks: bool) -> None:
    raw = deepcopy(RAW)
    raw["faults"]["worn_master"]["per_1000"] = 900
    call = call_for_part(over_brakes({"pedal": [1 - weight, 0, weight]}, raw), "brakes.replace_master", 0)
    assert call.met is speaks
    assert ("No test that speaks directly" in call.why) is not speaks


def test_the_rule_needs_both_its_halves() -> None:
    sure = {"pedal": [0.0, 0.0, 1.0], "pressure": [0.0, 1.0]}
    assert call_for_part(over_brakes(sure), "brakes.replace_master", 0).met
    # The same outcomes, but no row says that a test speaks directly against the part.
    mute = deepcopy(RAW)
    for test in mute["test"].values():
        for row in test.get("given", {}).values():
            row.pop("direct", None)
    silent = call_for_part(over_brakes(sure, mute), "brakes.replace_master", 0)
    assert not silent.met
    assert "No test that speaks directly" in silent.why
    # A direct test alone, while other explanations are left.
    alone = call_for_part(over_brakes({"pedal": [0.0, 0.0, 1.0]}), "brakes.replace_master", 0)
    assert not alone.met
    assert alone.why.startswith("Other explanations remain: the part holds ")


def test_a_part_that_no_fault_of_the_table_calls_for_is_never_called_for() -> None:
    assert not call_for_part(over_brakes({"pedal": [0.0, 0.0, 1.0]}), "brakes.adjust", 0).met
