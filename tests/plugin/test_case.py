"""The case: the only view of a job that a check gets."""

from __future__ import annotations

from enum import Enum

import attrs
import pytest

import corekit as ck
from corekit.judge_unknown import conform_together
from corekit.model.finding import Gap, Reason, Urgency, Verdict
from corekit.model.limit import Limit, Span
from corekit.model.measurand import Trait
from corekit.model.possible import possible
from corekit.model.source import Basis, Source, Status
from corekit.model.value import Value
from corekit.plugin.case import Case, Missing
from corekit.plugin.limit_words import (
    limit_with_basis,
    limit_words,
    possible_limit_words,
    uncertainty_at_most,
)
from corekit.testing.bench import Bench

from ..assess.brakes import bleed, boiling, bore, brakes, force, pedal, pressure, travel

SAYS = ck.Says(passes="Good: {value}.", fails="Bad: {value}, {limit}.", undecided="Open: {value}.")


def bench() -> Bench:
    return (
        Bench(brakes)
        .read("pressure", "90 bar", place="right")
        .read("pressure", "30 bar", place="left")
        .read("travel", "30 mm")
    )


def test_readings_at_every_place_come_in_the_declared_order() -> None:
    assert [reading.place for reading in bench().case().everywhere(pressure)] == ["left", "right"]
    assert bench().case().everywhere(force) == []


def test_what_a_case_does_not_have_is_missing_by_name() -> None:
    case = bench().case()
    assert case[travel].typed == "30 mm"
    with pytest.raises(Missing) as error:
        _ = case[force]
    assert error.value.wanted is force
    assert case.reading(force) is None
    assert case.seen(pedal) is None


def test_pairs_give_the_places_together_or_a_gap_for_each_that_is_missing() -> None:
    case = bench().case("Balance")
    ((left, right),) = case.pairs(case.everywhere(pressure), "left", "right")
    assert isinstance(left, ck.Reading)
    assert (left.place, right.place) == ("left", "right")
    for here, there in (("left", "right"), ("right", "left")):
        alone = [one for one in case.everywhere(pressure) if one.place == here]
        gaps = list(case.pairs(alone, "left", "right"))
        assert [(gap.reason, gap.wants, gap.text) for gap in gaps if isinstance(gap, Gap)] == [
            (Reason.NOT_MEASURED, "brakes.pressure", f"Line pressure at {there} is missing."),
        ]
    assert len(list(case.pairs([], "left", "right"))) == 2


def test_a_place_that_the_measurand_does_not_have_is_the_authors_slip_and_no_gap() -> None:
    case = bench().case("Balance")
    with pytest.raises(KeyError, match=r"brakes\.pressure has no place 'rigth'; it has left, right"):
        list(case.pairs(case.everywhere(pressure), "left", "rigth"))


def test_a_limit_that_the_system_does_not_have_is_refused_with_those_it_has() -> None:
    with pytest.raises(
        KeyError, match=r"no limit 'brakes\.force'; it has brakes\.boiling, brakes\.pressure, brakes\.travel"
    ):
        bench().case().limit(force)


@pytest.mark.parametrize(
    ("mm", "verdict", "text"), [(30, "pass", "Good: "), (90, "fail", "Bad: "), (60, "undecided", "Open: ")]
)
def test_the_sentence_is_that_of_the_verdict(mm: int, verdict: str, text: str) -> None:
    case = Bench(brakes).read("travel", f"{mm} mm").case()
    finding = case.judge(
        case[travel],
        case.limit(travel),
        ck.Claim("brakes.travel", calls_for=bleed, urgency=Urgency.PLAN_IT),
        SAYS,
    )
    assert (finding.verdict, str(finding.text)[: len(text)]) == (verdict, text)
    assert finding.calls_for == ("" if verdict == "pass" else "brakes.bleed")
    assert finding.urgency == ("nothing to do here" if verdict == "pass" else "plan it")


def test_a_bare_value_needs_a_unit_to_be_printed_in() -> None:
    case = bench().case()
    with pytest.raises(ValueError, match=r"brakes\.travel: say in which unit"):
        case.judge(ck.exact("length", 0.03), case.limit(travel), ck.Claim("brakes.travel"), SAYS)
    assert (
        case.judge(
            ck.exact("length", 0.03),
            case.limit(travel),
            ck.Claim("brakes.travel", of=travel, unit="cm"),
            SAYS,
        ).of
        == "brakes.travel"
    )


