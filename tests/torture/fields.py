"""Hostile strings × every field that somebody types × whatever shows it.

A job is filled in twice: with a harmless text in each field, which shows where each is seen, and with the
hostile one. Each field must then be seen wherever it was seen before, as what it is; or be refused where it
comes in.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import io
import json
import multiprocessing
import os
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import Any

import attrs
import jinja2

from corekit.cli import books
from corekit.desk.assessment_data import as_data
from corekit.desk.assessment_text import as_words
from corekit.desk.check import look
from corekit.desk.jobs import texts_of
from corekit.desk.ledger import as_csv, ledger
from corekit.desk.receipts import receipt_for
from corekit.desk.rows import add_rows, job_with, withdraw_entry
from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.errors import CorekitError
from corekit.model.document import to_data
from corekit.model.money import Money
from corekit.output import as_json
from corekit.reference import data_path
from corekit.report.page import render_page
from corekit.report.personal_text import resolver
from corekit.report.terminal import render_text
from corekit.report.text import clean
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.signs import visible

from .counts import Counts
from .hostile import STRINGS
from .strings import RAW, Tags, paper_texts, read_html, squeezed
from .work import plugins

_LONGEST = 120  # characters; a longer text is cut in a list and goes on over a sheet's end on paper
_PLAIN = "Plain words"
Say = Callable[[str], str]


def _toml(text: str) -> str:
    """As a basic string of TOML 1.0, which escapes what JSON does, and DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _shop_files(folder: Path, say: Say) -> None:
    folder.mkdir(parents=True)
    settings = {
        "name": say("shop name"),
        "address": [say("shop street"), say("shop town")],
        "contact": say("shop contact"),
        "tax_id": say("shop tax number"),
        "guarantee": say("guarantee"),
        "pays_by": say("how to pay"),
    }
    written = "\n".join(
        f"{key} = {_toml(value) if isinstance(value, str) else '[' + ', '.join(map(_toml, value)) + ']'}"
        for key, value in settings.items()
    )
    (folder / "shop.toml").write_text(f'{written}\npage = "http://127.0.0.1:8741"\npublish = "published"\n')
    prices = (data_path("demo") / "shop" / "prices.toml").read_text("utf-8")
    part = _toml(say("part of the price list"))
    (folder / "prices.toml").write_text(prices.replace('"Terminal protection"', part), "utf-8")
    create_shop(folder, demo=True)


def _begun(say: Say) -> dict[str, Any]:
    return {
        "job": say("name of the job"),
        "reason": say("reason"),
        "vehicle": {
            "plate": say("plate"),
            "description": say("vehicle"),
            "no_vin": say("why no VIN"),
        },
        "customer": {
            name: say(f"customer's {name}") for name in ("name", "phone", "address", "email", "tax_number")
        },
    }


def _looked(say: Say) -> dict[str, Any]:
    own = say("work of the shop's own")
    return {
        "specification": [
            {
                "of": "battery.charging_voltage",
                "low": "14.2 V",
                "high": "14.9 V",
                "from": say("limit's source"),
            }
        ],
        "step": [
            {"remarked": {"words": say("remark")}},
            {
                "seen": [
                    {"of": "battery.case", "words": say("what was seen")},
                    {"of": "battery.terminals", "cannot": say("why it cannot be seen")},
                ]
            },
            {"codes": {"cannot": say("why no codes")}},
            {"readings": [{"of": "battery.open_circuit_voltage", "is": "12.6 V"}]},
            {
                "tried": {
                    "part": "battery.battery",
                    "how": "Moved by hand",
                    "result": "Something else (in words)",
                    "words": say("words to what was tried"),
                }
            },
            {
                "planned": {
                    "on": "2026-12-01",
                    "time": "09:00",
                    "place": say("where"),
                    "what": say("what for"),
                }
            },
            {"recalled": {"on": "2027-06-01", "what": say("what to come back for")}},
            {"requested": {"operation": "battery.clean_contacts", "ground": "customer"}},
            {"requested": {"work": own, "ground": "customer", "because": say("why own work")}},
            {
                "priced": {
                    "operation": own,
                    "hours": "0.5",
                    "parts": [
                        {
                            "name": say("part"),
                            "number": say("part number"),
                            "price": "3.00",
                            "quantity": "1",
                            "condition": "new",
                        }
                    ],
                }
            },
        ],
    }


