"""Errors on the mechanic's screens in German: each that the source can raise has its sentence there, and
whatever is typed wrongly comes back without an English one.

Words are German as any dictionary has them, from memory.
"""

from __future__ import annotations

import io
import re
import secrets
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from werkzeug.test import TestResponse

from corekit import units
from corekit.desk.shop import Shop
from corekit.report.tongue import Tongue, own_words, tongue_of
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.web.auth import PasscodeAuth
from corekit.web.passcode import set_passcode

from ..screens import everywhere
from .error_texts import Collector, Text
from .test_german_screens import shop_in

ROOT = Path(__file__).parents[2]

#: The command line, the kit for who writes a plugin, and questions over many jobs show no screen.
FOLDERS = frozenset({"cli", "testing", "fleet"})
#: What else never reaches a screen, by module or folder, and why.
NOT_SHOWN = {
    "plugin/fault_file.py": "read when a system is loaded; the terminal of its author says it",
    "plugin/limit_file.py": "read when a system is loaded",
    "plugin/learned.py": "learned chances are read by a command",
    "plugin/own_unit.py": "declared when a system is loaded",
    "plugin/addition.py": "added when a system is loaded",
    "plugin/explained.py": "a command lists plugins",
    "plugin/api.py": "asked when a system is loaded",
    "unit_table.py": "units are declared when a system is loaded",
    "channels_file.py": "a table of the core, read when it starts",
    "jurisdiction_file.py": "a table of the core, read when it starts",
    "complaints_file.py": "a table of the core and of systems, read when they are loaded",
    "channels.py": "a table of the core, read when it starts",
    "jurisdictions.py": "a table of the core, read when it starts",
    "reference.py": "tables of the core, read when it starts",
    "complaints.py": "a table of the core and of systems, read when they are loaded",
    "report/catalogue.py": "catalogues are the core's and the systems'",
    "report/wording.py": "the shop's own templates, read when it starts",
    "report/fonts.py": "a fault of our own texts, seen by tests",
    "model/document.py": "a document is opened by a command",
    "account/": "a fault of the program: accounts are valid from birth",
    "web/page": "the customers' page server speaks to its terminal",
    "web/static_page.py": "made by a command",
    "web/server.py": "said at the start, in the terminal",
    "web/pairing.py": "said at the start, in the terminal",
    "screens/serve.py": "said at the start, in the terminal",
    "desk/backup.py": "backups are made by a command",
    "desk/books_paper.py": "books are printed by a command",
    "desk/bringing.py": "documents are brought in by a command",
    "desk/customers.py": "lists of customers are taken in by a command",
    "desk/demo.py": "the demo is made by a command",
    "desk/exporting.py": "invoices are exported by a command",
    "desk/forgetting.py": "persons are forgotten by a command",
    "desk/importing.py": "files are added by a command",
    "desk/in_memory.py": "for callers in Python",
    "desk/log_drafts.py": "drafts are written into a file by a command",
    "desk/ledger.py": "books are asked for by a command",
    "desk/drawer.py": "the drawer is counted by a command",
    "share/attachment.py": "papers are opened by a command",
    "share/signing.py": "keys are made by a command",
    "store/exchange.py": "records are carried by a command",
    "store/schema.py": "a store is brought up to date at the start, in the terminal",
    "hub/app.py": "said to a van or by a command; the office's own answers are seen by its tests",
    "hub/serving.py": "said by a command",
    "hub/demo.py": "the demo is made by a command",
    "hub/throwaway.py": "the demo's own server, in the terminal",
    "hub/sealing.py": "keys are read at the start, in the terminal",
    "hub/people.py": "people are let in by a command",
    "hub/devices.py": "said to a van, or by a command",
    "hub/record.py": "said to a van",
    "hub/jobs.py": "the books of a hub are verified by a command",
    "practice/folder.py": "practice folders are made at the start, in the terminal",
    "practice/declared.py": "practice vehicles are declared when a system is loaded",
    "practice/car.py": "a practice car is made at the start",
}
#: Written into a file just so.
WRITTEN = (
    "corekit-link-key-1",
    'rates = { standard = "20" } and default = "standard", or none = "why no tax is shown"',
)
#: Drawn for the shop's door.
CODE = "90210447"
_FIELD = re.compile(r"\{\w*\}")


