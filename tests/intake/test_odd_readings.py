"""What a mechanic really types: ranges, slips of unit and point, marks beyond a range, printed limits, and
the meter in the van.
"""

from __future__ import annotations

import re
from typing import Any

import attrs
import pytest

from corekit import units
from corekit.intake.declared import Declared
from corekit.intake.visit import VisitError, VisitFile, read_visit
from corekit.model.limit import Span
from corekit.model.measurand import Measurand
from corekit.model.personal import PersonalText
from corekit.model.records import Instrument


def measurand(
    name: str,
    unit: str,
    possible: tuple[float, float],
    usual: tuple[float, float],
    places: tuple[str, ...] = (),
) -> Measurand:
    def span(ends: tuple[float, float]) -> Span:
        return Span(*(units.to_coherent(end, unit) for end in ends))

    accuracy = units.parse_accuracy({"°C": "2 °C", "1": "0.005"}.get(unit, "1 %"), unit)
    return Measurand(
        key=f"van.{name}",
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
            measurand("volts", "V", (-18, 18), (11, 14)),
            measurand("drop", "V", (0, 15), (0.01, 1)),
            measurand("coil", "ohm", (0, 1e9), (5000, 15000), ("1", "2")),
            measurand("air", "°C", (-60, 90), (-30, 50)),
            measurand("barometer", "kPa abs", (30, 2000), (70, 106)),
            measurand("intake", "kPa abs", (0, 300), (20, 110)),
            measurand("boost", "bar gauge", (-1, 20), (-0.9, 0.6)),
            measurand("gravity", "1", (1, 1.35), (1.1, 1.3)),
            measurand("speed", "rpm", (0, 9000), (500, 6500)),
            measurand("hours", "h", (0, 9000), (0, 500)),
        )
    },
    systems=("van",),
    currency="EUR",
)
HEAD = 'job = "a"\nreason = "b"\nvehicle = { plate = "DEMO-1" }\n'


def visit(rows: str, declared: Declared = DECLARED) -> VisitFile:
    return read_visit((HEAD + rows).encode(), declared)


def reading(of: str, typed: str, more: str = "") -> str:
    return f'[[step]]\nreadings = [ {{ of = "van.{of}", is = "{typed}"{more} }} ]\n'


def faults(rows: str, declared: Declared = DECLARED) -> list[str]:
    with pytest.raises(VisitError) as caught:
        visit(rows, declared)
    return [str(fault) for fault in caught.value.faults]


def body(rows: str, declared: Declared = DECLARED, kind: str = "measured") -> dict[str, Any]:
    return dict(next(draft.body for draft in reversed(visit(rows, declared).drafts) if draft.kind == kind))


# ---- ranges and approximations travel


def test_a_range_comes_in_as_its_middle_with_what_it_allows_for_and_as_typed() -> None:
    said = body(reading("coil", "9.5-10 kOhm", ', place = "1"'))
    assert {name: said[name] for name in ("typed", "number", "half_width", "loosely")} == {
        "typed": "9.5-10 kOhm",
        "number": 9750.0,
        "half_width": 250.0,
        "loosely": "range",
    }


def test_a_setup_value_may_be_about_something() -> None:
    rows = (
        '[[step]]\nsetup = { "van.hours" = "about 8 h" }\nreadings = [ { of = "van.volts", is = "12.6 V"'
        " } ]\n"
    )
    said = body(rows, kind="setup")["values"]["van.hours"]
    assert (said["number"], said["half_width"], said["loosely"]) == (28800.0, 1800.0, "about")


def test_a_plain_reading_says_what_it_always_said() -> None:
    assert set(body(reading("volts", "12.6 V"))) == {
        "of",
        "typed",
        "kind",
        "number",
        "place",
        "stage",
        "instrument",
        "span",
        "setup",
        "confirmed",
    }


def test_both_ends_of_a_range_must_be_possible_and_its_middle_usual() -> None:
    assert "outside what is possible" in faults(reading("volts", "13-19 V"))[0]
    assert faults(reading("volts", "14-16 V"))[0].startswith(
        "step[0].readings[0].is: 14-16 V? If the reading is correct"
    )
    assert body(reading("volts", "13.5-14.3 V"))["number"] == 13.9


# ---- what is no value