def _done(say: Say) -> dict[str, Any]:
    own = say("work of the shop's own")
    return {
        "step": [
            {"repaired": {"operation": "battery.clean_contacts", "cause": say("cause")}},
            {"serviced": {"work": own}},
            {"discounted": {"operation": own, "percent": "10", "because": say("why less")}},
        ]
    }


FIELDS: list[str] = []


def _names() -> list[str]:
    """Every field that the job above holds."""
    if not FIELDS:

        def say(name: str) -> str:
            if name not in FIELDS:
                FIELDS.append(name)
            return ""

        FIELDS.extend(_OF_SHOP)
        for rows in (_begun, _looked, _done):
            rows(say)
        FIELDS.extend(_SINGLE)
    return FIELDS


_OF_SHOP = (
    *("shop name", "shop street", "shop town", "shop contact", "shop tax number", "guarantee"),
    *("how to pay", "part of the price list"),
)
_SINGLE = ("words of approval", "how it was paid", "why it was withdrawn")


def _marked(number: int, text: str) -> str:
    """The text between two signs that tell the field."""
    return f"q{number}z{text}z{number}q"


@attrs.frozen
class Shown:
    """What an output holds: its text, or its texts; and what is wrong with it as a whole."""

    texts: tuple[str, ...]
    fault: str = ""

    @property
    def squeezed(self) -> str:
        return "\n".join(map(squeezed, self.texts))


def _paper(pdf: bytes) -> Shown:
    acts = any(sign in pdf for sign in (b"/JavaScript", b"/OpenAction", b"/URI"))
    return Shown(paper_texts(pdf), "it holds an action" if acts else "")


_HARMLESS = re.compile(r"(?:/|#|\?|tel:|sms:|geo:|mailto:|http://127\.0\.0\.1|data:image/svg)")


def _page(html: str) -> tuple[Shown, Tags]:
    tags = read_html(html)
    odd = {name for _, names in tags.tags for name in names if name.startswith("on")}
    leads = [address for address in tags.addresses if address and not _HARMLESS.match(address)]
    fault = f"attributes {sorted(odd)}" if odd else f"it leads to {leads[:2]}" if leads else ""
    return Shown(("".join(tags.texts),), fault), tags


def _terminal(words: str) -> Shown:
    told = visible(words)
    return Shown((re.sub(r"(?m)^[!|] ?", "", told),), "it steers" if RAW.search(told) else "")


def _data(value: Any) -> Shown:
    written = as_json(value)
    texts: list[str] = []
    waiting = [json.loads(written)]
    while waiting:
        item = waiting.pop()
        if isinstance(item, str):
            texts.append(item)
        elif isinstance(item, dict):
            waiting += [*item, *item.values()]
        elif isinstance(item, list):
            waiting += item
    return Shown(tuple(texts), "it is not plain" if RAW.search(written) else "")


def _table(written: str) -> Shown:
    cells = [cell for row in csv.reader(io.StringIO(written, newline="")) for cell in row]
    numeric = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")
    odd = [cell for cell in cells if cell[:1] in tuple("=+-@＝＋－＠\t\r") and not numeric.fullmatch(cell)]
    return Shown(tuple(cells), f"a formula: {odd[0][:20]!r}" if odd and odd[0] else "")


SCREENS = (
    "/", "/day", "/find?q=q", "/shop", "/job/{}", "/job/{}/arrive", "/job/{}/hazards", "/job/{}/tests",
    "/job/{}/explain", "/job/{}/causes", "/job/{}/estimate", "/job/{}/repair", "/job/{}/requested",
    "/job/{}/hand", "/job/{}/record", "/job/{}/tried", "/job/{}/plan", "/job/{}/before", "/job/{}/own",
    "/job/{}/photos", "/job/{}/log", "/job/{}/end", "/job/{}/leave", "/job/{}/way", "/job/{}/codes",
)  # fmt: skip


@lru_cache(maxsize=1)
def _templates() -> jinja2.BytecodeCache:
    return jinja2.FileSystemBytecodeCache(tempfile.mkdtemp(prefix="corekit-templates-"))


