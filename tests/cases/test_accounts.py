"""Every field case has an account: each point of its complaint is answered by a state, and nothing on it is
said that the assessment does not say.
"""

from __future__ import annotations

import pytest

from corekit.account.account import Account, account_of
from corekit.account.points import points_of
from corekit.account.row import FaultRow, still_fails
from corekit.account.state import OPEN, State
from corekit.complaints import CHECK_UP

from .loader import FieldCase, cases, installed, tried

ALL = cases()


@pytest.fixture(scope="module", params=ALL, ids=lambda case: case.id)
def told(request: pytest.FixtureRequest) -> tuple[FieldCase, Account]:
    case: FieldCase = request.param
    assessment = tried(case).assessment
    return case, account_of(assessment.job, assessment, installed())


def test_every_point_of_the_complaint_is_answered_by_a_state(told: tuple[FieldCase, Account]) -> None:
    case, account = told
    asked = {point.words for point in points_of(tried(case).assessment.job)}
    answered = {point: row.state for row in account.rows for point in row.points}
    assert asked, "a case begins with what somebody came with"
    assert set(answered) == asked == set(account.points)
    assert all(isinstance(state, State) for state in answered.values())


def test_an_answer_in_one_sentence_and_a_next_step_are_never_missing(
    told: tuple[FieldCase, Account],
) -> None:
    _, account = told
    assert account.answer.endswith(".")
    assert account.steps
    assert all(step.words for step in account.steps)


def test_nothing_is_open_is_never_said_beside_an_open_row(told: tuple[FieldCase, Account]) -> None:
    case, account = told
    said = " ".join(str(run) for step in account.steps for run in step.words)
    is_open = [
        row
        for row in account.rows
        if row.state in OPEN and not (not isinstance(row, FaultRow) and row.is_check_up)
    ]
    if is_open:
        assert "Nothing is open" not in said, case.id
    if "Nothing found that is wrong" in account.answer:
        assert CHECK_UP in case.typed.get("complaint", {}).get("symptoms", ())
        assert not any(isinstance(row, FaultRow) for row in account.rows)


def test_nothing_is_put_right_while_something_of_it_still_fails(told: tuple[FieldCase, Account]) -> None:
    _, account = told
    for row in account.rows:
        if row.state is State.SHOWN:
            assert not [finding for finding in row.now if still_fails(finding)]
