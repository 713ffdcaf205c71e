"""The office over all vans, by role: what each sees, what a call becomes, and that no other page writes."""

from __future__ import annotations

import io
import logging
import re
from collections.abc import Callable
from typing import Any

import attrs
import pypdf
import pytest
from flask.testing import FlaskClient

from corekit.hub import desk as desk_of_hub
from corekit.hub import people, record
from corekit.hub.app import Hub, hub_app
from corekit.hub.errors import HubError
from corekit.model.entry import Draft
from corekit.model.records import Paid, PaymentTaken, Planned, body_of
from corekit.reference import data_path

from ..screens.everywhere import forms_of
from ..screens.word_fields import WordField, all_fields_of_words
from ..store.conftest import reading, said
from ..store.writing import append, pay
from .conftest import VanAt

NewVan = Callable[[str], VanAt]


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("corekit.hub.people._N", 2**4)


#: What somebody chose.
OWN = "violet kettle 42"


def browser(hub: Hub, **more: Any) -> FlaskClient:
    """A browser, which says with each request that a page of the office sent it."""
    client = hub_app(hub, **more).test_client()
    client.environ_base["HTTP_SEC_FETCH_SITE"] = "same-origin"
    return client


@attrs.define
class Desk:
    """Somebody who signed in."""

    client: FlaskClient

    def sees(self, path: str) -> str:
        reply = self.client.get(path)
        assert reply.status_code == 200, (path, reply.status_code, reply.text)
        return reply.text

    def status(self, path: str) -> int:
        return self.client.get(path).status_code

    def sends(self, path: str, **form: str) -> tuple[int, str]:
        guard = re.search(r'name="guard" value="([0-9a-f]{32})"', self.client.get("/office/passcode").text)
        assert guard is not None
        reply = self.client.post(path, data={"guard": guard[1], **form})
        return reply.status_code, reply.headers.get("Location", reply.text)

    def finds(self, words: str) -> str:
        """The page that says what was found."""
        status, where = self.sends("/office/find", q=words)
        assert status == 303
        return self.sees(where)


@pytest.fixture
def sign_in(hub: Hub) -> Callable[..., Desk]:
    def enter(name: str, role: str, van: str = "") -> Desk:
        people.let_in(hub, name, role, van, passcode=OWN)
        client = browser(hub)
        client.application.testing = True
        reply = client.post("/office/door", data={"name": name, "passcode": OWN})
        assert reply.status_code == 303
        return Desk(client)

    return enter


@attrs.frozen
class Scene:
    """Two vans with jobs that were synced."""

    a: VanAt
    b: VanAt
    first: str
    second: str
    number: str


@pytest.fixture
def scene(new_van: NewVan) -> Scene:
    a, b = new_van("one"), new_van("two")
    first, second = a.begin("first", "Ada Example"), b.begin("second", "Ben Example")
    plan = Planned(on="2026-12-01", time="09:30")
    append(b.store, second, [Draft(kind="planned", subject=":planned/1", body=body_of(plan))])
    number = a.bill(first)
    pay(
        a.store,
        first,
        "books/A/2026",
        Paid(amount=5000, currency="EUR", how="cash"),
        PaymentTaken(amount=5000, currency="EUR", how="cash", job_name="first"),
    )
    a.sync()
    b.sync()
    return Scene(a, b, first, second, number)


