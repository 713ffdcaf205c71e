"""Verdicts. Judge: JCGM 106:2012 (from memory), ILAC-G8:09/2019, and the normal distribution of the standard
library.
"""

from __future__ import annotations

import random
from itertools import pairwise
from statistics import NormalDist

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.judge import Side, Z, conform, normal, side
from corekit.model.finding import Verdict
from corekit.model.limit import Limit
from corekit.model.source import Basis, Source, Status
from corekit.model.value import Value, exact

SOUND = Source(key="s", title="A handbook", basis=Basis.HANDBOOK, status=Status.READ)
NUMBER = st.floats(-100, 100)
UNCERTAINTY = st.floats(0, 10)
ORDER = [Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS]


def limit(
    low: float | None = None,
    high: float | None = None,
    source: Source = SOUND,
    why: str = "exact",
) -> Limit:
    ends = [None if end is None else exact("voltage", end) for end in (low, high)]
    return Limit(key="k", source=source, low=ends[0], high=ends[1], why=why)


def read(number: float, u: float) -> Value:
    return Value("voltage", number, {"r": u} if u else {})


# ---- worked examples


@pytest.mark.parametrize(
    ("y", "u", "ends", "chance", "room"),
    [
        pytest.param(
            -5.47, 0.05, {"high": -5.40}, 0.91924, 1e-5, id="core-conf-01"
        ),  # JCGM 106:2012, 7.3.3 example 1, published 0.92
        pytest.param(12.45, 0.05, {"low": 12.4}, 0.841345, 1e-6, id="core-conf-02-above"),  # Φ(1)
        pytest.param(12.40, 0.05, {"low": 12.4}, 0.5, 1e-6, id="core-conf-02-at"),
        pytest.param(12.35, 0.05, {"low": 12.4}, 0.158655, 1e-6, id="core-conf-02-below"),
        pytest.param(
            14.75, 0.053, {"low": 13.8, "high": 14.8}, 0.827261, 1e-6, id="core-conf-04"
        ),  # JCGM 106:2012, 7.4
    ],
)
def test_the_chance_of_conforming_is_the_published_one(
    y: float, u: float, ends: dict[str, float], chance: float, room: float
) -> None:
    assert conform(read(y, u), limit(**ends)).probability == pytest.approx(chance, abs=room)


@pytest.mark.parametrize(
    ("y", "risk"),
    [
        pytest.param(12.5, 0.02275, id="core-conf-03-w=U"),  # ILAC-G8:09/2019, guard band U = 2u
        pytest.param(12.497998, 0.025, id="core-conf-03-2.5%"),
        pytest.param(12.48224, 0.05, id="core-conf-03-5%"),
    ],
)
def test_a_guard_band_leaves_the_risk_it_promises(y: float, risk: float) -> None:
    outcome = conform(read(y, 0.05), limit(low=12.4))
    assert 1 - outcome.probability == pytest.approx(risk, abs=1e-5)


def test_the_first_pass_stands_one_guard_band_inside_the_limit() -> None:
    # core-conf-03: the acceptance limit for a risk of 5 % is 12.48224 V.
    at = [conform(read(y, 0.05), limit(low=12.4)).verdict for y in (12.48224, 12.48225, 12.31776, 12.31775)]
    assert at == [Verdict.UNDECIDED, Verdict.PASS, Verdict.UNDECIDED, Verdict.FAIL]


def test_the_quantile_is_the_one_of_95_percent() -> None:
    assert pytest.approx(NormalDist().inv_cdf(0.95), abs=1e-12) == Z


@given(st.floats(-8, 8))
def test_the_normal_distribution_is_the_library_s(z: float) -> None:
    assert normal(z) == pytest.approx(NormalDist().cdf(z), abs=1e-12)


# ---- laws


@given(NUMBER, NUMBER, UNCERTAINTY, st.floats(0, 50))
def test_a_reading_further_inside_is_never_judged_worse(y: float, end: float, u: float, step: float) -> None:
    low, high = limit(low=end), limit(high=end)
    assert ORDER.index(conform(read(y, u), low).verdict) <= ORDER.index(
        conform(read(y + step, u), low).verdict
    )
    assert ORDER.index(conform(read(y, u), high).verdict) <= ORDER.index(
        conform(read(y - step, u), high).verdict
    )


