"""Say that approved work took other hours or another quantity of a part than estimated, and what the customer
approved beyond the estimate. The invoice charges what it took, as far as your law and the approvals allow.

Words that you give with --because are printed on the invoice.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument(
        "operation", metavar="OPERATION", help="key of the work, as `corekit plugins` lists it"
    )
    parser.add_argument("--because", required=True, help="why; it is printed")
    parser.add_argument("--hours", help="hours of labour that it took")
    parser.add_argument("--part", help="the part of which it took another quantity, as the estimate calls it")
    parser.add_argument("--quantity", help="how much of that part")
    parser.add_argument("--more", metavar="AMOUNT", help="approved beyond the estimate, tax included")
    parser.add_argument("--by", default="customer", help="who approved more (%(default)s)")
    parser.add_argument("--how", default="", help="how, e.g. 'by phone, 14:10'")


def run(args: argparse.Namespace) -> int:
    from ..desk.changing import Change, change
    from ..desk.jobs import job_named
    from ..desk.payments import to_pay
    from ..desk.shop import open_shop
    from .command import money, quantity, shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        currency = shop.context.prices.currency
        said = Change(
            operation=args.operation,
            because=args.because,
            hours=quantity(args.hours, "--hours", "a number of hours"),
            part=args.part or "",
            quantity=quantity(args.quantity, "--quantity", "a quantity"),
            more=money(args.more, currency) if args.more else None,
            by=args.by,
            how=args.how,
        )
        change(shop.context, args.job, said)
        approved = to_pay(shop.context, job_named(shop.context, args.job))
        print(f"Recorded. Approved so far: {approved} {approved.currency}.")
    return 0
