"""A reading's uncertainty: from its instrument, from how it was typed, and in words.

Judge: JCGM 100:2008 by hand.
"""

from __future__ import annotations

import math
from typing import Any

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit import units
from corekit.model.calibration import due, months, overdue
from corekit.model.entry import Entry
from corekit.model.job import Job, fold
from corekit.model.limit import Span
from corekit.model.measurand import Accuracy, Measurand
from corekit.model.records import RECORDS, Instrument, Measured, Opened, Setup, body_of
from corekit.model.value import Value, propagate
from corekit.plugin import uncertainty
from corekit.plugin.reading import Reading, budget, readings_at

KINDS = {record: kind for kind, record in RECORDS.items()}
VOLTS = Measurand(
    key="van.volts",
    unit="V",
    kind="voltage",
    title="Voltage",
    possible=Span(0, 20),
    usual=Span(10, 15),
    accuracy=units.parse_accuracy("1 % + 0.05 V", "V"),
    places=("left", "right"),
)
AIR = Measurand(
    key="van.air",
    unit="°C",
    kind="temperature",
    title="Air",
    possible=Span(200, 400),
    usual=Span(250, 320),
    accuracy=units.parse_accuracy("2 °C", "°C"),
)
KNOWN = {one.key: one for one in (VOLTS, AIR)}


def measured(of: Measurand, typed: str, **more: Any) -> Measured:
    found = units.read_reading(typed, [of.unit])
    return Measured(
        of=of.key,
        typed=typed,
        kind=found.kind,
        number=found.number,
        half_width=found.half_width,
        loosely=found.loosely,
        **more,
    )


def job(*records: Any, taken: str = "2026-03-04T10:00:00Z", recorded: str = "") -> Job:
    entries = [
        Entry(
            journal="job",
            job="j",
            chain="c",
            n=n,
            prev="",
            kind=KINDS[type(record)],
            subject=f"v:{n}",
            body=body_of(record),
            recorded=recorded,
            taken=taken if isinstance(record, (Measured, Setup)) else "",
            id=f"entry{n}",
        )
        for n, record in enumerate([Opened(origin="v"), *records])
    ]
    return fold("j", entries)


def only(*records: Any, **when: str) -> Reading:
    (reading,) = readings_at(job(*records, **when), 0, KNOWN).values()
    return reading


# ---- how it was typed


def test_a_range_widens_the_uncertainty_by_a_source_of_its_own() -> None:
    # JCGM 100:2008, 4.3.7: half-width a, evenly likely, u = a / √3; the sheet's 1 % + 0.05 V adds up to
    # 0.1755 V of its own.
    reading = only(measured(VOLTS, "12.5-12.6 V", place="left"))
    assert reading.value.budget["entry1.typed"] == pytest.approx(0.05 / math.sqrt(3))
    assert reading.value.u == pytest.approx(math.sqrt(0.1755**2 + 0.05**2) / math.sqrt(3))
    assert reading.uncertainty_from.endswith("typed as a range: ± half its width")


def test_about_prints_its_rule() -> None:
    reading = only(measured(VOLTS, "about 12 V", place="left"))
    assert reading.value.budget["entry1.typed"] == pytest.approx(0.6 / math.sqrt(3))
    assert "± 5 % of it, or ± half a step of its last digit where that is more" in reading.uncertainty_from


def test_two_loosely_typed_readings_share_nothing_of_it() -> None:
    left, right = readings_at(
        job(measured(VOLTS, "12-13 V", place="left"), measured(VOLTS, "12-13 V", place="right")), 0, KNOWN
    ).values()
    assert (left.value - right.value).u > left.value.u


def test_a_setup_value_typed_loosely_is_as_uncertain() -> None:
    beside = Setup(values={"van.air": body_of(measured(AIR, "3-5 °C"))})
    reading = only(beside, measured(VOLTS, "12.6 V", setup="v:1", place="left"))
    air = reading.setup["van.air"]
    assert air.value.budget["entry1.van.air.typed"] == pytest.approx(1 / math.sqrt(3))
    assert air.notes == ("typed as a range: ± half its width",)


# ---- the display's step


@pytest.mark.parametrize(
    ("sheet", "step", "half_width"),
    [
        ("1 %", "0.1 V", 0.05),  # JCGM 100:2008, F.2.2.1: half a step, evenly likely, u = 0.29 steps
        ("2 digits", "0.1 V", 0.2),
        ("0.5 V", "0.1 V", 0.5),  # an amount covers everything
    ],
)
def test_one_step_is_enough_for_a_display_with_one_range(sheet: str, step: str, half_width: float) -> None:
    reading = only(
        Instrument(name="meter", accuracy=sheet, step=step),
        measured(VOLTS, "0 V", place="left", instrument="meter"),
    )
    assert reading.value.u == pytest.approx(half_width / math.sqrt(3))
    assert reading.sheet.startswith("meter, ± (")


