"""Take the page of an invoice down, for good: its code no longer opens anything.

The invoice itself stays as it is.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("number", metavar="NUMBER", help="the invoice's number, as printed")
    parser.add_argument("--yes", action="store_true", help="do not ask; it cannot be undone")


def run(args: argparse.Namespace) -> int:
    from ..desk.shop import open_shop
    from .command import shop_folder, sure

    with open_shop(shop_folder(args.shop)) as shop:
        if not args.yes and not sure(
            f"Take the page of invoice {args.number} down? Its code never opens anything again."
        ):
            print("Nothing was taken down.")
            return 1
        shop.withdraw(args.number)
        print(f"The page of invoice {args.number} is down.")
    return 0
