"""Check that nothing in the store was changed or lost: every entry, every person's text, every number in the books."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    del parser


def run(args: argparse.Namespace) -> int:
    from ..desk.settings import STORE_FILE
    from ..store.store import Store
    from .command import shop_folder

    with Store.open(shop_folder(args.shop) / STORE_FILE) as store:
        faults = store.verify()
        heads = len(store.jobs())
    if faults:
        print("The store does not verify:\n" + "\n".join(f"  {fault}" for fault in faults))
        return 1
    print(f"Every entry of {heads} job{'s' if heads != 1 else ''} and of the books verifies. (A cut-off end shows only against a record mark on paper.)")
    return 0
