"""The instruments of a shop: what shop.toml may say of them, and what becomes of it in the journal, on the
screen and on paper.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from corekit.assess.assessment import assess
from corekit.cli import main
from corekit.desk import importing
from corekit.desk.in_memory import scratch_job
from corekit.desk.settings import read_settings
from corekit.desk.setup import Answers, set_up
from corekit.desk.shop import Shop
from corekit.fault import DataFileError
from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.plugin.host import load
from corekit.report.readings import how_read

SHOP = 'name = "A Shop"\naddress = ["1 Lane"]\n'
METER = """
[instruments.meter]
kind = "digital multimeter"
accuracy = "0.5 % + 2 digits"
ranges = { "20 V" = "0.01 V" }
calibrated = 2024-01-05
for = ["battery.open_circuit_voltage"]
"""
PRICES = """
currency  = "EUR"
tax       = { rates = { standard = "20" }, default = "standard" }
labour    = { per_hour = "60.00" }
call_out  = "0.00"
diagnosis = { price = "50.00" }

[operations."battery.charge"]
hours = "0.5"
"""
VISIT = """
job = "visit"
reason = "Cranks slowly."
vehicle = { plate = "XX 1", description = "a small car" }

[[step]]
setup = { "battery.rest_time" = "about 9 h", "battery.temperature" = "20 °C" }
readings = [ { of = "battery.open_circuit_voltage", is = "12,5-12,6 V" } ]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    set_up(tmp_path / "shop", Answers(name="A Shop", address=("1 Lane",), currency="EUR"))
    (tmp_path / "shop" / "prices.toml").write_text(PRICES, "utf-8")
    return said(tmp_path / "shop", METER)


def said(folder: Path, more: str) -> Path:
    (folder / "shop.toml").write_text(SHOP + more, "utf-8")
    return folder


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "visit.toml"
    path.write_text(VISIT, "utf-8")
    return path


# ---- what the shop's file may say


