"""List the links of an invoice, make another one, or take one down.

Every link opens the same page and can be taken down alone; which is which only the shop can tell.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("number", metavar="NUMBER", help="the invoice's number, as printed")
    parser.add_argument("--new", action="store_true", help="make another link and publish it")
    parser.add_argument("--days", type=int, default=0, help="with --new: so long it opens; 0 is two years")
    parser.add_argument("--revoke", type=int, metavar="N", help="take link N down, for good")


def run(args: argparse.Namespace) -> int:
    from ..desk.publishing import add_link, links_of, revoke
    from ..desk.shop import open_shop
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        if args.new:
            print(f"Another link: {add_link(shop.context, args.number, days=args.days)}")
        if args.revoke is not None:
            revoke(shop.context, args.number, args.revoke)
            print(
                f"Link {args.revoke} of invoice {args.number} is down; its code never opens anything again."
            )
        for known, address in links_of(shop.context, args.number):
            if known.revoked:
                state = f"taken down {known.revoked[:10]}"
            elif known.published_at:
                state = f"published {known.published_at[:10]}"
            else:
                state = "not published yet"
            until = f", until {known.expires[:10]}" if known.expires else ""
            print(f"{known.link}: {address or 'no page address'} ({state}{until})")
    return 0
