"""A visit file is imported again and again: what it adds, corrects, withdraws, and what is refused."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence

import attrs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corekit.model.canonical import digest
from corekit.model.entry import Draft, Entry, own_subject
from corekit.model.personal import Personal, PersonalText
from corekit.model.records import (
    Approved,
    Estimated,
    Measured,
    Opened,
    Seen,
    Setup,
    Vehicle,
    Withdrawn,
    body_of,
)
from corekit.store.reconcile import Reconciled
from corekit.store.store import Store

from .writing import append

# ── a small visit file, and what intake makes of it ─────────────────────────────────────────────────────────


@attrs.frozen
class Row:
    """`of` and `typed` of a reading, or of what was seen when `of` begins with "look"."""

    of: str
    typed: str
    withdrawn: str = ""


@attrs.frozen
class Step:
    """Readings taken with one setup ("" without one)."""

    setup: str
    rows: tuple[Row, ...]


File = tuple[Step, ...]


def reading(of: str, typed: str, setup: str = "") -> Measured:
    return Measured(of=of, typed=typed, kind="voltage", number=float(typed.split(maxsplit=1)[0]), setup=setup)


def drafts_of(file: Sequence[Step], words: str = "Does not crank.") -> list[Draft]:
    drafts = [
        Draft(
            kind="opened",
            row="arrival/opened/",
            body=body_of(Opened(origin="visit", words=PersonalText("words", words))),
            at="reason",
        )
    ]
    setups = 0
    for place, step in enumerate(file):
        name = ""
        if step.setup:
            setups += 1
            name = f"arrival/setup/#{setups}"
            values = {
                "battery.temperature": body_of(
                    Measured(of="battery.temperature", typed=step.setup, kind="temperature", number=277.15)
                )
            }
            drafts.append(
                Draft(
                    kind="setup",
                    row="arrival/setup/",
                    body=body_of(Setup(values=values)),
                    at=f"step[{place}].setup",
                )
            )
        for row in step.rows:
            look = row.of.startswith("look")
            record = (
                Seen(of=row.of, words=PersonalText("note", row.typed))
                if look
                else reading(row.of, row.typed, name)
            )
            drafts.append(
                Draft(
                    kind="seen" if look else "measured",
                    row=f"arrival/{row.of}/",
                    body=body_of(record),
                    reason=row.withdrawn,
                    withdrawn=bool(row.withdrawn),
                )
            )
    return drafts


def told(store: Store, job: str) -> Counter[tuple[str, str, str]]:
    """What the job says now: (of, typed, setup typed) of everything that stands."""
    folded = store.job(job)
    found: Counter[tuple[str, str, str]] = Counter()
    for noted in folded.measured(0):
        setup = folded.setup(noted.record.setup) if noted.record.setup else None
        found[
            noted.record.of,
            noted.record.typed,
            setup.record.values["battery.temperature"]["typed"] if setup else "",
        ] += 1
    for seen in folded.seen(0):
        assert isinstance(seen.record.words, Personal)
        found[seen.record.of, str(store.text(seen.record.words.hash)), ""] += 1
    return found


def said_by(file: Sequence[Step]) -> Counter[tuple[str, str, str]]:
    return Counter(
        (row.of, row.typed, "" if row.of.startswith("look") else step.setup)
        for step in file
        for row in step.rows
        if not row.withdrawn
    )


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with Store.create(tmp_path_factory.mktemp("store") / "shop.corekit", demo=False) as opened:
        yield opened


def imported(
    store: Store, job: str | None, drafts: Sequence[Draft], origin: str = "visit"
) -> tuple[str, Reconciled, list[Entry]]:
    """Import into a job (a new one for None); with faults nothing is written."""
    outcome = store.file_additions(store.job(job) if job else None, origin, drafts)
    job = job or store.new_job()
    return job, outcome, [] if outcome.faults else append(store, job, outcome.drafts)


VOLTS = Row("battery.open_circuit_voltage", "12.78 V")
POSTS = Row("battery.cranking_voltage", "8.9 V")
COLD = Step("4 °C", (VOLTS, POSTS))


# ── examples ────────────────────────────────────────────────────────────────────────────────────────────────


def test_the_first_import_takes_every_row_and_ties_readings_to_their_setup(store: Store) -> None:
    job, outcome, _ = imported(store, None, drafts_of([COLD]))
    assert outcome.faults == ()
    assert [statement.subject for statement in outcome.drafts] == [
        "visit:arrival/opened/#1",
        "visit:arrival/setup/#1",
        "visit:arrival/battery.open_circuit_voltage/#1",
        "visit:arrival/battery.cranking_voltage/#1",
    ]
    assert {noted.record.setup for noted in store.job(job).measured(0)} == {"visit:arrival/setup/#1"}


def test_a_changed_row_is_a_correction_that_replaces_what_it_corrects(store: Store) -> None:
    job, _, first = imported(store, None, drafts_of([COLD]))
    (entry,) = imported(store, job, drafts_of([Step("4 °C", (attrs.evolve(VOLTS, typed="12.58 V"), POSTS))]))[
        2
    ]
    assert (entry.kind, entry.subject, entry.reason) == (
        "measured",
        "visit:arrival/battery.open_circuit_voltage/#1",
        "corrected in the file",
    )
    assert entry.replaces == (first[2].id,)
    assert told(store, job) == said_by(
        [Step("4 °C", (Row("battery.open_circuit_voltage", "12.58 V"), POSTS))]
    )


def test_what_is_read_again_takes_the_next_number_of_its_own(store: Store) -> None:
    job, _, _ = imported(store, None, drafts_of([COLD]))
    again = Step("4 °C", (VOLTS, attrs.evolve(VOLTS, typed="12.70 V"), POSTS))
    (added,) = imported(store, job, drafts_of([again]))[2]
    assert added.subject == "visit:arrival/battery.open_circuit_voltage/#2"


def test_a_row_that_vanished_is_refused_by_its_name_and_value_and_nothing_is_written(store: Store) -> None:
    job, _, _ = imported(store, None, drafts_of([COLD]))
    before = store.journal(job)
    outcome = imported(
        store, job, drafts_of([Step("4 °C", (POSTS, Row("battery.rest_voltage_hot", "12 V")))])
    )[1]
    (fault,) = outcome.faults
    assert "battery.open_circuit_voltage" in fault and "12.78 V" in fault and 'withdrawn = "' in fault
    assert outcome.drafts == ()
    assert store.journal(job) == before


def test_a_withdrawn_row_is_withdrawn_once_and_may_then_leave_the_file(store: Store) -> None:
    job, _, first = imported(store, None, drafts_of([COLD]))
    marked = [Step("4 °C", (attrs.evolve(VOLTS, withdrawn="clip slipped"), POSTS))]
    (entry,) = imported(store, job, drafts_of(marked))[2]
    assert (entry.kind, entry.reason, entry.replaces) == ("withdrawn", "clip slipped", (first[2].id,))
    assert imported(store, job, drafts_of(marked))[2] == []
    assert told(store, job) == said_by(marked)
    assert imported(store, job, drafts_of([Step("4 °C", (POSTS,))]))[1] == Reconciled()


def test_a_row_withdrawn_before_it_was_ever_imported_is_kept_and_withdrawn(store: Store) -> None:
    file = [Step("", (attrs.evolve(VOLTS, withdrawn="wrong clamp"),))]
    job, _, added = imported(store, None, drafts_of(file))
    assert [entry.kind for entry in added] == ["opened", "measured", "withdrawn"]
    assert added[2].replaces == (added[1].id,)
    assert told(store, job) == Counter()
    assert imported(store, job, drafts_of(file))[2] == []


def test_a_withdrawn_row_can_be_put_back(store: Store) -> None:
    job, _, _ = imported(store, None, drafts_of([COLD]))
    imported(store, job, drafts_of([Step("4 °C", (attrs.evolve(VOLTS, withdrawn="clip slipped"), POSTS))]))
    (entry,) = imported(store, job, drafts_of([COLD]))[2]
    assert entry.kind == "measured" and entry.reason == "put back in the file"
    assert told(store, job) == said_by([COLD])


def test_a_row_corrected_and_withdrawn_in_one_go_keeps_both(store: Store) -> None:
    job, _, _ = imported(store, None, drafts_of([COLD]))
    both = [Step("4 °C", (Row("battery.open_circuit_voltage", "12.58 V", "clip slipped"), POSTS))]
    assert [entry.kind for entry in imported(store, job, drafts_of(both))[2]] == ["measured", "withdrawn"]
    assert imported(store, job, drafts_of(both))[2] == []
    assert store.job(job).disputes == ()


def test_a_withdrawal_needs_a_reason(store: Store) -> None:
    drafts = drafts_of([COLD])
    (fault,) = store.file_additions(
        None, "visit", [*drafts[:-1], attrs.evolve(drafts[-1], withdrawn=True, at="step[0].readings[1]")]
    ).faults
    assert fault.startswith("step[0].readings[1]") and "reason" in fault


def test_a_setup_step_put_in_the_middle_changes_no_reading(store: Store) -> None:
    early, late = Step("4 °C", (VOLTS,)), Step("5 °C", (POSTS,))
    job, _, _ = imported(store, None, drafts_of([early, late]))
    between = Step("5 °C", (Row("battery.open_circuit_voltage", "12.60 V"),))
    added = imported(store, job, drafts_of([early, between, late]))[2]
    assert [(entry.kind, entry.replaces) for entry in added] == [("setup", ()), ("measured", ())]
    assert told(store, job) == said_by([early, between, late])


def test_a_corrected_setup_stays_with_its_readings_though_a_step_came_before_it(store: Store) -> None:
    job, _, first = imported(store, None, drafts_of([COLD]))
    file = [Step("9 °C", (Row("battery.open_circuit_voltage", "12.60 V"),)), Step("5 °C", (VOLTS, POSTS))]
    added = imported(store, job, drafts_of(file))[2]
    assert [(entry.kind, entry.replaces) for entry in added] == [
        ("setup", ()),
        ("measured", ()),
        ("setup", (first[1].id,)),
    ]
    assert told(store, job) == said_by(file)


def test_a_corrected_reading_stays_with_its_setup_though_a_step_came_before_it(store: Store) -> None:
    job, _, first = imported(store, None, drafts_of([COLD]))
    file = [
        Step("9 °C", (Row("battery.open_circuit_voltage", "12.60 V"),)),
        Step("4 °C", (Row("battery.open_circuit_voltage", "12.58 V"), POSTS)),
    ]
    added = imported(store, job, drafts_of(file))[2]
    assert [(entry.kind, entry.replaces) for entry in added] == [
        ("setup", ()),
        ("measured", ()),
        ("measured", (first[2].id,)),
    ]
    assert told(store, job) == said_by(file)


def test_steps_of_equal_setup_that_changed_places_and_grew_only_grow(store: Store) -> None:
    one, two = Step("4 °C", (VOLTS, POSTS)), Step("4 °C", (Row("battery.load_voltage", "9.1 V"),))
    job, _, _ = imported(store, None, drafts_of([one, two]))
    more = Row("battery.charging_voltage", "14.4 V")
    file = [Step("4 °C", (*two.rows, more)), Step("4 °C", (*one.rows, attrs.evolve(more, typed="14.5 V")))]
    assert [(entry.body["typed"], entry.replaces) for entry in imported(store, job, drafts_of(file))[2]] == [
        ("14.4 V", ()),
        ("14.5 V", ()),
    ]


def test_a_reading_moved_to_another_step_is_corrected_in_its_setup_alone(store: Store) -> None:
    job, _, _ = imported(
        store, None, drafts_of([Step("4 °C", (VOLTS,)), Step("5 °C", (attrs.evolve(VOLTS, typed="8.9 V"),))])
    )
    file = [Step("4 °C", (attrs.evolve(VOLTS, typed="8.9 V"),)), Step("5 °C", (VOLTS,))]
    added = imported(store, job, drafts_of(file))[2]
    before = {entry.id: entry for entry in store.journal(job)}
    assert [(entry.kind, entry.body["typed"]) for entry in added] == [
        ("measured", "8.9 V"),
        ("measured", "12.78 V"),
    ]
    for entry in added:
        (old,) = (before[name] for name in entry.replaces)
        assert old.body["typed"] == entry.body["typed"] and old.body["setup"] != entry.body["setup"]
    assert told(store, job) == said_by(file)


def test_equal_readings_of_two_steps_are_told_apart_when_both_are_withdrawn_and_moved(store: Store) -> None:
    job, _, _ = imported(store, None, drafts_of([Step("4 °C", (VOLTS, POSTS)), Step("5 °C", (VOLTS,))]))
    gone = attrs.evolve(VOLTS, withdrawn="clip slipped")
    added = imported(store, job, drafts_of([Step("5 °C", (gone,)), Step("4 °C", (gone, POSTS))]))[2]
    assert [entry.kind for entry in added] == ["withdrawn", "withdrawn"]


def test_a_setup_and_its_reading_may_stand_in_one_group(store: Store) -> None:
    opened, *drafts = [
        attrs.evolve(draft, row="step/")
        for draft in drafts_of([Step("4 °C", (VOLTS,)), Step("5 °C", (VOLTS,))])
    ]
    cold, first, warm, second = (
        (
            attrs.evolve(
                draft, body={**draft.body, "setup": draft.body["setup"].replace("arrival/setup/", "step/")}
            )
            if draft.kind == "measured"
            else draft
        )
        for draft in drafts
    )
    job, outcome, _ = imported(store, None, [opened, first, cold, second, warm])
    assert len({statement.subject for statement in outcome.drafts}) == 5
    assert told(store, job) == said_by([Step("4 °C", (VOLTS,)), Step("5 °C", (VOLTS,))])


def test_a_reading_whose_setup_is_not_in_the_file_is_refused(store: Store) -> None:
    stray = Draft(
        kind="measured",
        row="arrival/v/",
        body=body_of(reading("v", "12 V", "arrival/setup/#3")),
        at="step[1].readings[0]",
    )
    (fault,) = store.file_additions(None, "visit", [stray]).faults
    assert fault.startswith("step[1].readings[0]")


def test_what_the_program_and_other_files_say_takes_no_part(store: Store) -> None:
    job, _, _ = imported(store, None, drafts_of([COLD]))
    document = {"id": "d"}
    estimated = Estimated(
        name="diagnosis 1",
        stage="diagnosis",
        document_id="d",
        document=document,
        document_hash=digest(document),
        total=1,
        currency="EUR",
        lines=[],
        versions={},
        heads=[],
    )
    approved = Approved(
        estimate="diagnosis 1",
        document_hash=estimated.document_hash,
        total=1,
        currency="EUR",
        by="customer",
        how="in person",
    )
    said = [
        ("estimated", "visit:estimate#1", estimated),
        ("approved", own_subject("approved", "1"), approved),
    ]
    append(
        store,
        job,
        [Draft(kind=kind, subject=subject, body=body_of(record)) for kind, subject, record in said],
    )
    imported(store, job, drafts_of([Step("", (Row("battery.posts", "8 V"),))])[1:], origin="visit-2")
    assert imported(store, job, drafts_of([COLD]))[1] == Reconciled()


def test_a_file_cannot_say_what_only_the_program_says(store: Store) -> None:
    (fault,) = store.file_additions(
        None, "visit", [Draft(kind="withdrawn", row="r/", body=body_of(Withdrawn()), at="step[0]")]
    ).faults
    assert fault.startswith("step[0]") and "withdrawn" in fault


@pytest.mark.parametrize("origin", ["", "a:b", "a#1"])
def test_a_file_s_name_for_the_job_must_tell_its_rows_from_others(store: Store, origin: str) -> None:
    assert store.file_additions(None, origin, []).faults


def test_a_person_s_words_are_compared_by_what_they_say(store: Store) -> None:
    job, _, _ = imported(store, None, drafts_of([COLD], words="Squeaks."))
    assert imported(store, job, drafts_of([COLD], words="Squeaks."))[2] == []
    (entry,) = imported(store, job, drafts_of([COLD], words="Squeaks when cold."))[2]
    assert entry.kind == "opened" and entry.reason == "corrected in the file"


def test_a_file_does_not_bring_back_persons_that_were_destroyed(store: Store) -> None:
    job, _, _ = imported(store, None, drafts_of([COLD]))
    store.forget(job)
    (fault,) = imported(store, job, drafts_of([COLD]))[1].faults
    assert "destroyed" in fault


def test_a_field_added_by_a_later_program_changes_no_old_row(store: Store) -> None:
    old = {
        name: value
        for name, value in body_of(Vehicle(odometer_typed="98400 km")).items()
        if name != "model_years"
    }
    job = store.new_job()
    opened = Draft(kind="opened", subject=own_subject("opened", "x"), body=body_of(Opened(origin="x")))
    append(store, job, [opened, Draft(kind="vehicle", subject="v:vehicle/#1", body=old)])
    assert (
        store.file_additions(
            store.job(job),
            "v",
            [Draft(kind="vehicle", row="vehicle/", body=body_of(Vehicle(odometer_typed="98400 km")))],
        )
        == Reconciled()
    )


def test_an_import_settles_two_heads_that_differ(store: Store) -> None:
    job, _, first = imported(store, None, drafts_of([COLD]))
    for typed in ("12.1 V", "12.78 V"):
        body = body_of(reading("battery.open_circuit_voltage", typed, first[1].subject))
        append(
            store, job, [Draft(kind="measured", subject=first[2].subject, body=body, replaces=(first[2].id,))]
        )
    assert store.job(job).disputes
    (entry,) = imported(store, job, drafts_of([COLD]))[2]
    assert len(entry.replaces) == 2 and entry.reason == "settled by the file"
    assert not store.job(job).disputes
    assert imported(store, job, drafts_of([COLD]))[2] == []


@pytest.mark.parametrize("typed", ["12.1 V", "12.78 V"])
def test_an_import_settles_a_withdrawal_that_another_store_did_not_know_of(store: Store, typed: str) -> None:
    job, _, first = imported(store, None, drafts_of([COLD]))
    marked = drafts_of([Step("4 °C", (attrs.evolve(VOLTS, withdrawn="clip slipped"), POSTS))])
    corrected = Draft(
        kind="measured",
        subject=first[2].subject,
        body=body_of(reading("battery.open_circuit_voltage", typed, first[1].subject)),
        replaces=(first[2].id,),
    )
    append(store, job, [corrected])
    append(
        store,
        job,
        [
            Draft(
                kind="withdrawn",
                subject=first[2].subject,
                body={},
                replaces=(first[2].id,),
                reason="clip slipped",
            )
        ],
    )
    assert store.job(job).disputes
    added = imported(store, job, marked)[2]
    assert added[-1].kind == "withdrawn" and not store.job(job).disputes
    assert imported(store, job, marked)[2] == []


# ── laws ────────────────────────────────────────────────────────────────────────────────────────────────────

# Few names and values, so that equal rows, equal setups and equal steps are common.
rows = st.builds(
    Row,
    of=st.sampled_from(["battery.open_circuit_voltage", "battery.load_voltage", "look.case"]),
    typed=st.sampled_from(["12.7 V", "8.9 V", "1 V"]),
    withdrawn=st.sampled_from(["", "", "", "clip slipped"]),
)
steps = st.builds(
    Step, setup=st.sampled_from(["", "4 °C", "5 °C"]), rows=st.lists(rows, max_size=3).map(tuple)
)
files = st.lists(steps, max_size=5).map(tuple)
law = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@st.composite
def grown(draw: st.DrawFn, file: File) -> File:
    """The file after more work on it: steps added anywhere, values corrected, rows withdrawn; no row gone."""
    later = list(file)
    for step in draw(st.lists(steps, max_size=2)):
        later.insert(draw(st.integers(0, len(later))), step)
    for place, step in enumerate(later):
        if draw(st.integers(0, 3)) == 0 and step.rows:
            changed = draw(st.integers(0, len(step.rows) - 1))
            row = attrs.evolve(
                step.rows[changed],
                typed=draw(st.sampled_from(["12.7 V", "9.9 V"])),
                withdrawn=draw(st.sampled_from(["", "wrong range"])),
            )
            later[place] = Step(step.setup, (*step.rows[:changed], row, *step.rows[changed + 1 :]))
    return tuple(later)


@law
@given(file=files)
def test_the_same_file_twice_adds_nothing(store: Store, file: File) -> None:
    job, outcome, _ = imported(store, None, drafts_of(file))
    assert outcome.faults == ()
    assert told(store, job) == said_by(file)
    assert imported(store, job, drafts_of(file))[1] == Reconciled()


@law
@given(file=files, seed=st.integers(0, 2**16))
def test_steps_in_another_order_add_nothing(store: Store, file: File, seed: int) -> None:
    job, _, _ = imported(store, None, drafts_of(file))
    shuffled = random.Random(seed).sample(file, len(file))
    assert imported(store, job, drafts_of(shuffled))[1] == Reconciled()


@law
@given(file=files, seed=st.integers(0, 2**16))
def test_rows_of_a_step_in_another_order_add_nothing(store: Store, file: File, seed: int) -> None:
    job, _, _ = imported(store, None, drafts_of(file))
    draws = random.Random(seed)
    shuffled = [Step(step.setup, tuple(draws.sample(step.rows, len(step.rows)))) for step in file]
    assert imported(store, job, drafts_of(shuffled))[1] == Reconciled()


@law
@given(file=files, data=st.data())
def test_every_accepted_change_can_be_found_in_the_journal(
    store: Store, file: File, data: st.DataObject
) -> None:
    job, _, _ = imported(store, None, drafts_of(file))
    before = store.journal(job)
    later = data.draw(grown(file))
    _, outcome, added = imported(store, job, drafts_of(later))
    assert outcome.faults == (), "a file that only grew is never refused"
    journal = store.journal(job)
    assert journal[: len(before)] == before and journal[len(before) :] == added
    assert told(store, job) == said_by(later), "the job says what the file says"
    replaced = {old for entry in added for old in entry.replaces}
    known = {entry.id: entry for entry in journal}
    assert all(known[old].subject == entry.subject for entry in added for old in entry.replaces)
    assert all(entry.reason for entry in added if entry.replaces), "whatever takes another's place says why"
    assert (
        len({entry.subject for entry in added if not entry.replaces} & {entry.subject for entry in before})
        == 0
    )
    assert replaced <= {entry.id for entry in journal}
    assert store.job(job).disputes == ()
    assert imported(store, job, drafts_of(later))[1] == Reconciled()


@law
@given(file=files, data=st.data())
def test_no_standing_row_ever_leaves_unseen(store: Store, file: File, data: st.DataObject) -> None:
    standing = [
        (place, number)
        for place, step in enumerate(file)
        for number, row in enumerate(step.rows)
        if not row.withdrawn
    ]
    if not standing:
        return
    job, _, _ = imported(store, None, drafts_of(file))
    place, number = data.draw(st.sampled_from(standing))
    step = file[place]
    shorter = (
        *file[:place],
        Step(step.setup, (*step.rows[:number], *step.rows[number + 1 :])),
        *file[place + 1 :],
    )
    _, outcome, _ = imported(store, job, drafts_of(shorter))
    assert outcome.faults and any(step.rows[number].of in fault for fault in outcome.faults)
    assert outcome.drafts == ()