def test_an_instrument_is_read_with_all_that_is_said_of_it(folder: Path) -> None:
    settings = read_settings(
        said(folder, 'decimal = ","\n' + METER + 'interval = "2 years"\nstep = "0.1 V"\n'), demo=False
    )
    meter = settings.instruments["meter"]
    assert (meter.kind, meter.calibrated, meter.interval, meter.step) == (
        "digital multimeter",
        "2024-01-05",
        "2 years",
        "0.1 V",
    )
    assert (settings.usual, settings.decimal) == ({"battery.open_circuit_voltage": "meter"}, ",")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ('decimal = ";"', 'decimal: is the text ";"; expected one of ".", ","'),
        ("decimal = 1", 'decimal: is the number 1; expected one of ".", ","'),
        ('instruments = "meter"', 'instruments: is the text "meter"; expected a table'),
        ('[instruments]\nmeter = "good"', 'instruments.meter: is the text "good"; expected a table'),
        ("[instruments.meter]", 'instruments.meter.accuracy: is missing; write "0.5 % + 2 digits"'),
        (
            '[instruments.meter]\naccuracy = " "',
            'instruments.meter.accuracy: is empty; write "0.5 % + 2 digits"',
        ),
        (
            '[instruments.meter]\naccuracy = "rather good"',
            'instruments.meter.accuracy: "rather good" is not an accuracy',
        ),
        (
            '[instruments.meter]\naccuracy = "1 %"\nranges = { "20 V" = 0.01 }',
            'instruments.meter.ranges."20 V": is the number 0.01; write "0.01 …" in quotes and with its unit',
        ),
        (
            '[instruments.meter]\naccuracy = "1 %"\nranges = { "20 V" = "30 V" }',
            'instruments.meter.ranges."20 V": the step "30 V" does not fit',
        ),
        (
            '[instruments.meter]\naccuracy = "1 %"\nranges = { "20 V" = "0 V" }',
            'the step "0 V" does not fit the range "20 V"',
        ),
        (
            '[instruments.meter]\naccuracy = "1 %"\nranges = { "20" = "0.01 V" }',
            'instruments.meter.ranges.20: the range "20" has no unit',
        ),
        (
            '[instruments.meter]\naccuracy = "1 %"\ncalibrated = "last year"',
            'instruments.meter.calibrated: is the text "last year"; expected a day such as 2026-03-04',
        ),
        (
            '[instruments.meter]\naccuracy = "1 %"\ncalibrated = 2026',
            "instruments.meter.calibrated: is the number 2026; expected a day such as 2026-03-04",
        ),
        (
            '[instruments.meter]\naccuracy = "1 %"\ninterval = "often"',
            "instruments.meter.interval: a calibration holds for",
        ),
        (
            '[instruments.meter]\naccuracy = "1 %"\nfor = "battery.parasitic_draw"',
            'instruments.meter.for: is the text "battery.parasitic_draw"; expected a list',
        ),
        (
            '[instruments.meter]\naccuracy = "1 %"\nowner = "me"',
            "instruments.meter.owner: is not a key here; expected one of kind, accuracy, ranges",
        ),
        (
            (
                '[instruments.a]\naccuracy = "1 %"\nfor = ["x.y"]\n[instruments.b]\naccuracy = "1 %"\nfor ='
                ' ["x.y"]'
            ),
            "a is the usual one for x.y already",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_place(folder: Path, more: str, says: str) -> None:
    with pytest.raises(DataFileError) as caught:
        read_settings(said(folder, more), demo=False)
    assert says in str(caught.value)


def test_a_reading_that_no_system_knows_is_refused_as_what_an_instrument_is_for(folder: Path) -> None:
    said(folder, METER.replace("battery.open_circuit_voltage", "battery.open_circuit_voltag"))
    with (
        Shop(folder) as shop,
        pytest.raises(
            DataFileError,
            match=(
                r'instruments\.meter\.for: "battery\.open_circuit_voltag" is not known.*'
                r'write "battery\.open_circuit_voltage"'
            ),
        ),
    ):
        _ = shop.context.declared
    said(
        folder, METER.replace("battery.open_circuit_voltage", "clutch.travel")
    )  # of a system that is not installed: it waits
    with Shop(folder) as shop:
        assert shop.context.declared.usual == {"clutch.travel": "meter"}


# ---- the usual instrument in the journal


def test_a_reading_is_taken_with_the_usual_instrument_and_the_journal_keeps_which(
    folder: Path, file: Path
) -> None:
    with Shop(folder) as shop:
        job = shop.import_visit(file)
        (reading,) = shop.assess(job).readings[0]
        assert reading.sheet == "meter, ± (0.5 % + 2 digits) on the 20 V range"
        assert "no instrument named, meter is the usual one for this" in reading.uncertainty_from


@pytest.mark.parametrize(
    "now",
    [
        "",
        METER.replace("battery.open_circuit_voltage", "battery.parasitic_draw"),
        METER.replace("[instruments.meter]", "[instruments.other]"),
    ],
    ids=["sold", "for something else", "another one"],
)
def test_another_usual_instrument_changes_nothing_of_what_was_read_before(
    folder: Path, file: Path, now: str
) -> None:
    with Shop(folder) as shop:
        before = shop.assess(shop.import_visit(file)).readings
    said(folder, now)
    with Shop(folder) as shop:
        visit = importing.read(shop.context, file)
        again = importing.add(shop.context, visit)
        assert (again.corrected, again.withdrawn) == (0, 0)
        assert shop.assess(again.job).readings == before


def test_the_same_file_in_the_same_shop_adds_nothing(folder: Path, file: Path) -> None:
    with Shop(folder) as shop:
        shop.import_visit(file)
        again = importing.add(shop.context, importing.read(shop.context, file))
    assert (again.added, again.corrected, again.withdrawn) == (0, 0, 0)


def test_a_new_reading_is_taken_with_todays_usual_instrument(folder: Path, file: Path) -> None:
    with Shop(folder) as shop:
        shop.import_visit(file)
    said(folder, METER.replace("[instruments.meter]", "[instruments.other]"))
    file.write_text(
        VISIT + '[[step]]\nreadings = [ { of = "battery.open_circuit_voltage", is = "12.55 V" } ]\n', "utf-8"
    )
    with Shop(folder) as shop:
        job = shop.store.job(shop.store.find(shop.import_visit(file)))
        assert [noted.record.instrument for noted in job.measured(0)] == ["meter", "other"]


def test_a_file_that_now_names_the_instrument_is_a_correction_only_where_it_is_another(
    folder: Path, file: Path
) -> None:
    with Shop(folder) as shop:
        shop.import_visit(file)
        file.write_text(VISIT.replace('"12,5-12,6 V" }', '"12,5-12,6 V", with = "meter" }'), "utf-8")
        assert importing.add(shop.context, importing.read(shop.context, file)).corrected == 1


# ---- said


def test_where_the_uncertainty_comes_from_is_said_on_demand(
    folder: Path, file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(file), "--shop", str(folder)]) == 0
    plain = " ".join(capsys.readouterr().out.split())
    assert "Where the uncertainty comes from" not in plain
    assert "read with meter, whose calibration had run out on 2025-01-05" in plain
    assert main(["check", str(file), "--uncertainty", "--shop", str(folder)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Where the uncertainty comes from, largest share first State of charge: " in told
    assert "Open-circuit voltage, 12,5-12,6 V: how loosely it was typed" in told
    assert "meter (20 V): the percentage in its accuracy, shared by all readings so taken" in told
    assert "Rest time before the reading, about 9 h: typed as about: ± 5 % of it" in told


def test_the_data_carries_the_budget_of_every_value(
    folder: Path, file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(file), "--json", "--shop", str(folder)]) == 0
    data = json.loads(capsys.readouterr().out)
    valued = [finding["value"] for finding in data["findings"] if finding["value"]] + data["readings"]
    assert len(valued) >= 2
    for value in valued:
        assert sum(row["part"] for row in value["budget"]) == pytest.approx(1)
        assert sum(row["u"] ** 2 for row in value["budget"]) == pytest.approx(value["u"] ** 2)
    (reading,) = data["readings"]
    assert reading["overdue"] == "meter, whose calibration had run out on 2025-01-05"
    assert "typed as a range" in reading["uncertainty_from"]


def test_paper_says_once_what_else_bears_on_the_uncertainty() -> None:
    text = VISIT.replace("[[step]]", METER + "[[step]]", 1)
    job, _ = scratch_job(read_visit(text.encode(), Declared.of(load(), currency="EUR")))
    words = how_read(assess(job, load()))
    assert "from the data sheet of meter, ± (0.5 % + 2 digits)" in words
    assert words.count("the calibration of meter of 2024-01-05 had run out on 2025-01-05") == 1
    assert "typed as a range: ± half its width" in words and "typed as about" in words
