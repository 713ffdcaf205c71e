"""No secret leaves the shop by a screen: one is typed into every field that takes free words, and looked for
on what others see and, once the customer was forgotten, in everything that is kept.
"""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.desk.backup import back_up
from corekit.desk.publishing import token
from corekit.desk.settings import PUBLISHED
from corekit.desk.shop import Shop
from corekit.plugin.host import load
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.share.published import PublishedFolder
from corekit.web.page_app import page_app

from ..whole.chain import paper_text
from .everywhere import Form, forms_of, photo

SECRET = "Zebedee at 12 Hidden Lane"
#: Printed and published because their type says so; what is typed there names nobody. Prices are the shop's,
#: and so is what its own work and its parts are called.
PUBLIC = re.compile(r"(requested|ended)\.because$|repaired\.cause$|^work$|^parts\[\d+\]\.(name|number)$")
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


@attrs.define
class Typist:
    """Types the secret into the forms of screens, and knows where it was taken."""

    client: Any
    taken: set[str] = attrs.field(factory=set)
    last: str = ""

    def screen(self, path: str, *choices: tuple[str, str]) -> None:
        """Every form of a screen: the secret in each field of numbers by itself, then in all that take words
        at once, and where that is refused in one of them after the other.

        Args:
            choices: Answers that a form needs besides.
        """
        for form in forms_of(self.client.get(path, follow_redirects=True).text):
            chosen = dict(choices)
            fields = [name for name in form.texts if not PUBLIC.search(name) and name not in chosen]
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
    typist = Typist(work_app(Van(shop.context), NoAuth()).test_client())
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
    assert typist.taken >= WORDS
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
