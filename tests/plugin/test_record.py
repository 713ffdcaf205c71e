"""A record as a check sees it. Judge: arithmetic by hand, and JCGM 100:2008 for uncertainties."""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterator
from typing import Annotated, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.model.finding import Reason
from corekit.plugin.case import Case
from corekit.plugin.check import declare, run
from corekit.plugin.record import record_words, time_words
from corekit.testing import Bench

van = ck.System("van", "Van")
current = van.measurand(
    "current", "A", "Current", possible=(0, 100), usual=(0, 20), accuracy="0.3 A", places=("left", "right")
)
supply = van.measurand("supply", "V", "Supply", possible=(0, 50), usual=(0, 40), accuracy="0.6 V")
water = van.measurand("water", "°C", "Coolant", possible=(-40, 150), usual=(0, 110), accuracy="3 °C")
log = van.record("log", "Log", of=current, settled=("0.1 A", "10 s"), places=())
sides = van.record("sides", "Log of a side", of=current)
ramp = van.record("ramp", "Ramp", of=current, over=supply, places=())
warm_up = van.record("warm_up", "Warm-up", of=water, over="min", settled=("1 °C", "2 min"))


def record(*points: tuple[float, float], of: ck.Sampling = log, **more: Any) -> ck.Record:
    over, samples = zip(*points, strict=True)
    return ck.Record(sampling=of, over=over, samples=samples, entry="e", **more)


ROOT3 = math.sqrt(3)
FALLING = record((0, 10), (10, 4), (20, 1.05), (25, 0.95), (30, 1.0))


def test_its_extremes_and_ends_are_those_of_the_samples_with_the_instruments_uncertainty() -> None:
    assert [one.number for one in (FALLING.lowest, FALLING.highest, FALLING.first, FALLING.last)] == [
        0.95,
        10,
        10,
        1.0,
    ]
    assert (FALLING.lowest_at, FALLING.highest_at, FALLING.length, FALLING.count) == (25, 0, 30, 5)
    # ± 0.3 A, evenly likely
    assert FALLING.highest.u == pytest.approx(0.3 / ROOT3)
    assert FALLING.highest.rests_on == {"e"}
    assert "no instrument named" in FALLING.sheet


def test_between_two_samples_it_may_be_anything_from_one_to_the_other() -> None:
    on, between = FALLING.at(10), FALLING.at(12.5)
    assert on is not None and between is not None
    assert (on.number, on.u) == (4, pytest.approx(0.3 / ROOT3))
    # A quarter of the way from 4 A to 1.05 A: 3.2625 A, and 2.2125 A to the farther of the two
    assert between.number == pytest.approx(3.2625)
    assert between.u == pytest.approx(math.hypot(0.3, 2.2125) / ROOT3)
    assert FALLING.at(-0.1) is None and FALLING.at(30.1) is None and FALLING.at(0) is not None


def test_how_well_the_scale_is_known_counts_by_the_slope_there() -> None:
    # 2 A for every V; ± 0.6 V is ± 1.2 A
    found = record((5, 0), (10, 10), of=ramp).at(10)
    assert found is not None and found.u == pytest.approx(math.hypot(0.3, 1.2) / ROOT3)


def test_a_part_of_it_is_a_record_again() -> None:
    part = FALLING.between(10, 25)
    assert part is not None and (part.over, part.samples) == ((10, 20, 25), (4, 1.05, 0.95))
    assert FALLING.between(11, 20) is None and FALLING.between(31, 40) is None


def test_it_has_settled_where_to_its_end_all_lie_as_close_as_declared() -> None:
    settled = FALLING.settled
    assert settled is not None
    # mean of 1.05, 0.95 and 1.0; they scatter by sqrt((0.05² + 0.05²) / 3)
    assert settled.value.number == pytest.approx(1.0)
    assert settled.value.u == pytest.approx(math.sqrt(0.3**2 / 3 + 0.005 / 3))
    # It began between the samples at 10 s and 20 s.
    assert (settled.since.kind, settled.since.number, settled.lasting) == ("time", 15, 10)
    assert settled.since.u == pytest.approx(5 / ROOT3)


