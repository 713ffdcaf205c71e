"""A page taken down stays down; a restored copy goes on under a name of its own; a draft can be read in the
terminal.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.cli import main
from corekit.desk.shop import Shop

from ..visits.files import visit_file


def test_a_page_that_was_taken_down_is_never_published_again(
    demo_copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Shop(demo_copy) as shop:
        number = shop.issue(shop.store.jobs()[0]).number
    assert main(["withdraw", number, "--shop", str(demo_copy), "--yes"]) == 0
    assert main(["publish", "--shop", str(demo_copy)]) == 0
    assert "Nothing is outstanding" in capsys.readouterr().out
    assert main(["invoice", "worn-battery", "--shop", str(demo_copy)]) == 0
    said = capsys.readouterr().out
    assert "Its page: taken down." in said
    assert "corekit publish" not in said
    with Shop(demo_copy) as shop:
        assert [link.document_id for link in shop.store.links() if link.revoked] == [
            shop.issue(shop.store.jobs()[0]).document.id
        ]
        assert shop.store.verify() == []


def test_without_a_yes_no_page_is_taken_down(
    demo_copy: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("builtins.input", lambda _: "")
    with Shop(demo_copy) as shop:
        number = shop.issue(shop.store.jobs()[0]).number
    assert main(["withdraw", number, "--shop", str(demo_copy)]) == 1
    assert "Nothing was taken down" in capsys.readouterr().out
    with Shop(demo_copy) as shop:
        assert not any(link.revoked for link in shop.store.links())


def test_a_restored_copy_goes_on_in_a_chain_of_its_own_and_verifies(demo_copy: Path) -> None:
    with Shop(demo_copy) as shop:
        old = shop.store.lineage
    assert main(["restored", "--shop", str(demo_copy)]) == 0
    with Shop(demo_copy) as shop:
        assert shop.store.lineage != old
        shop.estimate(shop.store.jobs()[2], "diagnosis")
        assert shop.store.verify() == []


def test_a_draft_is_read_in_the_terminal(demo_out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    visit = visit_file("undecided")
    assert main(["invoice", str(visit), "--draft", "--shop", str(demo_out), "--text"]) == 0
    said = capsys.readouterr().out
    assert "DRAFT" in said
    assert "9.45 V ± 0.11 V" in said
    assert max(map(len, said.splitlines())) <= 96
