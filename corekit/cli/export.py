"""Write an issued invoice or credit note in another form, as an installed plugin writes it: an e-invoice for
the customer's bookkeeping. Nothing in the record changes.
"""

from __future__ import annotations

import argparse
from pathlib import Path


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "number", metavar="NUMBER", nargs="?", help="the invoice's number; without it, what there is"
    )
    parser.add_argument("--as", dest="form", metavar="FORM", help="which form; the only one if left out")
    parser.add_argument("--out", metavar="FILE", help="where to write it, if not among the shop's papers")


def run(args: argparse.Namespace) -> int:
    from ..desk.exporting import export, exporters
    from ..desk.shop import open_shop
    from ..errors import InputError
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        there = exporters(shop.context)
        if not args.number:
            for name, exporter in there.items():
                print(f"{name}: {exporter.title}")
            if not there:
                print("No installed plugin writes invoices in another form.")
            return 0
        if not args.form and len(there) != 1:
            raise InputError(f"--as: say which form; there is {', '.join(there) or 'none'}.")
        form = args.form or next(iter(there))
        done = export(shop.context, args.number, form, Path(args.out) if args.out else None)
    for remark in done.remarks:
        print(remark)
    print(f"{done.title} of {done.number}:\n{done.path}")
    return 0
