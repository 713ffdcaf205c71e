"""Check that nothing in the store was changed or lost: every entry, every person's text, every number in the
books.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--mark",
        default="",
        help="the record mark printed on a document: is everything it was printed from still here?",
    )


def run(args: argparse.Namespace) -> int:
    from ..desk.verify import verify_folder
    from .command import shop_folder

    done = verify_folder(shop_folder(args.shop), args.mark)
    if done.faults:
        print("The store does not verify:\n" + "\n".join(f"  {fault}" for fault in done.faults))
        return 1
    print(f"Every entry of {done.jobs} job{'s' if done.jobs != 1 else ''} and of the books verifies.")
    print(
        done.mark
        or "A cut-off end shows only against a document: corekit verify --mark …, with its record mark."
    )
    return 0
