"""Set up your shop: a folder with shop.toml, prices.toml, the store and the key of your codes. Run again, it
changes what you said.

Nothing takes a number before this.
"""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

    from ..desk.shop_files import ShopAnswers

#: What is asked, in this order: the name of the answer, its words, whether it must be said.
_ASKED = (
    ("name", "Your name, as invoices print it", True),
    ("address", "Your address, lines separated by ;", True),
    ("contact", "A phone number or a mail address for invoices", False),
    ("tax_id", "Your tax number", False),
    ("tax_rate", "Your tax rate in percent", False),
    ("currency", "Your currency, three letters", True),
    ("per_hour", "The price of an hour, before tax", False),
    ("call_out", "The price of coming, before tax", False),
    ("diagnosis", "The price of a diagnosis, before tax", False),
    ("pays_by", "How you want to be paid, as invoices print it", False),
    ("iban", "Your account number (IBAN), for a code on invoices", False),
)


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", nargs="?", help="where (~/corekit, if you say nothing)")
    parser.add_argument("--name", help="your name as invoices print it")
    parser.add_argument(
        "--address", action="append", metavar="LINE", help="a line of your address; say it once for each line"
    )
    parser.add_argument("--contact", help="a phone number or a mail address, as invoices print it")
    parser.add_argument("--tax-number", help="your tax number; where you charge tax, invoices need it")
    parser.add_argument("--tax-rate", metavar="PERCENT", help="your usual tax rate")
    parser.add_argument("--currency", help="the currency's three letters, e.g. EUR")
    parser.add_argument("--hour", metavar="AMOUNT", help="the price of an hour, before tax")
    parser.add_argument("--call-out", metavar="AMOUNT", help="the price of coming, before tax")
    parser.add_argument("--diagnosis", metavar="AMOUNT", help="the price of a diagnosis, before tax")
    parser.add_argument("--paid-by", metavar="WORDS", help="how you want to be paid, as invoices print it")
    parser.add_argument("--iban", help="your account number: a code on invoices then fills in the transfer")
    parser.add_argument("--zone", default="", help="the time zone of your days, if not this device's own")
    parser.add_argument(
        "--jurisdiction", default="", help="whose law holds (ISO 3166), e.g. US-FL; no legal advice"
    )
    parser.add_argument("--page", help="https address of your page server; omit it if you have none")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.publishing import page_problem
    from ..desk.settings import PRICE_FILE
    from ..desk.setup import Answers, is_shop, note_installed_operations, set_up
    from ..desk.shop_files import ShopAnswers, answers_of

    home = Path.home() / "corekit"
    folder = Path(args.folder or args.shop or home)
    if is_shop(folder):
        return _change(args, folder)
    said = _all_answers(_answers_given(args), ShopAnswers())
    answers = Answers(
        name=said["name"],
        address=tuple(line.strip() for line in said["address"].split(";")),
        currency=said["currency"].upper(),
        page=(args.page or "").rstrip("/"),
        tax_id=said["tax_id"],
        zone=args.zone.strip(),
        jurisdiction=args.jurisdiction.strip(),
        more=ShopAnswers(
            **{
                name: said[name]
                for name in ("contact", "tax_rate", "per_hour", "call_out", "diagnosis", "pays_by", "iban")
            }
        ),
    )
    for path in set_up(folder, answers):
        print(f"written: {path}")
    note_installed_operations(folder)
    written = answers_of(folder)
    if not any(float(price or 0) for price in (written.per_hour, written.call_out, written.diagnosis)):
        print(
            f"Fill in {folder / PRICE_FILE}; until then your work costs nothing and no estimate can be made."
        )
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


def _change(args: argparse.Namespace, folder: Path) -> int:
    """The same again for a shop that is there: an empty answer leaves what stands."""
    from ..desk.settings import PRICE_FILE
    from ..desk.setup import note_installed_operations
    from ..desk.shop_files import ShopAnswers, answers_of, change

    stands = answers_of(folder)
    said = _all_answers(_answers_given(args), stands)
    said.pop("currency")
    changed = change(folder, ShopAnswers(**said))
    for path in changed:
        print(f"changed: {path}")
    if added := note_installed_operations(folder):
        print(f"{len(added)} operations added to {folder / PRICE_FILE}, without a price.")
    if not changed and not added:
        print(f"{folder} is a shop already, and nothing was changed.")
    return 0


def _answers_given(args: argparse.Namespace) -> dict[str, str | None]:
    """What the command line says, by the name of the answer."""
    return {
        "name": args.name,
        "address": ";".join(args.address) if args.address is not None else None,
        "contact": args.contact,
        "tax_id": args.tax_number,
        "tax_rate": args.tax_rate,
        "currency": args.currency,
        "per_hour": args.hour,
        "call_out": args.call_out,
        "diagnosis": args.diagnosis,
        "pays_by": args.paid_by,
        "iban": args.iban,
    }


def _all_answers(given: dict[str, str | None], stands: ShopAnswers) -> dict[str, str]:
    """Every answer: as it was given, else as it is typed now; who gives all that must be said is asked
    nothing.
    """
    from ..desk.errors import DeskError

    again = bool(stands.name)
    is_asking = any(
        given[name] is None for name, _, must in _ASKED if must and not (again and name == "currency")
    )
    if again and any(text is not None for text in given.values()):
        is_asking = False
    said = {}
    for name, words, must in _ASKED:
        text = given[name]
        before = getattr(stands, name, "").replace("\n", "; ")
        while text is None and is_asking and not (again and name == "currency"):
            try:
                typed = input(
                    f"{words}{f' [{before}]' if before else '' if must else ' (or Enter)'}: "
                ).strip()
            except EOFError:
                if not must or again:
                    is_asking = False
                    break
                raise DeskError(
                    "\nThere was no answer, so nothing was set up. Answer, or say it with --name, --address"
                    " and --currency."
                ) from None
            text = typed if typed or not must or again else None
        said[name] = (text or "").strip()
    return said
