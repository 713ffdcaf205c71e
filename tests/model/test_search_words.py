"""What a job is found by, and what somebody may type for it."""

from __future__ import annotations

from datetime import date

import pytest

from corekit.model.search_words import asked_words, search_words

TODAY = date(2026, 11, 29)


@pytest.mark.parametrize("typed", ["DEMO-1 X", "demo 1x", "Demo1X", " demo.1.x "])
def test_a_plate_is_one_word_however_it_is_parted(typed: str) -> None:
    (word,) = search_words("plate", "DEMO-1 X")
    assert (word,) in asked_words(typed, TODAY)


@pytest.mark.parametrize("typed", ["+49 171 5550123", "0171-5550123", "0171 555 01 23"])
def test_a_phone_number_is_one_with_and_without_the_code_of_its_country(typed: str) -> None:
    (word,) = search_words("phone", "0049 (171) 555-0123")
    assert (word,) in asked_words(typed, TODAY)


def test_marks_and_capitals_do_not_count_in_a_name() -> None:
    assert search_words("name", "Zoë Müller") == {"zoe", "muller"}
    assert ("muller", "zoe") in asked_words("müller zoe", TODAY)


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        ("2026-05-03", "2026-05-03"),
        ("3.5.2026", "2026-05-03"),
        ("3 May", "2026-05-03"),
        ("28 Nov 2025", "2025-11-28"),
        ("30 Nov", "2025-11-30"),  # no day of this year yet
        ("2026-11", "2026-11"),
    ],
)
def test_a_day_is_found_however_it_is_written(typed: str, day: str) -> None:
    assert (day,) in asked_words(typed, TODAY)


@pytest.mark.parametrize("typed", ["", " ", "-", "31 Feb", "x"])
def test_what_says_nothing_asks_for_no_day(typed: str) -> None:
    assert all("-" not in word for words in asked_words(typed, TODAY) for word in words if word[:1].isdigit())
