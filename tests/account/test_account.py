"""What an account cannot say, whatever happened in a job: laws over random stories, and each with an example.

The expectations are our own rules, not taken from the program's output.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit.account.account import Account, account_of
from corekit.account.points import OWN_WORDS
from corekit.account.row import FaultRow, PointRow, Work, still_fails
from corekit.account.state import Progress, State
from corekit.assess.assessment import Assessment, assess
from corekit.billing.line import Condition, Ground, GroundKind, Line, LineKind, priced_line
from corekit.complaints import symptoms
from corekit.errors import InputError
from corekit.model.finding import Finding, Text, Urgency, Verdict
from corekit.model.money import Money
from corekit.model.personal import Personal
from corekit.model.records import CodesRead, Ended, Left, Remarked, Repaired, Waived
from corekit.plugin.host import load
from corekit.report.account_blocks import account_rows, state_words
from corekit.report.readings import reading_rows

from ..assess.story import Story
from ..cases.loader import cases, tried

MASTER, BLEED, HOSE = "brakes.replace_master", "brakes.bleed", "brakes.replace_hose"
KEYS = (MASTER, BLEED, HOSE)
GROUND = Ground(kind=GroundKind.CUSTOMER, text="asked for")


def account(story: Story, lines: Sequence[Line] = (), *, is_proposal: bool = False) -> Account:
    return account_of(
        story.job, assess(story.job, story.plugins), story.plugins, lines=lines, is_proposal=is_proposal
    )


def fault(told: Account, operation: str) -> FaultRow:
    (row,) = [row for row in told.rows if isinstance(row, FaultRow) and row.operation == operation]
    return row


def point(told: Account, words: str) -> PointRow:
    (row,) = [row for row in told.rows if isinstance(row, PointRow) and row.point == words]
    return row


def low(story: Story, left: str = "20 bar", right: str = "100 bar") -> Story:
    """The pressure in both lines, at a force on the pedal."""
    return (
        story.under(force="500 N")
        .read("brakes.pressure", left, "left")
        .read("brakes.pressure", right, "right")
    )


def said_next(told: Account) -> str:
    return " ".join(f"{step.label}: {''.join(map(str, step.words))}" for step in told.steps)


# ---- put right


def test_work_whose_every_place_was_read_again_and_passes_is_put_right_and_shown() -> None:
    story = low(low(Story()).repair(MASTER), "100 bar")
    row = fault(account(story), MASTER)
    assert (row.progress, row.state) == (Progress.DONE, State.SHOWN)
    (shown,) = row.shown
    assert shown.before is not None and shown.now is not None
    assert (shown.before.stage, shown.now.stage) == (0, 1)


def test_nothing_is_put_right_while_one_place_of_it_fails() -> None:
    row = fault(account(low(low(Story()).repair(MASTER), "100 bar", "20 bar")), MASTER)
    assert row.state is State.NOT_RIGHT


def test_what_was_not_read_again_is_done_and_not_shown() -> None:
    assert fault(account(low(Story()).repair(MASTER)), MASTER).state is State.DONE


def test_one_place_that_was_not_read_again_leaves_the_work_unshown() -> None:
    both = low(Story(), "20 bar", "20 bar").repair(MASTER).under(force="500 N")
    assert fault(account(both.read("brakes.pressure", "100 bar", "left")), MASTER).state is State.DONE


def test_what_failed_before_the_work_leaves_it_unshown_and_after_it_not_put_right() -> None:
    found = Finding(
        system="brakes",
        code="brakes.pressure",
        check="Pressure",
        verdict=Verdict.FAIL,
        urgency=Urgency.THIS_VISIT,
        text=Text("It is low."),
        stage=1,
    )
    row = FaultRow(operation=MASTER, what="a seal", progress=Progress.DONE, now=(found,), again="gone")
    assert attrs.evolve(row, since=2).state is State.DONE
    assert attrs.evolve(row, since=1).state is State.NOT_RIGHT


BARS = st.integers(5, 150).map("{} bar".format)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(BARS, BARS), min_size=1, max_size=3), st.sampled_from(KEYS))
def test_a_row_that_is_put_right_has_nothing_against_it(read: list[tuple[str, str]], work: str) -> None:
    story = Story()
    for n, (left, right) in enumerate(read):
        story = low(story.repair(work) if n else story, left, right)
    made = assess(story.job, story.plugins)
    for row in account_of(story.job, made, story.plugins).rows:
        if not isinstance(row, FaultRow) or row.state is not State.SHOWN:
            continue
        speaking = [finding for finding in made.current if finding.calls_for in (row.operation, "")]
        pressure = [finding for finding in speaking if finding.code == "brakes.pressure"]
        if row.operation == MASTER:
            assert not [finding for finding in pressure if still_fails(finding)]
            assert not [finding for finding in pressure if finding.verdict is Verdict.UNDECIDED]


def test_work_that_was_not_the_cure_shows_no_reading_and_names_no_fault() -> None:
    story = low(low(Story()).repair(MASTER), "100 bar")
    story.say(Waived(because="did not fix", operation=MASTER), "waived")
    told = account(story)
    row = fault(told, MASTER)
    assert row.state is State.NOT_RIGHT
    assert row.shown == ()
    assert row.what == "Replace the master cylinder"
    assert not [proof for one in account_rows(told, story.assessment) for proof in one.proofs if one.works]
    assert "not the cure" in told.answer


def test_a_complaint_stays_where_all_the_work_was_not_the_cure() -> None:
    story = low(Story().complain("squeals")).repair(MASTER)
    story.say(Waived(because="did not fix", operation=MASTER), "waived")
    assert point(account(story), "It squeals").state is State.NOT_RIGHT
    assert "Still there" in account(story).answer
    assert "Still there" not in account(story.repair(HOSE)).answer, "other work may be the cure"


# ---- money


def test_work_without_a_price_and_without_a_reason_cannot_be_said() -> None:
    with pytest.raises(InputError, match="has a price, or says why it is not charged"):
        Work(text="Bleed the brakes")
    with pytest.raises(InputError):
        Work(text="Bleed the brakes", reason=" ")
    assert Work(text="Bleed the brakes", reason="goodwill; not charged").net is None


def priced(key: str, kind: LineKind = LineKind.LABOUR) -> Line:
    return priced_line(
        kind=kind,
        text=key,
        ground=GROUND,
        quantity=Decimal(1),
        unit="h" if kind is LineKind.LABOUR else "piece",
        price=Decimal(50),
        currency="EUR",
        tax="none",
        operation=key,
        condition=Condition.NEW if kind is LineKind.PART else None,
    )


def test_work_that_nobody_approved_stands_with_the_reason_why_it_is_not_charged() -> None:
    (work,) = fault(account(low(Story()).repair(BLEED)), BLEED).works
    assert work.net is None
    assert "not approved" in work.reason


def test_every_line_stands_on_exactly_one_row_or_among_the_charges() -> None:
    lines = [priced(MASTER), priced(MASTER, LineKind.PART), priced(BLEED)]
    told = account(low(Story()).repair(MASTER).repair(BLEED), lines)
    assert [len(fault(told, key).works) for key in (MASTER, BLEED)] == [2, 1]
    nets = [work.net for row in told.rows for work in row.works]
    assert nets == [Money(5000, "EUR")] * 3


# ---- the complaint

SYMPTOMS = list(symptoms().symptoms)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.sampled_from(SYMPTOMS), max_size=4, unique=True),
    st.lists(
        st.one_of(
            st.tuples(st.just("repair"), st.sampled_from(KEYS)),
            st.tuples(st.just("read"), st.tuples(BARS, BARS)),
            st.tuples(st.just("again"), st.sampled_from(["gone", "stayed", "less", "worse"])),
            st.tuples(st.just("end"), st.sampled_from(["no fault found", "declined", "referred"])),
            st.tuples(st.just("leave"), st.none()),
        ),
        max_size=5,
    ),
    st.booleans(),
)
def test_every_point_of_every_complaint_has_a_row_with_a_state(
    told: list[str], acts: list[tuple[str, object]], is_proposal: bool
) -> None:
    story = Story().complain(*told) if told else Story()
    for n, (act, what) in enumerate(acts):
        if act == "repair":
            story.repair(str(what))
        elif act == "read":
            low(story, *what)  # type: ignore[misc]
        elif act == "again":
            story.retold(str(what))
        elif act == "end":
            story.say(Ended(how=str(what), because="so", stage=story.stage), f"ended {n}")
        else:
            story.say(Left(because="no time left", stage=story.stage), f"left {n}")
    made = account(story, is_proposal=is_proposal)
    words = [symptoms().symptoms[key].words for key in told] or [OWN_WORDS]
    assert list(made.points) == words
    for one in words:
        rows = [row for row in made.rows if one in row.points]
        assert rows
        assert all(isinstance(row.state, State) and state_words(row) for row in rows)
    assert made.answer
    assert made.steps


def test_an_account_that_leaves_a_point_of_the_complaint_out_cannot_be_made() -> None:
    with pytest.raises(InputError, match="answers every point of the complaint"):
        Account(points=("It squeals",), rows=())


def test_the_complaint_that_is_still_there_after_the_work_is_not_put_right_however_well_it_reads() -> None:
    story = low(low(Story().complain("squeals")).repair(MASTER), "100 bar").retold("stayed")
    told = account(story)
    assert point(told, "It squeals").state is State.NOT_RIGHT
    assert fault(told, MASTER).points == ()
    assert fault(told, MASTER).state is State.SHOWN
    assert "Still there" in told.answer


def test_a_complaint_that_is_gone_after_the_work_is_shown_although_nothing_was_read() -> None:
    told = account(Story().complain("squeals").repair(HOSE).retold("gone"))
    assert point(told, "It squeals").state is State.SHOWN
    assert fault(told, HOSE).state is State.SHOWN


def test_a_complaint_that_is_gone_is_not_laid_to_work_done_before_other_work() -> None:
    told = account(Story().complain("squeals").repair(HOSE).repair(BLEED).retold("gone"))
    assert fault(told, HOSE).state is State.DONE


def test_own_words_alone_are_answered_and_never_called_put_right_by_a_reading() -> None:
    told = account(low(low(Story()).repair(MASTER), "100 bar"))
    assert point(told, OWN_WORDS).state is State.DONE
    assert fault(told, MASTER).state is State.SHOWN


def test_a_symptom_of_a_system_that_nobody_looked_at_is_not_looked_at() -> None:
    told = account(low(Story().complain("overheats")))
    assert point(told, "It overheats").state is State.NOT_LOOKED_AT
    assert "It overheats" in said_next(told)


def test_what_was_put_off_or_declined_says_so() -> None:
    def told(ending: Ended | Left) -> Account:
        story = low(Story().complain("squeals"))
        story.say(ending, "end")
        return account(story)

    put_off = told(Left(because="part missing", back="2026-03-05"))
    assert point(put_off, "It squeals").state is State.PUT_OFF
    assert fault(put_off, MASTER).state is State.PUT_OFF
    declined = told(Ended(how="declined", because="too dear"))
    assert point(declined, "It squeals").state is State.DECLINED
    assert fault(declined, MASTER).state is State.DECLINED


def test_a_fault_that_was_looked_for_and_did_not_show_is_not_found() -> None:
    story = Story().complain("squeals")
    story.say(Ended(how="no fault found", because="it did not show in an hour"), "end")
    told = account(story)
    assert point(told, "It squeals").state is State.NOT_FOUND
    assert told.answer == "Looked for, no fault found: “It squeals”."
    assert "yet" not in told.answer, "nothing more is to come"


def test_a_check_up_without_a_fault_says_that_nothing_was_found_and_of_what() -> None:
    story = low(Story().complain("check_up"), "100 bar")
    told = account(story)
    (row,) = told.rows
    assert (row.state, state_words(row)) == (State.NOT_FOUND, "nothing found")
    assert told.answer == "Nothing found that is wrong, in what we looked at."
    assert "brakes, and at nothing else" in said_next(told)


def test_a_check_up_with_a_fault_is_answered_by_the_fault() -> None:
    told = account(low(Story().complain("check_up")))
    assert fault(told, MASTER).points == ("Nothing, a check-up",)
    assert len(told.rows) == 1


# ---- the lamp

INSTALLED = load()


def lamp(again: Sequence[str] | None) -> Account:
    story = Story(plugins=INSTALLED).complain("engine_lamp")
    story.say(CodesRead(stage=0, state="stored", codes=["P0302"]), "codes 0")
    story.repair("ignition.replace_leads")
    if again is not None:
        story.say(CodesRead(stage=1, state="stored", codes=list(again)), "codes 1")
    return account(story)


@pytest.mark.parametrize(
    ("again", "state"),
    [(None, State.NOT_LOOKED_AT), ((), State.SHOWN), (("P0302",), State.NOT_FOUND)],
)
def test_a_lamp_is_settled_by_reading_its_codes_again(again: tuple[str, ...] | None, state: State) -> None:
    told = lamp(again)
    rows = [row for row in told.rows if "The engine lamp is on" in row.points and isinstance(row, PointRow)]
    if rows:
        assert [row.state for row in rows] == [state]
    else:  # the work answers it, and was not shown by a reading
        assert fault(told, "ignition.replace_leads").state is State.DONE


# ---- what next


def test_nothing_is_said_to_be_open_only_where_nothing_is() -> None:
    put_right = Story().complain("squeals").repair(HOSE).retold("gone")
    assert "Nothing is open" in said_next(account(put_right))
    put_right.say(Remarked(words=Personal("note", "0" * 64), stage=1), "remark")
    told = said_next(account(put_right))
    assert "Nothing is open" not in told
    assert "Noted in words, not followed up yet: a remark." in told


def test_a_warning_about_driving_stands_first() -> None:
    assert account(low(Story())).steps[0].label == "Before you drive"


# ---- a cause in plain words


def test_what_it_was_is_said_in_the_mechanics_words_where_there_are_some() -> None:
    story = low(Story())
    story.stage += 1
    story.say(Repaired(operation=MASTER, stage=1, cause="a seal cut by a burr"), "repair/1")
    told = account(low(story, "100 bar"))
    assert fault(told, MASTER).what == "a seal cut by a burr"
    assert "Put right: a seal cut by a burr." in told.answer


def test_without_a_typed_cause_the_fault_that_stands_out_gives_the_name() -> None:
    story = low(Story().see("brakes.pedal", "sinks"))
    story.under(force="500 N").read("brakes.travel", "80 mm")
    assert fault(account(story.repair(MASTER)), MASTER).what == "Worn master cylinder"


# ---- before and after


def test_what_was_first_read_after_the_work_does_not_stand_under_on_arrival() -> None:
    story = Story().repair(BLEED).under(force="500 N").read("brakes.travel", "30 mm")
    (row,) = [row for row in reading_rows(story.assessment) if row.name == "Pedal travel"]
    assert (row.before, bool(row.after)) == ("", True)
    again = Story().under(force="500 N").read("brakes.travel", "80 mm").repair(BLEED)
    again.under(force="500 N").read("brakes.travel", "30 mm")
    (row,) = [row for row in reading_rows(again.assessment) if row.name == "Pedal travel"]
    assert row.before.startswith("80") and row.after.startswith("30")


def never_before(made: Assessment) -> bool:
    """No row of the account shows under *before* what was read after the work, or after what it shows now."""
    told = account_of(made.job, made, INSTALLED)
    return all(
        shown.before is None or shown.now is None or shown.before.stage < shown.now.stage
        for row in told.rows
        for shown in row.shown
    )


@pytest.mark.parametrize("case", [case for case in cases() if case.must], ids=lambda case: case.id)
def test_every_point_of_a_field_case_has_a_state(case) -> None:  # type: ignore[no-untyped-def]
    made = tried(case).assessment
    told = account_of(made.job, made, INSTALLED)
    answered = {one for row in told.rows for one in row.points if row.state in State}
    assert set(told.points) <= answered
    assert told.points or made.job.complained is None
    assert never_before(made)