@pytest.fixture(scope="module")
def collector() -> Collector:
    return Collector(ROOT / "corekit", FOLDERS)


@pytest.fixture(scope="module")
def tongue() -> Tongue:
    german = tongue_of("de")
    assert german is not None
    return german


def _is_shown(module: str) -> bool:
    return not module.startswith(tuple(NOT_SHOWN))


def _plain(text: str) -> str:
    return _FIELD.sub("{}", " ".join(text.split()))


def test_every_error_that_can_reach_a_screen_has_its_german_sentence(
    collector: Collector, tongue: Tongue
) -> None:
    known = {_plain(text) for text in tongue.speaks}
    found = [text for module in collector.modules if _is_shown(module) for text in collector.texts(module)]
    assert len(found) > 800, "the collector sees too little"
    missing = [
        one
        for one in found
        if _plain(one.text) not in known and not tongue.has(one.text) and one.text not in WRITTEN
    ]
    assert missing == [], f"{len(missing)} of {len(found)}"


def test_every_kind_of_quantity_has_its_german_name(tongue: Tongue) -> None:
    assert [kind.title for kind in units.kinds().values() if not tongue.has(kind.title)] == []


def test_what_never_reaches_a_screen_is_still_there_to_be_left_out(collector: Collector) -> None:
    for module in NOT_SHOWN:
        assert any(one.startswith(module) for one in collector.modules), module


@pytest.mark.parametrize(
    ("source", "texts"),
    [
        ('raise InputError("Say more.")', ["Say more."]),
        ('raise InputError(f"{typed} is none; say {len(text)}.")', ["{typed} is none; say {text1}."]),
        ('what = "is none" if odd else "is bad"\nraise InputError(what)', ["is none", "is bad"]),
        ('faults.add(("a",), "is none here", "a whole number")', ["is none here", "a whole number"]),
        ('faults.add(("a",), "is none", "a number", "it = one")', ["is none", "a number", "it = one"]),
        ('DataFault("a", expected="a number", got="is none")', ["is none", "a number"]),
        ('def _no(why):\n    raise InputError(f"{why} Nothing was done.")\n_no("It is late.")',
         ["{why} Nothing was done.", "It is late."]),
        ('seen.add("some words")', []),
        ('print("some words")', []),
    ],
)  # fmt: skip
def test_a_message_is_found_by_whatever_way_it_is_handed_over(
    tmp_path: Path, source: str, texts: list[str]
) -> None:
    (tmp_path / "errors.py").write_text("class InputError(CorekitError):\n    pass\n", "utf-8")
    (tmp_path / "one.py").write_text(f"from .errors import InputError\n{source}\n", "utf-8")
    found: list[Text] = list(Collector(tmp_path).texts("one.py"))
    assert sorted(one.text for one in found) == sorted(texts)


# ---- typed on the screens


class Typist:
    """Types into the German screens of a new job, and keeps what came back in English."""

    def __init__(self, folder: Path) -> None:
        self.shop = Shop(shop_in(folder, "de"))
        van = Van(self.shop.context)
        self.client = work_app(van, NoAuth()).test_client()
        self.job = everywhere.looking(self.shop)
        tongue = tongue_of("de", van.folders, van.titles)
        assert tongue is not None
        self.tongue = tongue

    def send(self, path: str, **fields: str) -> tuple[TestResponse, list[str]]:
        """What comes back, and each text of it that is not German."""
        before = len(self.tongue.missing)
        path = path.format(job=self.job)
        fields = {"answer": secrets.token_urlsafe(18), "screen": f"/job/{self.job}/tests"} | fields
        fresh = {"answer": secrets.token_urlsafe(18)} if fields["answer"] else {}
        reply = self.client.post(path, data=fields, headers={"Accept": "application/json"})
        page = self.client.post(path, data=fields | fresh)
        assert page.status_code < 500, path
        return reply, list(self.tongue.missing)[before:]

    def asked(self, path: str) -> tuple[TestResponse, list[str]]:
        before = len(self.tongue.missing)
        return self.client.get(path.format(job=self.job)), list(self.tongue.missing)[before:]


