"""Account numbers by their check digits, and the code of a transfer by the standard's own example."""

from __future__ import annotations

import pytest

from corekit.errors import InputError
from corekit.model.account_number import LONGEST_CODE, grouped, read_bic, read_iban, transfer_code
from corekit.model.money import Money

#: The sample in the guidelines EPC069-12, version 1 of the code.
SAMPLE = """BCD
001
1
SCT
BPOTBEB1
Red Cross of Belgium
BE72000000001616
EUR1
CHAR

Urgency fund
Sample EPC QR code"""


def euros(minor: int) -> Money:
    return Money(minor, "EUR")


def test_the_guidelines_own_sample_comes_out() -> None:
    assert (
        transfer_code(
            name="Red Cross of Belgium",
            iban=read_iban("BE72 0000 0000 1616"),
            bic="BPOTBEB1",
            amount=euros(100),
            purpose="CHAR",
            words="Urgency fund",
            note="Sample EPC QR code",
        )
        == SAMPLE
    )


def test_cents_are_said_and_nothing_stands_after_the_last_element() -> None:
    code = transfer_code(name="A Shop", iban="BE72000000001616", amount=euros(12971), words="2026-A0001")
    assert code.splitlines()[1] == "002" and "EUR129.71" in code and code.endswith("2026-A0001")


@pytest.mark.parametrize(
    ("minor", "made"), [(0, False), (1, True), (99_999_999_999, True), (100_000_000_000, False)]
)
def test_an_amount_keeps_within_the_codes_bounds(minor: int, made: bool) -> None:
    code = transfer_code(name="A", iban="BE72000000001616", amount=euros(minor), words="x")
    assert bool(code) is made


def test_no_code_is_made_in_another_currency_or_longer_than_it_may_be() -> None:
    said = {"iban": "BE72000000001616", "words": "x"}
    assert not transfer_code(name="A", amount=Money(100, "USD"), **said)
    long = transfer_code(name="\N{GRINNING FACE}" * 70, amount=euros(100), **said)
    assert not long or len(long.encode()) <= LONGEST_CODE


@pytest.mark.parametrize("text", ["BE72 0000 0000 1616", "be72000000001616", "GB82 WEST 1234 5698 7654 32"])
def test_an_account_number_with_right_check_digits_is_read(text: str) -> None:
    assert grouped(read_iban(text)).replace(" ", "") == read_iban(text)


@pytest.mark.parametrize(
    "text", ["BE71 0000 0000 1616", "BE72 0000 0000 1661", "BE72", "", "72 0000 0000 1616"]
)
def test_a_slip_in_an_account_number_is_found(text: str) -> None:
    with pytest.raises(InputError):
        read_iban(text)


@pytest.mark.parametrize(
    ("text", "good"), [("BPOTBEB1", True), ("BPOTBEB1XXX", True), ("", True), ("BPOT", False)]
)
def test_a_banks_code_has_eight_or_eleven_signs(text: str, good: bool) -> None:
    if good:
        assert read_bic(text) == text
        return
    with pytest.raises(InputError):
        read_bic(text)
