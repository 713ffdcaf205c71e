"""Links of an invoice: several, each with its own end, each taken down alone; published when fetched back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import attrs
import pytest

from corekit.cli import main
from corekit.desk.errors import DeskError
from corekit.desk.publishing import add_link, links_of, revoke
from corekit.desk.settings import PUBLISHED
from corekit.desk.shop import Shop
from corekit.share.link import token_hash
from corekit.share.published import PublishedFolder, seal_envelope
from corekit.share.reader import NotOpenError, fetch_back, page_problem
from corekit.share.reader import asked as ASKED
from corekit.web.page_app import page_app
from corekit.web.pages import page_server
from corekit.web.server import running


@pytest.fixture
def shop(demo_copy: Path) -> Iterator[Shop]:
    with Shop(demo_copy) as opened:
        yield opened


def number_of(shop: Shop) -> str:
    return str(next(entry for entry in shop.store.books() if entry.kind == "invoice").body["number"])


def opens(shop: Shop, address: str, later: timedelta = timedelta()) -> bool:
    folder = PublishedFolder(shop.context.folder / PUBLISHED)
    app = page_app(folder, bearer=None, demo=True, now=lambda: datetime.now(UTC) + later)
    return bool(
        app.test_client().post("/v/open", data={"code": address.partition("#")[2]}).status_code == 200
    )


def test_another_link_opens_the_same_page_until_its_end_and_goes_alone(shop: Shop) -> None:
    number = number_of(shop)
    first = links_of(shop.context, number)[0][1]
    short = add_link(shop.context, number, days=30)
    assert short != first
    assert opens(shop, short) and opens(shop, short, timedelta(days=29))
    assert not opens(shop, short, timedelta(days=31))
    assert opens(shop, first, timedelta(days=31))
    revoke(shop.context, number, 2)
    assert not opens(shop, short)
    assert opens(shop, first)
    assert shop.publish() == [], "what was taken down never comes back"
    assert [known.link for known, _ in links_of(shop.context, number)] == [1, 2]
    again = add_link(shop.context, number)
    assert again not in (first, short), "a link number is never given out again"


@pytest.mark.parametrize("days", [-1, 3661])
def test_a_link_that_lasts_too_long_or_not_at_all_is_refused(shop: Shop, days: int) -> None:
    with pytest.raises(DeskError, match="lasts from 1 to 3660 days"):
        add_link(shop.context, number_of(shop), days=days)
    assert len(links_of(shop.context, number_of(shop))) == 1


def test_the_verb_lists_makes_and_takes_down(demo_copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Shop(demo_copy) as shop:
        number = number_of(shop)
    assert main(["links", number, "--shop", str(demo_copy), "--new", "--days", "7"]) == 0
    said = capsys.readouterr().out
    assert "2: http" in said and ", until " in said
    assert main(["links", number, "--shop", str(demo_copy), "--revoke", "2"]) == 0
    assert "taken down" in capsys.readouterr().out
    assert main(["links", number, "--shop", str(demo_copy), "--revoke", "9"]) == 1


def test_a_page_is_published_when_a_reader_with_the_code_gets_it(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("corekit.share.reader.asked", ASKED)
    entry = next(entry for entry in shop.store.books() if entry.kind == "invoice")
    document = shop.issue(entry.job).document
    code = links_of(shop.context, number_of(shop))[0][1].partition("#")[2]
    now, folder = datetime.now(UTC), PublishedFolder(tmp_path / "elsewhere")
    other = attrs.evolve(document, total="1.00")
    with running(page_server(page_app(folder, bearer=None, demo=True), port=0)) as server:
        address = f"http://127.0.0.1:{server.bind_addr[1]}"
        assert page_problem(address) == ""
        with pytest.raises(NotOpenError, match="does not open Invoice") as refused:
            fetch_back(address, code, document)
        assert refused.value.later
        folder.put(token_hash(code), seal_envelope(document, published=now))
        fetch_back(address, code, document)
        with pytest.raises(NotOpenError, match="something else"):
            fetch_back(address, code, other)
        folder.withdraw(token_hash(code))
        with pytest.raises(NotOpenError, match="404"):
            fetch_back(address, code, document)
    with pytest.raises(NotOpenError, match="does not open"):
        fetch_back(address, code, document)
    assert "cannot be reached from here" in page_problem(address)
