"""Hand a job to another van, where it goes on once both have synced."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument("van", metavar="VAN", help="the letters of the van that it is handed to")


def run(args: argparse.Namespace) -> int:
    from ..desk.jobs import job_named
    from ..desk.shop import open_shop
    from ..desk.syncing import hand
    from .command import same_shop, shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        name = job_named(shop.context, args.job).name
        hand(shop.context, args.job, args.van.strip().upper(), request_id=args.request)
        print(
            f"{name} goes on in van {args.van.strip().upper()}. Send it on its way: corekit"
            f" sync{same_shop(args.shop)}"
        )
    return 0
