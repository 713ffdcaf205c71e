"""Ten years of jobs: every verb and every screen touches as much among 3,000 jobs as among 150.

What is counted are rows, entries and journals, not seconds, so that it holds on any machine.
"""

from __future__ import annotations

import base64
import io
import shutil
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import attrs
import flask
import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from corekit.cli.command import VERBS
from corekit.desk.setup import Answers, set_up
from corekit.desk.shop import Shop
from corekit.model.entry import Draft
from corekit.model.personal import PersonalText
from corekit.model.records import Paid, PaymentTaken, body_of
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.store.store import Store

from ..many_jobs import Touched, counted, drafts_of, grown
from ..screens.everywhere import STANDS, Skeleton, forms_of, photo
from .chain import JOBS, corekit, edited, written

#: So many that every page of a list is full, and many times that.
FEW, MANY = 150, 3000
#: What a search in a tree may cost more among twenty times as many rows.
DEEPER = 1.35
#: Where the screens' own jobs stand, so that every address has something to show.
STAND = ("photographed", "found", "repair estimated", "to show", "paid later", "together", "together to come")


@attrs.frozen
class Shops:
    """The same shop among few and among many other jobs."""

    few: Path
    many: Path
    jobs: dict[str, str]

    def __iter__(self) -> Iterator[Path]:
        yield from (self.few, self.many)


@pytest.fixture(scope="module")
def shops(demo_out: Path, tmp_path_factory: pytest.TempPathFactory) -> Shops:
    folder = tmp_path_factory.mktemp("many")
    base = Path(shutil.copytree(demo_out, folder / "base"))
    with Shop(base) as shop:
        jobs = {name: STANDS[name](shop) for name in STAND}
    for name, count in (("few", FEW), ("many", MANY)):
        shutil.copytree(base, folder / name)
        with Shop(folder / name) as shop:
            grown(shop.context, count)
    return Shops(folder / "few", folder / "many", jobs)


LAST = PersonalText("plate", "YY 22")
DEPOSIT: Mapping[str, Any] = {"amount": 1731, "currency": "EUR", "how": "cash"}

#: What nobody may do who answers a question about one job or one page of a list.
LOOKS: dict[str, Callable[[Store], object]] = {
    "the names of all": lambda store: store.jobs(),
    "every journal": lambda store: [store.journal(job) for job in store.jobs()],
    "all books": lambda store: store.books(),
    "rows that are only counted": lambda store: store._connection.execute(
        "SELECT count(*) FROM entry WHERE recorded > ''"
    ).fetchall(),
}


def same(few: Touched, many: Touched, what: str) -> None:
    """As much is touched among many jobs as among few."""
    assert many.journals == few.journals, f"{what} reads {many.journals} journals and not {few.journals}"
    assert many.entries == few.entries, f"{what} reads {many.entries} entries and not {few.entries}"
    assert many.rows <= few.rows, f"{what} reads {many.rows} rows and not {few.rows}"
    assert many.steps <= DEEPER * few.steps, f"{what}: {many.steps} steps and not {few.steps}"


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
def test_a_look_at_all_jobs_is_found(shops: Shops, look: Callable[[Store], object]) -> None:
    found = []
    for folder in shops:
        with Shop(folder) as shop, counted(shop.store) as touched:
            look(shop.store)
        found.append(touched)
    with pytest.raises(AssertionError):
        same(*found, what="it")


# ---- verbs

