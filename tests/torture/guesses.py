"""Guessed codes against the page server over real lines, with honest customers in between."""

from __future__ import annotations

import http.client
import random
import secrets
import threading
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from corekit.model.document import Document, DocumentKind, Pairs
from corekit.share.link import token, token_hash
from corekit.share.published import PublishedFolder, seal_envelope
from corekit.web.page_app import page_app
from corekit.web.pages import page_server
from corekit.web.server import running

from .counts import Counts

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"


def _document(number: int) -> Document:
    return Document(
        id=f"d{number}",
        kind=DocumentKind.INVOICE,
        title=f"Invoice {number}",
        number=str(number),
        shop="Example Mobile Repairs",
        issued="1 July 2026",
        currency="EUR",
        total="60.00",
        blocks=(Pairs(rows=(("Vehicle", ("a small van",)),)),),
    )


def guesses(count: int, folder: Path, seed: int = 9, *, guessers: int = 6) -> Counts:
    """So many guesses from several lines at once; customers with right codes ask all the while."""
    counts = Counts("guessed codes")
    published = PublishedFolder(folder / "published")
    key, now = secrets.token_bytes(32), datetime.now(UTC)
    codes = [token(key, f"d{number}", 1) for number in range(40)]
    for number, code in enumerate(codes):
        published.put(token_hash(code), seal_envelope(_document(number), published=now))
    app = page_app(published, bearer=None, demo=False, base="https://pages.example.org")
    lock, over = threading.Lock(), threading.Event()
    statuses: dict[int, int] = {}
    honest: list[float] = []

    def ask(line: http.client.HTTPConnection, code: str) -> int:
        line.request(
            "POST",
            "/v/open",
            f"code={code}",
            {"Content-Type": "application/x-www-form-urlencoded", "Host": "pages.example.org"},
        )
        answer = line.getresponse()
        answer.read()
        return answer.status

    with running(page_server(app, port=0)) as server:

        def guess(own: int) -> None:
            draws = random.Random(seed * 1000 + own)
            with closing(http.client.HTTPConnection(*server.bind_addr, timeout=60)) as line:
                for _ in range(count // guessers):
                    status = ask(line, "".join(draws.choices(_LETTERS, k=26)))
                    with lock:
                        statuses[status] = statuses.get(status, 0) + 1

        def customer() -> None:
            draws = random.Random(seed)
            while not over.is_set():
                began = time.monotonic()
                with closing(http.client.HTTPConnection(*server.bind_addr, timeout=60)) as line:
                    status = ask(line, draws.choice(codes))
                honest.append(time.monotonic() - began)
                if status != 200:
                    counts.wrong.append(f"a right code was answered {status}")
                over.wait(0.05)

        threads = [threading.Thread(target=guess, args=(own,)) for own in range(guessers)]
        asking = threading.Thread(target=customer)
        for thread in (*threads, asking):
            thread.start()
        for thread in threads:
            thread.join()
        over.set()
        asking.join()
    counts.tries = sum(statuses.values())
    counts.seen.update({f"answered {status}": number for status, number in statuses.items()})
    counts.seen["right codes, all answered"] = len(honest)
    if statuses.get(200):
        counts.wrong.append(f"{statuses[200]} guesses opened something")
    if set(statuses) - {404, 429}:
        counts.wrong.append(f"guesses were answered {sorted(statuses)}")
    if honest:
        counts.notes.append(
            f"customers waited {sorted(honest)[len(honest) // 2] * 1000:.0f} ms, at most {max(honest):.2f} s"
        )
    return counts
