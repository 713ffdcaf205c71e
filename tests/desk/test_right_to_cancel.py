"""The right to cancel a contract made at the customer's home: asked, recorded and printed where the data of
the place says so; the words on it are the shop's.

What is asked is by Directive 2011/83/EU: art. 7(3), an express request to begin within the period; art. 9(1),
14 days; art. 16(a) and (h), the work done in full and the urgent repair that the visit was asked for; art.
2(1), who is a consumer.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from corekit.cli import main
from corekit.desk.errors import DeskError
from corekit.desk.rows import add_rows
from corekit.desk.settings import SHOP_FILE
from corekit.desk.shop import Shop
from corekit.fault import DataFileError
from corekit.jurisdictions import jurisdictions, read_jurisdiction
from corekit.model.cancellation import CancellationAnswer
from corekit.model.document import Document, Paragraph
from corekit.report.page import render_page
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import mask, resolver
from corekit.report.terminal import render_text

from .test_changes import DONE, SUPPLIED, WORDS, shop_in

NO_WORDS = 'write statements.cancellation = "…" in shop.toml'


def without_words(folder: Path) -> None:
    path = folder / "shop" / SHOP_FILE
    path.write_text(path.read_text("utf-8").removeprefix(SUPPLIED), "utf-8")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with shop_in(tmp_path, jurisdiction="EU") as shop:
        yield shop


def begun(shop: Shop) -> str:
    return shop.import_visit(shop.context.folder.parent / "visit.toml")


def text_of(document: Document) -> str:
    return " ".join(render_text(document, resolver({}), None, width=100).split())


def test_the_union_s_directive_gives_fourteen_days_and_each_of_its_answers() -> None:
    for code in ("EU", "DE", "GB"):
        rule = jurisdictions()[code].cancellation
        assert rule is not None and rule.days == 14
        assert set(rule.answers) == set(CancellationAnswer)
        assert rule.origin.source and rule.origin.date and rule.origin.address
    assert jurisdictions()["US-CA"].cancellation is None


def test_without_the_shop_s_words_no_estimate_is_made_and_no_approval_taken(tmp_path: Path) -> None:
    shop_in(tmp_path, jurisdiction="EU").close()
    without_words(tmp_path)
    with Shop(tmp_path / "shop") as shop:
        job = begun(shop)
        with pytest.raises(DeskError, match=r"The estimate .EU. lacks what it must carry") as refused:
            shop.estimate(job, "repair")
        assert NO_WORDS in str(refused.value) and "Directive 2011/83/EU" in str(refused.value)
        assert shop.store.job(job).estimates == ()


def test_the_estimate_carries_the_shop_s_very_words_and_a_line_for_each_answer(shop: Shop) -> None:
    document = shop.estimate(begun(shop), "repair").document
    text = text_of(document)
    assert text.count(WORDS) == 1, "they stand once, not among the small print as well"
    assert text.count("[ ] ") == 5, "four answers beside the one piece of work"
    for said in ("because of an urgent repair", "before the time for cancelling is over", "trade, business"):
        assert said in text
    assert sum(isinstance(one, Paragraph) and one.tone == "choice" for one in document.blocks) == 4
    assert text.index(WORDS) < text.index("____")
    assert WORDS in render_page(document, mask, None)
    assert render_pdf(document, resolver({}), None).startswith(b"%PDF-")


@pytest.mark.parametrize("answer", ["", "maybe", "Urgent repair"])
def test_an_approval_that_does_not_say_what_holds_is_refused(shop: Shop, answer: str) -> None:
    job = begun(shop)
    estimate = shop.estimate(job, "repair")
    with pytest.raises(
        DeskError, match="what the customer says on cancelling 'repair 1' within 14 days"
    ) as no:
        shop.approve(estimate, by="customer", how="in person", cancellation=answer)
    assert '"urgent repair", "begin at once", "begin later" or "for a business"' in str(no.value)
    assert shop.store.job(job).approvals == ()


def test_where_no_law_asks_only_an_answer_of_the_list_is_kept(tmp_path: Path) -> None:
    with shop_in(tmp_path, jurisdiction="US-CA") as shop:
        job = begun(shop)
        estimate = shop.estimate(job, "repair")
        with pytest.raises(DeskError, match=r"as N\. N\. told me. would stand in the record") as no:
            shop.approve(estimate, by="customer", how="in person", cancellation="as N. N. told me")
        assert "Write one of urgent repair, begin at once" in str(no.value)
        assert shop.store.job(job).approvals == ()
        shop.approve(estimate, by="customer", how="in person", cancellation="urgent repair")


def test_all_that_is_missing_is_said_at_once(shop: Shop) -> None:
    job = begun(shop)
    estimate = shop.estimate(job, "repair")
    without_words(shop.context.folder.parent)
    with Shop(shop.context.folder) as again, pytest.raises(DeskError) as refused:
        again.approve(estimate, by="customer", how="in person")
    assert NO_WORDS in str(refused.value) and "within 14 days" in str(refused.value)


@pytest.mark.parametrize(
    ("answer", "printed"),
    [
        ("urgent repair", "the visit was asked for because of an urgent repair"),
        ("begin at once", "the work was to begin before the time for cancelling was over"),
        ("begin later", "the work was to begin once the time for cancelling was over"),
        ("for a business", "the work is for a business"),
    ],
)
def test_what_was_said_is_kept_with_the_approval_and_printed_on_the_invoice(
    shop: Shop, answer: str, printed: str
) -> None:
    job = begun(shop)
    add_rows(
        shop.context,
        job,
        {"customer": {"name": "N", "address": "A", "tax_number": "X1"}},
        request_id="a-request-of-a-test-1",
    )
    shop.approve(shop.estimate(job, "repair"), by="customer", how="in person", cancellation=answer)
    assert [noted.record.cancellation for noted in shop.store.job(job).approvals] == [answer]
    add_rows(
        shop.context,
        job,
        {"step": [{"repaired": {"operation": "battery.charge"}}]},
        request_id="a-request-of-a-test-2",
    )
    text = text_of(shop.issue(job).document)
    assert f"Right to cancel {printed}" in text
    assert WORDS not in text, "an invoice comes after the contract"
    assert shop.verify().faults == ()


def test_a_file_says_it_too_and_one_that_says_something_else_is_told_all_answers(shop: Shop) -> None:
    path = shop.context.folder.parent / "visit.toml"
    job = begun(shop)
    total = shop.estimate(job, "repair").total
    begun_with = path.read_text("utf-8")
    row = (
        f'\n[[step]]\napproved = {{ estimate = "repair 1", total = "{total}", by = "customer",'
        ' how = "in person", cancellation = "%s" }\n'
    )
    path.write_text(begun_with + row % "soon", "utf-8")
    with pytest.raises(DataFileError, match=r'"soon" is not an answer.*"begin at once"'):
        shop.import_visit(path)
    path.write_text(begun_with + row % "begin at once", "utf-8")
    shop.import_visit(path)
    shop.import_visit(path)
    assert [noted.record.cancellation for noted in shop.store.job(job).approvals] == ["begin at once"]
    path.write_text(begun_with + row % "begin at once" + DONE, "utf-8")
    shop.import_visit(path)


def test_the_command_asks_for_it(shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    job = begun(shop)
    total = str(shop.estimate(job, "repair").total)
    words = ["approve", "visit", "--total", total, "--how", "in person", "--shop", str(shop.context.folder)]
    assert main(words) == 1
    assert "--cancellation" in capsys.readouterr().err
    assert main([*words, "--cancellation", "begin later"]) == 0
    assert shop.store.job(job).approvals[0].record.cancellation == "begin later"


def test_who_declines_everything_is_asked_nothing(shop: Shop) -> None:
    job = begun(shop)
    shop.approve(shop.estimate(job, "repair"), by="customer", how="by phone", declined=["battery.charge"])
    assert len(shop.store.job(job).approvals) == 1


def test_an_estimate_of_before_the_words_is_made_anew_and_what_was_approved_on_it_is_left_alone(
    tmp_path: Path,
) -> None:
    with shop_in(tmp_path) as before:
        waiting = before.estimate(begun(before), "repair")
        visit = tmp_path / "visit.toml"
        visit.with_name("old.toml").write_text(visit.read_text("utf-8").replace('"visit"', '"old"'), "utf-8")
        old = before.import_visit(visit.with_name("old.toml"))
        before.approve(before.estimate(old, "repair"), by="customer", how="in person")
    path = tmp_path / "shop" / SHOP_FILE
    path.write_text(path.read_text("utf-8").replace('jurisdiction = ""', 'jurisdiction = "EU"'), "utf-8")
    path.write_text(SUPPLIED + path.read_text("utf-8"), "utf-8")
    with Shop(tmp_path / "shop") as shop:
        with pytest.raises(DeskError, match="which is older: make a new one"):
            shop.approve(waiting, by="customer", how="in person", cancellation="begin at once")
        again = shop.estimate(waiting.job, "repair")
        assert (again.name, again.total) == ("repair 2", waiting.total)
        shop.approve(again, by="customer", how="in person", cancellation="begin at once")
        done = {"step": [{"repaired": {"operation": "battery.charge"}}]}
        add_rows(shop.context, old, done, request_id="a-request-of-a-test-1")
        assert shop.issue(old).number, "nobody can be asked afterwards"


@pytest.mark.parametrize(("days", "fits"), [(0, False), (1, True), (100, True), (101, False)])
def test_days_and_answers_of_a_file_are_looked_at(tmp_path: Path, days: int, fits: bool) -> None:
    path = tmp_path / "XX.toml"
    origin = 'source = "s"\ndate = "2026-11-29"\nbasis = "law"\nstatus = "read"\n'
    rule = f'[cancellation]\ndays = {days}\nstatement = "c"\nanswers = ["begin later"]\n{origin}'
    path.write_text(f'code = "XX"\n{rule}', "utf-8")
    if fits:
        found = read_jurisdiction(path).cancellation
        assert found is not None and found.days == days
    else:
        with pytest.raises(DataFileError, match="no time to cancel"):
            read_jurisdiction(path)
    path.write_text(f'code = "XX"\n{rule}'.replace('["begin later"]', '["later"]'), "utf-8")
    with pytest.raises(DataFileError, match="begin later"):
        read_jurisdiction(path)
    path.write_text(f'code = "XX"\n{rule}'.replace('["begin later"]', "[]"), "utf-8")
    with pytest.raises(DataFileError, match="answers"):
        read_jurisdiction(path)


def test_what_is_to_be_ticked_is_in_the_language_of_the_paper(tmp_path: Path) -> None:
    shop_in(tmp_path, jurisdiction="DE").close()
    path = tmp_path / "shop" / SHOP_FILE
    path.write_text(f'language = "de"\n{path.read_text("utf-8")}', "utf-8")
    with Shop(tmp_path / "shop") as shop:
        document = shop.estimate(begun(shop), "repair").document
        assert document.language == "de"
        choices = [one for one in document.blocks if isinstance(one, Paragraph) and one.tone == "choice"]
        assert "wegen einer dringenden Reparatur" in str(choices[0].words)
