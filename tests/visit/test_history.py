"""What stands on record, in words."""

from __future__ import annotations

from corekit.model.entry import Entry, seal
from corekit.model.job import fold
from corekit.model.records import Handed, Opened, Vehicle, body_of
from corekit.plugin.host import load
from corekit.visit.history import record_of


def entry(chain: str, n: int, kind: str, subject: str, record: object, **more: object) -> Entry:
    return seal(
        Entry(
            journal="job",
            job="j",
            chain=chain,
            n=n,
            prev="" if n == 0 else "x",
            kind=kind,
            subject=subject,
            body=body_of(record),
            recorded="2026-03-01T08:00:00Z",
            **more,  # type: ignore[arg-type]
        )
    )


def test_of_what_two_vans_say_differently_both_are_told_until_somebody_settles_it() -> None:
    opened = entry("a", 0, "opened", "o", Opened(origin="visit"))
    first = entry("a", 1, "vehicle", "v", Vehicle(odometer_typed="61520 km"))
    other = entry("b", 0, "vehicle", "v", Vehicle(odometer_typed="62150 km"))
    rows = record_of(fold("j", [opened, first, other]), load(), {})
    told = [(row.title, row.text) for row in rows if "Vehicle" in row.title]
    assert sorted(told) == [("Vehicle, in dispute", "61520 km"), ("Vehicle, in dispute", "62150 km")]
    settled = entry(
        "b",
        1,
        "vehicle",
        "v",
        Vehicle(odometer_typed="61250 km"),
        replaces=tuple(sorted((first.id, other.id))),
    )
    rows = record_of(fold("j", [opened, first, other, settled]), load(), {})
    assert [(row.title, row.text) for row in rows if "Vehicle" in row.title] == [("Vehicle", "61250 km")]


def test_a_job_that_was_handed_on_says_so() -> None:
    opened = entry("a", 0, "opened", "o", Opened(origin="visit"))
    handed = entry("a", 1, "handed", "h", Handed(to="B"))
    rows = record_of(fold("j", [opened, handed]), load(), {})
    assert ("Handed on", "to van B") in [(row.title, row.text) for row in rows]
