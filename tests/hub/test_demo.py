"""The demo of several vans, as a command: its story, and what it leaves."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.hub.throwaway import programs
from corekit.store import database
from corekit.store.store import Store

from ..whole.chain import corekit, done, refused


@pytest.mark.skipif(programs() is None, reason="PostgreSQL is not installed here")
@pytest.mark.parametrize("names", ["abc", "cba"], ids=["rising", "falling"])
def test_three_invented_vans_one_away_one_job_handed_on_one_in_dispute(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, names: str
) -> None:
    """However the names of their chains sort: they are drawn, and say nothing of what came first."""
    letters = iter(names)
    monkeypatch.setattr(database, "lineage_name", lambda generation: f"{generation:03d}-{next(letters) * 12}")
    said = done(corekit("demo", "--vans", "3", "--out", tmp_path / "out"))
    for part in (
        "3 invented vans are enrolled: A, B, C.",
        "Van C has no network all day.",
        "Van A: worn-battery is done, invoice 2026-A0001.",
        "Handed to this van: too-little-egr.",
        "Van B: too-little-egr is done, invoice 2026-B0001.",
        "Two vans say different things in check-up",
        "The next morning:",
        "Van C has undecided; every chain is whole.",
        "3 invoices; every chain is whole.",
    ):
        assert part.replace("2026", said.words.partition("invoice ")[2][:4]) in said.words, part
    stores = [Store.open(tmp_path / "out" / f"van-{n}" / "journal.sqlite") for n in (1, 2, 3)]
    try:
        heads = {tuple(sorted(head for head in store.heads())) for store in stores}
        assert len(heads) == 1, "all three end with the same entries"
        disputed = [store.job(job) for store in stores for job in store.jobs() if store.job(job).disputes]
        assert [job.name for job in disputed] == ["check-up", "check-up"]
        assert disputed[0] == disputed[1]
    finally:
        for store in stores:
            store.close()


def test_too_few_vans_and_a_word_that_belongs_to_vans_are_refused(tmp_path: Path) -> None:
    refused(corekit("demo", "--vans", "2", "--out", tmp_path / "out"), "from 3 to 8 vans")
    refused(corekit("demo", "--stay", "--out", tmp_path / "out"), "--stay belongs to --vans")
    assert not (tmp_path / "out").exists()
