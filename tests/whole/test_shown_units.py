"""A shop that wants miles, °F, psi and inches reads them everywhere: every declared quantity of every system,
and the papers and screens of the demo's jobs. What is computed, kept and typed stays as it is.

pint converts; of a difference it is asked as of a difference (`delta_degF`).
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit import units
from corekit.desk.demo import run_demo
from corekit.desk.errors import DeskError
from corekit.desk.settings import read_settings
from corekit.desk.shop import Shop
from corekit.fault import DataFileError
from corekit.model.document import Document, from_data
from corekit.model.limit import Limit
from corekit.model.measurand import Measurand
from corekit.model.value import exact
from corekit.plugin.host import load
from corekit.plugin.limit_words import limit_words
from corekit.report.dates import GROUP, distance_words
from corekit.report.page import render_page
from corekit.report.personal_text import mask
from corekit.report.terminal import render_text
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.visit.unit_keys import number_and_unit, unit_keys

from ..screens.everywhere import Skeleton

ROOT = Path(__file__).parents[2]
WANTED = ("mi", "ft", "°F", "psi", "in")
SYSTEMS = load().systems.values()
DECLARED = [one for system in SYSTEMS for one in system.measurands.values()]
#: What the units of a shop stand in for.
METRIC = re.compile(r"[0-9](?: | |\s)(?:km|m|mm|cm|°C|K|kPa|bar|mbar|hPa)\b")
#: Behind a number: neither a reading nor a limit but the words of a caution, of a table or of the mechanic.
SAID_SO = (
    "more than 5 m away",
    "hotter than 200 °C",
    "V/kPa",
)
_NUMBER = re.compile(r"^([−-]?[0-9.]+)(?: (.*))?$")


def every_unit() -> Iterator[tuple[str, str, float, float]]:
    """Where it is declared, the unit, and what can be read in it, in the coherent unit."""
    for one in DECLARED:
        yield one.key, one.unit, *_ends(one)
    for system in SYSTEMS:
        for sampling in system.records.values():
            yield sampling.key, sampling.unit, 1.0, 500.0
            yield sampling.key, sampling.over_unit, 1.0, 500.0
        for trait in system.traits.values():
            for unit in trait.units[:1]:
                yield trait.key, unit, 250.0, 500.0


def _ends(one: Measurand) -> tuple[float, float]:
    usual = one.usual
    low = usual.low if usual.low is not None else 0.0
    return low, usual.high if usual.high is not None else low + 100.0


def by_pint(number: float, coherent: str, wanted: str) -> float:
    """A number in a coherent unit, as pint has it in another."""
    ureg = units.registry()
    return float(ureg.Quantity(number, units.unit(coherent).pint).to(units.unit(wanted).pint).magnitude)


EVERY = [one for one in every_unit() if one[1] != "count"]  # a count is printed whole


@given(st.sampled_from(EVERY), st.floats(0.0, 1.0))
def test_every_declared_quantity_is_printed_in_the_shops_unit_as_pint_converts_it(
    declared: tuple[str, str, float, float], share: float
) -> None:
    _, unit, low, high = declared
    kind = units.unit(unit).kind
    number = low + share * (high - low)
    with units.shown_in(WANTED):
        shown, into = units.show(exact(kind, number), unit, uncertainty=False), units.shown_unit(unit)
        label = units.declared_text(into) if into not in units.BARE else ""
    found = _NUMBER.fullmatch(shown)
    assert found is not None and (found[2] or "") == label
    assert units.unit(into).kind == kind, "a difference stays one, an absolute pressure too"
    right = by_pint(number, units.kinds()[kind].unit, into)
    printed = float(found[1].replace("−", "-"))
    assert printed == pytest.approx(right, rel=6e-4, abs=1e-6 if into == unit else 5e-4 * abs(right) + 1e-9)


def test_what_has_a_unit_of_the_shops_is_in_it_and_everything_else_is_as_declared() -> None:
    changed = {unit for _, unit, *_ in EVERY if _shown(unit) != unit}
    assert {"°C", "kPa abs", "bar gauge", "mm", "km"} <= changed
    assert {units.unit(_shown(unit)).bare for unit in changed} <= set(WANTED)
    kept = {units.unit(unit).bare for _, unit, *_ in EVERY} - {units.unit(unit).bare for unit in changed}
    assert not kept & {unit for name in WANTED for unit in units.IN_PLACE_OF[name]}


def _shown(unit: str) -> str:
    with units.shown_in(WANTED):
        return units.shown_unit(unit)


@pytest.mark.parametrize(
    ("kind", "unit", "number", "printed"),
    [
        ("temperature", "°C", 298.15, "77 °F"),  # 25 °C
        ("temperature", "°C", 233.15, "−40 °F"),  # the same on both
        ("temperature difference", "°C diff", 5.0, "9 °F"),  # never 41
        ("length", "mm", 0.0254, "1 in"),  # exact by definition
        ("length", "km", 1609344.0, "1000 mi"),
        ("voltage", "V", 12.6, "12.6 V"),
    ],
)
def test_known_conversions_are_printed_exactly(kind: str, unit: str, number: float, printed: str) -> None:
    with units.shown_in(WANTED):
        assert units.show(exact(kind, number), unit) == printed
        assert units.show(exact(kind, number), unit, as_typed=True) != printed or kind == "voltage"


@pytest.mark.parametrize(
    "one", [one for one in DECLARED if _shown(one.unit) != one.unit], ids=lambda one: one.key
)
def test_limit_and_value_of_one_thing_are_in_one_unit_and_it_is_offered_first(one: Measurand) -> None:
    (system,) = (system for system in SYSTEMS if one.key in system.measurands)
    with units.shown_in(WANTED):
        label = units.declared_text(units.shown_unit(one.unit))
        keys = unit_keys(one)
        limits = [limit for limit in system.limits.values() if _kind(limit) == one.kind]
        words = [limit_words(limit, one.unit) for limit in limits]
    assert keys[0] == label and units.declared_text(one.unit) in keys[:2]
    assert all(label in said and not METRIC.search(said) for said in words)


@given(
    st.sampled_from([one for one in DECLARED if _shown(one.unit) != one.unit]),
    st.integers(1, 99999),
    st.integers(0, 3),
)
def test_digits_that_were_typed_in_the_shops_unit_come_back_as_they_were(
    one: Measurand, digits: int, places: int
) -> None:
    number = f"{digits / 10**places:.{places}f}"
    with units.shown_in(WANTED):
        keys = unit_keys(one)
        read = units.read_quantity(f"{number} {keys[0]}", [one.unit])
        assert number_and_unit(f"{number} {keys[0]}", keys) == (number, keys[0])
        assert number_and_unit(f"{number} {units.declared_text(one.unit)}", keys)[0] == number
    assert read.text == f"{number} {keys[0]}"
    assert read.number == pytest.approx(
        units.to_coherent(float(number), _shown(one.unit)), rel=1e-12, abs=1e-9
    )


def _kind(limit: Limit) -> str:
    end = limit.low or limit.high
    return end.kind if end is not None else ""


def test_an_odometer_is_in_the_shops_unit_first_and_as_it_was_typed_beside() -> None:
    with units.shown_in(WANTED):
        # 98 400 km are 61 142.9 miles of 1.609 344 km.
        assert distance_words("98400 km", 98_400_000.0) == f"61{GROUP}143 mi (98{GROUP}400 km)"
        assert distance_words("61143 mi", 98_400_000.0) == f"61{GROUP}143 mi"
    assert distance_words("98400 km", 98_400_000.0) == f"98{GROUP}400 km"


def test_a_unit_that_no_paper_can_be_in_is_refused_with_those_that_it_can(tmp_path: Path) -> None:
    path = tmp_path / "shop.toml"
    path.write_text('name = "N"\naddress = ["A"]\nunits = ["mi", "furlong"]\n', "utf-8")
    with pytest.raises((DataFileError, DeskError)) as refused:
        read_settings(tmp_path, demo=False)
    assert '"furlong" is no unit' in str(refused.value) and '"°F"' in str(refused.value)


@attrs.frozen
class _Made:
    papers: list[Document]
    folder: Path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> _Made:
    """The demo's jobs in a shop that wants these units."""
    source, out = tmp_path_factory.mktemp("demo"), tmp_path_factory.mktemp("out") / "shop"
    for name in ("shop", "jobs"):
        shutil.copytree(ROOT / "demo" / name, source / name)
    path, said = source / "shop/shop.toml", ", ".join(f'"{unit}"' for unit in WANTED)
    path.write_text(
        path.read_text("utf-8").replace("guarantee = ", f"units = [{said}]\nguarantee = ", 1), "utf-8"
    )
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("corekit.desk.demo.data_path", lambda name: source)
        list(run_demo(out))
    with Shop(out) as shop:
        bodies = [entry.body for entry in shop.store.books() if entry.kind == "invoice"]
        jobs = [shop.store.job(job) for job in shop.store.jobs()]
        estimates = [noted.record.document for job in jobs for noted in job.estimates]
        documents = [from_data(data) for data in (*(body["document"] for body in bodies), *estimates)]
    return _Made(documents, out)


