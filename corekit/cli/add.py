"""Save a visit file in the store, or what has changed in it since it was last added.

Nothing is ever overwritten.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file", metavar="FILE", help="the visit file; it grows, so add it again after every change"
    )
    parser.add_argument("--job", help="add it to this job, although the file has a name of its own")


def run(args: argparse.Namespace) -> int:
    from ..desk import importing
    from ..desk.jobs import job_with_id
    from ..desk.shop import open_shop
    from .command import same_shop, shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        visit = importing.read(shop.context, args.file)
        done = importing.add(shop.context, visit, args.job)
        for remark in visit.remarks:
            print(f"Warning: {remark}")
        print(f"Saved: {done.added} new, {done.corrected} corrected, {done.withdrawn} withdrawn.")
        print(f"Next:  corekit check {job_with_id(shop.context, done.job).name}{same_shop(args.shop)}")
    return 0
