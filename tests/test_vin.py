"""VIN: form, check digit, model year. Real makers' codes occur in checksum tests only."""

from __future__ import annotations

import pytest

from corekit.model.vin import VinCheck, VinError, check_digit, model_years, read_vin, weighted_sum


@pytest.mark.parametrize(
    ("vin", "total", "digit"),
    [
        # the sample of 49 CFR 565 table V, as reproduced on a public page
        pytest.param("1G4AH59H45G118341", 411, "4", id="core-vin-01"),
        # a widely printed hypothetical example, read in an encyclopedic article
        pytest.param("1M8GDM9AXKP042788", 351, "X", id="core-vin-02"),
        # the same article: seventeen ones
        pytest.param("11111111111111111", 89, "1", id="core-vin-03"),
        # constructed; confirmed by an independent checksum library
        pytest.param("0TSTE1D1XS0000001", 109, "X", id="core-vin-04"),
    ],
)
def test_the_check_digit_is_the_weighted_sum_by_eleven(vin: str, total: int, digit: str) -> None:
    assert (weighted_sum(vin), check_digit(vin), read_vin(vin).check) == (total, digit, VinCheck.AGREES)


@pytest.mark.parametrize(
    "vin",
    # constructed; confirmed by an independent checksum library
    [
        "0TSTE1A16A0000001",
        "0TSTE11A6A0000001",
        "0TSTE1B12T0123456",
        "0TSTE1513Y0000042",
        "0TSTE1C1010000007",
        "0TSTE1D1XS0000015",
    ],
    ids=lambda vin: f"core-vin-05-{vin}",
)
def test_synthetic_numbers_agree_with_their_check_digit(vin: str) -> None:
    assert read_vin(vin).check is VinCheck.AGREES


@pytest.mark.parametrize(
    ("vin", "year"),
    # 49 CFR 565.15(d), note to table VII
    [
        ("0TSTE1A16A0000001", 2010),
        ("0TSTE11A6A0000001", 1980),
        ("0TSTE1B12T0123456", 2026),
        ("0TSTE1513Y0000042", 2000),
        ("0TSTE1C1010000007", 2031),
    ],
    ids=lambda part: f"core-vin-06-{part}",
)
def test_position_7_settles_the_year_of_a_light_vehicle_only(vin: str, year: int) -> None:
    assert model_years(vin, light=True) == (year,)
    assert model_years(vin)[0] == year
    assert {abs(one - year) for one in model_years(vin)} == {0, 30}


def test_letters_of_one_value_hide_a_wrong_character_core_vin_07() -> None:
    # E and V are both 5 in 49 CFR 565.15(c): the check cannot see this one
    assert read_vin("0TSTE1A16A0000001").check is read_vin("0TSTV1A16A0000001").check is VinCheck.AGREES


@pytest.mark.parametrize(
    ("vin", "says"),
    [
        ("0TSTE1A16A000000", "length 16"),
        ("0TSTE1A16A0O00001", "letter O"),
        ("0TSTE1I16A0000001", "letter I"),
        ("0TSTE1Q16A0000001", "letter Q"),
        ("0TSTE1A16A00000\u01311", "neither"),  # a dotless i, whose capital is I
    ],
    ids=lambda part: f"core-vin-08-{part}",
)
def test_a_text_without_the_form_of_a_vin_is_refused(vin: str, says: str) -> None:
    with pytest.raises(VinError, match=says):
        read_vin(vin)


def test_a_check_digit_that_differs_is_a_result_core_vin_08() -> None:
    read = read_vin("0TSTE1A17A0000001")
    assert (read.check, read.expected, read.mandatory) == (VinCheck.DIFFERS, "6", False)
    assert read_vin("1G4AH59H55G118341").mandatory


def test_what_people_put_between_the_characters_does_no_harm() -> None:
    assert read_vin(" 0tste1a1 6a-0000001\n").text == "0TSTE1A16A0000001"


@pytest.mark.parametrize("code", "UZ0")
def test_position_10_may_be_no_year(code: str) -> None:
    # not among the thirty codes of 49 CFR 565.15(d) table VII
    assert read_vin(f"0TSTE1A16{code}0000001").model_years == ()
