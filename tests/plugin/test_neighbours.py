"""Like places held against each other.

Judge: medians and distances by hand; for the factors of few, samples drawn from a normal distribution.
"""

from __future__ import annotations

import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.plugin.neighbours import spread_of
from corekit.testing import Bench

manifold = ck.System("manifold", "Manifold")
pace = manifold.measurand("pace", "rpm", "Speed", possible=(0, 9000), usual=(0, 9000), accuracy="10 rpm")
PLACES = tuple(f"runner {n}" for n in range(1, 13))
heat = manifold.measurand(
    "heat",
    "V",
    "Sensor voltage",
    possible=(-50, 50),
    usual=(0, 20),
    accuracy="0.01 V",
    places=PLACES,
    conditions=(pace,),
)


def beside(*volts: float, at: dict[int, str] | None = None) -> list[ck.Neighbours]:
    bench = Bench(manifold)
    for n, (place, number) in enumerate(zip(PLACES, volts, strict=False)):
        setup = {"pace": at[n]} if at and n in at else None
        bench.read("heat", f"{number} V", place=place, setup=setup)
    return ck.neighbours(bench.case().everywhere(heat))


def test_a_reading_is_held_against_the_median_of_the_others_without_its_own() -> None:
    first, second, third, fourth = beside(10.0, 11.0, 12.0, 24.0)
    assert (first.median.number, fourth.median.number) == (12.0, 11.0)
    assert (second.median.number, third.median.number) == (12.0, 11.0)
    assert fourth.ratio.number == pytest.approx(24 / 11)
    assert fourth.difference.number == pytest.approx(13.0)
    assert [other.place for other in fourth.others] == ["runner 1", "runner 2", "runner 3"]


def test_of_an_even_number_the_median_is_the_mean_of_the_middle_two_and_as_well_known() -> None:
    (_, _, third) = beside(10.0, 11.0, 13.5)
    assert third.median.number == pytest.approx(10.5)
    # two readings of 0.01 V / √3, each by a half
    assert third.median.u == pytest.approx(0.01 / 3**0.5 / 2**0.5)
    assert len(third.median.rests_on) == 2
    last = beside(10.0, 11.0, 12.5, 30.0, 99.0)[-1]
    assert (last.median.number, len(last.median.rests_on)) == (pytest.approx(11.75), 4)


@pytest.mark.parametrize(("places", "compared"), [(1, 0), (2, 0), (3, 3), (4, 4)])
def test_less_than_two_neighbours_are_nothing_to_compare_with(places: int, compared: int) -> None:
    assert len(beside(*[10.0] * places)) == compared


def test_only_readings_under_the_same_conditions_are_neighbours() -> None:
    at = {0: "800 rpm", 1: "800 rpm", 2: "800 rpm", 3: "3000 rpm"}
    found = beside(10.0, 10.1, 10.2, 19.0, at=at)
    assert [one.reading.place for one in found] == ["runner 1", "runner 2", "runner 3"]
    assert all(len(one.others) == 2 for one in found)


@pytest.mark.parametrize(
    ("volts", "stands"),
    # 10, 10.4 and 9.8 V: median 10, distances 0, 0.4, 0.2, 0.2 in the middle; times 1.4826 and 1.495 that is
    # 0.443 V. One more like them differs by u = √(0.443² · (1 + π / 6) + 2 · 0.01² / 3) = 0.547 V.
    [(11.08, False), (11.11, True), (8.92, False), (8.89, True)],
)
def test_it_stands_out_beyond_what_the_spread_of_its_neighbours_explains(volts: float, stands: bool) -> None:
    last = beside(10.0, 10.4, 9.8, volts)[-1]
    assert last.spread == pytest.approx(0.2 * 1.4826 * 1.495)
    assert last.uncertainty == pytest.approx(0.547, abs=0.001)
    assert last.stands_out is stands


