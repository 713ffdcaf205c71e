"""A fault table may ask whether trouble codes are set; it learns something only when they were read."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from corekit.assess.outcome import Outcome, outcomes
from corekit.assess.stage import case_at
from corekit.desk.in_memory import scratch_job
from corekit.fault import DataFileError
from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.plugin.fault_file import Declared as Nameable
from corekit.plugin.fault_file import read_faults
from corekit.plugin.faults import FaultTable
from corekit.plugin.host import Plugins
from corekit.plugin.system import System

HEAD = 'job = "a-job"\nreason = "The lamp is on."\nvehicle = { plate = "DEMO-1" }\n'
TABLE: dict[str, Any] = {
    "faults": {"blocked": {"per_1000": 3, "why": "invented"}},
    "test": {
        "code": {
            "codes": ["P0401", "p0400"],
            "question": "Is the code set?",
            "minutes": 2,
            "outcomes": ["set", "not set"],
            "sound": "not set",
            "none": [0.1, 0.9],
            "otherwise": [0.1, 0.9],
            "outside": [0.2, 0.8],
            "given": {"blocked": {"p": [0.8, 0.2]}},
        }
    },
}


def table_of(**changed: Any) -> FaultTable:
    data = copy.deepcopy(TABLE)
    data["test"]["code"].update(changed)
    return read_faults(data, "faults.toml", Nameable(to_coherent=lambda of, text: 0.0), "cell")


def shown(*codes: str) -> list[Outcome]:
    text = HEAD + "".join(f"[[step]]\ncodes = {step}\n" for step in codes)
    job, _ = scratch_job(read_visit(text.encode(), Declared()))
    system = System("cell", "Cell")
    case = case_at(job, 0, system, Plugins(systems={"cell": system}))
    found = outcomes(table_of(), case, [])
    entries = {entry.id for entry in job.entries if entry.kind == "codes"}
    assert all(set(outcome.evidence) <= entries and outcome.evidence for outcome in found)
    return found


@pytest.mark.parametrize(
    ("read", "plain"),
    [
        ('{ stored = ["P0401"] }', "set"),
        ('{ stored = [], pending = ["P0400"] }', "set"),
        ('{ stored = ["P0300"], pending = [] }', "not set"),
        ("{ stored = [] }", "not set"),
    ],
)
def test_a_code_is_set_when_a_list_holds_it_and_not_set_when_the_lists_do_not(read: str, plain: str) -> None:
    (outcome,) = shown(read)
    assert outcome.plain == plain


@pytest.mark.parametrize(
    "read",
    ["{ pending = [] }", '{ cannot = "no connector" }', '{ stored = [], permanent = ["P0401"] }'],
    ids=["stored list not read", "nothing read", "permanent only, which outlasts a repair"],
)
def test_without_the_stored_list_or_with_a_permanent_code_alone_nothing_is_learned(read: str) -> None:
    assert shown(read) == []


def test_no_codes_read_is_no_outcome() -> None:
    assert shown() == []


def test_the_table_keeps_codes_in_their_own_spelling() -> None:
    assert table_of().codes == {"P0401", "P0400"}


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        (
            {"codes": ["PO401"]},
            'test.code.codes[0]: "PO401" has a letter where a digit belongs; write "P0401"',
        ),
        ({"codes": []}, 'test.code.codes: is empty; write ["P0401"]'),
        ({"given": {"blocked": {"p": [0.8, 0.2], "direct": "set"}}}, "names no part"),
        ({"seen": {}}, "exactly one of bins, check, seen, grade, trait, codes"),
    ],
)
def test_a_slip_in_the_table_is_named(changed: dict[str, Any], says: str) -> None:
    with pytest.raises(DataFileError) as caught:
        table_of(**changed)
    assert says in str(caught.value)
