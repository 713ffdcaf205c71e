"""What the shop knows of a vehicle that came before: its jobs, the last readings, what was left open."""

from __future__ import annotations

import attrs

from ..model.job import Job
from ..model.personal import Personal
from ..model.records import Measured
from ..model.search_words import PHONE_TAIL, compact, search_words
from ..store.list_rows import JobRow
from .context import ShopContext
from .jobs import texts_of

#: So many earlier jobs are told, and so many of them are gone through for the last reading of a thing.
MOST, READ_IN = 8, 3
#: The shortest plate and the shortest VIN that name a vehicle; shorter ones are still being typed.
_SHORTEST = {"vin": 11, "plate": 3, "name": 4}


@attrs.frozen(kw_only=True)
class LastReading:
    """A reading of an earlier job: as it was typed, and the shop's day."""

    typed: str
    day: str


def jobs_of_vehicle(shop: ShopContext, plate: str = "", vin: str = "", most: int = MOST) -> list[JobRow]:
    """The jobs of the vehicle with this VIN, else of the one with this plate, the latest first; none where
    both are too short to name one.
    """
    for kind, text in (("vin", vin), ("plate", plate)):
        word = compact(text)
        found = shop.store.jobs_of_vehicle(word, kind, most) if len(word) >= _SHORTEST[kind] else []
        if found:
            return found
    return []


def jobs_of_customer(shop: ShopContext, name: str = "", phone: str = "", most: int = 2) -> list[JobRow]:
    """The latest jobs of the customers with this phone number, else with a name of all these words; one for
    each customer, none while too little is typed.
    """
    tail = next(iter(search_words("phone", phone)), "")
    words = sorted(search_words("name", name))
    found = shop.store.jobs_of_vehicle(tail, "phone", MOST) if len(tail) >= PHONE_TAIL else []
    if not found and len(compact(name)) >= _SHORTEST["name"]:
        found = shop.store.found_jobs(words, MOST)
    who: dict[str, JobRow] = {}
    for row in found:
        text = texts_of(shop, shop.store.job(row.id)).get(row.who, "") if row.who else ""
        theirs = search_words("name", text)
        if theirs and (
            len(tail) >= PHONE_TAIL or all(any(own.startswith(w) for own in theirs) for w in words)
        ):
            who.setdefault(" ".join(sorted(theirs)), row)
    return list(who.values())[:most]


def earlier_jobs(shop: ShopContext, job: Job, most: int = MOST) -> list[JobRow]:
    """The jobs of a job's vehicle that began before it, the latest first."""
    texts = texts_of(shop, job)
    vehicle = job.vehicle
    plate, vin = (
        texts.get(said.hash, "") if isinstance(said, Personal) else ""
        for said in (vehicle.plate, vehicle.vin)
    )
    found: dict[str, JobRow] = {}
    for kind, text in (("vin", vin), ("plate", plate)):
        word = compact(text)
        if len(word) >= _SHORTEST[kind]:
            rows = shop.store.jobs_of_vehicle(word, kind, most, before=job.id)
            found |= {row.id: row for row in rows}
    return sorted(found.values(), key=lambda row: -row.began)[:most]


def last_reading(shop: ShopContext, earlier: list[JobRow], key: str, place: str) -> LastReading | None:
    """What was read of a thing when the vehicle was here last; the last stage of the latest job counts."""
    for row in earlier[:READ_IN]:
        read = [
            noted
            for noted in shop.store.job(row.id).all(Measured)
            if noted.record.of == key and noted.record.place == place
        ]
        if read:
            last = max(read, key=lambda noted: noted.record.stage)
            day = shop.settings.day_of(last.entry.taken or last.entry.recorded)
            return LastReading(typed=last.record.typed.strip(), day=day)
    return None
