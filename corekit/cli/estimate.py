"""Draft an estimate, marked DRAFT: nobody can approve it and nothing is saved.

`corekit offer` makes the real one.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("visit", metavar="FILE|JOB", help="a visit file, or the name of a job in the store")
    parser.add_argument(
        "--stage",
        choices=["diagnosis", "repair"],
        default="repair",
        help="what to estimate (repair, if you say nothing)",
    )
    parser.add_argument("--km", help="the distance, if your price book prices the kilometre")
    parser.add_argument(
        "--out", metavar="PDF", default="estimate-draft.pdf", help="where to write it (%(default)s)"
    )
    parser.add_argument(
        "--text", action="store_true", help="print the estimate here instead of writing a PDF"
    )


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.draft import draft_estimate
    from .command import distance, is_file, shop_folder

    out = None if args.text else Path(args.out)
    draft = draft_estimate(
        args.visit,
        is_file=is_file(args.visit),
        folder=shop_folder(args.shop),
        stage=args.stage,
        km=distance(args.km),
        out=out,
    )
    if args.text:
        print(draft.text, end="")
        return 0
    print(
        f"{args.out}: a draft over {draft.document.total} {draft.document.currency}. Nobody can approve it;"
        " `corekit offer` makes an estimate to approve."
    )
    return 0
