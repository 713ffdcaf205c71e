"""Work that no system declares is named in the shop's own words."""

from __future__ import annotations

import pytest

from corekit.errors import InputError
from corekit.model.own_work import LONGEST_NAME, is_own_work, own_work_name


def test_words_are_own_work_and_a_key_is_a_systems() -> None:
    assert is_own_work("Oil change") and is_own_work("Ölwechsel") and is_own_work("Bulb, H7")
    assert not is_own_work("battery.replace") and not is_own_work("egr.replace_sensing_hoses")
    assert not is_own_work("") and not is_own_work("battery"), "a key that was cut short is no work"


def test_a_name_is_kept_in_one_line_without_a_full_stop() -> None:
    assert own_work_name(" oil \n change. ") == "Oil change"
    assert own_work_name("bulb") == "Bulb"


def test_a_name_of_the_greatest_length_is_taken_and_one_letter_more_is_not() -> None:
    assert own_work_name("A " + "b" * (LONGEST_NAME - 2)) == "A " + "b" * (LONGEST_NAME - 2)
    with pytest.raises(InputError, match="at most 60"):
        own_work_name("A " + "b" * (LONGEST_NAME - 1))


@pytest.mark.parametrize("text", ["", "  ", "12 34", "...", "battery.replace", "a\u202eb c"])
def test_what_cannot_be_a_name_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        own_work_name(text)
