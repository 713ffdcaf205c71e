"""An I/O fault at each distinct call site, once per kind of fault: for every operation on which something
rests, the recovery from a kill among them.

A site is the call, the role of its file, and who called (the C callers, so that each statement of SQLite's
own code is one). The last call of each site fails, once, or from there on, or the program dies there.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from .counts import Counts
from .layer import layer, run_under_layer
from .work import Acknowledger, answered, child, faults_after, new_shop, plugins, ready

_DEATH = 0
KINDS = {
    "EIO once": (errno.EIO, False),
    "EIO from then on": (errno.EIO, True),
    "ENOSPC once": (errno.ENOSPC, False),
    "ENOSPC from then on": (errno.ENOSPC, True),
    "death": (_DEATH, False),
}
Work = Callable[[Any, str, Path], list[tuple[str, str]]]


def _issue(shop: Any, job: str, _: Path) -> list[tuple[str, str]]:
    invoice = shop.issue(job, date_is_right=True)
    return [("invoice", invoice.number), ("paper", invoice.pdf.name)]


def _answer(shop: Any, job: str, _: Path) -> list[tuple[str, str]]:
    return [("entry", one) for one in answered(shop, job, "request-0000-0000-0000")]


def _pay(shop: Any, job: str, _: Path) -> list[tuple[str, str]]:
    from corekit.model.money import Money

    shop.pay(job, Money.of("1.00", shop.context.prices.currency), "cash", request_id="request-0000-0000-0001")
    return []


def _publish(shop: Any, job: str, _: Path) -> list[tuple[str, str]]:
    number = shop.issue(job, date_is_right=True).number
    shop.publish(job)
    return [("invoice", number)]


def _forget(shop: Any, job: str, _: Path) -> list[tuple[str, str]]:
    shop.forget(job, because="the customer asked for it")
    return []


def _back_up(shop: Any, _: str, place: Path) -> list[tuple[str, str]]:
    from corekit.desk.backup import back_up

    made = back_up(shop.context)
    return [("backup", str(made.path.relative_to(place)))]


OPERATIONS: dict[str, Work] = {
    "answer": _answer,
    "issue": _issue,
    "pay": _pay,
    "publish": _publish,
    "forget": _forget,
    "backup": _back_up,
    "open again": lambda shop, job, place: [],
}


def main(folder: Path, *, operations: list[str], most: int) -> dict[str, Any]:
    """The run under the layer: the sites of each operation first, then a fault at each."""
    own = layer()
    plugins()
    found: dict[str, Any] = {"tries": 0, "wrong": [], "seen": {}, "sites": {}}
    for operation in operations:
        base, job = _base(folder, operation)
        sites = _sites(own, folder, base, job, operation)
        found["sites"][operation] = len(sites)
        for at in sites[:most] if most else sites:
            for kind in KINDS:
                found["tries"] += 1
                said, wrong = _tried(own, folder, base, job, operation, at, kind)
                found["seen"][said] = found["seen"].get(said, 0) + 1
                found["wrong"] += [f"{operation}, {kind} at call {at}: {one}" for one in wrong]
    return found


def _base(folder: Path, operation: str) -> tuple[Path, str]:
    """A shop with one job that waits for its invoice, as it was when the program was killed: its log still
    lies beside it.
    """
    from corekit.desk.shop import Shop

    base = folder / f"base-{operation.replace(' ', '-')}"
    files = folder / "files"
    files.mkdir(exist_ok=True)
    new_shop(base / "made")
    with Shop(base / "made", plugins=plugins()) as shop:
        job = ready(shop, "one", files)
        shutil.copytree(base / "made", base / "shop", ignore=shutil.ignore_patterns("*-shm"))
    return base / "shop", job


def _sites(own: Any, folder: Path, base: Path, job: str, operation: str) -> list[int]:
    """The number of the last call of each site."""
    place, log = folder / "shop", folder / "sites"
    _anew(base, place)
    log.unlink(missing_ok=True)

    def work(say: Acknowledger) -> None:
        own.torture_folder(str(place).encode())
        own.torture_log(str(log).encode())
        own.torture_record(1)
        _do(operation, place, job)
        own.torture_record(0)

    _finished(work)
    last: dict[str, int] = {}
    for line in log.read_text("utf-8").splitlines():
        number, site, *_ = line.split()
        last[site] = int(number)
    return sorted(last.values())


def _tried(
    own: Any, folder: Path, base: Path, job: str, operation: str, at: int, kind: str
) -> tuple[str, list[str]]:
    """What became of one fault, and what is wrong with it."""
    place = folder / "shop"
    _anew(base, place)
    number, is_lasting = KINDS[kind]

    def work(say: Acknowledger) -> None:
        from corekit.errors import CorekitError

        own.torture_folder(str(place).encode())
        own.torture_arm(at, number, int(is_lasting))
        try:
            promised = _do(operation, place, job)
            say(json.dumps(["done", promised]))
        except CorekitError as error:
            say(json.dumps(["refused", str(error)]))
        except BaseException as error:
            say(json.dumps(["stray", f"{type(error).__name__}: {error}"]))
        own.torture_arm(0, 0, 0)
        try:
            say(json.dumps(["again", _do(operation, place, job)]))
        except BaseException as error:
            say(json.dumps(["failed again", f"{type(error).__name__}: {error}"]))

    lines = [json.loads(line) for line in _finished(work)]
    wrong: list[str] = []
    promised: list[tuple[str, str]] = []
    for what, told in lines:
        if what in ("stray", "failed again"):
            wrong.append(f"{what}: {told}")
        elif what == "refused" and ("Traceback" in told or "\n" in told):
            wrong.append(f"no clear words: {told}")
        elif what in ("done", "again"):
            promised = [tuple(one) for one in told]
    first = lines[0][0] if lines else "died"
    if operation == "forget" and any(what == "again" for what, _ in lines):
        wrong += [f"{path.name} still names the customer" for path in _telling(place)]
    if operation != "forget":

        def after(say: Acknowledger) -> None:
            for one in faults_after(place, [one for one in promised if one[0] != "backup"]):
                say(json.dumps(one))
            for kind_, path in promised:
                if kind_ == "backup" and not (place / path / "heads.json").is_file():
                    say(json.dumps(f"backup {path} is not whole"))
            say(json.dumps("looked"))

        looked = [json.loads(line) for line in _finished(after)]
        wrong += [one for one in looked if one != "looked"]
        if "looked" not in looked:
            wrong.append("it cannot be opened any more")
    return first, wrong


def _telling(place: Path) -> list[Path]:
    """Files that still hold the customer's name."""
    return [path for path in place.rglob("*") if path.is_file() and b"Sample Owner" in path.read_bytes()]


