"""An invented shop whose jobs stand at every step of a visit, for whoever looks at all screens.

Everything in it is invented.
"""

from __future__ import annotations

import base64
import io
import itertools
import secrets
import tomllib
from collections.abc import Callable
from datetime import date, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import attrs

from corekit.desk.estimating import estimate_named
from corekit.desk.jobs import job_named, photograph
from corekit.desk.photos import choose_photo
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.model.money import Money
from corekit.reference import data_path

REPLACE, DRAIN, CLEAN, CHARGE = (
    "battery.replace",
    "battery.trace_draw",
    "battery.clean_contacts",
    "battery.charge",
)
CUSTOMER = {"name": "Example Customer", "phone": "000 0001"}
FLEET = {"name": "Invented Deliveries", "address": "9 Made-up Road, Sampleton", "phone": "000 0009"}
LONG = "five-door estate with the long wheelbase, 1.4 petrol with gas conversion, first registered 2014"
SIGNED = "[[120, 260, 200, 120, 260, 300, 330, 180, 400, 250], [420, 220, 520, 200, 600, 240, 760, 160]]"
_numbers = itertools.count(1)


def say(shop: Shop, job: str | None, **rows: Any) -> str:
    return add_rows(shop.context, job, rows, request_id=secrets.token_urlsafe(18)).job


def begin(shop: Shop, reason: str = "Does not crank after two days at the kerb.", **rows: Any) -> str:
    told = {
        "plate": f"DEMO-{next(_numbers)}",
        "description": "five-door, 1.4 petrol, 2014",
        "odometer": "98400 km",
    }
    return say(shop, None, **({"reason": reason, "vehicle": told, "customer": CUSTOMER} | rows))


def approve(
    shop: Shop,
    job: str,
    stage: str,
    *declined: str,
    signature: str = "",
    how: str = "in person",
    words: str = "",
) -> None:
    shop.approve(
        shop.estimate(job, stage), by="customer", how=how, declined=declined, signature=signature, words=words
    )


def looking(shop: Shop, **rows: Any) -> str:
    """A job with its diagnosis approved."""
    job = begin(shop, **rows)
    approve(shop, job, "diagnosis")
    return job


def _visit_file(name: str) -> Path:
    of_demo = list((data_path("demo") / "jobs").glob(f"[0-9]-{name}.toml"))
    return of_demo[0] if of_demo else Path(__file__).parents[1] / "visits" / f"{name}.toml"


def steps_of(name: str) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """A job of the demo: what stands at its head, and its steps without the approvals and the money."""
    visit = tomllib.loads(_visit_file(name).read_text("utf-8"))
    return visit, [step for step in visit["step"] if not {"approved", "paid"} & set(step)]


def read(shop: Shop, name: str, *, first: int | None = None, **rows: Any) -> str:
    """A job of the demo whose diagnosis is approved, with what was read in it before the first repair;
    `first`: only so many steps of it.
    """
    visit, steps = steps_of(name)
    job = looking(shop, reason=visit["reason"], vehicle=visit["vehicle"], **rows)
    say(shop, job, traits=visit["traits"])
    before = list(itertools.takewhile(lambda step: "repaired" not in step, steps))
    for step in before[:first]:
        say(shop, job, step=[step])
    return job


def later(shop: Shop, job: str, name: str, *, until: str = "") -> None:
    """The steps of a demo job from its first repair on; `until`: up to the repair with this operation."""
    for step in itertools.dropwhile(lambda step: "repaired" not in step, steps_of(name)[1]):
        if until and step.get("repaired", {}).get("operation") == until:
            return
        say(shop, job, step=[step])


# ---- one job for each place at which a visit can stand


def just_begun(shop: Shop) -> str:
    return begin(shop)


