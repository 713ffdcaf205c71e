"""What tests of the whole do again and again: say a command, serve a shop, change a visit file, read things
back.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from unittest import mock

import attrs
import pypdf

from corekit.cli import main
from corekit.desk.settings import PUBLISHED
from corekit.reference import data_path
from corekit.share.published import PublishedFolder
from corekit.web.page_app import page_app

#: A command of its own process, without the script that an installation puts beside Python.
COREKIT = [sys.executable, "-c", "import sys; from corekit.cli import main; sys.exit(main())"]
JOBS = {path.stem.partition("-")[2]: path for path in sorted((data_path("demo") / "jobs").glob("*.toml"))}


@attrs.frozen
class Said:
    """What a command answered: exit code, both streams."""

    code: int
    out: str
    err: str

    @property
    def words(self) -> str:
        """Everything it said, in one line, so that a line break never hides a sentence."""
        return " ".join((self.out + " " + self.err).split())


def corekit(*words: str | Path, shop: Path | None = None, answer: str = "") -> Said:
    """Say a command in this process. `answer` is what the person types when asked; nothing is a closed input.

    Fails at once when the answer shows a traceback, whatever was asked.
    """
    named = [*map(str, words), *(["--shop", str(shop)] if shop else [])]
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch("sys.stdin", io.StringIO(answer)),
    ):
        code = main(named)
    said = Said(code, out.getvalue(), err.getvalue())
    assert "Traceback" not in said.words, said
    assert "its own fault" not in said.words, said
    return said


def refused(said: Said, *parts: str, code: int = 1) -> Said:
    """A refusal: its exit code, one clear text on the error stream, and in it every part."""
    assert said.code == code, said
    for part in parts:
        assert part in said.words, said
    return said


def done(said: Said) -> Said:
    assert said.code == 0, said
    return said


def checked(visit: str | Path, shop: Path | None = None) -> dict[str, Any]:
    """`corekit check --json`: the one object that it prints."""
    return dict(json.loads(done(corekit("check", visit, "--json", shop=shop)).out))


def edited(text: str, *changes: tuple[str, str]) -> str:
    """A visit file with some of its text exchanged; each old text must stand in it exactly once."""
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the file"
        text = text.replace(old, new)
    return text


def real(text: str) -> str:
    """A demo's visit file as a real one."""
    return re.sub(r"(?m)^demo\s*= true.*\n", "", text)


def written(folder: Path, text: str, name: str = "visit.toml") -> Path:
    path = folder / name
    path.write_text(text, "utf-8")
    return path


# ---- real shops


#: Where a shop of the tests says that its page is.
PAGE = "https://pages.example.org"


def pages_of(
    folder: Path, *, now: Callable[[], datetime] = lambda: datetime.now(UTC)
) -> Callable[[str, dict[str, str] | None, float], tuple[int, str]]:
    """What a reader is answered at `PAGE` while the shop's published folder is served there; takes the place
    of `corekit.share.reader.asked`.
    """
    published = PublishedFolder(folder / PUBLISHED)
    client = page_app(published, bearer=None, demo=False, base=PAGE, now=now).test_client()

    def asked(address: str, form: dict[str, str] | None, timeout: float) -> tuple[int, str]:
        assert address.startswith(PAGE)
        path = address.removeprefix(PAGE)
        answer = client.get(path) if form is None else client.post(path, data=form)
        return answer.status_code, answer.text

    return asked


#: Where nobody says whose law holds, an invoice with tax carries the shop's tax number.
NUMBERED = ("--tax-number", "TEST-TAX-0001")


def found_shop(folder: Path, *, page: str = PAGE, law: tuple[str, ...] = NUMBERED) -> Path:
    """A shop as `corekit init` sets it up, with the demo's prices and meter."""
    pages = ["--page", page] if page else []
    done(
        corekit(
            "init",
            folder,
            "--name",
            "Test Repairs",
            "--address",
            "2 Invented Lane",
            "--currency",
            "eur",
            *law,
            *pages,
        )
    )
    shutil.copy(data_path("demo") / "shop" / "prices.toml", folder)
    demo = (data_path("demo") / "shop" / "shop.toml").read_text("utf-8")
    with (folder / "shop.toml").open("a", encoding="utf-8") as shop:
        shop.write("\n" + demo[demo.index("[instruments.meter]") :])
    return folder


# ---- what the demo's files say


def told_in(job: str) -> dict[str, Any]:
    """A demo's visit file as data."""
    return tomllib.loads(JOBS[job].read_text("utf-8"))


