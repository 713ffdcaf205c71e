"""Eight programs that issue from one store at once."""

from __future__ import annotations

import os
import time
from pathlib import Path

from corekit.desk.shop import Shop

from .counts import Counts
from .work import Acknowledger, child, faults_after, new_shop, plugins, ready


def writers(count: int, folder: Path, programs: int = 8) -> Counts:
    """Each program issues `count` jobs, half of which its neighbour issues too."""
    counts = Counts("eight writers")
    shop_folder = new_shop(folder / "shop")
    (folder / "files").mkdir(parents=True)
    with Shop(shop_folder, plugins=plugins()) as shop:
        jobs = [ready(shop, f"job-{number}", folder / "files") for number in range(programs * count // 2 + 1)]

    def issuing(own: int) -> object:
        mine = [jobs[(own * count // 2 + number) % len(jobs)] for number in range(count)]

        def work(say: Acknowledger) -> None:
            with Shop(shop_folder, plugins=plugins()) as shop:
                for job in mine:
                    say("invoice", shop.issue(job, date_is_right=True).number)
                say("done", "-")

        return work

    began = time.monotonic()
    running = [child(issuing(own)) for own in range(programs)]  # type: ignore[arg-type]
    promised: list[tuple[str, str]] = []
    for pid, pipe in running:
        heard = b""
        while more := os.read(pipe, 65536):
            heard += more
        os.close(pipe)
        os.waitpid(pid, 0)
        lines = [(line.split()[0], line.split()[1]) for line in heard.decode().split("\n")[:-1]]
        promised += [line for line in lines if line[0] == "invoice"]
        if ("done", "-") not in lines:
            counts.wrong.append("a program did not come to its end")
    counts.tries = len(promised)
    counts.seen["invoices"] = len(set(promised))
    counts.notes.append(f"{len(promised) / (time.monotonic() - began):.1f} issued or drawn again in a second")
    counts.wrong += faults_after(shop_folder, promised)
    return counts
