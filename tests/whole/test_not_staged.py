"""The demo is not staged: everything on its papers follows from what its files say and from what the plugins
declare.

Papers are compared as Documents, since that is what is handed over; the renderers have tests of their own.
"""

from __future__ import annotations

import copy
import json
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any
from unittest import mock

import attrs
import pytest

from corekit import units
from corekit.account.account import account_of
from corekit.assess.assessment import Assessment, assess
from corekit.datafile import read_toml
from corekit.desk.draft import draft_invoice
from corekit.desk.in_memory import scratch_job
from corekit.desk.shop import Shop
from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.model.document import (
    Account,
    Answer,
    Code,
    Document,
    FindingRow,
    Findings,
    Readings,
    to_data,
)
from corekit.model.finding import Verdict
from corekit.model.job import stage_name
from corekit.model.measurand import Measurand
from corekit.plugin.host import Plugins, load
from corekit.plugin.system import System
from corekit.share.published import PublishedFolder
from corekit.web.page_app import page_app

from .chain import (
    COREKIT,
    JOBS,
    Typed,
    corekit,
    done,
    edited,
    invoice_of,
    paper_text,
    readings_of,
    refused,
    squeezed,
    told_in,
    with_reading,
    written,
)

REPLACED, CURED = "Replace the battery", "Trace and repair the parasitic draw"


# ---- papers from files


@pytest.fixture(scope="module")
def draft(demo_out: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[bytes], Document]:
    """The invoice that a visit file would come to, drafted at the demo's desk; not drawn, since nobody looks
    at two hundred papers.
    """
    folder = tmp_path_factory.mktemp("drafts")

    @cache
    def drafted(visit: bytes) -> Document:
        path = folder / f"visit.{'json' if visit[:1] == b'{' else 'toml'}"
        path.write_bytes(visit)
        with (
            mock.patch("corekit.report.pdf.render_pdf", lambda *words: b"not drawn"),
            mock.patch("corekit.desk.draft.load", plugins),
        ):
            return draft_invoice(
                str(path), is_file=True, folder=demo_out, km=None, out=folder / "draft.pdf"
            ).document

    return drafted


def told(document: Document) -> dict[str, Any]:
    """What the paper says, without what is drawn afresh each time: its id, its date, the record mark."""
    kept = tuple(block for block in document.blocks if not isinstance(block, Code))
    return to_data(attrs.evolve(document, id="", issued="", blocks=kept))


def judged(document: Document) -> list[Any]:
    """What the paper concludes: its findings and its own sentences, and each reading's limit; not the
    readings' mere echo.
    """
    blocks: list[Any] = [
        row for block in document.blocks if isinstance(block, Findings) for row in block.rows
    ]
    blocks += [block.text for block in document.blocks if isinstance(block, Answer)]
    blocks += [block.rows for block in document.blocks if isinstance(block, Account)]
    return blocks + [
        (row.name, row.limit, row.source)
        for block in document.blocks
        if isinstance(block, Readings)
        for row in block.rows
    ]


_NUMBER = re.compile(r"(?<!cylinder )(?<!lead )(?<!coil )(?<!cell )\b\d[\d.,]*")


def concluded(visit: bytes) -> list[str]:
    """Every verdict and sentence of every stage, numbers left out but those of places: what is merely
    repeated changes none of it.
    """
    found = assessed(visit).findings
    return [
        _NUMBER.sub("#", f"{stage_name(finding.stage)}: {finding.verdict}, {finding.urgency}: {finding.text}")
        for finding in found
    ]


def rows(document: Document) -> Iterator[FindingRow]:
    for block in document.blocks:
        if isinstance(block, Findings):
            yield from block.rows


@cache
def original(job: str) -> bytes:
    return JOBS[job].read_bytes()


@cache
def plugins() -> Plugins:
    return load()


EVERY = [reading for job in JOBS for reading in readings_of(job)]


