"""The demo: what it makes, what it leaves alone, and that it needs nothing but itself."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest

from corekit.desk.demo import run_demo
from corekit.desk.errors import DeskError
from corekit.desk.shop import Shop
from corekit.store.store import Store

from .chain import (
    COREKIT,
    JOBS,
    corekit,
    done,
    estimate_of,
    estimates_in,
    found_shop,
    invoice_of,
    paper_text,
    refused,
)


def files_in(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}


def test_the_demo_makes_papers_store_and_pages_and_nothing_else(demo_out: Path) -> None:
    # What other tests drafted from it is theirs.
    made = {name for name in files_in(demo_out) if not name.startswith("papers/draft-")}
    invoices = {str(invoice_of(job, demo_out).relative_to(demo_out)) for job in JOBS}
    estimates = {
        str(estimate_of(job, estimate, demo_out).relative_to(demo_out))
        for job in JOBS
        for estimate in estimates_in(job)
    }
    pages = {name for name in made if re.fullmatch(r"published/[0-9a-f]{64}\.json", name)}
    public = {name for name in made if re.fullmatch(r"keys/[0-9a-z]{4}(-[0-9a-z]{4}){3}\.public", name)}
    assert len(public) == 1
    assert len(invoices) == len(pages) == len(JOBS) >= 3
    assert (
        made
        == {
            "shop.toml",
            "prices.toml",
            "journal.sqlite",
            "journal.sqlite.seen",
            "keys/link.key",
            "keys/sign.key",
        }
        | estimates
        | invoices
        | pages
        | public
    )
    assert {path.name for path in demo_out.parent.iterdir()} <= {"demo-out", "serve.log"}


def test_every_paper_of_the_demo_says_demo_on_every_page(demo_out: Path) -> None:
    for path in (demo_out / "papers").iterdir():
        for page in pypdf.PdfReader(path).pages:
            assert "DEMO" in page.extract_text(), path.name


def test_its_store_is_marked_as_a_demo_and_verifies(demo_out: Path) -> None:
    with Store.open(demo_out / "journal.sqlite") as store:
        assert store.demo
        assert len(store.jobs()) == len(JOBS)
    done(corekit("verify", shop=demo_out))


def test_it_says_what_it_made_each_link_and_the_one_command_that_serves_the_page(tmp_path: Path) -> None:
    out = tmp_path / "elsewhere"
    said = list(run_demo(out))
    whole = "\n".join(said)
    assert said[-1].strip() == f"corekit serve --shop {out}"
    for path in (out / "papers").iterdir():
        assert str(path) in whole, f"the demo keeps quiet about {path.name}"
    with Shop(out) as shop:
        links = [shop.issue(job).link for job in shop.store.jobs()]
    assert re.findall(r"http://\S+", whole) == links
    assert len(set(links)) == len(JOBS)


def test_the_six_jobs_end_as_they_are_meant_to(demo_out: Path) -> None:
    """Two faults put right; a code whose sensor was not it; plugs and no coil; a check-up where all is
    normal; honestly undecided; a repair that was not the cure.
    """
    told = {job: " ".join(paper_text(invoice_of(job, demo_out)).split()) for job in JOBS}
    ends = {
        "worn-battery": "Put right: a worn-out battery and a glove-box lamp that stayed on.",
        "too-little-egr": "Put right: a passage choked with carbon, not the sensor. Gone:",
        "high-speed": "Put right: worn spark plugs, not the coil.",
        "check-up": "Nothing found that is wrong, in what we looked at.",
        "undecided": "Cause not found yet:",
        "not-the-cure": "Not put right: a cracked spark plug. Done, but not the cure:",
    }
    assert list(told) == list(ends)
    for job, end in ends.items():
        assert end in told[job], job
    assert "replace the spark plugs (76.70 EUR before tax)" in told["not-the-cure"]
    assert "did not fix; not charged" in told["not-the-cure"]
    assert "on arrival: P0401; now: none" in told["too-little-egr"]


def test_where_nothing_was_repaired_only_the_diagnosis_is_billed(demo_out: Path) -> None:
    for job in ("check-up", "undecided"):
        text = " ".join(paper_text(invoice_of(job, demo_out)).split())
        lines = text[text.index("The work, line by line") :]
        assert "Diagnosis, flat price" in lines
        assert "Replace the battery" not in lines
        assert ("Next step" in text) == (job == "undecided")
    assert "undecided" in text.casefold()


def test_a_second_run_replaces_the_first_and_nothing_else(tmp_path: Path) -> None:
    out = tmp_path / "demo-out"
    list(run_demo(out))
    (out / "papers" / "left over.pdf").write_bytes(b"")
    (out / "my-visit.toml").write_text("what somebody wrote beside it", "utf-8")
    with Shop(out) as shop:
        before = shop.store.jobs()
    list(run_demo(out))
    assert "papers/left over.pdf" not in files_in(out)
    assert (out / "my-visit.toml").read_text("utf-8") == "what somebody wrote beside it"
    with Shop(out) as shop:
        assert len(shop.store.jobs()) == len(JOBS)
        assert not set(before) & set(shop.store.jobs())


def a_note(folder: Path) -> None:
    folder.mkdir()
    (folder / "thesis.txt").write_text("years of work", "utf-8")


def a_real_shop(folder: Path) -> None:
    found_shop(folder)


def a_file(folder: Path) -> None:
    folder.write_text("a file", "utf-8")


def a_false_store(folder: Path) -> None:
    folder.mkdir()
    (folder / "journal.sqlite").write_bytes(b"not a store at all")


@pytest.mark.parametrize("there", [a_note, a_real_shop, a_file, a_false_store])
def test_it_touches_nothing_that_is_not_an_earlier_demo(
    tmp_path: Path, there: Callable[[Path], None]
) -> None:
    out = tmp_path / "demo-out"
    there(out)
    before = files_in(tmp_path)
    refused(corekit("demo", "--out", out), str(out))
    with pytest.raises(DeskError, match="not an earlier demo; nothing was touched"):
        list(run_demo(out))
    assert files_in(tmp_path) == before


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "demo-out").mkdir()
    list(run_demo(tmp_path / "demo-out"))
    assert len(files_in(tmp_path / "demo-out" / "papers")) == len(JOBS) + sum(
        len(estimates_in(job)) for job in JOBS
    )


def test_it_reaches_for_no_network(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    reached: list[Any] = []

    def refuse(self: socket.socket, address: Any) -> None:
        reached.append(address)
        raise OSError("no network in this test")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket.socket, "connect_ex", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", lambda *words, **more: refuse(None, words))  # type: ignore[arg-type]
    list(run_demo(tmp_path / "demo-out"))
    assert reached == []


def test_it_needs_no_home_no_settings_and_no_particular_folder(tmp_path: Path) -> None:
    """Started by its command from a folder that is not the checkout, with nothing in the environment but
    where programs are.
    """
    bare = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT") if name in os.environ}
    run = subprocess.run(
        [*COREKIT, "demo"],
        cwd=tmp_path,
        env={**bare, "HOME": str(tmp_path / "nowhere")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (run.returncode, run.stderr) == (0, "")
    assert {path.name for path in tmp_path.iterdir()} == {"demo-out"}
    assert len(files_in(tmp_path / "demo-out" / "papers")) == len(JOBS) + sum(
        len(estimates_in(job)) for job in JOBS
    )


def test_each_demo_file_speaks_for_itself_without_a_shop(tmp_path: Path) -> None:
    for job, path in JOBS.items():
        said = json.loads(done(corekit("check", path, "--json", shop=tmp_path / "no-shop")).out)
        assert said["job"] == job
        assert said["findings"]


# What the demo's own module may reach for: the desk beside it, the finder of data files, and Python itself.
_ALONE = """
import ast, sys
from pathlib import Path
import corekit.desk.demo as demo
tree = ast.parse(Path(demo.__file__).read_text("utf-8"))
for node in ast.walk(tree):
    if isinstance(node, ast.ImportFrom):
        print("." * node.level + (node.module or ""))
    elif isinstance(node, ast.Import):
        print(*(name.name for name in node.names), sep="\\n")
"""


def test_the_demo_itself_uses_the_desk_and_nothing_behind_it() -> None:
    """import-linter holds the same contract; this one also sees what it would let pass inside a function."""
    run = subprocess.run([sys.executable, "-c", _ALONE], capture_output=True, text=True, check=True)
    used = {line for line in run.stdout.split() if line.split(".")[0] not in sys.stdlib_module_names}
    assert {name for name in used if not re.fullmatch(r"\.[a-z_]+|\.\.reference", name)} == set()