@pytest.mark.parametrize(
    ("points", "settles"),
    [
        ([(0, 5), (10, 1.0), (20, 1.2)], True),  # just as far apart as ± 0.1 A allows
        ([(0, 5), (10, 1.0), (20, 1.21)], False),
        ([(0, 5), (10, 1), (19.9, 1)], False),  # 9.9 s of 10 s
        ([(0, 5), (10, 1), (20, 1)], True),
        ([(0, 1), (10, 1), (20, 1), (21, 5)], False),  # it woke up at the end
        ([(0, 1), (10, 1), (12, 5), (14, 1), (23, 1)], False),
    ],
)
def test_it_has_settled_just_inside_and_not_just_outside_of_the_declaration(
    points: list[tuple[float, float]], settles: bool
) -> None:
    assert (record(*points).settled is not None) is settles


def test_what_was_steady_all_along_settled_at_its_first_sample() -> None:
    settled = record((5, 1), (20, 1)).settled
    assert settled is not None and (settled.since.number, settled.since.u, settled.lasting) == (5, 0, 15)


def test_what_is_declared_without_settling_never_settles() -> None:
    assert record((0, 1), (1000, 1), of=ramp).settled is None


def test_a_change_keeps_the_digits_of_both_readings_and_next_to_nothing_of_the_percentage() -> None:
    bench = Bench(van).describe("meter", "10 %")
    made = bench.record("log", ("0 s", "10 A"), ("10 s", "4 A"), using="meter").records["van.log", ""]
    change = made.change(0, 10)
    # ± 10 % of - 6 A
    assert change is not None and change.number == -6
    assert change.u == pytest.approx(0.6 / ROOT3)
    change = FALLING.change(0, 10)
    assert change is not None and change.u == pytest.approx(math.sqrt(2) * 0.3 / ROOT3)
    assert FALLING.change(0, 99) is None


def test_a_change_of_temperature_is_a_difference() -> None:
    change = record((0, 293.15), (60, 313.15), of=warm_up).change(0, 60)
    assert change is not None and (change.kind, change.number) == (
        "temperature difference",
        pytest.approx(20),
    )


def test_a_slope_is_that_of_the_straight_line_and_no_better_known_than_its_ends() -> None:
    slope = record((0, 1), (1, 3), (2, 5), (3, 7)).slope
    assert slope.number == pytest.approx(2)
    assert slope.u == pytest.approx(math.sqrt(2) * 0.3 / ROOT3 / 3)
    # ± 10 % of the reading is ± 10 % of the slope, of - 0.6 A/s
    bench = Bench(van).describe("meter", "10 %")
    made = bench.record("log", ("0 s", "10 A"), ("10 s", "4 A"), using="meter").records["van.log", ""]
    assert made.slope.number == pytest.approx(-0.6) and made.slope.u == pytest.approx(0.06 / ROOT3)
    # Least squares through (0, 0), (1, 0), (2, 3): 3 / 2
    assert record((0, 0), (1, 0), (2, 3)).slope.number == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("over", "samples"), [((0,), (1,)), ((0, 1), (1,)), ((0, 0), (1, 1)), ((1, 0), (1, 1)), ((), ())]
)
def test_what_is_no_record_cannot_be_made(over: tuple[float, ...], samples: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="record"):
        ck.Record(sampling=log, over=over, samples=samples)


samples = st.lists(st.floats(0, 100), min_size=2, max_size=30)


@given(samples, st.floats(0, 1))
def test_every_value_lies_between_the_lowest_and_the_highest_and_is_known_no_better_than_read(
    numbers: list[float], part: float
) -> None:
    made = record(*enumerate(numbers))
    found = made.at(part * made.length)
    assert found is not None
    assert made.lowest.number - 1e-9 <= found.number <= made.highest.number + 1e-9
    assert found.u >= 0.3 / ROOT3 - 1e-12


@given(samples, st.floats(0.01, 50), st.floats(0.5, 20))
def test_what_settled_does_so_within_what_was_asked(
    numbers: list[float], within: float, lasting: float
) -> None:
    made = record(*enumerate(numbers))
    settled = made.settled_within(within, lasting)
    if settled is not None:
        tail = made.between(made.end - settled.lasting, made.end)
        assert tail is not None and settled.lasting >= lasting
        assert max(tail.samples) - min(tail.samples) <= 2 * within + 1e-6
        assert min(tail.samples) - 1e-9 <= settled.value.number <= max(tail.samples) + 1e-9


def test_a_record_goes_to_another_process_and_back() -> None:
    assert pickle.loads(pickle.dumps(FALLING)) == FALLING


# ---- in words