def long_words(shop: Shop) -> str:
    """Everything that people say is long."""
    told = {"plate": "DEMO-LONG-PLATE-1", "description": LONG, "odometer": "1398400 km"}
    return looking(
        shop,
        reason=(
            "It does not crank after two days at the kerb, and when it does it shakes, and the lamp with the"
            " engine is on, but only in the rain and never when my brother-in-law drives it to the quarry and"
            " back."
        ),
        vehicle=told,
        customer=FLEET | {"name": "Invented Deliveries and Removals of Upper and Lower Sampleton, limited"},
    )


def with_symptoms(shop: Shop) -> str:
    """A complaint from the list, with what comes before anything else."""
    return looking(
        shop,
        reason="It smells of eggs and cranks slowly.",
        complaint={"symptoms": ["smells_of_eggs", "cranks_slowly"], "when": ["cold"], "shows": "often"},
    )


def no_number(shop: Shop) -> str:
    return begin(
        shop,
        vehicle={"description": "pick-up, rust all over", "no_vin": "not readable"},
        customer={"phone": "000 0002"},
    )


def diagnosis_estimated(shop: Shop) -> str:
    job = begin(shop)
    shop.estimate(job, "diagnosis")
    return job


def diagnosis_approved(shop: Shop) -> str:
    job = begin(shop)
    approve(shop, job, "diagnosis", signature=SIGNED)
    return job


def one_reading(shop: Shop) -> str:
    return read(shop, "worn-battery", first=2)


def undecided(shop: Shop) -> str:
    return read(shop, "undecided")


def confirmed(shop: Shop) -> str:
    """An odd reading that was asked about and stands; one that was taken back."""
    visit, _ = steps_of("worn-battery")
    job = looking(shop)
    say(shop, job, traits=visit["traits"])
    say(
        shop,
        job,
        step=[
            {
                "setup": {"battery.temperature": "4 °C"},
                "readings": [{"of": "battery.open_circuit_voltage", "is": "15.2 V", "confirmed": True}],
            }
        ],
    )
    say(
        shop,
        job,
        step=[
            {
                "seen": [
                    {"of": "battery.level", "cannot": "sealed lid"},
                    {"of": "battery.case", "words": "an odd label, painted over"},
                ]
            }
        ],
    )
    return job


def waiting(shop: Shop) -> str:
    job = read(shop, "worn-battery", first=2)
    say(shop, job, step=[{"started": {"of": "battery.parasitic_draw", "wait": "40 min"}}])
    return job


def codes(shop: Shop) -> str:
    return read(shop, "three-faults", first=1)


def own_limit(shop: Shop) -> str:
    job = one_reading(shop)
    say(
        shop,
        job,
        specification=[
            {
                "of": "battery.charging_voltage",
                "low": "14.2 V",
                "high": "14.9 V",
                "from": "label under the bonnet",
            }
        ],
    )
    return job


def found(shop: Shop) -> str:
    return read(shop, "three-faults")


def wished(shop: Shop) -> str:
    job = found(shop)
    say(
        shop,
        job,
        step=[
            {"requested": {"operation": CHARGE, "ground": "judgement", "because": "it stood for two weeks"}}
        ],
    )
    say(shop, job, step=[{"waived": {"operation": CHARGE, "because": "goodwill"}}])
    return job


def repair_estimated(shop: Shop) -> str:
    job = found(shop)
    shop.estimate(job, "repair")
    return job


def moved_on(shop: Shop) -> str:
    """Something was added after the paper was made."""
    job = repair_estimated(shop)
    say(shop, job, step=[{"requested": {"operation": CHARGE, "ground": "customer"}}])
    return job


def partly_declined(shop: Shop) -> str:
    job = found(shop)
    approve(
        shop,
        job,
        "repair",
        "egr.clean",
        how="by message",
        words="Yes to the battery and the lead, not the rest. See you.",
    )
    return job


def half_repaired(shop: Shop) -> str:
    job = read(shop, "worn-battery")
    approve(shop, job, "repair")
    later(shop, job, "worn-battery", until=DRAIN)
    return job


