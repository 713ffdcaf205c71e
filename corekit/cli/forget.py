"""Destroy what the store holds of a customer: name, address, phone, plate, full VIN, and words.

The pages of the job are taken down. The record itself still verifies. Before the retention time of shop.toml
is over it takes a reason.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument(
        "--because", default="", metavar="REASON", help="why before the retention time is over (a listed one)"
    )
    parser.add_argument("--yes", action="store_true", help="do not ask; it cannot be undone")


def run(args: argparse.Namespace) -> int:
    from ..desk.forgetting import OUT_OF_REACH
    from ..desk.jobs import job_named
    from ..desk.shop import open_shop
    from .command import shop_folder, sure

    with open_shop(shop_folder(args.shop)) as shop:
        job = job_named(shop.context, args.job)
        name = job.name
        if not args.yes and not sure(
            f"Destroy all personal text of {name}, its documents here and its pages? It cannot be undone."
        ):
            print("Nothing was destroyed.")
            return 1
        gone = shop.forget(job.id, because=args.because)
        print(
            "Destroyed: "
            + (
                ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in gone.items())
                or "nothing, there was no personal text left"
            )
            + "."
        )
        if gone.called != name:
            print(f"It goes by {gone.called} from now on.")
        if gone.withdrawn:
            print(f"Pages taken down: {gone.withdrawn}.")
        print("Out of reach: " + " ".join(OUT_OF_REACH))
        for sentence in gone.left:
            print(sentence)
    return 1 if gone.left else 0