def test_it_is_told_in_one_line() -> None:
    words = record_words(FALLING)
    assert words.startswith(
        "5 samples over 30 s; lowest 1.0 A ± 0.3 A (k = 2); highest 10.0 A ± 0.3 A (k = 2)"
    )
    assert "settled at 1.0 A ± 0.4 A (k = 2) from 15 s on (within ± 0.1 A for 10 s and to its end)" in words
    assert "not settled" in record_words(record((0, 1), (10, 9)))
    over = record_words(record((1, 1), (5, 9), of=ramp))
    assert over.startswith("2 samples over 1 to 5 V, supply;") and "settled" not in over


def test_times_are_told_in_the_unit_of_their_size() -> None:
    assert [time_words(seconds) for seconds in (0.5, 0.51, 180, 181, 10800, 10801)] == [
        "500 ms", "0.51 s", "180 s", "3.02 min", "180 min", "3 h",
    ]  # fmt: skip


# ---- declared


def test_a_record_takes_from_its_measurand_what_it_does_not_say() -> None:
    assert (sides.places, sides.unit, sides.of.usual) == (("left", "right"), "A", current.usual)
    assert log.places == () and log.over_unit == "s" and log.over_possible.low == 0.0
    assert ramp.over_possible == supply.possible and ramp.over_title == "Supply"
    assert warm_up.settling is not None and warm_up.settling.within == pytest.approx(1)
    assert warm_up.settling.lasting == pytest.approx(120)


@pytest.mark.parametrize(
    ("declared", "words"),
    [
        ({"over": "A"}, "neither"),
        ({"unit": "V"}, "of its kind"),
        ({"settled": ("0 A", "10 s")}, "more than 0"),
        ({"settled": ("1 A", "0 s")}, "more than 0"),
        ({"settled": ("1 V", "10 s")}, "1 V"),
        ({"name": "current"}, "declared twice"),
    ],
)
def test_a_declaration_that_cannot_be_meant_is_refused(declared: dict[str, Any], words: str) -> None:
    system = ck.System("fresh", "Fresh")
    of = system.measurand("current", "A", "Current", possible=(0, 9), usual=(0, 9), accuracy="1 A")
    with pytest.raises(ValueError, match=words):
        system.record(declared.pop("name", "log"), "Log", of=of, **declared)


# ---- as a check's parameter


def needs(case: ck.Case, over: Annotated[ck.Record, log]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("van.last", unit="A"), "It ends at {value}.", over.last)


def wants(
    case: ck.Case, over: Annotated[ck.Record | None, log], at: Annotated[list[ck.Record], sides]
) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("van.seen"), f"{over is not None}, {[one.place for one in at]}")


def test_a_record_that_a_check_needs_and_is_not_there_is_a_gap_that_names_it() -> None:
    (gap,) = run(declare(needs, "T"), Bench(van).case())
    assert isinstance(gap, ck.Gap) and (gap.reason, gap.wants) == (Reason.NOT_MEASURED, "van.log")
    assert gap.text == "Log: not recorded."


def test_a_record_that_is_there_is_given_and_its_entry_is_the_evidence() -> None:
    bench = Bench(van).record("log", ("0 s", "5 A"), ("1 s", "4 A"))
    (found,) = run(declare(needs, "T"), bench.case())
    assert isinstance(found, ck.Finding) and found.evidence == ("log-here",)
    assert str(found.text) == "It ends at 4.0 A ± 0.3 A (k = 2)."


def test_records_at_several_places_come_together_in_the_declared_order() -> None:
    bench = Bench(van)
    for place in ("right", "left"):
        bench.record("sides", ("0 s", "5 A"), ("1 s", "4 A"), place=place)
    (found,) = run(declare(wants, "T"), bench.case())
    assert isinstance(found, ck.Finding)
    assert str(found.text) == "False, ['left', 'right']"


def test_a_record_of_another_kind_than_asked_for_is_not_there() -> None:
    case = Case(system=van, check="", records={("van.log", ""): record((0, 300), (1, 300), of=warm_up)})
    assert case.record(log) is None


def test_a_parameter_of_a_record_has_the_type_of_one() -> None:
    def one(case: ck.Case, over: Annotated[ck.Reading, log]) -> Iterator[ck.Finding | ck.Gap]:
        yield from ()

    def several(case: ck.Case, over: Annotated[ck.Record, sides]) -> Iterator[ck.Finding | ck.Gap]:
        yield from ()

    for function, words in ((one, "its type is Record"), (several, r"its type is list\[Record\]")):
        with pytest.raises(TypeError, match=words):
            declare(function, "T")
