"""Limits with a width, and conformity while something is unknown: the union over a trait, both ends of a
condition.
"""

from __future__ import annotations

from enum import Enum

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.judge import conform, passes_nothing
from corekit.judge_unknown import conform_together, side_together
from corekit.model.finding import Verdict
from corekit.model.limit import Limit, Span, known_to
from corekit.model.measurand import Accuracy, Measurand, Trait
from corekit.model.possible import Possible, for_each, possible
from corekit.model.source import Basis, Source, Status
from corekit.model.value import Value, exact

PASS, FAIL, OPEN, ADVICE = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED, Verdict.ADVICE
SOURCE = Source(key="s", title="common practice, no source", basis=Basis.PRACTICE, status=Status.NONE)


class Kind(Enum):
    ONE = "one"
    OTHER = "other"


class Rule(Enum):
    FIXED = "fixed"
    FREE = "free"


KIND = Trait(key="lamp.kind", title="Kind of lamp", answers=Kind)
RULE = Trait(key="lamp.rule", title="Control", answers=Rule)
WARMTH = Measurand(
    key="lamp.warmth",
    unit="°C",
    kind="temperature",
    title="Warmth",
    possible=Span(223.15, 373.15),
    usual=Span(263.15, 313.15),
    accuracy=Accuracy(),
)


def limit(low: float | None = None, high: float | None = None, width: float = 0.0, **more: object) -> Limit:
    ends = [None if end is None else known_to(exact("voltage", end), width, "k") for end in (low, high)]
    made = Limit(key="k", source=SOURCE, low=ends[0], high=ends[1], why="differs by as much")
    return attrs.evolve(made, **more) if more else made


def volts(number: float, u: float = 0.0) -> Value:
    return Value("voltage", number, {"r": u} if u else {})


# ---- a width


@pytest.mark.parametrize(
    ("y", "verdict"),
    # 9.6 ± 0.6 V at k = 2: 1.645 · 0.3 V = 0.4935 V to either side
    [(10.094, PASS), (10.093, OPEN), (9.6, OPEN), (9.107, OPEN), (9.106, FAIL)],
)
def test_a_limit_that_is_known_to_a_width_decides_only_beyond_its_guard(y: float, verdict: Verdict) -> None:
    assert conform(volts(y), limit(low=9.6, width=0.6)).verdict is verdict


def test_the_uncertainties_of_reading_and_limit_count_as_the_root_of_their_squares() -> None:
    # u 0.4 V and half of 0.6 V make 0.5 V: guard 0.8224 V
    wide = limit(low=9.6, width=0.6)
    assert conform(volts(9.6 + 0.823, 0.4), wide).verdict is PASS
    assert conform(volts(9.6 + 0.822, 0.4), wide).verdict is OPEN


ENDS = st.sampled_from(["low", "high", "both"])


def made(end: float, span: float, ends: str, width: float) -> Limit:
    return limit(low=end if ends != "high" else None, high=end + span if ends != "low" else None, width=width)


@given(
    st.floats(-50, 50),
    st.floats(0, 5),
    st.floats(-50, 50),
    st.floats(1, 50),
    ENDS,
    st.floats(0, 5),
    st.floats(0, 5),
)
def test_widening_never_turns_undecided_into_a_verdict(
    y: float, u: float, end: float, span: float, ends: str, narrow: float, more: float
) -> None:
    before = conform(volts(y, u), made(end, span, ends, narrow)).verdict
    after = conform(volts(y, u), made(end, span, ends, narrow + more)).verdict
    if before is OPEN and ends != "both":
        assert after is OPEN
    # Between two ends a wider limit may come to the point where no reading at all could pass: then what was
    # open fails to pass, and is never passed.
    assert not (before is not PASS and after is PASS)
    assert not (before is PASS and after is FAIL and not passes_nothing(made(end, span, ends, narrow + more)))


@given(st.floats(-50, 50), st.floats(0, 5), st.floats(-50, 50), st.floats(0, 50), ENDS)
def test_a_width_of_nothing_changes_nothing(y: float, u: float, end: float, span: float, ends: str) -> None:
    bare = Limit(
        key="k",
        source=SOURCE,
        low=exact("voltage", end) if ends != "high" else None,
        high=exact("voltage", end + span) if ends != "low" else None,
        why="exact",
    )
    assert conform(volts(y, u), made(end, span, ends, 0.0)) == conform(volts(y, u), bare)


