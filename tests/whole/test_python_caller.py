"""The lines that the README shows to a Python caller, run as they stand there."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from corekit.desk.shop import Shop
from corekit.reference import data_path

from .chain import JOBS, checked, paper_text

README = Path(__file__).parents[2] / "README.md"


def block() -> str:
    """The one Python block of the README that opens a shop."""
    (found,) = (
        lines
        for lines in re.findall(r"```python\n(.*?)```", README.read_text("utf-8"), re.DOTALL)
        if "open_shop(" in lines
    )
    return str(found)


@pytest.fixture
def here(demo_copy: Path, tmp_path: Path) -> Path:
    """A folder with `demo-out/` and the two files of demo/first-job in it, as the README asks for."""
    for path in sorted((data_path("demo") / "first-job").glob("*.toml")):
        shutil.copy(path, tmp_path)
    return tmp_path


def test_the_lines_of_the_readme_run_as_they_stand(here: Path) -> None:
    assert len(block().strip().splitlines()) == 8
    run = subprocess.run(
        [sys.executable, "-c", block()], cwd=here, capture_output=True, text=True, check=False
    )
    assert (run.returncode, run.stderr) == (0, "")
    *findings, pdf = run.stdout.splitlines()
    assert any(line.startswith("[fail]") and "8.70 V" in line for line in findings)
    text = " ".join(paper_text(here / pdf).split())
    assert "shown to work" in text.casefold()
    assert "10.60 V" in text


def test_they_leave_an_approval_of_the_very_estimate_that_was_shown(here: Path) -> None:
    subprocess.run([sys.executable, "-c", block()], cwd=here, capture_output=True, check=True)
    with Shop(here / "demo-out") as shop:
        job = shop.store.job(shop.store.find("first-job"))
        (estimate,), (approval,) = job.estimates, job.approvals
        assert (approval.record.document_hash, approval.record.total) == (
            estimate.record.document_hash,
            estimate.record.total,
        )
        assert (approval.record.by, approval.record.how) == ("customer", "in person")
        assert shop.store.verify() == []


def test_the_second_file_is_the_first_one_grown(here: Path) -> None:
    """A file grows at its end; so nothing of the first is corrected or withdrawn by the second."""
    first, second = (
        (here / name).read_text("utf-8").partition("\njob ")[2] for name in ("arrival.toml", "repaired.toml")
    )
    assert second.startswith(first.rstrip())
    with Shop(here / "demo-out") as shop:
        job = shop.import_visit(here / "arrival.toml")
        before = len(shop.store.journal(job))
        shop.import_visit(here / "arrival.toml")
        assert len(shop.store.journal(job)) == before
        assert shop.import_visit(here / "repaired.toml") == job
        assert {entry.kind for entry in shop.store.journal(job)[before:]} <= {
            "repaired",
            "fitted",
            "setup",
            "measured",
            "instrument",
        }


def test_what_python_and_the_command_see_is_the_same(here: Path) -> None:
    with Shop(here / "demo-out") as shop:
        findings = shop.assess(shop.import_visit(here / "arrival.toml")).findings
    said = checked("first-job", here / "demo-out")["findings"]
    assert [(finding.code, str(finding.verdict), str(finding.text)) for finding in findings] == [
        (one["code"], one["verdict"], one["text"]) for one in said
    ]


def test_it_cannot_be_issued_before_the_approval_and_nothing_is_kept_of_the_attempt(here: Path) -> None:
    lines = [line for line in block().splitlines() if "approve(" not in line]
    run = subprocess.run(
        [sys.executable, "-c", "\n".join(lines)], cwd=here, capture_output=True, text=True, check=False
    )
    assert run.returncode == 1
    assert "ConsentError: " in run.stderr
    with Shop(here / "demo-out") as shop:
        assert shop.store.job(shop.store.find("first-job")).issued == ()
        assert len([entry for entry in shop.store.books() if entry.kind == "invoice"]) == len(JOBS)
