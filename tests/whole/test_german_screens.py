"""The mechanic's screens in German: no text of ours is left in English, what people typed stays as it is, and
what a form sends back is the same in every language.

Words and forms of numbers are German as any dictionary and DIN 5008 have them, from memory.
"""

from __future__ import annotations

import re
import shutil
import tomllib
from collections.abc import Iterator
from functools import partial
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import attrs
import flask
import pytest
from flask.testing import FlaskClient

from corekit.desk.settings import read_settings
from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.reference import data_path
from corekit.report.catalogue import Catalogue, Speaker, read_catalogue
from corekit.report.tongue import Tongue, in_tongue, own_words, screen_catalogue, texts_of_script, tongue_of
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.testing.screen_texts import declared_texts, lacking, shared_texts, template_texts

from ..screens import everywhere
from .test_translations import SYSTEMS, system_of

ROOT = Path(__file__).parents[2]
EXCEPTED: dict[str, list[str]] = tomllib.loads((ROOT / "tests/data/not-on-screens.toml").read_text("utf-8"))
TEMPLATES = sorted((ROOT / "templates/screens").glob("*.html"))
#: Places of a visit that between them show every kind of screen.
PLACES = (
    everywhere.long_words,
    everywhere.with_symptoms,
    everywhere.no_number,
    everywhere.confirmed,
    everywhere.own_limit,
    everywhere.wished,
    everywhere.moved_on,
    everywhere.partly_declined,
    everywhere.half_repaired,
    everywhere.not_shown,
    everywhere.left,
    everywhere.nothing_came,
    everywhere.unpaid,
    everywhere.paid_later,
    everywhere.together,
    everywhere.by_phone_approved,
    everywhere.second_car,
    everywhere.photographed,
    partial(everywhere.read, name="too-little-egr"),
    partial(everywhere.read, name="high-speed"),
)


def tongue_alone(key: str) -> Tongue:
    """German with the texts of one system and the core's."""
    tongue = tongue_of("de", [system_of(key).folder])
    assert tongue is not None
    return tongue


@attrs.define
class Seen:
    """All screens of a shop, by path, in German; and on which of them a text stayed English."""

    folder: Path
    app: Any
    pages: dict[str, str]
    missing: dict[str, str]


def shop_in(folder: Path, language: str) -> Path:
    """The demo's shop, with its screens in a language."""
    folder.mkdir()
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    create_shop(folder, demo=True)
    say_language(folder, language)
    return folder


def say_language(folder: Path, language: str) -> None:
    path = folder / "shop.toml"
    rest = re.sub(r"(?m)^screen_language = .*\n", "", path.read_text("utf-8"))
    path.write_text(f'screen_language = "{language}"\n{rest}', "utf-8")


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Seen]:
    folder = shop_in(tmp_path_factory.mktemp("german") / "shop", "de")
    with Shop(folder) as shop:
        for place in PLACES:
            place(shop)
        app = work_app(Van(shop.context), NoAuth())
        pages, missing = dict[str, str](), dict[str, str]()
        tongue = tongue_of("de", Van(shop.context).folders, Van(shop.context).titles)
        assert tongue is not None

        @app.after_request
        def note(reply: flask.Response) -> flask.Response:
            if reply.mimetype == "text/html" and reply.status_code == 200:
                pages[flask.request.full_path.rstrip("?")] = reply.get_data(as_text=True)
            return reply

        before = len(tongue.missing)
        everywhere.crawl(app)
        for text in list(tongue.missing)[before:]:
            missing[text] = next((path for path, page in pages.items() if text[:60] in page), "")
        yield Seen(folder, app, pages, missing)


# ---- nothing is left in English


def test_no_screen_has_a_text_of_ours_in_english(seen: Seen) -> None:
    assert len(seen.pages) > 500
    assert {text: path for text, path in seen.missing.items() if text not in EXCEPTED["shown"]} == {}


def test_no_text_that_all_systems_share_is_missing() -> None:
    tongue = tongue_of("de")
    assert tongue is not None
    assert lacking(shared_texts(), tongue) == {}


@pytest.mark.parametrize("key", SYSTEMS)
def test_no_declaration_of_a_system_is_missing(key: str) -> None:
    assert lacking(declared_texts(system_of(key)), tongue_alone(key)) == {}


