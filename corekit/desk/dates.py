"""Days that lie some years on."""

from __future__ import annotations

from datetime import date


def later_by_years(day: date, years: int) -> date:
    """The same day so many years later; of 29 February the day after, where that year has none.

    >>> later_by_years(date(2024, 2, 29), 1)
    datetime.date(2025, 3, 1)
    """
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)
