"""The screens of testing, without a browser: what they show and what becomes of their forms.

The invented clutch stands for any plugin.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

import pytest

from corekit.desk.jobs import texts_of
from corekit.model.measurand import answers_of
from corekit.model.personal import shop_words
from corekit.model.records import CodesRead, Fitted, Measured, Seen, Setup, Specified, Started
from corekit.plugin.host import load
from corekit.units import from_coherent
from corekit.visit.guidance import open_tests, repeatable_tests

from ..visit.clutch import FINGERS
from .pages import Page, Visit

READING = "step[0].readings[0]"
SEEN = "step[0].seen[0]"


def records(visit: Visit, kind: type) -> list[Any]:
    return [noted.record for noted in visit.job.all(kind)]


# ---- the beginning


def test_at_the_beginning_the_mechanic_says_which_system_and_nothing_is_guessed_from_the_complaint(
    real: Visit,
) -> None:
    page = real.get("test")
    for system in real.shop.context.plugins.systems.values():
        assert system.title in page.text
        assert f"/job/{real.id}/fitted/{system.key}" in page.links


def test_what_is_fitted_is_asked_on_one_page_and_kept_with_one_key_then_comes_the_first_test(
    visit: Visit,
) -> None:
    page = visit.get("fitted/clutch")
    form = page.form_of('traits."clutch.drive"')
    after = visit.send(form, {'traits."clutch.drive"': "fluid line", 'traits."clutch.bore"': "19"})
    assert {(record.of, record.typed) for record in records(visit, Fitted)} == {
        ("clutch.drive", "fluid line"),
        ("clutch.bore", "19 mm"),
    }
    assert "Is the fluid clear?" in after.text


def test_skipping_what_is_fitted_leaves_it_unknown_and_still_leads_to_the_first_test(visit: Visit) -> None:
    page = visit.get("fitted/clutch")
    onward = next(link for link in page.links if "about=clutch" in link)
    assert "Is the fluid clear?" in visit.get(onward).text
    assert records(visit, Fitted) == []


def test_several_systems_can_be_in_question_at_once(real: Visit) -> None:
    tests = {
        real.get(f"tests?about={key}").ahead[0].split("/test/")[-1].split(".")[0]
        for key in ("battery", "ignition")
    }
    assert tests == {"battery", "ignition"}
    both = {
        path.split("/")[-1].split(".")[0]
        for path in real.get("tests?about=battery&about=ignition&minutes=400").ahead
    }
    assert "battery" in both


# ---- the hazard stands before the step


@pytest.mark.parametrize("key", ["clutch.play", "clutch.sink", "clutch.fluid"])
def test_the_caution_stands_before_the_field_and_one_key_leads_past_it(visit: Visit, key: str) -> None:
    html = visit.get(f"test/{key}").html
    caution, gate = html.index('class="caution'), html.index("Caution read: continue")
    field = html.index(
        'name="step[0].readings[0].is"' if key != "clutch.fluid" else 'name="step[0].seen[0].is"'
    )
    assert caution < gate < field < html.index("</details>", gate)


def test_every_hazard_that_a_plugin_declares_stands_on_its_screen_before_the_field(real: Visit) -> None:
    plugins = real.shop.context.plugins
    for declared in [*plugins.measurands.values(), *plugins.observations.values()]:
        page = real.get(f"test/{declared.key}")
        if declared.hazard:
            assert declared.hazard in page.text
            assert page.html.index("Caution") < page.html.index("data-answer")


def test_a_caution_that_was_read_stays_on_the_screen_and_bars_the_way_no_longer(visit: Visit) -> None:
    visit.rows(step=[{"seen": [{"of": "clutch.fluid", "is": "clear"}]}])
    page = visit.get("test/clutch.play")
    assert FINGERS in page.text and "go on" not in page.text


# ---- a reading


def kept(visit: Visit, key: str = "clutch.play", **fields: str) -> Page:
    form = visit.get(f"test/{key}").form_of(f"{READING}.is")
    return visit.send(
        form, {f"{READING}.{name}": text for name, text in fields.items() if name != "warmth"} | warm(fields)
    )


def warm(fields: dict[str, str]) -> dict[str, str]:
    return {'step[0].setup."clutch.warmth".is': fields["warmth"]} if "warmth" in fields else {}


def test_a_reading_is_kept_with_its_unit_key_and_what_it_was_taken_at_and_its_other_place_comes_next(
    visit: Visit,
) -> None:
    page = kept(visit, **{"is": "12", "warmth": "20"})
    (record,) = records(visit, Measured)
    assert (record.of, record.place, record.typed, record.stage) == ("clutch.play", "cold", "12 mm", 0)
    assert visit.at.endswith("test/clutch.play?place=warm")
    assert "12 mm" in page.text and "As with the earlier reading: change it if it differs now." in page.text
    conditions = page.html.index('name="step[0].setup.&#34;clutch.warmth&#34;.is"')
    folded = page.html[:conditions]
    assert folded.count("<details") == folded.count("</details>")
    again = visit.send(page.form_of(f"{READING}.is"), {f"{READING}.is": "14"})
    assert [record.place for record in records(visit, Measured)] == ["cold", "warm"]
    assert len(records(visit, Setup)) == 1  # asked once, kept once
    assert "Play of the pedal: 12 mm (cold); 14 mm (warm)." in again.text


def test_the_line_on_the_next_screen_says_what_the_last_answer_meant(visit: Visit) -> None:
    visit.rows(traits={"clutch.bore": "19 mm"})
    visit.rows(step=[{"readings": [{"of": "clutch.sink", "is": "12 mm"}]}])
    page = visit.get("test")
    # ± 1 mm, evenly likely: U = 2 · 1 / √3 = 1.2 mm (JCGM 100:2008, 4.3.7)
    assert "Plan it How far it sinks: 12 mm. It sinks 12.0 mm ± 1.2 mm (k = 2)." in page.text


def test_a_reading_that_cannot_be_comes_back_with_the_fault_beside_its_field_and_everything_that_was_typed(
    visit: Visit,
) -> None:
    form = visit.get("test/clutch.play").form_of(f"{READING}.is")
    page = visit.send(form, {f"{READING}.is": "900", 'step[0].setup."clutch.warmth".is': "20"}, status=422)
    assert records(visit, Measured) == []
    assert "outside what is possible" in page.text
    given = dict(page.form_of(f"{READING}.is").fields)
    assert (given[f"{READING}.is"], given['step[0].setup."clutch.warmth".is']) == ("900", "20")


def test_an_unusual_reading_is_asked_about_once_and_taken_when_it_really_reads_so(visit: Visit) -> None:
    form = visit.get("test/clutch.play").form_of(f"{READING}.is")
    page = visit.send(form, {f"{READING}.is": "120"}, status=422)
    assert page.text.count("120 mm? 12 mm? Usual: 2 mm to 60 mm.") == 1
    assert "confirmed =" not in page.text  # no words of a file on a screen
    again = page.form_of(f"{READING}.confirmed|yes")
    visit.send(again, {f"{READING}.confirmed|yes": "yes"})
    (record,) = records(visit, Measured)
    assert (record.typed, record.confirmed) == ("120 mm", True)


def test_what_a_reading_is_taken_at_is_examined_and_confirmed_as_the_reading_is(visit: Visit) -> None:
    form = visit.get("test/clutch.play").form_of(f"{READING}.is")
    warmth = 'step[0].setup."clutch.warmth"'
    page = visit.send(form, {f"{READING}.is": "12", f"{warmth}.is": "90"}, status=422)
    assert "90 °C?" in page.text
    visit.send(page.form_of(f"{warmth}.confirmed|yes"), {f"{warmth}.confirmed|yes": "yes"})
    (setup,) = records(visit, Setup)
    assert setup.values["clutch.warmth"]["confirmed"] is True


def test_the_instrument_in_the_van_is_one_tap_and_stays_pressed_for_the_next_reading(real: Visit) -> None:
    page = real.get("test/battery.open_circuit_voltage")
    form = page.form_of(f"{READING}.with")
    assert dict(form.fields)[f"{READING}.with"] == ""
    real.send(form, {f"{READING}.is": "12.6", f"{READING}.with": "meter"})
    assert records(real, Measured)[0].instrument == "meter"
    assert (
        dict(real.get("test/battery.load_voltage").form_of(f"{READING}.with").fields)[f"{READING}.with"]
        == "meter"
    )


# ---- what cannot be had


def test_what_cannot_be_reached_is_an_answer_with_a_reason_from_the_list_or_in_own_words(
    visit: Visit,
) -> None:
    for place, reason in (("cold", "no tool for it here"), ("warm", "the cover is riveted")):
        page = visit.get(f"test/clutch.play?place={place}")
        forms = [form for form in page.forms if f"{SEEN}.cannot" in form.names]
        assert (f"{SEEN}.cannot", "no tool for it here") in forms[0].buttons
        visit.send(forms[0] if "tool" in reason else forms[1], {f"{SEEN}.cannot": reason})
    texts = texts_of(visit.shop.context, visit.job)
    assert [(seen.of, seen.place, shop_words(seen.cannot, texts)) for seen in records(visit, Seen)] == [
        ("clutch.play", "cold", "no tool for it here"),
        ("clutch.play", "warm", "the cover is riveted"),
    ]


def test_that_nobody_knows_is_an_answer_to_what_is_looked_at(visit: Visit) -> None:
    page = visit.get("test/clutch.fluid")
    form = next(form for form in page.forms if (f"{SEEN}.cannot", "nobody here knows") in form.buttons)
    assert "Is the fluid clear?" not in visit.send(form, {f"{SEEN}.cannot": "nobody here knows"}).text
    assert records(visit, Seen)[0].cannot == "nobody here knows"


def test_one_tap_answers_what_is_looked_at(visit: Visit) -> None:
    form = visit.get("test/clutch.fluid").form_of(f"{SEEN}.is")
    assert form.buttons == [(f"{SEEN}.is", "clear"), (f"{SEEN}.is", "dark")]
    visit.send(form, {f"{SEEN}.is": "dark"})
    assert records(visit, Seen)[0].answer == "dark"


# ---- while typing


def tried(visit: Visit, key: str, text: str, **more: str) -> Page:
    fields = {
        f"{READING}.of": key,
        f"{READING}.is": text,
        f"{READING}.is|unit": more.pop("unit", "mm"),
    } | more
    reply = visit.client.post(
        f"/job/{visit.id}/try", data=fields | {"answer": "x" * 20, "screen": "/", "guard": ""}
    )
    assert reply.status_code == 200
    return Page(reply.text)


def test_while_typing_it_is_said_what_was_understood_and_what_it_means_and_nothing_is_written(
    real: Visit,
) -> None:
    before = len(real.job.entries)
    # Parasitic draw: at most 50 mA is usual (training pages on battery drain, as in the plugin's limits).
    page = tried(real, "battery.parasitic_draw", "380", unit="mA")
    assert page.text.startswith("Undecided plan it"), "the verdict is the first word"
    assert "380 mA ±" in page.text and "<svg" in page.html and "at most 50 mA" in page.text
    assert len(real.job.entries) == before


def test_while_typing_an_unusual_value_is_a_question_with_what_was_probably_meant_as_keys(
    visit: Visit,
) -> None:
    page = tried(visit, "clutch.sink", "120")
    assert page.text.startswith("120 mm? 12 mm? 1.2 mm? Usual: 0 mm to 60 mm.")
    assert re.findall(r'data-fill="([^"]*)" data-value="([^"]*)"', page.html) == [
        (f"{READING}.is", "12 mm"),
        (f"{READING}.is", "1.2 mm"),
    ]
    assert f'data-confirm="{READING}.is"' in page.html


def test_what_is_still_missing_is_no_fault_while_typing(visit: Visit) -> None:
    assert tried(visit, "clutch.sink", "").text == ""
    assert "is missing" not in tried(visit, "clutch.play", "12").text  # no place yet


def test_a_display_that_shows_no_number_is_worth_keeping_as_the_reason_why_there_is_none(real: Visit) -> None:
    page = tried(real, "egr.coil", "OL", unit="Ω")
    assert "beyond the range, shows OL" in page.html and 'form="cannot"' in page.html
    form = next(
        form
        for form in real.get("test/egr.coil").forms
        if any(name == f"{SEEN}.cannot" for name, _ in form.buttons)
    )
    real.send(form, {f"{SEEN}.cannot": "beyond the range, shows OL"})
    assert records(real, Seen)[0].cannot == "beyond the range, shows OL"


def test_nothing_that_somebody_types_is_markup_on_the_screen(visit: Visit) -> None:
    assert "<b>" not in tried(visit, "clutch.sink", "<b>9</b>").html
    form = visit.get("test/clutch.sink").form_of(f"{READING}.is")
    assert "<b>9" not in visit.send(form, {f"{READING}.is": '"><b>9</b>'}, status=422).html


# ---- waiting beside


def test_a_test_that_waits_is_started_now_stands_on_every_screen_and_knows_its_minutes(visit: Visit) -> None:
    form = visit.get("test/clutch.sink?about=clutch").form_of("step[0].started.of")
    visit.send(form)
    (record,) = records(visit, Started)
    assert (record.of, record.wait) == ("clutch.sink", 1800)
    for path in ("tests", "test?about=clutch", "codes", "systems"):
        page = visit.get(path)
        assert "How far it sinks: check again at" in page.text
        assert f"/job/{visit.id}/test/clutch.sink" in page.links
    assert visit.get("test?about=clutch").form_of(f"{SEEN}.is")  # and another one is next meanwhile
    assert "Start now" not in visit.get("test/clutch.sink?about=clutch").text


def test_after_the_wait_the_minutes_stand_in_the_field(visit: Visit) -> None:
    taken = datetime.now(UTC) - timedelta(minutes=42)
    visit.rows(step=[{"started": {"of": "clutch.sink", "wait": "30 min", "taken": taken.isoformat()}}])
    fields = dict(visit.get("test/clutch.sink").form_of(f"{READING}.is").fields)
    assert (
        fields['step[0].setup."clutch.rest".is'] in ("42", "43")
        and fields['step[0].setup."clutch.rest".is|unit'] == "min"
    )


def test_a_test_too_long_for_the_time_left_is_set_apart_and_said(visit: Visit) -> None:
    page = visit.get("test?about=clutch&minutes=10")
    assert "Too long for the time left" in page.text and "Does it sink?" in page.text
    assert "Only tests that fit" in page.text
    assert all("minutes=10" in link for link in page.links if f"{visit.id}/test/" in link)


# ---- any other test, codes, limits


def test_every_test_of_every_system_is_one_tap_away_with_what_was_read(real: Visit) -> None:
    real.rows(step=[{"readings": [{"of": "battery.cranking_voltage", "place": "posts", "is": "8,9 V"}]}])
    page = real.get("tests")
    for declared in [
        *real.shop.context.plugins.measurands.values(),
        *real.shop.context.plugins.observations.values(),
    ]:
        place = {"battery.cranking_voltage": "clamps"}.get(
            declared.key, declared.places[0] if declared.places else ""
        )  # the first that is not read
        asked = [("place", place)] if place else []
        assert (
            f"/job/{real.id}/test/{declared.key}?{urlencode([*asked, ('listed', 1)])}" in page.links
            and declared.title in page.text
        )
    assert "Voltage while cranking posts: 8,9 V" in page.text


def test_lists_of_codes_are_kept_as_read_also_when_none_is_set(visit: Visit) -> None:
    form = visit.get("codes").form_of("step[0].codes.stored|list")
    visit.send(form, {"step[0].codes.stored|list": "p0704, P0300", "step[0].codes.pending|none": "yes"})
    assert [(record.state, record.codes) for record in records(visit, CodesRead)] == [
        ("stored", ["P0704", "P0300"]),
        ("pending", []),
    ]


def test_a_code_that_is_none_comes_back_beside_its_list(visit: Visit) -> None:
    form = visit.get("codes").form_of("step[0].codes.stored|list")
    page = visit.send(form, {"step[0].codes.stored|list": "P0704 X12"}, status=422)
    beside = page.html.index('data-faults="step[0].codes.stored|list"')
    assert "X12" in page.html[beside : beside + 400]
    assert dict(page.form_of("step[0].codes.stored|list").fields)["step[0].codes.stored|list"] == "P0704 X12"


def test_codes_that_cannot_be_read_are_an_answer(visit: Visit) -> None:
    form = next(form for form in visit.get("codes").forms if form.buttons)
    visit.send(form, dict([form.buttons[0]]))
    assert records(visit, CodesRead)[0].cannot == form.buttons[0][1]


def test_this_vehicles_own_limit_is_reached_from_its_test_and_stands_there_afterwards(real: Visit) -> None:
    page = real.get("test/battery.charging_voltage")
    link = next(link for link in page.links if "/limit/" in link)
    form = real.get(link).form_of("specification[0].low")
    back = real.send(
        form,
        {
            "specification[0].low": "14.2",
            "specification[0].high": "14.9",
            "specification[0].from": "label under the bonnet",
        },
    )
    (record,) = records(real, Specified)
    assert (record.low, record.high, record.where_from) == (14.2, 14.9, "label under the bonnet")
    assert "This vehicle's own limit: 14.2 V to 14.9 V (label under the bonnet)" in back.text


def test_a_limit_with_neither_end_is_asked_for_again(real: Visit) -> None:
    form = real.get("limit/battery.parasitic_draw").form_of("specification[0].low")
    page = real.send(form, {"specification[0].from": "label"}, status=422)
    assert "neither low nor high" in page.text and records(real, Specified) == []


@pytest.mark.parametrize(
    "path", ["test/clutch.colour", "fitted/wings", "limit/clutch.fluid", "limit/nothing"]
)
def test_what_nobody_declares_is_not_there(visit: Visit, path: str) -> None:
    visit.get(path, 404)


@pytest.mark.parametrize(
    "wish",
    ["minutes=-5", "minutes=soon", "minutes=1e99", "about=wings", "about=", "place=attic", "minutes=nan"],
)
def test_a_wish_that_cannot_be_is_passed_over(visit: Visit, wish: str) -> None:
    assert "What to test" in visit.get(f"test?{wish}").text
    assert "Play of the pedal" in visit.get(f"test/clutch.play?{wish}").text


# ---- the end of testing


def test_when_no_test_is_worth_making_it_is_said_with_what_could_not_be_said_and_what_comes_next(
    visit: Visit,
) -> None:
    visit.rows(
        step=[{"seen": [{"of": "clutch.fluid", "is": "clear"}]}, {"codes": {"cannot": "no scan tool here"}}]
    )
    visit.rows(step=[{"seen": [{"of": "clutch.sink", "cannot": "seized"}]}])
    page = visit.get("test")
    assert "No further test is worthwhile" in page.text
    assert "could not be reached, seized" in page.text
    assert f"/job/{visit.id}/explain" in page.links


def test_what_it_could_be_is_for_the_mechanic_and_one_tap_away(visit: Visit) -> None:
    visit.rows(step=[{"seen": [{"of": "clutch.fluid", "is": "dark"}]}])
    html = visit.get("test").html
    at = html.index("Likely causes")
    assert html.rindex("<details", 0, at) > html.rindex(
        "</details>", 0, at
    )  # folded away until it is asked for
    assert "Worn cylinder" in html[at:] and "not for the customer" in html[at:]


def test_the_next_few_tests_are_named_so_that_they_open_without_a_connection(real: Visit) -> None:
    known = ("battery.cranks", "battery.told", "battery.starter_current", "battery.starter_voltage")
    known += ("battery.open_circuit_voltage", "battery.age", "battery.battery_current", "battery.case")
    known += ("battery.control_voltage",)
    page = real.get("test?" + urlencode([("about", "battery"), *(("aside", key) for key in known)]))
    here = real.at
    assert here not in page.ahead
    # The worker fetches 64 at most: sw.js.
    assert 4 <= len(page.ahead) <= 64 and page.ahead[-1].partition("?")[0].endswith("/tests")
    places = {link for link in page.ahead if "cranking_voltage" in link}
    assert len(places) == 2  # the one place and the one after it
    for path in page.ahead:
        real.get(path)
        assert real.at == path  # no way round: a kept copy cannot be led on


# ---- after the repair


def test_the_test_after_the_repair_asks_for_what_shows_it_and_says_how_it_was_read_before(
    visit: Visit,
) -> None:
    visit.rows(
        step=[
            {
                "setup": {"clutch.rest": "30 min", "clutch.warmth": "20 °C"},
                "readings": [{"of": "clutch.sink", "is": "12 mm"}],
            }
        ]
    )
    visit.rows(step=[{"repaired": {"operation": "clutch.replace"}}])
    page = visit.get("retest")
    assert "Did it help? Replace the cylinder" in page.text
    assert "How far it sinks 12 mm, at 30 min, 20 °C" in page.text
    after = visit.send(page.form_of(f"{READING}.is"), {f"{READING}.is": "2"})
    assert records(visit, Measured)[-1].stage == 1
    assert visit.at.endswith("/retest") and "How far it sinks: 2 mm." in after.text


def test_every_screen_of_testing_defers_to_the_maker_and_never_calls_anything_harmless(real: Visit) -> None:
    for path in (
        "test",
        "systems",
        "tests",
        "codes",
        "fitted/battery",
        "test/battery.parasitic_draw",
        "limit/battery.parasitic_draw",
        "retest",
    ):
        assert not re.search(r"\bsafe(ly)?\b", real.get(path).text.casefold())
    assert (
        "Local rules and the manufacturer's instructions come first."
        in real.get("test/battery.parasitic_draw").text
    )


# ---- a way that ends


@pytest.mark.parametrize("manner", ["middle", "low", "cannot"])
@pytest.mark.parametrize("system", sorted(load().systems))
def test_whoever_does_what_the_screen_says_comes_to_an_end_and_is_never_led_back_to_what_was_done(
    real: Visit, system: str, manner: str
) -> None:
    seen: list[str] = []
    for _ in range(200):
        page = real.get(f"test?about={system}")
        if "Enter the codes" in page.text:
            real.rows(
                step=[{"codes": {"cannot": "no scan tool here"} if manner == "cannot" else {"stored": []}}]
            )
            seen.append("codes")
        elif "/test/" in real.at:
            seen.append(f"{real.job.stage} {real.at}")
            do_as_told(real, page, manner)
        elif "/act/" in real.at:  # harmless work, after which what was open is read again
            seen.append(real.at)
            real.send(page.form_of("step[0].repaired.operation"))
        else:
            break
    assert "/explain" in " ".join(page.links) and (
        "Enough is known" in page.text or "No further test" in page.text
    )
    assert len(seen) == len(set(seen)) > 3


def do_as_told(visit: Visit, page: Page, manner: str) -> None:
    """Answer the test on this page: with a value of its usual span, with the first or last answer, or that it
    cannot be had anywhere.
    """
    key = visit.at.split("/test/")[1].split("?")[0]
    trait = visit.shop.context.plugins.traits.get(key)
    if trait is not None:
        known = {"middle": "4", "low": "1"}.get(manner)
        answers = list(answers_of(trait.answers)) if trait.answers is not None else []
        listed = answers[-1 if manner == "low" else 0] if answers else f"{known} {'/'.join(trait.units[:1])}"
        visit.rows(traits={key: listed if known else "don't know"})
        return
    share = {"middle": 0.5, "low": 0.02, "cannot": 0.5}[manner]
    if manner == "cannot":
        form = next(form for form in page.forms if any(name == f"{SEEN}.cannot" for name, _ in form.buttons))
        visit.send(
            form, dict([form.buttons[0]]) | ({f"{SEEN}.place": ""} if f"{SEEN}.place" in form.names else {})
        )
    elif key in visit.shop.context.plugins.measurands:
        declared = visit.shop.context.plugins.measurands[key]
        beside = {
            f'step[0].setup."{one}".is': usual(visit.shop.context.plugins.measurands[one], 0.5)
            for one in declared.conditions
        }
        visit.send(page.form_of(f"{READING}.is"), beside | {f"{READING}.is": usual(declared, share)})
    else:
        form = page.form_of(f"{SEEN}.is")
        visit.send(form, dict([form.buttons[-1 if manner == "low" else 0]]))


def usual(measurand: Any, share: float) -> str:
    low, high = measurand.usual.low or 0.0, measurand.usual.high
    number = from_coherent(low + share * ((low + 1 if high is None else high) - low), measurand.unit)
    return f"{number:.0f}" if measurand.kind == "count" else f"{number:.4f}"


def test_of_many_places_no_more_than_the_vehicle_has_need_be_read(real: Visit) -> None:
    for n in (1, 2):
        real.rows(
            step=[{"readings": [{"of": "ignition.secondary_resistance", "place": f"coil {n}", "is": "8 kΩ"}]}]
        )
    page = real.get("test/ignition.secondary_resistance?place=coil 3&about=ignition")
    link = next(link for link in page.links if "aside=ignition.secondary_resistance" in link)
    for _ in range(3):
        page = real.get(link)
        assert "/test/ignition.secondary_resistance" not in real.at
    assert "aside=ignition.secondary_resistance" in real.at and "Set aside." in page.text


def test_a_test_that_one_of_many_places_left_open_is_offered_again_and_does_not_come_by_itself(
    real: Visit,
) -> None:
    real.rows(
        specification=[
            {"of": "ignition.plug_gap", "low": "0.7 mm", "high": "0.8 mm", "from": "plate under the bonnet"}
        ]
    )
    real.rows(
        step=[{"readings": [{"of": "ignition.plug_gap", "place": "cylinder 1", "is": "0.80 mm"}]}]
    )  # on the limit: undecided
    plugins, assessment = real.shop.context.plugins, real.shop.assess(real.id)
    assert [test.wants for test in repeatable_tests(assessment, plugins)] == ["ignition.plug_gap"]
    assert "ignition.plug_gap" not in [test.wants for test in open_tests(assessment, plugins)]
    page = real.get("test")
    assert "Still open" in page.text and "The first attempt was inconclusive." in page.text


def test_a_test_that_one_place_answered_is_not_asked_for_at_the_others_by_itself(real: Visit) -> None:
    # Where one grade of the battery's table ends and the next begins, it is neither.
    real.rows(
        step=[
            {
                "setup": {"battery.engine_speed": "2000 rpm"},
                "readings": [{"of": "battery.ripple", "place": "posts", "is": "0.3 V"}],
            }
        ]
    )
    plugins, assessment = real.shop.context.plugins, real.shop.assess(real.id)
    assert [(test.wants, test.repeat) for test in repeatable_tests(assessment, plugins)] == [
        ("battery.ripple", True)
    ]
    assert "battery.ripple" not in [test.wants for test in open_tests(assessment, plugins)]
    assert "Again: The first attempt was inconclusive." in real.get("test/battery.ripple?place=posts").text


def test_what_cannot_be_reached_at_one_place_may_be_out_of_reach_everywhere(visit: Visit) -> None:
    form = next(
        form for form in visit.get("test/clutch.play").forms if f"{SEEN}.place" in form.names and form.buttons
    )
    visit.send(form, dict([form.buttons[0]]) | {f"{SEEN}.place": ""})
    assert [(seen.place, seen.cannot) for seen in records(visit, Seen)] == [("", form.buttons[0][1])]