def test_the_office_sees_jobs_day_debts_and_papers_of_all_vans(
    scene: Scene, sign_in: Callable[..., Desk]
) -> None:
    desk = sign_in("Kim", "office")
    jobs = desk.sees("/office")
    for text in (
        "Ada Example",
        "Ben Example",
        "DEMO-first",
        "DEMO-second",
        "diagnosis to approve",
        scene.number,
    ):
        assert text in jobs
    assert "09:30" in desk.sees("/office/day")
    assert "DEMO-second" in desk.sees("/office/day")
    debts = desk.sees("/office/debts")
    assert scene.number in debts
    assert "268.60 EUR" in debts, "318.60 less 50.00"
    assert "Ben Example" in desk.sees(f"/office/job/{scene.second}")


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("Ada", ["first"]),
        ("ada example", ["first"]),
        ("exam", ["first", "second"]),
        ("DEMO first", ["first"]),
        ("demo", ["first", "second"]),
        ("second", ["second"]),
        ("nobody", []),
    ],
)
def test_a_job_is_found_by_what_is_known_of_it(
    scene: Scene, sign_in: Callable[..., Desk], asked: str, found: list[str]
) -> None:
    text = sign_in("Kim", "office").finds(asked)
    assert [name for name in ("first", "second") if f"DEMO-{name}" in text.partition("<table")[2]] == found


def test_a_mechanic_sees_the_jobs_of_one_van_and_those_handed_to_it(
    scene: Scene, sign_in: Callable[..., Desk]
) -> None:
    desk = sign_in("Max", "mechanic", "B")
    jobs = desk.sees("/office")
    assert "Ben Example" in jobs
    assert "Ada Example" not in jobs
    assert "Ada Example" not in desk.finds("ada")
    assert desk.status(f"/office/job/{scene.first}") == 404
    assert desk.status("/office/job/nothing-like-it") == 404
    for money in ("/office/debts", "/office/papers", "/office/call"):
        assert desk.status(money) == 403
    assert desk.sends(f"/office/job/{scene.second}/hand", van="A")[0] == 403


def test_a_mechanic_sees_a_job_once_it_is_handed_to_the_van(
    scene: Scene, sign_in: Callable[..., Desk]
) -> None:
    desk = sign_in("Max", "mechanic", "A")
    assert desk.status(f"/office/job/{scene.second}") == 404
    scene.b.hand(scene.second, "A")
    scene.b.sync()
    assert "Ben Example" in desk.sees(f"/office/job/{scene.second}")


def test_a_bookkeeper_sees_money_and_its_papers_alone(scene: Scene, sign_in: Callable[..., Desk]) -> None:
    desk = sign_in("Bo", "bookkeeper")
    assert desk.client.get("/office").headers["Location"] == "/office/debts"
    assert scene.number in desk.sees("/office/papers")
    for path in ("/office/day", "/office/find", f"/office/job/{scene.first}", "/office/call"):
        assert desk.status(path) == 403
    assert desk.sends("/office/call", words="x", who="y", van="A")[0] == 403


def test_nobody_sees_anything_without_signing_in(scene: Scene, hub: Hub) -> None:
    client = browser(hub)
    rules = [rule for rule in client.application.url_map.iter_rules() if rule.rule.startswith("/office")]
    assert len(rules) > 10
    for rule in rules:
        path = rule.rule.replace("<id_>", scene.first).replace("<entry>", "x").replace("<sealed>", "x")
        for method in (rule.methods or set()) & {"GET", "POST"}:
            if path in ("/office/door", "/office/style.css"):
                continue
            reply = client.open(path, method=method)
            assert (reply.status_code, reply.headers["Location"]) == (303, "/office/door"), path
    for code in ("wrong", ""):
        reply = client.post("/office/door", data={"name": "Kim", "passcode": code})
        assert reply.status_code == 403


def test_guessing_a_passcode_is_slowed_and_a_new_one_ends_every_session(
    hub: Hub, scene: Scene, sign_in: Callable[..., Desk]
) -> None:
    desk = sign_in("Kim", "office")
    desk.sees("/office")
    people.let_in(hub, "Kim", "office")
    assert desk.status("/office") == 303
    client = browser(hub, clock=lambda: 1000.0)
    replies = [
        client.post("/office/door", data={"name": "Kim", "passcode": "x"}).status_code for _ in range(6)
    ]
    assert replies[0] == 403
    assert replies[-1] == 429


