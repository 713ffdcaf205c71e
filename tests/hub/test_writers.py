"""Eight vans that write and sync at once, are killed and have their lines cut: nothing acknowledged is lost,
nothing is there twice, no number was given twice.
"""

from __future__ import annotations

import contextlib
import os
import random
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import attrs

from corekit.hub import record
from corekit.hub.app import Hub
from corekit.store.store import Store

from .conftest import VanAt, enrol

VANS = 8
#: They work until so many entries were acknowledged and so many of them killed; COREKIT_WRITERS=2000 looks
#: longer.
ENTRIES = int(os.environ.get("COREKIT_WRITERS", "240"))
KILLS = max(16, ENTRIES // 20)
LONGEST = 400.0
ROOT = Path(__file__).parents[2]


@contextlib.contextmanager
def cutting(address: str, seed: int) -> Iterator[tuple[str, list[int]]]:
    """An address that leads to another and cuts one line in eight somewhere in its bytes; and how many it
    cut.
    """
    host, _, port = address.removeprefix("http://").rpartition(":")
    chance, cut, over = random.Random(seed), [0], threading.Event()
    listener = socket.create_server(("127.0.0.1", 0), backlog=64)

    def carry(here: socket.socket, there: socket.socket, left: list[int]) -> None:
        with contextlib.suppress(OSError):
            while data := here.recv(4096):
                left[0] -= len(data)
                if left[0] < 0:
                    cut[0] += 1
                    break
                there.sendall(data)
        for one in (here, there):
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def lead(here: socket.socket) -> None:
        with contextlib.suppress(OSError), here, socket.create_connection((host, int(port))) as there:
            left = [chance.randrange(3000) if chance.random() < 1 / 8 else 10**9]
            back = threading.Thread(target=carry, args=(there, here, left), daemon=True)
            back.start()
            carry(here, there, left)
            back.join()

    def listen() -> None:
        while not over.is_set():
            with contextlib.suppress(OSError):
                threading.Thread(target=lead, args=(listener.accept()[0],), daemon=True).start()

    threading.Thread(target=listen, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{listener.getsockname()[1]}", cut
    finally:
        over.set()
        listener.close()


@attrs.define
class Child:
    """A van in a process of its own."""

    van: VanAt
    log: Path
    path: Path
    process: subprocess.Popen[bytes] | None = None
    before: int = 0

    @property
    def has_written(self) -> bool:
        """True when something was acknowledged since it was started."""
        return self.log.exists() and self.log.stat().st_size > self.before

    def start(self, address: str) -> None:
        line = self.van.line
        words = [str(self.path), address, line.key.secret.hex(), line.letters, str(self.log)]
        self.before = self.log.stat().st_size if self.log.exists() else 0
        command = [sys.executable, "-m", "tests.hub.child", *words]
        self.process = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE)

    def kill(self) -> None:
        assert self.process is not None
        assert self.process.poll() is None, (
            self.process.stderr and self.process.stderr.read().decode()[-2000:]
        )
        self.process.kill()
        self.process.communicate()


def acknowledged(children: list[Child]) -> set[str]:
    """Ids of what was acknowledged; of a line that the kill cut nothing."""
    texts = (child.log.read_text("ascii") for child in children if child.log.exists())
    return {line for text in texts for line in text.splitlines() if len(line) == 64}


def test_eight_vans_write_and_sync_at_once_with_kills_and_cut_lines(
    hub: Hub, address: str, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    children = []
    for n in range(VANS):
        path = tmp_path / f"{n}.corekit"
        with Store.create(path, demo=False) as store:
            children.append(Child(enrol(store, hub, address, f"Van {n}"), tmp_path / f"{n}.log", path))
    chance, kills = random.Random(7), 0
    with cutting(address, 8) as (cut_address, cut):
        for child in children:
            child.start(cut_address)
        end = time.monotonic() + LONGEST
        while kills < KILLS or len(acknowledged(children)) < ENTRIES or cut[0] < 3:
            assert time.monotonic() < end, (kills, len(acknowledged(children)), cut)
            time.sleep(chance.uniform(0.1, 0.5))
            child = chance.choice(children)
            if child.has_written:
                child.kill()
                kills += 1
                child.start(cut_address)
        for child in children:
            child.kill()
    vans = [VanAt(Store.open(child.path), child.van.line) for child in children]
    for _ in range(2):
        for van in vans:
            van.sync()
    with hub.database.line() as line:
        there = [str(id_) for (id_,) in line.execute("SELECT id FROM entry")]
        numbers = [str(number) for (number,) in line.execute("SELECT number FROM invoice")]
    assert acknowledged(children) <= set(there), "lost"
    assert len(there) == len(set(there))
    assert len(numbers) == len(set(numbers)) > 0
    assert record.faults(hub.database, hub.key) == []
    for van in vans:
        here = {str(id_) for (id_,) in van.store._connection.execute("SELECT id FROM entry")}
        assert here == set(there)
        assert van.store.verify() == []
        van.store.close()
    told = f"{VANS} vans, {len(there)} entries, {len(numbers)} invoices, {kills} kills, {cut[0]} lines cut"
    record_property("writers", told)
    print(told)
