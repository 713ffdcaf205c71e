"""The receipt for a payment: a separate document for each payment that the job's invoice does not show.

Asked again, it gives the same receipt.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument(
        "payment",
        metavar="PAYMENT",
        nargs="?",
        default="",
        help="beginning of the payment's id; the last payment, if you say nothing",
    )


def run(args: argparse.Namespace) -> int:
    from ..desk.jobs import billed_with, job_named
    from ..desk.payments import payments_of
    from ..desk.shop import open_shop
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        billed = billed_with(shop.context, job_named(shop.context, args.job))
        for payment in payments_of(shop.context, billed):
            shown = f", shown on invoice {payment.on_invoice}" if payment.on_invoice else ""
            print(
                f"Payment {payment.id[:12]}: {payment.amount} {payment.amount.currency}, {payment.how},"
                f" {payment.day}{shown}"
            )
        receipt = shop.receipt(args.job, args.payment)
        print(
            f"{receipt.document.title}: {receipt.document.total} {receipt.document.currency}\n{receipt.pdf}"
        )
    return 0
