"""The vehicle identification number: its form, its check digit, and the model years it leaves open.

Only the form is a reason to refuse one. The check digit is mandatory in some regions and free in others, and
it misses some 7.5 % of wrong characters, because letters and digits share values. It is reported, never
enforced.

Sources: ISO 3779 and 49 CFR 565.13 for the form, 49 CFR 565.15(c) for check digit and weights, 565.15(d)
table VII for the year. No maker is looked up here.
"""

from __future__ import annotations

from enum import StrEnum

import attrs

from ..errors import CorekitError

LENGTH = 17
FORBIDDEN = {"I": "the digit 1", "O": "the digit 0", "Q": "the digit 0 or 9"}  # and what was probably read

#: 49 CFR 565.15(c), table III: digits stand for themselves; source: vin-check-digit.
_VALUES = {
    **{digit: int(digit) for digit in "0123456789"},
    "A": 1,
    "B": 2,
    "C": 3,
    "D": 4,
    "E": 5,
    "F": 6,
    "G": 7,
    "H": 8,
    "J": 1,
    "K": 2,
    "L": 3,
    "M": 4,
    "N": 5,
    "P": 7,
    "R": 9,
    "S": 2,
    "T": 3,
    "U": 4,
    "V": 5,
    "W": 6,
    "X": 7,
    "Y": 8,
    "Z": 9,
}
#: 49 CFR 565.15(c), table IV: positions 1 to 17; position 9 is the check digit itself; source:
#: vin-check-digit.
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
#: 49 CFR 565.15(d), table VII: the first code is 1980, and again 2010; source: vin-model-year.
_YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
_FIRST_CYCLE, _CYCLE = 1980, 30


class VinError(CorekitError, ValueError):
    """A text has not the form of a VIN. `got` says in what, `write` what to do."""

    def __init__(self, got: str, write: str) -> None:
        self.got, self.write = got, write
        super().__init__(f"{got}; write {write}")


class VinCheck(StrEnum):
    """What the check digit says. `differs` is an error only where a check digit is mandatory."""

    AGREES = "agrees"
    DIFFERS = "differs"


@attrs.frozen(kw_only=True)
class Vin:
    """A VIN of sound form.

    Attributes:
        text: 17 capitals and digits.
        check: Whether position 9 is the check digit. expected: What it would have to be.
        mandatory: The region that the first character hints at demands a check digit (United States, Canada,
            China).
        model_years: What position 10 leaves open; the year that position 7 makes likely (light vehicles under
            the United States rule) comes first. Empty where position 10 is no year code.
    """

    text: str
    check: VinCheck
    expected: str
    mandatory: bool
    model_years: tuple[int, ...]


def read_vin(text: str) -> Vin:
    """The VIN in a text; small letters, spaces and hyphens do no harm.

    Raises:
        VinError: not 17 characters, or one that a VIN never has (I, O, Q, anything but letters and digits).
    """
    bare = "".join(text.split()).replace("-", "")
    plain = bare.upper() if bare.isascii() else bare
    if len(plain) != LENGTH:
        raise VinError(
            f"a VIN has {LENGTH} characters, this has {len(plain)} (length {len(plain)})",
            "all of them, or the plate and no_vin with the reason",
        )
    for place, sign in enumerate(plain, start=1):
        if sign in FORBIDDEN:
            raise VinError(f"the letter {sign} at position {place} does not occur in a VIN", FORBIDDEN[sign])
        if sign not in _VALUES:
            raise VinError(
                f"{sign!a} at position {place} is neither a capital letter nor a digit",
                "the VIN as it is stamped",
            )
    expected = check_digit(plain)
    return Vin(
        text=plain,
        check=VinCheck.AGREES if plain[8] == expected else VinCheck.DIFFERS,
        expected=expected,
        # First characters 1, 4, 5 (United States), 2 (Canada): as listed in the regulation's country codes; L
        # (China): from memory.
        mandatory=plain[0] in "1245L",
        model_years=model_years(plain),
    )


def weighted_sum(vin: str) -> int:
    """The sum of values times weights that the check digit comes from."""
    return sum(_VALUES[sign] * weight for sign, weight in zip(vin, _WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """What position 9 must be: the remainder by 11, ten written as X."""
    remainder = weighted_sum(vin) % 11
    return "X" if remainder == 10 else str(remainder)


def model_years(vin: str, light: bool = False) -> tuple[int, ...]:
    """The model years that a VIN leaves open.

    Position 10 names a year in a cycle of thirty. For light vehicles under the United States rule (`light`:
    cars, and trucks up to 4536 kg) a digit at position 7 means 1980 to 2009 and a letter 2010 to 2039; for
    everything else the cycle cannot be told from the VIN, so both years come back, the one by position 7
    first. Outside North America position 10 may mean nothing.
    """
    code = vin[9]
    if code not in _YEAR_CODES:
        return ()
    early = _FIRST_CYCLE + _YEAR_CODES.index(code)
    likely, other = (early, early + _CYCLE) if vin[6].isdigit() else (early + _CYCLE, early)
    return (likely,) if light else (likely, other)