def metric_in(text: str) -> list[str]:
    """Lines with a number in a unit that the shop wants another for."""
    for words in SAID_SO:
        text = text.replace(words, "")
    text = re.sub(r"mi \([0-9\u00a0  ]+ km\)", "mi", text)
    return [line.strip() for line in text.splitlines() if METRIC.search(line)]


def test_no_paper_and_no_page_mixes_units(made: _Made) -> None:
    assert len(made.papers) >= 6
    for paper in made.papers:
        assert metric_in(render_text(paper, mask, None, width=4000)) == [], paper.title
        assert metric_in(re.sub(r"<[^>]*>", "\n", render_page(paper, mask, None))) == [], paper.title
    told = "\n".join(render_text(paper, mask, None, width=4000) for paper in made.papers)
    for words in (" °F", " psi", r"[0-9] in\b", " mi "):
        assert re.search(words, told), words


def test_no_screen_of_a_job_mixes_units(made: _Made) -> None:
    with Shop(made.folder) as shop:
        client = work_app(Van(shop.context), NoAuth()).test_client()
        for job in shop.store.jobs():
            records = [noted.record for noted in shop.store.job(job).standing]
            said = ("typed", "odometer_typed")
            typed = {str(getattr(one, name, "")) for one in records for name in said} - {""}
            for at in ("", "/record", "/explain", "/causes", "/tests", "/estimate"):
                reply = client.get(f"/job/{job}{at}", follow_redirects=True)
                if reply.status_code == 200:
                    found = metric_in("\n".join(Skeleton(reply.text).words))
                    assert [line for line in found if not any(one in line for one in typed)] == [], at
