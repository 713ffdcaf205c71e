"""Papers at their limits, as `pictures.py --papers` draws them: what they say of thirty pieces of work."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.model.document import Answer, Document

from .test_changes import PRICES, shop_in

MANY = 5


def answer_of(document: Document) -> str:
    (answer,) = (block for block in document.blocks if isinstance(block, Answer))
    return str(answer.words if hasattr(answer, "words") else answer)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    works = "".join(f'[operations."Arbeit {n}"]\nhours = "1"\n' for n in range(MANY))
    return shop_in(tmp_path, prices=f"{PRICES}{works}")


def asked(shop: Shop, count: int) -> str:
    rows = {
        "reason": "Oil and all that.",
        "vehicle": {"plate": "DEMO-1", "description": "a small car", "odometer": "98400 km"},
        "customer": {"name": "N", "address": "A", "phone": "1"},
        "step": [{"requested": {"work": f"Arbeit {n}", "ground": "customer"}} for n in range(count)],
    }
    return add_rows(shop.context, None, rows, request_id="a-request-of-a-test-0001").job


def test_work_that_was_asked_for_is_counted_as_work_and_never_as_faults(shop: Shop) -> None:
    with shop:
        job = asked(shop, MANY)
        estimate = shop.estimate(job, "repair")
        assert "Proposed: five pieces of work." in answer_of(estimate.document)
        shop.approve(estimate, by="customer", how="in person", declined=["Arbeit 0"])
        done = {"step": [{"serviced": {"work": f"Arbeit {n}"}} for n in range(1, MANY)]}
        add_rows(shop.context, job, done, request_id="a-request-of-a-test-0002")
        told = answer_of(shop.issue(job).document)
        assert "Done: four pieces of work." in told
        assert "Declined by you: Arbeit 0." in told, "called as the shop calls it"
        assert "fault" not in told and "Found" not in told
