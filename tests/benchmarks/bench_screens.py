"""What an answer costs the screens' server, as a ratio to a bare page of the same server, measured side by
side in one run.

    .venv/bin/python tests/benchmarks/bench_screens.py [ROUNDS]

Every round begins a job, tells what is fitted and answers the usual readings of a battery job one after the
other as a phone does: the form is posted, read and stored (on disk when the server answers), and the next
screen is loaded. Before each answer the same line asks for a bare page: one that the same server renders from
the same base template with nothing in it. Medians are compared, so whatever else the machine does hits both.
A ratio says something on any machine, a time only on this one.

Beside it: what assessing in the worker costs over assessing in the server's own process, pickling and pipe
included.
"""

from __future__ import annotations

import http.client
import secrets
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlencode

import attrs
import flask

from corekit.assess.assessment import assess
from corekit.desk.demo import run_demo
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.isolation.worker import Worker
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.web.server import server_for

BEGINS = {
    "reason": "Does not crank after two days at the kerb.",
    "vehicle": {"plate": "DEMO-1"},
    "traits": {"battery.type": "AGM", "battery.rating": "680 A SAE", "battery.capacity": "70 Ah"},
}
REST = {'step[0].setup."battery.rest_time"': "9 h", 'step[0].setup."battery.temperature"': "4 °C"}
LOAD = {
    'step[0].setup."battery.load_current"': "340 A",
    'step[0].setup."battery.load_time"': "15 s",
    'step[0].setup."battery.temperature"': "4 °C",
}


def seen(of: str, answer: str) -> dict[str, str]:
    return {"step[0].seen[0].of": of, "step[0].seen[0].is": answer}


def read(of: str, typed: str, setup: dict[str, str], place: str = "") -> dict[str, str]:
    return {
        **setup,
        "step[0].readings[0].of": of,
        "step[0].readings[0].is": typed,
        "step[0].readings[0].place": place,
        "step[0].readings[0].with": "meter",
    }


ANSWERS = {
    "case": seen("battery.case", "sound"),
    "terminals": seen("battery.terminals", "clean and tight"),
    "rest voltage": read("battery.open_circuit_voltage", "12.78 V", REST),
    "cranking, posts": read("battery.cranking_voltage", "8.9 V", {}, "posts"),
    "cranking, clamps": read("battery.cranking_voltage", "8.85 V", {}, "clamps"),
    "load voltage": read("battery.load_voltage", "8.4 V", LOAD),
}


@attrs.define
class Line:
    """One line to the server, kept open as a browser keeps it."""

    port: int
    connection: http.client.HTTPConnection = attrs.field(init=False)

    def __attrs_post_init__(self) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port)

    def get(self, path: str) -> str:
        """The page, on where the server leads."""
        for _ in range(5):
            status, body, location = self._asked("GET", path)
            if status == 200:
                return body
            if status not in (302, 303) or not location:
                raise SystemExit(f"GET {path}: {status}\n{body}")
            path = location
        raise SystemExit(f"GET {path}: led on and on")

    def answer(self, job: str, fields: dict[str, str]) -> str:
        """Where the server leads on after an answer."""
        screen = f"/job/{job}/test"
        form = {**fields, "answer": secrets.token_urlsafe(18), "guard": "", "screen": screen, "next": screen}
        status, body, location = self._asked("POST", f"/job/{job}/answer", urlencode(form))
        if status != 303 or not location:
            raise SystemExit(f"answer: {status}\n{body}")
        return location

    def try_out(self, job: str, fields: dict[str, str]) -> str:
        """What is shown while typing."""
        status, body, _ = self._asked(
            "POST", f"/job/{job}/try", urlencode({**fields, "guard": "", "screen": f"/job/{job}/test"})
        )
        if status != 200:
            raise SystemExit(f"try: {status}\n{body}")
        return body

    def _asked(self, method: str, path: str, body: str = "") -> tuple[int, str, str | None]:
        headers = {
            "Accept": "text/html",
            **({"Content-Type": "application/x-www-form-urlencoded"} if body else {}),
        }
        self.connection.request(method, path, body or None, headers)
        reply = self.connection.getresponse()
        return reply.status, reply.read().decode(), reply.headers.get("Location")


