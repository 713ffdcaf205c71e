"""An account number as banks check it, and the text of a code from which a bank reads a transfer."""

from __future__ import annotations

import re

from ..errors import InputError
from .money import Money

#: Source: ISO 13616-1: two letters of a country, two check digits, up to 30 letters and digits.
_IBAN = re.compile(r"[A-Z]{2}[0-9]{2}[A-Z0-9]{11,30}")
#: Source: ISO 9362: 8 or 11 letters and digits.
_BIC = re.compile(r"[A-Z]{6}[A-Z0-9]{2}(?:[A-Z0-9]{3})?")
#: Source: EPC069-12, Quick Response Code: Guidelines to enable data capture for the initiation of a SEPA
#: credit transfer; secondhand. Characters of the name, of the words for the transfer, bytes of it all.
LONGEST_NAME, LONGEST_WORDS, LONGEST_CODE = 70, 140, 331
_MOST_CENTS = 99_999_999_999


def read_iban(text: str) -> str:
    """An account number without spaces.

    Raises:
        InputError: it is none, or its check digits do not fit.

    Source of the check: ISO 13616-1 and ISO 7064, MOD 97-10.

    >>> read_iban("be72 0000 0000 1616")
    'BE72000000001616'
    """
    iban = "".join(text.split()).upper()
    if not _IBAN.fullmatch(iban):
        raise InputError(
            f"An account number (IBAN) has two letters, two digits and up to 30 more signs; got {text!r}."
        )
    turned = "".join(str(int(char, 36)) for char in iban[4:] + iban[:4])
    if int(turned) % 97 != 1:
        raise InputError(
            f"The check digits of the account number {text!r} do not fit; compare it sign by sign."
        )
    return iban


def read_bic(text: str) -> str:
    """A bank's code without spaces; empty for none.

    Raises:
        InputError: it is none.
    """
    bic = "".join(text.split()).upper()
    if bic and not _BIC.fullmatch(bic):
        raise InputError(f"A bank's code (BIC) has 8 or 11 signs, the first six letters; got {text!r}.")
    return bic


def grouped(iban: str) -> str:
    """An account number as it is printed, in groups of four.

    >>> grouped("BE72000000001616")
    'BE72 0000 0000 1616'
    """
    return " ".join(iban[at : at + 4] for at in range(0, len(iban), 4))


def transfer_code(
    *, name: str, iban: str, amount: Money, words: str, bic: str = "", purpose: str = "", note: str = ""
) -> str:
    """The text of a code from which a bank's program fills in a transfer (EPC069-12); empty where none can be
    made: another currency than the euro, an amount outside its bounds, or too much text.

    Without the bank's code it is version 002, with it 001.
    """
    if amount.currency != "EUR" or not 0 < amount.minor <= _MOST_CENTS:
        return ""
    euros = f"{amount.amount.normalize():f}"
    lines = [
        "BCD",
        "001" if bic else "002",
        "1",
        "SCT",
        bic,
        name[:LONGEST_NAME],
        iban,
        f"EUR{euros}",
        purpose,
        "",
        words[:LONGEST_WORDS],
        note,
    ]
    code = "\n".join(lines).rstrip("\n")
    return code if len(code.encode()) <= LONGEST_CODE else ""
