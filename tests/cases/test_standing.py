"""What was read before a repair and nothing has touched since stands beside what is read after it."""

from __future__ import annotations

from typing import Any

import pytest

from corekit.assess.assessment import Assessment
from corekit.assess.proof import Proof
from corekit.report.statements import nothing_found

from .test_sequences import STAYED, VACUUM, assessed, repaired, seen, tried

P0401 = {"codes": {"stored": ["P0401"]}}
FED = {"egr.sensor_supply": "5.00 V"}
RESTS = {"readings": [{"of": "egr.signal_zero", "is": "1.00 V"}], "setup": FED}
OPENED = {
    **seen(egr__reaction="stalls"),
    "readings": [{"of": "egr.signal_open", "is": "3.10 V"}],
    "setup": FED,
}


def rises(made: Assessment) -> list[int]:
    return [finding.stage for finding in made.findings if finding.code == "egr.signal_rise"]


def test_a_zero_read_before_the_passage_was_cleaned_stands_beside_the_signal_read_after_it() -> None:
    made = assessed([P0401, RESTS, repaired("egr.clean"), OPENED], "engine_lamp", fitted=VACUUM)
    (rise,) = [finding for finding in made.findings if finding.code == "egr.signal_rise"]
    # 3.10 V less 1.00 V, supply 5.00 V
    assert rise.stage == 1 and rise.value is not None and rise.value.number == pytest.approx(2.10, abs=0.01)
    assert len(rise.evidence) >= 2


def test_what_stands_is_held_beside_a_reading_and_is_no_finding_once_more() -> None:
    made = assessed([P0401, RESTS, repaired("egr.clean"), OPENED], "engine_lamp", fitted=VACUUM)
    assert [finding.stage for finding in made.findings if finding.code == "egr.zero"] == [0]
    assert [finding.stage for finding in made.findings if finding.code == "egr.reaction"] == [1]


@pytest.mark.parametrize(
    "operation", ["egr.replace_sensor", "egr.repair_wiring", "egr.replace_sensing_hoses"]
)
def test_the_zero_of_a_sensor_that_was_worked_on_stands_no_more(operation: str) -> None:
    made = assessed([P0401, RESTS, repaired(operation), OPENED], "engine_lamp", fitted=VACUUM)
    assert rises(made) == []


@pytest.mark.parametrize(("when", "stands"), [("before", True), ("after", False)])
def test_a_sensor_put_in_to_try_ends_what_was_read_before_it(when: str, stands: bool) -> None:
    put_in = tried("egr.sensor", "known_good", "stayed")
    first = [put_in, RESTS] if when == "before" else [RESTS, put_in]
    made = assessed([P0401, *first, repaired("egr.clean"), OPENED], "engine_lamp", fitted=VACUUM)
    assert bool(rises(made)) is stands


def test_a_reaction_seen_before_new_hoses_stands_and_one_seen_before_cleaning_does_not() -> None:
    read_late = {"readings": [*RESTS["readings"], *OPENED["readings"]], "setup": FED}  # type: ignore[misc]
    felt = seen(egr__reaction="stalls")
    for operation, stages in (("egr.replace_sensing_hoses", [1]), ("egr.clean", [])):
        assert (
            rises(assessed([P0401, felt, repaired(operation), read_late], "engine_lamp", fitted=VACUUM))
            == stages
        )


def test_a_retest_that_was_read_and_could_not_be_judged_names_what_it_lacked() -> None:
    late: dict[str, Any] = {"readings": OPENED["readings"], "setup": FED}
    hoses = seen(egr__sensing_hoses="cracked", egr__reaction="stalls")
    made = assessed(
        [P0401, hoses, RESTS, repaired("egr.replace_sensing_hoses"), late], "engine_lamp", fitted=VACUUM
    )
    (proof,) = made.repairs
    assert proof.proof is Proof.NOT_SHOWN
    assert "was read after the work" in proof.why and "valve closed, engine off: not measured" in proof.why


def test_after_a_fault_was_found_and_put_right_nobody_says_that_nothing_explains_the_complaint() -> None:
    choked = seen(egr__deposits="choked")
    gone = {"complaint_again": {"is": "gone"}}
    late = {**seen(egr__reaction="stalls"), "codes": {"stored": []}}
    made = assessed([P0401, choked, repaired("egr.clean"), late, gone], "engine_lamp", fitted=VACUUM)
    assert nothing_found(made) == ""
    assert list(made.next_tests) == []
    still = assessed([P0401, choked, repaired("egr.clean"), late, STAYED], "engine_lamp", fitted=VACUUM)
    assert list(still.next_tests)


@pytest.mark.parametrize(
    ("after", "proof"),
    [
        pytest.param({"egr.vacuum_on": "8 inHg"}, Proof.NOT_SHOWN, id="only what did not call for it"),
        pytest.param({"egr.vacuum_on": "8 inHg", "egr.vacuum_off": "0.1 inHg"}, Proof.SHOWN, id="shut"),
        pytest.param({"egr.vacuum_on": "8 inHg", "egr.vacuum_off": "6 inHg"}, Proof.NOT_YET, id="open"),
    ],
)
def test_a_regulator_that_let_through_is_shown_by_what_it_lets_through_now(
    after: dict[str, str], proof: Proof
) -> None:
    off = {"readings": [{"of": "egr.vacuum_off", "is": "6 inHg"}]}
    late = {
        "setup": {"egr.duty": "90 %"},
        "readings": [{"of": of, "is": value} for of, value in after.items()],
    }
    made = assessed(
        [{"codes": {"stored": ["P0402"]}}, off, repaired("egr.replace_regulator"), late],
        "engine_lamp",
        fitted=VACUUM,
    )
    assert [repair.proof for repair in made.repairs] == [proof]