@pytest.mark.parametrize("how", ["judge", "advise", "inconclusive"])
def test_the_place_travels_with_the_reading(how: str) -> None:
    case = bench().case()
    left = case.everywhere(pressure)[0]
    made = {
        "judge": lambda: case.judge(left, case.limit(pressure), ck.Claim("brakes.p"), SAYS),
        "advise": lambda: case.advise(ck.Claim("brakes.p"), "{value} at {place}", left),
        "inconclusive": lambda: case.inconclusive(
            ck.Claim("brakes.p", next_test=pedal), "{value} at {place}", left
        ),
    }[how]()
    assert (made.place, made.of) == ("left", "brakes.pressure")
    assert made.evidence == ("pressure-left",)


def test_advice_never_decides_and_an_open_finding_names_what_comes_next() -> None:
    case = bench().case()
    advice = case.advise(ck.Claim("brakes.days"), "Lasts {days} days.", values={"days": "three"})
    assert (advice.verdict, str(advice.text), advice.probability) == (
        Verdict.ADVICE,
        "Lasts three days.",
        None,
    )
    barred = case.inconclusive(ck.Claim("brakes.wait", next_test=boiling), "Wait.")
    assert (barred.verdict, barred.next_test, barred.probability) == (
        Verdict.UNDECIDED,
        "brakes.boiling",
        None,
    )


@pytest.mark.parametrize(
    ("mm", "advises", "words"),
    [
        (30, False, "All is well."),
        (90, False, "Too far: 90.0 mm"),
        (60, False, "Open: "),
        (90, True, "Soon."),
    ],
)
def test_the_customer_is_told_in_his_own_words_and_else_in_the_trades(
    mm: int, advises: bool, words: str
) -> None:
    case = Bench(brakes).read("travel", f"{mm} mm").case()
    limit = case.limit(travel)
    if advises:
        limit = attrs.evolve(limit, why="")
    tells = ck.Tells(passes="All is well.", fails="Too far: {value}.", advises="Soon.")
    finding = case.judge(case[travel], limit, ck.Claim("brakes.travel"), SAYS, tells)
    assert str(finding.for_customer)[: len(words)] == words
    assert str(finding.text).split(":")[0] in ("Good", "Bad", "Open")


def test_a_plain_statement_has_two_voices_as_well() -> None:
    case = bench().case()
    advice = case.advise(ck.Claim("brakes.days"), "{days} to go.", tells="{days} left.", values={"days": "3"})
    assert (str(advice.text), str(advice.for_customer)) == ("3 to go.", "3 left.")
    assert str(case.advise(ck.Claim("brakes.days"), "One voice.").for_customer) == "One voice."
    seen = Bench(brakes).see("pedal", "spongy").case()
    looked = seen.visual(
        pedal, ck.Claim("brakes.pedal"), "It is spongy.", passes=False, tells="It gives way."
    )
    assert (str(looked.text), str(looked.for_customer), looked.evidence) == (
        "It is spongy.",
        "It gives way.",
        ("seen-pedal",),
    )


def test_one_claim_serves_every_way_of_stating_it() -> None:
    case = Bench(brakes).read("travel", "60 mm").see("pedal", "spongy").case()
    claim = ck.Claim("brakes.travel", calls_for=bleed, next_test=pedal)
    made = {
        "judge": case.judge(case[travel], case.limit(travel), claim, SAYS),
        "advise": case.advise(claim, "So it is."),
        "inconclusive": case.inconclusive(claim, "So it may be."),
        "fails": case.visual(pedal, claim, "So it looks.", passes=False),
        "passes": case.visual(pedal, claim, "So it looks.", passes=True),
    }
    assert {how: (one.urgency, one.calls_for, one.next_test) for how, one in made.items()} == {
        "judge": (Urgency.THIS_VISIT, "brakes.bleed", "brakes.pedal"),
        "advise": (Urgency.PLAN_IT, "brakes.bleed", ""),
        "inconclusive": (Urgency.THIS_VISIT, "", "brakes.pedal"),
        "fails": (Urgency.THIS_VISIT, "brakes.bleed", ""),
        "passes": (Urgency.NOTHING, "", ""),
    }


def test_of_what_is_claimed_the_code_alone_stands_without_its_name() -> None:
    assert [field.name for field in attrs.fields(ck.Claim) if not field.kw_only] == ["code"]


def test_evidence_that_is_one_reading_instead_of_a_list_is_refused() -> None:
    for one in (bench().case()[travel], "seen-pedal"):
        with pytest.raises(TypeError, match="put the one into a list"):
            ck.Claim("brakes.travel", evidence=one)  # type: ignore[arg-type]


def test_a_value_is_on_a_side_of_its_limit_only_when_its_uncertainty_allows() -> None:
    # the limit ends at 60 mm; u of a reading is 2 mm/√3 and the step of nothing else, so 1.645 u is 1.9 mm
    sides = {}
    for mm in (57, 59, 61, 63):
        case = Bench(brakes).read("travel", f"{mm} mm").case()
        sides[mm] = case.side(case[travel], case.limit(travel))
        assert case.side(case[travel].value, case.limit(travel)) is sides[mm]
    assert sides == {57: ck.Side.INSIDE, 59: ck.Side.UNDECIDED, 61: ck.Side.UNDECIDED, 63: ck.Side.ABOVE}


