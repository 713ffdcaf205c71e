"""A visit file is taken in whole, or refused with everything that is wrong with it."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import tomllib
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit import units
from corekit.intake.declared import Declared
from corekit.intake.visit import ApprovedRow, VisitError, VisitFile, read_visit
from corekit.model.limit import Span
from corekit.model.measurand import Measurand, Observation, Operation, Trait
from corekit.model.personal import PersonalText
from corekit.model.records import RECORDS, Instrument


class Case(Enum):
    SOUND = "sound"
    BULGED = "bulged"


class Kind(Enum):
    FLOODED = "flooded"
    AGM = "agm flat plate"


def measurand(
    name: str,
    unit: str,
    possible: tuple[float, float],
    usual: tuple[float, float],
    places: tuple[str, ...] = (),
) -> Measurand:
    def span(ends: tuple[float, float]) -> Span:
        return Span(*(units.to_coherent(end, unit) for end in ends))

    accuracy = units.parse_accuracy({"°C": "2 °C"}.get(unit, "1 %"), unit)
    return Measurand(
        key=f"cell.{name}",
        unit=unit,
        kind=units.unit(unit).kind,
        title=name,
        possible=span(possible),
        usual=span(usual),
        accuracy=accuracy,
        places=places,
    )


DECLARED = Declared(
    measurands={
        one.key: one
        for one in (
            measurand("rest", "V", (0, 18), (11, 14)),
            measurand("cranking", "V", (0, 18), (6, 13), ("posts", "clamps")),
            measurand("drain", "A", (0, 30), (0, 0.2)),
            measurand("temperature", "°C", (-60, 90), (-30, 50)),
            measurand("rest_time", "h", (0, 10000), (0, 1000)),
            measurand("pressure", "bar gauge", (0, 100), (1, 3)),
        )
    },
    observations={"cell.case": Observation(key="cell.case", title="Case", answers=Case)},
    traits={
        "cell.type": Trait(key="cell.type", title="Type", answers=Kind, part="cell"),
        "cell.rating": Trait(
            key="cell.rating", title="Rating", units=("A SAE", "A EN"), possible=Span(20, 3000), part="cell"
        ),
        "cell.cable": Trait(
            key="cell.cable", title="Cable", units=("m",), possible=Span(0, 20), part="cable"
        ),
    },
    operations={
        "cell.replace": Operation(key="cell.replace", title="Replace", shown_by="cell.rest", replaces="cell"),
        "cell.search": Operation(key="cell.search", title="Search"),
    },
    systems=("cell",),
    currency="EUR",
)

SOUND = """
job = "a-job"
reason = "Will not start."
customer = { name = "Example Customer", phone = "000 0001" }
vehicle = { plate = "DEMO-1", description = "small car", odometer = "98400 km" }
[traits]
"cell.type" = "AGM flat plate"
"cell.rating" = "680 A SAE"
"cell.cable" = "don't know"
[instruments.meter]
accuracy = "0.5 % + 2 digits"
ranges = { "20 V" = "0.01 V" }
calibrated = 2026-01-05
[[specification]]
of = "cell.rest"
low = "12.4 V"
from = "label"
[[step]]
approved = { estimate = "diagnosis 1", total = "60.00", by = "customer", how = "in person" }
[[step]]
setup = { "cell.rest_time" = "9 h", "cell.temperature" = { is = "-35 °C", confirmed = true } }
readings = [
  { of = "cell.rest", is = "12.64 V", with = "meter", range = "20 V", taken = 2026-03-04T10:15:00+01:00 },
  { of = "cell.cranking", place = "posts", is = "8,9 V", with = "meter" },
  { of = "cell.cranking", place = "posts", is = "2.0 V", withdrawn = "clip slipped" },
]
seen = [
  { of = "cell.case", is = "Sound" },
  { of = "cell.cranking", cannot = "posts under a cover" },
  { of = "cell.case", words = "smells of eggs" },
]
[[step]]
setup = { "cell.temperature" = "4 °C" }
readings = [ { of = "cell.rest", is = "12.60 V" } ]
[[step]]
requested = { operation = "cell.search", ground = "judgement", because = "green plugs" }
[[step]]
[step.approved]
estimate = "repair 1"
total = "318,60"
by = "customer"
how = "in person"
declined = ["cell.search"]
[[step]]
repaired = { operation = "cell.replace", "cell.rating" = "720 A SAE" }
[[step]]
setup = { "cell.temperature" = "4 °C" }
readings = [ { of = "cell.rest", is = "12.80 V" } ]
[[step]]
paid = { amount = "378.60", how = "cash" }
"""


def read(text: str, declared: Declared = DECLARED) -> VisitFile:
    return read_visit(text.encode(), declared)


def faults_of(text: str | bytes, declared: Declared = DECLARED) -> list[str]:
    with pytest.raises(VisitError) as caught:
        read_visit(text if isinstance(text, bytes) else text.encode(), declared)
    assert all(fault.got and fault.path and (fault.write or fault.expected) for fault in caught.value.faults)
    return [str(fault) for fault in caught.value.faults]


def with_step(step: str) -> str:
    return SOUND + "[[step]]\n" + step + "\n"


# ---- what a sound file becomes


def test_the_steps_keep_the_order_of_the_file() -> None:
    visit = read(SOUND)
    kinds = [step.kind if not isinstance(step, ApprovedRow) else "(approved)" for step in visit.steps]
    assert kinds == [
        "opened",
        "customer",
        "vehicle",
        "fitted",
        "fitted",
        "fitted",
        "instrument",
        "specified",
        "(approved)",
        "setup",
        "measured",
        "measured",
        "measured",
        "seen",
        "seen",
        "seen",
        "setup",
        "measured",
        "requested",
        "(approved)",
        "repaired",
        "fitted",
        "setup",
        "measured",
        "paid",
    ]
    assert (visit.origin, visit.demo, [row.estimate for row in visit.approvals]) == (
        "a-job",
        False,
        ["diagnosis 1", "repair 1"],
    )


def test_every_draft_is_a_record_that_the_model_knows() -> None:
    for draft in read(SOUND).drafts:
        RECORDS[draft.kind](**draft.body)


def test_a_reading_knows_its_setup_stage_place_and_instrument() -> None:
    measured = [draft for draft in read(SOUND).drafts if draft.kind == "measured"]
    assert [draft.row for draft in measured] == [
        "arrival/cell.rest/",
        "arrival/cell.cranking/posts",
        "arrival/cell.cranking/posts",
        "arrival/cell.rest/",
        "after 1/cell.rest/",
    ]
    assert [draft.body["setup"] for draft in measured] == ["arrival/setup#1"] * 3 + [
        "arrival/setup#2",
        "after 1/setup#1",
    ]
    first = measured[0]
    assert first.body | {"setup": ""} == {
        "of": "cell.rest",
        "typed": "12.64 V",
        "kind": "voltage",
        "number": 12.64,
        "place": "",
        "stage": 0,
        "instrument": "meter",
        "span": "20 V",
        "setup": "",
        "confirmed": False,
    }
    assert first.taken == "2026-03-04T09:15:00Z"
    assert (measured[1].body["number"], measured[1].body["typed"]) == (8.9, "8,9 V")


def test_a_withdrawn_row_stays_in_the_file_with_its_reason_and_may_read_anything() -> None:
    (withdrawn,) = [draft for draft in read(SOUND).drafts if draft.withdrawn]
    assert (withdrawn.reason, withdrawn.body["number"]) == ("clip slipped", 2.0)


def test_persons_words_are_personal_text() -> None:
    drafts = {draft.kind: draft.body for draft in reversed(read(SOUND).drafts)}
    assert drafts["customer"]["name"] == PersonalText("name", "Example Customer")
    assert drafts["vehicle"]["plate"] == PersonalText("plate", "DEMO-1")
    assert drafts["opened"]["words"] == PersonalText("words", "Will not start.")
    assert PersonalText("words", "smells of eggs") in [
        draft.body.get("words") for draft in read(SOUND).drafts
    ]
    plain = json.dumps([draft.body for draft in read(SOUND).drafts], default=lambda text: text.kind)
    assert "Example Customer" not in plain and "DEMO-1" not in plain and "000 0001" not in plain


def test_answers_come_out_as_declared_and_dont_know_is_one() -> None:
    fitted = {
        draft.body["of"]: draft.body for draft in reversed(read(SOUND).drafts) if draft.kind == "fitted"
    }
    assert fitted["cell.type"]["answer"] == "agm flat plate"
    assert (fitted["cell.rating"]["kind"], fitted["cell.rating"]["number"]) == ("cranking rating SAE", 680.0)
    assert (fitted["cell.cable"]["answer"], fitted["cell.cable"]["number"]) == ("", None)


def test_money_is_exact() -> None:
    visit = read(SOUND)
    assert [row.total for row in visit.approvals] == [Decimal("60.00"), Decimal("318.60")]
    assert visit.approvals[1].declined == ("cell.search",)
    (paid,) = [draft for draft in visit.drafts if draft.kind == "paid"]
    assert (paid.body["amount"], paid.body["currency"]) == (37860, "EUR")


def as_json(data: Any) -> bytes:
    return json.dumps(data, default=lambda moment: moment.isoformat()).encode()


def test_toml_and_json_of_one_visit_say_the_same(tmp_path: Path) -> None:
    content = as_json(tomllib.loads(SOUND))
    assert read_visit(content, DECLARED) == read(SOUND)
    (tmp_path / "visit.json").write_bytes(content)
    (tmp_path / "visit.toml").write_text(SOUND, "utf-8")
    assert read_visit(tmp_path / "visit.json", DECLARED) == read_visit(tmp_path / "visit.toml", DECLARED)


def test_a_vin_is_kept_apart_and_its_check_is_a_remark_not_a_refusal() -> None:
    # 0TSTE1A16… is constructed: no maker, check digit 6, position 10 A with a letter at 7: 2010, else 1980
    # (49 CFR 565.15)
    good = read(SOUND.replace('plate = "DEMO-1"', 'vin = "0tste1a16a0000001"'))
    (vehicle,) = [draft.body for draft in good.drafts if draft.kind == "vehicle"]
    assert vehicle["vin"] == PersonalText("vin", "0TSTE1A16A0000001")
    assert (vehicle["vin_check"], vehicle["model_years"], good.remarks) == ("agrees", [2010, 1980], ())
    odd = read(SOUND.replace('plate = "DEMO-1"', 'vin = "0TSTE1A17A0000001"'))
    assert "would be 6" in odd.remarks[0]


def test_a_vehicle_without_vin_needs_a_plate_or_a_reason() -> None:
    told = 'vehicle = { description = "small car", no_vin = "plate under the carpet" }'
    line = next(line for line in SOUND.splitlines() if line.startswith("vehicle"))
    (vehicle,) = [draft.body for draft in read(SOUND.replace(line, told)).drafts if draft.kind == "vehicle"]
    assert vehicle["why_no_vin"] == "plate under the carpet"
    assert (
        "vehicle.no_vin: there is neither VIN nor plate, and no reason"
        in faults_of(SOUND.replace(line, 'vehicle = { description = "small car" }'))[0]
    )
    assert "vehicle: is not named" in faults_of(SOUND.replace(line, 'vehicle = { odometer = "1 km" }'))[0]


# ---- what is refused: the whole list at once

TWENTY = """
job = "a-job"
reason = 5
vehicel = { plate = "DEMO-1" }
vehicle = { vin = "0TSTE1A16A0O00001", odometer = "98400" }
[traits]
"cell.type" = "agm flat"
"cell.rating" = "680 A"
"brakes.pads" = "thin"
[instruments.meter]
accuracy = "rather good"
ranges = { "20 V" = "0.01 A" }
[[specification]]
of = "cell.rest"
low = "14 V"
high = "13 V"
[[step]]
setup = { "cell.temperature" = "4 km" }
readings = [
  { of = "cell.rest", is = "12.6" },
  { of = "cell.rst", is = "12.6 V" },
  { of = "cell.cranking", is = "8.9 V" },
  { of = "cell.rest", is = "13.9 mV", confirmed = "yes" },
  { of = "cell.rest", is = "15.2 V" },
  { of = "cell.case", is = "sound" },
]
seen = [ { of = "cell.case", is = "bulgd" } ]
[[step]]
requested = { operation = "cell.replace", ground = "judgement" }
[[step]]
approved = { estimate = "repair 1", total = "1.318,60", how = "in person" }
[[step]]
repaired = { operation = "cell.replace", "cell.cable" = "2 m" }
"""

MEANT = [
    ("reason", "is the number 5", '"5"'),
    ("vehicel", "is not a key here", 'traits, instruments, specification, step (perhaps "vehicle")'),
    ("vehicle.vin", "letter O at position 12", "the digit 0"),
    ("vehicle.odometer", "has no unit", '"98400 km"'),
    (
        'traits."cell.type"',
        "is not an answer",
        'one of "flooded", "agm flat plate" or "don\'t know"',
    ),
    ('traits."cell.rating"', "by which test", '"680 A SAE" or "680 A EN"'),
    ('traits."brakes.pads"', 'no system "brakes" is installed (installed: cell)', ""),
    ("instruments.meter.accuracy", "is not an accuracy", "0.5 %"),
    ('instruments.meter.ranges."20 V"', "wrong kind (current)", "V"),
    ("specification[0].low", "lies above high", "the other way round"),
    ("specification[0].from", "is missing", "label"),
    ('step[0].setup."cell.temperature"', "wrong kind (length)", "°C"),
    ("step[0].readings[0].is", '"12.6" has no unit', '"12.6 V"'),
    ("step[0].readings[1].of", '"cell.rst" is not known', '"cell.rest"'),
    ("step[0].readings[2].place", "can be taken at several places", '"posts" or "clamps"'),
    ("step[0].readings[3].confirmed", 'is the text "yes"', "true, without quotes"),
    ("step[0].readings[4].is", "15.2 V?", "add confirmed = true"),
    ("step[0].readings[5].of", "is an observation, which stands under seen", ""),
    ("step[0].seen[0].is", '"bulgd" is not an answer', '"bulged"'),
    ("step[1].requested.because", "needs a reason", "because"),
    ("step[2].approved.by", "is missing", '"customer"'),
    ("step[2].approved.total", '"1.318,60" is not an amount of money', "318.60"),
    ('step[3].repaired."cell.cable"', 'belongs to the part "cable"', ""),
]


def test_twenty_different_faults_are_all_reported_with_place_and_cure() -> None:
    with pytest.raises(VisitError) as caught:
        read(TWENTY)
    faults = {fault.path: fault for fault in caught.value.faults}
    for path, meaning, cure in MEANT:
        assert path in faults, f"{path} was not reported"
        assert meaning in faults[path].got and cure in faults[path].write, faults[path]
    assert len(MEANT) >= 20
    # one row has two: the unit slip beside the wrong `confirmed`
    assert faults["step[0].readings[3].is"].got == "13.9 mV? 13.9 V?"
    assert set(faults) == {path for path, _, _ in MEANT} | {"step[0].readings[3].is"}


def test_faults_stand_in_the_order_of_the_file() -> None:
    with pytest.raises(VisitError) as caught:
        read(TWENTY)
    paths = [fault.path for fault in caught.value.faults]
    assert (
        paths.index("vehicel")
        < paths.index("vehicle.vin")
        < paths.index("specification[0].low")
        < paths.index('step[3].repaired."cell.cable"')
    )


def test_a_fault_is_printed_as_place_then_what_then_what_to_write() -> None:
    assert 'step[8].readings[0].is: "12.6" has no unit; write "12.6 V"' in faults_of(
        with_step('readings = [ { of = "cell.rest", is = "12.6" } ]')
    )


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("12.6 mV", '"12.6 mV"? "12.6 V"?'),
        ("1265 V", "is outside what is possible (0 V to 18 V); write what really stands there"),
        ("126 V", "is outside what is possible (0 V to 18 V); write what really stands there"),
        ("-12.6 V", "is outside what is possible (0 V to 18 V)"),
        ("17.3 V", "17.3 V? If the reading is correct, add confirmed = true (11 V to 14 V is usual)"),
        ("1.26 V", "1.26 V? 12.6 V? If the reading is correct, add confirmed = true"),
    ],
)
def test_an_odd_number_is_asked_about_with_the_likely_slip(typed: str, says: str) -> None:
    (fault,) = faults_of(with_step(f'readings = [ {{ of = "cell.rest", is = "{typed}" }} ]'))
    assert fault.startswith("step[8].readings[0].is: ")
    assert says.replace('"12.6 mV"? "12.6 V"?', "12.6 mV? 12.6 V?") in fault


def test_a_fahrenheit_reading_with_the_wrong_letter_is_recognised() -> None:
    (fault,) = faults_of(with_step('readings = [ { of = "cell.temperature", is = "77 °C" } ]'))
    assert "77 °C? 77 °F?" in fault


def test_a_confirmed_unusual_value_is_taken_and_an_impossible_one_is_not() -> None:
    visit = read(with_step('readings = [ { of = "cell.rest", is = "17.3 V", confirmed = true } ]'))
    assert visit.drafts[-1].body["confirmed"] is True
    assert (
        "outside what is possible"
        in faults_of(with_step('readings = [ { of = "cell.rest", is = "19 V", confirmed = true } ]'))[0]
    )


def test_a_plain_bar_is_the_pressure_that_was_declared() -> None:
    visit = read(with_step('readings = [ { of = "cell.pressure", is = "2.1 bar" } ]'))
    assert (visit.drafts[-1].body["kind"], visit.drafts[-1].body["number"]) == ("pressure gauge", 210_000.0)


@pytest.mark.parametrize(
    ("step", "says"),
    [
        ("", "step[8]: is empty"),
        ("readings = []", "step[8]: is empty"),
        ('setup = { "cell.temperature" = "4 °C" }', "step[8].setup: belongs to no reading"),
        (
            'repaired = { operation = "cell.search" }\nreadings = [ { of = "cell.rest", is = "12 V" } ]',
            "step[8]: does not say whether readings came before",
        ),
        (
            'readings = [ { of = "cell.rest", is = 12.6 } ]',
            'step[8].readings[0].is: is the number 12.6; write "12.6 …"',
        ),
        ('readings = [ "12.6 V" ]', 'step[8].readings[0]: is the text "12.6 V"; expected a table'),
        ('readings = { of = "cell.rest", is = "12.6 V" }', "step[8].readings: is a table; expected a list"),
        (
            'readings = [ { of = "cell.rest", is = "12.6 V", wiht = "meter" } ]',
            "step[8].readings[0].wiht: is not a key here; write one of of, place, is, with, range, confirmed,"
            ' taken, origin, withdrawn (perhaps "with")',
        ),
        ('readings = [ { of = "cell.rest", is = "12.6 V", with = "metre" } ]', ""),
        (
            'readings = [ { of = "cell.rest", is = "12.6 V", with = "meter", range = "200 V" } ]',
            'step[8].readings[0].range: "200 V" is not a range of "meter"',
        ),
        (
            'readings = [ { of = "cell.rest", is = "12.6 V", range = "20 V" } ]',
            "step[8].readings[0].range: is a range of no instrument",
        ),
        (
            'readings = [ { of = "cell.rest", is = "12.6 V", place = "posts" } ]',
            "cell.rest has one place only",
        ),
        (
            'readings = [ { of = "cell.cranking", is = "8.9 V", place = "post" } ]',
            '"post" is not a place of cell.cranking; write "posts"',
        ),
        (
            'readings = [ { of = "cell.rest", is = "12.6 V", taken = 2026-03-04T10:15:00 } ]',
            "step[8].readings[0].taken: says no offset from UTC",
        ),
        (
            'readings = [ { of = "cell.rest", is = "12.6 V", taken = "noon" } ]',
            'step[8].readings[0].taken: is the text "noon"',
        ),
        (
            'readings = [ { of = "cell.rest", is = "12.6 V", withdrawn = " " } ]',
            "step[8].readings[0].withdrawn: is empty",
        ),
        ('readings = [ { is = "12.6 V" } ]', "step[8].readings[0].of: is missing"),
        (
            'readings = [ { of = "cell.temperature", is = "4 °C", with = "meter" } ]',
            "instruments.meter.accuracy: ",
        ),
        ('seen = [ { of = "cell.case" } ]', "step[8].seen[0]: has nothing to say"),
        (
            'seen = [ { of = "cell.case", is = "sound", cannot = "dark" } ]',
            "step[8].seen[0]: has is and cannot",
        ),
        (
            'seen = [ { of = "cell.rest", is = "sound" } ]',
            "is a reading, which stands under readings or setup",
        ),
        (
            'requested = { operation = "cell.search", ground = "hunch" }',
            'step[8].requested.ground: "hunch" is not a ground',
        ),
        ('repaired = { "cell.rating" = "720 A SAE" }', "step[8].repaired.operation: is missing"),
        ('paid = { amount = "0", how = "cash" }', "step[8].paid.amount: is no money"),
        ('paid = { amount = "1.005", how = "cash" }', '"1.005" is not an amount of money'),
        ('paid = { amount = 60.0, how = "cash" }', 'step[8].paid.amount: is the number 60.0; write "60.0"'),
        (
            'approved = { estimate = "x", total = "-1", by = "customer", how = "x" }',
            '"-1" is not an amount of money',
        ),
        (
            'approved = { estimate = "x", total = "1", by = "y", how = "x", declined = ["cell.sarch"] }',
            'step[8].approved.declined[0]: "cell.sarch" is not known',
        ),
        (
            'bought = "bread"',
            "step[8].bought: is not a key here; expected one of arrived, remarked, approved",
        ),
    ],
)
def test_a_row_that_says_too_little_or_too_much_is_refused(step: str, says: str) -> None:
    if not says:  # an instrument that neither file nor shop describes is named once the shop's are known
        read(with_step(step))
        shop = Declared.of(DECLARED, {"clamp": Instrument(name="clamp", accuracy="2 %")}, "EUR")  # type: ignore[arg-type]
        assert 'step[8].readings[0].with: "metre" is neither' in faults_of(with_step(step), shop)[0]
        return
    assert any(says in fault for fault in faults_of(with_step(step)))


def test_money_needs_the_shops_currency() -> None:
    import attrs

    assert "step[7].paid: is in no currency" in faults_of(SOUND, attrs.evolve(DECLARED, currency=""))[0]


def test_an_instrument_of_the_shop_must_fit_what_it_read() -> None:
    import attrs

    shop = attrs.evolve(DECLARED, instruments={"clamp": Instrument(name="clamp", accuracy="2 A")})
    assert read(
        with_step('readings = [ { of = "cell.drain", is = "46 mA", with = "clamp" } ]'), shop
    ).instruments_used == {"meter", "clamp"}
    assert (
        "the shop's accuracy"
        in faults_of(with_step('readings = [ { of = "cell.rest", is = "12 V", with = "clamp" } ]'), shop)[0]
    )


# ---- files that are none


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b'job = "a"\nreason = \n', "line 2, column 10: "),
        (b'job = "a"\nvehicle = { plate = "x"', "line 2, column "),
        (b'job = "a"\njob = "b"\n', "line 2, column "),
        (b'{"job": "a", }', "line 1, column 1"),
        (b'{"job": "a", "job": "b"}', "job: is given twice"),
        (b'{"vehicle": {"plate": "a", "plate": "b"}}', "vehicle.plate: is given twice"),
        (b'{"step": [{"paid": {"amount": NaN}}]}', "step[0].paid.amount: nan is not a number"),
        (b'{"step": [{"paid": {"amount": 1e999}}]}', "step[0].paid.amount: inf is not a number"),
        (b"reason = nan\n", "reason: nan is not a number"),
        (b'{"job": null}', "job: null says nothing"),
        (b'{"job": "\\ud800"}', "job: has the character U+D800"),
        (b'{"job": "a\\u0000b"}', "job: has the character U+0000"),
        (b'{"reason": "a\\u202eb"}', "reason: has the character U+202E"),
        (b'{"step": ' + b"[" * 100_000 + b"]" * 100_000 + b"}", "nested too deeply"),
        (b"step = " + b"[" * 50_000 + b"]" * 50_000, "nested too deeply"),
        (b"{" + b'"a": {' * 20 + b"}" * 21, "nested too deeply"),
        (b"a." * 5000 + b"a = 1", "nested too deeply"),
        (b"x" * ((1 << 20) + 1), "is larger than 1 MiB"),
        (b"\xef\xbb\xbfjob = 1", "begins with a byte order mark"),
        ('job = "a"'.encode("utf-16"), "is UTF-16 text"),
        ('job = "a"'.encode("utf-16-le"), "is a NUL byte"),
        (b'job = "\xff"', "line 1, column 8: the byte 0xff is not UTF-8"),
        (b"[1, 2]", ""),
        (b"", "job: is missing"),
        (b"{}", "job: is missing"),
        (b"job = " + b"9" * 5000, "nobody writes by hand"),
        (b'reason = "' + b"a" * 5000 + b'"', "reason: has 5000 characters"),
        (b"step = 1979-05-27", "step: is the date 1979-05-27; expected a list"),
        (b'"a\\u001bb" = 1', "has the character U+001B"),
        (b"[vehicle]\nplate = true", "vehicle.plate: is true, a yes or no; expected text in quotes"),
    ],
)
def test_a_file_that_is_none_is_a_clear_fault(content: bytes, says: str) -> None:
    assert any(says in fault for fault in faults_of(content))


def test_a_syntax_error_is_one_fault() -> None:
    assert len(faults_of(b'job = "a"\nreason = \n[[[')) == 1


def test_a_file_that_is_not_there_or_a_folder_is_a_fault(tmp_path: Path) -> None:
    for path in (tmp_path / "nothing.toml", tmp_path):
        with pytest.raises(VisitError):
            read_visit(path, DECLARED)


def test_a_file_of_fifty_thousand_unknown_keys_is_refused_as_one_of_another_kind() -> None:
    content = "{" + ",".join(f'"k{n}": 1' for n in range(50_000)) + "}"
    with pytest.raises(VisitError, match="table of 50000 keys") as caught:
        read(content)
    assert len(str(caught.value).splitlines()) < 200


# ---- what nobody thought of


def test_two_thousand_mutated_files_are_read_or_refused() -> None:
    dice = random.Random(20260304)
    seeds = [SOUND.encode(), TWENTY.encode(), as_json(tomllib.loads(SOUND))]
    pieces = [
        b'"',
        b"{",
        b"}",
        b"[",
        b"]",
        b"=",
        b"\n",
        b"\x00",
        b"\xff",
        b"nan",
        b"null",
        b"true",
        b"1e999",
        b"12:00",
        b"2026-01-01",
        b"[[step]]\n",
    ]
    for _ in range(2000):
        content = bytearray(dice.choice(seeds))
        for _ in range(dice.randint(1, 6)):
            place = dice.randrange(len(content) + 1)
            piece = dice.choice(pieces) if dice.random() < 0.6 else bytes([dice.randrange(256)])
            content[place : place + dice.choice([0, 0, 1, 5, 40])] = piece
        try:
            visit = read_visit(bytes(content), DECLARED)
        except VisitError as error:
            assert error.faults
        else:
            assert visit.origin


PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["12.6 V", "cell.rest", "posts"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                [
                    "of",
                    "is",
                    "with",
                    "setup",
                    "readings",
                    "seen",
                    "repaired",
                    "operation",
                    "paid",
                    "cell.rest",
                    "x",
                ]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@given(
    st.dictionaries(
        st.sampled_from(
            [
                "job",
                "reason",
                "vehicle",
                "customer",
                "traits",
                "instruments",
                "specification",
                "step",
                "demo",
                "y",
            ]
        ),
        PLAIN,
    )
)
@settings(max_examples=300)
def test_any_json_is_read_or_refused(data: dict[str, Any]) -> None:
    try:
        read_visit(json.dumps(data).encode(), DECLARED)
    except VisitError as error:
        assert error.faults


def test_reading_a_visit_loads_neither_pint_nor_numpy() -> None:
    code = (
        "import sys; from corekit.intake.declared import Declared; from corekit.intake.visit import *\ntry:"
        " read_visit(b'job = \"a\"', Declared())\nexcept VisitError: pass\nprint(sorted({'pint', 'numpy',"
        " 'uncertainties', 'flask', 'reportlab', 'jinja2', 'qrcode'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