NEW = "a-new-job"
#: Every step of a job, as the command line says it; VISIT stands for the visit file of a new one.
STEPS: tuple[tuple[str, ...], ...] = (
    ("check", "worn-battery"),
    ("add", "VISIT"),
    ("estimate", NEW),
    ("approve", NEW, "--total", "60.00", "--how", "by phone"),
    ("add", "VISIT"),
    ("add", "VISIT"),
    ("check", NEW),
    ("invoice", NEW, "--draft"),
    ("invoice", NEW, "--yes"),
    ("invoice", NEW),
    ("pay", NEW, "10.00"),
    ("receipt", NEW),
    ("writeoff", NEW, "1.00", "--because", "goodwill"),
    ("credit", NEW, "--because", "goodwill", "--yes"),
    ("refund", NEW, "10.00"),
    ("publish", NEW),
    ("publish",),
    ("links", "2026-A0001"),
    ("withdraw", "2026-A0001", "--yes"),
    ("forget", NEW, "--yes"),
)
#: Verbs that touch every job, or none, and why.
OTHERS = {
    "verify": "goes through everything, one job at a time",
    "backup": "copies everything, and verifies it",
    "sync": "reads how the chains end, and what is new on either side",
    "hand": "writes one entry into one job, as a payment does, and nothing into the books",
    "hub": "opens no store of a van",
    "restore": "copies everything, and verifies it",
    "restored": "reads how the chains end, of which there are as many as there were restored copies",
    "remind": "reads one job and the invoice it is on, as a receipt does, and refuses what is not overdue",
    "drawer": "is counted below, among jobs that were paid in cash",
    "books": "is counted below, in a time that has not all of the jobs",
    "change": "writes one entry into one job, as a payment does, and nothing into the books",
    "demo": "makes a shop of its own",
    "answers": "goes through the jobs that are open, for estimates that wait for an answer",
    "new-plugin": "writes a package and opens no store",
    "init": "makes a shop of its own",
    "work": "serves the screens, which are counted below",
    "practise": "makes a folder of its own, and serves the same screens",
    "serve": "serves published pages and opens no store",
    "calculate": "opens no store",
    "tables": "assesses every job, for its rows",
    "ask": "assesses every job, for the tables that it asks",
    "learn": "assesses every job, for the tables that it learns from",
    "export": "writes the paper of one invoice in another form, and nothing into the record",
    "read": "reads a log and writes into a visit file",
    "customers": "writes the shop's list of customers and opens no store",
    "person": "goes through the books for what one person paid, when asked for all that is kept",
    "open": "reads a paper and opens no store",
    "page": "writes keys and titles, and reads no job",
    "plugins": "opens no store",
}


def test_each_verb_is_counted_or_says_why_not() -> None:
    assert {step[0] for step in STEPS} | set(OTHERS) == set(VERBS)
    assert {step[0] for step in STEPS} & set(OTHERS) == set()


def test_each_verb_touches_as_much_among_many_jobs_as_among_few(shops: Shops, tmp_path: Path) -> None:
    told = JOBS["undecided"].read_text("utf-8")
    visit = written(
        tmp_path,
        edited(
            told,
            ('"undecided"', f'"{NEW}"'),
            ('how = "in person" }', 'how = "by phone" }'),
            ('[[step]]\npaid = { amount = "60.00", how = "cash" }', ""),
        ),
    )
    for step in STEPS:
        words = [str(visit) if word == "VISIT" else word for word in step]
        found = []
        for shop in shops:
            with counted() as touched:
                said = corekit(*words, shop=shop)
            assert said.code == 0 or "corekit estimate" in said.words, said
            found.append(touched)
        same(*found, what=f"corekit {' '.join(step)}")
        assert found[1].steps > 0, f"corekit {' '.join(step)} was not counted"


# ---- the books of a time, and the cash drawer

#: What is asked of the books; WHEN stands for a day that has the same jobs in both shops.
ASKED_OF_BOOKS: tuple[tuple[str, ...], ...] = (
    ("books", "WHEN"),
    ("books", "2019"),
    ("books", "WHEN", "--csv", "-"),
    ("books", "WHEN", "--pdf"),
    ("books", "WHEN", "--overdue"),
    ("books", "--find", "YY 22"),
    ("books", "--find", "few-1"),
    ("books", "--find", "17.31"),
    ("books", "--find", "WHEN"),
    ("drawer",),
    ("drawer", "--in", "20.00", "--because", "from the bank"),
    ("drawer", "--counted", "37.31"),
)


