"""The shop's money of a day, a month or a year: invoiced, credited, received, given back, written off, and
what is open. As text here, as CSV or as a paper for whoever keeps your books.

corekit books 2026-11                    a month
corekit books --find "DEMO-1"            what has to do with a number, customer, plate, job, amount or day
corekit books 2026 --find 131.98 --csv - the same of a year, as CSV
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "span", metavar="WHEN", nargs="?", default="", help="2026-11-28, 2026-11 or 2026; all without"
    )
    parser.add_argument(
        "--find", metavar="TEXT", help="only what has to do with it: number, customer, plate, amount or day"
    )
    parser.add_argument("--csv", metavar="FILE", help="write the rows as CSV; - writes them here")
    parser.add_argument("--pdf", metavar="FILE", nargs="?", const="", help="write them as a paper")
    parser.add_argument("--overdue", action="store_true", help="only what is overdue today")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.books_paper import cut_words, write_books
    from ..desk.ledger import as_csv, ledger
    from ..desk.shop import open_shop
    from ..errors import InputError
    from ..files import write_over
    from ..model.movement import LedgerKind
    from .command import shop_folder

    if args.find is not None and not args.find.strip():
        raise InputError("Say what to find: a number, a customer, a plate, an amount or a day.")
    find = args.find or ""
    with open_shop(shop_folder(args.shop)) as shop:
        books = ledger(shop.context, args.span, find)
        if args.pdf is not None:
            print(write_books(shop.context, args.span, Path(args.pdf) if args.pdf else None, find))
            return 0
    if args.csv == "-":
        print(as_csv(books), end="")
        return 0
    if args.csv:
        write_over(Path(args.csv), as_csv(books).encode("utf-8"))
        print(f"{args.csv}: {len(books.rows)} rows.")
        return 0
    if not args.overdue:
        for row in books.rows:
            told = " ".join(part for part in (row.number, row.job, row.note) if part)
            print(f"{row.day}  {row.kind:<11}  {row.amount!s:>12} {row.amount.currency}  {told}")
        for kind in LedgerKind:
            if any(row.kind is kind for row in books.rows):
                print(f"{kind.capitalize()} in all: {books.sum_of(kind)} {books.currency}")
        for way, amount in books.in_hand.items():
            print(f"In hand, {way}: {amount} {books.currency}")
    for one in books.open:
        if one.is_overdue or not args.overdue:
            until = f", {'overdue since' if one.is_overdue else 'until'} {one.due_on}" if one.due_on else ""
            print(f"Open: {one.number or 'no invoice yet'}, {one.job}: {one.due} {one.due.currency}{until}")
    if books.cut:
        print(cut_words())
    if find and not (books.rows or books.open):
        print("Nothing was found. What was forgotten is found by number, amount and day alone.")
    return 0
