"""A shop's week of invented jobs, over new year and fourteen hours from UTC: it closes to the cent, by the
day and by the year.

The amounts are worked by hand from the prices: diagnosis 50.00, an hour 100.00, a terminal 20.00, 10 % tax;
so a diagnosis is 55.00 and a charge of 2 h with a terminal 242.00.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path
from zoneinfo import ZoneInfo

import attrs
import pytest

from corekit.billing.credit import CreditAsked
from corekit.desk import drawer
from corekit.desk.books_paper import books_paper
from corekit.desk.crediting import credit
from corekit.desk.ledger import Ledger, as_csv, ledger
from corekit.desk.paying import refund, write_off
from corekit.desk.reminding import remind
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.model.money import Money
from corekit.model.movement import LedgerKind

from .test_changes import VISIT, WORK, shop_in
from .test_ledger import closes, usd

ZONE = ZoneInfo("Etc/GMT-14")  # fourteen hours ahead: the sign is POSIX's
IDS = count()


@attrs.define
class Week:
    """The shop, its clock by its own time, and what is done in it."""

    shop: Shop
    moment: list[datetime]

    def at(self, day: str, hour: int) -> None:
        year, month, number = map(int, day.split("-"))
        self.moment[0] = datetime(year, month, number, hour, tzinfo=ZONE)

    def begin(self, name: str) -> str:
        path = self.shop.context.folder.parent / f"{name}.toml"
        path.write_text(VISIT.replace('job = "visit"', f'job = "{name}"'), "utf-8")
        return self.shop.import_visit(path)

    def say(self, job: str, **step: object) -> None:
        add_rows(self.shop.context, job, {"step": [step]}, request_id=f"a-request-of-the-week-{next(IDS):04}")

    def approve(self, job: str, stage: str) -> None:
        self.shop.approve(self.shop.estimate(job, stage), by="customer", how="in person")

    def repaired(self, job: str) -> None:
        self.approve(job, "repair")
        self.say(job, repaired={"operation": WORK})


@pytest.fixture
def week(tmp_path: Path) -> Iterator[Week]:
    moment = [datetime(2026, 12, 29, 8, tzinfo=ZONE)]
    shop_in(tmp_path, zone="Etc/GMT-14").close()
    path = tmp_path / "shop" / "shop.toml"
    path.write_text(path.read_text("utf-8").replace("due_days  = 0", "due_days  = 1"), "utf-8")
    with Shop(tmp_path / "shop", now=lambda: moment[0]) as shop:
        yield Week(shop, moment)


def lived(week: Week) -> dict[str, str]:
    """The week; gives the number of each invoice and credit note by what it is."""
    shop, numbers = week.shop, dict[str, str]()

    def issue(what: str, job: str) -> None:
        numbers[what] = shop.issue(job).number

    week.at("2026-12-29", 8)
    drawer.move(shop.context, usd("50.00"), "change to begin with")
    first = week.begin("first")
    week.approve(first, "diagnosis")
    issue("first looked at", first)
    shop.pay(first, usd("55.00"), "cash")

    week.at("2026-12-30", 9)
    second = week.begin("second")
    week.repaired(second)
    shop.pay(second, usd("100.00"), "card")  # a deposit
    issue("second", second)
    week.repaired(first)
    issue("first repaired", first)

    week.at("2026-12-31", 23)  # 09:00 UTC of the same day
    third = week.begin("third")
    week.repaired(third)
    issue("third", third)
    shop.pay(third, usd("242.00"), "cash")
    drawer.move(shop.context, usd("-300.00"), "to the bank")

    week.at("2027-01-01", 1)  # 11:00 UTC, still the old year there
    numbers["of the third"] = credit(
        shop.context, third, "a part was taken back", CreditAsked(what=WORK, part="Terminal")
    ).number
    refund(shop.context, third, usd("22.00"), "cash")
    fourth = week.begin("fourth")
    week.approve(fourth, "diagnosis")
    issue("fourth", fourth)

    week.at("2027-01-02", 10)
    remind(shop.context, second)
    shop.pay(second, usd("142.00"), "bank transfer")
    numbers["of the fourth"] = credit(shop.context, fourth, "issued by mistake").number
    issue("fourth again", fourth)
    write_off(shop.context, fourth, usd("5.00"), "goodwill")
    drawer.count(shop.context, usd("24.00"))  # 25.00 should be there
    return numbers


def sums(books: Ledger) -> dict[str, str]:
    return {str(kind): str(books.sum_of(kind)) for kind in LedgerKind if books.sum_of(kind).minor}


def test_the_week_closes_to_the_cent_by_day_and_by_year(week: Week) -> None:
    numbers = lived(week)
    shop = week.shop
    # Numbers count from one in each year of the shop's own days, without a gap.
    assert numbers == {
        "first looked at": "2026-A0001",
        "second": "2026-A0002",
        "first repaired": "2026-A0003",
        "third": "2026-A0004",
        "of the third": "2027-A0001",
        "fourth": "2027-A0002",
        "of the fourth": "2027-A0003",
        "fourth again": "2027-A0004",
    }
    days = {
        "2026-12-29": {"invoiced": "55.00", "received": "-55.00"},
        "2026-12-30": {"invoiced": "484.00", "received": "-100.00"},
        "2026-12-31": {"invoiced": "242.00", "received": "-242.00"},
        "2027-01-01": {"invoiced": "55.00", "credited": "-22.00", "given back": "22.00"},
        "2027-01-02": {
            "invoiced": "55.00",
            "credited": "-55.00",
            "received": "-142.00",
            "written off": "-5.00",
        },
    }
    for day, said in days.items():
        assert sums(ledger(shop.context, day)) == said, day
    assert sums(ledger(shop.context, "2026")) == {"invoiced": "781.00", "received": "-397.00"}
    assert sums(ledger(shop.context, "2027")) == {
        "invoiced": "110.00",
        "credited": "-77.00",
        "received": "-142.00",
        "given back": "22.00",
        "written off": "-5.00",
    }
    # 781 + 110 - 77 - 397 - 142 + 22 - 5 = 292: the first repair, and what is left of the fourth.
    assert {one.number: str(one.due) for one in ledger(shop.context).open} == {
        "2026-A0003": "242.00",
        "2027-A0004": "50.00",
    }
    closes(shop)


def test_the_tax_of_each_year_is_that_of_its_invoices(week: Week) -> None:
    lived(week)
    (rate,) = ledger(week.shop.context, "2026").by_rate.values()
    assert (str(rate.base), str(rate.tax)) == ("710.00", "71.00")  # 50 + 3 × 220
    (rate,) = ledger(week.shop.context, "2027").by_rate.values()
    assert (str(rate.base), str(rate.tax)) == ("30.00", "3.00")  # 2 × 50 - 20 - 50


def test_the_drawer_closes_with_the_cash(week: Week) -> None:
    lived(week)
    rows = drawer.last_rows(week.shop.context, 99)
    # 50 + 55 + 242 - 300 - 22 = 25, and one was missing.
    assert [str(row.left) for row in rows] == ["50.00", "105.00", "347.00", "47.00", "25.00", "24.00"]
    assert str(rows[-1].amount) == "-1.00"
    assert ledger(week.shop.context, "2027").drawer_before == usd("47.00")


def test_paper_and_csv_tell_of_the_same_rows(week: Week) -> None:
    lived(week)
    for span in ("2026-12-30", "2026-12", "2027"):
        books = ledger(week.shop.context, span)
        assert len(as_csv(books).splitlines()) == len(books.rows) + 1
        text = str(books_paper(week.shop.context, span))
        charged = [row for row in books.rows if row.kind in (LedgerKind.INVOICED, LedgerKind.CREDITED)]
        whole = sum((row.amount for row in charged), Money(0, "USD"))
        assert f"'In all', '{sum((row.net or Money(0, 'USD') for row in charged), Money(0, 'USD'))}'" in text
        assert f"'{whole}')" in text


def test_another_hour_of_the_same_days_tells_the_same(week: Week) -> None:
    """The last minute of a day and the first of the next are the shop's, whatever UTC says."""
    shop = week.shop
    job = week.begin("late")
    week.approve(job, "diagnosis")
    new_year = datetime(2027, 1, 1, tzinfo=ZONE)
    week.moment[0] = new_year - timedelta(minutes=1)
    assert shop.issue(job).number == "2026-A0001"
    week.moment[0] = new_year
    other = week.begin("later")
    week.approve(other, "diagnosis")
    assert shop.issue(other).number == "2027-A0001"
    assert sums(ledger(shop.context, "2026-12-31")) == {"invoiced": "55.00"}
    assert sums(ledger(shop.context, "2027-01-01")) == {"invoiced": "55.00"}
