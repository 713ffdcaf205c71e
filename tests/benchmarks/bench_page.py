"""What the page behind a code costs its server, in bare pages of the same server, side by side in one run.

    .venv/bin/python tests/benchmarks/bench_page.py [ROUNDS]

A bare page is the shortest answer there is: two bytes from the very same server to the same kind of request.
Every round asks each candidate in turn, so that whatever else the machine does hits all; what is compared is
the CPU time of the server's process, which runs by itself. A ratio says something on any machine, a time only
on this one. The aims are those of the project: the empty page at most 1.5 bare pages, an opened code at
most 3.
"""

from __future__ import annotations

import http.client
import multiprocessing
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from corekit.desk.demo import run_demo
from corekit.desk.shop import Shop
from corekit.share.published import PublishedFolder
from corekit.web.page_app import page_app
from corekit.web.pages import page_server
from corekit.web.wsgi import Wsgi

#: Requests of one candidate in one round.
AT_ONCE = 200


def with_bare_page(app: Wsgi) -> Wsgi:
    def either(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        if environ["PATH_INFO"] != "/bare":
            return app(environ, start_response)
        environ["wsgi.input"].read()
        start_response("200 OK", [("Content-Type", "text/plain"), ("Content-Length", "2")])
        return [b"ok"]

    return either


def serving(folder: Path, line: Connection) -> None:
    """A server in a process of its own: says its port, then its CPU time whenever it is asked."""
    app = page_app(PublishedFolder(folder), bearer=None, demo=True)
    server = page_server(with_bare_page(app), port=0)
    threading.Thread(target=server.serve, daemon=True).start()
    while not server.ready:
        time.sleep(0.01)
    line.send(server.bind_addr[1])
    while line.recv():
        line.send(time.process_time())
    server.stop()


class Candidate:
    """One kind of request to one server."""

    def __init__(self, line: Connection, port: int, method: str, path: str, form: dict[str, str]) -> None:
        self.line, self.port, self.method, self.path = line, port, method, path
        self.body = urlencode(form) if form else None
        self.taken: list[float] = []
        self.bytes = 0

    def round(self, times: int, *, counts: bool) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self.port)
        headers = {"Accept-Encoding": "gzip"}
        if self.body:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        begun = self._cpu()
        for _ in range(times):
            connection.request(self.method, self.path, self.body, headers)
            reply = connection.getresponse()
            self.bytes = len(reply.read())
            if reply.status != 200:
                raise SystemExit(f"{self.method} {self.path}: {reply.status}")
        if counts:
            self.taken.append((self._cpu() - begun) / times)
        connection.close()

    def _cpu(self) -> float:
        self.line.send(True)
        return float(self.line.recv())


def main(rounds: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "demo-out"
        for _ in run_demo(folder):
            pass
        with Shop(folder) as shop:
            code = shop.issue("worn-battery").link.partition("#")[2]
        published = folder / "published"
        line, other = multiprocessing.Pipe()
        process = multiprocessing.get_context("spawn").Process(target=serving, args=(published, other))
        process.start()
        port, form = line.recv(), {"code": code}
        candidates = {
            "bare GET": Candidate(line, port, "GET", "/bare", {}),
            "the empty page": Candidate(line, port, "GET", "/v", {}),
            "bare POST": Candidate(line, port, "POST", "/bare", form),
            "an opened code": Candidate(line, port, "POST", "/v/open", form),
            "the same without scripts": Candidate(line, port, "POST", "/v", form),
            "the same as PDF": Candidate(line, port, "POST", "/v/paper", form),
        }
        for turn in range(rounds + 1):  # the first round fills what is kept and does not count
            for candidate in candidates.values():
                candidate.round(AT_ONCE, counts=turn > 0)
        line.send(False)
        process.join()
    found = {key: statistics.median(candidate.taken) for key, candidate in candidates.items()}
    print(
        f"a bare page: GET {found['bare GET'] * 1e6:.0f} µs, POST {found['bare POST'] * 1e6:.0f} µs of the"
        f" server's CPU, medians of {rounds} rounds of {AT_ONCE}; everything below in bare pages"
    )
    for key, aim in (
        ("the empty page", "aim: at most 1.5"),
        ("an opened code", "aim: at most 3"),
        ("the same without scripts", ""),
        ("the same as PDF", ""),
    ):
        base = found["bare GET" if key == "the empty page" else "bare POST"]
        size = candidates[key].bytes / 1000
        print(f"  {key:<28} {found[key] / base:6.2f}   {size:6.1f} kB on the wire   {aim}".rstrip())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 15)
