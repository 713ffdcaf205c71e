"""The rule over columns gives the verdicts of the scalar rule, row for row."""

from __future__ import annotations

import math
import os
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

if os.environ.get("COREKIT_CI") != "1":
    pytest.importorskip("numpy", reason="numpy is not installed (extra `columns`)")

import numpy as np

from corekit.judge import MIDDLE, REACH, Z, conform, lean
from corekit.judge_columns import BLOCK, VERDICTS, Ends, leanings
from corekit.model.limit import Limit
from corekit.model.source import Basis, Source, Status
from corekit.model.value import Value, exact

SOURCE = Source(key="s", title="A handbook", basis=Basis.HANDBOOK, status=Status.READ)
ROWS = 1_000_000


def scalar(numbers: list[float], u: list[float], low: float, high: float) -> list[str]:
    """The scalar rule's margins and verdict, one row after the other."""
    return [
        lean(y - low, uncertainty, high - y, uncertainty) for y, uncertainty in zip(numbers, u, strict=True)
    ]


def drawn(seed: int, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Readings around and on the limits: most at random, some exactly on an end or on a threshold, some
    without uncertainty.
    """
    draw = np.random.default_rng(seed)
    u = draw.choice([0.0, 0.01, 0.03, 0.1, 0.7], ROWS) * draw.choice([1.0, 1.0 + 2**-40], ROWS)
    anchors = np.array([end for end in (low, high) if math.isfinite(end)])
    near = draw.choice(anchors, ROWS)
    step = draw.choice([0.0, Z, -Z, MIDDLE, REACH, -REACH], ROWS)
    exactly = near + step * u
    numbers = np.where(draw.random(ROWS) < 0.5, exactly, near + draw.normal(0, 0.3, ROWS))
    return numbers, u


@pytest.mark.parametrize(
    ("low", "high"),
    [(12.4, math.inf), (-math.inf, 14.8), (13.8, 14.8), (13.8, 13.9), (12.4, 12.4)],
    ids=["low", "high", "both", "narrow", "one point"],
)
def test_a_million_rows_get_the_verdicts_of_the_scalar_rule(low: float, high: float) -> None:
    numbers, u = drawn(7, low, high)
    found = leanings(
        numbers, u, Ends(low=None if low == -math.inf else low, high=None if high == math.inf else high)
    )
    expected = np.array(
        [VERDICTS.index(verdict) for verdict in scalar(numbers.tolist(), u.tolist(), low, high)]
    )
    assert int((found != expected).sum()) == 0
    assert len(set(found.tolist())) >= 2


@pytest.mark.parametrize(
    "ends", [{"low": 12.4}, {"high": 14.8}, {"low": 13.8, "high": 14.8}, {"low": 12.3, "high": 12.5}], ids=str
)
def test_a_row_is_judged_as_the_same_value_against_the_same_limit(ends: dict[str, float]) -> None:
    numbers, u = drawn(11, ends.get("low", -math.inf), ends.get("high", math.inf))
    limit = Limit(
        key="k", source=SOURCE, why="exact", **{end: exact("voltage", number) for end, number in ends.items()}
    )
    found = leanings(numbers[:20_000], u[:20_000], Ends(**ends))
    for y, uncertainty, code in zip(numbers.tolist(), u.tolist(), found.tolist(), strict=False):
        assert (
            conform(Value("voltage", y, {"r": uncertainty} if uncertainty else {}), limit).leans
            is VERDICTS[code]
        )


@settings(max_examples=200, deadline=None)
@given(
    st.floats(-20, 20),
    st.floats(0, 2),
    st.floats(-20, 20),
    st.none() | st.floats(0, 20),
    st.floats(0, 1),
    st.floats(0, 1),
)
def test_a_computed_limit_brings_its_own_uncertainty(
    y: float, u: float, low: float, width: float | None, u_low: float, u_high: float
) -> None:
    low_end, high_end = (
        Value("voltage", low, {"a": u_low}),
        (None if width is None else Value("voltage", low + width, {"b": u_high})),
    )
    limit = Limit(key="k", source=SOURCE, why="computed", low=low_end, high=high_end)
    (code,) = leanings(
        [y], [u], Ends(low=low, u_low=u_low, high=None if width is None else low + width, u_high=u_high)
    )
    assert VERDICTS[code] is conform(Value("voltage", y, {"r": u}), limit).leans


def test_ends_may_be_columns_too_and_blocks_leave_no_seam() -> None:
    rows = 3 * BLOCK + 5
    numbers, low = np.linspace(10, 14, rows), np.linspace(14, 10, rows)
    found = leanings(numbers, 0.05, Ends(low=low, high=low + 2, u_low=np.full(rows, 0.01)))
    one_by_one = [
        int(leanings([y], 0.05, Ends(low=end, high=end + 2, u_low=0.01))[0])
        for y, end in zip(numbers[::97], low[::97], strict=True)
    ]
    assert found[::97].tolist() == one_by_one


@pytest.mark.parametrize(
    ("numbers", "u", "ends", "says"),
    [
        ([1.0, math.nan], 0.1, {"low": 1.0}, "Row 1: a value must be finite"),
        ([1.0, 2.0, 3.0], [0.1, 0.1, -0.1], {"low": 1.0}, "Row 2: u must be finite and not negative"),
        ([1.0], math.inf, {"low": 1.0}, "Row 0: u must be"),
        ([1.0, 1.0], 0.1, {"low": [1.0, math.inf]}, "Row 1: low must be finite"),
        ([1.0, 1.0], 0.1, {"low": 2.0, "high": [3.0, 1.0]}, "Row 1: the low end must not lie above"),
        ([1.0, 1.0], [0.1], {"low": 1.0}, "u: one number, or one for each of the 2 readings"),
        ([[1.0]], 0.1, {"low": 1.0}, "one column"),
        ([0.0] * BLOCK + [math.nan], 0.1, {"low": 1.0}, f"Row {BLOCK}: a value"),
    ],
)
def test_what_no_value_or_limit_could_be_is_refused_with_its_row(
    numbers: list[float], u: float, ends: dict[str, float], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        leanings(numbers, u, Ends(**ends))


def test_a_limit_without_ends_is_refused() -> None:
    with pytest.raises(ValueError, match="low end, a high end or both"):
        Ends()


def test_an_empty_column_has_no_verdicts() -> None:
    assert leanings([], 0.1, Ends(low=1.0)).tolist() == []


def test_numpy_is_loaded_by_columns_alone_and_its_absence_is_said_in_words() -> None:
    code = (
        "import sys; import corekit.judge, corekit.assess.assessment, corekit.desk.check; assert 'numpy' not"
        " in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    code = (
        "import sys; sys.modules['numpy'] = None\ntry:\n    import corekit.judge_columns\nexcept ImportError"
        " as e:\n    print(e)"
    )
    said = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
    assert "install corekit[columns]" in said


def test_a_column_is_judged_with_the_widths_of_its_limit() -> None:
    ends = (Value("voltage", 13.5, {"width": 0.15}), Value("voltage", 14.8, {"width": 0.1}))
    limit = Limit(key="k", source=SOURCE, why="differs", low=ends[0], high=ends[1])
    numbers, u = drawn(17, 13.5, 14.8)
    found = leanings(numbers[:5_000], u[:5_000], Ends.of(limit))
    for y, uncertainty, code in zip(numbers.tolist(), u.tolist(), found.tolist(), strict=False):
        value = Value("voltage", y, {"r": uncertainty} if uncertainty else {})
        assert VERDICTS[code] is conform(value, limit).leans