def limited(reading: Typed) -> bool:
    """True for a reading that some finding of the demo holds against a limit."""
    return reading.row is not None and any(
        finding.of == reading.of and finding.limits for finding in assessed(original(reading.job)).findings
    )


def assessed_by(by: Plugins, visit: bytes) -> Assessment:
    return assess(scratch_job(read_visit(visit, Declared.of(by, currency="EUR")))[0], by)


@cache
def assessed(visit: bytes) -> Assessment:
    """What the installed plugins make of a visit file."""
    return assessed_by(plugins(), visit)


def within(measurand: Measurand, share: float) -> str:
    """A value that far through what is usual for a measurand, as one would type it."""
    low = measurand.usual.low if measurand.usual.low is not None else measurand.possible.low
    high = measurand.usual.high if measurand.usual.high is not None else measurand.possible.high
    assert low is not None
    assert high is not None
    number = units.from_coherent(low + share * (high - low), measurand.unit)
    return f"{number:.4g} {units.declared_text(measurand.unit)}" if measurand.unit != "1" else f"{number:.4g}"


def elsewhere(reading: Typed) -> Iterator[bytes]:
    """The reading's file with the reading moved to the ends of what is usual, and to places between."""
    measurand = plugins().measurands[reading.of]
    was = units.read_quantity(reading.typed, [measurand.unit]).number
    for text in (within(measurand, share) for share in (0.0, 1.0, 0.35, 0.7, 0.15)):
        if units.read_quantity(text, [measurand.unit]).number != was:
            yield with_reading(reading, text)


LIMITED = [reading for reading in EVERY if limited(reading)]
SETUPS = [reading for reading in EVERY if reading.row is None]
#: What is printed beside readings of these kinds, without a band that it could leave: the limits on file hold
#: at any of it.
WITHOUT_A_BAND = {
    "battery.charging_voltage": {"battery.temperature", "battery.engine_speed"},
    "battery.cranking_voltage": {"battery.temperature"},
    "ignition.misfires": {"ignition.engine_speed"},
    **{
        key: {"egr.engine_speed"}
        for key in ("egr.barometer", "egr.manifold_shut", "egr.manifold_open", "egr.vacuum_off")
    },
}


def is_low_drain(row: dict[str, str]) -> bool:
    """A current that is low already says nothing else when the units have had longer to fall asleep."""
    return (
        row["of"] == "battery.parasitic_draw"
        and row["is"].endswith(" mA")
        and float(row["is"].split()[0]) < 35
    )


def test_the_readings_found_in_the_files_are_those_of_the_demo() -> None:
    """A guard over the guards: were the finding of readings broken, the tests below would have
    nothing to do.
    """
    assert {reading.job for reading in LIMITED} == set(JOBS)
    assert len(LIMITED) >= 12
    assert len(SETUPS) >= 16
    assert {reading.of for reading in LIMITED} >= {
        "battery.load_voltage",
        "battery.parasitic_draw",
        "battery.charging_voltage",
        "battery.cranking_voltage",
    }


@pytest.mark.parametrize("job", JOBS)
def test_the_same_file_gives_the_same_paper(job: str, draft: Callable[[bytes], Document]) -> None:
    """Without this the next test would show nothing."""
    assert told(draft(original(job))) == told(draft(original(job) + b"\n"))


@pytest.mark.parametrize("reading", EVERY, ids=lambda reading: reading.name)
def test_every_reading_changes_the_paper(reading: Typed, draft: Callable[[bytes], Document]) -> None:
    assert told(draft(next(elsewhere(reading)))) != told(draft(original(reading.job)))


@pytest.mark.parametrize("reading", LIMITED, ids=lambda reading: reading.name)
def test_a_reading_moved_across_its_limit_changes_what_is_concluded(reading: Typed) -> None:
    was = concluded(original(reading.job))
    assert any(concluded(visit) != was for visit in elsewhere(reading))


