"""Destroy what the store holds of a customer: name, address, phone, plate, full VIN, and words.

The record itself still verifies.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument("--yes", action="store_true", help="do not ask; it cannot be undone")


def run(args: argparse.Namespace) -> int:
    from ..desk.jobs import job_named
    from ..desk.shop import open_shop
    from .command import shop_folder, sure

    with open_shop(shop_folder(args.shop)) as shop:
        name = job_named(shop.context, args.job).name
        if not args.yes and not sure(
            f"Destroy all personal text of {name}, and its documents here? Your retention time must be over."
        ):
            print("Nothing was destroyed.")
            return 1
        gone = shop.forget(args.job)
        print(
            "Destroyed: "
            + (
                ", ".join(f"{count} {kind}" for kind, count in gone.items())
                or "nothing, there was no personal text left"
            )
            + "."
        )
    return 0
