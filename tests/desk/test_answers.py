"""Answers given on a screen go into the record as the rows of a file would, each once."""

from __future__ import annotations

import os
import signal
import sqlite3
import tempfile
import threading
from collections.abc import Callable, Iterator
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corekit.assess.assessment import assess
from corekit.desk import importing
from corekit.desk.errors import DeskError
from corekit.desk.estimating import estimate_named
from corekit.desk.jobs import job_named, texts_of
from corekit.desk.rows import TRIAL, RowsResult, add_rows, job_with, withdraw_entry
from corekit.desk.shop import Shop, open_shop
from corekit.fault import DataFault
from corekit.intake.fault import VisitError
from corekit.model.money import Money
from corekit.model.records import Measured, Vehicle
from corekit.reference import data_path
from corekit.store.errors import RequestConflictError, StoreError

from .visits_by_answer import VISIT, answered, by_answers, by_file, demo_shop, fragments, told

JOBS = sorted((data_path("demo") / "jobs").glob("*.toml"))
REST = "battery.open_circuit_voltage"
ARRIVAL = {"reason": "Cranks slowly.", "vehicle": {"plate": "DEMO-9", "description": "a small van"}}


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with demo_shop(tmp_path / "van") as opened:
        yield opened


def said(shop: Shop, job: str | None, name: str, **rows: Any) -> RowsResult:
    return add_rows(shop.context, job, rows, request_id=f"{name:-<16}")


def rest(typed: str, temperature: str = "", **more: Any) -> dict[str, Any]:
    return {
        "readings": [{"of": REST, "is": typed, **more}],
        **({"setup": {"battery.temperature": temperature}} if temperature else {}),
    }


def arrived(shop: Shop) -> str:
    return said(shop, None, "arrival", **ARRIVAL).job


def readings(shop: Shop, job: str) -> list[str]:
    return [noted.record.typed for noted in shop.store.job(job).all(Measured)]


def fault(error: pytest.ExceptionInfo[VisitError]) -> DataFault:
    (found,) = error.value.faults
    return found


# ── the same record as from a file ──────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.stem)
def test_a_visit_answered_row_by_row_is_in_the_journal_what_the_file_is(tmp_path: Path, path: Path) -> None:
    with demo_shop(tmp_path / "file") as one, demo_shop(tmp_path / "screen") as other:
        file, screen = by_file(one, path), by_answers(other, path)
        assert told(other, screen) == told(one, file)
        assert len(told(one, file)) > 15
        assert other.issue(screen).due == one.issue(file).due
        assert other.store.verify() == []


def test_a_setup_is_asked_once_however_many_answers_its_readings_come_in(shop: Shop) -> None:
    job = arrived(shop)
    said(shop, job, "one", step=[rest("12.5 V", "4 °C")])
    said(shop, job, "two", step=[rest("12.6 V", "4 °C")])
    said(shop, job, "three", step=[rest("12.7 V", "5 °C")])
    said(shop, job, "four", step=[rest("12.8 V", "4 °C")])
    first, second, third, fourth = (noted.record.setup for noted in shop.store.job(job).all(Measured))
    assert first == second and first.endswith("#1") and third.endswith("#2")
    assert fourth.endswith("#3"), "between them something else held"


def test_a_new_job_is_called_by_its_day_and_a_running_number(shop: Shop) -> None:
    names = [said(shop, None, f"arrival-{number}", **ARRIVAL).name for number in range(11)]
    day = names[0].rpartition("-")[0]
    assert day == shop.context.clock().date().isoformat()
    assert names == [f"{day}-{number}" for number in range(1, 12)]


def test_a_job_may_begin_with_an_id_that_was_drawn_on_the_phone(shop: Shop) -> None:
    begun = said(shop, "0123456789ab", "arrival", **ARRIVAL)
    assert begun.job == "0123456789ab" and begun.name.endswith("-1")
    assert said(shop, "0123456789ab", "reading", step=[rest("12.5 V")]).job == begun.job
    assert shop.store.job(begun.job).demo


def test_a_reading_alone_begins_no_job(shop: Shop) -> None:
    with pytest.raises(VisitError) as error:
        said(shop, "0123456789ab", "reading", step=[rest("12.5 V")])
    assert fault(error).path == "reason" and "no such job" in fault(error).got
    with pytest.raises(StoreError, match="No job fits 'elsewhere'"):
        said(shop, "elsewhere", "reading", step=[rest("12.5 V")])
    assert shop.store.jobs() == []


