"""Make an estimate and save it as it is printed.

The customer approves exactly this estimate; another price needs another estimate.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument(
        "--stage", choices=["diagnosis", "repair"], help="what for; it takes the fitting one by itself"
    )
    parser.add_argument("--km", help="the distance, if your price book prices the kilometre")
    parser.add_argument(
        "--no-call-out",
        action="store_true",
        help="a diagnosis without call-out and travel, because another job is charged for the call-out",
    )


def run(args: argparse.Namespace) -> int:
    from ..desk.jobs import job_with_id
    from ..desk.shop import open_shop
    from .command import distance, same_shop, shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        offer = shop.offer(
            args.job, args.stage, km=distance(args.km), call_out=False if args.no_call_out else None
        )
        print(f"Estimate {offer.name!r}: {offer.total} {offer.total.currency}\n{offer.pdf}")
        words = (
            f"{job_with_id(shop.context, offer.job).name} --offer {offer.name!r} --total {offer.total} --how 'in"
            f" person'{same_shop(args.shop)}"
        )
        print(f"When the customer has approved:  corekit agree {words}")
    return 0
