"""The script of the screens in a real Chromium, by touch on a phone's screen, behind the real door: nothing that was answered is lost, whatever dies.

The screens here are the test's own, made with the pieces of form.html; what they post goes to the real record. What is expected of the browser is of the
standards: Fetch, Service Workers, Web Locks, Indexed Database; of the answers, issue 5 of this project.
"""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import attrs
import flask
import jinja2
import pytest
from markupsafe import escape

from corekit.desk.answering import Answer
from corekit.desk.setup import found
from corekit.desk.shop import Shop
from corekit.model.records import Measured
from corekit.reference import data_path
from corekit.work.app import work_app
from corekit.work.door import PasscodeDoor
from corekit.work.exchange import lead
from corekit.work.passcode import set_passcode
from corekit.work.serving import server_for
from corekit.work.van import Van

from ..conftest import Watched

pytestmark = pytest.mark.browser

CODE = "471108"
TEXT = "starts badly since the Lindquist wedding"  # personal; nobody else's words
READING = """
{% extends "base.html" %}{% import "form.html" as form with context %}
{% block title %}Reading {{ n }}{% endblock %}
{% block body %}
<h1>Reading {{ n }}</h1>
<form method="post" action="/job/{{ job }}/answer" data-answer data-try="/bench/try">
{{ form.own("/bench/" ~ job ~ "/" ~ (n + 1)) }}
<input type="hidden" name="step[0].readings[0].of" value="battery.rest_voltage">
{{ form.top_faults(["step[0].readings[0].is"]) }}
{{ form.quantity("step[0].readings[0].is", "Resting voltage", ["V", "mV"]) }}
<div class="trial" data-trial></div>
{{ form.thumb("Keep") }}
</form>
{% endblock %}
"""
SMALL = """
{% extends "base.html" %}{% import "form.html" as form with context %}
{% block waiting %}<ul class="waiting"><li>Key-off current: look again at <time datetime="{{ at }}" data-again>14:20</time></li></ul>{% endblock %}
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
<div class="field" data-filter="list" hidden><label for="sought">Find one</label><input id="sought" type="text"></div>
<div id="list"><h2>Electric</h2><ul><li>Resting voltage</li><li>Charging voltage</li></ul><h2>Air</h2><ul><li>Flow</li></ul></div>
<form method="post" action="/door/lock"><input type="hidden" name="guard" value="{{ guard() }}"><button class="other">Lock now</button></form>
{% endblock %}
"""


@attrs.define
class Bench:
    """The screens behind their door, on a server that can be killed and started again; `posted` is what came in, `meddle` what a bad line does to it."""

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
            return [b""]
        return self.app(environ, start_response)

    def start(self) -> None:
        self.server = server_for(self, port=self.port)
        self.port = self.server.bind_addr[1]
        self.thread = threading.Thread(target=self.server.serve, daemon=True)
        self.thread.start()

    def stop(self) -> None:
        if self.server:
            self.server.stop()
            self.thread.join(20)
            self.server = None

    def readings(self) -> list[str]:
        """What stands in the journal, in its order."""
        return [noted.record.typed for noted in self.shop.store.job(self.job).standing if isinstance(noted.record, Measured)]

    def ids(self) -> list[str]:
        return [post["answer"] for post in self.posted]

    def page(self, n: int | str) -> str:
        return f"{self.address}/bench/{self.job}/{n}" if isinstance(n, int) else f"{self.address}/bench/{n}"