def test_a_vehicle_told_on_the_phone_is_filled_up_when_it_is_seen(shop: Shop) -> None:
    job = said(
        shop,
        None,
        "call",
        reason="Wants a price.",
        vehicle={"description": "five-door, 1.4 petrol", "no_vin": "not seen yet"},
    ).job
    said(shop, job, "plate", vehicle={"plate": "DEMO-9"})
    seen = said(shop, job, "odometer", vehicle={"odometer": "98400 km"})
    vehicle, texts = shop.store.job(job).vehicle, texts_of(shop.context, shop.store.job(job))
    assert [texts[getattr(ref, "hash", "")] for ref in (vehicle.plate, vehicle.description)] == [
        "DEMO-9",
        "five-door, 1.4 petrol",
    ]
    assert (vehicle.odometer, vehicle.why_no_vin) == (98_400_000.0, "")
    assert len(shop.store.job(job).all(Vehicle)) == 1 and seen.entries[0].replaces


def test_what_is_answered_again_in_the_same_words_adds_nothing(shop: Shop) -> None:
    job = arrived(shop)
    said(shop, job, "trait", traits={"battery.type": "flooded"})
    assert said(shop, job, "again", traits={"battery.type": "flooded"}).entries == ()
    (corrected,) = said(shop, job, "other", traits={"battery.type": "AGM"}).entries
    assert corrected.reason == "corrected on the screen" and corrected.subject.endswith("#1")


def test_an_approval_names_an_estimate_that_was_made_and_its_total(shop: Shop) -> None:
    job = arrived(shop)
    approved = {"estimate": "diagnosis 1", "total": "60.00", "by": "customer", "how": "in person"}
    with pytest.raises(VisitError, match="made were: none") as error:
        said(shop, job, "early", step=[{"approved": approved}])
    assert fault(error).path == "step[0].approved.estimate"
    shop.estimate(job, "diagnosis")
    with pytest.raises(VisitError, match=r"comes to 60\.00 EUR") as error:
        said(shop, job, "wrong", step=[{"approved": {**approved, "total": "6.00"}}])
    assert fault(error).path == "step[0].approved"
    said(shop, job, "right", step=[{"approved": approved}])
    with pytest.raises(VisitError, match=r"Only 60\.00 EUR is due, and 60\.01 was given") as error:
        said(shop, job, "money", step=[{"paid": {"amount": "60.01", "how": "cash"}}])
    assert fault(error).path == "step[0].paid.amount"
    said(shop, job, "enough", step=[{"paid": {"amount": "60.00", "how": "cash"}}])
    assert [entry.body["amount"] for entry in shop.store.books()] == [6000]


# ── once ────────────────────────────────────────────────────────────────────────────────────────────────────


def deeds(shop: Shop, job: str) -> list[Callable[[], list[str]]]:
    """The visit of the demo from arrival to the last payment, each step under its own answer, giving the ids
    of what it became.
    """
    steps: list[Callable[[], list[str]]] = []
    for number, rows in enumerate(fragments()):
        approved = next((step["approved"] for step in rows.get("step", []) if "approved" in step), None)
        if approved is not None:
            stage, mark = approved["estimate"].split(" ", 1)[0], f"{number:04}"
            steps.append(
                lambda stage=stage, mark=mark: [
                    shop.estimate(job, stage, request_id=f"estimate-for-answer-{mark}").document.id
                ]
            )  # type: ignore[misc]
            steps.append(
                lambda name=approved["estimate"], mark=mark: [
                    approve(shop, job, name, f"agree-with-answer-{mark}")
                ]
            )  # type: ignore[misc]
        elif not any("paid" in step for step in rows.get("step", [])):
            steps.append(
                lambda number=number, rows=rows: [
                    entry.id for entry in answered(shop, job, number, rows).entries
                ]
            )  # type: ignore[misc]
    steps.append(lambda: pay(shop, job, "100.00", "a-first-payment-"))
    steps.append(lambda: [shop.issue(job, request_id="the-invoice-of-it").number])
    steps.append(lambda: pay(shop, job, "266.60", "the-rest-of-money"))
    return steps


def pay(shop: Shop, job: str, amount: str, answer: str) -> list[str]:
    due = shop.pay(job, Money.of(Decimal(amount), "EUR"), "cash", request_id=answer)
    assert due.minor in (26660, 0), "what is due by now, whenever it is asked again"
    return []