def test_no_caution_is_left_in_english_where_it_is_shown_with_what_all_end_with() -> None:
    """The longest are of ten sentences, of which two may be one text; a search for them is not given up."""
    tongue = tongue_of("de", [system_of(key).folder for key in SYSTEMS])
    assert tongue is not None
    shown = [
        f"{text} Local rules and the manufacturer's instructions come first."
        for key in SYSTEMS
        for text, where in declared_texts(system_of(key))
        if where.endswith(", caution")
    ]
    assert len(shown) > 100
    assert [text for text in shown if tongue.said(text) == text] == []


def test_no_word_means_one_thing_in_a_system_and_another_beside_it() -> None:
    """Screens take the texts of all systems together, so each text has one German."""
    core = ("screens/de.toml", "de.toml", "shared/de.toml")
    catalogues = [ROOT / "templates/language" / name for name in core]
    for key in SYSTEMS:
        folder = system_of(key).folder / "language"
        catalogues += [folder / "de.toml", folder / "screens/de.toml"]
    said: dict[str, dict[str, str]] = {}
    for path in catalogues:
        for text, german in read_catalogue(path).texts.items():
            said.setdefault(text, {}).setdefault(german, str(path.relative_to(ROOT)))
    both = {
        text: ways
        for text, ways in said.items()
        if len(ways) > 1 and not all(path.startswith("templates") for path in ways.values())
    }
    assert both == {}


def test_nothing_that_a_script_says_is_missing() -> None:
    texts = screen_catalogue("de").texts
    said = [
        text
        for path in sorted((ROOT / "templates/screens").glob("*.js"))
        for text in texts_of_script(path.read_text("utf-8"))
    ]
    assert len(said) > 50
    assert [text for text in said if text not in texts] == []


def test_no_script_says_a_sentence_that_it_does_not_look_up() -> None:
    """A sentence in quotes begins large and has a space; one that is looked up stands in inWords(…)."""
    for path in sorted((ROOT / "templates/screens").glob("*.js")):
        code = re.sub(r"(?m)^\s*(//|/?\*).*$|//[^\"`]*$", "", path.read_text("utf-8"))
        code = re.sub(r'inWords\(\s*"(?:[^"\\]|\\.)*"', "", code)
        found = re.findall(r'"([A-Z][a-z]*[ ,][^"\n]{3,})"|`([A-Z][a-z]* [a-z][^`\n]*)`', code)
        assert [one for one in found if not _is_code("".join(one))] == [], path.name


def _is_code(text: str) -> bool:
    return "-src" in text or "charset" in text


@pytest.mark.parametrize(
    "path", sorted((ROOT / "templates/screens").glob("*.html")), ids=lambda path: path.stem
)
def test_no_text_of_a_template_is_missing(path: Path) -> None:
    """Whole texts and labels; what is put together is seen on the screens."""
    tongue = tongue_of("de")
    assert tongue is not None
    texts = set(template_texts(path.read_text("utf-8")))
    assert sorted(text for text in texts if not tongue.has(text) and text not in EXCEPTED["templates"]) == []


# ---- what people typed stays, and so does what is sent


