"""The demo of several vans: a hub on a PostgreSQL server of its own, which is gone when it is over."""

from __future__ import annotations

import contextlib
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

from ..desk import syncing
from ..desk.demo import clear
from ..desk.errors import EstimateAwaitedError
from ..desk.jobs import closed_jobs, job_with_id, open_jobs
from ..desk.settings import PRICE_FILE, SHOP_FILE
from ..desk.setup import create_shop
from ..desk.shop import Shop
from ..errors import InputError
from ..reference import data_path
from ..web.passcode import random_passcode
from ..web.server import running
from . import devices, people, record
from .app import Hub, open_hub, set_prices
from .desk import hand
from .people import Person, Role
from .sealing import hub_key
from .serving import hub_server
from .throwaway import throwaway_server

#: The story has so many at least: one that hands a job on, one that goes on, one that was away.
LEAST, MOST = 3, 8
KEY_FILE = "hub.key"
_MANY = 50


def run_vans(out: Path, count: int, *, stay: bool = False) -> Iterator[str]:
    """Set up a hub and vans in `out`, let them work, and say what happened, line by line.

    Args:
        stay: Keep hub and office open at the end, until somebody stops it.

    Raises:
        InputError: there are too few vans or too many.
        HubError: PostgreSQL is not installed here.
        DeskError: there is something else than an earlier demo in the folder.
    """
    if not LEAST <= count <= MOST:
        raise InputError(f"--vans: the story takes from {LEAST} to {MOST} vans; got {count}.")
    for n in range(1, count + 1):
        clear(out / f"van-{n}")
    out.mkdir(parents=True, exist_ok=True)
    (out / KEY_FILE).unlink(missing_ok=True)
    with contextlib.ExitStack() as stack:
        address = stack.enter_context(throwaway_server())
        hub = open_hub(address, hub_key(out / KEY_FILE), demo=True)
        stack.callback(hub.database.close)
        server = stack.enter_context(running(hub_server(hub)))
        at = f"http://127.0.0.1:{server.bind_addr[1]}"
        set_prices(hub, (data_path("demo") / "shop" / PRICE_FILE).read_text("utf-8"))
        yield f"A hub is open at {at}, on a PostgreSQL server that is gone when this is over."
        vans = [stack.enter_context(_van(hub, at, out / f"van-{n}", f"Van {n}")) for n in range(1, count + 1)]
        yield f"{count} invented vans are enrolled: {', '.join(van.context.device for van in vans)}."
        yield from _story(hub, vans)
        yield ""
        yield from _verified(hub, vans)
        if stay:
            code = people.let_in(hub, "Kim", Role.OFFICE, passcode=random_passcode())
            yield f"The office is open at {at}/office for Kim, with {code}. Ctrl-C ends it."
            with contextlib.suppress(KeyboardInterrupt):
                threading.Event().wait()


def _van(hub: Hub, at: str, folder: Path, name: str) -> Shop:
    folder.mkdir(parents=True)
    for file in (SHOP_FILE, PRICE_FILE):
        shutil.copy(data_path("demo") / "shop" / file, folder / file)
    create_shop(folder, demo=True)
    shop = Shop(folder)
    syncing.enrol(shop.context, at, devices.invited(hub.database, name))
    syncing.sync(shop.context)
    return shop


def _story(hub: Hub, vans: list[Shop]) -> Iterator[str]:
    first, second, away, *others = vans
    # Of the demo's visits in their order: one for each van, one that is handed on, one that is disputed.
    worn, handed, *more, disputed, undecided, last = sorted((data_path("demo") / "jobs").glob("*.toml"))
    yield ""
    yield f"Van {away.context.device} has no network all day. The others sync as they go."
    yield from _worked(first, worn)
    yield from _worked(away, undecided)
    for van, path in zip(others, (*more, last), strict=False):
        yield from _worked(van, path)
    yield ""
    yield from _synced(first)
    job = _up_to_the_repair(first, handed)
    name = job_with_id(first.context, job).name
    syncing.hand(first.context, job, second.context.device)
    yield from _synced(first)
    yield f"Van {first.context.device} found the fault of {name} and hands it to van {second.context.device}."
    yield from _synced(second)
    yield from _worked(second, handed)
    yield from _synced(second)
    yield ""
    job = _begun(second, disputed)
    name = job_with_id(second.context, job).name
    yield from _synced(second)
    hand(hub, Person(name="Office", role=Role.OFFICE), job, first.context.device)
    yield f"The office hands {name} to van {first.context.device}; {second.context.device} has not heard."
    yield from _synced(first)
    for van, km in ((first, "61520 km"), (second, "62150 km")):
        _retyped(van, disputed, km)
        yield f"Van {van.context.device} corrects the odometer of {name}: {km}."
    for van in (first, second, first):
        yield from _synced(van)
    yield ""
    yield "The next morning:"
    yield from _synced(away)
    for van in vans:
        yield from _synced(van)


def _begun(shop: Shop, path: Path) -> str:
    """A visit as far as its first estimate; gives the job's id."""
    try:
        return shop.import_visit(path)
    except EstimateAwaitedError as awaited:
        return awaited.job


def _worked(shop: Shop, path: Path) -> Iterator[str]:
    """A visit from its beginning, or from where it stands, to the invoice."""
    while True:
        try:
            job = shop.import_visit(path)
            break
        except EstimateAwaitedError as awaited:
            shop.estimate(awaited.job, awaited.estimate.split(" ", 1)[0])
    invoice = shop.issue(job)
    name = job_with_id(shop.context, job).name
    yield f"Van {shop.context.device}: {name} is done, invoice {invoice.number}."


def _up_to_the_repair(shop: Shop, path: Path) -> str:
    """A visit as far as the estimate of its repair; gives the job's id."""
    while True:
        try:
            return shop.import_visit(path)
        except EstimateAwaitedError as awaited:
            if awaited.estimate.startswith("repair"):
                return awaited.job
            shop.estimate(awaited.job, awaited.estimate.split(" ", 1)[0])


def _retyped(shop: Shop, path: Path, km: str) -> None:
    """The same visit file with another odometer."""
    lines = path.read_text("utf-8").splitlines()
    told = [_with_odometer(line, km) if line.startswith("vehicle") else line for line in lines]
    copy = shop.context.folder / path.name
    copy.write_text("\n".join(told) + "\n", "utf-8")
    with contextlib.suppress(EstimateAwaitedError):
        shop.import_visit(copy)


def _with_odometer(line: str, km: str) -> str:
    before, _, rest = line.partition('odometer = "')
    return f'{before}odometer = "{km}"{rest.partition(chr(34))[2]}'


def _synced(shop: Shop) -> Iterator[str]:
    for sentence in syncing.sync(shop.context).sentences:
        yield f"Van {shop.context.device} syncs: {sentence}"


def _verified(hub: Hub, vans: list[Shop]) -> Iterator[str]:
    for van in vans:
        rows = [*closed_jobs(van.context, _MANY), *open_jobs(van.context, _MANY)]
        faults = van.verify().faults
        state = faults[0] if faults else "every chain is whole"
        yield f"Van {van.context.device} has {', '.join(row.name for row in rows)}; {state}."
    wrong = record.faults(hub.database, hub.key)
    with hub.database.line() as line:
        found = line.execute("SELECT count(*), (SELECT count(*) FROM invoice) FROM entry").fetchone()
    assert found is not None
    yield f"Hub: {found[0]} entries, {found[1]} invoices; {wrong[0] if wrong else 'every chain is whole'}."