def approve(shop: Shop, job: str, name: str, answer: str) -> str:
    return shop.approve(
        estimate_named(shop.context, job_named(shop.context, job), name),
        by="customer",
        how="in person",
        request_id=answer,
    ).id


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_whatever_is_sent_again_on_the_way_adds_nothing(data: st.DataObject) -> None:
    """A phone that does not hear the reply sends again: the last answers, or everything from any point on, as
    often as it likes.
    """
    with tempfile.TemporaryDirectory() as folder, demo_shop(Path(folder) / "van") as shop:
        job = "0123456789ab"
        steps = deeds(shop, job)
        became: list[list[str]] = []
        for number, step in enumerate(steps):
            became.append(step())
            for start in data.draw(st.lists(st.integers(0, number), max_size=2)):
                before = len(shop.store.journal(job)), len(shop.store.books())
                for again in range(start, number + 1):
                    assert steps[again]() == became[again]
                assert (len(shop.store.journal(job)), len(shop.store.books())) == before
        assert shop.issue(job).due == Money(0, "EUR")
        assert len(shop.store.books()) == 3
        assert shop.store.verify() == []


def test_the_same_id_with_other_content_is_refused_and_writes_nothing(shop: Shop) -> None:
    job = arrived(shop)
    said(shop, job, "reading", step=[rest("12.5 V")])
    for rows in (
        {"step": [rest("12.6 V")]},
        {"step": [rest("12.5 V", with_="meter")]},
        {"traits": {"battery.type": "flooded"}},
    ):
        with pytest.raises(RequestConflictError, match="said something else"):
            said(shop, job, "reading", **rows)
    with pytest.raises(RequestConflictError):
        said(shop, None, "reading", step=[rest("12.5 V")])
    with pytest.raises(RequestConflictError):
        shop.estimate(job, "diagnosis", request_id=f"{'reading':-<16}")
    assert readings(shop, job) == ["12.5 V"]


def test_an_id_that_is_none_is_refused_and_writes_nothing(shop: Shop) -> None:
    for odd in ("", "short", "x" * 65, "with a space in it", "letters-like-é-too-"):
        with pytest.raises(StoreError, match="cannot be the id of an answer"):
            add_rows(shop.context, None, ARRIVAL, request_id=odd)
    assert shop.store.jobs() == []


def test_an_answer_with_a_fault_may_be_put_right_under_the_same_id(shop: Shop) -> None:
    job = arrived(shop)
    with pytest.raises(VisitError) as error:
        said(shop, job, "reading", step=[rest("5.1 V")])
    assert fault(error).asked and readings(shop, job) == []
    said(shop, job, "reading", step=[rest("5.1 V", confirmed=True)])
    assert readings(shop, job) == ["5.1 V"]


# ── at once, and cut short ──────────────────────────────────────────────────────────────────────────────────


def at_once(*does: Callable[[], object]) -> None:
    problems: list[BaseException] = []
    ready = threading.Barrier(len(does))

    def run(do: Callable[[], object]) -> None:
        try:
            ready.wait()
            do()
        except BaseException as error:
            problems.append(error)

    threads = [threading.Thread(target=run, args=(do,)) for do in does]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []


@pytest.mark.parametrize("shared", [True, False], ids=["one server", "two programs"])
def test_two_phones_answering_at_once_never_get_one_subject_twice(shop: Shop, shared: bool) -> None:
    job = arrived(shop)
    other = shop if shared else Shop(shop.context.folder)

    def tell(by: Shop, name: str) -> None:
        for number in range(12):
            said(by, job, f"{name}-{number}", step=[rest(f"12.{number:02} V", "4 °C")])
            said(by, None, f"{name}-arrival-{number}", **ARRIVAL)

    at_once(lambda: tell(shop, "this"), lambda: tell(other, "that"))
    entries = shop.store.journal(job)
    assert len({entry.subject for entry in entries}) == len(entries) == 2 + 1 + 24, (
        "the job, one setup, and every reading"
    )
    names = [name for called in shop.store.names().values() for name in called]
    assert len(set(names)) == len(names) == 25
    assert shop.store.verify() == []
    if not shared:
        other.close()


