"""A line's one ground is the strongest finding that speaks for its work, and an estimate shows no finding
that asks for nothing.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.desk.draft import draft_estimate
from corekit.model.document import Findings, PricedLines

from ..visits.files import visit_file


@pytest.fixture(scope="module")
def blocks(demo_out: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[object, ...]:
    """A job as it stood on arrival: three systems with a fault in each."""
    whole = visit_file("three-faults").read_text("utf-8")
    arrival = tmp_path_factory.mktemp("arrival") / "arrival.toml"
    arrival.write_text(whole[: whole.index('[[step]]\napproved = { estimate = "repair 1"')], "utf-8")
    return draft_estimate(
        str(arrival), is_file=True, folder=demo_out, stage="repair", km=None, out=None
    ).document.blocks


def test_what_decides_is_the_ground_before_what_only_advises(blocks: tuple[object, ...]) -> None:
    grounds = {
        row.text: row.ground for block in blocks if isinstance(block, PricedLines) for row in block.rows
    }
    assert grounds["Clean and tighten posts and clamps"] == "Posts and clamps are corroded."
    assert grounds["Replace the plug leads"].startswith(("Lead 2: cracked", "The misfire followed the lead"))


def test_an_estimate_shows_only_findings_that_ask_for_the_work_it_proposes(
    blocks: tuple[object, ...],
) -> None:
    rows = [row for block in blocks if isinstance(block, Findings) for row in block.rows]
    assert {row.urgency for row in rows} == {"this visit"}
    assert not any(row.text.startswith("Lead 1") for row in rows)
