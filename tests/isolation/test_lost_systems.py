"""A visit file with words of a system that did not load is read: its rows are kept, and named."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.assess.assessment import assess
from corekit.desk import importing
from corekit.desk.context import ShopContext, open_context
from corekit.desk.importing import ImportResult
from corekit.desk.jobs import job_with_id
from corekit.intake.declared import Declared
from corekit.intake.lenient import read_for_check
from corekit.intake.visit import VisitError, read_visit
from corekit.model.job import Job
from corekit.plugin.host import Plugins, load

EVERYTHING = load()
WHY = "ZeroDivisionError: division by zero, at corekit_egr/__init__.py line 3"
FILE = """
job = "both"
demo = true
reason = "Does not crank in the morning."
vehicle = { plate = "DEMO-1" }
[traits]
"egr.valve" = "vacuum, with regulator"
[[specification]]
of = "egr.coil"
low = "4 Ω"
high = "8 Ω"
from = "label under the bonnet"
[[step]]
setup = { "egr.coil_temperature" = "40 °C" }
readings = [ { of = "egr.coil", is = "5.2 Ω" } ]
[[step]]
readings = [ { of = "battery.open_circuit_voltage", is = "12.31 V" } ]
seen = [ { of = "egr.vacuum_hoses", is = "sound" }, { of = "egr.vacuum_hoses", words = "one is chafed" } ]
[[step]]
requested = { operation = "egr.clean", ground = "customer" }
[[step]]
repaired = { operation = "egr.clean" }
[[step]]
readings = [ { of = "egr.vacuum_off", is = "0.5 inHg" } ]
"""
KEPT = (
    "traits.\"egr.valve\"", "specification[0].of", "step[0].readings[0].of",
    "step[0].setup.\"egr.coil_temperature\"",
    "step[1].seen[0].of", "step[1].seen[1].of", "step[2].requested.operation", "step[3].repaired.operation",
    "step[4].readings[0].of",
)  # fmt: skip


def without(system: str) -> Plugins:
    return Plugins(
        systems={key: one for key, one in EVERYTHING.systems.items() if key != system},
        versions=EVERYTHING.versions,
        lost={system: WHY},
    )


def added(folder: Path, plugins: Plugins, text: str = FILE) -> tuple[ImportResult, Job]:
    file = folder / "both.toml"
    file.write_text(text)
    shop: ShopContext = open_context(folder, plugins=plugins)
    with shop.store:
        done = importing.add(shop, importing.read(shop, file))
        return done, job_with_id(shop, done.job)


def test_every_row_of_a_system_that_did_not_load_is_named_with_the_reason() -> None:
    visit = read_visit(FILE.encode(), Declared.of(without("egr"), currency="EUR"))
    (remark,) = visit.remarks
    assert WHY in remark
    assert all(place in remark for place in KEPT)
    assert "Add the file again" in remark


def test_a_look_at_the_file_keeps_them_too_and_sets_nothing_aside(tmp_path: Path) -> None:
    visit = read_for_check(FILE.encode(), Declared.of(without("egr"), currency="EUR"))
    assert visit.set_aside == ()
    assert WHY in visit.remarks[0]


def test_rows_are_kept_as_typed_and_what_others_say_is_as_without_them(empty_shop: Path) -> None:
    _, job = added(empty_shop, without("egr"))
    kept = {noted.record.of: noted.record for noted in job.seen(0)}
    assert set(kept) == {"egr.valve", "egr.coil", "egr.coil_temperature", "egr.vacuum_hoses"}
    assert [noted.record.of for noted in job.seen(1)] == ["egr.vacuum_off"]
    assert [noted.record.operation for noted in job.repairs] == ["egr.clean"]
    assessment = assess(job, without("egr"))
    assert {finding.system for finding in assessment.findings} == {"battery"}
    assert {gap.wants for gap in assessment.gaps if "no installed system knows it" in gap.text} >= {
        "egr.coil", "egr.vacuum_off",
    }  # fmt: skip


def test_once_the_system_loads_again_the_file_is_read_as_if_it_always_had(empty_shop: Path) -> None:
    added(empty_shop, without("egr"))
    done, job = added(empty_shop, EVERYTHING)
    assert done.added > 0
    bodies = [(noted.entry.kind, noted.entry.body.get("of")) for noted in job.standing]
    assert bodies.count(("measured", "egr.coil")) == bodies.count(("specified", "egr.coil")) == 1
    assert bodies.count(("measured", "egr.vacuum_off")) == bodies.count(("fitted", "egr.valve")) == 1
    assert [noted.record.of for noted in job.seen(0)] == ["egr.vacuum_hoses", "egr.vacuum_hoses"]
    again, _ = added(empty_shop, EVERYTHING)
    assert (again.added, again.corrected, again.withdrawn) == (0, 0, 0)


def test_what_was_saved_before_the_system_was_lost_stands(empty_shop: Path) -> None:
    _, before = added(empty_shop, EVERYTHING)
    done, after = added(empty_shop, without("egr"))
    assert (done.added, done.withdrawn) == (0, 0)
    assert [noted.id for noted in after.standing if noted.entry.kind in ("measured", "seen", "fitted")] == [
        noted.id for noted in before.standing if noted.entry.kind in ("measured", "seen", "fitted")
    ]
    again, _ = added(empty_shop, EVERYTHING)
    assert (again.added, again.withdrawn) == (0, 0)


def test_what_belongs_to_no_installed_system_is_refused_as_before() -> None:
    with pytest.raises(VisitError) as caught:
        read_visit(
            FILE.replace('egr.coil"', 'horn.coil"').encode(), Declared.of(without("egr"), currency="EUR")
        )
    assert any('no system "horn" is installed' in fault.got for fault in caught.value.faults)
