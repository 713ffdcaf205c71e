"""Places that a trait counts: a vehicle with four cylinders is asked about four, and what was read at a fifth
is judged by nobody. And what a known trait rules out is asked by nobody.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from enum import Enum
from pathlib import Path
from typing import Annotated, Any

import pytest

import corekit as ck
from corekit.assess.assessment import assess
from corekit.desk.in_memory import scratch_job
from corekit.desk.next_step import can_be_read, is_here, places_here
from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.model.finding import Reason
from corekit.model.job import Job
from corekit.plugin.host import Plugins
from corekit.visit.instruments import Instruments
from corekit.visit.questions import question_of

WHEELS = tuple(f"wheel {number}" for number in range(1, 7))


class Tread(Enum):
    EVEN = "even"
    WORN = "worn"


cart = ck.System("cart", "Cart", folder=Path(__file__).parent / "none")
wheels = cart.trait("wheels", "Number of wheels", units=("count",), possible=(1, 6))
tyre = cart.part("tyre", "Tyre", places=WHEELS, places_by=wheels)
pressure = cart.measurand(
    "pressure",
    "bar gauge",
    "Tyre pressure",
    possible=(0, 10),
    usual=(1, 5),
    accuracy="0.1 bar",
    places=WHEELS,
    places_by=wheels,
)
tread = cart.observation("tread", "Tread", Tread, places=WHEELS, places_by=wheels)


class Pull(Enum):
    HORSE = "horse"
    HAND = "by hand"


class Shoe(Enum):
    ON = "on"
    LOST = "lost"


pull = cart.trait("pull", "What pulls it", Pull)
shoe = cart.observation("shoe", "Shoe", Shoe, only={pull: (Pull.HORSE,)})


@cart.check("Tyres")
def tyres(
    case: ck.Case, read: Annotated[list[ck.Reading], pressure], seen: Annotated[dict[str, Tread], tread]
) -> Iterator[ck.Finding | ck.Gap]:
    for one in read:
        yield case.advise(ck.Claim("cart.pressure", place=one.place), "{value}.", one)


@cart.check("Shoes")
def shoes(case: ck.Case, seen: Annotated[Shoe, shoe]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("cart.shoe"), f"The shoe is {seen.value}.", None)


PLUGINS = Plugins(systems={"cart": cart}, versions={"cart": "1"})
READ = """
[[step]]
readings = [
  { of = "cart.pressure", place = "wheel 4", is = "2 bar" },
  { of = "cart.pressure", place = "wheel 5", is = "3 bar" },
]
seen = [
  { of = "cart.tread", place = "wheel 1", is = "even" },
  { of = "cart.tread", place = "wheel 5", is = "worn" },
]
"""


def job(tmp_path: Path, count: str, rows: str = "") -> Job:
    path = tmp_path / "cart.toml"
    traits = f'traits = {{ "cart.wheels" = "{count}" }}\n' if count else ""
    path.write_text(
        f'job = "cart"\nreason = "It pulls."\nvehicle = {{ plate = "X" }}\n{traits}{rows}', "utf-8"
    )
    return scratch_job(read_visit(path, Declared.of(PLUGINS, currency="XXX")))[0]


@pytest.mark.parametrize(("count", "has"), [("4", 4), ("6", 6), ("", 6), ("don't know", 6), ("1", 1)])
@pytest.mark.parametrize("declared", [pressure, tread, tyre])
def test_a_vehicle_has_the_first_so_many_places_and_all_while_nobody_knows(
    tmp_path: Path, declared: Any, count: str, has: int
) -> None:
    assert places_here(declared, job(tmp_path, count), PLUGINS) == WHEELS[:has]


def test_a_screen_asks_about_no_wheel_that_is_not_there(tmp_path: Path) -> None:
    four = job(tmp_path, "4")
    asked = question_of("cart.pressure", four, PLUGINS, Instruments(), place="wheel 5", now=datetime.now(UTC))
    assert asked is not None
    assert [place.name for place in asked.places] == list(WHEELS[:4]) and asked.place == "wheel 1"


@pytest.mark.parametrize(("place", "there"), [("wheel 4", True), ("wheel 5", False), ("", True)])
def test_a_step_at_a_place_that_is_not_there_is_no_step(tmp_path: Path, place: str, there: bool) -> None:
    from corekit.assess.suspect import NextTest

    test = NextTest(
        system="cart", key="x", question="?", minutes=1, bits=1, wants="cart.pressure", place=place
    )
    assert is_here(test, job(tmp_path, "4"), PLUGINS) is there


def test_what_was_read_at_a_place_that_is_not_there_is_a_gap_and_no_finding(tmp_path: Path) -> None:
    made = assess(job(tmp_path, "4", READ), PLUGINS)
    assert [finding.place for finding in made.findings] == ["wheel 4"]
    has = "wheel 1, wheel 2, wheel 3, wheel 4"
    assert [gap.text for gap in made.gaps if gap.check == "Tyres"] == [
        f"Tyre pressure, wheel 5: not judged, for this vehicle has {has}.",
        f"Tread, wheel 5: not judged, for this vehicle has {has}.",
    ]


@pytest.mark.parametrize("count", ["", "5", "don't know"])
def test_what_may_be_there_is_judged(tmp_path: Path, count: str) -> None:
    made = assess(job(tmp_path, count, READ), PLUGINS)
    assert [finding.place for finding in made.findings] == ["wheel 4", "wheel 5"]
    assert not [gap for gap in made.gaps if gap.check == "Tyres"]


def test_only_a_count_of_the_same_system_counts_places() -> None:
    other = ck.System("other", "Other", folder=Path(__file__).parent / "none")
    width = other.trait("width", "Width", units=("mm",))
    for by in (wheels, width):
        with pytest.raises(ValueError, match="places_by"):
            other.part("tyre", "Tyre", places=WHEELS, places_by=by)
    with pytest.raises(ValueError, match="has none"):
        other.part("tyre", "Tyre", places_by=other.trait("wheels", "Wheels", units=("count",)))


def test_four_cylinders_are_asked_about_four_times() -> None:
    from corekit.plugin.host import load

    plugins = load()
    counted = {
        one.key
        for shelf in (plugins.measurands, plugins.observations, plugins.parts)
        for one in shelf.values()
        if "cylinder 5" in one.places
    }
    assert counted
    assert {
        one.key
        for shelf in (plugins.measurands, plugins.observations, plugins.parts)
        for one in shelf.values()
        if one.places_by == "ignition.cylinders"
    } == counted


# ---- what a known trait rules out


@pytest.mark.parametrize(
    ("answer", "asked"), [("horse", True), ("by hand", False), ("don't know", True), ("", True)]
)
def test_what_a_known_trait_rules_out_is_a_gap_that_asks_for_nothing(
    tmp_path: Path, answer: str, asked: bool
) -> None:
    traits = f'[traits]\n"cart.pull" = "{answer}"\n' if answer else ""
    one = job(tmp_path, "", f"{traits}{READ}")
    (gap,) = [gap for gap in assess(one, PLUGINS).gaps if gap.check == "Shoes"]
    assert can_be_read(shoe, one, PLUGINS) is asked
    assert (gap.wants, gap.reason) == (
        ("cart.shoe", Reason.NOT_MEASURED) if asked else ("", Reason.DOES_NOT_APPLY)
    )
    assert gap.text == ("Shoe: not looked at." if asked else "Shoe: not on this vehicle (by hand).")


def test_only_closed_answers_of_the_same_system_rule_out() -> None:
    other = ck.System("other", "Other", folder=Path(__file__).parent / "none")
    own = other.trait("pull", "What pulls it", Pull)
    for only in ({pull: (Pull.HORSE,)}, {own: (Tread.EVEN,)}, {own: ()}):
        with pytest.raises(ValueError, match="only"):
            other.observation("shoe", "Shoe", Shoe, only=only)
