"""Diagnostic trouble codes: the five characters that people write, and the two bytes that a vehicle sends.

Bits 15 and 14 name the letter (P power train, C chassis, B body, U network), bits 13 and 12 the first digit,
the rest three hexadecimal digits. A code says that a test which the vehicle makes by itself has failed. It
never names the part that failed.

Source: SAE J2012 / ISO 15031-6, form of the code (from memory; the bits also as in a public protocol library
that was read).
"""

from __future__ import annotations

import re

from ..errors import CorekitError

LETTERS = "PCBU"
_TEXT = re.compile(r"[PCBU][0-3][0-9A-F]{3}")
_RAW = re.compile(r"(?:0[xX])?(?P<high>[0-9a-fA-F]{2}) ?(?P<low>[0-9a-fA-F]{2})")
_EXPECTED = (
    "a letter P, C, B or U, a digit 0 to 3 and three of 0-9 and A-F, such as P0401; or the two bytes, 0x0401"
)


class CodeError(CorekitError, ValueError):
    """A text is no trouble code.

    Attributes:
        got: What is wrong, in one phrase. expected: What belongs there. write: What was probably meant; empty
            when nobody can guess.
    """

    def __init__(self, got: str, write: str = "") -> None:
        self.got, self.expected, self.write = got, _EXPECTED, write
        super().__init__(f"{got}; write {write}" if write else f"{got}; expected {self.expected}")


def decode(two_bytes: bytes) -> str:
    """The code that two bytes stand for.

    All 65,536 pairs are codes; two zero bytes are only ever sent to fill up a message.

    Raises:
        ValueError: there are not exactly two bytes.

    >>> decode(bytes.fromhex("0401")), decode(bytes.fromhex("C100"))
    ('P0401', 'U0100')
    """
    if len(two_bytes) != 2:
        raise ValueError(f"A trouble code is two bytes; got {len(two_bytes)}.")
    number = int.from_bytes(two_bytes, "big")
    return f"{LETTERS[number >> 14]}{number >> 12 & 3}{number & 0xFFF:03X}"


def encode(code: str) -> bytes:
    """The two bytes of a code, `decode` the other way round.

    Raises:
        CodeError: the text is no code.

    >>> encode("P0401").hex()
    '0401'
    """
    code = read_code(code, raw=False)
    return (LETTERS.index(code[0]) << 14 | int(code[1]) << 12 | int(code[2:], 16)).to_bytes(2, "big")


def read_code(text: str, *, raw: bool = True) -> str:
    """The code in a text that somebody typed: `P0401`, `p0401`, and with `raw` also its bytes `0x0401` and
    `04 01`.

    Raises:
        CodeError: says what is wrong and, where it can be guessed, what to write.

    >>> read_code("p0401"), read_code("04 01")
    ('P0401', 'P0401')
    """
    typed = text.strip()
    plain = typed.upper().replace(" ", "")
    if _TEXT.fullmatch(plain) and " " not in typed:
        return plain
    match = _RAW.fullmatch(typed) if raw and (typed[:2].lower() == "0x" or " " in typed) else None
    if match:
        return decode(bytes.fromhex(match["high"] + match["low"]))
    raise _problem(typed, plain)


def _problem(typed: str, plain: str) -> CodeError:
    shown = f'"{typed if len(typed) <= 20 else typed[:19] + "…"}"'
    if not typed:
        return CodeError("is empty")
    if _TEXT.fullmatch(plain):
        return CodeError(f"{shown} has a blank in it", f'"{plain}"')
    digits = plain[:1] + plain[1:].replace("O", "0").replace("I", "1").replace("L", "1")
    if digits != plain and _TEXT.fullmatch(digits):
        return CodeError(f"{shown} has a letter where a digit belongs", f'"{digits}"')
    if re.fullmatch(r"[0O][0-3][0-9A-F]{3}", plain):
        return CodeError(
            f"{shown} begins with a digit where a letter belongs",
            f'"P{plain[1:]}", or with C, B or U in front',
        )
    if re.fullmatch(r"[0-3][0-9A-F]{3}", plain):
        return CodeError(
            f"{shown} has no letter in front", f'"P{plain}" (or C, B, U); its two bytes would be "0x{plain}"'
        )
    if not plain[:1].isalnum() or plain[0] not in LETTERS:
        return CodeError(f"{shown} does not begin with P, C, B or U")
    if len(plain) != 5:
        return CodeError(f"{shown} has {len(plain)} characters, not five")
    if plain[1] not in "0123":
        return CodeError(f"{shown}: the first digit is 0 to 3")
    return CodeError(f"{shown}: after the letter come digits 0-9 and A-F only")


def is_generic(code: str) -> bool:
    """True when the standard gives the code its meaning; else only the vehicle's maker can say what it means.

    The standard keeps P0, P2 and P34 to P39, and of the other letters 0 and (unassigned) 3; the rest is the
    makers'.

    Source: SAE J2012 / ISO 15031-6, table of code groups (from memory).

    >>> is_generic("P0401"), is_generic("P1401"), is_generic("P3400")
    (True, False, True)
    """
    letter, first, second = code[0], code[1], code[2]
    if letter == "P":
        return first in "02" or (first == "3" and second in "456789")
    return first in "03"
