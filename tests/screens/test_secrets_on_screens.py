"""No secret leaves the shop by a screen: one is typed into every field that takes free words, and looked for
on what others see and, once the customer was forgotten, in everything that is kept.
"""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.desk.backup import back_up
from corekit.desk.publishing import token
from corekit.desk.settings import PUBLISHED
from corekit.desk.shop import Shop
from corekit.plugin.host import load
from corekit.reference import data_path
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.share.published import PublishedFolder
from corekit.web.page_app import page_app

from ..whole.chain import paper_text
from .everywhere import Form, forms_of, photo
from .word_fields import WordField, all_fields_of_words, bare, fields_of_words

SECRET = "Zebedee at 12 Hidden Lane"
#: Printed and published because their type says so; what is typed there names nobody. Prices are the shop's,
#: and so is what its own work and its parts are called.
PUBLIC = re.compile(r"(requested|ended)\.because$|^because$|repaired\.cause$|^work$|^parts\.(name|number)$")
NUMBER = re.compile(
    r"(\.is|odometer|amount|low|high|minutes|vin|percent|hours|net|price|quantity|\.of|wait|ago)$"
)
#: What is typed where no words are asked for, by the end of a field's name.
PLAIN = {
    ".is": "12.4 V",
    "minutes": "60",
    "odometer": "98400 km",
    "amount": "1.00",
    "low": "9.0 V",
    "high": "12.0 V",
    "plate": "DEMO-1",
    "vin": "",
    "reason": "Cranks slowly.",
    "description": "a car",
    "from": "label",
    "own": "",
    "how": "cash",
    "words": "a scratch",
    "because": "rust",
}

#: Where words were taken, so that this is no test of refusals.
WORDS = {
    *(
        "customer.address",
        "customer.name",
        "customer.phone",
        "reason",
        "vehicle.description",
        "vehicle.plate",
    ),
    *("step.remarked.words", "step.seen.words", "step.seen.cannot", "step.codes.cannot", "step.tried.words"),
    *("said", "own"),
}

#: Screens with fields of words that are none of a job, and why no secret of a customer is typed there.
OTHER_SCREENS = {
    "door.html": "the passcode, of which only a hash is kept",
    "job_row.html": "what is searched for, which is kept nowhere",
    "log.html": "names of an adapter of this machine, kept with no job",
    "shop.html": "what the shop says of itself, printed on every paper",
    "form.html": "the macros that make the fields",
}


def not_typed_into(typed: Mapping[str, set[str]]) -> set[WordField]:
    """Fields of words of all templates of screens into which no secret was typed, and none was withheld
    because its type is public.
    """
    every = all_fields_of_words(data_path("templates") / "screens", but=tuple(OTHER_SCREENS))
    return {field for field in every if not field.is_met_by(typed.get(field.template, set()))}


@attrs.define
class Typist:
    """Types the secret into the forms of screens, and knows where it was taken."""

    client: Any
    taken: set[str] = attrs.field(factory=set)
    used: set[str] = attrs.field(factory=set)
    typed: dict[str, set[str]] = attrs.field(factory=dict)
    last: str = ""

    @classmethod
    def at(cls, app: Any) -> Typist:
        """Somebody who types into these screens, and knows from which templates each was made."""
        typist = cls(app.test_client())
        load = app.jinja_env.get_template

        def get_template(name: Any, *rest: Any, **more: Any) -> Any:
            typist.used.add(getattr(name, "name", name))
            return load(name, *rest, **more)

        app.jinja_env.get_template = get_template
        return typist

    def shown(self, path: str, chosen: Collection[str] = ()) -> list[Form]:
        """The forms of a screen; what is typed into them is typed into all templates that made it. What was
        chosen instead is not, unless its type is public.
        """
        self.used.clear()
        forms = forms_of(self.client.get(path, follow_redirects=True).text)
        names = {name for form in forms for name in form.texts}
        for template in self.used:
            self.typed.setdefault(template, set()).update(
                name for name in names if name not in chosen or PUBLIC.search(bare(name))
            )
        return forms

    def screen(self, path: str, *choices: tuple[str, str]) -> None:
        """Every form of a screen: the secret in each field of numbers by itself, then in all that take words
        at once, and where that is refused in one of them after the other.

        Args:
            choices: Answers that a form needs besides.
        """
        chosen = dict(choices)
        for form in self.shown(path, chosen):
            fields = [name for name in form.texts if not PUBLIC.search(bare(name)) and name not in chosen]
            words = [name for name in fields if not NUMBER.search(name)]
            for name in set(fields) - set(words):
                self._send(form, {name: SECRET}, choices)
            if words and not self._send(form, dict.fromkeys(words, SECRET), choices):
                for name in words:
                    self._send(form, {name: SECRET}, choices)
            if not words:
                self._send(form, {}, choices)

    def _send(self, form: Form, typed: dict[str, str], choices: tuple[tuple[str, str], ...]) -> bool:
        plain = {
            name: next((text for end, text in PLAIN.items() if name.endswith(end)), "") for name in form.texts
        }
        reply = self.client.post(form.action, data=form.filled("") | plain | dict(choices) | typed)
        if reply.status_code not in (200, 303):
            assert reply.status_code in (409, 422), (form.action, reply.status_code)
            return False
        self.last = reply.headers.get("Location", self.last)
        self.taken |= {re.sub(r"\[\d+\]", "", name) for name in typed}
        return True