def to_show(shop: Shop) -> str:
    """Repaired; the retest is to come."""
    job = read(shop, "worn-battery")
    approve(shop, job, "repair", DRAIN)
    say(shop, job, step=[{"repaired": {"operation": REPLACE}}])
    return job


def not_shown(shop: Shop) -> str:
    job = read(shop, "worn-battery")
    approve(shop, job, "repair", REPLACE)
    say(shop, job, step=[{"repaired": {"operation": DRAIN}}])
    say(
        shop,
        job,
        step=[
            {
                "setup": {"battery.sleep_time": "40 min"},
                "readings": [{"of": "battery.parasitic_draw", "is": "0.37 A", "with": "meter"}],
            }
        ],
    )
    return job


def left(shop: Shop) -> str:
    job = read(shop, "worn-battery")
    approve(shop, job, "repair")
    say(shop, job, step=[{"paid": {"amount": "100.00", "how": "cash"}}])
    say(
        shop,
        job,
        step=[{"left": {"because": "part missing", "back": (date.today() + timedelta(days=3)).isoformat()}}],
    )
    return job


def nothing_came(shop: Shop) -> str:
    job = looking(shop)
    say(shop, job, step=[{"ended": {"how": "no fault found", "because": "It started at once, five times"}}])
    return job


def declined(shop: Shop) -> str:
    job = repair_estimated(shop)
    say(shop, job, step=[{"ended": {"how": "declined", "because": "Too dear for a car of this age."}}])
    return job


def all_done(shop: Shop) -> str:
    job = read(shop, "worn-battery")
    approve(shop, job, "repair")
    later(shop, job, "worn-battery")
    return job


def unpaid(shop: Shop) -> str:
    job = all_done(shop)
    shop.issue(job)
    return job


def paid(shop: Shop) -> str:
    job = read(shop, "undecided")
    say(shop, job, step=[{"paid": {"amount": "60.00", "how": "cash"}}])
    shop.issue(job)
    shop.publish(job)
    return job


def paid_later(shop: Shop) -> str:
    """Two payments after the invoice, one of them with its receipt."""
    job = read(shop, "undecided")
    shop.issue(job)
    for amount in ("20.00", "10.00"):
        shop.pay(job, Money.of(amount, "EUR"), "bank transfer")
    shop.receipt(job)
    return job


def together(shop: Shop) -> str:
    """One invoice over two vans; a third is still open."""
    jobs = [
        looking(shop, customer=FLEET, vehicle={"plate": f"XX {n}", "description": "panel van, white"})
        for n in (1, 2, 3)
    ]
    for job in jobs:
        say(shop, job, step=[{"requested": {"operation": CLEAN, "ground": "customer"}}])
        approve(shop, job, "repair")
        say(shop, job, step=[{"repaired": {"operation": CLEAN}}])
    shop.issue_together(jobs[:2])
    return jobs[0]


def together_to_come(shop: Shop) -> str:
    """Two open jobs of one customer."""
    jobs = [
        looking(
            shop,
            customer=FLEET | {"name": "Sample Couriers"},
            vehicle={"plate": f"YY {n}", "description": "pick-up, grey"},
        )
        for n in (1, 2)
    ]
    return jobs[0]


def by_phone(shop: Shop) -> str:
    """A price for a car that nobody has seen."""
    job = begin(shop, vehicle={"description": "five-door, 1.4 petrol", "no_vin": "not seen yet"})
    say(shop, job, step=[{"requested": {"operation": REPLACE, "ground": "customer"}}])
    shop.estimate(job, "repair")
    return job


def by_phone_approved(shop: Shop) -> str:
    job = by_phone(shop)
    shop.approve(estimate_named(shop.context, job_named(shop.context, job)), by="customer", how="by phone")
    return job


def second_car(shop: Shop) -> str:
    first = looking(shop)
    return begin(shop, step=[{"arrived": {"same_trip_as": shop.store.job(first).name}}])