def test_the_same_answer_sent_by_four_at_once_is_taken_once(shop: Shop) -> None:
    job = arrived(shop)
    shop.estimate(job, "diagnosis")
    at_once(*[lambda: said(shop, job, "reading", step=[rest("12.5 V")])] * 4)
    at_once(*[lambda: approve(shop, job, "diagnosis 1", "approved-in-person")] * 4)
    at_once(
        *[lambda: shop.pay(job, Money.of(Decimal("60.00"), "EUR"), "cash", request_id="paid-in-cash-once")]
        * 4
    )
    at_once(*[lambda: shop.issue(job, request_id="issued-only-once")] * 4)
    assert readings(shop, job) == ["12.5 V"]
    assert [entry.kind for entry in shop.store.books()] == ["payment", "invoice"]
    assert shop.store.verify() == []


def test_an_invoice_holds_what_came_in_while_it_was_laid_out(tmp_path: Path) -> None:
    late: list[str] = []

    def slowly(*asked: Any) -> Any:
        assessment = assess(*asked)
        if late:
            add_rows(shop.context, late.pop(), {"step": [rest("12.5 V")]}, request_id="the-last-reading")
        return assessment

    demo_shop(tmp_path / "van").close()
    shop = open_shop(tmp_path / "van", assessor=slowly)
    job = arrived(shop)
    approve(shop, job, shop.estimate(job, "diagnosis").name, "approved-in-person")
    late.append(job)
    assert "12.5" in str(shop.issue(job).document)
    shop.close()


def cut_before(shop: Shop, statement: int, rows: dict[str, Any]) -> bool:
    """Answer in a process of its own that is killed just before this statement to the database; True when it
    came to its end.
    """
    child = os.fork()
    if child:
        ended = os.waitpid(child, 0)[1]
        assert ended in (0, signal.SIGKILL)
        return ended == 0
    try:
        with Shop(shop.context.folder) as own:
            left = [statement]

            def watch(_: str) -> None:
                left[0] -= 1
                if not left[0]:
                    os.kill(os.getpid(), signal.SIGKILL)

            own.store._connection.set_trace_callback(watch)
            add_rows(own.context, own.store.jobs()[0], rows, request_id=f"killed-at-{statement:06}")
            os._exit(0)
    finally:
        os._exit(1)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_kill_before_any_statement_leaves_all_of_an_answer_or_nothing(shop: Shop) -> None:
    job = arrived(shop)
    assert shop.context.plugins.measurands, "loaded before the first fork"
    seen: set[bool] = set()
    statement = 0
    while True:
        statement += 1
        rows = {
            "vehicle": {"plate": f"CUT-{statement}"},
            "step": [rest(f"12.{statement % 90 + 10} V", f"{statement % 40} °C")],
        }
        before = len(shop.store.journal(job))
        ended = cut_before(shop, statement, rows)
        kept = len(shop.store.journal(job)) - before
        assert kept in (0, 3), "vehicle, setup, reading"
        assert shop.store.verify() == []
        sent = add_rows(shop.context, job, rows, request_id=f"killed-at-{statement:06}")
        assert sent.again == (kept == 3) and len(shop.store.journal(job)) == before + 3
        seen.add(sent.again)
        if ended:
            break
    assert statement > 30 and seen == {False, True}


# ── corrected, withdrawn ────────────────────────────────────────────────────────────────────────────────────


def test_a_correction_takes_the_place_of_what_stood_with_its_stage_and_setup(shop: Shop) -> None:
    job = arrived(shop)
    *_, wrong = said(shop, job, "wrong", step=[rest("12.5 V", "4 °C")]).entries
    said(shop, job, "later", step=[rest("12.7 V", "9 °C")])
    said(shop, job, "repair", step=[{"repaired": {"operation": "battery.charge"}}])
    (right,) = said(shop, job, "right", step=[rest("12.6 V")], instead_of=wrong.id).entries
    assert (right.subject, right.replaces, right.reason) == (
        wrong.subject,
        (wrong.id,),
        "corrected on the screen",
    )
    assert {**right.body, "typed": "", "number": 0} == {**wrong.body, "typed": "", "number": 0}
    assert readings(shop, job) == ["12.6 V", "12.7 V"], "it stands where the first one stood"
    assert (
        said(shop, job, "same", step=[rest("12.65 V", "4 °C")], instead_of=right.id).entries[0].body["setup"]
        == wrong.body["setup"]
    )