@pytest.fixture(scope="module")
def typist(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Typist]:
    made = Typist(tmp_path_factory.mktemp("typist") / "shop")
    yield made
    made.shop.close()


VOLTAGE = "battery.open_circuit_voltage"
READING = "step[0].readings[0]"
ANSWER = "/job/{job}/answer"


def reading(typed: str, **more: str) -> dict[str, str]:
    return {f"{READING}.of": VOLTAGE, f"{READING}.is": typed} | {f"{READING}.{k}": v for k, v in more.items()}


#: What is sent to a job's answers and cannot be taken. Numbers and words are invented.
WRONG_ANSWERS: dict[str, dict[str, str]] = {
    "no unit": reading("12.6"),
    "another kind of unit": reading("12,6 °C"),
    "no unit at all": reading("12,6 Bananen"),
    "no number": reading("dunkel"),
    "a judgement": reading("gut"),
    "beyond the display": reading("OL"),
    "a bound": reading("< 5 V"),
    "two decimal marks": reading("12.6.4 V"),
    "a thousandfold": reading("12,600 V"),
    "two numbers": reading("12,6 und 12,7 V"),
    "a range backwards": reading("13-12 V"),
    "a range of nothing": reading("12-12 V"),
    "a fraction": reading("1/2 V"),
    "hexadecimal": reading("0x1F V"),
    "an exponent": reading("1e99 V"),
    "too long": reading("1" * 80 + " V"),
    "impossible": reading("900 V"),
    "unusual": reading("15.2 V"),
    "a strange sign": reading("12.6\u200b\u202e V"),
    "nothing read": {f"{READING}.of": VOLTAGE},
    "no such measurand": {f"{READING}.of": "battery.nonsense", f"{READING}.is": "12 V"},
    "no such system": {f"{READING}.of": "wings.flap", f"{READING}.is": "12 V"},
    "a place that it has not": reading("12.6 V", place="links hinten"),
    "an instrument that nobody has": reading("12.6 V", **{"with": "Wünschelrute"}),
    "a range of no instrument": reading("12.6 V", range="20 V"),
    "a key that is none": reading("12.6 V", colour="blau"),
    "own words in vain": {"step[0].seen[0].of": "battery.case", "step[0].seen[0].is": "himmelblau"},
    "two answers": {
        "step[0].seen[0].of": "battery.case", "step[0].seen[0].is": "x", "step[0].seen[0].cannot": "y"},
    "no observation": {"step[0].seen[0].of": "battery.nothing", "step[0].seen[0].is": "x"},
    "a trait that is none": {'traits."battery.nothing"': "x"},
    "an answer that is none": {'traits."battery.technology"': "Zitrone"},
    "a VIN too short": {"vehicle.vin": "WDB12345"},
    "a VIN with a wrong letter": {"vehicle.vin": "IOQ45678901234567"},
    "an odometer of words": {"vehicle.odometer": "viel"},
    "an odometer without a unit": {"vehicle.odometer": "123456"},
    "an odometer below zero": {"vehicle.odometer": "-5 km"},
    "a symptom that is none": {"complaint.symptoms|list": "singt"},
    "a circumstance that is none": {"complaint.when|list": "sonntags"},
    "shows as nobody says": {"complaint.shows": "manchmal vielleicht"},
    "a reason that is too long": {"reason": "x" * 5000},
    "a text that nobody can print": {"step[0].remarked": "a\x07b"},
    "a trouble code of words": {"step[0].codes.stored|list": "kaputt"},
    "a trouble code too short": {"step[0].codes.stored|list": "P03"},
    "a trouble code without its letter": {"step[0].codes.stored|list": "0301"},
    "a trouble code with an O": {"step[0].codes.stored|list": "PO301"},
    "money that is no number": {"step[0].paid.amount": "hundert", "step[0].paid.how": "bar"},
    "money of another currency": {"step[0].paid.amount": "100 USD", "step[0].paid.how": "bar"},
    "money below zero": {"step[0].paid.amount": "-5", "step[0].paid.how": "bar"},
    "more money than is due": {"step[0].paid.amount": "5000000.00", "step[0].paid.how": "bar"},
    "three decimals of money": {"step[0].paid.amount": "1.2345", "step[0].paid.how": "bar"},
    "money nobody says how": {"step[0].paid.amount": "5.00"},
    "given back without having": {"step[0].refunded.amount": "5.00", "step[0].refunded.how": "bar"},
    "written off without a reason": {"step[0].written_off.amount": "5.00"},
    "work that is none": {
        "step[0].requested.operation": "battery.polish", "step[0].requested.ground": "customer"},
    "work on no ground": {"step[0].requested.operation": "battery.replace"},
    "work on a ground that is none": {
        "step[0].requested.operation": "battery.replace", "step[0].requested.ground": "Laune"},
    "own judgement without a reason": {
        "step[0].requested.operation": "battery.replace", "step[0].requested.ground": "mechanic"},
    "own work without a name": {"step[0].requested.work": " . ", "step[0].requested.ground": "customer"},
    "own work that looks like a key": {
        "step[0].requested.work": "battery.polish", "step[0].requested.ground": "customer"},
    "own work that is long": {"step[0].requested.work": "w" * 300, "step[0].requested.ground": "customer"},
    "hours that are none": {
        "step[0].priced.operation": "battery.replace", "step[0].priced.hours": "lange"},
    "hours below zero": {"step[0].priced.operation": "battery.replace", "step[0].priced.hours": "-1"},
    "repaired what nobody knows": {"step[0].repaired.operation": "battery.polish"},
    "a test that waits for words": {
        "step[0].started.of": "battery.parasitic_draw", "step[0].started.wait": "ewig"},
    "a test that waits for ever": {
        "step[0].started.of": "battery.parasitic_draw", "step[0].started.wait": "99 d"},
    "left without a reason": {"step[0].left|table": "yes"},
    "back on no day": {"step[0].left.because": "x", "step[0].left.back": "irgendwann"},
    "a day far away": {"step[0].planned.on": "31.12.9999", "step[0].planned.what": "x"},
    "recalled on no day": {"step[0].recalled.on": "32. Mai", "step[0].recalled.what": "x"},
    "ended as nothing ends": {"step[0].ended.how": "explodiert"},
    "tried in no way": {"step[0].tried.how": "beten", "step[0].tried.part": "battery.battery"},
    "tried on nothing": {"step[0].tried.how": "renewed", "step[0].tried.part": "battery.nothing"},
    "a discount of too much": {"step[0].discounted.percent": "400", "step[0].discounted.because": "x"},
    "a discount of words": {"step[0].discounted.percent": "viel", "step[0].discounted.because": "x"},
    "a field that is no place": {"step[x].!": "1"},
    "rows with a gap": {"step[3].remarked": "x"},
    "a value and a table": {"reason.more": "x", "reason": "y"},
    "nothing at all": {},
    "an arrival on no day": {"step[0].arrived.at": "gestern"},
}  # fmt: skip