@given(NUMBER, st.floats(0.01, 50), UNCERTAINTY, st.floats(0, 60), st.floats(0, 50))
def test_a_reading_nearer_to_the_middle_is_never_judged_worse(
    low: float, width: float, u: float, off: float, step: float
) -> None:
    both, middle = limit(low=low, high=low + width), low + width / 2
    nearer, further = conform(read(middle + off, u), both), conform(read(middle + off + step, u), both)
    assert nearer.probability >= further.probability - 1e-12
    assert ORDER.index(nearer.verdict) >= ORDER.index(further.verdict)


@given(NUMBER, NUMBER, UNCERTAINTY)
def test_more_uncertainty_never_decides_what_less_uncertainty_left_open(
    y: float, end: float, u: float
) -> None:
    before, after = conform(read(y, u), limit(low=end)), conform(read(y, 2 * u + 0.01), limit(low=end))
    assert after.verdict in (Verdict.UNDECIDED, before.verdict)


@given(NUMBER, NUMBER, UNCERTAINTY)
def test_low_and_high_limits_mirror_each_other(y: float, end: float, u: float) -> None:
    below, above = conform(read(y, u), limit(low=end)), conform(read(-y, u), limit(high=-end))
    assert (below.verdict, below.probability) == (above.verdict, above.probability)


@given(NUMBER, NUMBER, st.floats(1e-3, 10))
def test_verdict_and_printed_chance_agree(y: float, end: float, u: float) -> None:
    outcome = conform(read(y, u), limit(low=end))
    expected = (
        Verdict.PASS
        if outcome.probability >= 0.95
        else Verdict.FAIL
        if outcome.probability <= 0.05
        else Verdict.UNDECIDED
    )
    assert (
        outcome.verdict is expected or min(abs(outcome.probability - edge) for edge in (0.05, 0.95)) < 1e-12
    )


@pytest.mark.parametrize(
    "ends",
    [
        {"low": 12.4},
        {"high": 12.4},
        {"low": 12.4, "high": 13.0},
        {"low": 12.0, "high": 12.4},
        {"low": 12.4, "high": 12.4},
    ],
    ids=str,
)
def test_without_uncertainty_the_limit_itself_belongs_to_what_is_allowed(ends: dict[str, float]) -> None:
    outcome = conform(read(12.4, 0.0), limit(**ends))
    assert (outcome.verdict, outcome.probability, outcome.unfit) == (Verdict.PASS, 1.0, False)


def test_uncertainty_that_reading_and_limit_share_cancels() -> None:
    reading = Value("voltage", 12.5, {"meter.gain": 0.2, "r": 0.01})
    computed = Limit(key="k", source=SOUND, why="computed", low=Value("voltage", 12.4, {"meter.gain": 0.2}))
    assert conform(reading, computed).verdict is Verdict.PASS
    assert conform(reading, limit(low=12.4)).verdict is Verdict.UNDECIDED


def test_the_uncertainty_of_a_computed_limit_counts() -> None:
    computed = Limit(key="k", source=SOUND, why="computed", low=Value("voltage", 12.4, {"model": 0.2}))
    assert conform(read(12.5, 0.01), computed).verdict is Verdict.UNDECIDED


# ---- what a limit is worth


WEAK = [limit(low=12.4, why=""), attrs.evolve(limit(low=12.4), only_advises=True)]


@pytest.mark.parametrize("weak", WEAK, ids=["without a width", "its author says so"])
@pytest.mark.parametrize(
    ("y", "leans"), [(13.0, Verdict.PASS), (12.4, Verdict.UNDECIDED), (11.0, Verdict.FAIL)]
)
def test_a_weak_limit_only_advises_and_says_where_the_number_leans(
    weak: Limit, y: float, leans: Verdict
) -> None:
    outcome = conform(read(y, 0.05), weak)
    assert (outcome.verdict, outcome.leans) == (Verdict.ADVICE, leans)


def test_a_reading_of_another_kind_is_not_judged() -> None:
    with pytest.raises(ValueError, match="cannot be taken from"):
        conform(exact("current", 1.0), limit(low=12.4))


# ---- an uncertainty as wide as the limit


@given(NUMBER, st.floats(0.01, 50), st.floats(1e-3, 50))
def test_unfit_means_that_not_even_the_middle_could_pass(low: float, width: float, u: float) -> None:
    both = limit(low=low, high=low + width)
    middle = conform(read(low + width / 2, u), both)
    if abs(middle.probability - 0.95) > 1e-9:
        assert middle.unfit is (middle.verdict is not Verdict.PASS)


