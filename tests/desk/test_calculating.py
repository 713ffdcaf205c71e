"""Calculations outside a job.

What comes out is held against Ohm's law worked by hand and, for the uncertainty, JCGM 100:2008, 4.3.7 and
5.1.2.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.cli import main
from corekit.desk.calculating import PLAIN, CalculationError, calculation_named, fields_of, work_out
from corekit.desk.errors import DeskError
from corekit.desk.shown_units import shown_in
from corekit.plugin.host import Plugins, load


@pytest.fixture(scope="module")
def plugins() -> Plugins:
    return load()


def test_a_result_comes_from_texts_with_units_of_any_size(plugins: Plugins) -> None:
    # Ohm's law: 12.6 V over 600 mΩ is 21 A.
    result = work_out(plugins, "ignition.final_current", {"voltage": "12600 mV", "resistance": "600 mΩ"})
    assert result.shown == "21 A"
    assert result.label == plugins.calculations["ignition.final_current"].output.label
    assert result.understood == (("Supply voltage", "12600 mV"), ("Primary circuit resistance", "600 mΩ"))
    assert result.source.named


def test_a_plain_number_claims_no_more_than_four_digits(plugins: Plugins) -> None:
    # 10 V over 3 Ω is 3.3333… A.
    assert (
        work_out(plugins, "ignition.final_current", {"voltage": "10 V", "resistance": "3 ohm"}).shown
        == "3.333 A"
    )


def test_an_uncertainty_that_was_typed_travels_along(plugins: Plugins) -> None:
    # ± 0.6 V, evenly likely: u = 0.6/√3 V; over 2 Ω u = 0.3/√3 A, and k = 2 gives 0.346 A, printed with one
    # digit.
    shown = work_out(plugins, "ignition.final_current", {"voltage": "12 ± 0.6 V", "resistance": "2 Ω"}).shown
    assert shown.startswith("6.0")
    assert f"± {2 * 0.3 / math.sqrt(3):.1f} A" in shown


def test_every_input_that_is_wrong_is_named_at_once(plugins: Plugins) -> None:
    with pytest.raises(CalculationError) as refused:
        work_out(plugins, "ignition.final_current", {"voltage": "12 A", "spark": "1"})
    assert set(refused.value.faults) == {"voltage", "resistance", "spark"}
    assert "is missing; write a number and its unit, such as Ω" in refused.value.faults["resistance"]
    assert "of the wrong kind (current)" in refused.value.faults["voltage"]


def test_a_number_outside_the_range_is_refused_in_the_units_that_people_use(plugins: Plugins) -> None:
    with pytest.raises(
        CalculationError,
        match=r"outside the range in which this holds \(at least 1\.05 and at most 1\.318\)",
    ):
        work_out(plugins, "battery.molality_of_gravity", {"gravity": "1265"})


def test_an_unknown_calculation_is_answered_with_the_likely_one(plugins: Plugins) -> None:
    with pytest.raises(DeskError, match=r"ignition\.final_current"):
        calculation_named(plugins, "ignition.final_curent")


def test_every_calculation_that_is_declared_can_be_asked_for(plugins: Plugins) -> None:
    for key, calculation in plugins.calculations.items():
        fields = fields_of(calculation, plugins)
        assert [field.name for field in fields] == list(calculation.inputs), key
        assert [field.label for field in fields] == [
            declared.label for declared in calculation.inputs.values()
        ], key
        assert all(field.units or field.units == () for field in fields), key


def test_temperatures_are_asked_for_in_degrees_and_a_ratio_may_be_a_plain_number(plugins: Plugins) -> None:
    asked = {
        field.name: field
        for key in ("battery.disagreement", "battery.molality_of_gravity")
        for field in fields_of(plugins.calculations[key], plugins)
    }
    assert asked["first"].units[0] == "°C"
    assert asked["gravity"].units[0] == PLAIN


@given(volts=st.floats(0.1, 30), ohms=st.floats(0.1, 100))
def test_the_same_quantity_in_other_units_gives_the_same_result(volts: float, ohms: float) -> None:
    plugins = load()
    plain = work_out(
        plugins, "ignition.final_current", {"voltage": f"{volts:.6f} V", "resistance": f"{ohms:.6f} Ω"}
    )
    other = work_out(
        plugins,
        "ignition.final_current",
        {"voltage": f"{volts * 1000:.3f} mV", "resistance": f"{ohms / 1000:.9f} kΩ"},
    )
    assert plain.shown == other.shown


def test_the_command_lists_explains_and_works_out(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calculate"]) == 0
    assert "ignition.final_current" in capsys.readouterr().out
    assert main(["calculate", "ignition.final_current"]) == 0
    assert "resistance=…" in capsys.readouterr().out
    assert main(["calculate", "ignition.final_current", "voltage=12 V", "resistance=0.5 Ω"]) == 0
    assert "24 A" in capsys.readouterr().out
    assert main(["calculate", "ignition.final_current", "12 V"]) == 1
    assert "names no input" in capsys.readouterr().err


def in_shop(folder: Path, *units: str) -> str:
    (folder / "shop.toml").write_text(
        f'name = "A Shop"\naddress = ["1 Lane"]\nunits = {list(units)}\n'.replace("'", '"'), "utf-8"
    )
    return str(folder)


def test_a_result_is_in_the_units_of_the_shop(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Water boils at 99.97 °C under 101.325 kPa on the scale of 1990 (from memory): × 1.8 + 32 = 211.95 °F.
    typed = ["calculate", "cooling.water_boils_at", "pressure=101.325 kPa"]
    assert main(typed) == 0
    assert "99.97 °C" in capsys.readouterr().out
    assert main([*typed, "--shop", in_shop(tmp_path, "°F", "psi")]) == 0
    said = capsys.readouterr().out
    assert re.search(r"(211\.9\d?|212) °F", said)
    assert "°C" not in said
    assert "101.325 kPa" in said, "what was typed stays as it was"


def test_what_an_input_takes_and_where_it_ends_is_in_the_units_of_the_shop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # −30 °C = −22 °F, 60 °C = 140 °F.
    monkeypatch.chdir(in_shop(tmp_path, "°F"))
    assert main(["calculate", "battery.usual_acceptance_time"]) == 0
    assert "in °F, °C, K; at least −22 and at most 140 °F" in capsys.readouterr().out
    assert main(["calculate", "battery.usual_acceptance_time", "temperature=61 °C"]) == 1
    assert "(at least −22 and at most 140 °F)" in capsys.readouterr().err
    assert main(["calculate", "battery.usual_acceptance_time", "temperature= "]) == 1
    assert "such as °F" in capsys.readouterr().err
    assert main(["calculate", "battery.usual_acceptance_time", "temperature=139 °F"]) == 0


def test_a_difference_of_temperatures_is_converted_as_a_difference(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # 30 °C − 20 °C = 10 K = 18 °F, and no 50 °F.
    typed = ["calculate", "battery.disagreement", "first=30 °C", "second=20 °C"]
    assert main([*typed, "--shop", in_shop(tmp_path, "°F")]) == 0
    assert "18 °F" in capsys.readouterr().out


def test_each_unit_of_the_shop_is_offered_before_the_one_that_it_takes_the_place_of(plugins: Plugins) -> None:
    gap = calculation_named(plugins, "ignition.gap_after")
    with shown_in(["in", "mi"]):
        offered = fields_of(gap, plugins)[0].units
    assert offered.index("in") + 1 == offered.index("mm")
    assert "in" not in fields_of(gap, plugins)[0].units


def test_a_shop_that_cannot_be_read_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calculate", "battery.disagreement", "--shop", str(tmp_path)]) == 1
    assert "shop.toml" in capsys.readouterr().err