def persons_in(job: str) -> list[str]:
    """All that a demo's visit file says of a person: names, phones, addresses, plate, full VIN, what was
    description, the complaint.
    """
    data = told_in(job)
    vehicle = {key: data["vehicle"].get(key) for key in ("plate", "vin", "description")}
    return [text for text in (data["reason"], *data.get("customer", {}).values(), *vehicle.values()) if text]


def estimates_in(job: str) -> list[str]:
    """Printed names of the estimates that a demo's visit file approves."""
    return [step["approved"]["estimate"] for step in told_in(job)["step"] if "approved" in step]


def invoice_of(job: str, shop: Path) -> Path:
    """The paper of a demo's job: numbers follow the order of the files."""
    (paper,) = (shop / "papers").glob(f"invoice-*-A{list(JOBS).index(job) + 1:04}.pdf")
    return paper


def estimate_of(job: str, estimate: str, shop: Path) -> Path:
    """The paper of an estimate of a job, by the names that people give both."""
    (paper,) = (shop / "papers").glob(f"estimate-{job}-*-{estimate.replace(' ', '-')}.pdf")
    return paper


# ---- papers and pages


def paper_text(pdf: Path | bytes) -> str:
    """The text layer of a paper, page after page, without the hyphens that part a word at a line's end: what
    is typed as one is shown by its code.
    """
    file = io.BytesIO(pdf) if isinstance(pdf, bytes) else pdf
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(file).pages).replace("\u00ad", "")


def squeezed(text: str) -> str:
    """Without white: where a line was broken says nothing about what stands there."""
    return re.sub(r"\s+", "", text)


def document_texts(data: Any) -> Iterator[str]:
    """Every text that the blocks of a Document (as data) print, in their order; persons, names of fields and
    figures' bones left out.
    """
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for key, item in data.items():
            if key not in ("is", "strip", "figure", "tone", "document_id", "personal", "hash"):
                yield from document_texts(item)
    elif isinstance(data, list):
        for item in data:
            yield from document_texts(item)


# ---- serving


@contextlib.contextmanager
def serving(folder: Path, *words: str) -> Iterator[str]:
    """`corekit serve` on a free port, of the shop in a folder unless other words say what to serve; gives its
    address. It ends with the block.
    """
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    log = (folder.parent / "serve.log").open("w+", encoding="utf-8")
    command = [*COREKIT, "serve", *(words or ("--shop", str(folder))), "--port", str(port)]
    server = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, env={**os.environ})
    try:
        _wait_for(server, port, log)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        try:
            server.wait(10)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait(10)
        log.close()


def _wait_for(server: subprocess.Popen[bytes], port: int, log: io.TextIOWrapper) -> None:
    for _ in range(400):
        if server.poll() is not None:
            log.seek(0)
            raise AssertionError(f"the server ended before it answered: {log.read()}")
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            return
        time.sleep(0.05)
    raise AssertionError("the server never listened")


def at(link: str, address: str) -> str:
    """A demo's link on the port where the test serves."""
    return link.replace("http://127.0.0.1:8741", address)


# ---- visit files as data


@attrs.frozen
class Typed:
    """One reading of a visit file: where it stands, which measurand, what was typed."""

    job: str
    step: int
    row: int | None  # among the step's readings; None for a setup
    of: str
    typed: str
    with_: str = ""

    @property
    def name(self) -> str:
        row = "setup" if self.row is None else f"reading{self.row}"
        return f"{self.job}-step{self.step}-{row}-{self.of.partition('.')[2]}"


def readings_of(job: str) -> Iterable[Typed]:
    """Every reading in a demo's visit file, those of setups too."""
    for place, step in enumerate(told_in(job)["step"]):
        for of, typed in step.get("setup", {}).items():
            yield Typed(job, place, None, of, typed)
        for row, reading in enumerate(step.get("readings", ())):
            yield Typed(job, place, row, reading["of"], reading["is"], reading.get("with", ""))


def with_reading(reading: Typed, text: str) -> bytes:
    """The visit file, as JSON, with this one reading changed (and confirmed, so that odd values pass the
    question).
    """
    data = told_in(reading.job)
    step = data["step"][reading.step]
    if reading.row is None:
        step["setup"][reading.of] = {"is": text, "confirmed": True}
    else:
        step["readings"][reading.row] |= {"is": text, "confirmed": True}
    return json.dumps(data).encode()
