"""Write a reminder of a job's invoice that is overdue, to send to the customer. It is kept as it was handed
over, and charges nothing: fees and interest are for your law and for what was agreed.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")


def run(args: argparse.Namespace) -> int:
    from ..desk.reminding import remind
    from ..desk.shop import open_shop
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        made = remind(shop.context, args.job)
        print(f"{made.document.title}: {made.due} {made.due.currency} until {made.until}\n{made.pdf}")
    return 0