def test_readings_that_disagree_lie_on_no_side() -> None:
    case = Bench(brakes).read("travel", "90 mm").case()
    twice = attrs.evolve(case[travel], others=(ck.exact("length", 0.03),))
    assert case.side(twice, case.limit(travel)) is ck.Side.UNDECIDED


def test_a_computed_limit_stands_on_a_source_of_the_system() -> None:
    case = bench().case()
    low = case.everywhere(pressure)[1].value
    key = next(iter(brakes.sources))
    limit = case.computed_limit("brakes.p", key, low=low)
    assert (limit.low, limit.high, limit.source) == (low, None, brakes.sources[key])
    with pytest.raises(KeyError, match="nowhere"):
        case.computed_limit("brakes.p", "nowhere", low=low)


def test_what_was_noted_is_evidence_by_place_or_everywhere() -> None:
    case = Bench(brakes).see("pedal", "spongy").see("pedal", "sinks", "left").case()
    assert case.noted(pedal) == ["seen-pedal", "seen-pedal-left"]
    assert case.noted(pedal, "left") == ["seen-pedal-left"]


def test_what_somebody_typed_into_a_sentence_is_never_read_as_a_place() -> None:
    case = bench().case()
    assert (
        str(case.advise(ck.Claim("brakes.note"), "Told: {words}", values={"words": "{value} {x[0]} {"}).text)
        == "Told: {value} {x[0]} {"
    )


def test_evidence_holds_what_value_limit_and_neighbours_rest_on_each_once() -> None:
    case = bench().case()
    left, right = case.everywhere(pressure)
    computed = Limit(key="brakes.p", source=case.limit(pressure).source, low=right.value, why="exact")
    finding = case.judge(
        left, computed, ck.Claim("brakes.p", evidence=[right, case[travel], "e9", "e9"]), SAYS
    )
    assert finding.evidence == ("pressure-left", "pressure-right", "travel-here", "e9")


def test_a_meter_too_coarse_for_a_limit_says_so() -> None:
    case = Bench(brakes).read("travel", "58 mm").case()
    narrow = attrs.evolve(case.limit(travel), low=ck.exact("length", 0.057), high=ck.exact("length", 0.059))
    finding = case.judge(case[travel], narrow, ck.Claim("brakes.travel"), SAYS)
    assert finding.verdict is Verdict.UNDECIDED
    assert "cannot decide it at all" in str(finding.text)
    # The middle of ± 1 mm passes at u = 1 mm / 1.96, which is U = 1.02 mm; rounded down, so that it is
    # enough.
    assert str(finding.text).endswith("It takes one that is known to ± 1.0 mm (k = 2).")
    hazy = attrs.evolve(narrow, low=ck.Value("length", 0.057, {"model": 0.002}))
    assert str(case.judge(case[travel], hazy, ck.Claim("brakes.travel"), SAYS).text).endswith(
        "Nor could any: the limit itself is known no better."
    )


@pytest.mark.parametrize(
    ("u", "unit", "printed"),
    [
        (0.0125, "V", "± 0.025 V"),
        (0.00999, "V", "± 0.019 V"),
        (0.02, "V", "± 0.04 V"),
        (0.0199, "V", "± 0.03 V"),
        (0.5, "°C", "± 1.0 °C"),
    ],
)
def test_an_uncertainty_that_must_not_be_exceeded_is_rounded_down(u: float, unit: str, printed: str) -> None:
    assert uncertainty_at_most(u, unit) == printed


def test_a_limit_in_words_names_its_ends() -> None:
    source = Source(key="s", title="t", basis=Basis.LAW, status=Status.READ)
    low, high = ck.exact("voltage", 14.2), ck.exact("voltage", 14.9)
    words = [
        limit_words(Limit(key="k", source=source, low=a, high=b), "V")
        for a, b in ((low, None), (None, high), (low, high))
    ]
    assert words == ["at least 14.2 V", "at most 14.9 V", "14.2 V to 14.9 V"]


