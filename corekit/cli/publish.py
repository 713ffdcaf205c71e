"""Send the masked pages of issued invoices to where their codes lead, each once.

Works again whenever the network is back.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "job", metavar="JOB", nargs="?", help="only this job; all that are outstanding, if you say nothing"
    )


def run(args: argparse.Namespace) -> int:
    from ..desk.shop import open_shop
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        sent = shop.publish(args.job)
        if not shop.context.settings.page:
            print("No page address is set in shop.toml, so there is nothing to publish.")
        else:
            print(
                f"Published: {', '.join(sent)}."
                if sent
                else "Nothing is outstanding; every issued invoice has its page."
            )
    return 0