@pytest.mark.parametrize("what", WRONG_ANSWERS)
def test_a_wrong_answer_comes_back_without_an_english_sentence(typist: Typist, what: str) -> None:
    fields = WRONG_ANSWERS[what]
    reply, english = typist.send(ANSWER, **fields)
    assert reply.status_code == 422, what
    assert reply.get_json()["faults"], what
    assert english == []


OTHER_ADDRESSES: dict[str, tuple[str, dict[str, str]]] = {
    "an answer without its id": (ANSWER, {"answer": "", "reason": "x"}),
    "an id that is none": (ANSWER, {"answer": "a b", "reason": "x"}),
    "approved by nobody": ("/job/{job}/approve", {"estimate": "repair 1"}),
    "approved in no way": ("/job/{job}/approve", {"estimate": "repair 1", "by": "customer", "how": "x"}),
    "an estimate of no stage": ("/job/{job}/estimate-of/lunch", {}),
    "an estimate with nothing to do": ("/job/{job}/estimate-of/repair", {}),
    "published before it is issued": ("/job/{job}/publish", {"number": "2020-A0099"}),
    "a reminder of nothing": ("/job/{job}/remind", {}),
    "a receipt for no payment": ("/job/{job}/receipt/" + "0" * 64, {}),
    "a payment that was not announced": ("/job/{job}/arrived/" + "0" * 64, {}),
    "another van that is none": ("/job/{job}/other-van", {"van": "Z"}),
    "no log": ("/job/{job}/log/file", {}),
    "a car at no adapter": ("/job/{job}/log/car", {"channel": "; rm", "interface": "x"}),
    "a draft that is gone": ("/job/{job}/log/save", {"draft": "nothing"}),
    "no photo": ("/job/{job}/photo", {}),
    "a photo that is gone": ("/job/{job}/photo/" + "0" * 64 + "/choice", {"on": "yes"}),
    "withdrawn what is not there": ("/job/{job}/record/" + "0" * 64 + "/withdraw", {"reason": "x"}),
    "withdrawn without a reason": ("/job/{job}/record/" + "0" * 64 + "/withdraw", {}),
    "a price of words": ("/job/{job}/price/battery.replace", {"hours": "viel"}),
    "a price of nothing": ("/job/{job}/price/battery.polish", {"hours": "1"}),
    "own work of nothing": ("/job/{job}/own", {}),
    "no samples": ("/job/{job}/samples/battery.parasitic_draw_log", {}),
    "a shop without a currency": ("/shop", {"currency": "Taler", "per_hour": "viel", "rate": "hoch"}),
    "a shop without an account": ("/shop", {"iban": "XX00 1234"}),
    "a shop whose account is mistyped": ("/shop", {"iban": "DE00 3704 0044 0532 0130 00"}),
    "a scan of nothing": ("/scan", {}),
    "a job that is none": ("/job/nothing/answer", {"step[0].remarked": "x"}),
}  # fmt: skip


