"""Parcels of an enrolled device in the wrong hands: each is refused in a sentence, or does no harm to the
hub, to the office's pages, or to the van that is handed its jobs.
"""

from __future__ import annotations

import contextlib
import json
import random
import time
from collections.abc import Mapping
from contextlib import ExitStack
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import attrs

from corekit.desk.receipts import receipt_for
from corekit.desk.shop import Shop
from corekit.errors import CorekitError
from corekit.hub import desk, devices, record
from corekit.hub.app import Hub, open_hub
from corekit.hub.people import Person, Role
from corekit.hub.sealing import HubKey
from corekit.hub.throwaway import throwaway_server
from corekit.model.canonical import digest
from corekit.model.entry import BOOKS, JOB, Entry, own_subject
from corekit.model.money import Money
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.share.signing import SigningKey
from corekit.store import rows
from corekit.store.exchange import Parcel
from corekit.store.persons import salted_hash
from corekit.sync.message import base32, packed, unpacked

from .counts import Counts
from .work import new_shop, plugins, ready

KIM = Person(name="Kim", role=Role.OFFICE)
#: What a value is replaced by.
ODD: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**31, 2**53 - 1, -(2**53) + 1, 1e308, -0.5, "", " ", "\x00", "\x1b[31m",
    "\u202ex", "A" * 5000, "../../x", "<b>", "{x}", "{}", "%s", "2026-13-45", "2026-01-01T99:99:99Z",
    "9999-12-31", "0001-01-01", "٣", "EUR", "1e309", "nan", [], {}, [[[]]], [None], {"a": None}, ["x"] * 300,
    {"personal": "name", "hash": "ab" * 32}, {"personal": "", "hash": ""},
)  # fmt: skip
SCREENS = (
    "/", "/day", "/job/{}", "/job/{}/estimate", "/job/{}/hand", "/job/{}/repair", "/job/{}/explain",
    "/job/{}/photos", "/job/{}/causes",
)  # fmt: skip


