"""Record money given back for a job: what was paid and is not owed (a deposit that was too high, a credit
note).
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument("amount", metavar="AMOUNT", help="how much, e.g. 120.00")
    parser.add_argument("--how", default="cash", help="how (%(default)s)")


def run(args: argparse.Namespace) -> int:
    from ..desk.paying import refund
    from ..desk.shop import open_shop
    from .command import money, shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        amount = money(args.amount, shop.context.prices.currency)
        due = refund(shop.context, args.job, amount, args.how)
        print(f"Given back {amount} {amount.currency}, {args.how}. Due now: {due} {due.currency}.")
        print(f"The receipt: {shop.receipt(args.job).pdf}")
    return 0