@pytest.mark.parametrize("what", OTHER_ADDRESSES)
def test_what_a_screen_cannot_do_is_said_without_an_english_sentence(typist: Typist, what: str) -> None:
    path, fields = OTHER_ADDRESSES[what]
    reply, english = typist.send(path, **fields)
    assert reply.status_code >= 400 or reply.status_code in (200, 303), what
    assert reply.status_code < 500, what
    assert english == []


@pytest.mark.parametrize(
    "path",
    [
        "/nothing",
        "/job/nothing/record",
        "/job/{job}/test/battery.nothing",
        "/job/{job}/test/wings.flap",
        "/job/{job}/price/battery.polish",
        "/job/{job}/estimate/repair%209",
        "/job/{job}/invoice/2020-A0099",
        "/job/{job}/record/" + "0" * 64,
        "/job/{job}/samples/battery.nothing",
        "/reckon/battery.nothing",
        "/explain/battery.nothing",
        "/find?q=%00",
        "/v",
    ],
)
def test_a_link_that_is_gone_is_said_so_in_german(typist: Typist, path: str) -> None:
    reply, english = typist.asked(path)
    assert reply.status_code < 500
    assert english == []


def test_what_was_typed_stays_as_it_was_within_the_message(typist: Typist) -> None:
    for typed in ("12.6 Bananen", "Next step", "12.6"):
        reply, _ = typist.send(ANSWER, **reading(typed))
        assert f'"{typed}"' in reply.get_json()["faults"][0]["text"]


def test_a_number_to_write_instead_is_one_that_is_taken(typist: Typist) -> None:
    """A comma where it leaves the thousands open, or is refused, is not what is asked for."""
    for fields, told in (
        (reading("12,600 V"), '"12.600 V" oder "12600 V"'),
        ({"step[0].discounted.percent": "2,5", "step[0].discounted.because": "x"}, 'schreiben: "2.5"'),
    ):
        reply, _ = typist.send(ANSWER, **fields)
        assert told in reply.get_json()["faults"][0]["text"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"passcode": "00000000"}, "Das ist nicht der Zugangscode."),
        ({"passcode": CODE, "own": "1234", "again": "1234"}, "mindestens 8 Zeichen"),
        ({"passcode": CODE, "own": "Schlüssel 12 ", "again": "Schlüssel 12 "}, "Leerzeichen"),
        ({"passcode": CODE, "own": "12345678", "again": "12345678"}, "würde jeder zuerst versuchen"),
        ({"passcode": CODE, "own": "Zange 4711", "again": "Zange 4712"}, "Die beiden waren nicht gleich."),
        ({"passcode": CODE, "own": CODE, "again": CODE}, "Einen eigenen Code wählen"),
    ],
)
def test_a_wrong_passcode_is_refused_in_german(typist: Typist, typed: dict[str, str], said: str) -> None:
    folder = typist.shop.context.folder
    set_passcode(folder, CODE, drawn=time.time())
    door = work_app(Van(typist.shop.context), PasscodeAuth(shop=folder)).test_client()
    before = len(typist.tongue.missing)
    reply = door.post("/door", data={"next": "/"} | typed, headers={"Origin": "http://localhost"})
    assert reply.status_code == 401
    assert said in reply.text
    assert list(typist.tongue.missing)[before:] == []


