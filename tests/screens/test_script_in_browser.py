"""The script of the screens in a real Chromium, by touch on a phone's screen, behind the real door: nothing
that was answered is lost, whatever dies.

The screens here are the test's own, made with the pieces of form.html; what they post goes to the real
record. What is expected of the browser is of the standards: Fetch, Service Workers, Web Locks, Indexed
Database; of the answers, issue 5 of this project.
"""

from __future__ import annotations

import contextlib
import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import attrs
import flask
import jinja2
import pytest
from markupsafe import escape

from corekit.desk.rows import add_rows
from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.model.records import Measured
from corekit.reference import data_path
from corekit.screens.app import work_app
from corekit.screens.context import Van
from corekit.screens.forms import redirect
from corekit.web.auth import PasscodeAuth
from corekit.web.passcode import set_passcode
from corekit.web.server import server_for

from ..conftest import PATIENCE, Watched, close, settled, soon
from .conftest import stop_serving

Error: Any = pytest.importorskip(
    "playwright.sync_api", reason="the Python package playwright is not installed"
).Error

pytestmark = pytest.mark.browser

CODE = "47110815"
PAGES = "caches.open('corekit-pages-1')"
TEXT = "starts badly since the Lindquist wedding"  # personal; nobody else's words
READING = """
{% extends "base.html" %}{% import "form.html" as form with context %}
{% block title %}Reading {{ n }}{% endblock %}
{% block body %}
<h1>Reading {{ n }}</h1>
<p><a class="other" href="/bench/{{ job }}/{{ n + 1 }}">Without an answer</a></p>
<form method="post" action="/job/{{ job }}/answer" data-answer data-try="/bench/try">
{{ form.own("/bench/" ~ job ~ "/" ~ (n + 1)) }}
<input type="hidden" name="step[0].readings[0].of" value="battery.open_circuit_voltage">
{{ form.top_faults(["step[0].readings[0].is"]) }}
{{ form.quantity("step[0].readings[0].is", "Resting voltage", ["V", "mV"]) }}
<div class="trial" data-trial></div>
{{ form.thumb("Keep") }}
</form>
{% endblock %}
"""
SMALL = """
{% extends "base.html" %}{% import "form.html" as form with context %}
{% block waiting %}<ul class="waiting"><li>
Parasitic draw: check again at <time datetime="{{ at }}" data-again>14:20</time></li></ul>{% endblock %}
{% block body %}
<h1>Small things</h1>
<form method="post" action="/bench/take" data-answer>
{{ form.own("/bench/small") }}
{{ form.top_faults() }}
{{ form.words("words", "In their words") }}
{{ form.choice("how", "How", ["in person", "by phone"]) }}
<input type="hidden" name="signature"><canvas data-sign="signature"></canvas>
<label for="photo">Photo</label><input id="photo" type="file" name="photo" accept="image/*" data-photo>
<button type="button" data-back hidden>Back</button>
{{ form.thumb("Keep") }}
</form>
<div class="field" data-filter="list" hidden><label for="sought">Find one</label>
<input id="sought" type="text"></div>
<div id="list"><h2>Electric</h2><ul><li>Resting voltage</li><li>Charging voltage</li></ul><h2>Air</h2><ul>
<li>Flow</li></ul></div>
<form method="post" action="/door/lock"><input type="hidden" name="guard" value="{{ guard() }}">
<button class="other">Lock now</button></form>
{% endblock %}
"""


@attrs.define
class Bench:
    """The screens behind their door, on a server that can be killed and started again; `posted` is what came
    in, `meddle` what a bad line does to it.
    """

    shop: Shop
    app: Any
    posted: list[dict[str, Any]]
    job: str
    server: Any = None
    thread: Any = None
    port: int = 0
    meddle: Callable[[dict[str, Any]], str] = lambda environ: ""

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Any:
        said = self.meddle(environ)
        if said == "fail":
            start_response("500 Broken", [("Content-Length", "0")])
            return [b""]
        if said == "lose the reply":  # everything is done and written; what comes back breaks off
            list(self.app(environ, lambda *_: None))
            start_response("200 OK", [("Content-Type", "application/json"), ("Content-Length", "500")])
            return broken_off()
        return self.app(environ, start_response)

    def start(self) -> None:
        if not self.port:
            with (
                socket.socket() as free
                # a port that the server binds itself can be bound again while old lines linger; one that the
                # system drew cannot
            ):
                free.bind(("127.0.0.1", 0))
                self.port = free.getsockname()[1]
        self.server = server_for(self, port=self.port)
        self.thread = threading.Thread(target=self.server.serve, daemon=True)
        self.thread.start()

    def stop(self) -> None:
        if self.server:
            stop_serving(self.server, self.thread)
            self.server = None

    def readings(self) -> list[str]:
        """What stands in the journal, in its order."""
        return [
            noted.record.typed
            for noted in self.shop.store.job(self.job).standing
            if isinstance(noted.record, Measured)
        ]

    def ids(self) -> list[str]:
        return [post["answer"] for post in self.posted]

    def page(self, n: int | str) -> str:
        return f"{self.address}/bench/{self.job}/{n}" if isinstance(n, int) else f"{self.address}/bench/{n}"


