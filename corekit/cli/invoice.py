"""Take a number and issue the invoice. Asked again, it gives the same invoice. It never exceeds what was
approved. Several jobs of one customer go on one invoice when you name them together.

With --draft no number is taken: a file or a job becomes a document marked DRAFT.
"""

from __future__ import annotations

import argparse
import sys


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "job",
        metavar="JOB",
        nargs="+",
        help="the job's name, or the beginning of its id; several go on one invoice",
    )
    parser.add_argument("--yes", action="store_true", help="do not ask before taking the number")
    parser.add_argument(
        "--date-is-right", action="store_true", help="you have looked at today's date, and it is right"
    )
    parser.add_argument("--draft", action="store_true", help="only a draft; JOB may be a visit file then")
    parser.add_argument("--km", help="of a draft: the distance, if your price book prices the kilometre")
    parser.add_argument(
        "--out", metavar="PDF", help="where to write the draft, if not among the shop's papers"
    )
    parser.add_argument("--text", action="store_true", help="print the draft here instead of writing a PDF")


def run(args: argparse.Namespace) -> int:
    from .command import only_with_draft

    if args.draft:
        return _draft(args)
    only_with_draft(args, "km")
    return _issue(args)


def _issue(args: argparse.Namespace) -> int:
    from ..desk.clock import ClockError
    from ..desk.issuing import Page, left_out
    from ..desk.jobs import job_named
    from ..desk.shop import open_shop
    from ..desk.speaking import paper_language
    from .command import same_shop, shop_folder, sure

    with open_shop(shop_folder(args.shop)) as shop:
        jobs = [job_named(shop.context, job) for job in args.job]
        for job in jobs:
            for sentence in left_out(shop.context, job):
                print(f"Not on it: {sentence}" if len(jobs) == 1 else f"Not on it, {job.name}: {sentence}")
        names = " and ".join(job.name for job in jobs)
        what = f"the invoice of {names}" if len(jobs) == 1 else f"one invoice over {names}"
        if (
            not all(job.issued and not job.goes_on for job in jobs)
            and not args.yes
            and not sure(f"Issue {what}? It takes the next number, for good.")
        ):
            print("Nothing was issued, no number was taken.")
            return 1
        try:
            invoice = shop.issue_together(
                [job.id for job in jobs], request_id=args.request, date_is_right=args.date_is_right
            )
        except ClockError as error:
            raise ClockError(error.jump, f"{error} On the command line that is --date-is-right.") from error
        said = paper_language(shop.context, invoice.jobs, invoice.document)
        if said:
            print(said)
        print(f"Invoice {invoice.number}, due {invoice.due} {invoice.due.currency}\n{invoice.pdf}")
        print(
            invoice.link
            or "No page address is set in shop.toml, so the invoice carries the record mark and no code."
        )
        if invoice.page is Page.WAITS:
            print(f"The code opens once its page is there:  corekit publish{same_shop(args.shop)}")
        elif invoice.page is not None:
            print(f"Its page: {invoice.page}.")
    return 0


def _draft(args: argparse.Namespace) -> int:
    from ..desk.draft import draft_invoice
    from ..errors import InputError
    from .command import distance, draft_path, is_file, shop_folder

    if len(args.job) > 1:
        raise InputError("A draft is of one job or file; name one. Nothing was written.")
    (job,) = args.job
    draft = draft_invoice(
        job,
        is_file=is_file(job),
        folder=shop_folder(args.shop),
        km=distance(args.km),
        out=draft_path(args),
        as_text=args.text,
    )
    for remark in draft.remarks:
        print(remark, file=sys.stderr)
    if draft.path is None:
        print(draft.text, end="")
        return 0
    print(
        f"{draft.path}: a draft over {draft.document.total} {draft.document.currency}, without a number;"
        " without --draft it takes one."
    )
    return 0
