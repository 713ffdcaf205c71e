"""The demo: invented jobs taken through the very same steps as real ones."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

from ..reference import data_path
from .errors import DeskError, EstimateAwaitedError
from .jobs import job_with_id
from .settings import PRICE_FILE, SHOP_FILE
from .setup import clear_demo, create_shop, is_demo
from .shop import Shop


def run_demo(out: Path) -> Iterator[str]:
    """Set up the invented shop in `out`, take each of its visit files to an issued invoice, and say what was
    made, line by line.

    Raises:
        DeskError: there is something else than an earlier demo in the folder.
    """
    source = data_path("demo")
    clear(out)
    out.mkdir(parents=True, exist_ok=True)
    for name in (SHOP_FILE, PRICE_FILE):
        shutil.copy(source / "shop" / name, out / name)
    create_shop(out, demo=True)
    yield f"An invented shop is set up in {out}. Everything it prints says DEMO."
    with Shop(out) as shop:
        for path in sorted((source / "jobs").glob("*.toml")):
            yield ""
            yield from _job(shop, path)
        shop.publish()
    yield ""
    yield "Look at the documents, then open the codes' links with:"
    yield f"  corekit serve --shop {out}"


def _job(shop: Shop, path: Path) -> Iterator[str]:
    """One visit file: added, estimated where it speaks of an approval, added again, until its invoice can be
    issued.
    """
    estimated: set[str] = set()
    while True:
        try:
            job = shop.import_visit(path)
            break
        except EstimateAwaitedError as awaited:
            if awaited.estimate in estimated:
                raise
            estimated.add(awaited.estimate)
            estimate = shop.estimate(awaited.job, awaited.estimate.split(" ", 1)[0])
            total = f"{estimate.total} {estimate.total.currency}"
            yield f"{awaited.name}: estimate {estimate.name!r}, {total}: {estimate.pdf}"
    record = job_with_id(shop.context, job)
    invoice = shop.issue(job)
    yield f"{record.name}: invoice {invoice.number}, due {invoice.due} {invoice.due.currency}: {invoice.pdf}"
    yield f"  its code opens {invoice.link}"


def clear(out: Path) -> None:
    """Remove an earlier demo, and only that."""
    if not out.exists():
        return
    if out.is_dir() and is_demo(out):
        clear_demo(out)
    elif not out.is_dir() or any(out.iterdir()):
        raise DeskError(
            f"{out} holds something that is not an earlier demo; nothing was touched. Name another folder"
            " with --out."
        )