def test_a_form_of_another_page_changes_nothing(hub: Hub, scene: Scene, sign_in: Callable[..., Desk]) -> None:
    desk = sign_in("Kim", "office")
    reply = desk.client.post(f"/office/job/{scene.second}/hand", data={"van": "A"})
    assert reply.status_code == 403
    with hub.database.line() as line:
        assert line.execute("SELECT count(*) FROM entry WHERE kind = 'handed'").fetchone() == (0,)


def test_a_call_taken_in_the_office_is_on_the_vans_list_and_goes_on_there(
    hub: Hub, scene: Scene, sign_in: Callable[..., Desk]
) -> None:
    desk = sign_in("Kim", "office")
    call = {
        "words": "Does not crank.",
        "who": "Cleo Example",
        "phone": "000 0003",
        "plate": "DEMO-3",
        "vehicle": "Small van",
        "address": "2 Invented Lane",
        "day": "2026-12-02",
        "time": "14:00",
    }
    status, fault = desk.sends("/office/call", **{**call, "words": "", "van": "B"})
    assert status == 422
    assert "what the customer says" in fault
    assert "Cleo Example" in fault, "what was typed stays"
    assert desk.sends("/office/call", **call, van="Q")[0] == 422
    status, where = desk.sends("/office/call", **call, van="B")
    assert status == 303
    job = where.rpartition("/")[2]
    done = scene.b.sync()
    assert done.handed == (job,)
    (row,) = [row for row in scene.b.store.open_jobs(9) if row.id == job]
    assert (row.day, row.at, row.state) == ("2026-12-02", "14:00", "diagnosis to approve")
    texts = scene.b.store.texts(scene.b.store.job(job).persons())
    assert {"Does not crank.", "Cleo Example", "000 0003", "DEMO-3", "Small van"} <= set(texts.values())
    append(scene.b.store, job, [said("measured", "call:v/#1", reading("12.10 V"))])
    scene.b.sync()
    scene.a.sync()
    assert scene.a.store.texts(scene.a.store.job(job).persons()) == {}
    assert not scene.a.store.is_here(job)
    assert scene.a.store.verify() == scene.b.store.verify() == record.faults(hub.database, hub.key) == []
    assert "Cleo Example" in desk.finds("cleo")


#: Pages of the office with a field of words, and why no secret of a customer is kept from there.
OTHER_PAGES = {
    "door.html": "who signs in, which is no customer",
    "passcode.html": "a passcode, of which a hash is kept",
    "rows.html": "what is searched for, which is kept nowhere",
}


def test_every_page_of_the_office_that_takes_words_is_typed_into_below() -> None:
    pages = all_fields_of_words(data_path("templates") / "office", but=tuple(OTHER_PAGES))
    assert pages == {WordField("call.html", "")}, "a new field belongs into the test below"


