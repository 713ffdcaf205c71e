"""Every operation of the installed systems stands in the price book of a new shop, without a price."""

from __future__ import annotations

from pathlib import Path

from corekit.cli import main
from corekit.desk.settings import PRICE_FILE, read_prices
from corekit.desk.setup import note_operations
from corekit.plugin.host import load

SAID = ("--name", "A Shop", "--address", "1 Lane", "--currency", "EUR")


def test_a_new_shop_finds_every_operation_in_its_price_book_and_none_of_them_has_a_price(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "shop"
    assert main(["init", str(folder), *SAID]) == 0
    text = (folder / PRICE_FILE).read_text("utf-8")
    operations = load().operations
    assert len(operations) > 20
    for operation in operations.values():
        assert text.count(f'# [operations."{operation.key}"]') == 1
        assert operation.title in text
    assert not read_prices(folder).operations


def test_a_block_that_is_filled_in_is_a_price(tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    main(["init", str(folder), *SAID])
    path = folder / PRICE_FILE
    block = '# [operations."battery.trace_draw"]\n# hours = ""'
    filled = '[operations."battery.trace_draw"]\nhours = "0.8"'
    assert block in path.read_text("utf-8")
    path.write_text(path.read_text("utf-8").replace(block, filled), "utf-8")
    assert list(read_prices(folder).operations) == ["battery.trace_draw"]


def test_said_again_only_what_is_new_is_added_and_what_was_filled_in_stays(tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    main(["init", str(folder), *SAID])
    before = (folder / PRICE_FILE).read_text("utf-8")
    assert note_operations(folder, load().operations.values()) == []
    assert (folder / PRICE_FILE).read_text("utf-8") == before
