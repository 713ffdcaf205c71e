"""Where the law gives a right to cancel, an approval says what the customer says of it."""

from __future__ import annotations

from pathlib import Path

from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..desk.test_changes import WORDS, shop_in
from .everywhere import forms_of


def test_the_screen_asks_what_the_customer_says_and_records_it(tmp_path: Path) -> None:
    with shop_in(tmp_path, jurisdiction="EU") as shop:
        client = work_app(Van(shop.context), NoAuth()).test_client()
        job = shop.import_visit(tmp_path / "visit.toml")
        page = client.get(f"/job/{job}/diagnosis").text
        assert "approve-shown" not in page, "no tap approves a paper that nobody has seen"
        shop.estimate(job, "repair")
        page = client.get(f"/job/{job}/estimate").text
        assert WORDS in page and "Please begin once the time for cancelling is over." in page
        (form,) = (form for form in forms_of(page) if "/approve?" in form.action)
        said = {**form.filled("5"), "how": "in person", "by": "customer", "cancellation": "", "said": ""}
        said.pop("no", None)
        reply = client.post(form.action, data=said)
        assert reply.status_code == 422 and "What does the customer say on the right to cancel?" in reply.text
        assert shop.store.job(job).approvals == ()
        reply = client.post(form.action, data={**said, "cancellation": "begin later"})
        assert reply.status_code == 303, reply.text
        assert [one.record.cancellation for one in shop.store.job(job).approvals] == ["begin later"]


def test_where_no_law_gives_it_nothing_is_asked(tmp_path: Path) -> None:
    with shop_in(tmp_path) as shop:
        client = work_app(Van(shop.context), NoAuth()).test_client()
        job = shop.import_visit(tmp_path / "visit.toml")
        shop.estimate(job, "repair")
        assert "right to cancel" not in client.get(f"/job/{job}/estimate").text
