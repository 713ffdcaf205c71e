"""What a screen asks is made from declarations and from what the job says already; the invented clutch stands
for any plugin.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import attrs
import pytest

from corekit.assess.assessment import assess
from corekit.desk.in_memory import scratch_job
from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.model.job import Job
from corekit.model.measurand import Measurand
from corekit.model.records import Instrument
from corekit.plugin.host import Plugins, load
from corekit.visit.guidance import is_made, last_meaning, missing_for, open_tests
from corekit.visit.guidance import test_path as path_of
from corekit.visit.instruments import Instruments, instruments_for
from corekit.visit.questions import (
    Question,
    hazards_read,
    present_answers,
    question_of,
    trait_questions,
)
from corekit.visit.unit_keys import number_and_unit, unit_keys

from .clutch import FINGERS, PLUGINS, clutch, force, play, sink, warmth

NOW = datetime(2026, 3, 5, 12, 0, tzinfo=UTC)
HEAD = 'job = "x"\nreason = "r"\nvehicle = { description = "t", no_vin = "not seen" }\n'


@pytest.fixture
def job(tmp_path: Path) -> Callable[[str], Job]:
    """The job that these rows of a visit file tell of."""

    def tell(rows: str) -> Job:
        path = tmp_path / "visit.toml"
        path.write_text(HEAD + rows, encoding="utf-8")
        return scratch_job(
            read_visit(path, Declared.of(PLUGINS, {"gauge": Instrument(name="gauge", accuracy="1 %")}, "EUR"))
        )[0]

    return tell


def ask(
    key: str, job: Job, kit: Instruments | None = None, *, place: str = "", now: datetime = NOW
) -> Question:
    found = question_of(key, job, PLUGINS, kit or Instruments(), place=place, now=now)
    assert found is not None
    return found


# ---- units


def declared_in(unit: str, usual: tuple[float, float]) -> Measurand:
    name = f"m{len(clutch.measurands)}"
    made = clutch.measurand(
        name,
        unit,
        "x",
        possible=(None, None),
        usual=usual,
        accuracy=f"1 {'points' if unit == '%' else unit.split(maxsplit=1)[0]}",
    )
    del clutch.measurands[made.key]
    return made


@pytest.mark.parametrize(
    ("unit", "usual", "keys"),
    [
        ("V", (10.5, 13.2), ["V"]),  # 13200 mV is no handy number
        ("V", (0, 1.5), ["V", "mV"]),
        ("mA", (1, 3000), ["mA", "A"]),
        ("°C", (-25, 55), ["°C", "°F"]),  # nobody's thermometer shows kelvin
        ("mm", (0.3, 1.5), ["mm", "in"]),  # a gap is given in thousandths of an inch too, and never in cm
        ("h", (0, 500), ["h", "min", "d"]),  # 40 min of rest
        ("rpm", (500, 3500), ["rpm"]),
        ("%", (0, 95), ["%"]),
    ],
)
def test_the_own_unit_comes_first_and_then_those_in_which_usual_values_are_handy_numbers(
    unit: str, usual: tuple[float, float], keys: list[str]
) -> None:
    assert list(unit_keys(declared_in(unit, usual))) == keys


def test_a_pressure_can_be_given_in_the_units_that_gauges_show_and_is_typed_without_its_mark() -> None:
    keys = unit_keys(declared_in("kPa abs", (20, 110)))
    assert keys[0] == "kPa" and {"bar", "psi", "inHg"} < set(keys) and len(keys) <= 6


@pytest.mark.parametrize("measurand", load().measurands.values(), ids=lambda one: one.key)
def test_every_key_of_every_installed_measurand_is_understood_beside_a_plain_number(
    measurand: Measurand,
) -> None:
    from corekit.units import read_reading

    for key in unit_keys(measurand):
        assert read_reading(f"1 {key}".strip(), [measurand.unit]).kind == measurand.kind


@pytest.mark.parametrize(
    ("typed", "parts"),
    [
        ("4 °C", ("4", "°C")),
        ("8,9V", ("8,9", "V")),
        ("about 9 h", ("about 9 h", "")),
        ("3 K", ("3 K", "")),
        ("", ("", "")),
    ],
)
def test_what_was_typed_is_taken_apart_only_where_it_is_a_number_and_a_key(
    typed: str, parts: tuple[str, str]
) -> None:
    assert number_and_unit(typed, ["°C", "V", "h"]) == parts


# ---- places, and what was said already


def test_the_first_place_that_was_not_spoken_of_is_asked_about_and_the_others_say_what_was_read(
    job: Callable[[str], Job],
) -> None:
    asked = ask(
        "clutch.play", job('[[step]]\nreadings = [{ of = "clutch.play", place = "cold", is = "12 mm" }]')
    )
    assert (asked.place, asked.recorded, asked.next_place) == ("warm", "", "")
    assert [(place.name, place.recorded) for place in asked.places] == [("cold", "12 mm"), ("warm", "")]


def test_a_place_that_is_asked_for_is_asked_about_and_after_it_comes_the_one_that_is_left(
    job: Callable[[str], Job],
) -> None:
    asked = ask("clutch.play", job(""), place="warm")
    assert (asked.place, asked.next_place) == ("warm", "cold")


def test_what_could_not_be_had_anywhere_leaves_no_place_to_ask_about(job: Callable[[str], Job]) -> None:
    recorded = present_answers(job('[[step]]\nseen = [{ of = "clutch.play", cannot = "seized" }]'), PLUGINS)
    assert recorded["clutch.play", "cold"] == recorded["clutch.play", "warm"] == "not obtained: seized"


def test_a_reading_of_an_earlier_stage_is_no_reading_of_this_one(job: Callable[[str], Job]) -> None:
    rows = (
        '[[step]]\nreadings = [{ of = "clutch.force", is = "90 N" }]\n[[step]]\nrepaired = { operation ='
        ' "clutch.replace" }'
    )
    assert ask("clutch.force", job(rows)).recorded == ""


def test_nothing_is_asked_of_a_key_that_nobody_declares(job: Callable[[str], Job]) -> None:
    assert question_of("clutch.colour", job(""), PLUGINS, Instruments(), now=NOW) is None


# ---- what it is read with: asked once


def test_what_a_reading_is_taken_at_stands_in_its_fields_once_it_was_said_in_this_stage(
    job: Callable[[str], Job],
) -> None:
    rows = (
        '[[step]]\nsetup = { "clutch.warmth" = "20 °C" }\nreadings = [{ of = "clutch.play", place = "cold",'
        ' is = "12 mm" }]\n'
    )
    (beside,) = ask("clutch.play", job(rows)).beside
    assert (beside.value, beside.pressed, beside.row) == ("20", "°C", 'step[0].setup."clutch.warmth"')
    assert beside.carried
    (later,) = ask("clutch.play", job(rows + '[[step]]\nrepaired = { operation = "clutch.replace" }')).beside
    assert later.value == ""


def test_only_some_of_what_it_is_taken_at_is_not_all_of_it(job: Callable[[str], Job]) -> None:
    asked = ask("clutch.sink", job('[[step]]\nreadings = [{ of = "clutch.warmth", is = "20 °C" }]'))
    assert [(one.value, one.carried) for one in asked.beside] == [("", False), ("20", True)]


def test_a_time_is_not_carried_over_to_a_reading_of_the_same_thing(job: Callable[[str], Job]) -> None:
    """Meanwhile it has passed; the temperature may well be the same."""
    first = '[[step]]\nsetup = { "clutch.rest" = "10 min", "clutch.warmth" = "20 °C" }\n'
    rest, warmth = ask("clutch.sink", job(first + 'readings = [{ of = "clutch.sink", is = "4 mm" }]')).beside
    assert (rest.value, rest.before, rest.repeated) == ("", "10 min", True)
    assert (warmth.value, warmth.carried) == ("20", True)


def test_a_time_that_was_said_with_another_thing_is_carried_over(job: Callable[[str], Job]) -> None:
    rest, _ = ask("clutch.sink", job('[[step]]\nreadings = [{ of = "clutch.rest", is = "10 min" }]')).beside
    assert (rest.value, rest.pressed, rest.carried, rest.before) == ("10", "min", True, "")


def test_what_it_was_read_with_before_the_repair_is_offered_afterwards_and_not_taken_for_granted(
    job: Callable[[str], Job],
) -> None:
    arrival = (
        '[[step]]\nsetup = { "clutch.warmth" = "20 °C" }\nreadings = [{ of = "clutch.play", place = "cold",'
        ' is = "12 mm" }]\n'
    )
    (warm,) = ask("clutch.play", job(arrival)).beside
    assert (warm.value, warm.pressed, warm.before) == ("20", "°C", "")
    (warm,) = ask("clutch.play", job(arrival + REPAIRED)).beside
    assert (warm.value, warm.before) == ("", "20 °C")


def test_the_minutes_since_a_waiting_test_was_started_stand_in_its_time(job: Callable[[str], Job]) -> None:
    started = NOW - timedelta(minutes=31)
    rows = f'[[step]]\nstarted = {{ of = "clutch.sink", wait = "30 min", taken = {started.isoformat()} }}'
    asked = ask("clutch.sink", job(rows))
    assert asked.waits == pytest.approx(31)
    assert (asked.beside[0].value, asked.beside[0].pressed) == ("31", "min")
    assert ask("clutch.sink", job("")).beside[0].value == ""
    read = job(rows + '\n[[step]]\nreadings = [{ of = "clutch.sink", is = "3 mm" }]')
    assert ask("clutch.sink", read).waits is None


# ---- the caution


def test_a_caution_counts_as_read_once_something_was_answered_behind_it_and_a_new_visit_shows_it_anew(
    job: Callable[[str], Job],
) -> None:
    answered = '[[step]]\nseen = [{ of = "clutch.fluid", is = "clear" }]\n'
    assert ask("clutch.play", job("")).unread
    assert not ask("clutch.play", job(answered)).unread  # the same words
    assert ask("clutch.sink", job(answered)).unread  # other words
    assert ask("clutch.play", job(answered + "[[step]]\narrived = {}")).unread
    assert not ask("clutch.force", job("")).unread  # there is none
    assert hazards_read(job(answered), PLUGINS) == {FINGERS}


def test_of_a_caution_in_several_sentences_those_count_as_read_that_stood_before_another_answer(
    job: Callable[[str], Job],
) -> None:
    both = copy.copy(clutch)
    both.measurands = {**clutch.measurands, play.key: attrs.evolve(play, hazard=f"{FINGERS} Wheels chocked.")}
    plugins = Plugins(systems={"clutch": both}, versions={"clutch": "1"})

    def is_unread(key: str, rows: str) -> bool:
        asked = question_of(key, job(rows), plugins, Instruments(), now=NOW)
        assert asked is not None
        return asked.unread

    seen, sunk = (
        '[[step]]\nseen = [{ of = "clutch.fluid", is = "clear" }]\n',
        '[[step]]\nreadings = [{ of = "clutch.sink", is = "3 mm" }]\n',
    )
    assert is_unread("clutch.play", seen) and is_unread("clutch.play", sunk)  # each is the half of it
    assert not is_unread("clutch.play", seen + sunk)
    whole = '[[step]]\nreadings = [{ of = "clutch.play", place = "cold", is = "12 mm" }]'
    assert not is_unread("clutch.sink", whole) and not is_unread("clutch.fluid", whole)


def test_whoever_says_that_something_cannot_be_had_need_not_have_read_its_caution(
    job: Callable[[str], Job],
) -> None:
    assert ask("clutch.play", job('[[step]]\nseen = [{ of = "clutch.fluid", cannot = "no access" }]')).unread


# ---- instruments


def test_instruments_fit_by_their_ranges_and_the_usual_one_comes_first(job: Callable[[str], Job]) -> None:
    kit = Instruments(
        instruments={
            "meter": Instrument(name="meter", accuracy="0.5 % + 2 digits", ranges={"20 V": "0.01 V"}),
            "scale": Instrument(
                name="scale", accuracy="1 %", ranges={"100 N": "1 N", "1 kN": "10 N"}, kind="spring scale"
            ),
            "pusher": Instrument(name="pusher", accuracy="2 N"),
        },
        usual={"clutch.force": "pusher"},
    )
    assert [(tool.name, tool.words, tool.ranges) for tool in instruments_for(force, kit)] == [
        ("pusher", "", ()),
        ("scale", "spring scale", ("100 N", "1 kN")),
    ]
    assert ask("clutch.force", job(""), kit).tool == "pusher"
    assert [tool.name for tool in instruments_for(warmth, kit)] == []


def test_an_instrument_used_before_in_this_job_is_pressed_for_the_next_reading_of_its_kind(
    job: Callable[[str], Job],
) -> None:
    kit = Instruments(
        instruments={
            "gauge": Instrument(name="gauge", accuracy="1 %"),
            "rule": Instrument(name="rule", accuracy="1 mm"),
        }
    )
    assert ask("clutch.sink", job(""), kit).tool == ""  # nobody said so: none is named
    used = job('[[step]]\nreadings = [{ of = "clutch.play", place = "cold", is = "12 mm", with = "gauge" }]')
    assert ask("clutch.sink", used, kit).tool == "gauge"
    assert ask("clutch.sink", used, attrs_usual(kit, "rule")).tool == "rule"


def test_the_instrument_in_hand_for_this_very_reading_comes_before_the_shop_s_usual_one(
    job: Callable[[str], Job],
) -> None:
    kit = Instruments(
        instruments={
            "gauge": Instrument(name="gauge", accuracy="1 %"),
            "rule": Instrument(name="rule", accuracy="1 mm"),
        },
        usual={"clutch.play": "rule"},
    )
    assert ask("clutch.play", job(""), kit).tool == "rule"
    used = job('[[step]]\nreadings = [{ of = "clutch.play", place = "cold", is = "12 mm", with = "gauge" }]')
    assert ask("clutch.play", used, kit).tool == "gauge"


def test_the_only_instrument_that_fits_is_pressed_once_it_was_in_use_in_this_job(
    job: Callable[[str], Job],
) -> None:
    kit = Instruments(instruments={"gauge": Instrument(name="gauge", accuracy="1 %")})
    used = job('[[step]]\nreadings = [{ of = "clutch.play", place = "cold", is = "12 mm", with = "gauge" }]')
    assert ask("clutch.force", job(""), kit).tool == "" and ask("clutch.force", used, kit).tool == "gauge"
    two = Instruments(instruments={**kit.instruments, "pusher": Instrument(name="pusher", accuracy="2 N")})
    assert ask("clutch.force", used, two).tool == ""


def attrs_usual(kit: Instruments, name: str) -> Instruments:
    return Instruments(instruments=kit.instruments, usual={"clutch.sink": name})


def test_the_unit_last_used_for_a_measurand_is_pressed(job: Callable[[str], Job]) -> None:
    assert (
        ask(
            "clutch.play",
            job('[[step]]\nreadings = [{ of = "clutch.play", place = "cold", is = "0.47 in" }]'),
        ).pressed
        == "in"
    )


# ---- what is fitted


def test_closed_answers_are_asked_with_dont_know_and_a_value_only_where_a_check_wants_it(
    job: Callable[[str], Job],
) -> None:
    asked = trait_questions(clutch, job('[traits]\n"clutch.bore" = "19 mm"'), PLUGINS)
    assert [(one.key, one.answers, one.units, one.recorded) for one in asked] == [
        ("clutch.drive", ("cable", "fluid line", "don't know"), (), ""),
        ("clutch.bore", (), ("mm",), "19 mm"),
    ]


def test_what_was_known_of_a_part_is_asked_again_once_the_part_was_exchanged(
    job: Callable[[str], Job],
) -> None:
    recorded = {
        one.key: one.recorded
        for one in trait_questions(
            clutch, job('[traits]\n"clutch.bore" = "19 mm"\n"clutch.drive" = "cable"\n' + REPAIRED), PLUGINS
        )
    }
    assert recorded == {"clutch.drive": "cable", "clutch.bore": ""}
    new = job(
        '[traits]\n"clutch.bore" = "19 mm"\n[[step]]\nrepaired = { operation = "clutch.replace",'
        ' "clutch.bore" = "22 mm" }'
    )
    assert trait_questions(clutch, new, PLUGINS)[1].recorded == "22 mm"


REPAIRED = '[[step]]\nrepaired = { operation = "clutch.replace" }'

# ---- which test is next


def next_paths(job: Job) -> list[str]:
    assessment = assess(job, PLUGINS, None, ("clutch",))
    return [path_of(job, test, PLUGINS) for test in open_tests(assessment, PLUGINS)]


def test_a_test_that_waits_or_that_was_out_of_reach_is_not_asked_for_again(job: Callable[[str], Job]) -> None:
    everything = {"test/clutch.fluid", "test/clutch.sink", "codes"}
    assert set(next_paths(job(""))) == everything
    assert set(
        next_paths(job('[[step]]\nstarted = { of = "clutch.sink", wait = "30 min" }'))
    ) == everything - {"test/clutch.sink"}
    assert set(
        next_paths(job('[[step]]\nseen = [{ of = "clutch.fluid", cannot = "no access" }]'))
    ) == everything - {"test/clutch.fluid"}
    assert set(next_paths(job('[[step]]\ncodes = { cannot = "no scan tool here" }'))) == everything - {
        "codes"
    }


def test_what_was_out_of_reach_before_the_repair_is_asked_for_after_it(job: Callable[[str], Job]) -> None:
    assert "test/clutch.fluid" in next_paths(
        job('[[step]]\nseen = [{ of = "clutch.fluid", cannot = "no access" }]\n' + REPAIRED)
    )


def test_a_test_of_which_everything_was_read_is_known_as_such_and_so_is_what_its_check_lacks(
    job: Callable[[str], Job],
) -> None:
    read = job(
        '[[step]]\nreadings = [{ of = "clutch.play", place = "cold", is = "12 mm" }, { of = "clutch.play",'
        ' place = "warm", is = "12 mm" }]'
    )
    assessment = assess(read, PLUGINS, None, ("clutch",))
    sinking = next(test for test in assessment.next_tests if test.wants == sink.key)
    assert not is_made(read, sinking, PLUGINS)
    assert [gap.wants for gap in missing_for(play.key, assessment, PLUGINS)] == ["clutch.bore"]


def test_the_last_answer_is_said_with_what_rests_on_it(job: Callable[[str], Job]) -> None:
    rows = '[[step]]\nreadings = [{ of = "clutch.sink", is = "12 mm" }]\n'
    meant = last_meaning(assess(job(rows), PLUGINS), PLUGINS)
    assert meant is not None and (meant.title, meant.recorded) == ("How far it sinks", "12 mm")
    assert [finding.code for finding in meant.findings] == ["clutch.sink"]
    later = last_meaning(assess(job(rows + "[[step]]\ncodes = { stored = [] }"), PLUGINS), PLUGINS)
    assert later is not None and (later.title, later.recorded, later.findings) == (
        "Trouble codes",
        "stored none",
        (),
    )
    assert last_meaning(assess(job(rows + REPAIRED), PLUGINS), PLUGINS) is None


def test_the_echo_shows_every_row_that_speaks_of_one_thing(job: Callable[[str], Job]) -> None:
    places = (
        '[[step]]\nreadings = [{ of = "clutch.play", place = "cold", is = "12 mm" }, { of = "clutch.play",'
        ' place = "warm", is = "31 mm" }]\n[traits]\n"clutch.bore" = "19 mm"\n'
    )
    meant = last_meaning(assess(job(places), PLUGINS), PLUGINS)
    assert meant is not None and (meant.title, meant.recorded) == (
        "Play of the pedal",
        "12 mm (cold); 31 mm (warm)",
    )
    assert {finding.place for finding in meant.findings} == {"cold", "warm"}
    codes = '[[step]]\ncodes = { stored = ["P0401"] }\n[[step]]\ncodes = { pending = [] }\n'
    meant = last_meaning(assess(job(codes), PLUGINS), PLUGINS)
    assert meant is not None and meant.recorded == "stored P0401; pending none"


def test_all_that_was_read_of_one_thing_stands_beside_it(job: Callable[[str], Job]) -> None:
    twice = job(
        '[[step]]\nreadings = [{ of = "clutch.force", is = "90 N" }, { of = "clutch.force", is = "95 N" }]\n'
        '[[step]]\nseen = [{ of = "clutch.fluid", is = "clear" }, { of = "clutch.fluid",'
        ' words = "smells burnt" }]\n'
    )
    recorded = present_answers(twice, PLUGINS)
    assert recorded["clutch.force", ""] == "90 N, then 95 N"
    assert recorded["clutch.fluid", ""] == "clear, then noted in words"
    reference = twice.seen(0)[-1].record.words
    assert reference is not None
    texts = {getattr(reference, "hash", ""): "smells burnt"}
    assert present_answers(twice, PLUGINS, texts)["clutch.fluid", ""] == "clear, then smells burnt"
    meant = last_meaning(assess(twice, PLUGINS), PLUGINS, texts)
    assert meant is not None and meant.recorded == "clear, then smells burnt"
