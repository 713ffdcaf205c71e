"""The office's pages in German: no text of ours is left in English, what people typed stays as it is, and
what a form sends is the same in every language.

Words are German as any dictionary has them, from memory.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from corekit.cli import main
from corekit.hub import people
from corekit.hub.app import Hub, language_of, set_language
from corekit.hub.desk import kind_words
from corekit.hub.errors import HubError
from corekit.model.job_state import JobState
from corekit.model.records import RECORDS
from corekit.report.tongue import Tongue, tongue_of
from corekit.testing.screen_texts import template_texts

from ..store.conftest import reading, said
from ..store.writing import append
from ..whole.test_german_screens import EXCEPTED, Fields
from .test_office import Desk, NewVan, Scene, _quick, browser, scene, sign_in

__all__ = ["_quick", "scene", "sign_in"]

TEMPLATES = sorted((Path(__file__).parents[2] / "templates/office").glob("*.html"))
SignIn = Callable[..., Desk]


def german() -> Tongue:
    tongue = tongue_of("de")
    assert tongue is not None
    return tongue


@pytest.fixture
def missing(hub: Hub) -> Iterator[list[str]]:
    """The office is in German; after the test, what it said in English all the same."""
    set_language(hub, "de")
    before = len(german().missing)
    found: list[str] = []
    yield found
    assert list(german().missing)[before:] == found


PATHS = (
    "/office",
    "/office/day",
    "/office/debts",
    "/office/papers",
    "/office/call",
    "/office/find",
    "/office/passcode",
)


def pages_of(desk: Desk, *more: str) -> dict[str, str]:
    replies = {path: desk.client.get(path) for path in (*PATHS, *more)}
    return {path: reply.text for path, reply in replies.items() if reply.status_code in (200, 403)}


def test_no_page_of_the_office_has_a_text_of_ours_in_english(
    missing: list[str], scene: Scene, sign_in: SignIn
) -> None:
    disputed = scene.second
    sign_in("Ann", "office").sends(f"/office/job/{disputed}/hand", van="A")
    scene.a.sync()
    told = next(entry for entry in scene.a.store.job(disputed).entries if entry.kind == "measured")
    for van, typed in ((scene.a, "12.90 V"), (scene.b, "11.80 V")):
        append(van.store, disputed, [said("measured", told.subject, reading(typed), replaces=(told.id,))])
    scene.a.sync()
    scene.b.sync()
    for name, role, van in (("Kim", "office", ""), ("Max", "mechanic", "B"), ("Ida", "bookkeeper", "")):
        desk = sign_in(name, role, van)
        pages = pages_of(desk, f"/office/job/{disputed}", f"/office/job/{scene.first}", "/office/door")
        assert all('<html lang="de">' in page for page in pages.values())
        if role == "office":
            assert "Aufträge aller Wagen" in pages["/office"]
            assert "Zwei Wagen sagen Verschiedenes" in pages[f"/office/job/{disputed}"]
            assert 'gemessen: <span translate="no">11.80 V<' in pages[f"/office/job/{disputed}"]
            assert "01.12.2026 09:30" in pages["/office/day"]
            assert "268,60 EUR" in pages["/office/debts"]
        if role == "bookkeeper":
            assert "Die Rolle zeigt hier nichts." in pages["/office/day"]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_no_text_of_a_template_is_missing(path: Path) -> None:
    texts = set(template_texts(path.read_text("utf-8")))
    assert (
        sorted(text for text in texts if not german().has(text) and text not in EXCEPTED["templates"]) == []
    )


def test_every_state_role_and_kind_of_entry_has_its_german_word() -> None:
    words = [*JobState, *people.Role, *map(kind_words, RECORDS)]
    assert [str(word) for word in words if not german().has(str(word))] == []


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"van": "A"}, "Ein Auftrag braucht"),
        ({"words": "Rattles", "who": "Ada", "van": "Z"}, "Wagen"),
        ({"words": "Rattles", "who": "Ada", "van": "A", "day": "soon"}, "kein Tag"),
        (
            {"words": "Rattles", "who": "Ada", "van": "A", "day": "2026-12-01", "time": "25:00"},
            "keine Uhrzeit",
        ),
    ],
)
def test_what_is_wrong_with_a_call_is_said_in_german(
    missing: list[str], scene: Scene, sign_in: SignIn, form: dict[str, str], words: str
) -> None:
    status, page = sign_in("Kim", "office").sends("/office/call", **form)
    assert status == 422
    fault = re.search(r'role="alert">(.*?)</p>', page)
    assert fault is not None
    assert words in fault[1]
    if typed := form.get("day", "").replace("2026-12-01", "") or form.get("time"):
        assert typed in fault[1], "what was typed stands in it as it was"


def test_the_door_says_in_german_why_it_stays_shut(missing: list[str], hub: Hub) -> None:
    client = browser(hub)
    page = client.post("/office/door", data={"name": "Kim", "passcode": "wrong"})
    assert page.status_code == 403
    assert "gehören nicht zusammen" in page.text
    for _ in range(30):
        page = client.post("/office/door", data={"name": "Kim", "passcode": "wrong"})
    assert page.status_code == 429
    assert "Zu viele Versuche" in page.text
    assert "Hier ist nichts." in client.get("/office/nothing").text


def test_what_is_typed_is_never_translated_even_where_every_page_has_the_word(
    hub: Hub, new_van: NewVan, sign_in: SignIn
) -> None:
    set_language(hub, "de")
    van = new_van("Jobs")
    job = van.begin("Invoice", "Customer")
    van.sync()
    desk = sign_in("Sign out", "office")
    page = desk.sees("/office")
    assert re.search(r'data-title="Kunde"><span translate="no">Customer</span>', page)
    assert ">Sign out</span>" in page
    page = desk.sees(f"/office/job/{job}")
    assert ">A: Jobs</option>" in page
    assert '<span translate="no">Invoice</span>' in page


def test_what_a_form_sends_is_the_same_in_every_language(hub: Hub, scene: Scene, sign_in: SignIn) -> None:
    desk, found = sign_in("Kim", "office"), []
    for language in ("en", "de"):
        set_language(hub, language)
        pages = pages_of(desk, f"/office/job/{scene.second}")
        found.append({path: Fields(page).found for path, page in pages.items()})
    assert found[0] == found[1]


def test_the_language_is_said_once_by_the_command(
    hub: Hub, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = ["hub", "--database", hub.database.address, "--key", str(tmp_path / "hub.key"), "--language"]
    assert language_of(hub) == "en"
    assert main([*said, "de"]) == 0
    assert "Deutsch" in capsys.readouterr().out
    assert language_of(hub) == "de"
    assert main([*said, "xx"]) == 1
    assert "there is: en, de" in capsys.readouterr().err
    with pytest.raises(HubError):
        set_language(hub, "")
    assert language_of(hub) == "de"