def outputs(folder: Path, say: Say) -> tuple[dict[str, Shown], dict[str, Tags]]:
    """A job with these texts from the call to the receipt, and everything that shows it.

    Raises:
        CorekitError: a text was refused.
    """
    shutil.rmtree(folder, ignore_errors=True)
    _shop_files(folder, say)
    found: dict[str, Shown] = {}
    pages: dict[str, Tags] = {}
    with Shop(folder, plugins=plugins()) as shop:
        context = shop.context
        file = folder / "visit.json"
        file.write_text(json.dumps({**_begun(say), "demo": True}, ensure_ascii=False), "utf-8")
        job = shop.import_visit(file)
        looked = add_rows(context, job, _looked(say), request_id="request-0000000000000002")
        read = next(entry for entry in looked.entries if entry.kind == "measured")
        withdraw_entry(
            context, job, read.id, say("why it was withdrawn"), request_id="request-0000000000000003"
        )
        estimate = shop.estimate(job, "repair")
        shop.approve(estimate, by="customer", how="in person", words=say("words of approval"))
        add_rows(context, job, _done(say), request_id="request-0000000000000004")
        invoice = shop.issue(job)
        shop.pay(job, Money(1000, "EUR"), say("how it was paid"))
        receipt = receipt_for(context, job)
        texts = resolver(texts_of(context, shop.store.job(job)))
        papers: dict[str, Any] = {"estimate": estimate, "invoice": invoice, "receipt": receipt}
        for name, paper in papers.items():
            found[f"{name} as PDF"] = _paper(paper.pdf.read_bytes())
            document = paper.document
            # So wide that no line of a label stands between two of its text.
            found[f"{name} in the terminal"] = _terminal(render_text(document, texts, None, width=4000))
            found[f"{name} as page"], pages[name] = _page(render_page(document, texts, None))
            found[f"{name} as data"] = _data(to_data(document))
        found["books as CSV"] = _table(as_csv(ledger(context)))
        app = work_app(Van(context), NoAuth())
        app.jinja_env.bytecode_cache = _templates()  # half the time went into reading the same templates
        browser = app.test_client()
        for path in (*SCREENS, f"/job/{{}}/record/{read.id}"):
            answer = browser.get(path.format(job), follow_redirects=True)
            path = path.replace(read.id, "ID")
            shown, pages[path] = _page(answer.get_data(as_text=True))
            found[path] = shown if answer.status_code < 500 else Shown((), f"status {answer.status_code}")
    seen = look(job, is_file=False, folder=folder)
    found["check in the terminal"] = _terminal(as_words(seen, uncertainty=True))
    found["check as JSON"] = _data(as_data(seen))
    told = io.StringIO()
    with contextlib.redirect_stdout(told):
        parser = argparse.ArgumentParser()
        parser.add_argument("--shop")
        books.arguments(parser)
        books.run(parser.parse_args(["--shop", str(folder)]))
    found["books in the terminal"] = _terminal(told.getvalue())
    return found, pages


