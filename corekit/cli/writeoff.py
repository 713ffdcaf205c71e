"""Ask no more for some of an issued invoice: it stays what it is, and so much of it is written off."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument("amount", metavar="AMOUNT", help="how much, e.g. 120.00")
    parser.add_argument("--because", required=True, help="why")


def run(args: argparse.Namespace) -> int:
    from ..desk.paying import write_off
    from ..desk.shop import open_shop
    from .command import money, shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        amount = money(args.amount, shop.context.prices.currency)
        due = write_off(shop.context, args.job, amount, args.because)
        print(f"Written off {amount} {amount.currency}. Still due: {due} {due.currency}.")
    return 0