LOGS = {
    "nothing in it": b"",
    "no numbers": b"Zeit;Spannung\nviel;mehr\n",
    "no titles": b"1;2\n3;4\n",
    "no quantity": b"time;Farbe\n0;1\n1;2\n",
    "no time": b"Spannung;Farbe\n12;1\n12;2\n",
    "one column": b"time\n0\n1\n",
    "zeros": b"\x00\x00\x00",
    "a picture": b"\x89PNG\r\n\x1a\n\xff\xfe",
    "a time that goes back": b"time [s];battery voltage [V]\n5;12\n1;12\n0;12\n",
    "commas all over": b"time,battery voltage\n0,5,12,1\n1,5,12,2\n",
}


@pytest.mark.parametrize("what", LOGS)
def test_a_loggers_file_that_cannot_be_read_is_refused_in_german(typist: Typist, what: str) -> None:
    before = len(typist.tongue.missing)
    fields = {"screen": f"/job/{typist.job}/log", "log": (io.BytesIO(LOGS[what]), "aufzeichnung.csv")}
    reply = typist.client.post(f"/job/{typist.job}/log/file", data=fields)
    assert reply.status_code in (200, 303, 422)
    assert list(typist.tongue.missing)[before:] == []


# ---- how an error is put together


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('"Next step" has no unit', '"Next step" hat keine Einheit'),
        ('"Next step and much mo…" has no unit', '"Next step and much mo…" hat keine Einheit'),
        ("There is no job 'Next step' in /a b/journal.sqlite. There is no job yet.",
         "Es gibt keinen Auftrag 'Next step' in /a b/journal.sqlite. Es gibt noch keinen Auftrag."),
        ('"x" is not an answer; write "Always" or "Once"',
         '"x" ist keine Antwort; schreiben: "Immer" oder "Einmal"'),
        ('"\u27e67\u27e7" has no unit', '"\u27e67\u27e7" hat keine Einheit'),
        ("prices.toml cannot be used: 2 faults. Rows are counted from 0.\n  file: is a folder\n"
         "  a.b[1] (row): is empty",
         "prices.toml ist nicht brauchbar: 2 Fehler. Zeilen zählen ab 0.\n  file: ist ein Ordner\n"
         "  a.b[1] (row): ist leer"),
    ],
)  # fmt: skip
def test_an_error_is_said_around_what_is_somebodys_own(tongue: Tongue, text: str, said: str) -> None:
    assert tongue.said(text, own_words(["Next step", "Next step and much more of it"])) == said


def test_one_line_without_a_sentence_leaves_all_of_them_as_they_are(tongue: Tongue) -> None:
    text = "prices.toml cannot be used: one fault.\n  file: nobody said this before"
    assert tongue.said(text) == text


def test_what_lacks_on_the_right_to_cancel_is_told_line_by_line(tongue: Tongue) -> None:
    rows = [
        "The approval (DE) lacks what it must carry. Nothing was recorded.",
        "  the words that the law prescribes on the right to cancel (Directive 2011/83/EU): write"
        ' statements.cancellation = "…" in shop.toml',
        "  what the customer says on cancelling 'repair 1' within 14 days: \"urgent repair\" or"
        ' "for a business"; write it as cancellation of the approval (`corekit approve … --cancellation`)',
    ]
    said = tongue.said("\n".join(rows)).splitlines()
    assert said[0] == "Freigabe (DE): Es fehlt, was darauf stehen muss. Nichts wurde eingetragen."
    assert said[1].startswith(
        "  der Text, den das Gesetz zum Widerrufsrecht vorschreibt (Directive 2011/83/EU)"
    )
    assert said[2].startswith("  was der Kunde zum Widerruf von „repair 1“ innerhalb von 14 Tagen sagt:")
