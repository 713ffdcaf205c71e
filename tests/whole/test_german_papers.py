"""The demo's jobs in a German shop: every paper of the battery's, the EGR's and the ignition's work is in
German as a whole, evidence and figures included.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from corekit.desk.demo import run_demo
from corekit.desk.shop import Shop
from corekit.model.document import Document
from corekit.model.document import from_data as document_of
from corekit.model.figure import Figure
from corekit.model.records import InvoiceIssued
from corekit.report.page import render_page
from corekit.report.pdf import check_glyphs
from corekit.report.personal_text import mask
from corekit.report.terminal import render_text
from corekit.report.wording import words_in

ROOT = Path(__file__).parents[2]
JOBS = ("1-worn-battery", "2-too-little-egr", "3-high-speed")
#: Words that no German sentence has; what shop, customer and mechanic said themselves is taken out before.
ENGLISH = (" the ", " and ", " of ", " is ", " are ", " with ", " it ", " not ", " was ", " to ", " read ")


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> list[Document]:
    source, out = tmp_path_factory.mktemp("demo"), tmp_path_factory.mktemp("out") / "shop"
    shutil.copytree(ROOT / "demo/shop", source / "shop")
    (source / "jobs").mkdir()
    for job in JOBS:
        shutil.copy(ROOT / f"demo/jobs/{job}.toml", source / "jobs")
    path = source / "shop/shop.toml"
    path.write_text(
        path.read_text("utf-8").replace("guarantee = ", 'language = "de"\nguarantee = ', 1), "utf-8"
    )
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("corekit.desk.demo.data_path", lambda name: source)
        said = "\n".join(run_demo(out))
    numbers = re.findall(r"invoice (\S+), due", said)
    with Shop(out) as shop:
        records = [InvoiceIssued(**shop.context.store.invoice(number).body) for number in numbers]
        return [document_of(record.document) for record in records]


def test_every_paper_is_in_german(papers: list[Document]) -> None:
    assert len(papers) == len(JOBS)
    assert [paper.title for paper in papers if paper.language != "de"] == []


def own_words(paper: Document) -> tuple[str, ...]:
    return (
        "12 months on parts and work, beside your rights by law.",
        "a glove-box lamp that stayed on",
        "a passage choked with carbon, not the sensor",
        "worn spark plugs, not the coil",
    )


def test_no_word_of_english_is_left(papers: list[Document]) -> None:
    for paper in papers:
        text = render_text(paper, mask, None, width=4000)
        figures = [
            block.figure for block in paper.blocks if isinstance(getattr(block, "figure", None), Figure)
        ]
        text += " ".join(f"{figure.title} {figure.description}" for figure in figures)
        text = f" {' '.join(text.casefold().split())} "
        for words in own_words(paper):
            text = text.replace(words.casefold(), "")
        assert [word for word in ENGLISH if word in text] == [], paper.title


def test_page_and_paper_can_be_drawn(papers: list[Document]) -> None:
    for paper in papers:
        assert 'lang="de"' in render_page(paper, mask, None)
        with words_in("de"):
            check_glyphs(paper)
