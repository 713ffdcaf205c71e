"""Money and approvals take the same way into the record, whether a command, a file or a screen says them."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.estimating import estimate_named
from corekit.desk.jobs import job_named, texts_of
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.errors import CorekitError
from corekit.model.money import Money
from corekit.model.records import Approved

from .test_mistakes import AGREED, VISIT, diagnosed, file, shop

__all__ = ["diagnosed", "file", "shop"]

_ids = (f"row-of-a-screen-{number:04}" for number in count())

#: 0.5 h at 60.00 and 20 % tax, as in the prices of `shop`.
REPAIR = "36.00"


def by_screen(shop: Shop, **step: Any) -> None:
    add_rows(shop.context, "visit", {"step": [step]}, request_id=next(_ids))


def by_file(shop: Shop, file: Path, rows: str) -> None:
    file.write_text(VISIT + rows, "utf-8")
    shop.import_visit(file)


def refusal(act: Callable[[], object]) -> str:
    """In which words something is refused, without what a file is told besides: the place before them, and
    that nothing of it was added.
    """
    with pytest.raises(CorekitError) as error:
        act()
    return str(error.value).rpartition("\n")[2].removesuffix(" Nothing was added.")


def yes(total: str = REPAIR, **more: object) -> dict[str, Any]:
    return {"estimate": "repair 1", "total": total, "by": "customer", "how": "in person", **more}


def standing(shop: Shop) -> list[tuple[str, str, list[str]]]:
    """Every approval that stands: which offer, how, what was declined."""
    job = shop.store.job(shop.store.find("visit"))
    records = [noted.record for noted in job.approvals]
    return [(record.estimate, record.how, record.declined) for record in records]


def test_too_much_money_is_refused_in_the_same_words(shop: Shop, file: Path, diagnosed: str) -> None:
    words = "Only 60.00 EUR is due, and 60.01 was given; give back 0.01 and record 60.00."
    said = [
        refusal(lambda: shop.pay(diagnosed, Money.of(Decimal("60.01"), "EUR"), "cash")),
        refusal(lambda: by_screen(shop, paid={"amount": "60.01", "how": "cash"})),
        refusal(lambda: by_file(shop, file, '\n[[step]]\npaid = { amount = "60.01", how = "cash" }\n')),
    ]
    assert [words in text for text in said] == [True] * 3, said
    assert len({text[text.index(words) :] for text in said}) == 1
    assert shop.store.books() == []


def test_money_from_everywhere_counts_towards_the_same_sum(shop: Shop, file: Path, diagnosed: str) -> None:
    assert str(shop.pay(diagnosed, Money.of(Decimal("10.00"), "EUR"), "cash")) == "50.00"
    by_screen(shop, paid={"amount": "20.00", "how": "card"})
    by_file(shop, file, '\n[[step]]\npaid = { amount = "30.00", how = "bank transfer" }\n')
    assert [entry.body["amount"] for entry in shop.store.books()] == [1000, 2000, 3000]
    assert "Nothing is due any more" in refusal(
        lambda: shop.pay(diagnosed, Money.of(Decimal("0.01"), "EUR"), "cash")
    )
    assert shop.store.verify() == []


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"total": "36.01"}, "The estimate 'repair 1' comes to 36.00 EUR, not 36.01."),
        ({"by": "A. Person"}, "'A. Person' would stand in the record for good"),
        ({"declined": ["battery.replace"]}, 'The approval of "repair 1" declines what is not on it.'),
    ],
    ids=["another total", "a name", "what was not offered"],
)
def test_an_approval_that_does_not_fit_its_estimate_is_refused_in_the_same_words(
    shop: Shop, file: Path, diagnosed: str, wrong: dict[str, Any], words: str
) -> None:
    estimate = shop.estimate(diagnosed, "repair")
    row = {**yes(), **wrong}
    toml = ", ".join(f"{key} = {value!r}".replace("'", '"') for key, value in row.items())
    said = [
        refusal(
            lambda: shop.approve(
                estimate,
                by=row["by"],
                how=row["how"],
                total=Money.of(Decimal(row["total"]), "EUR"),
                declined=row.get("declined", ()),
            )
        ),
        refusal(lambda: by_screen(shop, approved=row)),
        refusal(lambda: by_file(shop, file, f"\n[[step]]\napproved = {{ {toml} }}\n")),
    ]
    assert [words in text for text in said] == [True] * 3, said
    assert len({text[text.index(words) :] for text in said}) == 1
    assert len(standing(shop)) == 1, "the diagnosis alone"


def test_after_the_invoice_of_the_diagnosis_the_repair_is_approved_whoever_takes_it_down(
    shop: Shop, file: Path, diagnosed: str
) -> None:
    estimate = shop.estimate(diagnosed, "repair")
    shop.issue(diagnosed)
    diagnosis = ("diagnosis 1", "in person", [])
    shop.approve(estimate, by="customer", how="by phone")
    assert standing(shop) == [diagnosis, ("repair 1", "by phone", [])]
    by_file(shop, file, AGREED)
    assert standing(shop) == [diagnosis, ("repair 1", "in person", [])]
    by_screen(shop, approved=yes(how="by message"))
    assert standing(shop) == [diagnosis, ("repair 1", "by message", [])]
    assert shop.store.verify() == []


def test_of_one_estimate_one_approval_stands_whoever_took_it_down(
    shop: Shop, file: Path, diagnosed: str
) -> None:
    estimate = shop.estimate(diagnosed, "repair")
    diagnosis = ("diagnosis 1", "in person", [])
    shop.approve(estimate, by="customer", how="by phone")
    assert standing(shop) == [diagnosis, ("repair 1", "by phone", [])]
    by_file(shop, file, AGREED)
    assert standing(shop) == [diagnosis, ("repair 1", "in person", [])]
    by_screen(shop, approved=yes(how="by message"))
    assert standing(shop) == [diagnosis, ("repair 1", "by message", [])]
    shop.approve(estimate, by="customer", how="by phone", declined=["battery.charge"])
    assert standing(shop) == [diagnosis, ("repair 1", "by phone", ["battery.charge"])]
    assert shop.store.verify() == []


def test_a_file_that_says_nothing_new_leaves_what_was_approved_later_elsewhere(
    shop: Shop, file: Path, diagnosed: str
) -> None:
    estimate = shop.estimate(diagnosed, "repair")
    by_file(shop, file, AGREED)
    shop.approve(estimate, by="customer", how="by phone", declined=["battery.charge"])
    before = len(shop.store.journal(diagnosed))
    by_file(shop, file, AGREED)
    assert len(shop.store.journal(diagnosed)) == before
    assert standing(shop)[1:] == [("repair 1", "by phone", ["battery.charge"])]
    by_file(shop, file, AGREED.replace('"in person"', '"with a signature"'))
    assert standing(shop)[1:] == [("repair 1", "with a signature", [])]
    assert shop.store.verify() == []


def test_a_file_that_says_the_same_approval_keeps_what_was_signed(
    shop: Shop, file: Path, diagnosed: str
) -> None:
    shop.estimate(diagnosed, "repair")
    estimate = estimate_named(shop.context, job_named(shop.context, diagnosed), "repair 1")
    shop.approve(estimate, by="customer", how="in person", words="Yes, do it.")
    by_file(shop, file, AGREED)
    job = shop.store.job(diagnosed)
    (approval,) = [noted.record for noted in job.all(Approved) if noted.record.estimate == "repair 1"]
    assert texts_of(shop.context, job)[getattr(approval.said, "hash", "")] == "Yes, do it."
    before = len(job.entries)
    by_file(shop, file, AGREED)
    assert len(shop.store.journal(diagnosed)) == before
