"""What an earlier stage read stands beside what is read now, and is no news."""

from __future__ import annotations

import attrs
import pytest

from corekit.assess.standing import Standing, speaks_of_now
from corekit.model.finding import Finding, Gap, Reason, Text, Urgency, Verdict
from corekit.plugin.case import Case, Sighting
from corekit.testing.bench import Bench

from .brakes import Pedal, boiling, brakes, pedal

BENCH = Bench(brakes)
EARLIER = BENCH.reading("travel", "60 mm")
NOW = attrs.evolve(BENCH.reading("pressure", "90 bar", place="left"), stage=1)


def case() -> Case:
    """The pedal's travel was read before the repair, one pressure after it."""
    readings = {(one.measurand.key, one.place): one for one in (EARLIER, NOW)}
    return attrs.evolve(BENCH.case(), stage=1, readings=readings)


def finding(of: str, place: str, *evidence: str) -> Finding:
    return Finding(
        system="brakes",
        code="brakes.c",
        check="C",
        verdict=Verdict.PASS,
        urgency=Urgency.NOTHING,
        text=Text("."),
        of=of,
        place=place,
        evidence=evidence,
        stage=1,
    )


@pytest.mark.parametrize(
    ("of", "place", "evidence", "is_news"),
    [
        ("brakes.pressure", "left", (NOW.entry,), True),
        # It speaks of a reading of today, whatever it rests on.
        ("brakes.pressure", "left", (EARLIER.entry,), True),
        ("brakes.pressure", "right", (NOW.entry,), False),
        # What is read today stands beside it, and it speaks of the earlier reading all the same.
        ("brakes.travel", "", (EARLIER.entry, NOW.entry), False),
        ("", "", (EARLIER.entry, NOW.entry), True),
        ("", "", (EARLIER.entry,), False),
    ],
)
def test_a_finding_is_news_where_it_speaks_of_what_this_stage_read(
    of: str, place: str, evidence: tuple[str, ...], is_news: bool
) -> None:
    assert speaks_of_now(finding(of, place, *evidence), case()) is is_news


def test_a_gap_is_no_news() -> None:
    gap = Gap(system="brakes", check="C", reason=Reason.NOT_MEASURED, text="It is missing.")
    assert not speaks_of_now(gap, case())


def test_what_stands_is_laid_beside_where_a_check_asks_for_it_and_for_something_of_now() -> None:
    # The check of the fluid asks for its boiling point and the warmth of the air.
    fluid = brakes.checks["fluid"]
    earlier = BENCH.reading("boiling", "180 °C")
    stands = Standing(readings={(boiling.key, ""): earlier})

    def now(*read: tuple[str, str]) -> Case:
        fresh = [attrs.evolve(BENCH.reading(key, typed), stage=1) for key, typed in read]
        return attrs.evolve(case(), readings={(one.measurand.key, one.place): one for one in fresh})

    warm, cool = ("air", "20 °C"), ("boiling", "230 °C")
    beside = stands.beside(fluid, now(warm))
    assert beside is not None and beside.readings[boiling.key, ""] is earlier
    # What was read again goes before what stands.
    again = stands.beside(fluid, now(warm, cool))
    assert again is not None and again.readings[boiling.key, ""].typed == "230 °C"
    # Of now it asks for nothing that was read; and nothing that stands is anything it asks for.
    assert stands.beside(fluid, now(("travel", "60 mm"))) is None
    assert Standing().beside(fluid, now(warm)) is None
    assert Standing(sightings={(pedal.key, ""): Sighting(Pedal.FIRM, "s")}).beside(fluid, now(warm)) is None