def test_a_secret_in_every_field_of_a_call_is_with_its_customer_alone_and_gone_once_forgotten(
    hub: Hub, scene: Scene, sign_in: Callable[..., Desk], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    desk = sign_in("Kim", "office")
    asked = forms_of(desk.sees("/office/call"), also=("tel",))[-1]
    secrets = {name: f"Zebedee{n}" for n, name in enumerate(asked.texts) if name not in ("day", "time")}
    assert set(secrets) == {field.name for field in attrs.fields(desk_of_hub.Call)} - {"day", "time", "van"}
    status, where = desk.sends("/office/call", **secrets, day="2026-12-02", time="14:00", van="B")
    assert status == 303
    job = where.rpartition("/")[2]
    assert scene.b.sync().handed == (job,)
    kept = scene.b.store.texts(scene.b.store.job(job).persons()).values()
    assert set(secrets.values()) <= set(kept), "else this test shows nothing"
    assert "Zebedee" not in repr([entry.body for entry in scene.b.store.journal(job)])
    assert "Zebedee" not in everything_in(hub)
    assert "Zebedee" in desk.sees(where)
    scene.b.store.forget(job)
    scene.b.sync()
    found = desk.sends("/office/find", q="zebedee")[1]
    assert "zebedee" not in found.lower()
    for page in (where, "/office", "/office/day", found):
        assert not re.search(r"Zebedee\d", desk.sees(page)), page
    assert scene.b.store.texts(scene.b.store.job(job).persons()) == {}
    for path in scene.b.store.path.parent.rglob("*"):
        assert not path.is_file() or b"Zebedee" not in path.read_bytes(), path
    assert "Zebedee" not in caplog.text
    assert record.faults(hub.database, hub.key) == []


def everything_in(hub: Hub) -> str:
    """All rows of all tables, as the database gives them."""
    with hub.database.line() as line:
        names = line.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        return "".join(repr(line.execute(f"SELECT * FROM {name}".encode()).fetchall()) for (name,) in names)


def test_the_office_hands_a_job_on_and_two_that_differ_are_shown_side_by_side(
    hub: Hub, scene: Scene, sign_in: Callable[..., Desk]
) -> None:
    desk = sign_in("Kim", "office")
    assert desk.sends(f"/office/job/{scene.second}/hand", van="A")[0] == 303
    done = scene.a.sync()
    assert done.handed == (scene.second,)
    # Van B has no line and goes on; van A corrects the same reading.
    told = next(entry for entry in scene.a.store.job(scene.second).entries if entry.kind == "measured")
    for van, typed in ((scene.a, "12.90 V"), (scene.b, "11.80 V")):
        append(van.store, scene.second, [said("measured", told.subject, reading(typed), replaces=(told.id,))])
    scene.a.sync()
    assert scene.b.sync().disputed == (scene.second,)
    assert "In dispute" in desk.sees("/office")
    text = desk.sees(f"/office/job/{scene.second}")
    assert 'measured: <span translate="no">12.90 V<' in text
    assert 'measured: <span translate="no">11.80 V<' in text
    # Whoever has the job settles it, by what is right.
    scene.a.sync()
    heads = scene.a.store.job(scene.second).disputes[0].entries
    append(scene.a.store, scene.second, [said("measured", told.subject, reading("12.10 V"), replaces=heads)])
    scene.a.sync()
    assert "In dispute" not in desk.sees("/office")
    assert record.faults(hub.database, hub.key) == []


def test_a_paper_is_drawn_again_from_the_record_with_its_customer(
    hub: Hub, demo_paper: tuple[VanAt, str, str], sign_in: Callable[..., Desk]
) -> None:
    van, entry, name = demo_paper
    desk = sign_in("Bo", "bookkeeper")
    reply = desk.client.get(f"/office/paper/{entry}")
    assert reply.mimetype == "application/pdf"
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(reply.data)).pages)
    assert name in text
    assert desk.status("/office/paper/nothing") == 404
    other = sign_in("Max", "mechanic", van.letters)
    assert other.status(f"/office/paper/{entry}") == 200


def test_what_somebody_typed_comes_back_as_text(scene: Scene, sign_in: Callable[..., Desk]) -> None:
    desk = sign_in("Kim", "office")
    _, where = desk.sends("/office/call", words="<script>alert(1)</script>", who='"><b>', van="A")
    text = desk.sees(where)
    assert "<script>" not in text
    assert "&lt;script&gt;" in text
    assert desk.client.get("/office").headers["Content-Security-Policy"].startswith("default-src 'none'")


def test_a_mechanic_has_a_van_and_nobody_else_has(hub: Hub, scene: Scene) -> None:
    for role, van in (("mechanic", ""), ("mechanic", "Q"), ("office", "A"), ("mechanic", "OFFICE")):
        with pytest.raises(HubError):
            people.let_in(hub, "Kim", role, van)
    with pytest.raises(HubError, match="at least"):
        people.let_in(hub, "Kim", "office", passcode="123")
