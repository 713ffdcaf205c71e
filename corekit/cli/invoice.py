"""Draft the invoice, marked DRAFT and without a number. `corekit issue` makes the real one."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("visit", metavar="FILE|JOB", help="a visit file, or the name of a job in the store")
    parser.add_argument("--km", help="the distance, if your price book prices the kilometre")
    parser.add_argument("--out", metavar="PDF", default="invoice-draft.pdf", help="where to write it (%(default)s)")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.sketch import sketch_invoice
    from .command import distance, is_file, shop_folder

    document = sketch_invoice(args.visit, is_file=is_file(args.visit), folder=shop_folder(args.shop), km=distance(args.km), out=Path(args.out))
    print(f"{args.out}: a draft over {document.total} {document.currency}, without a number. `corekit issue` takes one.")
    return 0
