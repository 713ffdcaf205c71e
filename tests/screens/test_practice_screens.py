"""Practice on the screens: what the car shows is filled in, guesses are counted, work changes the car, and
the end says what was wrong.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from corekit.desk.settings import PAPERS
from corekit.desk.shop import Shop
from corekit.model.records import Measured, Recorded
from corekit.plugin.host import load
from corekit.practice.folder import PracticeFolder, Wish, set_up
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..whole.chain import paper_text
from .pages import Page, Visit

READING, SEEN, TRIED = "step[0].readings[0]", "step[0].seen[0]", "step[0].tried"
PLUGINS = load()


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    set_up(tmp_path / "practice", PLUGINS)
    with Shop(tmp_path / "practice", plugins=PLUGINS) as shop:
        yield shop


def practised(shop: Shop, wish: Wish) -> tuple[Visit, PracticeFolder]:
    cars = PracticeFolder(shop.context)
    app = work_app(Van(shop.context, practice=cars), NoAuth())
    return Visit(app.test_client(), shop, cars.begin(wish)), cars


def with_fault(cars: PracticeFolder, system: str, fault: str) -> Wish:
    """The first car whose only fault is this one."""
    for seed in range(400):
        wish = Wish(seed=seed, system=system)
        if [one.defect.key for one in cars._made(wish).hidden] == [fault]:
            return wish
    raise AssertionError(fault)


@pytest.fixture
def joint(shop: Shop) -> tuple[Visit, PracticeFolder]:
    return practised(shop, with_fault(PracticeFolder(shop.context), "battery", "joint"))


def on_the_car(visit: Visit, path: str, name: str, what: str, **typed: str) -> Page:
    """Press *read it on the car* in the form of this field."""
    form = visit.get(path).form_of(name)
    given = dict(form.fields) | {key.replace("__", "."): text for key, text in typed.items()}
    reply = visit.client.post(f"/job/{visit.id}/car?{what}", data=given)
    assert reply.status_code == 200, reply.text[-500:]
    return Page(reply.text)


def value(page: Page, name: str) -> str:
    return dict(page.form_of(name).fields)[name]


def test_every_screen_says_practice_and_the_job_tells_what_the_driver_notices(
    joint: tuple[Visit, PracticeFolder],
) -> None:
    visit, cars = joint
    car = cars.as_it_came(visit.job)
    assert car is not None and visit.job.complained.symptoms == list(car.complaints)
    assert "PRACTICE: an invented car" in visit.get("/").text
    assert "PRACTICE car" in visit.get("way").text


def test_what_the_meter_shows_is_filled_in_with_its_conditions_and_can_be_saved(
    joint: tuple[Visit, PracticeFolder],
) -> None:
    visit, cars = joint
    page = on_the_car(
        visit, "test/battery.open_circuit_voltage", f"{READING}.is", "reading=battery.open_circuit_voltage"
    )
    car = cars.as_it_stands(visit.job)
    assert car is not None
    true = car.number(PLUGINS.measurands["battery.open_circuit_voltage"])
    shown = value(page, f"{READING}.is")
    assert true is not None and abs(float(shown.split()[0]) - true) < 0.15 and shown.endswith("V")
    assert value(page, 'step[0].setup."battery.temperature".is').endswith("°C")
    visit.send(page.form_of(f"{READING}.is"))
    assert [one.record.typed for one in visit.job.all(Measured)] == [shown]


@pytest.mark.parametrize("place", ["", "nowhere"])
def test_where_no_place_is_chosen_the_car_asks_for_it_and_what_was_typed_stays(
    joint: tuple[Visit, PracticeFolder], place: str
) -> None:
    visit, _ = joint
    field = f"{READING}.is"
    form = visit.get("test/battery.voltage_drop").form_of(field)
    typed = {**dict(form.fields), field: "0.3", f"{READING}.place": place}
    page = Page(visit.client.post(f"/job/{visit.id}/car?reading=battery.voltage_drop", data=typed).text)
    assert "Choose the place first." in page.text and value(page, field) == "0.3"
    looked = visit.client.post(f"/job/{visit.id}/car?look=cooling.wet", data={f"{SEEN}.place": place})
    assert looked.status_code == 200 and "You find" not in looked.text


def test_a_record_that_no_system_has_is_not_there(joint: tuple[Visit, PracticeFolder]) -> None:
    visit, _ = joint
    for key in ("battery.nothing", "nothing", "nothing.at_all"):
        assert visit.client.post(f"/job/{visit.id}/car?record={key}", data={}).status_code == 404


def test_read_again_without_anything_new_the_meter_shows_the_same(
    joint: tuple[Visit, PracticeFolder],
) -> None:
    visit, _ = joint
    path, key = "test/battery.charging_voltage", "reading=battery.charging_voltage"
    once, again = (value(on_the_car(visit, path, f"{READING}.is", key), f"{READING}.is") for _ in range(2))
    assert once == again


def test_the_same_seed_is_the_same_car_with_the_same_meters(shop: Shop) -> None:
    shown = []
    for _ in range(2):
        visit, _ = practised(shop, Wish(seed=12, system="battery"))
        page = on_the_car(
            visit, "test/battery.charging_voltage", f"{READING}.is", "reading=battery.charging_voltage"
        )
        shown.append(value(page, f"{READING}.is"))
    assert shown[0] == shown[1]


def test_a_condition_that_was_typed_is_what_the_car_is_read_under(
    joint: tuple[Visit, PracticeFolder],
) -> None:
    """Twice the load takes twice the voltage across the same resistance."""
    visit, _ = joint
    drops = []
    for load_current in ("100", "300"):
        page = on_the_car(
            visit,
            "test/battery.load_voltage",
            f"{READING}.is",
            "reading=battery.load_voltage",
            **{'step[0]__setup__"battery__load_current"__is': load_current},
        )
        assert value(page, 'step[0].setup."battery.load_current".is') == load_current
        drops.append(float(value(page, f"{READING}.is").split()[0]))
    assert drops[0] > drops[1] + 0.5


def test_a_guess_that_was_typed_first_is_counted_with_whether_it_came_near(
    joint: tuple[Visit, PracticeFolder],
) -> None:
    visit, cars = joint
    path, key = "test/battery.open_circuit_voltage", "reading=battery.open_circuit_voltage"
    page = on_the_car(visit, path, f"{READING}.is", key, **{"step[0]__readings[0]__is": "12.3"})
    assert "You guessed 12.3 V. The meter shows" in page.text
    on_the_car(
        visit,
        "test/battery.charging_voltage",
        f"{READING}.is",
        "reading=battery.charging_voltage",
        **{"step[0]__readings[0]__is": "9"},
    )
    assert [(one.guess, one.is_near) for one in cars.guesses(visit.id)] == [("12.3 V", True), ("9 V", False)]
    assert "2, 1 of them near" in visit.get("practice").text


def test_what_the_meter_showed_before_is_no_guess(joint: tuple[Visit, PracticeFolder]) -> None:
    visit, cars = joint
    path, key = "test/battery.charging_voltage", "reading=battery.charging_voltage"
    shown = value(on_the_car(visit, path, f"{READING}.is", key), f"{READING}.is")
    on_the_car(visit, path, f"{READING}.is", key, **{"step[0]__readings[0]__is": shown})
    assert cars.guesses(visit.id) == []


def test_what_is_seen_is_said_beside_the_answers_and_a_guess_of_it_counts(
    joint: tuple[Visit, PracticeFolder],
) -> None:
    visit, cars = joint
    page = on_the_car(visit, "test/battery.case", f"{SEEN}.is", "look=battery.case", guess="swollen")
    assert "You guessed swollen. You find: sound." in page.text
    assert [one.is_near for one in cars.guesses(visit.id)] == [False]


def test_what_the_car_cannot_show_is_said_with_the_reason(joint: tuple[Visit, PracticeFolder]) -> None:
    visit, _ = joint
    page = on_the_car(
        visit, "test/battery.specific_gravity", f"{READING}.is", "reading=battery.specific_gravity"
    )
    assert "the battery of these cars is sealed" in page.text
    assert value(page, f"{READING}.is") == ""


def test_labels_and_codes_are_read_off_the_car(shop: Shop) -> None:
    visit, cars = practised(shop, with_fault(PracticeFolder(shop.context), "egr", "motor"))
    page = on_the_car(visit, "fitted/egr", 'traits."egr.displacement"', "labels=egr")
    assert 'value="electric motor" checked' in page.html
    codes = on_the_car(visit, "codes", "step[0].codes.stored|list", "codes=all")
    car = cars.as_it_stands(visit.job)
    assert car is not None and car.codes
    assert value(codes, "step[0].codes.stored|list") == " ".join(car.codes)


def test_a_log_is_filled_in_point_by_point(joint: tuple[Visit, PracticeFolder]) -> None:
    visit, _ = joint
    page = on_the_car(visit, "samples/battery.drain_log", "points", "record=battery.drain_log")
    points = page.html.partition('name="points"')[2].partition(">")[2].partition("</textarea>")[0]
    visit.send(page.form_of("points"), {"points": points})
    assert len(points.splitlines()) == 31 and len(visit.job.all(Recorded)) == 1  # an hour, every two minutes


def test_work_changes_the_car_and_the_complaint_is_gone(joint: tuple[Visit, PracticeFolder]) -> None:
    visit, cars = joint
    visit.rows(step=[{"repaired": {"operation": "battery.clean_contacts"}}])
    car = cars.as_it_stands(visit.job)
    assert car is not None and car.complaints == ()
    page = on_the_car(visit, "retest", f"{READING}.is", "complaint=now")
    assert "You look for it: it does not show." in page.text
    end = visit.get("practice").text
    assert "Put right" in end and "A joint of" in end and "mΩ between post and clamp" in end
    assert "Sound parts exchanged none" in end


def test_a_sound_part_that_was_exchanged_is_told_at_the_end(joint: tuple[Visit, PracticeFolder]) -> None:
    visit, _ = joint
    visit.rows(step=[{"repaired": {"operation": "battery.replace"}}])
    end = visit.get("practice").text
    assert "Something is left" in end and "Sound parts exchanged Replace the" in end


def test_a_swapped_coil_takes_the_misfire_with_it(shop: Shop) -> None:
    cars = PracticeFolder(shop.context)
    wish = next(
        Wish(seed=seed, system="ignition")
        for seed in range(400)
        if (car := cars._made(Wish(seed=seed, system="ignition"))).hidden[0].defect.key == "turns"
        and car.states["ignition"].kind == "coil on plug"
    )
    visit, cars = practised(shop, wish)
    car = cars.as_it_came(visit.job)
    assert car is not None
    bad = car.states["ignition"].it + 1
    other = bad % 4 + 1
    page = on_the_car(
        visit,
        f"tried/ignition.coil/swapped?place=coil+{bad}",
        f"{TRIED}.result",
        "trial=ignition.coil",
        **{"step[0]__tried__with": f"coil {other}"},
    )
    assert "It moved with the part." in page.text
    visit.rows(
        step=[
            {
                "tried": {
                    "part": "ignition.coil",
                    "place": f"coil {bad}",
                    "how": "swapped",
                    "with": f"coil {other}",
                    "result": "moved",
                }
            }
        ]
    )
    now = cars.as_it_stands(visit.job)
    assert now is not None and now.practices["ignition"].shown_at is not None
    assert now.practices["ignition"].shown_at(now, "ignition.coil") == [f"coil {other}"]


def test_no_number_is_taken_and_every_paper_is_a_draft_that_says_practice(
    joint: tuple[Visit, PracticeFolder],
) -> None:
    visit, _ = joint
    visit.rows(step=[{"repaired": {"operation": "battery.clean_contacts"}}])
    reply = visit.client.post(f"/job/{visit.id}/issue", data={"answer": "an-answer-0123456789"})
    assert "stays a draft" in reply.text and not visit.job.issued
    visit.send(visit.get("diagnosis").forms[0])
    words = paper_text(next((visit.shop.context.folder / PAPERS).glob("estimate-*.pdf")))
    assert "PRACTICE" in words and "DRAFT" in words


@pytest.mark.parametrize("what", ["reading=brooms.stick", "look=brooms.stick", "labels=brooms", "nothing=1"])
def test_what_nobody_declared_is_asked_of_no_car(joint: tuple[Visit, PracticeFolder], what: str) -> None:
    visit, _ = joint
    assert visit.client.post(f"/job/{visit.id}/car?{what}", data={}).status_code == 404


def test_a_practice_car_that_fails_costs_its_answer_alone(
    joint: tuple[Visit, PracticeFolder], monkeypatch: pytest.MonkeyPatch
) -> None:
    visit, cars = joint
    monkeypatch.setitem(
        cars.parts["battery"].sight, "battery.case", lambda car, at: {}["a plugin's own mistake"]
    )
    reply = visit.client.post(f"/job/{visit.id}/car?look=battery.case", data={})
    assert reply.status_code == 404 and "could not answer: KeyError" in reply.text
    assert visit.get("test/battery.case").text


@pytest.mark.parametrize("hangs", ["it sleeps", "it computes"])
def test_a_practice_car_that_never_comes_back_costs_its_answer_alone(
    joint: tuple[Visit, PracticeFolder], monkeypatch: pytest.MonkeyPatch, hangs: str
) -> None:
    visit, cars = joint
    ends = threading.Event()

    def looked_at(car: object, at: object) -> str:
        if hangs == "it sleeps":
            ends.wait(60.0)
        while not ends.is_set():
            pass
        return "sound"

    monkeypatch.setitem(cars.parts["battery"].sight, "battery.case", looked_at)
    monkeypatch.setattr("corekit.practice.guard.answered.__defaults__", (0.05,))
    monkeypatch.setattr("corekit.practice.guard.GRACE", 0.5)
    try:
        reply = visit.client.post(f"/job/{visit.id}/car?look=battery.case", data={})
    finally:
        ends.set()
    assert reply.status_code == 404 and "did not answer: it took longer than 0.05 s" in reply.text
    assert visit.get("test/battery.case").text


def test_a_practice_car_that_fails_at_the_end_says_so(
    joint: tuple[Visit, PracticeFolder], monkeypatch: pytest.MonkeyPatch
) -> None:
    visit, cars = joint
    monkeypatch.setitem(cars.parts["battery"].need, "battery.replace", lambda car: {}["a mistake"])
    reply = visit.client.get(f"/job/{visit.id}/practice")
    assert reply.status_code == 404 and "could not answer: KeyError" in reply.text


def test_another_car_is_of_the_kind_of_the_last(shop: Shop) -> None:
    visit, cars = practised(shop, Wish(seed=4, system="cooling"))
    reply = visit.client.post("/practice/new")
    other = reply.headers["Location"].rpartition("/")[2]
    wish = cars.wish(other)
    assert wish is not None and (wish.system, wish.hard) == ("cooling", False) and wish.seed != 4


def test_what_is_there_already_is_no_practice_folder_and_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", "utf-8")
    with pytest.raises(Exception, match="nothing was touched"):
        set_up(tmp_path, PLUGINS)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
