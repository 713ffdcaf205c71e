"""Worked examples from outside, each calling a registered calculation by its name."""

from __future__ import annotations

import doctest
import importlib
from typing import Any

import corekit_battery
import pytest
from corekit_battery import battery

from corekit.testing import Examples, expected, failing_docstrings, outcome

EXAMPLES = Examples.beside(__file__)


@pytest.mark.parametrize(
    ("row", "source"), [pytest.param(row, source, id=key) for key, row, source in EXAMPLES.rows]
)
def test_a_worked_example_comes_out_as_its_source_says(row: dict[str, Any], source: str) -> None:
    number, within = expected(battery, row)
    assert outcome(battery, row) == pytest.approx(number, abs=within, rel=0), source


def test_every_example_on_file_is_tested_or_waits_with_a_reason() -> None:
    assert EXAMPLES.keys == [f"battery-ex{number:02d}" for number in range(1, 33)]


def test_the_short_form_of_peukert_is_not_what_we_compute() -> None:
    # battery-ex10: the page that was read gets 14.5 h out of it
    assert battery.calculations["battery.run_time"].si(360000.0, 5.0, 1.2) / 3600 > 19


# Printed columns: gravity → molality and voltage of six cells, at 25 °C and as 80 °F against 60 °F.
# Source: Laliberté density (thermo 0.6.1) and Bode potentials (PyBaMM set), executed outside this project.
COLUMNS = [
    (1.100, 11.769, 11.786),
    (1.155, 12.064, 12.081),
    (1.190, 12.248, 12.267),
    (1.200, 12.302, 12.320),
    (1.225, 12.436, 12.456),
    (1.250, 12.574, 12.594),
    (1.265, 12.658, 12.679),
    (1.280, 12.744, 12.766),
    (1.300, 12.861, 12.884),
]


@pytest.mark.parametrize(("gravity", "at_25", "at_80f"), COLUMNS)
def test_gravity_gives_the_rest_voltage_of_the_printed_column(
    gravity: float, at_25: float, at_80f: float
) -> None:
    block = battery.calculations["battery.block_voltage"].si
    assert block(battery.calculations["battery.molality_of_gravity_25"].si(gravity)) == pytest.approx(
        at_25, abs=0.003
    )
    assert block(battery.calculations["battery.molality_of_gravity"].si(gravity)) == pytest.approx(
        at_80f, abs=0.003
    )


# Six cells by molality, from the package's own two electrode functions, executed outside this project (PyBaMM
# 26.10.1.1).
@pytest.mark.parametrize(
    ("molality", "volts"),
    [(0.5, 11.2885), (1.0, 11.532), (2.5, 11.9783), (4.0, 12.3273), (5.5, 12.6381), (7.0, 12.9244)],
)
def test_molality_gives_the_rest_voltage_of_the_installed_package(molality: float, volts: float) -> None:
    assert battery.calculations["battery.block_voltage"].si(molality) == pytest.approx(volts, abs=0.0001)


# (mol/m³, mol/kg, V for six cells) by LeadAcidParameters().m(c) and the two electrode functions
# lead_dioxide_ocp_Bode1977 and lead_ocp_Bode1977 of the set Sulzer2019, executed outside this project (PyBaMM
# 26.10.1.1).
@pytest.mark.parametrize(
    ("concentration", "molal", "volts"),
    [
        (1000.0, 1.01747, 11.5387),
        (1500.0, 1.56303, 11.722),
        (2000.0, 2.13557, 11.8839),
        (2500.0, 2.73713, 12.0372),
        (3000.0, 3.37, 12.1868),
        (3500.0, 4.03666, 12.3353),
        (4000.0, 4.73991, 12.4843),
        (4500.0, 5.48285, 12.6347),
        (5000.0, 6.26892, 12.7875),
        (5650.0, 7.36172, 12.9906),
    ],
)
def test_concentration_gives_the_molality_and_voltage_of_the_installed_package(
    concentration: float, molal: float, volts: float
) -> None:
    found = battery.calculations["battery.molality_of_concentration"].si(concentration)
    assert found == pytest.approx(molal, abs=0.0001)
    assert battery.calculations["battery.block_voltage"].si(found) == pytest.approx(volts, abs=0.0002)


# The printed rows of TM 5-4210-230-14&P-1 Table 5, in °C as the page has them beside °F.
@pytest.mark.parametrize(
    ("celsius", "volts"),
    [(21.1, 9.6), (15.6, 9.5), (10.0, 9.4), (4.4, 9.3), (-1.1, 9.1), (-6.7, 8.9), (-12.2, 8.7), (-17.8, 8.5)],
)
def test_the_load_voltage_table_is_met_at_each_of_its_rows(celsius: float, volts: float) -> None:
    assert battery.calculations["battery.least_load_voltage"].si(celsius + 273.15) == pytest.approx(
        volts, abs=0.002
    )


def test_every_calculation_has_an_example_that_runs_and_every_module_s_own_examples_run() -> None:
    assert failing_docstrings(battery) == []
    for name in corekit_battery.__all__:
        if name not in ("battery", "corekit_system"):
            assert doctest.testmod(importlib.import_module(f"corekit_battery.{name}")).failed == 0