@pytest.mark.parametrize(
    ("typed", "noted"),
    [
        ("OL", "beyond the range, shows OL"),
        ("1 .", "beyond the range, shows 1 ."),
        ("---", "beyond the range, shows ---"),
        (">20 MΩ", "no number, only: >20 MΩ"),
        ("within spec", "no number noted, only: within spec"),
    ],
)
def test_what_is_no_value_is_refused_with_the_very_row_to_write_instead(typed: str, noted: str) -> None:
    (fault,) = faults(reading("coil", typed, ', place = "2"'))
    row = f'{{ of = "van.coil", place = "2", cannot = "{noted}" }}'
    assert f"write {row} under seen instead of this row, or the number that was read" in fault
    said = body(f"[[step]]\nseen = [ {row} ]\n", kind="seen")
    assert (said["of"], said["place"]) == ("van.coil", "2")
    assert said["cannot"] in (noted, PersonalText("note", noted))


def test_a_setup_value_that_is_none_is_noted_under_seen_too() -> None:
    (fault,) = faults(
        '[[step]]\nsetup = { "van.air" = "OL" }\nreadings = [ { of = "van.volts", is = "12.6 V" } ]\n'
    )
    assert (
        'step[0].setup."van.air": ' in fault
        and '{ of = "van.air", cannot = "beyond the range, shows OL" } under seen instead of this value'
        in fault
    )


# ---- the likely slip


@pytest.mark.parametrize(
    ("of", "typed", "guesses"),
    [
        pytest.param("volts", "12.6 mV", ["12.6 V"], id="mV for V"),
        pytest.param("coil", "9.6 ohms", ["9.6 kΩ"], id="Ω for kΩ"),
        pytest.param("air", "77 °C", ["77 °F"], id="°F read as °C"),
        pytest.param("barometer", "1013 kPa", ["1013 hPa"], id="hPa read as kPa"),
        pytest.param("volts", "-12.6 V", ["12.6 V"], id="tips exchanged"),
        pytest.param("boost", "1.4 bar", ["0.387 bar"], id="absolute for gauge"),
        pytest.param("volts", "1.265 V", ["12.65 V"], id="a voltage with its point astray"),
        pytest.param("drop", "9.5 V", ["9.5 mV", "0.95 V"], id="V for mV"),
        pytest.param("intake", "5 kPa", ["106 kPa"], id="gauge for absolute"),
        pytest.param("speed", "12 rpm", ["12 rev/s", "1200 rpm"], id="revolutions a second"),
        pytest.param("hours", "1000 h", ["1000 min"], id="minutes for hours"),
    ],
)
def test_the_likely_slip_is_named_and_never_applied(of: str, typed: str, guesses: list[str]) -> None:
    place = ', place = "1"' if of == "coil" else ""
    (fault,) = faults(reading(of, typed, place))
    found = [
        estimate for estimate in guesses if re.search(rf'(?<![\d.]){re.escape(estimate)}(?:"| \(|\?)', fault)
    ]
    assert found, fault
    assert (
        body(reading(of, found[0], place))["typed"] == found[0]
    )  # what is proposed is understood, possible and usual


def test_gauge_and_absolute_are_told_apart_by_the_air_around_and_say_so() -> None:
    # Standard atmosphere 101.325 kPa (from memory): 5 + 101.325 = 106.325; 1.4 − 1.01325 = 0.38675.
    assert (
        "5 kPa? 106 kPa (if that was gauge pressure, with 101 kPa around)?"
        in faults(reading("intake", "5 kPa"))[0]
    )
    assert (
        "1.4 bar? 0.387 bar (if that was absolute pressure, with 1.01 bar around)? 1.4 kPa? 1.4 psi? If"
        in faults(reading("boost", "1.4 bar"))[0]
    )


@pytest.mark.parametrize(
    ("of", "typed", "span"),
    [
        ("drop", "95 V", "0 V to 15 V"),
        ("drop", "95000 mV", "0 mV to 15000 mV"),
        ("gravity", "1265", "1 to 1.35"),
        ("gravity", "12.65", "1 to 1.35"),
        ("volts", "1265 V", "−18 V to 18 V"),
        ("volts", "0.5 kV", "−0.018 kV to 0.018 kV"),
        ("air", "-80 °F", "−76 °F to 194 °F"),  # −60 °C and 90 °C by 1.8 t + 32
        ("intake", "-60 kPa", "0 kPa to 300 kPa"),
        ("intake", "9 bar", "0 bar to 3 bar"),
        ("speed", "1000 rev/s", "0 rev/s to 150 rev/s"),  # 9000 a minute
        ("coil", "5e9 ohm", "0 Ω to 1000000000 Ω"),
        ("hours", "9001 h", "0 h to 9000 h"),
    ],
)
def test_what_cannot_be_is_answered_with_what_could_be_and_never_with_other_digits(
    of: str, typed: str, span: str
) -> None:
    with pytest.raises(VisitError) as caught:
        visit(reading(of, typed, ', place = "1"' if of == "coil" else ""))
    (fault,) = caught.value.faults
    assert fault.got == f'"{typed}" is outside what is possible ({span})'
    assert (fault.expected, fault.guesses, fault.asked) == (span, (), False)
    assert not re.search("[0-9]", fault.write)