def _do(operation: str, place: Path, job: str) -> list[tuple[str, str]]:
    from corekit.desk.shop import Shop

    with Shop(place, plugins=plugins()) as shop:
        return OPERATIONS[operation](shop, job, place)


def _anew(base: Path, place: Path) -> None:
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(base, place)


def _finished(work: Callable[[Acknowledger], None]) -> list[str]:
    pid, pipe = child(work)
    heard = b""
    while more := os.read(pipe, 65536):
        heard += more
    os.close(pipe)
    os.waitpid(pid, 0)
    return heard.decode().split("\n")[:-1]


def faults(most: int, folder: Path, operations: tuple[str, ...] = tuple(OPERATIONS)) -> Counts:
    """A fault at each site of these operations; of each at most so many sites, all of them at 0."""
    counts = Counts("I/O faults at distinct call sites")
    folder.mkdir(parents=True, exist_ok=True)
    found = run_under_layer("tests.torture.io_faults", folder, operations=list(operations), most=most)
    counts.tries, counts.wrong = found["tries"], found["wrong"]
    counts.seen.update(found["seen"])
    counts.notes.append("sites: " + ", ".join(f"{what} {count}" for what, count in found["sites"].items()))
    counts.notes.append(f"kinds: {', '.join(KINDS)}")
    return counts
