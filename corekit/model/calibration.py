"""When an instrument's calibration runs out. What its sheet promises, it promises until then."""

from __future__ import annotations

import calendar
import re
from datetime import date

#: Where neither sheet nor shop says how long a calibration holds. Common practice, no source.
USUAL_MONTHS = 12
LONGEST_MONTHS = 120
_INTERVAL = re.compile(r"(?P<count>[0-9]{1,3})\s*(?P<unit>months?|years?)")


def months(interval: str) -> int:
    """How many months a calibration holds: `12 months`, `2 years`; empty: the usual twelve.

    Raises:
        ValueError: it is no such text, none at all, or more than ten years.

    >>> months("2 years"), months("")
    (24, 12)
    """
    if not interval:
        return USUAL_MONTHS
    match = _INTERVAL.fullmatch(interval.strip())
    count = int(match["count"]) * (12 if match["unit"].startswith("year") else 1) if match else 0
    if not 0 < count <= LONGEST_MONTHS:
        raise ValueError(
            f'a calibration holds for 1 to {LONGEST_MONTHS} months, written "12 months" or "1 year"; got'
            f' "{interval}"'
        )
    return count


def due(calibrated: str, interval: str = "") -> date:
    """The day from which a calibration no longer counts; the last of a month that has no such day.

    Raises:
        ValueError: the day is none, or the interval is none.

    >>> due("2024-02-29").isoformat(), due("2025-08-31", "6 months").isoformat()
    ('2025-02-28', '2026-02-28')
    """
    day = date.fromisoformat(calibrated)
    later = day.year * 12 + day.month - 1 + months(interval)
    year, month = later // 12, later % 12 + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def overdue(calibrated: str, interval: str, read: str) -> str:
    """The day on which the calibration had run out before a reading was taken, `2025-01-05`; empty when it
    held or nothing is known.

    Args:
        calibrated: Day, ISO 8601; may be empty. interval: as `months` takes it.
        read: Day or moment of the reading, ISO 8601; may be empty. A reading from before the calibration says
            nothing of it.
    """
    if not calibrated or not read:
        return ""
    ends = due(calibrated, interval)
    return ends.isoformat() if date.fromisoformat(read[:10]) >= ends else ""