@pytest.mark.parametrize(
    ("of", "typed", "write"),
    [
        ("drop", "95 V", "what really stands there, in its unit (mV would be usual)"),
        ("volts", "1265 V", "what really stands there"),
        ("gravity", "1265", "what really stands there"),
    ],
)
def test_where_the_same_digits_would_be_usual_in_another_unit_the_unit_is_asked_for(
    of: str, typed: str, write: str
) -> None:
    (fault,) = faults(reading(of, typed))
    assert fault.endswith(f"; write {write}")


def test_a_unit_that_would_fit_any_span_down_to_nought_is_no_guess() -> None:
    (fault,) = faults(reading("hours", "1000 h"))
    assert "1000 h? 1000 min? If" in fault  # a thousand seconds fit as well, and a thousand milliseconds


def test_one_guess_is_not_offered_under_two_names() -> None:
    (fault,) = faults(reading("barometer", "1013 kPa"))
    assert "1013 mbar" not in fault


def test_a_confirmed_odd_reading_is_taken_as_it_was_typed() -> None:
    assert body(reading("drop", "9.5 V", ", confirmed = true"))["number"] == 9.5


def test_a_range_is_offered_in_the_other_unit_as_a_range() -> None:
    (fault,) = faults(reading("coil", "9.5-10 ohm", ', place = "1"'))
    assert "9.5-10 kΩ?" in fault


# ---- the shop's decimal mark


def test_the_shops_comma_is_decimal_in_readings_traits_and_limits() -> None:
    comma = attrs.evolve(DECLARED, decimal=",")
    assert body(reading("gravity", "1,265"), comma)["number"] == 1.265
    assert body(reading("gravity", "1.26"), comma)["number"] == 1.26
    assert '"1.265" may mean two numbers' in faults(reading("gravity", "1.265"), comma)[0]
    assert '"1,265" may mean two numbers' in faults(reading("gravity", "1,265"))[0]
    (fault,) = faults(reading("volts", "1,26 V"), comma)
    assert "1,26 V? 12,6 V? If" in fault
    assert (
        body('[[specification]]\nof = "van.volts"\nlow = "12,345 V"\nfrom = "label"\n', comma, "specified")[
            "low"
        ]
        == 12.345
    )


# ---- printed limits


def limit(ends: str, more: str = 'from = "label"', of: str = "coil") -> str:
    return f'[[specification]]\nof = "van.{of}"\n{ends}\n{more}\n'


@pytest.mark.parametrize(
    ("ends", "says"),
    [
        ('low = "9 kΩ"\nhigh = "8 kΩ"', 'specification[0].low: "9 kΩ" lies above high, "8 kΩ"'),
        ('low = "6 kΩ"\nhigh = "6 kΩ"', "no reading could show that it conforms"),
        ('low = "9 kΩ"\nhigh = "2e9 Ω"', "outside what is possible"),
        ('low = "9 Ω"', "9 Ω? 9 kΩ? If it is really printed so, add confirmed = true"),
        (
            'low = "6-12 kΩ"',
            (
                'specification[0].low: "6-12 kΩ" is more than one number; write low = "6000 Ω" and high ='
                ' "12000 Ω"'
            ),
        ),
        ('low = "about 6 kΩ"', "does not begin with a number"),
        ('low = "OL"', "does not begin with a number"),
    ],
)
def test_a_printed_limit_passes_the_same_examination_as_a_reading(ends: str, says: str) -> None:
    assert any(says in fault for fault in faults(limit(ends)))


@pytest.mark.parametrize("more", ["", 'from = ""', 'from = " "'])
def test_a_printed_limit_has_a_source(more: str) -> None:
    assert "specification[0].from: is " in faults(limit('low = "9 kΩ"', more))[0]


