"""What is said of a visit file hangs on the file and the day, and on no second of it."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from corekit.desk import in_memory
from corekit.desk.assessment_data import as_data
from corekit.desk.assessment_text import as_words
from corekit.desk.check import look
from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.plugin.host import load

FILES = sorted((Path(__file__).parents[2] / "demo" / "jobs").glob("*.toml"))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_file_that_is_checked_at_another_hour_of_the_day_gives_the_same_to_the_letter(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def said_at(hour: int, minute: int, second: int) -> tuple[object, str]:
        class At(datetime):
            @classmethod
            def now(cls, tz: object = None) -> datetime:
                return datetime(2026, 3, 5, hour, minute, second)

        monkeypatch.setattr(in_memory, "datetime", At)
        seen = look(str(file), is_file=True, folder=tmp_path)
        return as_data(seen), as_words(seen, uncertainty=True)

    assert said_at(0, 0, 0) == said_at(13, 7, 59) == said_at(23, 59, 59)


@pytest.mark.parametrize("hour", [0, 12, 23])
@pytest.mark.parametrize("ahead", [-12, 0, 1, 14])
def test_what_a_file_gives_no_date_is_of_the_day_that_the_shops_clock_shows(ahead: int, hour: int) -> None:
    zone = timezone(timedelta(hours=ahead))
    read = read_visit(FILES[0].read_bytes(), Declared.of(load(), currency="EUR"))
    job, _ = in_memory.scratch_job(read, now=datetime(2026, 3, 5, hour, 30, tzinfo=zone))
    days = {datetime.fromisoformat(entry.recorded).astimezone(zone).date() for entry in job.entries}
    assert days == {date(2026, 3, 5)}