def broken_off() -> Iterator[bytes]:
    yield b"{"
    raise ConnectionResetError("the van drove under a bridge")


def _bench(folder: Path) -> Bench:
    shutil.copytree(data_path("demo") / "shop", folder)
    create_shop(folder, demo=True)
    set_passcode(folder, CODE)
    shop = Shop(folder)
    rows = {"reason": "starts badly", "vehicle": {"description": "a small van", "no_vin": "not readable"}}
    begun = add_rows(shop.context, None, rows, request_id="begins-the-job-of-this-test")
    app = work_app(Van(shop.context), PasscodeAuth(shop=folder))
    bench = Bench(shop=shop, app=app, posted=[], job=begun.job)
    screens = {"reading.html": READING, "small.html": SMALL}
    app.jinja_loader = jinja2.ChoiceLoader([jinja2.DictLoader(screens), app.jinja_loader])  # type: ignore[list-item]

    @app.before_request
    def seen() -> None:
        if flask.request.method == "POST" and "answer" in flask.request.form:
            files = {name: file.stream.read() for name, file in flask.request.files.items()}
            bench.posted.append(flask.request.form.to_dict() | files | {"path": flask.request.path})

    @app.get("/bench/<job>/<int:n>")
    def bench_reading(job: str, n: int) -> str:
        return flask.render_template("reading.html", job=job, n=n)

    @app.get("/bench/small")
    def bench_small() -> str:
        return flask.render_template(
            "small.html", at=flask.request.args.get("at", "2026-11-25T14:20:00+00:00")
        )

    @app.get("/bench/paper")
    def bench_paper() -> flask.Response:
        return flask.Response("a paper", mimetype="text/plain")

    @app.post("/bench/take")
    def bench_take() -> flask.Response:
        return redirect("/bench/small?taken")

    @app.post("/bench/try")
    def bench_tried() -> str:
        text = flask.request.form.get("step[0].readings[0].is", "")
        if "?" in text:
            return (
                '<p>1.73 V?</p><button type="button" data-fill="step[0].readings[0].is" data-value="1.73'
                ' V">1.73 V</button>'
            )
        return f"<p>understood: {escape(text)}</p>"

    bench.start()
    return bench


@pytest.fixture
def bench(tmp_path: Path, quick: None) -> Iterator[Bench]:
    bench = _bench(tmp_path / "shop")
    yield bench
    bench.stop()
    bench.shop.close()


def until(page: Any, claim: str, arg: Any = None) -> None:
    def is_so() -> bool:
        with contextlib.suppress(Error):  # the page is just being left
            return bool(settled(page, claim, arg, within=2))
        return False

    soon(is_so, lambda: f"{claim} {arg or ''} at {page.url}, which says {page.inner_text('body')!r}")


@attrs.define
class Hand:
    """A mechanic's thumb on a phone that was let in."""

    bench: Bench
    watched: Watched

    @property
    def page(self) -> Any:
        return self.watched.page

    @property
    def line(self) -> str:
        return str(self.page.inner_text("#line")).strip()

    def until(self, claim: str, arg: Any = None) -> None:
        """Ask the page until the claim holds.

        Playwright's own way of waiting evaluates text within the page, which the screens' policy forbids.
        """
        until(self.page, claim, arg)

    def says(self, text: str) -> None:
        self.until("text => document.getElementById('line')?.textContent.includes(text)", text)

    def at(self, path: str) -> None:
        self.until(
            "path => location.pathname + location.search === path && document.readyState === 'complete'", path
        )

    def has_copy(self, path: str) -> None:
        """Wait until the phone has a copy of that screen."""
        self.until(f"path => {PAGES}.then((pages) => pages.match(path)).then(Boolean)", path)

    def has_come_in(self, count: int) -> None:
        """Wait until so many readings stand in the journal."""
        soon(
            lambda: len(self.bench.readings()) == count,
            lambda: f"{count} readings; there are {self.bench.readings()}",
        )

    def all_sent(self) -> None:
        self.until("() => typeof items === 'function' && items().then((list) => list.length === 0)")

    def open(self, n: int | str) -> None:
        self.page.goto(self.bench.page(n))

    def read(self, text: str) -> None:
        self.page.fill("[name='step[0].readings[0].is']", text)
        self.page.tap("button.main")

    def ready(self) -> None:
        """Wait until the phone keeps a copy of this screen."""
        self.until("() => navigator.serviceWorker.getRegistration().then((found) => Boolean(found?.active))")
        self.has_copy(self.page.url.removeprefix(self.bench.address))

    def copies(self) -> list[str]:
        """Paths of the screens of which the phone has a copy."""
        urls = settled(
            self.page, f"() => {PAGES}.then((pages) => pages.keys()).then((all) => all.map((one) => one.url))"
        )
        return [str(url).removeprefix(self.bench.address) for url in urls]

    def queue(self) -> list[Any]:
        return list(settled(self.page, "() => items()"))

    def kept(self) -> str:
        """Everything that this phone keeps, as text."""
        return str(
            settled(
                self.page,
                """async () => {
                  const found = [JSON.stringify(await items()), JSON.stringify({...localStorage}),
                    JSON.stringify({...sessionStorage})];
                  for (const name of await caches.keys()) {
                    const cache = await caches.open(name);
                    for (const one of await cache.keys()) { if (!one.url.endsWith('.ttf')) {
                      found.push(await (await cache.match(one)).text()); } }
                  }
                  return found.join(' ');
                }""",
            )
        )


