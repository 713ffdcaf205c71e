"""The files of papers: one a paper whatever jobs are called, drafts that can be forgotten, none left half."""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk import paper
from corekit.desk.draft import draft_estimate, draft_invoice
from corekit.desk.jobs import job_with_id
from corekit.desk.paper import PaperError
from corekit.desk.shop import Shop

from .visits_by_answer import demo_shop

#: Names that look alike once everything but Latin letters and figures is taken out.
ALIKE = ("山田", "Петров", "a b", "a-b", "x" * 63, "x" * 63 + "y")
VISIT = """
job = "{name}"
reason = "Wants a look at the battery."

[vehicle]
plate = "DEMO-7"
description = "a small van"
[[step]]
requested = {{ operation = "battery.clean_contacts", ground = "customer" }}
"""


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with demo_shop(tmp_path / "van") as opened:
        yield opened


def job_called(shop: Shop, name: str, tmp_path: Path) -> str:
    file = tmp_path / "visit.toml"
    file.write_text(VISIT.format(name=name), encoding="utf-8")
    return shop.import_visit(file)


def papers(shop: Shop) -> set[str]:
    return {path.name for path in (shop.context.folder / "papers").iterdir()}


def test_jobs_whose_names_look_alike_as_files_share_no_paper_and_forgetting_one_keeps_the_others(
    shop: Shop, tmp_path: Path
) -> None:
    jobs = [job_called(shop, name, tmp_path) for name in ALIKE]
    made = [shop.estimate(job, "repair").pdf for job in jobs]
    assert len({path.name for path in made}) == len(ALIKE)
    assert all(path.is_file() for path in made)
    shop.forget(jobs[0])
    assert [path.is_file() for path in made] == [False, *[True] * (len(ALIKE) - 1)]


def test_a_paper_is_found_by_what_people_call_its_job(shop: Shop, tmp_path: Path) -> None:
    made = shop.estimate(job_called(shop, "grey van", tmp_path), "repair").pdf
    assert made.name.startswith("estimate-grey-van-")
    assert made.name.endswith("-repair-1.pdf")


def test_a_draft_lies_among_the_shops_papers_and_is_forgotten_with_its_job(
    shop: Shop, tmp_path: Path
) -> None:
    job = job_called(shop, "grey van", tmp_path)
    asked: Any = {"folder": shop.context.folder, "km": None}
    from_job = draft_estimate("grey van", is_file=False, stage="repair", **asked).path
    from_file = draft_invoice(str(tmp_path / "visit.toml"), is_file=True, **asked).path
    drafts = {path.name for path in (from_job, from_file) if path}
    assert len(drafts) == 2
    assert drafts <= papers(shop)
    shop.forget(job)
    assert not drafts & papers(shop)


def test_a_draft_goes_where_somebody_says(shop: Shop, tmp_path: Path) -> None:
    job_called(shop, "grey van", tmp_path)
    out = tmp_path / "mine.pdf"
    made = draft_estimate(
        "grey van", is_file=False, folder=shop.context.folder, stage="repair", km=None, out=out
    )
    assert made.path == out
    assert out.read_bytes().startswith(b"%PDF")
    assert not (shop.context.folder / "papers").exists()


def left_behind(folder: Path, name: str, age: float) -> Path:
    part = folder / name
    part.parent.mkdir(exist_ok=True)
    part.write_bytes(b"%PDF half of a paper with a name on it")
    then = time.time() - age
    os.utime(part, (then, then))
    return part


@pytest.mark.parametrize(("age", "stays"), [(3590.0, True), (3610.0, False)])
def test_opening_a_shop_removes_what_a_power_cut_left_of_papers_and_nothing_that_is_being_written(
    tmp_path: Path, age: float, stays: bool
) -> None:
    with demo_shop(tmp_path / "van") as opened:
        part = left_behind(opened.context.folder / "papers", ".part-0123", age)
    Shop(tmp_path / "van").close()
    assert part.exists() == stays


def test_forgetting_leaves_no_half_paper_however_young(shop: Shop, tmp_path: Path) -> None:
    job = job_called(shop, "grey van", tmp_path)
    part = left_behind(shop.context.folder / "papers", ".part-0123", 0.0)
    shop.forget(job)
    assert not part.exists()


def test_a_paper_that_cannot_be_written_is_told_with_what_stands_and_how_to_write_it_again(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = job_called(shop, "grey van", tmp_path)
    shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")

    def full(path: Path, data: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(paper, "write_over", full)
        with pytest.raises(PaperError) as refused:
            shop.estimate(job, "repair")
    told = str(refused.value)
    assert "stands in the record" in told
    assert "No space left on device" in told
    assert "`corekit estimate grey van`" in told
    assert len(job_with_id(shop.context, job).estimates) >= 1


def test_a_paper_that_cannot_be_deleted_is_named_and_the_words_are_destroyed_all_the_same(
    demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    unlink = Path.unlink

    def refusing(path: Path, missing_ok: bool = False) -> None:
        if path.suffix == ".pdf":
            raise OSError(errno.EIO, "Input/output error", str(path))
        unlink(path, missing_ok)

    with Shop(demo_copy) as shop:
        job = shop.store.jobs()[0]
        monkeypatch.setattr(Path, "unlink", refusing)
        gone = shop.forget(job)
    assert sum(gone.values()) > 0
    assert any("could not be deleted (Input/output error)" in one for one in gone.left)
