"""Trouble codes in a visit file: by list, an empty list being a reading too, each fault with its place."""

from __future__ import annotations

from typing import Any

import pytest

from corekit.desk.in_memory import scratch_job
from corekit.intake.declared import Declared
from corekit.intake.visit import VisitError, VisitFile, read_visit
from corekit.model.job import Job
from corekit.report.findings import code_sentences

HEAD = 'job = "a-job"\nreason = "The lamp is on."\nvehicle = { plate = "DEMO-1" }\n'
DECLARED = Declared(currency="EUR")


def read(*steps: str) -> VisitFile:
    return read_visit((HEAD + "".join(f"[[step]]\n{step}\n" for step in steps)).encode(), DECLARED)


def job_of(*steps: str) -> Job:
    job, _ = scratch_job(read(*steps))
    return job


def faults_of(step: str) -> list[str]:
    with pytest.raises(VisitError) as caught:
        read(step)
    return [str(fault) for fault in caught.value.faults]


def lists_of(job: Job, stage: int = 0) -> dict[str, Any]:
    return {noted.record.state: noted.record.codes for noted in job.codes_read(stage)}


def test_codes_are_kept_by_the_list_that_held_them_in_their_own_spelling() -> None:
    job = job_of('codes = { stored = ["p0401", "0xC100"], pending = ["03 00"] }')
    assert lists_of(job) == {"stored": ["P0401", "U0100"], "pending": ["P0300"]}


def test_an_empty_list_is_a_reading_and_a_list_left_away_is_none() -> None:
    job = job_of("codes = { stored = [] }")
    assert lists_of(job) == {"stored": []}
    assert code_sentences(job) == ["Arrival: stored none."]


def test_the_list_read_last_at_a_stage_counts() -> None:
    job = job_of('codes = { stored = ["P0401"], pending = [] }', "codes = { stored = [] }")
    assert lists_of(job) == {"stored": [], "pending": []}


def test_codes_that_could_not_be_read_say_why_until_they_were() -> None:
    step = 'codes = { cannot = "no answer at the connector" }'
    assert code_sentences(job_of(step)) == ["Arrival: could not be read, no answer at the connector."]
    assert lists_of(job_of(step, "codes = { stored = [] }")) == {"stored": []}


def test_paper_names_what_a_code_means_and_leaves_a_makers_own_to_the_maker() -> None:
    (sentence,) = code_sentences(job_of('codes = { stored = ["P0401", "P1401"], pending = [] }'))
    assert (
        sentence == "Arrival: stored P0401 (exhaust gas recirculation: less flow found than expected), "
        "P1401 (a code of the vehicle maker's own; its meaning is the maker's to say); pending none."
    )


@pytest.mark.parametrize(
    ("step", "place", "says"),
    [
        ('codes = { stored = ["PO401"] }', "step[0].codes.stored[0]", 'write "P0401"'),
        (
            'codes = { stored = ["P0401", "401"] }',
            "step[0].codes.stored[1]",
            "characters, not five|does not begin",
        ),
        ("codes = { pending = [401] }", "step[0].codes.pending[0]", 'write "401"'),
        ('codes = { stored = "P0401" }', "step[0].codes.stored", "a list"),
        ('codes = { stord = ["P0401"] }', "step[0].codes.stord", "one of stored, pending, permanent"),
        ('codes = { stored = ["0000"] }', "step[0].codes.stored[0]", "no letter"),
        ('codes = { stored = ["00 00"] }', "step[0].codes.stored[0]", "fills up a message"),
        ('codes = { stored = ["P0401", "04 01"] }', "step[0].codes.stored", "is given twice"),
        ("codes = { }", "step[0].codes", "says nothing"),
        ('codes = { stored = [], cannot = "why" }', "step[0].codes.cannot", "was read beside it"),
        ('codes = { cannot = " " }', "step[0].codes.cannot", "is empty"),
        ('codes = { stored = [], taken = "yesterday" }', "step[0].codes.taken", "date, time and offset"),
    ],
)
def test_every_slip_is_one_fault_with_its_place(step: str, place: str, says: str) -> None:
    (fault,) = faults_of(step)
    assert fault.startswith(f"{place}: ")
    assert any(part in fault for part in says.split("|")), fault


def test_codes_beside_a_repair_do_not_say_whether_they_came_before_or_after() -> None:
    assert any(
        "before or after the repair" in fault
        for fault in faults_of('codes = { stored = [] }\nrepaired = { operation = "cell.replace" }')
    )


def test_withdrawn_codes_no_longer_stand() -> None:
    assert lists_of(job_of('codes = { stored = ["P0401"], withdrawn = "read on the wrong vehicle" }')) == {}
