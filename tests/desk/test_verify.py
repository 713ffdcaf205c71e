"""The record mark on a paper, held against the store it was printed from."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from corekit.cli import main
from corekit.desk.settings import STORE_FILE
from corekit.desk.shop import Shop
from corekit.model.document import Code
from corekit.model.mark import mark_of_heads

from ..rewriting import in_texts, rewrite


def mark_of(shop: Path, number: int) -> str:
    with Shop(shop) as opened:
        record = opened.issue(opened.store.jobs()[number])
        return next(block.record_mark for block in record.document.blocks if isinstance(block, Code))


def test_the_mark_on_a_paper_finds_its_invoice(demo_copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["verify", "--shop", str(demo_copy), "--mark", mark_of(demo_copy, 0).lower().replace("-", " ")])
        == 0
    )
    assert "everything it was printed from is here, unchanged" in capsys.readouterr().out


def test_a_mark_that_no_invoice_has_is_a_fault(demo_copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", "--shop", str(demo_copy), "--mark", "0000-0000-0000-0000"]) == 1
    assert "no invoice, credit note or receipt in this store has it" in capsys.readouterr().out


def test_an_end_that_was_cut_off_shows_against_the_paper(
    demo_copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The last invoice's own entries are removed from the books and the job, as an older copy of the file
    would lack them.
    """
    mark = mark_of(demo_copy, -1)
    with sqlite3.connect(demo_copy / STORE_FILE) as raw:
        raw.execute(
            "DELETE FROM entry WHERE kind = 'invoice' AND rowid = (SELECT max(rowid) FROM entry WHERE kind ="
            " 'invoice')"
        )
    assert main(["verify", "--shop", str(demo_copy), "--mark", mark]) == 1
    assert "no invoice, credit note or receipt in this store has it" in capsys.readouterr().out


def test_a_record_that_was_rewritten_verifies_by_itself_and_not_against_the_paper(
    demo_copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The dishonest shop rebuilds every chain with the product's own modules; only the paper's mark shows
    it.
    """
    mark = mark_of(demo_copy, 0)
    rewrite(demo_copy / STORE_FILE, in_texts("10.3 V", "11.3 V"))
    assert main(["verify", "--shop", str(demo_copy)]) == 0
    capsys.readouterr()
    assert main(["verify", "--shop", str(demo_copy), "--mark", mark]) == 1
    assert "rewritten after it was issued" in capsys.readouterr().out


def test_of_a_mark_that_nothing_states_any_more_rewriting_is_among_the_causes(
    demo_copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mark = mark_of(demo_copy, 0)
    rewrite(demo_copy / STORE_FILE, in_texts(mark, "0000-0000-0000-0000"))
    rewrite(demo_copy / STORE_FILE, in_texts("10.3 V", "11.3 V"))
    assert main(["verify", "--shop", str(demo_copy), "--mark", mark]) == 1
    assert "the record was rewritten" in capsys.readouterr().out


def test_a_paper_of_before_keeps_its_mark_over_the_heads(
    demo_copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Documents that were issued before marks were over their content state none in the Document itself."""

    def as_before(kind: str, body: dict[str, Any]) -> dict[str, Any]:
        if kind == "invoice":
            text = json.dumps(body["document"])
            was = json.loads(text.replace(body["document"]["mark"], mark_of_heads(body["heads"])))
            body["document"] = {key: was[key] for key in was if key not in ("mark", "rests_on")}
        return body

    rewrite(demo_copy / STORE_FILE, as_before)
    assert main(["verify", "--shop", str(demo_copy), "--mark", mark_of(demo_copy, 0)]) == 0
    assert "everything it was printed from is here, unchanged" in capsys.readouterr().out