def photographed(shop: Shop) -> str:
    job = diagnosis_approved(shop)
    photograph(shop.context, job, photo(), what="a scratch along the left door")
    of_case = photograph(shop.context, job, photo(), of="battery.case", what="")
    choose_photo(shop.context, job, of_case.id, photo())
    return job


def photo() -> str:
    """A small grey picture, as the screens keep them."""
    from PIL import Image

    out = io.BytesIO()
    Image.linear_gradient("L").resize((640, 420)).save(out, "JPEG")
    return base64.b64encode(out.getvalue()).decode("ascii")


#: Where a job can stand → what makes one that stands there.
STANDS: dict[str, Callable[[Shop], str]] = {
    make.__name__.replace("_", " "): make
    for make in (
        just_begun,
        long_words,
        with_symptoms,
        no_number,
        diagnosis_estimated,
        diagnosis_approved,
        one_reading,
        undecided,
        confirmed,
        waiting,
        codes,
        own_limit,
        found,
        wished,
        repair_estimated,
        moved_on,
        partly_declined,
        half_repaired,
        to_show,
        not_shown,
        left,
        nothing_came,
        declined,
        all_done,
        unpaid,
        paid,
        paid_later,
        together,
        together_to_come,
        by_phone,
        by_phone_approved,
        second_car,
        photographed,
    )
}


def fill(shop: Shop) -> dict[str, str]:
    """A job at every place: where it stands → its id."""
    return {name: make(shop) for name, make in STANDS.items()}


# ---- all screens, by following links


class Skeleton(HTMLParser):
    """A screen without its words: which elements of which class stand in it, where its links lead, and its
    words apart.
    """

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: set[tuple[str, str]] = set()
        self.links: list[str] = []
        self.words: list[str] = []
        self._unseen = 0
        self._in_paper = 0
        self.feed(text)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attributes}
        # The paper is a page of its own, with its own tests: what stands in it makes no other screen.
        self._in_paper += tag == "article" or (self._in_paper and tag not in _VOID)
        if not self._in_paper and tag not in _INLINE:
            self.elements.add((tag, f"{given.get('class', '')} {given.get('type', '')}".strip()))
        address = (
            given.get("href")
            or given.get("src")
            or (given.get("action", "") if given.get("method", "get") == "get" else "")
        )
        if address:
            self.links.append(address.partition("#")[0])
        self._unseen += tag in ("script", "style")
        self.words += [
            given[name] for name in ("alt", "aria-label", "placeholder", "title") if given.get(name)
        ]
        if tag == "input" and given.get("type", "text") == "text" and given.get("value"):
            self.words.append(given["value"])

    def handle_endtag(self, tag: str) -> None:
        self._in_paper -= bool(self._in_paper)
        self._unseen -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self._unseen and data.strip():
            self.words.append(" ".join(data.split()))


#: Elements whose coming and going makes no other kind of screen.
_INLINE = {
    "strong",
    "em",
    "b",
    "span",
    "p",
    "br",
    "li",
    "time",
    "option",
    "tbody",
    "tr",
    "path",
    "line",
    "circle",
    "rect",
    "text",
    "tspan",
    "g",
    "title",
    "desc",
}
_VOID = {"meta", "link", "input", "img", "br", "hr"}


@attrs.frozen(kw_only=True)
class Screen:
    """One screen as the server gave it.

    Attributes:
        rule: The address it is declared under. kind: The same for screens that are built alike.
    """

    path: str
    rule: str
    kind: tuple[str, frozenset[tuple[str, str]]]
    words: tuple[str, ...]

    @property
    def text(self) -> str:
        return "\n".join(self.words)