def test_an_instrument_too_coarse_for_a_narrow_limit_is_named_unfit() -> None:
    # JCGM 106:2012, 8.3: two guard bands of 1.645 u leave nothing between them. Between them and 1.96 u no
    # reading reaches 95 % either.
    assert [conform(read(14.3, 1 / z), limit(low=13.3, high=15.3)).unfit for z in (1.6, 1.8, 1.95, 1.97)] == [
        True,
        True,
        True,
        False,
    ]


def test_a_one_sided_limit_can_always_be_passed() -> None:
    assert not conform(read(12.4, 50.0), limit(low=12.4)).unfit


# ---- what would decide it


def test_a_reading_left_open_names_the_uncertainty_that_would_decide_it() -> None:
    # 50 mV inside the limit with 1.645 u = 50 mV: u = 0.0303978 V (ILAC-G8:09/2019, guard band for a risk of
    # 5 %).
    outcome = conform(read(12.45, 0.05), limit(low=12.4))
    assert outcome.needed == pytest.approx(0.05 / NormalDist().inv_cdf(0.95), rel=1e-9)
    assert conform(read(12.4, 0.05), limit(low=12.4)).needed is None  # on the limit itself: nothing could
    assert conform(read(12.6, 0.05), limit(low=12.4)).needed is None  # decided


def test_an_unfit_instrument_is_told_what_the_middle_of_the_limit_takes() -> None:
    outcome = conform(read(14.9, 1.2), limit(low=13.3, high=15.3))
    assert (outcome.unfit, outcome.needed) == (
        True,
        pytest.approx(1.0 / NormalDist().inv_cdf(0.975), rel=1e-9),
    )


@pytest.mark.parametrize(("high", "risk"), [(12.5, 0.975), (13.4, 0.95)])
def test_where_both_ends_are_in_reach_the_reading_must_be_as_good_as_for_two_ends(
    high: float, risk: float
) -> None:
    # 0.15 V inside the lower end. With u = 0.15 / 1.645 V the upper end at 12.5 V is 2.7 u away and takes its
    # own share of the risk, so u = 0.15 / 1.960 V is asked for (5 % to both sides together); one at 13.4 V is
    # 13 u away, and the lower end alone counts (JCGM 106:2012, 8.3).
    outcome = conform(read(12.25, 0.1), limit(low=12.1, high=high))
    assert (outcome.verdict, outcome.unfit) == (Verdict.UNDECIDED, False)
    assert outcome.needed == pytest.approx(0.15 / NormalDist().inv_cdf(risk), rel=1e-9)


def test_what_the_limit_itself_brings_in_is_left_out_of_what_the_reading_may_have() -> None:
    computed = Limit(key="k", source=SOUND, why="computed", low=Value("voltage", 12.4, {"model": 0.03}))
    whole = 0.1 / NormalDist().inv_cdf(0.95)
    assert conform(read(12.5, 0.08), computed).needed == pytest.approx((whole**2 - 0.03**2) ** 0.5, rel=1e-9)
    hazy = Limit(key="k", source=SOUND, why="computed", low=Value("voltage", 12.4, {"model": 0.07}))
    assert conform(read(12.5, 0.08), hazy).needed is None


@given(NUMBER, NUMBER, st.floats(0.01, 50) | st.none(), st.floats(1e-3, 10))
def test_the_uncertainty_that_is_named_does_decide_it(
    y: float, end: float, width: float | None, u: float
) -> None:
    judged_by = limit(low=end, high=None if width is None else end + width)
    outcome = conform(read(y, u), judged_by)
    if outcome.needed is not None and outcome.needed > 1e-9:
        at = y if not outcome.unfit or width is None else end + width / 2
        assert conform(read(at, outcome.needed * (1 - 1e-9)), judged_by).verdict is not Verdict.UNDECIDED


# ---- limits of a difference