class _Bench:
    """A job with harmless texts, at which each field alone is tried."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        _shop_files(folder / "shop", _plain)
        self.shop = Shop(folder / "shop", plugins=plugins())
        context = self.shop.context
        begun = {key: rows for key, rows in _begun(_plain).items() if key != "job"}
        self.job = add_rows(context, None, begun, request_id="request-0000000000000001").job
        add_rows(context, self.job, _looked(_plain), request_id="request-0000000000000002")

    def takes(self, chosen: str, typed: str) -> bool:
        """Whether the field takes the text."""

        def say(name: str) -> str:
            return _marked(_names().index(name), typed if name == chosen else _PLAIN)

        try:
            if chosen in (*_SINGLE, "name of the job"):
                outputs(self.folder / "single", say)
            elif chosen in _OF_SHOP:
                shutil.rmtree(self.folder / "other", ignore_errors=True)
                _shop_files(self.folder / "other", say)
                Shop(self.folder / "other", plugins=plugins()).close()
            else:
                for job, rows in ((None, _begun), (self.job, _looked), (self.job, _done)):
                    asked: list[str] = []
                    rows(lambda name, asked=asked: asked.append(name) or "")  # type: ignore[misc]
                    if chosen in asked:
                        said = {key: row for key, row in rows(say).items() if key != "job"}
                        job_with(self.shop.context, job, said)
        except CorekitError as error:
            assert str(error).strip()
            return False
        return True


def _plain(name: str) -> str:
    return _marked(_names().index(name), _PLAIN)


def fields(count: int, folder: Path) -> Counts:
    """`count` of the strings through every field of a job and its shop, into every output; shared by the
    processors there are.
    """
    counts = Counts("hostile strings in every field")
    folder.mkdir(parents=True, exist_ok=True)
    chosen = STRINGS[:: max(1, len(STRINGS) // count)]
    plugins()  # loaded before the processes part
    many = min(os.cpu_count() or 1, len(chosen)) if hasattr(os, "fork") else 1
    shares = [(chosen[first::many], folder / str(first)) for first in range(many)]
    if many == 1:
        parts = [_share(*share) for share in shares]
    else:
        with ProcessPoolExecutor(many, multiprocessing.get_context("fork")) as pool:
            parts = list(pool.map(_share, *zip(*shares, strict=True)))
    counts.notes = parts[0].notes
    for part in parts:
        counts.tries += part.tries
        counts.seen += part.seen
        counts.wrong += part.wrong
    shutil.rmtree(folder, ignore_errors=True)
    return counts


def _share(chosen: Sequence[str], folder: Path) -> Counts:
    counts = Counts("a share")
    control, known = outputs(folder / "control", _plain)
    where = {
        output: [
            number for number in range(len(_names())) if _marked(number, squeezed(_PLAIN)) in shown.squeezed
        ]
        for output, shown in control.items()
    }
    counts.wrong += [
        f"{output}: {shown.fault} on the control" for output, shown in control.items() if shown.fault
    ]
    bench = _Bench(folder / "bench")
    unseen = [
        name for number, name in enumerate(_names()) if not any(number in seen for seen in where.values())
    ]
    counts.notes.append(
        f"{len(_names())} fields, {len(control)} outputs; shown nowhere: {', '.join(unseen) or 'none'}"
    )
    for typed in chosen:
        _one(typed[:_LONGEST], folder, bench, (where, known), counts)
    bench.shop.close()
    return counts


def _one(
    typed: str,
    folder: Path,
    bench: _Bench,
    control: tuple[Mapping[str, list[int]], Mapping[str, Tags]],
    counts: Counts,
) -> None:
    where, known = control
    if "\ud800" in typed:  # no encoding can write it, so no file or form can bring it
        counts.seen["refused"] += len(_names())
        return
    taken = set(_names())
    try:
        found, pages = outputs(folder / "hostile", lambda name: _marked(_names().index(name), typed))
    except CorekitError:
        taken = {name for name in _names() if bench.takes(name, typed)}
        counts.seen["refused"] += len(_names()) - len(taken)
        try:
            found, pages = outputs(
                folder / "hostile",
                lambda name: _marked(_names().index(name), typed if name in taken else _PLAIN),
            )
        except CorekitError as error:
            counts.wrong.append(f"taken where it came in, refused later: {typed[:40]!r}: {str(error)[:80]}")
            return
    same = unicodedata.normalize("NFC", typed)  # as it is kept: to Unicode these are one text (UAX #15)
    shapes = {squeezed(one) for one in (typed, same, clean(typed), visible(typed), clean(visible(typed)))}
    for output, shown in found.items():
        if shown.fault:
            counts.wrong.append(f"{output}: {shown.fault} on {typed[:40]!r}")
        held = shown.squeezed
        for number in where[output]:
            name = _names()[number]
            if name not in taken:
                continue
            counts.tries += 1
            kind = output if " as " in output or " in " in output else "screens"
            if any(_marked(number, shape) in held for shape in shapes):
                counts.seen[f"literal: {kind}"] += 1
            elif "PDF" in output and any(_codes(number, shape, held) for shape in shapes):
                counts.seen[f"by the code of a letter that no face has: {kind}"] += 1
            else:
                counts.wrong.append(f"{output}: {name} is not literal: {typed[:40]!r}")
    for path, tags in pages.items():
        if tags.count("script") != known[path].count("script") or tags.count("iframe"):
            counts.wrong.append(f"{path}: other scripts or frames than the control on {typed[:40]!r}")


def _codes(number: int, shape: str, held: str) -> bool:
    """Whether the field stands there with some of its signs as `[U+1F600]`."""
    wanted = "".join(f"(?:{re.escape(sign)}|\\[U\\+{ord(sign):04X}\\])" for sign in shape)
    return re.search(re.escape(f"q{number}z") + wanted + re.escape(f"z{number}q"), held) is not None
