"""What rows would show while they are typed: what was understood, what rests on them, what is asked; and that
nothing is written.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.assess.assessment import Assessment, assess
from corekit.desk.errors import DeskError
from corekit.desk.preview import Preview, preview_of
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.model.finding import Reason, Verdict
from corekit.model.job import Job
from corekit.plugin.host import Plugins
from corekit.report.readings import row_of
from corekit.store.errors import StoreError

from ..assess.brakes import PLUGINS

BEGINS = {"reason": "The pedal goes far.", "vehicle": {"plate": "DEMO-1"}}


@pytest.fixture
def shop(demo_copy: Path) -> Iterator[Shop]:
    """A shop with the invented brakes; 60 mm of travel are allowed, 40 bar of pressure asked for."""
    with Shop(demo_copy, plugins=PLUGINS) as opened:
        yield opened


@pytest.fixture
def job(shop: Shop) -> str:
    return add_rows(shop.context, None, BEGINS, request_id="begin-0123456789").job


def read(of: str, typed: str, **more: Any) -> dict[str, Any]:
    return {"step": [{"readings": [{"of": f"brakes.{of}", "is": typed, **more}]}]}


def everything(shop: Shop) -> list[str]:
    return [entry.id for job in shop.store.jobs() for entry in shop.store.job(job).entries]


def test_a_reading_is_shown_as_it_was_understood_with_the_limit_and_the_dot_on_its_strip(
    shop: Shop, job: str
) -> None:
    trial = preview_of(shop.context, job, read("travel", "8,5 cm"))
    (understood,) = trial.readings
    assert understood.row.before == "85.0 mm ± 2.3 mm"  # 2 mm evenly likely: 2 × 2 / √3 = 2.3
    (shown,) = trial.found
    assert (shown.finding.code, shown.finding.verdict, shown.row.verdict, shown.row.urgency) == (
        "brakes.travel",
        Verdict.FAIL,
        "fail",
        "this visit",
    )
    assert shown.strip is not None and shown.strip == understood.row.strip
    assert (shown.strip.unit, shown.strip.reading, shown.strip.before) == ("mm", pytest.approx(85), None)
    assert shown.strip.allowed_high == pytest.approx(60)
    assert trial.faults == ()


def test_nothing_of_a_trial_is_written(shop: Shop, job: str) -> None:
    before = everything(shop)
    for rows in (
        read("travel", "85 mm"),
        read("travel", "17 km"),
        {"step": [{"seen": [{"of": "brakes.pedal", "is": "sinks"}]}]},
    ):
        preview_of(shop.context, job, rows)
        preview_of(shop.context, None, {**BEGINS, **rows})
    assert everything(shop) == before


def test_a_trial_shows_what_the_answer_then_shows(shop: Shop, job: str) -> None:
    rows = read("travel", "58.6 mm")
    trial = preview_of(shop.context, job, rows)
    said = add_rows(shop.context, job, rows, request_id="answer-123456789")
    made = shop.assess(said.job)
    assert [
        (shown.finding.verdict, str(shown.finding.text), shown.finding.probability) for shown in trial.found
    ] == [(finding.verdict, str(finding.text), finding.probability) for finding in made.findings]
    assert [understood.row for understood in trial.readings] == [
        row_of(reading, made) for reading in made.readings[0]
    ]


def test_only_what_rests_on_the_rows_is_shown(shop: Shop, job: str) -> None:
    add_rows(shop.context, job, read("travel", "85 mm"), request_id="answer-123456789")
    trial = preview_of(shop.context, job, read("pressure", "20 bar", place="left"))
    assert [shown.finding.code for shown in trial.found] == ["brakes.pressure"]
    assert [understood.reading.measurand.key for understood in trial.readings] == ["brakes.pressure"]
    assert trial.assessment is not None
    assert {finding.code for finding in trial.assessment.findings} == {"brakes.travel", "brakes.pressure"}


def test_what_a_reading_was_read_with_is_understood_too_and_stands_behind_it(shop: Shop, job: str) -> None:
    rows = {
        "step": [{"setup": {"brakes.force": "210 N"}, "readings": [{"of": "brakes.travel", "is": "40 mm"}]}]
    }
    trial = preview_of(shop.context, job, rows)
    assert [understood.row.name for understood in trial.readings] == ["Pedal travel", "Force on the pedal"]
    assert trial.readings[1].row.before.startswith("210 N ±")


def test_what_a_check_still_lacks_is_named_and_an_observation_shifts_suspicion(shop: Shop, job: str) -> None:
    trial = preview_of(
        shop.context, job, {"step": [{"readings": [{"of": "brakes.boiling", "is": "150 °C"}]}]}
    )
    (gap,) = [gap for gap in trial.gaps if gap.wants == "brakes.air"]
    assert (gap.check, gap.reason) == ("Fluid", Reason.NOT_MEASURED)
    assert trial.found == ()
    seen = preview_of(shop.context, job, {"step": [{"seen": [{"of": "brakes.pedal", "is": "sinks"}]}]})
    assert (seen.readings, seen.faults) == ((), ())
    assert seen.assessment is not None
    assert (
        seen.assessment.suspects[0].fault == "worn_master"
    )  # of the invented table: it alone makes a pedal sink


def test_what_could_not_be_reached_is_told_with_its_reason(shop: Shop, job: str) -> None:
    trial = preview_of(
        shop.context, job, {"step": [{"seen": [{"of": "brakes.travel", "cannot": "seat is in the way"}]}]}
    )
    assert [(gap.reason, "seat is in the way" in gap.text) for gap in trial.gaps] == [
        (Reason.COULD_NOT_REACH, True)
    ]


def test_an_unusual_value_is_a_question_with_its_guesses_and_confirmed_it_is_taken(
    shop: Shop, job: str
) -> None:
    trial = preview_of(
        shop.context, job, read("travel", "170 mm")
    )  # usual up to 150 mm, possible up to 300 mm
    (question,) = [fault for fault in trial.faults if fault.asked]
    assert (question.path, question.asked) == ("step[0].readings[0].is", True)
    assert "17" in " ".join(question.guesses)
    assert (trial.readings, trial.found, trial.assessment) == ((), (), None)
    taken = preview_of(shop.context, job, read("travel", "170 mm", confirmed=True))
    assert taken.faults == () and [shown.finding.verdict for shown in taken.found] == [Verdict.FAIL]


@pytest.mark.parametrize(
    ("rows", "place"),
    [
        (read("travel", "17 V"), "step[0].readings[0].is"),
        (read("travel", "400 mm"), "step[0].readings[0].is"),
        (read("colour", "17 V"), "step[0].readings[0].of"),
        (read("pressure", "20 bar", place="middle"), "step[0].readings[0].place"),
        ({"traits": {"brakes.hose": "paper"}}, 'traits."brakes.hose"'),
    ],
)
def test_what_is_wrong_stands_beside_its_place_and_is_no_question(
    shop: Shop, job: str, rows: dict[str, Any], place: str
) -> None:
    trial = preview_of(shop.context, job, rows)
    assert place in [fault.path for fault in trial.faults]
    assert not any(fault.asked for fault in trial.faults)
    assert trial.assessment is None


def test_a_retest_stands_beside_what_was_read_on_arrival(shop: Shop, job: str) -> None:
    add_rows(shop.context, job, read("travel", "85 mm"), request_id="answer-123456789")
    add_rows(
        shop.context,
        job,
        {"step": [{"repaired": {"operation": "brakes.bleed"}}]},
        request_id="answer-223456789",
    )
    (shown,) = preview_of(shop.context, job, read("travel", "40 mm")).found
    assert shown.strip is not None
    assert (shown.strip.reading, shown.strip.before) == (pytest.approx(40), pytest.approx(85))
    assert shown.row.verdict == "pass"


def test_a_correction_is_tried_in_the_place_of_what_it_corrects(shop: Shop, job: str) -> None:
    said = add_rows(shop.context, job, read("travel", "85 mm"), request_id="answer-123456789")
    (entry,) = [entry.id for entry in said.entries if entry.kind == "measured"]
    trial = preview_of(shop.context, job, {**read("travel", "40 mm"), "instead_of": entry})
    assert [(understood.reading.typed, understood.reading.count) for understood in trial.readings] == [
        ("40 mm", 1)
    ]
    assert [shown.finding.verdict for shown in trial.found] == [Verdict.PASS]


def test_a_job_that_is_not_there_is_refused(shop: Shop) -> None:
    with pytest.raises((DeskError, StoreError)):
        preview_of(shop.context, "no-such-job", read("travel", "40 mm"))


def test_the_shop_s_assessor_is_asked(demo_copy: Path) -> None:
    asked: list[str] = []

    def assessor(job: Job, plugins: Plugins, *more: Any) -> Assessment:
        asked.append(job.name)
        return assess(job, plugins, *more)

    with Shop(demo_copy, plugins=PLUGINS, assessor=assessor) as shop:
        job = add_rows(shop.context, None, BEGINS, request_id="begin-0123456789").job
        trial: Preview = preview_of(shop.context, job, read("travel", "40 mm"))
    assert len(asked) == len(trial.found) == 1