def test_a_drop_read_with_one_meter_is_decided_where_two_meters_leave_it_open() -> None:
    # 12.60 V and 12.30 V with 0.5 % gain: u of the drop is 0.3 · 0.005 / √3 shared, √(12.6² + 12.3²) · 0.005
    # / √3 = 0.051 apart.
    def drop(one: str, other: str) -> Verdict:
        gain = 0.005 / 3**0.5
        above, below = (
            Value("voltage", 12.60, {one: 12.60 * gain}),
            Value("voltage", 12.30, {other: 12.30 * gain}),
        )
        return conform(above - below, limit(high=0.25)).verdict

    assert (drop("meter.gain", "meter.gain"), drop("meter.gain", "other.gain")) == (
        Verdict.FAIL,
        Verdict.UNDECIDED,
    )


def test_a_difference_has_the_slopes_of_a_difference_exactly() -> None:
    gap = Value("voltage", 1e6, {"a": 1e-9}) - Value("voltage", 1.0, {"b": 2e-9})
    assert dict(gap.budget) == {"a": 1e-9, "b": -2e-9}


# ---- what the rule is for


@pytest.mark.parametrize("end", ["low", "high"])
def test_what_lies_exactly_on_the_limit_passes_wrongly_in_one_of_twenty_at_most(end: str) -> None:
    draw, times, u = random.Random(20260701), 40_000, 0.05
    passed = sum(
        conform(read(draw.gauss(12.4, u), u), limit(**{end: 12.4})).verdict is Verdict.PASS
        for _ in range(times)
    )
    # 5 % and three standard deviations of the count; and no guard band wider than needed either.
    sigma = (0.05 * 0.95 / times) ** 0.5
    assert abs(passed / times - 0.05) <= 3 * sigma


@pytest.mark.parametrize("steps", [pytest.param(60_000, id="core-conf-05")])
def test_the_risks_of_an_inspection_come_out_as_the_guide_has_them(steps: int) -> None:
    """JCGM 106:2012 clause 9.5 (inputs read in a public script; results by numerical integration, about 0.01
    and 0.07 in the guide, from memory).

    Items come from a process of mean 1500 Ω and standard deviation 0.12 Ω and are read with u = 0.04 Ω;
    tolerance ± 0.2 Ω, acceptance ± 0.18 Ω. Integrated here over the process with this project's own normal
    distribution.
    """
    mean, spread, u, tolerance, acceptance = 1500.0, 0.12, 0.04, 0.2, 0.18
    edges = [mean + spread * (12 * n / steps - 6) for n in range(steps + 1)]
    conform_at = accepted_bad = refused_good = 0.0
    for low, high in pairwise(edges):
        share = normal((high - mean) / spread) - normal((low - mean) / spread)
        true = (low + high) / 2
        accepted = normal((mean + acceptance - true) / u) - normal((mean - acceptance - true) / u)
        if abs(true - mean) <= tolerance:
            conform_at += share
            refused_good += share * (1 - accepted)
        else:
            accepted_bad += share * accepted
    assert (conform_at, accepted_bad, refused_good) == pytest.approx((0.90442, 0.00988, 0.06903), abs=2e-5)


# ---- sides


@given(NUMBER, UNCERTAINTY, NUMBER, st.floats(0, 50), st.sampled_from(["low", "high", "both"]))
def test_the_side_never_contradicts_the_verdict(
    y: float, u: float, end: float, width: float, ends: str
) -> None:
    limits = {"low": limit(low=end), "high": limit(high=end), "both": limit(low=end, high=end + width)}[ends]
    leans, where = conform(read(y, u), limits).leans, side(read(y, u), limits)
    assert (where is Side.INSIDE) == (leans is Verdict.PASS)
    if where in (Side.BELOW, Side.ABOVE):
        assert leans is Verdict.FAIL
    if where is Side.BELOW:
        assert limits.low is not None and y < limits.low.number + 1e-9
    if where is Side.ABOVE:
        assert limits.high is not None and y > limits.high.number - 1e-9


@pytest.mark.parametrize(
    ("y", "u", "where"),
    [
        (12.0, 0.05, Side.BELOW),
        (12.39, 0.05, Side.UNDECIDED),
        (12.41, 0.05, Side.UNDECIDED),
        (12.6, 0.05, Side.INSIDE),
        (13.2, 0.05, Side.ABOVE),
        (
            12.7,
            5.0,
            Side.UNDECIDED,
        ),  # the limit is far narrower than the uncertainty: it fails at neither end
    ],
)
def test_a_value_lies_below_inside_above_or_too_close_to_say(y: float, u: float, where: Side) -> None:
    assert side(read(y, u), limit(low=12.4, high=13.0)) is where