def crawl(app: Any) -> tuple[dict[str, int], list[Screen]]:
    """From the first screen by every own link; what is one test, limit, trial or entry only once and not
    again in each job.
    """
    client, adapter = app.test_client(), app.url_map.bind("")
    statuses: dict[str, int] = {}
    screens: list[Screen] = []
    to_see, led_to, known = ["/", "/queue", "/nothing/here"], set[str](), set[tuple[Any, ...]]()
    while to_see:
        path = to_see.pop(0)
        if path == "/nothing/here":
            rule, arguments = path, {}
        else:
            matched, arguments = adapter.match(path.partition("?")[0], return_rule=True)
            rule = matched.rule
        once = (
            (rule, arguments.get("key", ""), "place=" in path)
            if "key" in arguments
            else (rule, arguments["part"], arguments.get("how", ""), "place=" in path)
            if "part" in arguments
            else (rule, arguments["job"])
            if "entry" in arguments
            else (path,)
        )
        if path in statuses or (once in known and path not in led_to):
            continue
        known.add(once)
        reply = client.get(path)
        statuses[path] = reply.status_code
        if reply.status_code == 303:
            to_see.append(reply.headers["Location"])
            led_to.add(to_see[-1])  # where a visit stands is seen in each job
        elif reply.mimetype == "text/html":
            skeleton = Skeleton(reply.text)
            to_see += [link for link in skeleton.links if link.startswith("/")]
            screens.append(
                Screen(
                    path=path,
                    rule=rule,
                    kind=(rule, frozenset(skeleton.elements)),
                    words=tuple(skeleton.words),
                )
            )
    return statuses, screens


def kinds(screens: list[Screen]) -> list[Screen]:
    """One screen of each kind, by address."""
    return sorted(
        {screen.kind: screen for screen in reversed(screens)}.values(), key=lambda screen: screen.rule
    )


def new_in(screens: list[Screen]) -> set[str]:
    """Addresses of so many of these screens that every element of every kind of address stands on one of
    them, those with the most in them first.
    """
    shown: set[tuple[str, tuple[str, str]]] = set()
    found: set[str] = set()
    for screen in sorted(screens, key=lambda one: -len(one.kind[1])):
        here = {(screen.rule, element) for element in screen.kind[1]}
        if not here <= shown:
            shown |= here
            found.add(screen.path)
    return found


def richest(screens: list[Screen]) -> list[Screen]:
    """One screen of each address, the one with the most in it."""
    return sorted(
        {screen.rule: screen for screen in sorted(screens, key=lambda one: len(one.kind[1]))}.values(),
        key=lambda screen: screen.rule,
    )


@attrs.define
class Form:
    """A form that is posted: what stands in it, which of its fields take text, its first button
    with a name.
    """

    action: str
    fields: list[tuple[str, str]] = attrs.field(factory=list)
    texts: list[str] = attrs.field(factory=list)
    button: tuple[str, str] | None = None

    def filled(self, text: str) -> dict[str, str]:
        """The form with this text in every field that takes one, the first answer of each choice and its
        first button pressed.
        """
        given = dict(reversed(self.fields)) | dict.fromkeys(self.texts, text)
        return (
            given
            | ({self.button[0]: self.button[1]} if self.button else {})
            | {"answer": secrets.token_urlsafe(18)}
        )


class _Forms(HTMLParser):
    def __init__(self, *also: str) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self._of_text = ("text", "date", *also)
        self._open = False

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attributes}
        if tag == "form":
            self._open = given.get("method") == "post" and "multipart" not in given.get("enctype", "")
            if self._open:
                self.forms.append(Form(given["action"]))
        name = given.get("name", "")
        if not self._open or not name:
            return
        form, kind = self.forms[-1], given.get("type", "text")
        if tag == "textarea" or (tag == "input" and kind in self._of_text):
            form.texts.append(name)
        elif tag == "input" and kind != "checkbox":
            form.fields.append((name, given.get("value", "")))
        elif tag == "button" and form.button is None:
            form.button = (name, given.get("value", ""))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = False


def forms_of(text: str, *, also: tuple[str, ...] = ()) -> list[Form]:
    """The forms of a page that are posted; `also`: further types of fields that take text."""
    parser = _Forms(*also)
    parser.feed(text)
    return parser.forms