def test_limits_that_may_hold_are_each_named_where_they_are_few() -> None:
    source = Source(key="s", title="t", basis=Basis.LAW, status=Status.READ)

    def words(*lows: float) -> str:
        limits = {
            number: Limit(key="k", source=source, low=ck.exact("voltage", low), high=None)
            for number, low in enumerate(lows)
        }
        held = limits[0] if len(lows) == 1 else possible(bore, limits)
        return possible_limit_words(conform_together(ck.exact("voltage", 12.0), held), "V")

    assert words(9.6) == "at least 9.6 V"
    assert words(9.6, 10.2) == "at least 9.6 V or at least 10.2 V"
    assert words(9.6, 9.6) == "at least 9.6 V"
    assert words(9.6, 10.2, 10.8) == "at least 9.6 V or at least 10.2 V or at least 10.8 V"
    # Of four, what any reading that passes satisfies.
    assert words(9.6, 10.2, 10.8, 11.4) == "at least 11.4 V"


def test_a_case_of_nothing_is_empty() -> None:
    case = Case(system=brakes, check="x")
    assert (case.everywhere(pressure), case.seen_everywhere(pedal), case.stage) == ([], {}, 0)


# ---- how well a limit is known


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (Value("voltage", 9.6, {"w": 0.3}), None, "at least 9.6 V ± 0.6 V"),
        (None, Value("voltage", 0.1, {"w": 0.025}), "at most 0.10 V ± 0.05 V"),
        (
            Value("voltage", 13.5, {"w": 0.15}),
            Value("voltage", 14.8, {"w": 0.15}),
            "13.5 V to 14.8 V ± 0.3 V",
        ),
        (
            Value("voltage", 13.5, {"w": 0.15}),
            Value("voltage", 15.3, {"w": 0.1}),
            "13.5 V ± 0.3 V to 15.30 V ± 0.20 V",
        ),
    ],
)
def test_a_limit_is_printed_with_how_well_it_is_known(low: Value, high: Value, words: str) -> None:
    source = Source(key="s", title="t", basis=Basis.PRACTICE, status=Status.NONE)
    limit = Limit(key="k", source=source, low=low, high=high, why="sources differ")
    assert limit_words(limit, "V") == words
    assert limit_with_basis(limit, "V") == f"common practice, {words}"


def test_a_computed_limit_counts_the_width_of_its_rule_beside_what_it_rests_on() -> None:
    case = bench().case()
    key = case.limit(travel).source.key
    low = Value("length", 0.05, {"r": 0.004})
    made = case.computed_limit("brakes.p", key, low=low, width=0.006, why="the rule is good to 6 mm")
    # half of 6 mm and 4 mm: 5 mm
    assert made.low.u == pytest.approx(0.005) and made.decides
    assert not case.computed_limit("brakes.p", key, low=low).decides
    with pytest.raises(ValueError, match="go together"):
        case.computed_limit("brakes.p", key, low=low, width=0.006)
    with pytest.raises(ValueError, match="cannot be 0"):
        case.computed_limit("brakes.p", "habit", low=low, width=0.0, why="exact")


class Fluid(Enum):
    OLD = "old"
    FRESH = "fresh"


FLUID = Trait(key="brakes.fluid", title="Brake fluid", answers=Fluid)


def test_a_limit_by_a_trait_is_that_of_its_answer_and_every_one_while_it_is_unknown() -> None:
    case = Bench(brakes).read("travel", "60 mm").case()
    short = attrs.evolve(case.limit(travel), high=ck.exact("length", 0.05))
    limits = {Fluid.OLD: travel, Fluid.FRESH: short}
    assert case.limit_by(FLUID, Fluid.FRESH, limits) is short
    unknown = case.limit_by(FLUID, None, limits)
    claim = ck.Claim("brakes.travel")
    finding = case.judge(ck.exact("length", 0.055), unknown, attrs.evolve(claim, unit="mm"), SAYS)
    assert (finding.verdict, finding.next_test) == ("undecided", "brakes.fluid")
    assert "brake fluid" in str(finding.text) and "brake fluid" in str(finding.for_customer)
    assert "at most 60 mm (old)" in str(finding.text) and "at most 50 mm (fresh)" in str(finding.text)
    with pytest.raises(ValueError, match="none for 'fresh'"):
        case.limit_by(FLUID, Fluid.OLD, {Fluid.OLD: travel})


def test_a_condition_that_was_not_read_stands_at_both_ends_of_what_is_usual() -> None:
    case = Bench(brakes).read("travel", "60 mm").case()
    read = case[travel]
    assert case.ends(read, travel) == read.value
    ends = case.ends(None, travel)
    assert isinstance(ends, ck.Possible)
    assert [value.number for _, value in ends.candidates] == [travel.usual.low, travel.usual.high]
    narrower = case.ends(None, travel, low=0.02)
    assert isinstance(narrower, ck.Possible)
    assert [value.number for _, value in narrower.candidates] == [0.02, travel.usual.high]
    with pytest.raises(ValueError, match="both ends of its usual span"):
        case.ends(None, attrs.evolve(travel, usual=Span(0.0, None)))
