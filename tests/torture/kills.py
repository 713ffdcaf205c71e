"""kill -9 at random moments: over the Python API, while issuing, over the screens, while migrating."""

from __future__ import annotations

import http.client
import os
import random
import select
import shutil
import signal
import sqlite3
import tempfile
import time
import urllib.parse
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from unittest import mock

from corekit.desk.shop import Shop
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.store import schema
from corekit.store.store import Store
from corekit.web.server import server_for

from .counts import Counts
from .work import (
    Acknowledger,
    answered,
    charged_twice,
    child,
    faults_after,
    more,
    new_shop,
    plugins,
    ready,
)


def _killed(
    work: Callable[[Acknowledger], None], draws: random.Random, after: float
) -> tuple[list[tuple[str, str]], bool]:
    """Start, kill at a random moment within `after` seconds of the first promise, read what was promised."""
    pid, pipe = child(work)
    heard = b""
    while select.select([pipe], [], [], 60)[0] and b"\n" not in heard:
        more = os.read(pipe, 65536)
        if not more:
            break
        heard += more
    time.sleep(draws.random() * after)
    os.kill(pid, signal.SIGKILL)
    while more := os.read(pipe, 65536):
        heard += more
    os.close(pipe)
    _, status = os.waitpid(pid, 0)
    lines = heard.decode().split("\n")[:-1]
    promised = [(line.split(" ", 1)[0], line.split(" ", 1)[1]) for line in lines]
    return promised, os.WIFSIGNALED(status)


def _saving(folder: Path, job: str, seed: int) -> Callable[[Acknowledger], None]:
    def work(say: Acknowledger) -> None:
        with Shop(folder, plugins=plugins()) as shop:
            say("ready", "-")
            for number in range(10_000):
                for entry in answered(shop, job, f"request-{seed:08}-{number:08}"):
                    say("entry", entry)

    return work


def _early(folder: Path, job: str, seed: int) -> Callable[[Acknowledger], None]:
    """The same with a planted defect: it promises before it commits."""

    def work(say: Acknowledger) -> None:
        commit = Store._commit

        def late(store: Store) -> None:
            rows = store._connection.execute("SELECT id FROM entry ORDER BY rowid DESC LIMIT 1").fetchall()
            for (name,) in rows:
                say("entry", name)
            time.sleep(0.2)
            commit(store)

        with mock.patch.object(Store, "_commit", late), Shop(folder, plugins=plugins()) as shop:
            say("ready", "-")
            for number in range(10_000):
                answered(shop, job, f"request-{seed:08}-{number:08}")

    return work


def _issuing(folder: Path, files: Path, seed: int) -> Callable[[Acknowledger], None]:
    def work(say: Acknowledger) -> None:
        with Shop(folder, plugins=plugins()) as shop:
            say("ready", "-")
            for number in range(1000):
                job = ready(shop, f"job-{seed}-{number}", files)
                for nth in range(1 + number % 3):  # up to three in one job
                    if nth:
                        more(shop, job, nth)
                    invoice = shop.issue(job, date_is_right=True)
                    say("invoice", invoice.number)
                    say("paper", invoice.pdf.name)

    return work


def saving(count: int, folder: Path, seed: int = 1) -> Counts:
    """Programs that save answers, killed."""
    counts, draws = Counts("kill -9, saving over the API"), random.Random(seed)
    new_shop(folder / "shop")
    (folder / "files").mkdir()
    with Shop(folder / "shop", plugins=plugins()) as shop:
        job = ready(shop, "one", folder / "files")
    promised: list[tuple[str, str]] = []
    for number in range(count):
        if number % 60 == 0 and number:  # a journal that grows for ever tests the machine and not the promise
            with Shop(folder / "shop", plugins=plugins()) as shop:
                job = ready(shop, f"job-{number}", folder / "files")
        new, was_killed = _killed(_saving(folder / "shop", job, number), draws, 0.12)
        promised += new
        counts.tries += was_killed
        counts.seen["entries promised"] += sum(kind == "entry" for kind, _ in new)
        counts.wrong += faults_after(folder / "shop", new if number % 20 else promised)
    caught = 0
    for number in range(4):
        new, _ = _killed(_early(folder / "shop", job, 90_000 + number), draws, 0.25)
        caught += any("promised and is gone" in one for one in faults_after(folder / "shop", new))
    counts.notes.append(f"planted: promised before the commit, noticed in {caught} of 4")
    if count and not caught:
        counts.wrong.append("the planted defect was not noticed")
    return counts


def issuing(count: int, folder: Path, seed: int = 2) -> Counts:
    """Programs that issue invoices with their papers, killed."""
    counts, draws = Counts("kill -9, issuing"), random.Random(seed)
    (folder / "files").mkdir(parents=True)
    new_shop(folder / "shop")
    for number in range(count):
        if number % 25 == 0:
            shutil.rmtree(folder / "shop")
            new_shop(folder / "shop")
        new, was_killed = _killed(_issuing(folder / "shop", folder / "files", number), draws, 0.8)
        counts.tries += was_killed
        counts.seen["invoices promised"] += sum(kind == "invoice" for kind, _ in new)
        counts.wrong += faults_after(folder / "shop", new)
        counts.wrong += charged_twice(folder / "shop")
    return counts


