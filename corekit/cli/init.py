"""Set up your shop: a folder with shop.toml, prices.toml, the store and the key of your codes.

Nothing takes a number before this.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", nargs="?", help="where (~/corekit, if you say nothing)")
    parser.add_argument("--name", help="your name as invoices print it")
    parser.add_argument(
        "--address", action="append", metavar="LINE", help="a line of your address; say it once for each line"
    )
    parser.add_argument("--currency", help="the currency's three letters, e.g. EUR")
    parser.add_argument(
        "--tax-number", default="", help="your tax number; where you charge tax, invoices need it"
    )
    parser.add_argument("--zone", default="", help="the time zone of your days, if not this device's own")
    parser.add_argument(
        "--jurisdiction", default="", help="whose law holds (ISO 3166), e.g. US-FL; no legal advice"
    )
    parser.add_argument("--page", help="https address of your page server; omit it if you have none")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.errors import DeskError
    from ..desk.publishing import page_problem
    from ..desk.settings import PRICE_FILE
    from ..desk.setup import Answers, no_shop_yet, set_up

    def ask(words: str, given: str | None) -> str:
        if given is not None:
            return given
        answer = ""
        try:
            while not answer:
                answer = input(f"{words}: ").strip()
        except EOFError:
            raise DeskError(
                "\nThere was no answer, so nothing was set up. Answer, or say it with --name, --address and"
                " --currency."
            ) from None
        return answer

    home = Path.home() / "corekit"
    folder = Path(args.folder or args.shop or home)
    no_shop_yet(folder)
    address = (
        args.address
        if args.address
        else [line.strip() for line in ask("Your address, lines separated by ;", None).split(";")]
    )
    answers = Answers(
        name=ask("Your name, as invoices print it", args.name),
        address=tuple(address),
        currency=ask("Your currency, three letters", args.currency).upper(),
        page=(args.page or "").rstrip("/"),
        tax_id=args.tax_number.strip(),
        zone=args.zone.strip(),
        jurisdiction=args.jurisdiction.strip(),
    )
    for path in set_up(folder, answers):
        print(f"written: {path}")
    print(f"Fill in {folder / PRICE_FILE}; until then your work costs nothing and no estimate can be made.")
    if not answers.page:
        print(
            "No page address is set: your documents carry the record mark and no code. It is page = … in"
            " shop.toml."
        )
    elif problem := page_problem(folder, answers.page):
        print(
            f"The codes on your documents lead nowhere yet: nothing answers as a page at {answers.page}:"
            f" {problem}. Documents say so until it does. Serve the pages there (corekit serve --help);"
            " corekit publish tells when they open."
        )
    else:
        print(f"A page answers at {answers.page}.")
    print(
        "Then write down a visit and look at it:  corekit check"
        f" visit.toml{'' if folder == home else f' --shop {folder}'}"
    )
    return 0