@pytest.fixture
def hand(bench: Bench, phone: Callable[..., Watched]) -> Hand:
    hand = Hand(bench, phone())
    let_in(hand.page, bench)
    return hand


def let_in(page: Any, bench: Bench) -> None:
    page.goto(f"{bench.address}/door?next=/queue")
    page.fill("#passcode", CODE)
    page.tap("button.main")
    page.wait_for_selector("[data-queue]")


def test_an_answer_is_on_record_and_leads_on(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.read("12.61")
    hand.at(f"/bench/{bench.job}/2")
    assert bench.readings() == ["12.61 V"]
    assert hand.watched.errors == []
    assert hand.queue() == []


def test_two_taps_send_one_answer(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.page.fill("[name='step[0].readings[0].is']", "12.61")
    hand.page.evaluate(
        "() => { const button = document.querySelector('button.main'); button.click(); button.click();"
        " button.form.requestSubmit(); }"
    )
    hand.at(f"/bench/{bench.job}/2")
    assert bench.readings() == ["12.61 V"]
    assert len(bench.posted) == 1


def test_a_fault_stands_beside_its_field_and_the_field_has_the_focus(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.read("O,O,5 volts")
    hand.page.wait_for_selector("[data-faults='step[0].readings[0].is'] .fault")
    field = hand.page.locator("[name='step[0].readings[0].is']")
    assert field.get_attribute("aria-invalid") == "true"
    assert field.evaluate("field => document.activeElement === field")
    assert field.input_value() == "O,O,5 volts"
    assert bench.readings() == []
    assert hand.queue() == []  # it is in the form and nowhere else
    assert hand.page.is_enabled("button.main")
    hand.read("12.61")
    hand.at(f"/bench/{bench.job}/2")
    assert bench.readings() == ["12.61 V"]
    assert len(set(bench.ids())) == 2  # another content is another answer


def test_an_unusual_value_is_asked_and_a_guess_fills_the_field(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.read("1.265")
    hand.page.tap("button:text-is('12.65 V')")
    assert hand.page.input_value("[name='step[0].readings[0].is']") == "12.65 V"
    assert bench.readings() == []  # nothing is taken that nobody said
    hand.page.tap("button.main")
    hand.at(f"/bench/{bench.job}/2")
    assert bench.readings() == ["12.65 V"]


def test_what_really_reads_so_is_taken_after_one_tap(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.read("5.1")
    hand.page.tap("text=Reading is correct")
    hand.at(f"/bench/{bench.job}/2")
    assert bench.readings() == ["5.1 V"]
    assert bench.posted[-1]["step[0].readings[0].confirmed|yes"] == "yes"


# ── nothing is lost ──


def five_offline(hand: Hand) -> list[str]:
    """Five readings without a server, on screens that were opened before."""
    job = hand.bench.job
    for n in range(1, 7):
        hand.open(n)
        hand.ready()
    hand.open(1)
    hand.bench.stop()
    for n in range(1, 6):
        hand.read(f"12.6{n}")
        hand.at(f"/bench/{job}/{n + 1}")
        hand.says(f"{n} answer")
    return [f"12.6{n} V" for n in range(1, 6)]


def test_five_answers_without_a_server_go_out_in_order_when_it_is_back(bench: Bench, hand: Hand) -> None:
    expected = five_offline(hand)
    hand.says("No connection. 5 answers are saved on this phone and will be sent in order when it is back.")
    assert bench.readings() == []
    bench.start()
    hand.all_sent()
    assert bench.readings() == expected
    assert len(bench.posted) == len(set(bench.ids())) == 5
    hand.until("() => document.getElementById('line').textContent === ''")


def test_answers_outlive_the_browser_that_died(bench: Bench, hand: Hand) -> None:
    expected = five_offline(hand)
    context = hand.page.context
    hand.page.close()
    bench.start()
    again = context.new_page()
    again.goto(f"{bench.address}/queue")
    again.wait_for_selector("text=Nothing is waiting on this phone")
    assert bench.readings() == expected


def test_a_new_answer_never_overtakes_the_kept_ones(bench: Bench, hand: Hand) -> None:
    expected = five_offline(hand)
    bench.start()
    hand.page.evaluate("state.pause = 0")  # whether the timer or the tap is first, the order is one
    hand.read("12.66")
    hand.at(f"/bench/{bench.job}/7")
    hand.all_sent()
    assert bench.readings() == [*expected, "12.66 V"]


def test_a_network_that_is_gone_keeps_an_answer_as_well(bench: Bench, hand: Hand) -> None:
    hand.open(2)
    hand.ready()
    hand.open(1)
    hand.page.context.set_offline(True)
    hand.read("12.61")
    hand.says("No connection. 1 answer is saved on this phone and will be sent")
    assert bench.posted == []
    hand.page.context.set_offline(False)
    hand.all_sent()
    assert bench.readings() == ["12.61 V"]


def test_a_reply_that_is_lost_after_the_entry_was_written_makes_one_entry(bench: Bench, hand: Hand) -> None:
    lost: list[str] = []

    def meddle(environ: dict[str, Any]) -> str:
        if environ["PATH_INFO"].endswith("/answer") and len(lost) < 2:
            lost.append(environ["PATH_INFO"])
            return "lose the reply"
        return ""

    bench.meddle = meddle
    hand.open(1)
    hand.read("12.61")
    hand.all_sent()
    assert len(lost) == 2
    assert len(bench.posted) == 3
    assert len(set(bench.ids())) == 1
    assert bench.readings() == ["12.61 V"]


def test_a_server_that_does_not_answer_keeps_nobody_waiting_for_long(bench: Bench, hand: Hand) -> None:
    go_on, came = threading.Event(), threading.Event()

    def meddle(environ: dict[str, Any]) -> str:
        if environ["PATH_INFO"].endswith("/answer"):
            came.set()
            go_on.wait(PATIENCE)
        return ""

    bench.meddle = meddle
    hand.page.clock.install()
    hand.open(1)
    hand.read("12.61")
    assert came.wait(PATIENCE)
    hand.page.clock.fast_forward(9000)  # the deadline of a reply is 8 s
    hand.at(f"/bench/{bench.job}/2")
    assert bench.readings() == []
    go_on.set()
    hand.all_sent()
    assert bench.readings() == ["12.61 V"]
    assert len(set(bench.ids())) == 1


def test_a_server_that_fails_every_time_holds_up_no_other_job(bench: Bench, hand: Hand) -> None:
    rows = {"reason": "another", "vehicle": {"description": "a car", "no_vin": "not readable"}}
    other = add_rows(bench.shop.context, None, rows, request_id="begins-the-other-job").job
    bench.meddle = lambda environ: "fail" if environ["PATH_INFO"] == f"/job/{bench.job}/answer" else ""
    hand.open(1)
    hand.read("12.61")
    hand.at(f"/bench/{bench.job}/2")
    hand.says("The server could not save it. 1 answer is saved on this phone")
    hand.page.goto(f"{bench.address}/bench/{other}/1")
    hand.page.evaluate("setInterval(() => { state.pause = 0; send(); }, 100)")
    hand.says("1 answer needs attention")
    hand.read("12.70")
    hand.at(f"/bench/{other}/2")
    assert [
        noted.record.typed
        for noted in bench.shop.store.job(other).standing
        if isinstance(noted.record, Measured)
    ] == ["12.70 V"]
    assert len(hand.queue()) == 1  # and the one that failed is still there


def test_an_answer_refused_later_is_set_aside_shown_and_sent_again(bench: Bench, hand: Hand) -> None:
    for n in (1, 2, 3):
        hand.open(n)
        hand.ready()
    hand.open(1)
    bench.stop()
    hand.read("1265")  # cannot be
    hand.at(f"/bench/{bench.job}/2")
    hand.read("12.62")
    hand.at(f"/bench/{bench.job}/3")
    hand.says("2 answers")
    bench.start()
    hand.says("1 answer needs attention. 1 answer of the same job waits for it.")
    assert bench.readings() == []  # at which stage it counts is for a person to say
    hand.page.tap("#line a")
    hand.page.wait_for_selector("text=is outside what is possible")
    assert hand.page.locator("section.kept h2").all_inner_texts() == ["Reading 1", "Reading 2"]
    assert hand.page.get_by_label("Resting voltage").input_value() == "1265"
    hand.page.get_by_label("Resting voltage").fill("12.65")
    hand.page.tap("text=Send it again")
    hand.page.wait_for_selector("text=Nothing is waiting on this phone")
    assert bench.readings() == ["12.65 V", "12.62 V"]


def test_an_answer_refused_later_can_be_taken_off_with_two_taps_and_lets_the_others_go(
    bench: Bench, hand: Hand
) -> None:
    for n in (1, 2, 3):
        hand.open(n)
        hand.ready()
    hand.open(1)
    bench.stop()
    hand.read("1265")
    hand.at(f"/bench/{bench.job}/2")
    hand.read("12.62")
    hand.at(f"/bench/{bench.job}/3")
    bench.start()
    hand.says("1 answer needs attention")
    hand.page.tap("#line a")
    hand.page.tap("text=Delete it from this phone")
    assert len(hand.queue()) == 2
    hand.page.tap("text=Yes, delete it; there is no other copy")
    hand.page.wait_for_selector("text=Nothing is waiting on this phone")
    assert bench.readings() == ["12.62 V"]


@pytest.mark.parametrize("locks", [True, False])
def test_two_tabs_send_each_answer_once_and_in_order(bench: Bench, hand: Hand, locks: bool) -> None:
    if not locks:  # as over plain http, where a lease stands in for them
        hand.page.context.add_init_script("Object.defineProperty(navigator, 'locks', { value: undefined })")
    expected = five_offline(hand)
    other = hand.page.context.new_page()
    other.goto(f"{bench.address}/queue")
    other.wait_for_selector("section.kept")
    at_once = "() => { setInterval(() => { state.pause = 0; send(); }, 20); }"
    for page in (hand.page, other):
        page.evaluate(at_once)
    bench.start()
    hand.has_come_in(5)
    hand.all_sent()
    for page in (hand.page, other):
        close(page)
    bench.stop()  # so that nothing is under way any more that would come in twice
    assert bench.readings() == expected
    assert len(bench.posted) == 5


@pytest.mark.parametrize("lacking", ["indexedDB", "locks", "BroadcastChannel", "serviceWorker"])
def test_a_browser_that_lacks_a_part_keeps_answers_all_the_same(
    bench: Bench, hand: Hand, lacking: str
) -> None:
    where = "navigator" if lacking in ("locks", "serviceWorker") else "window"
    prototype = "Object.getPrototypeOf(navigator)" if where == "navigator" else "window"
    hand.page.add_init_script(
        f"delete {prototype}.{lacking}; Object.defineProperty({where}, '{lacking}', {{ value: undefined,"
        " configurable: true });"
    )
    hand.open(1)
    assert hand.page.evaluate(f"{where}.{lacking} === undefined")
    bench.meddle = lambda environ: "fail" if environ["PATH_INFO"].endswith("/answer") else ""
    hand.read("12.61")
    hand.until(
        "() => !document.querySelector('[aria-busy=true]') && items().then((list) => list.length === 1)"
    )
    hand.at(
        f"/bench/{bench.job}/{1 if lacking == 'serviceWorker' else 2}"
    )  # without copies the next screen would not open
    bench.meddle = lambda environ: ""
    hand.page.goto(f"{bench.address}/queue")
    hand.page.wait_for_selector("text=Nothing is waiting on this phone")
    assert bench.readings() == ["12.61 V"]


def test_an_answer_that_waited_an_hour_on_the_phone_is_an_hour_old_in_the_record(
    bench: Bench, hand: Hand
) -> None:
    hand.open(1)
    settled(
        hand.page,
        "async (job) => (await queue).put({ id: newId(), action: `/job/${job}/answer`, screen: '/', shop:"
        " document.body.dataset.shop, title: 'T', at: new Date(Date.now() - 3600e3).toISOString(), fields:"
        " [['step[0].readings[0].of', 'battery.open_circuit_voltage'],"
        " ['step[0].readings[0].is', '12.5 V']], shown:"
        " [] })",
        bench.job,
    )
    hand.read("12.61")
    hand.has_come_in(2)
    late, soon = bench.shop.store.job(bench.job).all(Measured)
    assert (late.record.typed, soon.record.typed) == (
        "12.5 V",
        "12.61 V",
    ), "in the order in which they were given"
    waited = datetime.fromisoformat(late.entry.recorded) - datetime.fromisoformat(late.entry.taken)
    assert abs(waited.total_seconds() - 3600) < 120
    assert soon.entry.taken == ""


def test_an_answer_for_another_shop_is_not_sent_to_this_one(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    settled(
        hand.page,
        "async (job) => (await queue).put({ id: newId(), action: `/job/${job}/answer`, screen: '/', shop:"
        " 'Another', at: new Date().toISOString(), title: 'T', fields: [['step[0].readings[0].of',"
        " 'battery.open_circuit_voltage'], ['step[0].readings[0].is', '12 V']], shown: [] })",
        bench.job,
    )
    hand.read("12.61")
    hand.at(f"/bench/{bench.job}/2")
    hand.says("1 answer for another shop on this phone")
    assert bench.readings() == ["12.61 V"]
    assert len(hand.queue()) == 1


# ── the lock ──


def lock(hand: Hand) -> None:
    """The door is locked from elsewhere, as after minutes without use."""
    hand.page.context.clear_cookies()


def test_an_answer_given_to_a_locked_door_goes_out_after_the_passcode(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    lock(hand)
    hand.read("12.61")
    hand.page.wait_for_selector("#passcode")
    assert bench.readings() == []
    hand.page.fill("#passcode", CODE)
    hand.page.tap("button.main")
    hand.at(f"/bench/{bench.job}/2")
    assert bench.readings() == ["12.61 V"]
    assert hand.queue() == []
    assert "12.61" not in hand.page.evaluate("JSON.stringify({...localStorage})")


def test_faults_of_an_answer_given_to_a_locked_door_stand_beside_its_fields(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    lock(hand)
    hand.read("1265")
    hand.page.wait_for_selector("#passcode")
    hand.page.fill("#passcode", CODE)
    hand.page.tap("button.main")
    hand.page.wait_for_selector("[data-faults='step[0].readings[0].is'] .fault")
    assert hand.page.input_value("[name='step[0].readings[0].is']") == "1265"
    assert hand.queue() == []


def test_a_page_of_an_older_session_sends_with_the_word_of_the_one_that_holds(
    bench: Bench, hand: Hand
) -> None:
    hand.open(1)
    other = hand.page.context.new_page()
    other.context.clear_cookies()
    let_in(other, bench)
    other.close()
    hand.read("12.61")
    hand.at(f"/bench/{bench.job}/2")
    assert bench.readings() == ["12.61 V"]
    assert f"{bench.address}/door/state" in hand.watched.asked  # and so at once, not on some later try


def test_lock_now_deletes_the_copies_and_nothing_personal_stays(bench: Bench, hand: Hand) -> None:
    hand.page.goto(f"{bench.address}/")
    hand.open("small")
    hand.ready()
    hand.page.fill("[name=words]", TEXT)
    hand.page.tap("button.main")
    hand.page.wait_for_url("**/bench/small?taken")
    assert bench.posted[-1]["words"] == TEXT
    assert TEXT not in hand.kept()  # acknowledged, so it is the record's alone
    hand.page.goto(f"{bench.address}/job/{bench.job}/way")  # names the vehicle
    hand.has_copy(f"/job/{bench.job}/way")
    assert "a small van" in hand.kept()
    hand.open("small")
    hand.page.tap("text=Lock now")
    hand.page.wait_for_selector("#passcode")
    hand.until(
        "() => caches.open('corekit-pages-1').then((pages) => pages.keys()).then((all) => all.length === 0)"
    )
    hand.page.goto(f"{bench.address}/queue")  # 401: the server says that it is locked
    assert "a small van" not in str(settled(hand.page, "() => caches.keys()"))
    assert hand.copies() == []


def test_lock_now_without_a_connection_deletes_the_copies_and_says_what_stays_open(
    bench: Bench, hand: Hand
) -> None:
    hand.open("small")
    hand.ready()
    bench.stop()
    hand.page.tap("text=Lock now")
    hand.page.wait_for_selector("text=Locked here only")
    assert hand.copies() == []
    hand.page.goto(bench.page("small"))
    assert hand.page.inner_text("h1") == "No connection"


def test_what_waits_in_the_queue_stays_through_a_lock(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    bench.meddle = lambda environ: "fail" if environ["PATH_INFO"].endswith("/answer") else ""
    hand.read("12.61")
    hand.at(f"/bench/{bench.job}/2")
    hand.open("small")
    hand.page.tap("text=Lock now")
    hand.page.wait_for_selector("#passcode")
    bench.meddle = lambda environ: ""
    hand.page.fill("#passcode", CODE)
    hand.page.tap("button.main")
    hand.all_sent()
    assert bench.readings() == ["12.61 V"]


# ── what is half typed ──


def test_what_was_half_typed_is_back_after_the_browser_died(bench: Bench, hand: Hand) -> None:
    hand.open("small")
    hand.page.locator("[name=words]").press_sequentially(TEXT)
    hand.page.tap("label:has([value='by phone'])")
    hand.until(
        "() => Object.keys(localStorage).some((name) => localStorage.getItem(name).includes('by phone'))"
    )
    context = hand.page.context
    hand.page.close(run_before_unload=False)
    again = context.new_page()
    again.goto(bench.page("small"))
    again.wait_for_selector("text=Your unsaved entry is back.")
    assert again.input_value("[name=words]") == TEXT
    assert again.is_checked("[value='by phone']")
    again.tap("text=Start over")
    assert again.input_value("[name=words]") == ""
    again.reload()
    assert again.input_value("[name=words]") == ""
    assert again.locator("text=is back").count() == 0


# ── trying, and the screens that are kept ──


def test_the_trial_shows_while_typing_and_its_guess_fills_the_field(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.page.locator("[name='step[0].readings[0].is']").press_sequentially("12.6")
    hand.page.wait_for_selector("[data-trial] >> text=understood: 12.6")
    hand.page.locator("[name='step[0].readings[0].is']").fill("17.3?")
    hand.page.tap("[data-trial] button")
    hand.page.wait_for_selector("[data-trial] >> text=understood: 1.73 V")
    assert bench.posted == []
    assert hand.watched.errors == []
    bench.stop()
    hand.page.fill("[name='step[0].readings[0].is']", "12.7")
    hand.page.wait_for_selector("[data-trial] >> text=No connection")


def test_a_screen_that_was_opened_before_opens_without_a_server_and_says_of_when_it_is(
    bench: Bench, hand: Hand
) -> None:
    hand.open(1)
    hand.ready()
    hand.has_copy(f"/bench/{bench.job}/1")
    bench.stop()
    hand.page.reload()
    hand.says("; no connection.")
    assert hand.line.startswith("As of ")
    assert hand.page.inner_text("h1") == "Reading 1"
    hand.page.goto(bench.page(99))
    assert hand.page.inner_text("h1") == "No connection"
    bench.start()
    hand.page.wait_for_selector("h1:text-is('Reading 99')")


def test_a_screen_is_the_same_whichever_way_somebody_came_to_it(bench: Bench, hand: Hand) -> None:
    first = f"/bench/{bench.job}/1"
    hand.page.goto(f"{bench.address}{first}?about=battery&minutes=30")
    hand.ready()
    hand.has_copy(f"{first}?about=battery&minutes=30")
    hand.page.fill("[name='step[0].readings[0].is']", "12.6")
    hand.until("() => Object.keys(localStorage).some((name) => name.startsWith('corekit:draft:'))")
    bench.stop()
    hand.page.goto(f"{bench.address}{first}?aside=battery.case")
    assert hand.page.input_value("[name='step[0].readings[0].is']") == "12.6"
    hand.page.goto(f"{bench.address}{first}?place=posts")
    assert hand.page.inner_text("h1") == "No connection"


def test_a_copy_is_loaded_anew_when_the_connection_is_back_but_not_under_the_hands(
    bench: Bench, hand: Hand
) -> None:
    hand.open(1)
    hand.ready()
    bench.stop()
    hand.page.reload()
    hand.says("As of ")
    bench.start()
    hand.until("() => !document.body.dataset.asOf && document.getElementById('line').textContent === ''")
    bench.stop()
    hand.page.reload()
    hand.says("As of ")
    hand.page.fill("[name='step[0].readings[0].is']", "12.6")
    bench.start()
    hand.says("The connection is back. Reload this screen")
    assert hand.page.input_value("[name='step[0].readings[0].is']") == "12.6"


def test_a_link_that_was_followed_is_not_undone_when_the_connection_is_back(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.ready()
    bench.stop()
    hand.page.reload()
    hand.says("As of ")
    asked, noticed, given = threading.Event(), threading.Event(), threading.Event()

    def meddle(environ: dict[str, Any]) -> str:
        path = environ["PATH_INFO"]
        if path == "/door/state":
            asked.wait(PATIENCE)  # the page learns of the connection while the next one is on its way
        elif path.endswith("/2"):
            asked.set()
            given.wait(PATIENCE)
        elif path == "/bench/noticed" or path.endswith("/1"):  # it says so, or is loaded anew
            noticed.set()
        return ""

    bench.meddle = meddle
    bench.start()
    # From here on the page cannot be asked: whoever asks a page that is being left waits for the next.
    hand.page.evaluate("""() => {
        const line = document.getElementById("line"), says = "The connection is back";
        const look = () => { if (line.textContent.includes(says)) { fetch("/bench/noticed"); } };
        new MutationObserver(look).observe(line, { childList: true });
        setTimeout(() => document.querySelector("a.other").click());
    }""")
    assert noticed.wait(PATIENCE)
    given.set()
    hand.at(f"/bench/{bench.job}/2")


def test_papers_and_the_door_are_never_kept(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.ready()
    hand.open("small")
    hand.page.goto(f"{bench.address}/door?next=/bench/small")
    hand.page.goto(bench.page("paper"))  # a paper under an address that does not show it
    hand.open(2)
    hand.ready()
    hand.has_copy("/queue")
    assert set(hand.copies()) <= {
        f"/bench/{bench.job}/1",
        f"/bench/{bench.job}/2",
        "/bench/small",
        "/queue",
        "/",
    }


def test_a_door_that_locked_by_itself_takes_the_copies_with_it(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.ready()
    lock(hand)
    hand.page.goto(bench.page("small"))
    hand.page.wait_for_selector("#passcode")
    hand.until(f"() => {PAGES}.then((pages) => pages.keys()).then((all) => all.length === 0)")


def has_no_copies(hand: Hand) -> None:
    hand.until(f"() => {PAGES}.then((pages) => pages.keys()).then((all) => all.length === 0)")


def come_back(hand: Hand) -> None:
    """The phone is taken out of the pocket: the screen is in sight again."""
    hand.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")


def test_a_screen_that_finds_its_door_locked_deletes_the_copies(bench: Bench, hand: Hand) -> None:
    hand.open("small")
    hand.ready()
    hand.has_copy("/queue")
    lock(hand)
    come_back(hand)
    hand.page.wait_for_selector("#passcode")
    has_no_copies(hand)
    bench.stop()
    hand.page.goto(bench.page("small"))
    assert hand.page.inner_text("h1") == "No connection"


def test_an_answer_that_meets_a_locked_door_deletes_the_copies(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.ready()
    hand.has_copy("/queue")
    lock(hand)
    bench.meddle = lambda environ: "fail" if environ["PATH_INFO"] == "/door/state" else ""
    hand.read("12.61")
    has_no_copies(hand)


def test_a_trial_that_meets_a_locked_door_deletes_the_copies(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.ready()
    hand.has_copy("/queue")
    lock(hand)
    hand.page.locator("[name='step[0].readings[0].is']").press_sequentially("12.6")
    has_no_copies(hand)


def test_lock_now_deletes_the_copies_also_past_the_worker(bench: Bench, hand: Hand) -> None:
    hand.open("small")
    hand.ready()
    hand.has_copy("/queue")
    hand.page.evaluate("() => navigator.serviceWorker.getRegistration().then((found) => found.unregister())")
    hand.page.reload()
    settled(hand.page, "() => navigator.serviceWorker.ready.then(() => 0)")
    past = hand.page.context.new_cdp_session(hand.page)
    past.send("Network.enable")
    past.send("Network.setBypassServiceWorker", {"bypass": True})
    assert hand.copies() != []
    hand.page.tap("text=Lock now")
    hand.page.wait_for_selector("#passcode")
    has_no_copies(hand)


KEEP_OLD = """async ([path, hours]) => {
  const at = new Date(Date.now() - hours * 3600e3).toISOString();
  const headers = { "x-kept-at": at, "content-type": "text/html" };
  const copy = new Response("<body>of then</body>", { headers });
  await (await caches.open("corekit-pages-1")).put(path, copy);
}"""


@pytest.mark.parametrize("is_connected", [True, False])
def test_copies_of_half_a_day_ago_go_when_any_screen_is_opened(
    bench: Bench, hand: Hand, is_connected: bool
) -> None:
    hand.open("small")
    hand.ready()
    for path, hours in (("/old", 12.1), ("/young", 11.5), ("/to-come", -12.1)):
        settled(hand.page, KEEP_OLD, [path, hours])
    if not is_connected:
        bench.stop()
    hand.open("small")
    hand.until(f"() => {PAGES}.then((pages) => pages.match('/old')).then((one) => !one)")
    hand.until(f"() => {PAGES}.then((pages) => pages.match('/to-come')).then((one) => !one)")
    assert {"/young", "/bench/small"} <= set(hand.copies())


def test_copies_of_half_a_day_ago_go_when_the_worker_begins(bench: Bench, hand: Hand) -> None:
    hand.open("small")
    hand.ready()
    settled(hand.page, "() => navigator.serviceWorker.getRegistration().then((found) => found.unregister())")
    hand.page.goto(f"{bench.address}/door/state")  # past every worker, and without the script
    settled(hand.page, KEEP_OLD, ["/old", 13])
    settled(
        hand.page,
        "() => navigator.serviceWorker.register('/sw.js', { scope: '/' })"
        ".then(() => navigator.serviceWorker.ready).then(() => 0)",
    )
    hand.until(f"() => {PAGES}.then((pages) => pages.match('/old')).then((one) => !one)")
    hand.has_copy("/bench/small")


# ── small things ──


def test_a_signature_is_drawn_by_finger_and_cleared(bench: Bench, hand: Hand) -> None:
    hand.open("small")
    canvas = hand.page.locator("canvas")
    # Away from the bar at the foot, and at once: a place on a page that still scrolls is none.
    canvas.evaluate("(one) => one.scrollIntoView({ block: 'center', behavior: 'instant' })")
    box = canvas.bounding_box()
    assert box
    hand.page.mouse.move(box["x"] + box["width"] * 0.1, box["y"] + box["height"] / 2)
    hand.page.mouse.down()
    for part in (0.3, 0.6, 0.9, 1.4):  # beyond the edge: it ends there
        hand.page.mouse.move(box["x"] + box["width"] * part, box["y"] + box["height"] / 2)
    hand.page.mouse.up()
    assert canvas.get_attribute("aria-label") == "Signature, drawn"
    strokes = hand.page.evaluate("JSON.parse(document.querySelector('[name=signature]').value)")
    assert len(strokes) == 1
    xs, ys = strokes[0][::2], strokes[0][1::2]
    assert all(isinstance(number, int) for number in strokes[0])
    assert xs == pytest.approx([100, 300, 600, 900, 1000], abs=4)
    assert set(ys) <= {199, 200, 201}
    hand.page.tap("text=Clear the signature")
    assert hand.page.input_value("[name=signature]") == ""
    assert canvas.get_attribute("aria-label") == "Signature, empty"


def test_a_photo_is_made_small_and_says_nothing_of_where_it_was_taken(
    bench: Bench, hand: Hand, tmp_path: Path
) -> None:
    image = pytest.importorskip("PIL.Image")
    exif = image.Exif()
    exif.get_ifd(0x8825)[1] = "N"  # GPSLatitudeRef; Exif 2.32, table 15
    exif[0x010E] = "Lindquist, Elm Row 3"  # ImageDescription
    image.new("RGB", (4000, 3000), "gray").save(tmp_path / "large.jpg", exif=exif)
    hand.open("small")
    hand.page.set_input_files("#photo", tmp_path / "large.jpg")
    hand.page.wait_for_selector(".photo-shown img")
    hand.page.tap("button.main")
    hand.page.wait_for_url("**/bench/small?taken")
    sent = bench.posted[-1]["photo"]
    (tmp_path / "sent.jpg").write_bytes(sent)
    with image.open(tmp_path / "sent.jpg") as picture:
        assert picture.size == (1600, 1200)
        assert not picture.getexif()
    assert b"Lindquist" not in sent
    assert hand.watched.errors == []


def test_what_waits_is_counted_down_and_said_when_it_is_time(bench: Bench, hand: Hand) -> None:
    hand.page.clock.install(time="2026-11-25T14:08:30Z")
    hand.open("small?at=2026-11-25T14:20:00%2B00:00")
    assert hand.page.inner_text("time") == "14:20 (in 12 min)"
    hand.page.clock.run_for(11 * 60_000)
    assert hand.page.inner_text("time") == "14:20 (in 1 min)"
    hand.page.clock.run_for(60_000)
    assert hand.page.inner_text("time") == "14:20, now"
    assert hand.page.title().startswith("Due now")
    hand.says("Due now: Parasitic draw")


def test_a_list_is_filtered_by_what_is_typed(bench: Bench, hand: Hand) -> None:
    hand.open("small")
    hand.page.fill("#sought", "volt rest")
    assert hand.page.locator("#list li:visible").all_inner_texts() == ["Resting voltage"]
    assert hand.page.locator("#list h2:visible").all_inner_texts() == ["Electric"]


def test_a_new_job_from_a_kept_page_gets_an_id_of_its_own(bench: Bench, hand: Hand) -> None:
    hand.page.goto(f"{bench.address}/new")
    hand.ready()
    hand.page.goto(f"{bench.address}/new")
    hand.has_copy("/new")
    bench.stop()
    goals = []
    for _ in range(2):
        hand.page.goto(f"{bench.address}/new")
        goals.append(hand.page.get_attribute("form[data-begins]", "action"))
    assert len(set(goals)) == 2
