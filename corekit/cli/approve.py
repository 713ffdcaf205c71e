"""Record the customer's approval of an estimate: who approved, how, and what was declined with it."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument(
        "--estimate",
        default="",
        help="the estimate's printed name, e.g. 'repair 1'; the latest, if you say nothing",
    )
    parser.add_argument(
        "--total", required=True, help="the total printed on the estimate: it must be the same"
    )
    parser.add_argument(
        "--by",
        default="customer",
        help="who approved (%(default)s): customer, owner, driver, keeper or representative, never a name",
    )
    parser.add_argument("--how", required=True, help="how: in person, by phone, by message, with a signature")
    parser.add_argument(
        "--declined",
        action="append",
        default=[],
        metavar="OPERATION",
        help="work that was declined; may be given several times",
    )
    parser.add_argument(
        "--cancellation",
        default="",
        metavar="ANSWER",
        help="what the customer says where the law gives a right to cancel: urgent repair, begin at once,"
        " begin later or for a business",
    )


def run(args: argparse.Namespace) -> int:
    from ..desk.estimating import estimate_named
    from ..desk.jobs import job_named
    from ..desk.shop import open_shop
    from .command import money, shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        estimate = estimate_named(shop.context, job_named(shop.context, args.job), args.estimate)
        shop.approve(
            estimate,
            by=args.by,
            how=args.how,
            declined=args.declined,
            cancellation=args.cancellation.strip(),
            total=money(args.total, estimate.total.currency),
            request_id=args.request,
        )
        print(
            f"Recorded: {estimate.name!r}, {estimate.total} {estimate.total.currency}, approved by the"
            f" {args.by}, {args.how}."
        )
    return 0