def test_ends_three_decades_apart_are_asked_about_with_the_likely_misprint() -> None:
    # A collected case: 6.7 ohm to 10 kohm, a misprint of 6.7 kohm.
    wide = attrs.evolve(
        DECLARED, measurands={"van.coil": attrs.evolve(DECLARED.measurands["van.coil"], usual=Span(0, 1e6))}
    )
    (fault,) = faults(limit('low = "6.7 Ω"\nhigh = "10 kΩ"'), wide)
    assert fault.startswith("specification[0].low: 6.7 Ω to 10 kΩ, a factor of 1493?")
    assert 'low = "6.7 kΩ"?' in fault and "If it is really printed so, add confirmed = true" in fault
    said = body(limit('low = "6.7 Ω"\nhigh = "10 kΩ"\nconfirmed = true'), wide, "specified")
    assert (said["low"], said["high"], said["confirmed"]) == (6.7, 10_000.0, True)
    assert "confirmed" not in body(
        limit('low = "6.7 Ω"\nhigh = "6.6 kΩ"'), wide, "specified"
    )  # less than three decades


# ---- instruments

METER = Instrument(
    name="meter",
    accuracy="0.5 % + 2 digits",
    ranges={"20 V": "0.01 V", "200 mA": "0.1 mA", "20 kΩ": "0.01 kΩ"},
)
SHOP = attrs.evolve(
    DECLARED,
    instruments={"meter": METER, "clamp": Instrument(name="clamp", accuracy="2 A")},
    usual={"van.volts": "meter"},
)


@pytest.mark.parametrize(
    ("typed", "span", "says"),
    [
        ("12.6 V", "20 V", ""),
        (
            "11.4-12.9 V",
            "12 V",
            'step[0].readings[0].is: "11.4-12.9 V" is larger than the range it was read on (12 V)',
        ),
        # The middle of the span lies on the range, its upper end beside it.
        ("11.0-12.0 V", "12 V", ""),
        (
            "11.0-12.5 V",
            "12 V",
            'step[0].readings[0].is: "11.0-12.5 V" is larger than the range it was read on (12 V)',
        ),
        ("13.2 V", "12 V", 'step[0].readings[0].is: "13.2 V" is larger than the range it was read on (12 V)'),
        ("12.6 V", "200 mA", 'step[0].readings[0].range: "200 mA" is no range for van.volts'),
    ],
)
def test_a_reading_larger_than_its_range_is_refused(typed: str, span: str, says: str) -> None:
    meter = attrs.evolve(METER, ranges={**METER.ranges, "12 V": "0.01 V"})
    shop = attrs.evolve(SHOP, instruments={"meter": meter})
    row = reading("volts", typed, f', with = "meter", range = "{span}"')
    if says:
        assert any(fault.startswith(says) for fault in faults(row, shop))
    else:
        assert body(row, shop)["span"] == span


def test_a_reading_that_names_nothing_is_taken_with_the_usual_instrument_and_says_so() -> None:
    said = body(reading("volts", "12.6 V", ', range = "20 V"'), SHOP)
    assert (said["instrument"], said["span"], said["usual"]) == ("meter", "20 V", True)
    assert visit(reading("volts", "12.6 V"), SHOP).instruments_used == {"meter"}
    assert "usual" not in body(reading("volts", "12.6 V", ', with = "meter"'), SHOP)
    assert body(reading("air", "4 °C"), SHOP)["instrument"] == ""
    setup = '[[step]]\nsetup = { "van.volts" = "12.6 V" }\nreadings = [ { of = "van.air", is = "4 °C" } ]\n'
    assert body(setup, SHOP, "setup")["values"]["van.volts"]["usual"] is True


def test_the_files_own_usual_instrument_comes_before_the_shops() -> None:
    own = (
        '[instruments.other]\naccuracy = "1 %"\nkind = "bench meter"\nstep = "0.001 V"\ninterval = "2'
        ' years"\nfor = ["van.volts"]\n'
    )
    assert body(own + reading("volts", "12.6 V"), SHOP)["instrument"] == "other"
    said = body(own + reading("volts", "12.6 V"), SHOP, "instrument")
    assert (said["kind"], said["step"], said["interval"]) == ("bench meter", "0.001 V", "2 years")


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ('interval = "a while"', "instruments.other.interval: a calibration holds for 1 to 120 months"),
        ('interval = "0 months"', "instruments.other.interval: "),
        ('step = "0 V"', 'instruments.other.step: "0 V" is no step of a display'),
        ('step = "small"', "instruments.other.step: "),
        ('for = ["van.vlts"]', 'instruments.other.for[0]: "van.vlts" is not known'),
        ('for = "van.volts"', "instruments.other.for: is the text"),
    ],
)
def test_an_instrument_that_cannot_be_meant_is_refused(lines: str, says: str) -> None:
    assert any(
        says in fault
        for fault in faults(f'[instruments.other]\naccuracy = "1 %"\n{lines}\n' + reading("volts", "12.6 V"))
    )