def _places(data: Any, where: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in plain data, the whole not among them."""
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    found = []
    for key, item in items:
        found += [(*where, key), *_places(item, (*where, key))]
    return found


def _changed(data: Any, draws: random.Random) -> None:
    """Change one thing in plain data where it stands."""
    places = _places(data)
    if not places:
        return
    *way, last = draws.choice(places)
    holder = data
    for key in way:
        holder = holder[key]
    chance = draws.random()
    if chance < 0.15 and isinstance(holder, dict):
        del holder[last]
    elif chance < 0.3:
        holder[last] = holder[draws.choice(list(holder) if isinstance(holder, dict) else range(len(holder)))]
    elif chance < 0.4 and isinstance(holder, dict):
        holder["more"] = draws.choice(ODD)
    else:
        like = [odd for odd in ODD if type(odd) is type(holder[last])]
        holder[last] = draws.choice(like if like and draws.random() < 0.7 else ODD)


def _renamed(data: Mapping[str, Any], number: int, letters: str) -> dict[str, Any]:
    """The same entries and texts as those of other jobs, chains and numbers."""
    text = json.dumps(data)
    names = {one["job"] for one in data["entries"]} | {one["chain"] for one in data["entries"]}
    books = sorted({one["chain"] for one in data["entries"] if one["journal"] == BOOKS})
    for name in sorted(names - {"", *books}):  # what belongs to no job names none
        text = text.replace(name, f"{name[:8]}{number:04}")
    for nth, chain in enumerate(books):
        text = text.replace(chain, f"books/{letters}/{2100 + 4000 * nth + number}")
    text = text.replace("2026-A0", f"{2100 + number}-A0")  # numbers of a shop's own invoices
    for hash_, _, kind, _, said in data["persons"]:
        salt = f"{number:032x}"
        text = text.replace(hash_, salted_hash(salt, kind, said))
    made: dict[str, Any] = json.loads(text)
    for person in made["persons"]:
        person[3] = f"{number:032x}"
    return made


def _sealed_anew(entries: list[dict[str, Any]], is_hash_mended: bool) -> None:
    """Give every entry the id of what it says now, and what names it that id.

    Raises:
        ValueError, TypeError, RecursionError: one cannot be written down.
    """
    now: dict[str, str] = {}
    heads: dict[str, str] = {}
    for entry in entries:
        body = json.dumps(entry["body"])
        for old, new in now.items():
            body = body.replace(old, new)
        entry["body"] = json.loads(body)
        if is_hash_mended and isinstance(entry["body"], dict) and "document" in entry["body"]:
            entry["body"]["document_hash"] = digest(entry["body"]["document"])
        for name in ("seen", "replaces"):
            entry[name] = [now.get(one, one) for one in entry[name]]
        entry["prev"] = heads.get(entry["chain"], "")
        old = entry.pop("id")
        told = Entry(**{**entry, "seen": tuple(entry["seen"]), "replaces": tuple(entry["replaces"])})
        sealed, _ = rows.sealed_row(told)
        entry.update({**sealed.content(), "id": sealed.id})
        now[old] = heads[entry["chain"]] = sealed.id


def _handed(data: dict[str, Any], to: str) -> None:
    """Hand each job of the parcel on, behind all else."""
    last = {one["chain"]: one for one in data["entries"] if one["journal"] == JOB}
    for job in dict.fromkeys(one["job"] for one in data["entries"] if one["journal"] == JOB):
        chain, before = list(last.items())[-1]
        data["entries"].append(
            {**before, "job": job, "chain": chain, "n": before["n"] + 1, "kind": "handed",
             "replaces": [], "seen": [], "subject": own_subject("handed", job), "body": {"to": to},
             "reason": "", "id": f"handed {job}"}
        )  # fmt: skip
        last[chain] = data["entries"][-1]


@attrs.frozen
class Bench:
    """A hub, the letters of the device that hurts, and the honest van beside it."""

    hub: Hub
    letters: str
    honest: Shop

    def harm(self, jobs: list[str]) -> str:
        """What a parcel with these jobs did to others; empty where nothing."""
        store, hub = self.honest.store, self.hub
        try:
            while True:
                came = record.parcel_for(hub.database, hub.key, store.device, store.arrived)
                store.take_in(Parcel.of(unpacked(packed(came.data()))))
                if came.is_last:
                    break
        except Exception as error:
            return f"the honest van cannot take it in: {type(error).__name__}: {str(error)[:120]}"
        browser = work_app(Van(self.honest.context), NoAuth()).test_client()
        for job in jobs:
            for path in SCREENS:
                answer = browser.get(path.format(job), follow_redirects=True)
                if answer.status_code >= 500:
                    return f"{path} of the honest van answers {answer.status_code}"
        try:
            for asked in (desk.open_jobs, desk.closed_jobs, desk.disputed_jobs, desk.debts, desk.invoices):
                asked(hub, KIM)
            desk.day_plan(hub, KIM, date(2026, 3, 1))
            for job in jobs:
                with contextlib.suppress(CorekitError):
                    for _, entry in desk.job(hub, KIM, job).invoices:
                        desk.paper(hub, KIM, entry)
        except Exception as error:
            return f"the office: {type(error).__name__}: {str(error)[:120]}"
        return ""


def parcels(count: int, bench: Bench, pattern: Mapping[str, Any], seed: int = 7) -> Counts:
    """So many parcels made of the entries of a store, each with one to three things changed."""
    honest = bench.honest.store
    mine = {honest.lineage, f"books/{honest.device}/", *(row.id for row in honest.open_jobs(5))}
    counts, draws, slowest = Counts("parcels made to hurt"), random.Random(seed), 0.0
    for number in range(count):
        data = _renamed(pattern, number, bench.letters)
        _handed(data, bench.honest.store.device)
        for _ in range(draws.randint(1, 3)):
            one = draws.choice(data["persons"] if draws.random() < 0.1 else data["entries"])
            _changed(one["body"] if isinstance(one, dict) and draws.random() < 0.7 else one, draws)
        counts.tries += 1
        with contextlib.suppress(ValueError, TypeError, KeyError, AttributeError, RecursionError):
            _sealed_anew(data["entries"], draws.random() < 0.8)
        began = time.process_time()
        try:
            parcel = Parcel.of(unpacked(packed(data)))
            record.accepted(bench.hub.database, bench.hub.key, bench.letters, parcel)
            counts.seen["taken"] += 1
        except CorekitError as error:
            counts.seen["refused"] += 1
            assert str(error).strip()
            continue
        except (ValueError, TypeError):
            counts.seen["not to be packed"] += 1  # `packed` refuses it, not the hub
            continue
        except Exception as error:
            counts.wrong.append(f"{number}: the hub: {type(error).__name__}: {str(error)[:120]}")
            continue
        finally:
            slowest = max(slowest, time.process_time() - began)
        jobs = list(dict.fromkeys(entry.job for entry in parcel.entries if entry.journal == JOB))
        if harm := bench.harm(jobs):
            counts.wrong.append(f"{number}: {harm}")
    # What the device says of its own invoices and jobs may contradict itself: `verify` names it, and where it
    # stands. Of what the honest van wrote it says nothing.
    told = honest.verify()
    counts.wrong += [fault for fault in told if any(name in fault for name in mine)]
    counts.seen["contradictions that verify names"] = len(told)
    counts.wrong += record.faults(bench.hub.database, bench.hub.key)
    counts.notes.append(f"slowest {1000 * slowest:.0f} ms of processor time")
    return counts


def on_a_hub(count: int, folder: Path) -> Counts:
    """So many parcels on a hub of their own, made of a job with an invoice, a payment and a receipt."""
    folder.mkdir(parents=True, exist_ok=True)
    with throwaway_server() as address, ExitStack() as stack:
        hub = open_hub(address, HubKey(b"k" * 32))
        stack.callback(hub.database.close)
        shops = [stack.enter_context(Shop(new_shop(folder / name), plugins=plugins())) for name in ("a", "b")]
        for number, shop in enumerate(shops):
            letters, *_ = devices.enrolled(
                hub.database,
                devices.invited(hub.database, f"Van {number}"),
                base32(SigningKey(bytes([number]) * 32).public),
                wish="A",
                books=[],
                now=datetime(2026, 3, 1, tzinfo=UTC),
            )
            shop.store.join("http://127.0.0.1:1", letters)
        hurting, honest = shops
        ready(honest, "honest", folder)
        job = ready(hurting, "pattern", folder)
        hurting.issue(job)
        hurting.pay(job, Money(1000, "EUR"), "cash")
        receipt_for(hurting.context, job)
        return parcels(count, Bench(hub, "A", honest), hurting.store.parcel_behind({}).data())
