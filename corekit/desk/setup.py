"""Set up a shop: the folder from which invoices are numbered."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterable
from pathlib import Path

import attrs

from ..files import write_over
from ..model.measurand import Operation
from ..plugin.host import load
from ..reference import data_path
from ..share import keys
from ..share.link import base_problem
from ..share.signing import create_signing_key
from ..store.errors import StoreError
from ..store.store import Store
from .errors import DeskError
from .settings import (
    BACKUPS,
    KEY_FILE,
    PAPERS,
    PRICE_FILE,
    PUBLISHED,
    SHOP_FILE,
    SIGNING_KEY_FILE,
    STORE_FILE,
)
from .shop_files import ShopAnswers, change


@attrs.frozen(kw_only=True)
class Answers:
    """What `corekit init` asks; `more`: what a shop may say later as well."""

    name: str
    address: tuple[str, ...]
    currency: str
    page: str = ""
    tax_id: str = ""
    zone: str = ""
    jurisdiction: str = ""
    more: ShopAnswers = ShopAnswers()


def set_up(folder: Path, answers: Answers) -> list[Path]:
    """Write shop.toml, prices.toml, the store and the link key; nothing that is there already is touched.

    Raises:
        DeskError: an answer cannot be used, or there is a shop in the folder already.
    """
    no_shop_yet(folder)
    if not answers.name or not any(answers.address):
        raise DeskError("An invoice needs the name and the address of who issues it; give both.")
    if not re.fullmatch(r"[A-Z]{3}", answers.currency):
        raise DeskError(f'The currency has three letters (ISO 4217), e.g. EUR; got "{answers.currency}".')
    fault = base_problem(answers.page) if answers.page else None
    if fault:
        raise DeskError(f"The page address cannot be used: {fault}")
    templates = data_path("templates") / "shop"
    values = {
        "name": _toml_string(answers.name),
        "address": ", ".join(_toml_string(line) for line in answers.address if line),
        "page": _toml_string(answers.page),
        "tax_id": _toml_string(answers.tax_id),
        "zone": _toml_string(answers.zone),
        "jurisdiction": _toml_string(answers.jurisdiction),
        "currency": _toml_string(answers.currency),
    }
    is_new = not folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name in (SHOP_FILE, PRICE_FILE):
        text = (templates / name).read_text("utf-8")
        for key, value in values.items():
            text = text.replace(f"<{key}>", value)
        path = folder / name
        path.write_text(text, "utf-8")
        written.append(path)
    try:
        change(folder, answers.more)
    except BaseException:  # an answer that cannot be used leaves nothing behind
        for path in written:
            path.unlink()
        if is_new:
            folder.rmdir()
        raise
    create_shop(folder, demo=False)
    return [*written, folder / STORE_FILE, folder / KEY_FILE]


def note_installed_operations(folder: Path) -> list[str]:
    """As `note_operations`, of all systems that are installed."""
    return note_operations(folder, load().operations.values())


def note_operations(folder: Path, operations: Iterable[Operation]) -> list[str]:
    """Write a block for each operation into the price book, to be filled in; what the book speaks of already
    stays as it is.

    Returns:
        The keys that were added.
    """
    path = folder / PRICE_FILE
    text = path.read_text("utf-8").rstrip("\n")
    missing = [one for one in operations if f'"{one.key}"' not in text]
    for one in missing:
        text += f'\n\n# {one.title}\n# [operations."{one.key}"]\n# hours = ""'
        if one.replaces:
            text += '\n# parts = [ { name = "", price = "", quantity = "1", condition = "new" } ]'
    if missing:
        write_over(path, f"{text}\n".encode())
    return [one.key for one in missing]


def is_shop(folder: Path) -> bool:
    """True when there is a shop in the folder, or what is left of one."""
    return (folder / STORE_FILE).exists() or (folder / SHOP_FILE).exists()


def may_be_set_up(folder: Path) -> bool:
    """True when there is no shop in the folder and nothing of anybody's: it is not there, is empty, or holds
    only what the screens keep of who may come in.
    """
    if is_shop(folder):
        return False
    kept = {KEY_FILE.partition("/")[0]}
    return not folder.exists() or {path.name for path in folder.iterdir()} <= kept


def no_shop_yet(folder: Path) -> None:
    """Return when a shop may be set up in the folder; else say why not, before anybody is asked anything.

    Raises:
        DeskError: there is a shop in it already.
    """
    if is_shop(folder):
        raise DeskError(
            f"{folder} is a shop already; nothing was changed. Edit {SHOP_FILE} and {PRICE_FILE} there."
        )


def create_shop(folder: Path, *, demo: bool) -> None:
    """Create the store and the key of its codes; the key stands outside the store, in a folder of its own."""
    (folder / KEY_FILE).parent.mkdir(parents=True, exist_ok=True)
    Store.create(folder / STORE_FILE, demo=demo).close()
    keys.create_link_key(folder / KEY_FILE)
    create_signing_key(folder / SIGNING_KEY_FILE)


def is_demo(folder: Path) -> bool:
    """True when the folder holds a shop whose store is marked as a demo."""
    try:
        with Store.open(folder / STORE_FILE) as store:
            return store.demo
    except StoreError:
        return False


def clear_demo(folder: Path) -> None:
    """Remove what a demo made, its store last; whatever else somebody put beside it stays."""
    for name in (PAPERS, PUBLISHED, BACKUPS, KEY_FILE.partition("/")[0]):
        shutil.rmtree(folder / name, ignore_errors=True)
    for name in (SHOP_FILE, PRICE_FILE, *(STORE_FILE + rest for rest in ("-wal", "-shm", ".seen", ""))):
        (folder / name).unlink(missing_ok=True)


def _toml_string(text: str) -> str:
    """A TOML basic string."""
    plain = "".join(character if character.isprintable() else " " for character in text)
    return '"' + plain.replace("\\", "\\\\").replace('"', '\\"') + '"'