class Fields(HTMLParser):
    """What a page sends or follows: everything of it but what is read."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, ...]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        for name, value in attributes:
            is_sent = name in _SENT or (name.startswith("data-") and name not in _OF_THE_MOMENT)
            if is_sent and value is not None:
                self.found.append((tag, name, value))


_SENT = ("name", "value", "href", "action", "formaction", "id", "for")
_OF_THE_MOMENT = ("data-guard", "data-ahead", "data-title")
#: Drawn anew for each page: the id of an answer and of a job.
_DRAWN = re.compile(r"'[\w-]{24}'|/job/[0-9a-z]{12}|'data-begins', '\w+'")


def test_what_a_form_sends_is_the_same_in_every_language(seen: Seen) -> None:
    client = seen.app.test_client()
    say_language(seen.folder, "en")
    try:
        with Shop(seen.folder) as shop:
            english = work_app(Van(shop.context), NoAuth()).test_client()
            for path in list(seen.pages)[:160]:
                told = [_DRAWN.sub("", str(Fields(one.get(path).text).found)) for one in (english, client)]
                assert told[0] == told[1], path
    finally:
        say_language(seen.folder, "de")


def test_what_customer_and_mechanic_typed_is_never_translated(tmp_path: Path) -> None:
    """Even where it is a word that every screen has."""
    with Shop(shop_in(tmp_path / "shop", "de")) as shop:
        job = everywhere.begin(
            shop,
            reason="Battery",
            vehicle={"plate": "Jobs", "description": "Next step"},
            customer={"name": "Where", "address": "Parts"},
        )
        client = work_app(Van(shop.context), NoAuth()).test_client()
        for path in ("/", f"/job/{job}/arrive", f"/job/{job}/record", f"/job/{job}/way"):
            page = client.get(path).text
            assert "Next step" in page, path
            assert "Nächster Schritt" not in page, path
        record = client.get(f"/job/{job}/record").text
        assert "Battery" in record
        assert "Where" in record


@pytest.fixture
def client(tmp_path: Path) -> Iterator[FlaskClient]:
    with Shop(shop_in(tmp_path / "shop", "de")) as shop:
        yield work_app(Van(shop.context), NoAuth()).test_client()


def test_a_screen_says_its_language(client: FlaskClient) -> None:
    page = client.get("/").text
    assert '<html lang="de">' in page
    assert ">Auftrag beginnen<" in page


def test_the_language_is_chosen_on_the_shops_own_screen(client: FlaskClient, tmp_path: Path) -> None:
    page = client.get("/shop").text
    assert 'lang="en"' in page
    assert ">English<" in page
    assert ">Deutsch<" in page
    client.post("/shop", data={"screen_language": "en"})
    assert 'screen_language = "en"' in (tmp_path / "shop/shop.toml").read_text("utf-8")
    assert ">Start a job<" in client.get("/").text
    client.post("/shop", data={"screen_language": "de"})
    assert ">Auftrag beginnen<" in client.get("/").text


def test_a_language_that_screens_cannot_be_in_is_refused(client: FlaskClient, tmp_path: Path) -> None:
    before = (tmp_path / "shop/shop.toml").read_text("utf-8")
    reply = client.post("/shop", data={"screen": "/shop", "screen_language": "xx"})
    assert reply.status_code == 422
    assert "Diese Sprache gibt es hier nicht." in reply.text
    assert (tmp_path / "shop/shop.toml").read_text("utf-8") == before


def test_a_shop_that_says_nothing_has_its_screens_in_english(tmp_path: Path) -> None:
    folder = shop_in(tmp_path / "shop", "de")
    (folder / "shop.toml").write_text(
        (folder / "shop.toml").read_text("utf-8").replace('screen_language = "de"\n', ""), "utf-8"
    )
    assert read_settings(folder, demo=True).screen_language == "en"


def test_a_reading_is_typed_with_a_comma_and_shown_with_one(client: FlaskClient) -> None:
    job = _new_job(client)
    client.post(
        f"/job/{job}/answer",
        data={
            "answer": "a" * 32,
            "step[0].readings[0].of": "battery.open_circuit_voltage",
            "step[0].readings[0].is": "12,64",
            "step[0].readings[0].is|unit": "V",
        },
    )
    assert "12,64 V" in client.get(f"/job/{job}/record").text.replace("\xa0", " ")


def _new_job(client: FlaskClient) -> str:
    page = client.get("/new").text
    job = re.search(r"/job/([0-9a-z]+)/answer", page)
    assert job is not None
    client.post(
        f"/job/{job[1]}/answer", data={"answer": "b" * 32, "reason": "Läuft nicht", "vehicle.plate": "A 1"}
    )
    return job[1]


def test_a_fault_is_said_in_german_to_a_page_and_to_the_script(client: FlaskClient) -> None:
    job = _new_job(client)
    fields = {
        "answer": "c" * 32,
        "screen": f"/job/{job}/test/battery.open_circuit_voltage",
        "step[0].readings[0].of": "battery.open_circuit_voltage",
        "step[0].readings[0].is": "12.6.4",
    }
    page = client.post(f"/job/{job}/answer", data=fields)
    assert page.status_code == 422
    assert "hat mehr als ein Dezimalzeichen" in page.text
    script = client.post(f"/job/{job}/answer", data=fields, headers={"Accept": "application/json"})
    assert "hat mehr als ein Dezimalzeichen" in script.get_json()["faults"][0]["text"]


def test_scripts_come_with_their_own_texts_in_german(client: FlaskClient) -> None:
    for name in ("work.js", "sw.js"):
        text = client.get(f"/{name}").text
        assert (
            '"No connection": "Keine Verbindung"' in text or '"No connection.": "Keine Verbindung."' in text
        )
        assert "const IN_WORDS = {};" not in text


# ---- the pieces


@pytest.fixture
def tongue() -> Tongue:
    texts = {
        "Jobs": "Aufträge",
        "Where": "Wo",
        "Noted: {text}": "Notiert: {text}",
        "battery": "Batterie",
        "Plate, name": "Kennzeichen, Name",
    }
    return Tongue("de", Speaker(Catalogue("de", texts), {}))


@pytest.mark.parametrize(
    ("page", "said"),
    [
        ('<html lang="en"><p>Jobs</p>', '<html lang="de"><p>Aufträge</p>'),
        ('<nav aria-label="Where">', '<nav aria-label="Wo">'),
        ('<input name="Jobs" value="Jobs" placeholder="Plate, name">',
         '<input name="Jobs" value="Jobs" placeholder="Kennzeichen, Name">'),
        ('<option value="Jobs">Jobs</option>', '<option value="Jobs">Aufträge</option>'),
        ("<textarea>Jobs</textarea> Jobs", "<textarea>Jobs</textarea> Aufträge"),
        ('<b translate="no">Jobs <b>Jobs</b></b> Jobs', '<b translate="no">Jobs <b>Jobs</b></b> Aufträge'),
        ('<article lang="en"><p>Jobs</p></article>Jobs', '<article lang="en"><p>Jobs</p></article>Aufträge'),
        ('<script>"Jobs"</script>', '<script>"Jobs"</script>'),
        ("<p>12.6 V</p>", "<p>12,6 V</p>"),
        ("<p>2026-11-29</p>", "<p>29.11.2026</p>"),
        ("<p>2026-11-29-3, 2026-A0001</p>", "<p>2026-11-29-3, 2026-A0001</p>"),
        ("<p>&lt;Jobs&gt; &amp; Jobs</p>", "<p>&lt;Jobs&gt; &amp; Jobs</p>"),
    ],
)  # fmt: skip
def test_a_page_is_said_text_by_text_and_label_by_label(tongue: Tongue, page: str, said: str) -> None:
    assert in_tongue(page, tongue) == said


@pytest.mark.parametrize(
    ("text", "typed", "said"),
    [
        ("Noted: battery", (), "Notiert: Batterie"),
        ("Noted: battery", ("battery",), "Notiert: battery"),
        ("battery", ("battery",), "battery"),
        ("Noted: кислота", ("кислота",), "Notiert: кислота"),
        ("Noted: בטרייה ישנה", ("בטרייה ישנה",), "Notiert: בטרייה ישנה"),
        ("battery", ("bat",), "Batterie"),
    ],
)
def test_somebodys_own_words_stay_wherever_they_stand(
    tongue: Tongue, text: str, typed: tuple[str, ...], said: str
) -> None:
    assert tongue.said(text, own_words(typed)) == said


@pytest.mark.parametrize("symbol", ["h", "g", "d", "V", "mA"])
def test_the_symbol_of_a_unit_stays_as_small_and_as_large_as_it_is(symbol: str) -> None:
    """ISO 80000-1: h is the hour, H the henry; g the gram, G the gauss (from memory)."""
    tongue = Tongue("de", Speaker(Catalogue("de", {"H": "H", "G": "G", "D": "D"}), {}))
    assert tongue.said(symbol) == symbol


HEADED = {
    "How it was measured": "Wie gemessen wurde",
    "how it was {text1}": "wie es {text1} wurde",
    "measured": "gemessen",
    "Done": "Erledigt",
    "Done, not shown yet": "Erledigt, noch nicht gezeigt",
    "Not shown yet": "Noch nicht gezeigt",
    "Done: {text}": "Fertig: {text}",
    "a battery": "eine Batterie",
}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("How it was measured: a battery", "Wie gemessen wurde: eine Batterie"),
        ("How it was measured", "Wie gemessen wurde"),
        ("Done, not shown yet: a battery", "Erledigt, noch nicht gezeigt: eine Batterie"),
        ("Not shown yet: a battery", "Noch nicht gezeigt: eine Batterie"),
        ("Done: a battery", "Fertig: eine Batterie"),  # a pattern has heading and rest
    ],
)
def test_a_heading_that_is_a_text_of_its_own_is_said_as_that(text: str, said: str) -> None:
    assert Tongue("de", Speaker(Catalogue("de", HEADED), {})).said(text) == said


def test_what_has_no_translation_is_named_and_stays(tongue: Tongue) -> None:
    assert in_tongue("<p>Nobody said this</p>", tongue) == "<p>Nobody said this</p>"
    assert list(tongue.missing) == ["Nobody said this"]