def test_a_temperature_is_corrected_for_all_its_readings(shop: Shop) -> None:
    job = arrived(shop)
    setup, *_ = said(shop, job, "one", step=[rest("12.5 V", "40 °C")]).entries
    said(shop, job, "two", step=[rest("12.6 V", "40 °C")])
    said(shop, job, "cold", step=[{"setup": {"battery.temperature": "4 °C"}}], instead_of=setup.id)
    record = shop.store.job(job)
    for noted in record.all(Measured):
        used = record.setup(noted.record.setup)
        assert used is not None and used.record.values["battery.temperature"]["typed"] == "4 °C"


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ({"step": [{"readings": [{"of": "battery.parasitic_draw", "is": "18 mA"}]}]}, "says 0 of it"),
        ({"step": [rest("12.6 V"), rest("12.7 V")]}, "says 2 of it"),
        ({"traits": {"battery.type": "flooded"}}, "says 0 of it"),
    ],
)
def test_a_correction_says_one_row_for_one(shop: Shop, rows: dict[str, Any], why: str) -> None:
    job = arrived(shop)
    *_, wrong = said(shop, job, "wrong", step=[rest("12.5 V")]).entries
    with pytest.raises(VisitError, match=why) as error:
        said(shop, job, "right", **rows, instead_of=wrong.id)
    assert fault(error).path == "instead_of"
    assert readings(shop, job) == ["12.5 V"]


def test_what_was_corrected_meanwhile_is_looked_at_again(shop: Shop) -> None:
    job = arrived(shop)
    *_, wrong = said(shop, job, "wrong", step=[rest("12.5 V")]).entries
    said(shop, job, "right", step=[rest("12.6 V")], instead_of=wrong.id)
    for old in (wrong.id, "no entry at all", 7):
        with pytest.raises(VisitError, match="does not stand any more") as error:
            said(shop, job, "late", step=[rest("12.7 V")], instead_of=old)
        assert fault(error).path == "instead_of"
    assert readings(shop, job) == ["12.6 V"]


def test_the_complaint_is_said_once_and_corrected_by_name(shop: Shop) -> None:
    begun = said(shop, None, "arrival", vehicle=ARRIVAL["vehicle"])
    said(shop, begun.job, "words", reason="Cranks slowly.")
    with pytest.raises(VisitError, match="was said already"):
        said(shop, begun.job, "more", reason="Cranks slowly, and clicks.")
    opened = next(noted.id for noted in shop.store.job(begun.job).standing if noted.entry.kind == "opened")
    said(shop, begun.job, "other", reason="Cranks slowly, and clicks.", instead_of=opened)
    words = shop.store.job(begun.job).opened.words
    assert shop.store.text(getattr(words, "hash", "")) == "Cranks slowly, and clicks."
    assert shop.store.job(begun.job).name == begun.name


def test_what_is_withdrawn_no_longer_stands_and_its_money_leaves_the_books(shop: Shop) -> None:
    job = arrived(shop)
    approve(shop, job, shop.estimate(job, "diagnosis").name, "approved-in-person")
    *_, reading = said(shop, job, "reading", step=[rest("12.5 V")]).entries
    (paid,) = said(shop, job, "money", step=[{"paid": {"amount": "20.00", "how": "cash"}}]).entries
    with pytest.raises(DeskError, match="with a reason"):
        withdraw_entry(shop.context, job, reading.id, "  ", request_id="withdrawn-reading")
    for number, entry in enumerate((reading, paid)):
        done = withdraw_entry(
            shop.context, job, entry.id, "typed twice", request_id=f"withdrawn-number-{number}"
        )
        assert withdraw_entry(
            shop.context, job, entry.id, "typed twice", request_id=f"withdrawn-number-{number}"
        ).again
        assert [said.reason for said in done.entries] == ["typed twice"]
        with pytest.raises(DeskError, match="withdrawn meanwhile"):
            withdraw_entry(
                shop.context,
                job,
                entry.id,
                "typed twice",
                request_id=f"withdrawn-once-more-{number}",
            )
    assert readings(shop, job) == [] and shop.store.job(job).payments == ()
    assert sum(entry.body["amount"] for entry in shop.store.books()) == 0
    assert shop.store.verify() == []


