"""A paper that somebody brings, held against the content it carries."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pypdf
import pytest

from corekit.cli import main
from corekit.desk.bringing import bring
from corekit.desk.brought import brought_document
from corekit.desk.errors import DeskError
from corekit.desk.opening import open_paper
from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.errors import InputError
from corekit.model.canonical import canonical
from corekit.model.document import Document, from_data, to_data
from corekit.model.records import Brought
from corekit.reference import data_path
from corekit.report import pdf as pdf_module
from corekit.report.pdf import ATTACHMENT, render_pdf
from corekit.share.attachment import PaperFileError
from corekit.visit.history import record_of


@pytest.fixture(scope="session")
def papers(demo_out: Path) -> list[Path]:
    return sorted((demo_out / "papers").glob("invoice-*.pdf"))


def test_every_invoice_carries_the_masked_document_and_prints_what_it_carries(papers: list[Path]) -> None:
    assert papers
    for path in papers:
        (data,) = pypdf.PdfReader(path).attachments[ATTACHMENT]
        assert json.loads(data)["mark"] in pypdf.PdfReader(path).pages[0].extract_text()
        assert b"Example Customer" not in data
        opened = open_paper(path)
        assert opened.differences == ()
        assert opened.states_its_mark


def forged(monkeypatch: pytest.MonkeyPatch, path: Path, old: str, new: str, out: Path) -> Document:
    """A paper whose sheets were drawn from other text than it carries."""
    (data,) = pypdf.PdfReader(path).attachments[ATTACHMENT]
    genuine = from_data(json.loads(data))
    changed = from_data(json.loads(json.dumps(json.loads(data)).replace(old, new)))
    assert changed != genuine
    monkeypatch.setattr(pdf_module, "to_data", lambda _: to_data(genuine))
    out.write_bytes(render_pdf(changed, lambda reference: f"Example {reference.kind} 12", None))
    monkeypatch.undo()
    return genuine


@pytest.mark.parametrize(
    ("old", "new"),
    [("10.30", "11.30"), ("2026-A0001", "2026-A0009"), ("366.60", "466.60")],
)
def test_each_figure_that_is_printed_otherwise_is_named(
    papers: list[Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    old: str,
    new: str,
) -> None:
    out = tmp_path / "forged.pdf"
    forged(monkeypatch, papers[0], old, new, out)
    found = open_paper(out).differences
    was, is_now = old.split(maxsplit=1)[0], new.split(maxsplit=1)[0]
    assert any(is_now in one.printed and was in one.carried for one in found)
    assert main(["open", str(out)]) == 1
    said = capsys.readouterr().out
    assert is_now in said
    assert "one of them was altered" in said


def test_content_that_was_changed_no_longer_leads_to_the_mark_it_states(
    papers: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (data,) = pypdf.PdfReader(papers[0]).attachments[ATTACHMENT]
    changed = from_data(json.loads(json.dumps(json.loads(data)).replace("10.30", "11.30")))
    out = tmp_path / "changed.pdf"
    out.write_bytes(render_pdf(changed, lambda reference: reference.kind, None))
    assert main(["open", str(out)]) == 1
    assert "its content was altered after it was issued" in capsys.readouterr().out


def test_a_paper_without_content_and_a_file_that_is_none_are_said_so(tmp_path: Path) -> None:
    bare = pypdf.PdfWriter()
    bare.add_blank_page(100, 100)
    bare.write(tmp_path / "bare.pdf")
    (tmp_path / "none.pdf").write_bytes(b"no pdf")
    with pytest.raises(PaperFileError, match="carries no content"):
        open_paper(tmp_path / "bare.pdf")
    with pytest.raises(PaperFileError, match="no PDF that can be read"):
        open_paper(tmp_path / "none.pdf")
    with pytest.raises(PaperFileError, match="cannot be read"):
        open_paper(tmp_path / "missing.pdf")
    hostile = pypdf.PdfWriter()
    hostile.add_blank_page(100, 100)
    hostile.add_attachment(ATTACHMENT, canonical({"id": "x"}))
    hostile.write(tmp_path / "hostile.pdf")
    with pytest.raises(PaperFileError, match="no document of corekit"):
        open_paper(tmp_path / "hostile.pdf")


def test_the_paper_drawn_anew_says_the_same_without_names(papers: list[Path], tmp_path: Path) -> None:
    out = tmp_path / "anew.pdf"
    assert main(["open", str(papers[0]), "--out", str(out)]) == 0
    text = pypdf.PdfReader(out).pages[0].extract_text()
    assert "on the original" in " ".join(text.split())
    assert open_paper(out).differences == ()


# Taken in elsewhere


def elsewhere(folder: Path) -> Path:
    """A shop of another name, with a job in it."""
    folder.mkdir()
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    create_shop(folder, demo=True)
    with Shop(folder) as shop:
        visit = {"job": "van", "reason": "Does not crank.", "vehicle": {"plate": "DEMO-9"}}
        (folder / "van.json").write_text(json.dumps(visit), "utf-8")
        shop.import_visit(folder / "van.json")
    return folder


def test_a_paper_is_taken_in_elsewhere_as_an_earlier_visit_with_its_origin(
    papers: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = elsewhere(tmp_path / "other")
    for _ in range(2):
        assert main(["open", str(papers[0]), "--into", "van", "--shop", str(folder)]) == 0
    assert "Invoice 2026-A0001 of Example Driveway Repairs" in capsys.readouterr().out
    with Shop(folder) as shop:
        job = shop.store.job(shop.store.find("van"))
        (noted,) = job.all(Brought)  # a second time adds nothing
        document = brought_document(noted.record)
        assert document == open_paper(papers[0]).document
        assert noted.record.mark == document.mark
        assert shop.assess("van").findings == ()
        assert shop.verify().faults == ()
        (row,) = [row for row in record_of(job, shop.context.plugins, {}) if "elsewhere" in row.title]
        assert row.withdrawable
    assert main(["check", "van", "--shop", str(folder)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Earlier, elsewhere (nothing here is judged by it)" in said
    assert document.mark in said
    assert "Voltage under load" in said
    assert "8.40 V" in said and "10.30 V" in said
    for personal in ("Example Customer", "DEMO-1"):
        assert personal.encode() not in (folder / "journal.sqlite").read_bytes()


def test_a_paper_that_was_altered_or_is_the_shops_own_is_not_taken_in(
    papers: list[Path], demo_copy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = elsewhere(tmp_path / "other")
    out = tmp_path / "forged.pdf"
    forged(monkeypatch, papers[0], "10.30", "11.30", out)
    with Shop(folder) as shop:
        with pytest.raises(InputError, match="one of them was altered"):
            bring(shop.context, "van", out)
        assert shop.store.job(shop.store.find("van")).all(Brought) == ()
    with Shop(demo_copy) as shop, pytest.raises(DeskError, match="shop's own"):
        bring(shop.context, shop.store.jobs()[0], papers[0])


def test_a_demos_paper_is_not_taken_into_a_real_shop(papers: list[Path], tmp_path: Path) -> None:
    folder = elsewhere(tmp_path / "demo")
    real = tmp_path / "real"
    real.mkdir()
    for name in ("shop.toml", "prices.toml"):
        text = (folder / name).read_text("utf-8").replace("http://127.0.0.1:8741", "")
        (real / name).write_text(text, "utf-8")
    create_shop(real, demo=False)
    with Shop(real) as shop:
        job = shop.import_visit(folder / "van.json")
        with pytest.raises(InputError, match="a demo's"):
            bring(shop.context, job, papers[0])
