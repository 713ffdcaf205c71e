"""Spans, limits and what a source is worth."""

from __future__ import annotations

import attrs
import pytest

from corekit.model.finding import Text
from corekit.model.limit import Limit, Span, known_to
from corekit.model.source import Basis, Source, Status
from corekit.model.value import Value, exact


def source(basis: Basis = Basis.HANDBOOK, status: Status = Status.READ) -> Source:
    return Source(key="s", title="A handbook", where="table 3", basis=basis, status=status)


def test_both_ends_of_a_span_belong_to_it() -> None:
    span = Span(1.0, 2.0)
    assert [span.holds(number) for number in (0.999, 1.0, 1.5, 2.0, 2.001)] == [
        False,
        True,
        True,
        True,
        False,
    ]
    assert Span(None, 2.0).holds(-1e9)
    assert Span(1.0, None).holds(1e9)


def test_ends_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(ValueError, match=r"low end .*above"):
        Span(2.0, 1.0)
    with pytest.raises(ValueError, match=r"low end .*above"):
        Limit(key="k", source=source(), low=exact("voltage", 2.0), high=exact("voltage", 1.0))


def test_a_limit_needs_an_end_and_ends_of_one_kind() -> None:
    with pytest.raises(ValueError, match="needs a low end"):
        Limit(key="k", source=source())
    with pytest.raises(ValueError, match="one kind"):
        Limit(key="k", source=source(), low=exact("voltage", 1.0), high=exact("current", 2.0))


@pytest.mark.parametrize("status", Status)
@pytest.mark.parametrize("basis", Basis)
def test_whatever_its_source_a_limit_decides_once_somebody_says_how_well_it_is_known(
    basis: Basis, status: Status
) -> None:
    bare = Limit(key="k", source=source(basis, status), low=exact("voltage", 1.0))
    told = attrs.evolve(bare, why="sources differ by as much")
    assert (bare.decides, told.decides, attrs.evolve(told, only_advises=True).decides) == (False, True, False)


@pytest.mark.parametrize("status", Status)
@pytest.mark.parametrize("basis", Basis)
def test_only_what_was_read_in_a_document_can_be_exact(basis: Basis, status: Status) -> None:
    weak = basis in {"practice", "estimate"} or status in {"memory", "none"}
    assert source(basis, status).can_be_exact is not weak


def test_half_a_width_is_the_standard_uncertainty_beside_what_the_end_rests_on() -> None:
    assert known_to(exact("voltage", 9.6), 0.6, "k").u == pytest.approx(0.3)
    # 0.4 V of a reading and 0.3 V of the rule: the root of the sum of squares
    assert known_to(Value("voltage", 9.6, {"r": 0.4}), 0.6, "k").u == pytest.approx(0.5)
    assert known_to(exact("voltage", 9.6), 0.0, "k") == exact("voltage", 9.6)


@pytest.mark.parametrize(
    ("status", "named"),
    [(Status.READ, "A handbook, table 3"), (Status.MEMORY, "A handbook, table 3 (from memory)")],
)
def test_paper_names_a_source_with_its_place_and_how_we_know(status: Status, named: str) -> None:
    assert source(status=status).named == named


def test_braces_in_a_value_are_no_places() -> None:
    assert (
        str(Text("{place}: {value}", {"place": "{value} {0} {x.y}", "value": "12 V"}))
        == "{value} {0} {x.y}: 12 V"
    )
