"""Make an estimate of a job and save it as it is printed. The customer approves exactly this estimate;
another price needs another estimate.

With --draft nothing is saved and nobody can approve it: a file or a job becomes a document marked DRAFT.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="the job's name, or the beginning of its id")
    parser.add_argument(
        "--stage", choices=["diagnosis", "repair"], help="what for; it takes the fitting one by itself"
    )
    parser.add_argument(
        "--out-of-hours", action="store_true", help="at your prices of work when you would be closed"
    )
    parser.add_argument("--km", help="the distance, if your price book prices the kilometre")
    parser.add_argument(
        "--no-call-out",
        action="store_true",
        help="a diagnosis without call-out and travel, because another job is charged for the call-out",
    )
    parser.add_argument(
        "--link", action="store_true", help="publish it and print its link, where the customer can answer"
    )
    parser.add_argument("--draft", action="store_true", help="only a draft; JOB may be a visit file then")
    parser.add_argument(
        "--out", metavar="PDF", help="where to write the draft, if not among the shop's papers"
    )
    parser.add_argument("--text", action="store_true", help="print the draft here instead of writing a PDF")


def run(args: argparse.Namespace) -> int:
    from .command import only_with_draft

    if args.draft:
        return _draft(args)
    only_with_draft(args)
    return _make(args)


def _make(args: argparse.Namespace) -> int:
    from ..desk.jobs import job_with_id
    from ..desk.settings import unknown_operations
    from ..desk.shop import open_shop
    from ..desk.speaking import paper_language
    from ..desk.tax_base import contradictions
    from .command import distance, same_shop, shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        for sentence in unknown_operations(shop.context.plugins, shop.context.prices):
            print(sentence)
        for sentence in contradictions(shop.context.prices, shop.context.jurisdiction):
            print(sentence)
        estimate = shop.estimate(
            args.job,
            args.stage,
            km=distance(args.km),
            call_out=False if args.no_call_out else None,
            out_of_hours=args.out_of_hours,
            request_id=args.request,
        )
        print(f"Estimate {estimate.name!r}: {estimate.total} {estimate.total.currency}\n{estimate.pdf}")
        if args.link:
            from ..desk.answering import offer

            print(f"Its page, where the customer can answer: {offer(shop.context, estimate)}")
            print("Then fetch the answer:  corekit answers")
        said = paper_language(shop.context, [estimate.job], estimate.document)
        if said:
            print(said)
        words = (
            f"{job_with_id(shop.context, estimate.job).name} --estimate {estimate.name!r}"
            f" --total {estimate.total} --how 'in person'{same_shop(args.shop)}"
        )
        print(f"When the customer has approved:  corekit approve {words}")
    return 0


def _draft(args: argparse.Namespace) -> int:
    from ..desk.draft import draft_estimate
    from .command import distance, draft_path, is_file, shop_folder

    draft = draft_estimate(
        args.job,
        is_file=is_file(args.job),
        folder=shop_folder(args.shop),
        stage=args.stage or "repair",
        km=distance(args.km),
        call_out=False if args.no_call_out else None,
        out=draft_path(args),
        as_text=args.text,
    )
    if draft.path is None:
        print(draft.text, end="")
        return 0
    print(
        f"{draft.path}: a draft over {draft.document.total} {draft.document.currency}. Nobody can approve it;"
        " without --draft it becomes an estimate to approve."
    )
    return 0