@pytest.fixture(scope="module")
def paid_shops(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A shop with few and with many jobs of 2021, all settled, and one of later that left a deposit."""
    found = []
    for count in (FEW, MANY):
        folder = tmp_path_factory.mktemp("paid") / "shop"
        set_up(folder, Answers(name="A Shop", address=("1 Lane",), currency="EUR", tax_id="T-1"))
        with Shop(folder) as shop:
            grown(shop.context, count, "2021-05-05T10:00:00Z")
        with Shop(folder, now=lambda: datetime(2026, 11, 28, 10, tzinfo=UTC)) as shop:
            said = {"opened": {"demo": False}, "vehicle": {"plate": LAST}}
            drafts = [
                attrs.evolve(one, body={**one.body, **said.get(one.kind, {})})
                for one in drafts_of("few-1", "Otto Sample")
            ]
            paid = Draft(kind="paid", subject="few-1:paid#1", body=body_of(Paid(**DEPOSIT)))
            with shop.store.transaction(shop.store.new_job()) as transaction:
                transaction.append([*drafts, paid])
                transaction.append_payment(shop.context.books_chain, PaymentTaken(**DEPOSIT))
        found.append(folder)
    return found[0], found[1]


@pytest.mark.parametrize("words", ASKED_OF_BOOKS, ids=" ".join)
def test_the_books_of_a_time_and_the_drawer_touch_as_much_among_many_jobs(
    paid_shops: tuple[Path, Path], words: tuple[str, ...]
) -> None:
    found, said = [], []
    for folder in paid_shops:
        with counted() as touched:
            said.append(corekit(*["2026-11-28" if word == "WHEN" else word for word in words], shop=folder))
        assert said[-1].code == 0, said[-1]
        found.append(touched)
    same(*found, what=f"corekit {' '.join(words)}")
    assert found[1].steps > 0
    if words not in (("books", "2019"), ("books", "WHEN", "--pdf"), ("books", "WHEN", "--overdue")):
        assert "17.31" in said[1].out or words[0] == "drawer"


def test_all_the_books_of_a_year_touch_more_where_that_year_has_more(paid_shops: tuple[Path, Path]) -> None:
    found = []
    for folder in paid_shops:
        with counted() as touched:
            assert corekit("books", "2021", shop=folder).code == 0
        found.append(touched)
    with pytest.raises(AssertionError):
        same(*found, what="it")


# ---- screens

#: Addresses behind which no store stands.
FILES = {"kept", "face", "manifest", "queue"}  # endpoints


@attrs.frozen
class Asked:
    """What is asked of the screens: a page, or with a form that is sent."""

    path: str
    form: Mapping[str, str | bytes] | None = None

    def of(self, client: FlaskClient) -> TestResponse:
        if self.form is None:
            return client.get(self.path)
        sent = {
            name: (io.BytesIO(value), "a.jpg") if isinstance(value, bytes) else value
            for name, value in self.form.items()
        }
        return client.post(self.path, data=sent)


def asked_of(app: flask.Flask, jobs: Mapping[str, str]) -> dict[tuple[str, str], Asked]:
    """Rule and method → one of what is asked by it, as it is found by following links; a form is filled in
    with a number.
    """
    client, adapter = app.test_client(), app.url_map.bind("")
    found: dict[tuple[str, str], Asked] = {}
    visited: set[tuple[str, str]] = set()
    to_see = ["/", "/new", "/reckon", "/find?q=DEMO-1", "/day"]
    to_see += [f"/job/{job}{at}" for job in jobs.values() for at in AT]
    while to_see:
        path = to_see.pop(0)
        matched, arguments = adapter.match(path.partition("?")[0], return_rule=True)
        job = arguments.get("job", "")
        if (matched.rule, job) in visited or matched.endpoint in FILES or job not in ("", *jobs.values()):
            continue
        visited.add((matched.rule, job))
        reply = client.get(path)
        if reply.status_code == 200:
            found.setdefault((matched.rule, "GET"), Asked(path))
        if reply.status_code == 303:
            found.setdefault((matched.rule, "GET"), Asked(path))
            to_see.append(reply.headers["Location"])
        elif reply.mimetype == "text/html":
            to_see += [link for link in Skeleton(reply.text).links if link.startswith("/")]
            for form in forms_of(reply.text):
                rule, _ = adapter.match(form.action.partition("?")[0], method="POST", return_rule=True)
                found.setdefault((rule.rule, "POST"), Asked(form.action, form.filled("5")))
    return found


#: A reading as a screen sends it.
READING = {
    "step[0].readings[0].of": "battery.open_circuit_voltage",
    "step[0].readings[0].is": "12.6 V",
    "answer": "an-answer-0123456789",
}
#: Where a look at each job begins.
AT = (
    "",
    "/hand",
    "/way",
    "/record",
    "/photos",
    "/back",
    "/deposit",
    "/leave",
    "/end",
    "/other-van",
    "/before",
    "/plan",
    "/own",
    "/causes",
    "/tests",
    "/systems",
    "/hazards",
    "/act/battery.charge",
    "/samples/battery.drain_log",
    "/retested",
    "/after/battery.cranking_voltage",
)


def test_each_screen_touches_as_much_among_many_jobs_as_among_few(shops: Shops) -> None:
    opened = [Shop(folder) for folder in shops]
    apps = [work_app(Van(shop.context), NoAuth()) for shop in opened]
    adapter = apps[0].url_map.bind("")
    try:
        asked = asked_of(apps[0], shops.jobs)
        looked, priced, issued = (shops.jobs[at] for at in ("found", "repair estimated", "paid later"))
        for path, form in (
            (f"/job/{looked}/try", READING),
            (f"/job/{looked}/answer", READING),
            (f"/job/{looked}/arrive/try", {"vehicle.plate": "DEMO-9", "customer.name": "Sample Keeper"}),
            (f"/job/{looked}/approve-shown", {"total": "1.00", "answer": "an-answer-0123456781"}),
            (f"/job/{looked}/offer", {"answer": "an-answer-0123456782"}),
            (f"/job/{priced}/approve/try", {}),
            (f"/job/{issued}/publish", {}),
            (f"/job/{looked}/other-van", {"van": "B", "answer": "an-answer-0123456783"}),
            (f"/job/{issued}/remind", {"answer": "a-reminder-0123456789"}),
            (f"/job/{looked}/log/file", {"log": b"Time [s];RPM\n0;0\n1;800\n2;800\n"}),
            (f"/job/{looked}/log/save", {"draft": "gone", "answer": "a-draft-0123456789"}),
            (f"/job/{issued}/arrived/none", {"answer": "an-answer-0123456780"}),
            (f"/job/{looked}/samples/battery.drain_log", {"answer": "a-record-0123456789"}),
            ("/scan", {"photo": base64.b64decode(photo())}),
            (f"/job/{looked}/photo", {"photo": base64.b64decode(photo()), "answer": "a-photo-0123456789"}),
            (f"/job/{looked}/photo/gone/choice", {"chosen": "yes", "answer": "a-choice-0123456789"}),
        ):
            rule, _ = adapter.match(path, method="POST", return_rule=True)
            asked[rule.rule, "POST"] = Asked(path, form)
        for (rule, method), one in sorted(asked.items()):
            found = []
            for shop, app in zip(opened, apps, strict=True):
                with counted(shop.store) as touched:
                    reply = one.of(app.test_client())
                assert reply.status_code in (200, 303, 422), f"{one.path}: {reply.status_code}"
                found.append(touched)
            same(*found, what=f"{method} {rule}")
    finally:
        for shop in opened:
            shop.close()
    there = {
        (rule.rule, method)
        for rule in apps[0].url_map.iter_rules()
        for method in (rule.methods or set()) & {"GET", "POST"}
        if rule.endpoint not in FILES
    }
    assert there - set(asked) == set(), "not counted"