@pytest.mark.parametrize("reading", SETUPS, ids=lambda reading: reading.name)
def test_a_setup_moved_out_of_its_band_changes_what_is_concluded(
    reading: Typed, draft: Callable[[bytes], Document]
) -> None:
    beside = told_in(reading.job)["step"][reading.step]["readings"]
    if all(reading.of in WITHOUT_A_BAND.get(row["of"], ()) or is_low_drain(row) for row in beside):
        assert conditions(draft(next(elsewhere(reading)))) != conditions(draft(original(reading.job)))
        return
    was = judged(draft(original(reading.job)))
    assert any(judged(draft(visit)) != was for visit in elsewhere(reading))


def conditions(document: Document) -> list[str]:
    return [row.note for block in document.blocks if isinstance(block, Readings) for row in block.rows]


# ---- before and after


def worn(*changes: tuple[str, str]) -> bytes:
    return edited(original("worn-battery").decode(), *changes).encode()


def proofs(document: Document) -> dict[str, str]:
    """Which work the paper calls shown to work, not shown, or not repaired yet."""
    return {
        row.urgency: row.text.partition(".")[0].lower()
        for row in rows(document)
        if row.urgency in (REPLACED, CURED)
    }


def exchanged(job: str, of: str) -> bytes:
    """The job's file with its first and last reading of one measurand exchanged, each left in its place and
    setup.
    """
    data = told_in(job)
    found = [
        (rows, place)
        for step in data["step"]
        for rows in [step.get("readings", [])]
        for place, row in enumerate(rows)
        if row["of"] == of
    ]
    (first, nth), (last, mth) = found[0], found[-1]
    assert first is not last
    first[nth], last[mth] = last[mth], first[nth]
    return json.dumps(data).encode()


@pytest.mark.parametrize(
    ("of", "work"), [("battery.load_voltage", REPLACED), ("battery.parasitic_draw", CURED)]
)
def test_with_arrival_and_retest_exchanged_the_paper_says_not_repaired_yet(
    of: str, work: str, draft: Callable[[bytes], Document]
) -> None:
    shown = {REPLACED: "shown to work", CURED: "shown to work"}
    assert proofs(draft(original("worn-battery"))) == shown
    assert proofs(draft(exchanged("worn-battery", of))) == shown | {work: "not repaired yet"}


def test_without_the_retest_nothing_is_shown_to_work(draft: Callable[[bytes], Document]) -> None:
    text = original("worn-battery").decode()
    retest = text[
        text.index('[[step]]\nsetup    = { "battery.load_current" = "360 A"') : text.index(
            "[[step]]", text.index('"360 A"')
        )
    ]
    assert proofs(draft(worn((retest, ""))))[REPLACED] == "not shown"


# ---- declarations


def with_system(changed: System) -> Plugins:
    return attrs.evolve(plugins(), systems={**plugins().systems, changed.key: changed})


def with_measurand(measurand: Measurand) -> Plugins:
    system = copy.copy(plugins().systems["battery"])
    system.measurands = {**system.measurands, measurand.key: measurand}
    return with_system(system)


def under_load(assessment: Assessment) -> Verdict:
    (finding,) = (finding for finding in assessment.findings if finding.code == "battery.load")
    return finding.verdict


def test_half_the_declared_uncertainty_turns_the_undecided_finding() -> None:
    load_voltage = plugins().measurands["battery.load_voltage"]
    assert under_load(assessed(original("undecided"))) is Verdict.UNDECIDED
    fine = load_voltage.accuracy
    finer = attrs.evolve(fine, percent=fine.percent / 2, digits=fine.digits / 2, amount=fine.amount / 2)
    assert under_load(
        assessed_by(with_measurand(attrs.evolve(load_voltage, accuracy=finer)), original("undecided"))
    ) in (Verdict.FAIL, Verdict.PASS)