def _posted(port: int, job: str, request: str) -> bool:
    """One reading sent as the screen does; True where it was acknowledged."""
    form = {
        "step[0].readings[0].of": "battery.open_circuit_voltage",
        "step[0].readings[0].is": "12.6 V",
        "answer": request,
    }
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=10)) as line:
        line.request(
            "POST",
            f"/job/{job}/answer",
            urllib.parse.urlencode(form),
            {"Content-Type": "application/x-www-form-urlencoded"},
        )
        return line.getresponse().status in (302, 303)


def screens(count: int, folder: Path, seed: int = 3) -> Counts:
    """Screens that are killed while a phone sends; it sends again under the same id."""
    counts, draws = Counts("kill -9, screens"), random.Random(seed)
    new_shop(folder / "shop")
    (folder / "files").mkdir()
    with Shop(folder / "shop", plugins=plugins()) as shop:
        job = ready(shop, "one", folder / "files")

    def serving(say: Acknowledger) -> None:
        with Shop(folder / "shop", plugins=plugins()) as shop:
            server = server_for(work_app(Van(shop.context), NoAuth()), port=0)
            say("port", str(server.bind_addr[1]))
            server.serve()

    sent = acknowledged = 0
    waiting: str | None = None
    for number in range(count):
        pid, pipe = child(serving)
        heard = os.read(pipe, 100).decode().split()
        if not heard:
            counts.wrong.append("the screens did not start")
            os.close(pipe)
            os.waitpid(pid, 0)
            continue
        until = time.monotonic() + 0.05 + draws.random() * 0.4
        killer_pid = os.fork()
        if not killer_pid:
            time.sleep(max(0.0, until - time.monotonic()))
            os.kill(pid, signal.SIGKILL)
            os._exit(0)
        while True:
            request = waiting or f"phone-{number:08}-{sent:08}"
            try:
                if not _posted(int(heard[1]), job, request):
                    counts.wrong.append(f"{request} was refused")
                    waiting = None
                    break
            except (OSError, http.client.HTTPException):
                waiting = request
                break
            waiting, sent, acknowledged = None, sent + 1, acknowledged + 1
        os.waitpid(killer_pid, 0)
        os.waitpid(pid, 0)
        os.close(pipe)
        counts.tries += 1
    counts.seen["answers acknowledged"] = acknowledged
    with Shop(folder / "shop", plugins=plugins()) as shop:
        kept = sum(entry.kind == "measured" for entry in shop.store.journal(job))
    if not acknowledged <= kept <= acknowledged + (waiting is not None):
        counts.wrong.append(f"{acknowledged} answers were acknowledged and {kept} are kept")
    counts.wrong += faults_after(folder / "shop", [])
    return counts


_FIRST = Path(__file__).parents[1] / "store" / "data" / "store-v0.sql"


def migrating(count: int, seed: int = 4) -> Counts:
    """A store of the first schema that is opened, and the program killed at a step of SQLite's own, twice
    over: in the migration, and in the recovery from that.
    """
    counts, draws = Counts("kill -9, migration and recovery"), random.Random(seed)
    for _ in range(count):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder, "shop.corekit")
            with closing(sqlite3.connect(path)) as connection:
                connection.executescript(_FIRST.read_text("utf-8"))
                before = connection.execute("SELECT * FROM entry ORDER BY chain, n").fetchall()
            for _ in range(2):
                _, was_killed = _killed(_dying(path, int(10 ** draws.uniform(0.5, 4.2))), draws, 0.5)
                counts.tries += was_killed
                counts.seen["came to its end first"] += not was_killed
            with closing(sqlite3.connect(path)) as connection:
                counts.seen[f"left at schema {schema.version(connection)}"] += 1
            with Store.open(path) as store:
                counts.wrong += store.verify()
                after = store._connection.execute("SELECT * FROM entry ORDER BY chain, n").fetchall()
                if after != before or store.schema_version != schema.SCHEMA:
                    counts.wrong.append("the migration changed or lost entries")
    return counts


def _dying(path: Path, steps: int) -> Callable[[Acknowledger], None]:
    """Opens a store and kills itself after so many steps of SQLite's machine."""
    connect, left = schema.connect, steps

    def step() -> None:
        nonlocal left
        left -= 1
        if left <= 0:
            os.kill(os.getpid(), signal.SIGKILL)

    def watched(where: Path, patience: float = schema.PATIENCE) -> sqlite3.Connection:
        connection = connect(where, patience)
        connection.set_progress_handler(step, 1)
        return connection

    def work(say: Acknowledger) -> None:
        with mock.patch.object(schema, "connect", watched):
            Store.open(path).close()
        say("done", "-")

    return work