def test_a_step_of_another_kind_is_none() -> None:
    reading = only(
        Instrument(name="meter", accuracy="2 digits", step="0.1 A"),
        measured(VOLTS, "12 V", place="left", instrument="meter"),
    )
    assert "the worst ordinary instrument is assumed" in reading.sheet


def test_percent_alone_still_knows_that_a_display_rounds() -> None:
    assert budget(Accuracy(percent=1), 0.01, 0.0, "m", "r") == {"r.step": pytest.approx(0.005 / math.sqrt(3))}


# ---- calibration


@pytest.mark.parametrize(
    ("calibrated", "interval", "ends"),
    [
        ("2025-03-04", "", "2026-03-04"),
        ("2025-03-04", "12 months", "2026-03-04"),
        ("2025-03-04", "2 years", "2027-03-04"),
        ("2024-02-29", "1 year", "2025-02-28"),
        ("2025-08-31", "6 months", "2026-02-28"),
        ("2025-12-31", "2 months", "2026-02-28"),
    ],
)
def test_a_calibration_ends_on_the_same_day_so_many_months_later(
    calibrated: str, interval: str, ends: str
) -> None:
    assert due(calibrated, interval).isoformat() == ends


@pytest.mark.parametrize("interval", ["0 months", "11 years", "-1 year", "yearly", "12", "1.5 years"])
def test_an_interval_that_is_none_is_refused(interval: str) -> None:
    with pytest.raises(ValueError, match="12 months"):
        months(interval)


@given(st.dates(min_value=due("2000-01-01"), max_value=due("2060-01-01")), st.integers(1, 120))
def test_a_calibration_never_ends_before_it_began_nor_later_than_so_many_months(day: Any, count: int) -> None:
    ends = due(day.isoformat(), f"{count} months")
    assert day < ends
    assert (ends.year - day.year) * 12 + ends.month - day.month == count


@pytest.mark.parametrize(
    ("read", "says"),
    [
        ("2026-03-03T23:59:00Z", ""),
        ("2026-03-04T00:00:00Z", "2026-03-04"),
        ("2027-01-01T00:00:00Z", "2026-03-04"),
        (
            "2024-01-01T00:00:00Z",
            "",
        ),  # before it was calibrated: nothing is known of the calibration then in force
        ("", ""),
    ],
)
def test_a_calibration_runs_out_on_its_day(read: str, says: str) -> None:
    assert overdue("2025-03-04", "", read) == says
    assert overdue("", "", read) == ""


@pytest.mark.parametrize(
    ("taken", "recorded"), [("2026-03-04T10:00:00Z", "2025-06-01T00:00:00Z"), ("", "2026-03-04T10:00:00Z")]
)
def test_an_overdue_calibration_stands_on_the_reading_by_when_it_was_taken_else_recorded(
    taken: str, recorded: str
) -> None:
    meter = Instrument(name="meter", accuracy="1 %", calibrated="2025-03-01")
    reading = only(
        meter, measured(VOLTS, "12 V", place="left", instrument="meter"), taken=taken, recorded=recorded
    )
    assert reading.overdue == "meter, whose calibration had run out on 2026-03-01"
    assert (
        "the calibration of meter of 2025-03-01 had run out on 2026-03-01 (12 months, no interval is stated)"
        in reading.uncertainty_from
    )
    stated = Instrument(name="meter", accuracy="1 %", calibrated="2025-03-01", interval="6 months")
    assert (
        "on 2025-09-01: its sheet"
        in only(
            stated, measured(VOLTS, "12 V", place="left", instrument="meter"), taken=taken, recorded=recorded
        ).uncertainty_from
    )
    longer = Instrument(name="meter", accuracy="1 %", calibrated="2025-03-01", interval="2 years")
    assert (
        only(
            longer, measured(VOLTS, "12 V", place="left", instrument="meter"), taken=taken, recorded=recorded
        ).overdue
        == ""
    )


def test_a_calibration_that_ran_out_changes_no_number() -> None:
    kept, late = (
        only(
            Instrument(name="meter", accuracy="1 %", calibrated=day),
            measured(VOLTS, "12 V", place="left", instrument="meter"),
        ).value
        for day in ("2026-01-01", "2020-01-01")
    )
    assert kept == late


# ---- where the uncertainty comes from


