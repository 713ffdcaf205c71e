"""Say that this store is a restored copy.

Two copies that continue under one name could never be told apart again.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    del parser


def run(args: argparse.Namespace) -> int:
    from ..desk.jobs import continue_restored
    from ..desk.shop import open_shop
    from .command import shop_folder

    with open_shop(shop_folder(args.shop), is_restored=True) as shop:
        name, letters = continue_restored(shop.context)
        print(f"What is written from now on stands in a chain of its own, {name}.")
        print(f"Invoices of this copy are numbered with {letters} from now on, so no number is used twice.")
    return 0
