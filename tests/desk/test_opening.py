"""A paper that somebody brings, held against the content it carries."""

from __future__ import annotations

import json
from pathlib import Path

import pypdf
import pytest

from corekit.cli import main
from corekit.desk.opening import open_paper
from corekit.model.canonical import canonical
from corekit.model.document import Document, from_data, to_data
from corekit.report import pdf as pdf_module
from corekit.report.pdf import ATTACHMENT, render_pdf
from corekit.share.attachment import PaperFileError


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
