"""Papers as a screen reader has them: every word in an element or in a page's head, elements in the order of
reading. What is checked is in ISO 32000-1, 14.6 (marked content), 14.7 (structure) and 14.8 (tagged PDF).
"""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pypdf
import pytest
from pypdf.generic import ContentStream

from corekit.model.document import Document
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import mask

from .account_papers import PAPERS

LINK = "https://readings.example.org/v#" + "A" * 26


@pytest.fixture(params=PAPERS)
def paper(request: pytest.FixtureRequest) -> pypdf.PdfReader:
    made: Callable[[], Document] = PAPERS[request.param]
    return pypdf.PdfReader(io.BytesIO(render_pdf(made(), mask, LINK)))


def marked(reader: pypdf.PdfReader, page: Any) -> tuple[list[int], list[str]]:
    """The numbers of the page's elements as they come, and where words or lines stand in none of them."""
    numbers, open_, strays = [], list[Any](), []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        if operator in (b"BDC", b"BMC"):
            assert not open_, "elements do not stand in each other"
            open_.append(operands)
            if operands[0] != "/Artifact":
                numbers.append(int(operands[1]["/MCID"]))
        elif operator == b"EMC":
            open_.pop()
        elif operator in (b"Tj", b"S", b"f") and not open_:
            strays.append(operator.decode())
        elif operator == b"Tj":
            is_head = open_[-1][0] == "/Artifact" and len(open_[-1]) > 1
            assert is_head or open_[-1][0] != "/Artifact", "words are no decoration"
    assert open_ == []
    return numbers, strays


def test_every_word_is_in_an_element_or_in_the_head_of_a_page_and_nothing_else_is(
    paper: pypdf.PdfReader,
) -> None:
    assert paper.trailer["/Root"]["/MarkInfo"]["/Marked"]
    for page in paper.pages:
        numbers, strays = marked(paper, page)
        assert strays == []
        assert numbers == list(range(len(numbers))), "they are read in the order in which they are drawn"


def test_the_tree_leads_to_every_element_in_the_order_of_the_sheets_and_back(paper: pypdf.PdfReader) -> None:
    root = paper.trailer["/Root"]["/StructTreeRoot"]
    whole = root["/K"]
    elements = [one.get_object() for one in whole["/K"]]
    assert whole["/S"] == "/Document"
    found = [(one["/Pg"].get_object(), one["/K"]) for one in elements]
    wanted = [(page, number) for page in paper.pages for number in marked(paper, page)[0]]
    assert [number for _, number in found] == [number for _, number in wanted]
    assert all(one is not None and one == other for (one, _), (other, _) in zip(found, wanted, strict=True))
    parents = root["/ParentTree"]["/Nums"]
    assert [parents[nth] for nth in range(0, len(parents), 2)] == [
        page["/StructParents"] for page in paper.pages
    ]
    back = [one.get_object() for nth in range(1, len(parents), 2) for one in parents[nth]]
    assert back == elements


def test_headings_are_headings_and_the_rest_are_paragraphs(paper: pypdf.PdfReader) -> None:
    kinds = [one.get_object()["/S"] for one in paper.trailer["/Root"]["/StructTreeRoot"]["/K"]["/K"]]
    assert set(kinds) <= {"/P", "/H1", "/H2", "/H3"}
    assert kinds.count("/P") > 5
    assert any(kind.startswith("/H") for kind in kinds)