def test_a_better_meter_decides_it_too(draft: Callable[[bytes], Document]) -> None:
    """What the paper's next test comes to: the same battery, read again with the meter from the van."""
    again = edited(original("undecided").decode(), ('= "9.45 V" }', '= "9.45 V", with = "meter" }')).encode()
    assert "undecided" in {row.verdict for row in rows(draft(original("undecided")))}
    assert "fail" in {row.verdict for row in rows(draft(again))}


def with_faults(data: dict[str, Any]) -> Plugins:
    system = copy.copy(plugins().systems["battery"])
    system.__dict__["faults"] = system.fault_table(data, "the changed table")
    return with_system(system)


def fault_data() -> dict[str, Any]:
    return copy.deepcopy(read_toml(plugins().systems["battery"].folder / "faults.toml"))


def printed_tests(demo: Path, with_: Plugins) -> list[str]:
    """The next step that the paper of the undecided job prints, with these plugins."""
    with Shop(demo, plugins=with_) as shop:
        job, assessment = shop.store.job(shop.store.find("undecided")), shop.assess("undecided")
        account = account_of(job, assessment, with_, book=shop.context.prices)
    return ["".join(map(str, step.words)) for step in account.steps if step.label == "Next step"]


def first_tests(demo: Path, with_: Plugins) -> list[str]:
    """The four next tests of the undecided job that `check` prints in full, with these plugins."""
    with Shop(demo, plugins=with_) as shop:
        tests = shop.assess(shop.store.find("undecided")).next_tests
    return [test.question for test in tests[:4]]


def test_a_row_taken_out_of_the_fault_table_changes_the_printed_next_test(demo_out: Path) -> None:
    was = printed_tests(demo_out, with_faults(fault_data()))
    paper = paper_text(invoice_of("undecided", demo_out))
    assert was
    assert all(squeezed(line) in squeezed(paper) for line in was), (
        "these are not the tests that the paper prints"
    )
    without: dict[str, list[str]] = {}
    for key in fault_data()["test"]:
        data = fault_data()
        del data["test"][key]
        for other in data["test"].values():  # and nobody waits for it any more
            other.get("after", {}).pop(key, None)
            other["spoils"] = [spoiled for spoiled in other.get("spoils", []) if spoiled != key]
        for barred in data.get("not_while", []):
            barred["tests"] = [test for test in barred["tests"] if test != key]
        data["not_while"] = [row for row in data.get("not_while", []) if row["tests"]]
        without[key] = printed_tests(demo_out, with_faults(data))
    changed = {key for key, printed in without.items() if printed != was}
    with Shop(demo_out, plugins=plugins()) as shop:
        tests = shop.assess("undecided").next_tests
    own = {test.wants for test in tests if test.key not in fault_data()["test"]}  # asked for by a finding
    named = {
        test.key
        for test in tests
        if test.wants not in own
        and any(plugins().for_customer(test.wants).lower() in line.lower() for line in was)
    }
    assert named
    assert named <= changed


def test_one_row_of_one_test_changes_it_too(demo_out: Path) -> None:
    """A row, not a whole test: what one test shows under one fault.

    And only some rows do, or the order would hang on anything.
    """
    was = first_tests(demo_out, with_faults(fault_data()))
    every = {(key, fault) for key, test in fault_data()["test"].items() for fault in test["given"]}
    changed = set()
    for key, fault in every:
        data = fault_data()
        del data["test"][key]["given"][fault]
        if first_tests(demo_out, with_faults(data)) != was:
            changed.add((key, fault))
    assert set() < changed < every


# ---- what was handed over stays


def issued(shop: Path) -> dict[str, bytes]:
    return {
        path.name: path.read_bytes()
        for path in sorted((shop / "papers").iterdir())
        if path.name.startswith("invoice")
    }


