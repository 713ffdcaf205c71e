"""Issue a credit note on the invoice of a job: all of it, a piece of work, or a part that came back. It
takes the next number; the invoice itself never changes. After a credit note on all of it, `corekit invoice`
makes the corrected one.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument("--because", required=True, help="why; it is printed")
    parser.add_argument(
        "--of", default="", metavar="WORK", help="key of the work; all of the invoice without"
    )
    parser.add_argument("--invoice", default="", metavar="NUMBER", help="which, if the job is on several")
    parser.add_argument("--part", default="", help="of this work the part, as the invoice calls it")
    parser.add_argument("--quantity", help="how much of that part; all of it without")
    parser.add_argument("--yes", action="store_true", help="do not ask before taking the number")
    parser.add_argument(
        "--date-is-right", action="store_true", help="you have looked at today's date, and it is right"
    )


def run(args: argparse.Namespace) -> int:
    from ..billing.credit import CreditAsked
    from ..desk.crediting import credit
    from ..desk.shop import open_shop
    from .command import quantity, shop_folder, sure

    asked = CreditAsked(
        what=args.of, part=args.part, quantity=quantity(args.quantity, "--quantity", "a quantity")
    )
    if not args.yes and not sure("Issue a credit note? It takes the next number, for good."):
        print("Nothing was issued, no number was taken.")
        return 1
    with open_shop(shop_folder(args.shop)) as shop:
        note = credit(
            shop.context,
            args.job,
            args.because,
            asked,
            invoice=args.invoice,
            date_is_right=args.date_is_right,
        )
        print(
            f"Credit note {note.number} on invoice {note.of}: {note.total} {note.total.currency}\n{note.pdf}"
        )
        if note.due.minor < 0:
            print(f"Refund due: {-note.due}. Record it with `corekit refund`.")
        else:
            print(f"Still due: {note.due}.")
    return 0
