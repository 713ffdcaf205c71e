"""The cash drawer: what should lie in it, what was counted, what went in or out beside customers' payments.

corekit drawer                                      what should lie in it, and its last rows
corekit drawer --in 50.00 --because "change to begin with"
corekit drawer --out 200.00 --because "to the bank"
corekit drawer --counted 87.45
"""

from __future__ import annotations

import argparse

_SHOWN = 20  # rows


def arguments(parser: argparse.ArgumentParser) -> None:
    one = parser.add_mutually_exclusive_group()
    one.add_argument("--in", dest="put", metavar="AMOUNT", help="so much was put in")
    one.add_argument("--out", dest="taken", metavar="AMOUNT", help="so much was taken out")
    one.add_argument("--counted", metavar="AMOUNT", help="so much was counted in it")
    parser.add_argument("--because", default="", help="of --in and --out: why; said wrongly, all are named")


def run(args: argparse.Namespace) -> int:
    from ..desk import drawer
    from ..desk.shop import open_shop
    from .command import money, shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        context = shop.context
        currency = context.prices.currency
        if args.counted is not None:
            row = drawer.count(context, money(args.counted, currency))
            found = f"{abs(row.amount.amount)} too {'much' if row.amount.minor > 0 else 'little'}"
            print(f"Counted {row.left} {currency}: {found if row.amount.minor else 'as it should be'}.")
        elif args.put is not None or args.taken is not None:
            amount = money(args.put if args.put is not None else args.taken, currency)
            drawer.move(context, amount if args.put is not None else -amount, args.because)
        rows = drawer.last_rows(context, _SHOWN + 1)
        for row in rows[-_SHOWN:]:
            print(f"{row.day}  {row.amount!s:>10}  {row.left!s:>10}  {row.what}")
        if len(rows) > _SHOWN:
            print(f"These are the last {_SHOWN} rows; `corekit books` tells of a time.")
        print(f"In the drawer: {rows[-1].left if rows else '0.00'} {currency}")
    return 0
