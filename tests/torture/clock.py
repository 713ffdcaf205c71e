"""The clock: back and forth, over DST, a turn of the year, the end of 32 bits; a zone that is missing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from corekit.desk.clock import ClockError
from corekit.desk.shop import Shop
from corekit.errors import CorekitError

from .counts import Counts
from .work import faults_after, new_shop, plugins, ready

_START = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
#: What the clock does between two invoices, and whether somebody is asked. Expected by the rules in
#: `corekit.desk.clock`: more than an hour back, 60 days ahead, 14 over the turn of a year.
JUMPS: dict[str, tuple[datetime, datetime, bool]] = {
    "on": (_START, _START + timedelta(minutes=5), False),
    "back 3 h": (_START, _START - timedelta(hours=3), True),
    "back 400 days": (_START, _START - timedelta(days=400), True),
    "back to 1970": (_START, datetime(1970, 1, 1, tzinfo=UTC), True),
    "on to 2038": (_START, datetime(2038, 1, 19, 3, 14, 8, tzinfo=UTC), True),
    "on 10 years": (_START, _START + timedelta(days=3652), True),
    "summer time begins": (
        datetime(2026, 3, 29, 0, 59, tzinfo=UTC), datetime(2026, 3, 29, 1, 1, tzinfo=UTC), False,
    ),
    "summer time ends": (
        datetime(2026, 10, 25, 0, 59, tzinfo=UTC), datetime(2026, 10, 25, 1, 1, tzinfo=UTC), False,
    ),
    "29 February": (datetime(2028, 2, 29, 9, tzinfo=UTC), datetime(2028, 3, 1, 9, tzinfo=UTC), False),
    "turn of the year": (
        datetime(2026, 12, 31, 22, 30, tzinfo=UTC), datetime(2026, 12, 31, 23, 30, tzinfo=UTC), False,
    ),
}  # fmt: skip


def jumps(folder: Path) -> Counts:
    """Each jump between two invoices of one shop; then a zone that this machine does not know."""
    counts = Counts("clock")
    for number, (what, (before, after, is_asked)) in enumerate(JUMPS.items()):
        place = folder / str(number)
        shop_folder, now = new_shop(place / "shop"), [before]
        settings = shop_folder / "shop.toml"
        settings.write_text(f'zone = "Europe/Berlin"\n{settings.read_text("utf-8")}', "utf-8")
        with Shop(shop_folder, plugins=plugins(), now=lambda now=now: now[0]) as shop:
            first, second = (ready(shop, name, place) for name in ("one", "two"))
            shop.issue(first)
            now[0] = after
            counts.tries += 1
            try:
                issued = shop.issue(second).number
                asked = False
            except ClockError:
                asked = True
                issued = shop.issue(second, date_is_right=True).number
            counts.seen["asked" if asked else "went on"] += 1
            if asked != is_asked:
                counts.wrong.append(f"{what}: {'asked' if asked else 'went on'}")
            year = shop.context.settings.local(after).year
            if not issued.startswith(str(year)):
                counts.wrong.append(f"{what}: {issued} is not of {year}")
        counts.wrong += [f"{what}: {fault}" for fault in faults_after(shop_folder, [])]
    shop_folder = new_shop(folder / "zone" / "shop")
    settings = shop_folder / "shop.toml"
    settings.write_text(f'zone = "Nowhere/Invented"\n{settings.read_text("utf-8")}', "utf-8")
    counts.tries += 1
    try:
        Shop(shop_folder, plugins=plugins()).close()
        counts.wrong.append("a zone that nobody knows was taken")
    except CorekitError as error:
        counts.seen["refused"] += 1
        if "Nowhere/Invented" not in str(error):
            counts.wrong.append(f"the zone is not named: {error}")
    return counts
