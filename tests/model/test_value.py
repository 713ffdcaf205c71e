"""Values and the uncertainty they carry.

Judge: JCGM 100:2008 (GUM), its worked examples, and the `uncertainties` library.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import fmean
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat, umath

from corekit.model.measurand import Accuracy
from corekit.model.value import Value, exact, propagate
from corekit.plugin.reading import budget

VOLTS = st.floats(0.1, 500)
UNCERTAINTIES = st.floats(1e-6, 0.05)
SHARES = st.floats(1e-6, 1e-3)


def plain(kind: str, number: float, u: float, source: str) -> Value:
    return Value(kind, number, {source: u}, frozenset({source}))


def metered(number: float, step: float, meter: str, entry: str) -> Value:
    """A reading of a meter whose sheet says ± (0.5 % of reading + 2 digits)."""
    return Value(
        "voltage",
        number,
        budget(Accuracy(percent=0.5, digits=2), step, number, meter, entry),
        frozenset({entry}),
    )


# ---- instruments


@pytest.mark.parametrize(
    ("reading", "step", "u"),
    [
        # JCGM 100:2008, 4.3.7: half-width a = reading · percent + digits · step, evenly likely, u = a / √3.
        pytest.param(12.41, 0.01, 0.0473716, id="core-unc-01"),
        pytest.param(0.048, 0.001, 0.0012933, id="core-unc-02"),
    ],
)
def test_a_sheet_of_percent_and_digits_becomes_an_uncertainty(reading: float, step: float, u: float) -> None:
    assert metered(reading, step, "meter", "r1").u == pytest.approx(u, abs=1e-6)


def test_a_budget_names_gain_by_meter_and_the_rest_by_reading() -> None:
    assert set(metered(12.0, 0.01, "meter-20 V", "r7").budget) == {"meter-20 V.gain", "r7.rest"}


def test_what_a_sheet_does_not_promise_has_no_place_in_the_budget() -> None:
    # u = a / √3, as above.
    assert budget(Accuracy(amount=0.3), 0.01, 5.0, "meter", "r1") == {
        "r1.rest": pytest.approx(0.3 / math.sqrt(3))
    }


@pytest.mark.parametrize("meters", [("one", "two")], ids=["core-unc-03"])
def test_a_drop_read_with_two_meters_keeps_both_uncertainties(meters: tuple[str, str]) -> None:
    # JCGM 100:2008, equation 10; `uncertainties` gives 0.07379264.
    drop = metered(14.2, 0.01, meters[0], "r1") - metered(13.95, 0.01, meters[1], "r2")
    assert drop.number == pytest.approx(0.25)
    assert drop.u == pytest.approx(0.0737926, abs=1e-6)


def test_a_drop_read_with_one_meter_is_known_better_because_its_gain_cancels() -> None:
    first, second = metered(14.2, 0.01, "one", "r1"), metered(13.95, 0.01, "one", "r2")
    drop = first - second
    # "Same range: u from the digits part only, plus what is left of the gain" (reasoning from JCGM 100:2008,
    # 5.2): 0.02 V each.
    assert drop.u == pytest.approx(math.sqrt(2 * 0.02**2 / 3), rel=0.01)
    assert drop.u < 0.0737926 / 2


# ---- propagation, worked examples


@pytest.mark.parametrize(
    ("function", "inputs", "number", "u", "rel"),
    [
        # GTC documentation, printed there as 6.67(23); the fourth digit recomputed with `uncertainties`.
        pytest.param(
            lambda v, i: v / i, ((0.1, 0.001), (0.015, 0.0005)), 6.6667, 0.2320, 2e-3, id="core-unc-04"
        ),
        # `uncertainties` 3.2.3.
        pytest.param(
            lambda v, i: v * i, ((14.2, 0.0525), (80.0, 1.5)), 1136.0, 21.71014, 1e-5, id="core-unc-07"
        ),
        # JCGM 100:2008, H.1 (inputs from memory), first order: 31.71 nm, published as 32; lengths in nm.
        pytest.param(
            lambda standard, d, d_alpha, theta, alpha, d_theta: (
                standard + d - standard * (d_alpha * theta + alpha * d_theta)
            ),
            ((50000623, 25), (215, 9.7), (0.0, 5.8e-7), (-0.1, 0.41), (1.15e-5, 1.2e-6), (0.0, 0.029)),
            50000838,
            31.71,
            1e-3,
            id="core-unc-08",
        ),
    ],
)
def test_a_result_carries_the_published_uncertainty(
    function: Callable[..., float],
    inputs: tuple[tuple[float, float], ...],
    number: float,
    u: float,
    rel: float,
) -> None:
    result = propagate(
        function, [plain("any", x, ux, f"r{place}") for place, (x, ux) in enumerate(inputs)], "any"
    )
    assert result.number == pytest.approx(number, rel=1e-5)
    assert result.u == pytest.approx(u, rel=rel)


IMPEDANCE: dict[str, Callable[..., float]] = {
    "R": lambda v, i, phi: v / i * math.cos(phi),
    "X": lambda v, i, phi: v / i * math.sin(phi),
    "Z": lambda v, i, phi: v / i,
}


def given_correlation(numbers: list[float], uncertainties: list[float], r: list[list[float]]) -> list[Value]:
    """Values whose budgets have the given correlations: the rows of the lower triangle of r (Cholesky), times
    u.
    """
    lower = [[0.0] * 3 for _ in range(3)]
    for row, column in ((0, 0), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2)):
        rest = r[row][column] - sum(lower[row][k] * lower[column][k] for k in range(column))
        lower[row][column] = math.sqrt(rest) if row == column else rest / lower[column][column]
    kinds = ("voltage", "current", "angle")
    return [
        Value(kind, x, {f"e{k}": u * part for k, part in enumerate(row)})
        for kind, x, u, row in zip(kinds, numbers, uncertainties, lower, strict=True)
    ]


def correlation(one: Value, other: Value) -> float:
    return sum(part * other.budget.get(source, 0.0) for source, part in one.budget.items()) / (
        one.u * other.u
    )


@pytest.mark.parametrize("source", ["JCGM 100:2008, H.2, rounded inputs"], ids=["core-unc-05"])
def test_given_correlations_travel_through_budgets(source: str) -> None:
    inputs = given_correlation(
        [4.999, 0.019661, 1.04446],
        [0.0032, 9.5e-6, 0.00075],
        [[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]],
    )
    out = {name: propagate(function, inputs, "resistance") for name, function in IMPEDANCE.items()}
    # As printed with these inputs in the GTC documentation of H.2: 127.732(70), 219.85(30), 254.26(24),
    # correlations to two digits.
    assert (round(out["R"].number, 3), round(out["X"].number, 2), round(out["Z"].number, 2)) == (
        127.732,
        219.85,
        254.26,
    )
    assert (round(out["R"].u, 2), round(out["X"].u, 2), round(out["Z"].u, 2)) == (0.07, 0.30, 0.24)
    pairs = (("R", "X", -0.59), ("R", "Z", -0.49), ("X", "Z", 0.99))
    assert [round(correlation(out[a], out[b]), 2) for a, b, _ in pairs] == [r for *_, r in pairs]


@pytest.mark.parametrize("source", ["JCGM 100:2008, H.2, five rows from memory"], ids=["core-unc-06"])
def test_rows_read_together_give_the_published_impedance(source: str) -> None:
    rows = [
        [5.007, 4.994, 5.005, 4.99, 4.999],
        [19.663, 19.639, 19.64, 19.685, 19.678],
        [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
    ]
    rows[1] = [milliampere / 1000 for milliampere in rows[1]]
    means = [fmean(row) for row in rows]
    off = [[x - mean for x in row] for row, mean in zip(rows, means, strict=True)]
    spread = [
        [sum(x * y for x, y in zip(one, other, strict=True)) / (5 * 4) for other in off] for one in off
    ]  # of the means
    uncertainties = [math.sqrt(spread[k][k]) for k in range(3)]
    inputs = given_correlation(
        means,
        uncertainties,
        [[spread[i][j] / uncertainties[i] / uncertainties[j] for j in range(3)] for i in range(3)],
    )
    out = {name: propagate(function, inputs, "resistance") for name, function in IMPEDANCE.items()}
    # Published: 127.732/0.071, 219.847/0.295, 254.260/0.236, r −0.588, −0.485, 0.993; further digits by
    # `uncertainties` 3.2.3.
    expected = {"R": (127.73217, 0.0710714), "X": (219.846512, 0.2955817), "Z": (254.259702, 0.2363361)}
    for name, (number, u) in expected.items():
        assert out[name].number == pytest.approx(number, rel=2e-5)
        assert out[name].u == pytest.approx(u, rel=2e-5)
    for a, b, r in (("R", "X", -0.58843), ("R", "Z", -0.48526), ("X", "Z", 0.99251)):
        assert correlation(out[a], out[b]) == pytest.approx(r, rel=2e-5)


def test_gum_h1_through_a_budget_equals_the_library() -> None:
    """JCGM 100:2008, H.1, lengths in nm, inputs from memory; published u = 32 nm to first order.

    `uncertainties` is the judge.
    """
    inputs = [(50000623, 25), (215, 9.7), (0.0, 5.8e-7), (-0.1, 0.41), (1.15e-5, 1.2e-6), (0.0, 0.029)]

    def length(standard: Any, d: Any, d_alpha: Any, theta: Any, alpha: Any, d_theta: Any) -> Any:
        return standard + d - standard * (d_alpha * theta + alpha * d_theta)

    judged = length(*(ufloat(x, u) for x, u in inputs))
    ours = propagate(length, [plain("any", x, u, f"r{place}") for place, (x, u) in enumerate(inputs)], "any")
    assert ours.number == pytest.approx(judged.nominal_value, rel=1e-12)
    assert ours.u == pytest.approx(judged.std_dev, rel=1e-6)
    assert round(ours.u) == 32


def test_gum_h2_through_budgets_equals_the_library() -> None:
    """JCGM 100:2008, H.2 with its rounded inputs and their correlations; `uncertainties` propagates the same
    three sources its own way.
    """
    numbers, uncertainties, r = (
        [4.999, 0.019661, 1.04446],
        [0.0032, 9.5e-6, 0.00075],
        [[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]],
    )
    inputs, sources = given_correlation(numbers, uncertainties, r), {f"e{k}": ufloat(0, 1) for k in range(3)}
    judges = [
        value.number + sum(part * sources[source] for source, part in value.budget.items())
        for value in inputs
    ]
    by_library: dict[str, Callable[..., Any]] = {
        "R": lambda v, i, phi: v / i * umath.cos(phi),
        "X": lambda v, i, phi: v / i * umath.sin(phi),
        "Z": lambda v, i, phi: v / i,
    }
    for name, formula in by_library.items():
        judged, ours = formula(*judges), propagate(IMPEDANCE[name], inputs, "resistance")
        assert ours.number == pytest.approx(judged.nominal_value, rel=1e-12)
        assert ours.u == pytest.approx(judged.std_dev, rel=1e-5)


# ---- propagation, held against the library

FORMULAS: dict[str, Callable[[Any, Any, Any], Any]] = {
    "quotient": lambda a, b, c: a / b,
    "product of all": lambda a, b, c: a * b * c,
    "divider": lambda a, b, c: a * b / (b + c),
    "mean of two less the third": lambda a, b, c: (a + b) / 2 - c,
    "root": lambda a, b, c: (a * b + c) ** 0.5,
}


@pytest.mark.parametrize("name", FORMULAS)
@given(numbers=st.tuples(VOLTS, VOLTS, VOLTS), share=SHARES, owns=st.tuples(SHARES, SHARES, SHARES))
def test_uncertainty_equals_that_of_the_library(
    name: str, numbers: tuple[float, ...], share: float, owns: tuple[float, ...]
) -> None:
    """One source shared by all three inputs and one of its own for each; small enough for first order to
    hold.
    """
    formula = FORMULAS[name]
    gain, apart = ufloat(0, 1), [(ufloat(0, 1), ufloat(0, 1)) for _ in numbers]
    judged = formula(
        *(x * (1 + share * gain + own * rest) for x, own, (rest, _) in zip(numbers, owns, apart, strict=True))
    )
    alone = formula(
        *(
            x * (1 + share * one + own * other)
            for x, own, (one, other) in zip(numbers, owns, apart, strict=True)
        )
    )
    ours = propagate(
        formula,
        [Value("any", x, {"gain": x * share, f"r{k}": x * owns[k]}) for k, x in enumerate(numbers)],
        "any",
    )
    assert ours.number == pytest.approx(judged.nominal_value, rel=1e-12, abs=1e-12)
    assert ours.u == pytest.approx(
        judged.std_dev, rel=1e-4, abs=1e-5 * alone.std_dev
    )  # what cancels leaves rounding behind


@given(VOLTS, VOLTS, UNCERTAINTIES, UNCERTAINTIES)
def test_a_shared_error_helps_a_difference_and_harms_a_sum(
    a: float, b: float, one: float, other: float
) -> None:
    def both(first: str, second: str) -> tuple[Value, Value]:
        pair = plain("voltage", a, one, first), plain("voltage", b, other, second)
        return pair[0] - pair[1], propagate(lambda x, y: x + y, pair, "voltage")

    (shared_gap, shared_sum), (gap, total) = both("meter.gain", "meter.gain"), both("r1.gain", "r2.gain")
    assert shared_gap.u < gap.u
    assert shared_sum.u > total.u


@given(st.lists(st.frozensets(st.text("abc", min_size=1, max_size=3)), min_size=1, max_size=5), st.data())
def test_evidence_is_the_union_also_of_what_adds_no_uncertainty(
    evidence: list[frozenset[str]], data: st.DataObject
) -> None:
    values = [Value("any", 1.0, {"x": 0.1} if data.draw(st.booleans()) else {}, rests) for rests in evidence]
    assert propagate(lambda *numbers: sum(numbers), values, "any").rests_on == frozenset().union(*evidence)


def test_a_value_taken_from_itself_is_nothing_without_uncertainty() -> None:
    value = plain("voltage", 12.6, 0.05, "r1")
    assert (value - value).u == 0.0


# ---- where a slope does not tell


def test_at_the_edge_of_a_range_the_inner_side_counts() -> None:
    # A root at 10⁻⁶ ± 0.01: the change to the inner side is √0.010001 − 0.001 = 0.0990; the derivative would
    # say 5.
    result = propagate(math.sqrt, [plain("ratio", 1e-6, 0.01, "r1")], "ratio")
    assert result.u == pytest.approx(math.sqrt(0.010001) - 0.001, rel=1e-9)


def test_at_the_upper_edge_the_lower_side_counts_with_its_sign() -> None:
    result = propagate(lambda x: math.sqrt(1.0 - x), [plain("ratio", 1.0, 0.04, "r1")], "ratio")
    assert result.budget["r1"] == pytest.approx(-0.2)  # √0.04 lost over a step of 0.04, falling


@pytest.mark.parametrize(
    ("function", "at", "u"),
    [
        pytest.param(lambda x: 1 / x, 1.0, 0.5, id="into division by zero"),  # 1 → 1/2 over a step of 1
        pytest.param(
            lambda x: math.exp(710 * x), 0.0, 1.0, id="beyond counting"
        ),  # e^710 cannot be counted; 1 → e^−710
        pytest.param(lambda x: math.inf if x > 3 else 2 * x, 3.0, 2.0, id="into the endless"),
    ],
)
def test_a_step_that_leads_nowhere_leaves_the_other_side(
    function: Callable[[float], float], at: float, u: float
) -> None:
    assert propagate(function, [plain("ratio", at, 1.0, "r1")], "ratio").u == pytest.approx(u)


def test_uncertainty_wider_than_the_range_is_refused() -> None:
    def narrow(x: float) -> float:
        if not 0.9 <= x <= 1.1:
            raise ValueError("outside")
        return x

    with pytest.raises(ValueError, match="both sides"):
        propagate(narrow, [plain("ratio", 1.0, 0.5, "r1")], "ratio")


def test_a_value_that_a_formula_cannot_take_is_refused_in_words() -> None:
    with pytest.raises(ValueError, match="Nothing can be computed from 0"):
        propagate(lambda x: 1 / x, [exact("ratio", 0.0)], "ratio")


def test_at_an_extremum_the_larger_change_counts() -> None:
    # (x − 5)² at 5 ± 0.1: the slope is zero, the change is 0.01 either way (JCGM 100:2008, 5.1.2 note:
    # first order is blind there).
    assert propagate(lambda x: (x - 5) ** 2, [plain("ratio", 5.0, 0.1, "r1")], "ratio").u == pytest.approx(
        0.01
    )
    lopsided = propagate(lambda x: 3 * x if x > 0 else -x, [plain("ratio", 0.0, 0.1, "r1")], "ratio")
    assert lopsided.u == pytest.approx(0.3)


def test_at_a_kink_half_a_step_counts() -> None:
    # A clamp at 21.1 with 21.0 ± 1: 0.1 up and 1 down, on average 0.55; a derivative would say 1.
    assert propagate(lambda x: min(x, 21.1), [plain("ratio", 21.0, 1.0, "r1")], "ratio").u == pytest.approx(
        0.55
    )


# ---- kinds


def test_readings_of_two_kinds_are_not_subtracted() -> None:
    with pytest.raises(ValueError, match="current cannot be taken from a voltage"):
        plain("voltage", 1.0, 0.1, "a") - plain("current", 1.0, 0.1, "b")


@pytest.mark.parametrize("kind", ["temperature", "pressure gauge", "pressure absolute"])
def test_a_difference_of_readings_on_a_scale_is_a_difference(kind: str) -> None:
    assert (exact(kind, 300.0) - exact(kind, 290.0)).kind == f"{kind.split(maxsplit=1)[0]} difference"


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_no_value_is_endless_or_not_a_number(number: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        exact("voltage", number)
    with pytest.raises(ValueError, match="uncertainty of a value must be finite"):
        Value("voltage", 1.0, {"r1": number})