def test_a_repair_is_withdrawn_with_its_traits_until_something_rests_on_it(shop: Shop) -> None:
    job = arrived(shop)
    new_part = {"repaired": {"operation": "battery.replace", "battery.type": "flooded"}}
    repaired, _ = said(shop, job, "slip", step=[new_part]).entries
    withdraw_entry(shop.context, job, repaired.id, "not done yet", request_id="a-slip-of-the-finger")
    record = shop.store.job(job)
    assert record.stage == 0 and not record.fitted(9)
    again, _ = said(shop, job, "done", step=[new_part]).entries
    said(shop, job, "retest", step=[rest("12.8 V")])
    with pytest.raises(DeskError, match="rest on it"):
        withdraw_entry(shop.context, job, again.id, "not done yet", request_id="another-slip-of-it")
    assert shop.store.job(job).stage == 1


# ── beside files ────────────────────────────────────────────────────────────────────────────────────────────


FILE = """
job = "typed-visit"
demo = true
reason = "Cranks slowly."
vehicle = { plate = "DEMO-8" }

[[step]]
readings = [
  { of = "battery.open_circuit_voltage", is = "12.5 V" },
  { of = "battery.open_circuit_voltage", is = "12.6 V" },
]
"""


@pytest.fixture
def typed(tmp_path: Path) -> Path:
    path = tmp_path / "typed-visit.toml"
    path.write_text(FILE, "utf-8")
    return path


def test_a_file_is_taken_in_again_beside_what_was_answered_in_its_job(shop: Shop, typed: Path) -> None:
    job = shop.import_visit(typed)
    more = said(shop, job, "reading", step=[rest("12.9 V")])
    assert importing.add(shop.context, importing.read(shop.context, typed)).added == 0
    assert readings(shop, job) == ["12.5 V", "12.6 V", "12.9 V"]
    file_key = shop.store.rows_key(shop.store.job(job), "typed-visit")
    assert not more.entries[0].subject.startswith(f"{file_key}:")
    typed.write_text(FILE.replace("12.6 V", "12.7 V"), "utf-8")
    assert importing.add(shop.context, importing.read(shop.context, typed)).corrected == 1
    assert readings(shop, job) == ["12.5 V", "12.7 V", "12.9 V"]


def test_what_a_screen_corrects_or_withdraws_of_a_file_stands_until_the_file_says_something_new(
    shop: Shop, typed: Path
) -> None:
    job = shop.import_visit(typed)
    first, second = (noted.id for noted in shop.store.job(job).all(Measured))
    said(shop, job, "right", step=[rest("12.4 V")], instead_of=first)
    withdraw_entry(shop.context, job, second, "typed twice", request_id="withdrawn-reading")
    again = importing.add(shop.context, importing.read(shop.context, typed))
    assert (again.added, again.corrected, again.withdrawn) == (0, 0, 0)
    assert readings(shop, job) == ["12.4 V"]
    typed.write_text(FILE.replace("12.5 V", "12.3 V"), "utf-8")
    importing.add(shop.context, importing.read(shop.context, typed))
    assert readings(shop, job) == ["12.3 V"]
    assert shop.store.verify() == [] and shop.store.job(job).disputes == ()


def test_a_job_begun_on_a_screen_takes_a_file_too(shop: Shop, typed: Path) -> None:
    job = by_answers(shop)
    before, began = told(shop, job), shop.store.journal(job)[0]
    shop.import_visit(typed, job)
    shop.import_visit(typed, job)
    more = said(shop, job, "after", step=[rest("12.9 V")])
    assert more.entries[0].subject.partition(":")[0] == began.subject.partition(":")[0], (
        "its rows stand where they stood before the file came"
    )
    assert len(told(shop, job)) == len(before) + 4 + 1


def test_a_file_that_takes_the_name_of_a_job_from_a_screen_is_refused(shop: Shop, typed: Path) -> None:
    job = arrived(shop)
    (name,) = shop.store.names()[job]
    before = shop.store.journal(job)
    typed.write_text(FILE.replace("typed-visit", name), "utf-8")
    with pytest.raises(DeskError, match="began on a screen"):
        shop.import_visit(typed)
    assert shop.store.journal(job) == before


# ── tried ───────────────────────────────────────────────────────────────────────────────────────────────────