def main(rounds: int) -> None:
    # Beside the working folder and not in /tmp, which is often memory and syncs to nothing.
    with tempfile.TemporaryDirectory(prefix=".bench-", dir=Path.cwd()) as name:
        folder = Path(name) / "demo-out"
        for _ in run_demo(folder):
            pass
        with Worker() as worker, Shop(folder, assessor=worker) as shop:
            app = work_app(Van(shop.context, calculator=worker.calculate), NoAuth())
            add_bare_page(app)
            server = server_for(app, port=0)
            thread = threading.Thread(target=server.serve, daemon=True)
            thread.start()
            try:
                screens(shop, Line(int(server.bind_addr[1])), rounds)
            finally:
                server.stop()
                thread.join()
            assessing(shop, worker, rounds)


def add_bare_page(app: flask.Flask) -> None:
    @app.get("/bare")
    def bare() -> str:
        return flask.render_template_string('{% extends "base.html" %}')


def screens(shop: Shop, line: Line, rounds: int) -> None:
    kinds = ("bare", "post", "next", "try")
    times: dict[str, dict[str, list[float]]] = {kind: {key: [] for key in ANSWERS} for kind in kinds}
    for turn in range(rounds + 1):  # the first round warms up and does not count
        job = begun(shop)
        line.get(f"/job/{job}/test")
        for key, fields in ANSWERS.items():
            spent: dict[str, float] = {}
            spent["bare"], _ = timed(line.get, "/bare")
            spent["try"], _ = timed(line.try_out, job, fields)
            spent["post"], following = timed(line.answer, job, fields)
            spent["next"], _ = timed(line.get, following)
            for kind in kinds if turn else ():
                times[kind][key].append(spent[kind])
    bare = statistics.median(value for each in times["bare"].values() for value in each)
    print(
        f"a bare page: {bare * 1000:.2f} ms, median of {rounds * len(ANSWERS)}; everything below in bare"
        f" pages, medians of {rounds}"
    )
    print(f"  {'':<20} {'answer':>8}   {'stored':>8} + {'next screen':>11}   {'while typing':>12}")
    for key in ANSWERS:
        post, following, typing = (
            statistics.median(times[kind][key]) / bare for kind in ("post", "next", "try")
        )
        whole = statistics.median(map(sum, zip(times["post"][key], times["next"][key], strict=True))) / bare
        print(f"  {key:<20} {whole:8.1f}   {post:8.1f} + {following:11.1f}   {typing:12.1f}")
    every = [
        sum(pair) for key in ANSWERS for pair in zip(times["post"][key], times["next"][key], strict=True)
    ]
    print(
        f"  {'all of them':<20} {statistics.median(every) / bare:8.1f}   the slowest {max(every) / bare:.1f}"
    )


def begun(shop: Shop) -> str:
    """A job whose diagnosis is approved, so that testing comes next."""
    job = add_rows(shop.context, None, BEGINS, request_id=secrets.token_urlsafe(18)).job
    shop.approve(shop.estimate(job, "diagnosis"), by="customer", how="in person")
    return job


def timed(work: Callable[..., str], *arguments: object) -> tuple[float, str]:
    start = time.perf_counter()
    result = work(*arguments)
    return time.perf_counter() - start, result


def assessing(shop: Shop, worker: Worker, rounds: int) -> None:
    """Every job of the shop, in the worker and here, in turn."""
    print("assessing in the worker, in assessments in this process")
    for name in sorted({shop.store.job(job).name: job for job in shop.store.jobs()}):
        job = shop.store.job(shop.store.find(name))
        if name.startswith("20"):  # the jobs that were made here are all alike
            continue
        times: dict[str, list[float]] = {"worker": [], "here": []}
        for turn in range(rounds + 1):
            for key, assessor in (("worker", worker), ("here", assess)):
                start = time.perf_counter()
                assessor(job, shop.context.plugins)
                if turn:
                    times[key].append(time.perf_counter() - start)
        here = statistics.median(times["here"])
        print(f"  {name:<20} {statistics.median(times['worker']) / here:6.2f}   ({here * 1000:.1f} ms here)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 15)
