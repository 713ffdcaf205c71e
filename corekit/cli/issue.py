"""Take a number and issue the invoice. Asked again, it gives the same invoice. It never exceeds what was agreed."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument("--yes", action="store_true", help="do not ask before taking the number")


def run(args: argparse.Namespace) -> int:
    from ..desk.shop import Page, open_shop
    from .command import same_shop, shop_folder, sure

    with open_shop(shop_folder(args.shop)) as shop:
        job = shop.store.job(shop.find(args.job))
        for sentence in shop.left_out(job.id):
            print(f"Not on it: {sentence}")
        if not job.issued and not args.yes and not sure(f"Issue the invoice of {job.name}? It takes the next number, for good."):
            print("Nothing was issued, no number was taken.")
            return 1
        invoice = shop.issue(job.id)
        print(f"Invoice {invoice.number}, due {invoice.due} {invoice.due.currency}\n{invoice.pdf}")
        print(invoice.link or "No page address is set in shop.toml, so the paper carries the record mark and no code.")
        if invoice.page is Page.WAITS:
            print(f"The code opens once its page is there:  corekit publish{same_shop(args.shop)}")
        elif invoice.page is not None:
            print(f"Its page: {invoice.page}.")
    return 0

