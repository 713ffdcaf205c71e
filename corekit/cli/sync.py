"""Bring this van together with the shop's other vans, over their hub.

What the others wrote comes, what was written here goes; without a network everything is kept and goes later.
While the screens are open it happens by itself.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--hub", metavar="ADDRESS", help="enrol this van first: the hub's address, https://…")
    parser.add_argument("--code", metavar="CODE", help="with --hub: the code that the office gave you")


def run(args: argparse.Namespace) -> int:
    from ..desk.shop import open_shop
    from ..desk.syncing import enrol, sync
    from ..errors import InputError
    from .command import shop_folder

    if bool(args.hub) != bool(args.code):
        raise InputError(
            "--hub and --code belong together: where the hub is, and the code that it gave for this van."
        )
    with open_shop(shop_folder(args.shop)) as shop:
        if args.hub:
            letters, name = enrol(shop.context, args.hub, args.code)
            print(f"This van is enrolled as {name}. Its invoices are numbered with {letters} from now on.")
        report = sync(shop.context)
        for sentence in report.sentences:
            print(sentence)
    return 1 if report.left else 0