def pages(shop: Path) -> list[bytes]:
    """Every published page and its masked paper, from the server itself."""
    with Shop(shop, plugins=Plugins()) as opened:
        codes = [opened.issue(job).link.partition("#")[2] for job in opened.store.jobs()]
        now = opened.context.clock
    client = page_app(PublishedFolder(shop / "published"), bearer=None, demo=True, now=now).test_client()
    answers = [client.post(path, data={"code": code}) for code in codes for path in ("/v/open", "/v/paper")]
    assert {answer.status_code for answer in answers} == {200}
    return [answer.data for answer in answers]


def test_without_the_battery_plugin_issued_invoices_and_pages_are_the_same_bytes(demo_copy: Path) -> None:
    papers, opened = issued(demo_copy), pages(demo_copy)
    shutil.rmtree(demo_copy / "papers")
    with Shop(demo_copy, plugins=Plugins()) as shop:
        assert shop.context.plugins.systems == {}
        for job in shop.store.jobs():
            shop.issue(job)
    assert issued(demo_copy) == papers
    assert pages(demo_copy) == opened


_WITHOUT = """
import sys
class Gone:
    def find_spec(self, name, path=None, target=None):
        if name.startswith("corekit_"):
            raise ModuleNotFoundError(f"{name} was deleted")
sys.meta_path.insert(0, Gone())
from corekit.cli import main
sys.exit(main(sys.argv[1:]))
"""


def test_with_the_plugin_deleted_from_the_machine_the_command_draws_the_same_invoice(demo_copy: Path) -> None:
    papers = issued(demo_copy)
    shutil.rmtree(demo_copy / "papers")
    for job in JOBS:
        run = subprocess.run(
            [sys.executable, "-c", _WITHOUT, "invoice", job, "--shop", str(demo_copy)],
            capture_output=True,
            text=True,
            check=False,
        )
        assert (run.returncode, run.stderr) == (0, "")
    assert issued(demo_copy) == papers
    check = subprocess.run(
        [sys.executable, "-c", _WITHOUT, "check", "undecided", "--shop", str(demo_copy)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert "corekit_battery was deleted" in check.stdout
    assert "plugin failed" in check.stdout


def test_new_prices_and_a_new_shop_name_leave_an_issued_invoice_alone(demo_copy: Path) -> None:
    papers = issued(demo_copy)
    for name, old, new in (
        ("prices.toml", '"62.50"', '"99.00"'),
        ("shop.toml", "Example Driveway Repairs", "Another Name"),
    ):
        written(demo_copy, edited((demo_copy / name).read_text("utf-8"), (old, new)), name)
    done(corekit("invoice", "worn-battery", shop=demo_copy))
    assert issued(demo_copy) == papers


@pytest.mark.parametrize(
    ("table", "column", "where"),
    [
        ("entry", "body", "kind = 'measured'"),
        ("entry", "body", "kind = 'invoice'"),
        ("person", "text", "kind = 'name'"),
    ],
)
def test_one_changed_byte_is_named_by_verify(demo_copy: Path, table: str, column: str, where: str) -> None:
    """A spot check through the command; the store's own tests change every column of every row."""
    done(corekit("verify", shop=demo_copy))
    with sqlite3.connect(demo_copy / "journal.sqlite") as connection:
        for (trigger,) in connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            connection.execute(f'DROP TRIGGER "{trigger}"')
        row, text = connection.execute(
            f"SELECT rowid, {column} FROM {table} WHERE {where} LIMIT 1"
        ).fetchone()
        at = next(place for place in range(len(text) // 2, len(text)) if text[place].isalpha())
        changed = text[:at] + ("b" if text[at] != "b" else "c") + text[at + 1 :]
        connection.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (changed, row))
    connection.close()
    refused(corekit("verify", shop=demo_copy), "does not verify")


def test_a_command_of_its_own_process_says_the_same_as_one_in_this(demo_out: Path) -> None:
    """The other tests say commands in this process; this one shows that nothing hangs on that."""
    words = ["check", "undecided", "--shop", str(demo_out)]
    run = subprocess.run([*COREKIT, *words], capture_output=True, text=True, check=True)
    assert run.stdout == done(corekit(*words)).out