def _bench(folder: Path) -> Bench:
    shutil.copytree(data_path("demo") / "shop", folder)
    found(folder, demo=True)
    set_passcode(folder, CODE)
    shop = Shop(folder)
    rows = {"reason": "starts badly", "vehicle": {"told": "a small van", "no_vin": "not readable"}}
    begun = shop.answer(None, Answer(id="begins-the-job-of-this-test", rows=rows))
    app = work_app(Van(shop), PasscodeDoor(shop=folder))
    bench = Bench(shop=shop, app=app, posted=[], job=begun.job)
    screens = {"reading.html": READING, "small.html": SMALL}
    app.jinja_loader = jinja2.ChoiceLoader([jinja2.DictLoader(screens), app.jinja_loader])  # type: ignore[list-item]

    @app.before_request
    def seen() -> None:
        if flask.request.method == "POST" and "answer" in flask.request.form:
            files = {name: file.stream.read() for name, file in flask.request.files.items()}
            bench.posted.append(flask.request.form.to_dict() | files | {"path": flask.request.path})

    @app.get("/bench/<job>/<int:n>")
    def reading(job: str, n: int) -> str:
        return flask.render_template("reading.html", job=job, n=n)

    @app.get("/bench/small")
    def small() -> str:
        return flask.render_template("small.html", at=flask.request.args.get("at", "2026-11-25T14:20:00+00:00"))

    @app.post("/bench/take")
    def take() -> flask.Response:
        return lead("/bench/small?taken")

    @app.post("/bench/try")
    def tried() -> str:
        text = flask.request.form.get("step[0].readings[0].is", "")
        if "?" in text:
            return '<p>1.73 V?</p><button type="button" data-fill="step[0].readings[0].is" data-value="1.73 V">1.73 V</button>'
        return f"<p>understood: {escape(text)}</p>"

    bench.start()
    return bench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    bench = _bench(tmp_path / "shop")
    yield bench
    bench.stop()
    bench.shop.close()


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

    def says(self, text: str) -> None:
        self.page.wait_for_function("text => document.getElementById('line')?.textContent.includes(text)", arg=text)

    def at(self, path: str) -> None:
        self.page.wait_for_function("path => location.pathname + location.search === path && document.readyState === 'complete'", arg=path)

    def open(self, n: int | str) -> None:
        self.page.goto(self.bench.page(n))

    def read(self, text: str) -> None:
        self.page.fill("[name='step[0].readings[0].is']", text)
        self.page.tap("button.main")

    def ready(self) -> None:
        """Wait until this phone has its copies."""
        self.page.wait_for_function("navigator.serviceWorker.controller")

    def copies(self) -> list[str]:
        """Paths of the screens of which the phone has a copy."""
        return list(self.page.evaluate("caches.open('corekit-pages-1').then((pages) => pages.keys()).then((all) => all.map((one) => one.url.slice(21)))"))

    def queue(self) -> list[Any]:
        return list(self.page.evaluate("items()"))

    def kept(self) -> str:
        """Everything that this phone keeps, as text."""
        return str(
            self.page.evaluate(
                """async () => {
                  const found = [JSON.stringify(await items()), JSON.stringify({...localStorage}), JSON.stringify({...sessionStorage})];
                  for (const name of await caches.keys()) {
                    const cache = await caches.open(name);
                    for (const one of await cache.keys()) { if (!one.url.endsWith('.ttf')) { found.push(await (await cache.match(one)).text()); } }
                  }
                  return found.join(' ');
                }"""
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
    hand.page.evaluate("() => { const button = document.querySelector('button.main'); button.click(); button.click(); button.form.requestSubmit(); }")
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


def test_what_cannot_be_is_not_asked_and_its_guess_fills_the_field_too(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.read("1265")
    hand.page.wait_for_selector("button:text-is('12.65 V')")
    assert hand.page.locator("text=It really reads so").count() == 0
    hand.page.tap("button:text-is('12.65 V')")
    assert hand.page.input_value("[name='step[0].readings[0].is']") == "12.65 V"


def test_what_really_reads_so_is_taken_after_one_tap(bench: Bench, hand: Hand) -> None:
    hand.open(1)
    hand.read("9.1")
    hand.page.tap("text=It really reads so")
    hand.at(f"/bench/{bench.job}/2")
    assert bench.readings() == ["9.1 V"]
    assert bench.posted[-1]["step[0].readings[0].confirmed|yes"] == "yes"