def drop() -> tuple[Value, list[Reading]]:
    meter = Instrument(name="meter", accuracy="0.5 % + 2 digits", ranges={"20 V": "0.01 V"})
    told = [
        measured(VOLTS, "14.2 V", place="left", instrument="meter"),
        measured(VOLTS, "13-13.9 V", place="right", instrument="meter"),
    ]
    readings = list(readings_at(job(meter, *told), 0, KNOWN).values())
    return readings[0].value - readings[1].value, readings


def test_the_shares_of_an_uncertainty_come_largest_first_and_make_the_whole() -> None:
    value, readings = drop()
    rows = uncertainty.shares(value, readings)
    assert [row.part for row in rows] == sorted((row.part for row in rows), reverse=True)
    assert sum(row.part for row in rows) == pytest.approx(1)
    assert math.sqrt(sum(row.u**2 for row in rows)) == pytest.approx(value.u)


def test_shares_that_are_alike_stand_in_the_order_of_their_words_whatever_their_readings_ids() -> None:
    told = [measured(VOLTS, "12.6 V", place=place) for place in ("left", "right")]
    for ids in (("b", "a"), ("a", "b")):
        readings = [
            attrs.evolve(reading, entry=id_)
            for reading, id_ in zip(readings_at(job(*told), 0, KNOWN).values(), ids, strict=True)
        ]
        value = Value("voltage", 0.0, {f"{id_}.rest": 0.1 for id_ in ids})
        words = [row.words for row in uncertainty.shares(value, readings)]
        assert [word.split(",")[0] for word in words] == ["Voltage (left)", "Voltage (right)"]


def test_every_source_of_an_uncertainty_has_words() -> None:
    value, readings = drop()
    words = {row.source: row.words for row in uncertainty.shares(value, readings)}
    assert words == {
        "entry3.typed": "Voltage (right), 13-13.9 V: how loosely it was typed",
        "entry2.rest": "Voltage (left), 14.2 V: the digits or the fixed amount in its instrument's accuracy",
        "entry3.rest": (
            "Voltage (right), 13-13.9 V: the digits or the fixed amount in its instrument's accuracy"
        ),
        "meter-20 V.gain": "meter (20 V): the percentage in its accuracy, shared by all readings so taken",
    }


def test_a_setup_value_and_a_calculation_have_words_too() -> None:
    beside = Setup(values={"van.air": body_of(measured(AIR, "4 °C"))})
    reading = only(beside, measured(VOLTS, "12.6 V", setup="v:1", place="left"))
    warm = propagate(
        lambda volts, kelvin: volts * kelvin / 300, [reading.value, reading.setup["van.air"].value], "voltage"
    )
    made = Value(
        warm.kind,
        warm.number,
        {**warm.budget, "van.scale": 0.2, f"{reading.entry}.temperature not taken": 0.1},
        warm.rests_on,
    )
    words = [row.words for row in uncertainty.shares(made, [reading])]
    assert "of the calculation: van.scale" in words
    assert "Voltage (left), 12.6 V: temperature not taken" in words
    assert "Air, 4 °C: the digits or the fixed amount in its instrument's accuracy" in words


def test_a_value_without_uncertainty_has_no_shares() -> None:
    assert uncertainty.shares(Value("voltage", 12.0), []) == []


@given(st.dictionaries(st.text("abc.", min_size=1, max_size=6), st.floats(-10, 10), max_size=6))
def test_shares_make_the_whole_whatever_the_budget(parts: dict[str, float]) -> None:
    value = Value("voltage", 1.0, parts)
    rows = uncertainty.shares(value, [])
    if value.u**2 > 0:
        assert sum(row.part for row in rows) == pytest.approx(1)
        assert all(row.words for row in rows)


def test_an_overdue_instrument_is_named_once_for_what_rests_on_it() -> None:
    late = Instrument(name="meter", accuracy="1 %", calibrated="2020-01-01")
    beside = Setup(values={"van.air": body_of(measured(AIR, "4 °C", instrument="probe"))})
    probe = Instrument(name="probe", accuracy="2 °C", calibrated="2020-01-01")
    reading = only(
        late, probe, beside, measured(VOLTS, "12 V", place="left", instrument="meter", setup="v:3")
    )
    assert uncertainty.overdue([reading.entry], [reading]) == [
        "meter, whose calibration had run out on 2021-01-01"
    ]
    both = uncertainty.overdue(["entry3", "entry4", "entry4"], [reading])
    assert [one.split(",")[0] for one in both] == ["meter", "probe"]
    assert uncertainty.overdue(["entry9"], [reading]) == []
