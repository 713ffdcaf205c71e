"""A number is never taken under a date that does not go on from the record, unless somebody looked at it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import attrs
import pytest

from corekit.cli.command import run
from corekit.desk.clock import ClockError, clock_jump
from corekit.desk.shop import Shop
from corekit.visit.history import record_of

from .visits_by_answer import demo_shop

START = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
VISIT = """
job = "{name}"
reason = "Wants its battery posts cleaned."
[vehicle]
plate = "DEMO-7"
description = "a small van"
[[step]]
requested = {{ operation = "battery.clean_contacts", ground = "customer" }}
[[step]]
approved = {{ estimate = "repair 1", total = "{total}", by = "customer", how = "in person" }}
[[step]]
repaired = {{ operation = "battery.clean_contacts" }}
"""


@attrs.define
class Clock:
    """A device's clock that can be set."""

    at: datetime = START

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def shop(tmp_path: Path, clock: Clock) -> Iterator[Shop]:
    folder = tmp_path / "van"
    demo_shop(folder).close()
    with Shop(folder, now=clock) as opened:
        yield opened


@pytest.fixture
def ready(shop: Shop, tmp_path: Path) -> Callable[[str], str]:
    """A job of this name, done and approved, that waits for its invoice."""

    def made(name: str) -> str:
        file = tmp_path / f"{name}.toml"
        opened = VISIT.partition("[[step]]\napproved")[0].format(name=name)
        file.write_text(opened, encoding="utf-8")
        job = shop.import_visit(file)
        total = str(shop.estimate(job, "repair").total)
        file.write_text(VISIT.format(name=name, total=total), encoding="utf-8")
        return shop.import_visit(file)

    return made


def test_a_clock_that_goes_on_is_not_asked_about(
    shop: Shop, clock: Clock, ready: Callable[[str], str]
) -> None:
    first = ready("one")
    clock.at += timedelta(hours=3)
    assert shop.issue(first).number == "2026-A0001"
    clock.at += timedelta(days=45)
    assert shop.issue(ready("two")).number == "2026-A0002"


@pytest.mark.parametrize(
    ("moved", "believed"),
    [
        (timedelta(days=59, hours=23), True),
        (timedelta(days=60, hours=1), False),
        (timedelta(minutes=-59), True),
        (timedelta(minutes=-61), False),
        (timedelta(days=-400), False),
        (timedelta(days=3650), False),
    ],
    ids=str,
)
def test_a_clock_far_ahead_or_back_takes_no_number_until_somebody_says_that_the_date_is_right(
    shop: Shop, clock: Clock, ready: Callable[[str], str], moved: timedelta, believed: bool
) -> None:
    job = ready("one")
    clock.at = START + moved
    if believed:
        assert shop.issue(job).number == "2026-A0001"
        return
    with pytest.raises(ClockError, match="none was taken"):
        shop.issue(job)
    assert shop.context.store.books() == []
    number = shop.issue(job, date_is_right=True).number
    assert number == f"{clock.at.year}-A0001"


@pytest.mark.parametrize(("days", "believed"), [(13, True), (15, False)])
def test_over_new_year_a_shorter_rest_is_asked_about_because_the_number_starts_again(
    shop: Shop, clock: Clock, ready: Callable[[str], str], days: int, believed: bool
) -> None:
    clock.at = datetime(2026, 12, 31, 12, 0, tzinfo=UTC)
    file = ready("one")
    clock.at += timedelta(days=days)
    if believed:
        assert shop.issue(file).number == "2027-A0001"
    else:
        with pytest.raises(ClockError):
            shop.issue(file)


def test_readings_taken_after_the_jump_do_not_hide_it(
    shop: Shop, clock: Clock, ready: Callable[[str], str]
) -> None:
    ready("one")
    clock.at += timedelta(days=3650)
    later = ready("two")
    clock.at += timedelta(minutes=5)
    with pytest.raises(ClockError, match="2026-06-01 09:00 UTC to 2036"):
        shop.issue(later)


def test_a_jump_that_was_looked_at_stands_on_the_job_and_is_not_asked_about_again(
    shop: Shop, clock: Clock, ready: Callable[[str], str]
) -> None:
    job = ready("one")
    clock.at += timedelta(days=100)
    shop.issue(job, date_is_right=True)
    rows = record_of(shop.context.store.job(job), shop.context.plugins, {})
    (told,) = [row.text for row in rows if row.title == "Invoice"]
    assert "2026-A0001; before it the clock went ahead from 2026-06-01 09:00 UTC" in told
    assert clock_jump(shop.context) is None
    assert shop.issue(ready("two")).number == "2026-A0002"


def test_the_command_names_the_option_that_says_that_the_date_is_right(
    shop: Shop, clock: Clock, ready: Callable[[str], str], capsys: pytest.CaptureFixture[str]
) -> None:
    ready("one")  # recorded under a clock that stood in the past
    shop.close()
    where = ["invoice", "one", "--yes", "--shop", str(shop.context.folder)]
    assert run(where) == 1
    assert "--date-is-right" in capsys.readouterr().err
    assert run([*where, "--date-is-right"]) == 0