@pytest.mark.parametrize(
    ("low", "high", "width", "nothing"),
    [
        # both ends: half the span against 1.96 halves of the width
        (12.0, 14.0, 1.02, False),
        (12.0, 14.0, 1.03, True),
        # one end: 1.645 halves of the width against what is left above nothing
        (None, 0.1, 0.121, False),
        (None, 0.1, 0.122, True),
        (9.6, None, 50.0, False),
        (12.0, 12.0, 0.0, False),
    ],
)
def test_a_width_that_leaves_nothing_to_pass_is_known(
    low: float | None, high: float | None, width: float, nothing: bool
) -> None:
    assert passes_nothing(limit(low, high, width)) is nothing


# ---- a trait that is unknown


NARROW, BROAD = limit(13.5, 14.4), limit(13.0, 15.5)


@pytest.mark.parametrize(
    ("y", "verdict"),
    [(13.6, PASS), (14.4, PASS), (14.41, OPEN), (15.5, OPEN), (15.51, FAIL), (13.4, OPEN), (12.9, FAIL)],
)
def test_inside_all_passes_outside_all_fails_and_between_the_trait_is_asked(
    y: float, verdict: Verdict
) -> None:
    told = conform_together(volts(y), possible(KIND, {Kind.ONE: NARROW, Kind.OTHER: BROAD}))
    assert told.judged.verdict is verdict
    assert told.depends_on is (KIND if verdict is OPEN else None)


@given(st.floats(10, 18), st.floats(0, 1))
def test_not_knowing_never_says_more_than_every_answer_does(y: float, u: float) -> None:
    each = {conform(volts(y, u), one).verdict for one in (NARROW, BROAD)}
    told = conform_together(volts(y, u), possible(KIND, {Kind.ONE: NARROW, Kind.OTHER: BROAD})).judged
    assert told.verdict is (each.pop() if len(each) == 1 else OPEN)
    assert told.verdict is PASS or told.probability <= 0.95
    assert told.verdict is FAIL or told.probability >= 0.05


def test_a_value_between_two_spans_that_do_not_meet_lies_outside_both() -> None:
    apart = possible(KIND, {Kind.ONE: limit(0.3, 1.0), Kind.OTHER: limit(3.0, 4.0)})
    assert conform_together(volts(2.0), apart).judged.verdict is FAIL
    assert conform_together(volts(3.5), apart).judged.verdict is OPEN


@pytest.mark.parametrize(("y", "verdict"), [(14.0, PASS), (14.6, OPEN), (16.0, ADVICE)])
def test_a_limit_that_only_advises_cannot_fail_what_it_may_not_even_hold_for(
    y: float, verdict: Verdict
) -> None:
    free = attrs.evolve(BROAD, only_advises=True)
    told = conform_together(volts(y), possible(KIND, {Kind.ONE: NARROW, Kind.OTHER: free}))
    assert told.judged.verdict is verdict


def test_what_is_too_close_under_every_answer_asks_for_no_answer() -> None:
    wide = {Kind.ONE: limit(low=9.6, width=0.6), Kind.OTHER: limit(low=9.5, width=0.6)}
    told = conform_together(volts(9.6), possible(KIND, wide))
    assert (told.judged.verdict, told.depends_on) == (OPEN, None)


# ---- a condition that was not read


def at_both_ends(low: float, high: float) -> Possible[Value]:
    return possible(WARMTH, {263.15: volts(low), 313.15: volts(high)})


@pytest.mark.parametrize(
    ("cold", "hot", "verdict"),
    [
        (13.6, 14.3, PASS),
        (13.6, 14.5, OPEN),
        (14.5, 15.0, FAIL),
        (13.0, 13.4, FAIL),
        # below at one end and above at the other: somewhere between it lies inside
        (13.0, 15.0, OPEN),
    ],
)
def test_a_condition_is_decided_where_both_its_ends_lead_to_the_same(
    cold: float, hot: float, verdict: Verdict
) -> None:
    told = conform_together(at_both_ends(cold, hot), NARROW)
    assert told.judged.verdict is verdict
    assert told.depends_on is (WARMTH if verdict is OPEN else None)


def test_of_several_unknowns_the_one_whose_answers_decide_most_is_asked() -> None:
    by_rule = possible(
        RULE, {Rule.FREE: BROAD, Rule.FIXED: possible(KIND, {Kind.ONE: NARROW, Kind.OTHER: NARROW})}
    )
    told = conform_together(volts(15.0), by_rule)
    assert told.depends_on is RULE  # either kind fails it, so the kind makes no difference
    assert side_together(volts(15.0), by_rule).value == "undecided"


def test_what_depends_on_one_unknown_twice_is_taken_under_one_answer_at_a_time() -> None:
    warm = possible(WARMTH, {263.15: exact("voltage", 1.0), 313.15: exact("voltage", 2.0)})
    both = for_each(lambda one, other: one.number + other.number, warm, warm)
    assert isinstance(both, Possible)
    assert [found for _, found in both.candidates] == [2.0, 4.0]
    assert for_each(lambda one: one + 1, 2) == 3