def test_what_is_tried_shows_the_job_as_it_would_be_and_writes_nothing(shop: Shop) -> None:
    job = arrived(shop)
    said(shop, job, "reading", step=[rest("12.5 V", "4 °C")])
    before = shop.store.journal(job)
    trial = job_with(shop.context, job, {"step": [rest("12.6 V", "4 °C")]})
    assert shop.store.journal(job) == before
    assert [noted.record.typed for noted in trial.job.all(Measured)] == ["12.5 V", "12.6 V"]
    new = {noted.id: noted.record for noted in trial.job.all(Measured) if noted.id in trial.new}
    assert [record.typed for record in new.values()] == ["12.6 V"]
    assert all(entry.chain == TRIAL for entry in trial.job.entries if entry.id in trial.new)
    *_, written = said(shop, job, "real", step=[rest("12.6 V", "4 °C")]).entries
    assert next(iter(new.values())) == Measured(**written.body), "what is written is what was shown"


def test_a_correction_and_a_new_job_are_tried_too(shop: Shop) -> None:
    job = arrived(shop)
    *_, wrong = said(shop, job, "wrong", step=[rest("12.5 V")]).entries
    assert [
        noted.record.typed
        for noted in job_with(shop.context, job, {"step": [rest("12.6 V")], "instead_of": wrong.id}).job.all(
            Measured
        )
    ] == ["12.6 V"]
    trial = job_with(
        shop.context,
        None,
        {"reason": "Cranks slowly.", "vehicle": {"description": "a small van", "plate": "DEMO-7"}},
    )
    assert trial.texts[getattr(trial.job.vehicle.plate, "hash", "")] == "DEMO-7"
    assert len(shop.store.jobs()) == 1
    with pytest.raises(VisitError):
        job_with(shop.context, job, {"step": [rest("5.1 V")]})


# ── forgotten ───────────────────────────────────────────────────────────────────────────────────────────────


def test_nothing_in_the_table_of_answers_betrays_a_person_after_they_are_forgotten(shop: Shop) -> None:
    job = arrived(shop)
    reading = said(shop, job, "reading", step=[rest("12.5 V")])
    with sqlite3.connect(shop.store.path) as raw:
        secrets = [word for row in raw.execute("SELECT salt, digest FROM answer") for word in row]
    raw.close()
    assert len(secrets) == 4 and all(secrets)
    shop.forget(job)
    assert shop.store.verify() == []
    data = shop.store.path.read_bytes()
    assert not [word for word in secrets if word.encode() in data], (
        "the salt must go with the persons, or a plate could be guessed from the hash"
    )
    again = said(shop, job, "reading", step=[rest("12.5 V")])
    assert again.again and again.entries == reading.entries
    with pytest.raises(StoreError, match="destroyed for good"):
        said(shop, job, "name", customer={"name": "Somebody"})
    said(shop, job, "another", step=[rest("12.6 V")])


def test_the_visit_that_everything_is_compared_with_is_there() -> None:
    assert VISIT in JOBS and len(list(fragments())) > 20


# ---- an answer that waited on the phone


def test_what_waited_on_the_phone_was_observed_that_long_ago(shop: Shop) -> None:
    begun = add_rows(
        shop.context,
        None,
        {"reason": "Does not crank.", "vehicle": {"plate": "DEMO-1"}},
        request_id="begun-0123456789ab",
    ).job
    reading = {"step": [{"seen": [{"of": "battery.case", "is": "sound"}]}]}
    (entry,) = add_rows(shop.context, begun, reading, request_id="late-0123456789abc", waited=3600.0).entries
    recorded, taken = datetime.fromisoformat(entry.recorded), datetime.fromisoformat(entry.taken)
    assert abs((recorded - taken).total_seconds() - 3600) < 5
    again = add_rows(shop.context, begun, reading, request_id="late-0123456789abc", waited=3700.0)
    assert (again.again, again.entries[0].id) == (True, entry.id)
    soon_read = {"step": [{"seen": [{"of": "battery.terminals", "is": "clean and tight"}]}]}
    (soon,) = add_rows(shop.context, begun, soon_read, request_id="soon-0123456789abc", waited=3.0).entries
    assert soon.taken == ""


def test_a_time_that_was_typed_stays_however_long_the_rows_waited(shop: Shop) -> None:
    seen = {"of": "battery.case", "is": "sound", "taken": "2026-03-01T09:00:00+01:00"}
    (entry,) = add_rows(
        shop.context,
        arrived(shop),
        {"step": [{"seen": [seen]}]},
        request_id="late-0123456789abc",
        waited=3600.0,
    ).entries
    assert datetime.fromisoformat(entry.taken) == datetime.fromisoformat("2026-03-01T08:00:00+00:00")