def test_where_all_neighbours_read_alike_the_instrument_alone_decides() -> None:
    # u of the difference: √2 · 0.01 V / √3 = 0.0082 V
    assert not beside(10.0, 10.0, 10.0, 10.016)[-1].stands_out
    assert beside(10.0, 10.0, 10.0, 10.017)[-1].stands_out


def test_one_neighbour_that_is_off_hides_no_other() -> None:
    found = beside(24.0, 10.0, 10.4, 24.5, 9.8, 10.2)
    assert [one.reading.place for one in found if one.stands_out] == ["runner 1", "runner 4"]


@pytest.mark.parametrize("n", range(2, 12))
def test_the_spread_of_few_is_on_average_that_of_all(n: int) -> None:
    draw = random.Random(n)
    spreads = []
    for _ in range(4000):
        sample = [draw.gauss(0, 1) for _ in range(n)]
        spreads.append(spread_of(sample, statistics.median(sample)))
    assert statistics.mean(spreads) == pytest.approx(1.0, abs=0.06)


# ---- laws


@given(st.lists(st.integers(0, 2000), min_size=3, max_size=9), st.randoms(use_true_random=False))
def test_the_order_of_the_places_does_not_matter(hundredths: list[int], draw: random.Random) -> None:
    mixed = list(hundredths)
    draw.shuffle(mixed)

    def made(numbers: list[int]) -> list[tuple[float, float, float]]:
        found = beside(*[number / 100 for number in numbers])
        return sorted(
            (one.reading.number, round(one.median.number, 9), round(one.spread, 9)) for one in found
        )

    assert made(hundredths) == made(mixed)


@given(st.lists(st.integers(0, 1000), min_size=3, max_size=9), st.integers(0, 900))
def test_what_all_share_moves_none_against_the_others(hundredths: list[int], more: int) -> None:
    plain = beside(*[number / 100 for number in hundredths])
    moved = beside(*[(number + more) / 100 for number in hundredths])
    for one, other in zip(plain, moved, strict=True):
        assert other.difference.number == pytest.approx(one.difference.number, abs=1e-9)
        assert other.spread == pytest.approx(one.spread, abs=1e-9)


# ---- companions

COILS = {"coil of 1 and 4": ("1", "4"), "coil of 2 and 3": ("2", "3")}


@pytest.mark.parametrize(
    ("bad", "sound", "in_question", "excluded"),
    [
        (["1", "4"], ["2", "3"], {"coil of 1 and 4": ("1", "4")}, {}),
        (["1"], ["2", "3", "4"], {}, {"coil of 1 and 4": ("4",)}),
        (["1"], ["2", "3"], {"coil of 1 and 4": ("1",)}, {}),  # nothing is known of its companion
        (["1", "2"], ["3", "4"], {}, {"coil of 1 and 4": ("4",), "coil of 2 and 3": ("3",)}),
        ([], ["1", "2", "3", "4"], {}, {}),
        ([], [], {}, {}),
    ],
)
def test_what_bad_places_share_is_in_question_until_a_companion_does_well(
    bad: list[str], sound: list[str], in_question: dict[str, tuple[str]], excluded: dict[str, tuple[str]]
) -> None:
    found = ck.shared_causes(COILS, bad=bad, sound=sound)
    assert (found.in_question, found.excluded) == (in_question, excluded)


def test_a_place_cannot_do_badly_and_well() -> None:
    with pytest.raises(ValueError, match="badly or well, not both; got 4"):
        ck.shared_causes(COILS, bad=["4"], sound=["4"])


@given(st.dictionaries(st.sampled_from("1234"), st.booleans()), st.sampled_from("1234"))
def test_one_more_sound_companion_never_brings_a_cause_in(known: dict[str, bool], more: str) -> None:
    bad, sound = ([place for place, ill in known.items() if ill is wanted] for wanted in (True, False))
    before = ck.shared_causes(COILS, bad=bad, sound=sound)
    after = ck.shared_causes(COILS, bad=bad, sound=[*sound, more] if more not in bad else sound)
    assert after.in_question.keys() <= before.in_question.keys()
    assert not after.in_question.keys() & after.excluded.keys()
