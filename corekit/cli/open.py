"""Open a paper that somebody brings: does it print what it carries?

Each number, date, amount and reading that is printed otherwise is named. It needs no shop.
With --into what another shop found is taken into a job of yours.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("paper", metavar="PAPER.pdf", help="the file as it was handed over")
    parser.add_argument(
        "--out", metavar="FILE", help="write the document drawn anew from its content, masked"
    )
    parser.add_argument(
        "--into", metavar="JOB", help="take its content into this job, as an earlier visit by the other shop"
    )


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.opening import open_paper
    from ..files import write_over
    from ..report.text import clean

    if args.into:
        return _bring(args)

    opened = open_paper(Path(args.paper))
    if args.out:
        write_over(Path(args.out), opened.anew)
        print(f"Drawn anew from its content: {args.out}.")
    document = opened.document
    print(clean(f"{document.title}, {document.shop}, {document.issued}."))
    print(f"Its content leads to the record mark {opened.mark}.")
    if not opened.states_its_mark:
        print(clean(f"It states the mark {document.mark}: its content was altered after it was issued."))
    for difference in opened.differences:
        print(clean(f"  {difference}"))
    if opened.differences:
        print("Sheets and content differ: one of them was altered. Ask the shop which.")
    if opened.differences or not opened.states_its_mark:
        return 1
    print(
        "The sheets print what the content says. Whether the shop's record leads to this mark, the shop sees"
    )
    print("with: corekit verify --mark …")
    return 0


def _bring(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.bringing import bring
    from ..desk.brought import brought_document, origin_words
    from ..desk.jobs import job_named
    from ..desk.shop import open_shop
    from ..model.records import Brought
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        entry = bring(shop.context, args.into, Path(args.paper))
        document = brought_document(Brought(**entry.body))
        job = job_named(shop.context, entry.job)
        print(f"In {job.name}, as an earlier visit: {origin_words(document)}. Nothing is judged by it.")
    return 0
