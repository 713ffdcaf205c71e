"""Papers at their limits: thirty lines and none to pay, names as long as they come, credit notes and
reminders, in both languages and on both sizes of paper. `pictures.py --papers` draws them.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Any
from unittest import mock

import attrs

from corekit.billing.credit import CreditAsked
from corekit.desk.books_paper import books_paper
from corekit.desk.crediting import credit
from corekit.desk.demo import run_demo
from corekit.desk.reminding import remind
from corekit.desk.rows import add_rows
from corekit.desk.settings import SHOP_FILE
from corekit.desk.setup import Answers, set_up
from corekit.desk.shop import Shop
from corekit.model.document import Document, from_data
from corekit.model.money import Money
from corekit.reference import data_path
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import resolver
from corekit.report.wording import theme

LANGUAGES, SIZES, LINES = ("en", "de"), ("A4", "letter"), 30
#: Longer than any name on a form; invented.
LONG = "Maximiliane-Theodora Musterfrau-Beispielhausen von und zu Langenhinterunterobersachsenfeld"
WORDS = (
    "You may cancel within fourteen days. Write to the shop at the address above; a form for it is attached."
    " What is done until then at your own wish is to be paid for."
)
_IDS = count()


def papers(folder: Path) -> Iterator[tuple[str, Document, dict[str, str]]]:
    """Name of each paper, the paper, and the personal texts on it."""
    for language in LANGUAGES:
        for name, document, texts in _of_own_work(folder / language, language):
            yield f"{language}-{name}", document, texts
        for name, document, texts in _of_the_demo(folder / f"demo-{language}", language):
            yield f"{language}-{name}", document, texts


def drawn(document: Document, texts: dict[str, str], size: str) -> bytes:
    """The paper as a PDF on this size of paper."""
    with mock.patch("corekit.report.pdf.theme", lambda: attrs.evolve(theme(), paper=size)):
        return render_pdf(document, resolver(texts), "https://pages.example/v#AAAAAAAAAAAAAAAAAAAAAAAAAA")


def _works() -> list[str]:
    return [
        f"Arbeit {n}: Zündanlage und Nebenaggregate {'gründlich ' * (n % 2)}prüfen"
        for n in range(1, LINES + 1)
    ]


def _prices() -> str:
    rows = "".join(
        f'[operations."{work}"]\nhours = "0.{n % 9 + 1}"\nparts = [ {{ name = "Ersatzteil {n}",'
        f' price = "{n}.95", quantity = "{n % 3 + 1}", condition = "new",'
        f' number = "NR-{n:04}-{"X" * (n % 20)}" }} ]\n'
        for n, work in enumerate(_works(), 1)
    )
    return (
        'currency = "EUR"\ntax = { rates = { standard = "19" }, default = "standard" }\n'
        'labour = { per_hour = "87.50" }\ncall_out = "25.00"\ndiagnosis = { price = "50.00" }\n' + rows
    )


def _of_own_work(folder: Path, language: str) -> Iterator[tuple[str, Document, dict[str, str]]]:
    moment = [datetime(2026, 11, 1, 12, tzinfo=UTC)]
    name = f"Werkstatt {LONG}"
    set_up(
        folder,
        Answers(name=name, address=(LONG, "Weg 1"), currency="EUR", tax_id="DE1", jurisdiction="DE"),
    )
    (folder / "prices.toml").write_text(_prices(), "utf-8")
    path = folder / SHOP_FILE
    told = path.read_text("utf-8").replace("due_days  = 0", "due_days  = 14")
    told = told.replace('contact = ""', 'contact = "0000 000000"')
    told = told.replace('iban      = ""', 'iban      = "BE72 0000 0000 1616"')
    path.write_text(f'language = "{language}"\nstatements = {{ cancellation = "{WORDS}" }}\n{told}', "utf-8")
    with Shop(folder, now=lambda: moment[0]) as shop:
        job = _begun(shop)
        for work in _works():
            _said(shop, job, requested={"work": work, "ground": "customer"})
        estimate = shop.estimate(job, "repair")
        yield "estimate of thirty", estimate.document, _texts(shop, job)
        declined = _works()[:2]
        shop.approve(
            estimate, by="customer", how="in person", declined=declined, cancellation="begin at once"
        )
        shop.pay(job, Money.of("100.00", "EUR"), "cash")
        for work in _works()[2:]:
            _said(shop, job, serviced={"work": work})
        _said(shop, job, old_parts="left with us")
        invoice = shop.issue(job)
        yield "invoice of thirty", invoice.document, _texts(shop, job)
        shop.pay(job, Money.of("10.00", "EUR"), "bank transfer")
        yield "receipt", shop.receipt(job).document, _texts(shop, job)
        moment[0] = datetime(2026, 12, 1, 12, tzinfo=UTC)
        yield "reminder", remind(shop.context, job).document, _texts(shop, job)
        part = CreditAsked(what=_works()[4], part="Ersatzteil 5", quantity=None)
        yield (
            "credit of a part",
            credit(shop.context, job, "a part was taken back", part).document,
            _texts(shop, job),
        )
        yield "credit note", credit(shop.context, job, "wrong price").document, _texts(shop, job)

        nothing = _begun(shop)
        looked = shop.estimate(nothing, "diagnosis")
        yield "estimate of the diagnosis", looked.document, _texts(shop, nothing)
        shop.approve(looked, by="customer", how="by phone", cancellation="urgent repair")
        for charge in ("call-out", "diagnosis"):
            _said(shop, nothing, waived={"charge": charge, "because": "goodwill"})
        yield "invoice of nothing", shop.issue(nothing).document, _texts(shop, nothing)
        yield "books", books_paper(shop.context, "2026-11"), {}


def _of_the_demo(folder: Path, language: str) -> Iterator[tuple[str, Document, dict[str, str]]]:
    """A job with findings, strips and curves, under long names and in the units of another shop."""
    source = folder / "source"
    shutil.copytree(data_path("demo") / "shop", source / "shop")
    (source / "jobs").mkdir(parents=True)
    told = (data_path("demo") / "jobs/1-worn-battery.toml").read_text("utf-8")
    told = re.sub(r'name *= *"[^"]*"', f'name = "{LONG}"', told, count=1)
    (source / "jobs/1-worn-battery.toml").write_text(told, "utf-8")
    path = source / "shop" / SHOP_FILE
    more = f'language = "{language}"\n' + ('units = ["mi", "°F", "psi", "in"]\n' if language == "en" else "")
    path.write_text(path.read_text("utf-8").replace("guarantee = ", f"{more}guarantee = ", 1), "utf-8")
    with mock.patch("corekit.desk.demo.data_path", lambda name: source):
        list(run_demo(folder / "out"))
    with Shop(folder / "out") as shop:
        (job,) = shop.store.jobs()
        for noted in shop.store.job(job).estimates:
            yield f"estimate {noted.record.name}", from_data(noted.record.document), _texts(shop, job)
        for entry in shop.store.books():
            if entry.kind == "invoice":
                yield "invoice of findings", from_data(entry.body["document"]), _texts(shop, job)


def _begun(shop: Shop) -> str:
    rows: dict[str, Any] = {
        "reason": "Bitte alles nachsehen, was in der Liste steht, und vorher anrufen, wenn etwas fehlt. " * 3,
        "vehicle": {"plate": "DEMO-1234567", "description": f"Kombi, {LONG}", "odometer": "198400 km"},
        "customer": {
            "name": LONG,
            "address": f"{LONG}, Weg 123, Hinterhaus",
            "phone": "0000 000000",
            "order_number": "PO-" + "9" * 30,
        },
    }
    return add_rows(shop.context, None, rows, request_id=f"a-request-of-a-paper-{next(_IDS):06}").job


def _said(shop: Shop, job: str, **step: object) -> None:
    add_rows(shop.context, job, {"step": [step]}, request_id=f"a-request-of-a-paper-{next(_IDS):06}")


def _texts(shop: Shop, job: str) -> dict[str, str]:
    return shop.store.texts(shop.store.job(job).persons())