@pytest.fixture
def shop(empty_shop: Path) -> Iterator[Shop]:
    with Shop(empty_shop, plugins=load()) as opened:
        yield opened


def test_a_secret_in_every_field_of_every_screen_is_nowhere_but_with_its_customer(shop: Shop) -> None:
    typist = Typist.at(work_app(Van(shop.context), NoAuth()))
    typist.screen("/new", ("complaint.symptoms|list", "cranks_slowly"))
    (job,) = [row.id for row in shop.store.open_jobs(9)]
    typist.screen(f"/job/{job}/arrive")
    shop.estimate(job, "diagnosis")
    typist.screen(f"/job/{job}/diagnosis", ("how", "by message"))
    assert shop.store.job(job).approvals
    for path in (
        "test/battery.open_circuit_voltage",
        "test/battery.case",
        "codes",
        "tried/battery.battery/renewed",
        "tried/battery.battery/swapped",
        "requested",
        "waive",
        "photos",
        "deposit",
        "leave",
        "hand",
    ):
        typist.screen(f"/job/{job}/{path}")
    limit = (("specification[0].low", "14.2 V"), ("specification[0].high", "14.9 V"))
    typist.screen(f"/job/{job}/limit/battery.charging_voltage", *limit)
    picture = (io.BytesIO(base64.b64decode(photo())), "photo.jpg")
    typist.typed["photos.html"] = {"what"}
    sent = {"photo": picture, "what": SECRET, "answer": "a-photo-of-a-scratch"}
    assert typist.client.post(f"/job/{job}/photo", data=sent).status_code == 303
    seen = next(noted for noted in shop.store.job(job).standing if noted.entry.kind == "seen")
    typist.screen(f"/job/{job}/record/{seen.id}")
    part = (("parts[0].name", "Blade"), ("parts[0].price", "4.20"), ("parts[0].condition", "new"))
    own = (("ground", "judgement"), ("work", "Wipers"), ("because", "worn"))
    for path in ("price/battery.replace", "own"):
        typist.screen(f"/job/{job}/{path}", ("keep", "job"), ("hours", "0.5"), *own, *part)
    assert set(shop.store.job(job).priced) == {"battery.replace", "Wipers"}
    typist.screen(f"/job/{job}/plan", ("on", "2030-01-02"))
    drain = typist.client.get(f"/job/{job}/samples/battery.drain_log")
    assert drain.status_code == 200
    points = {"points": SECRET, "answer": "points-that-are-no-numbers"}
    assert typist.client.post(f"/job/{job}/samples/battery.drain_log", data=points).status_code == 422
    typist.typed["samples.html"] = {"points"}
    repair = shop.estimate(job, "repair")
    typist.shown(f"/job/{job}/estimate")  # takes why all is declined, which is public
    shop.approve(repair, by="customer", how="in person")
    typist.shown(f"/job/{job}/repair")  # takes a cause, which is public
    typist.shown(f"/job/{job}/end")  # takes how a job ended, which is public
    assert typist.taken >= WORDS
    assert not_typed_into(typist.typed) == set()
    invoice = shop.issue(job)
    assert "Zebedee" in paper_text(invoice.pdf), "else this test shows nothing"
    shop.publish()
    app = page_app(PublishedFolder(shop.context.folder / PUBLISHED), bearer=None, demo=True)
    code = {"code": token(shop.context, invoice.document.id, 1)}
    for path in ("/v/open", "/v/paper"):
        seen = app.test_client().post(path, data=code)
        assert seen.status_code == 200
        shown = paper_text(seen.data) if path == "/v/paper" else seen.text
        assert "Zebedee" not in shown
    for published in (shop.context.folder / PUBLISHED).iterdir():
        assert b"Zebedee" not in published.read_bytes()
    back_up(shop.context)
    shop.forget(job)
    assert shop.verify().faults == ()
    for path in shop.context.folder.rglob("*"):
        if path.is_file():
            assert b"Zebedee" not in path.read_bytes(), path


@pytest.mark.parametrize(
    "planted",
    [
        '{{ form.words("step[0].remarked.gossip", "What the neighbours say", rows=2) }}',
        '{% if often %}{{ form.line(row ~ ".gossip", "What the neighbours say") }}{% endif %}',
        '<input id="g" name="{{ row }}.gossip" type="text" maxlength="80">',
        '<textarea name="gossip" rows="2"></textarea>',
    ],
)
def test_a_field_of_words_that_is_planted_into_a_screen_is_found_missing(planted: str) -> None:
    (field,) = fields_of_words(f"<form>{planted}</form>", "guided.html")
    assert field.ending.endswith("gossip")
    assert not field.is_met_by({"step[0].remarked.words", "step[3].seen.words", "reason"})
    assert field.is_met_by({"step[0].remarked.gossip", "step[0].gossip"})


def test_fields_that_take_no_words_are_not_asked_for() -> None:
    source = (
        '{{ form.line("hours", "Hours", mode="decimal") }}{{ form.line("on", "Day", type="date") }}'
        '{{ form.quantity("a.is", "Voltage", units) }}<input type="radio" name="b">'
        '<input name="c" type="file">'
        '<input type="hidden" name="d"><input id="sought" type="text">'
    )
    assert fields_of_words(source, "guided.html") == set()
