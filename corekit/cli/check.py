"""Say what a visit file (or a job in the store) shows: findings, what was not evaluated, likely causes, and
the next tests.
"""

from __future__ import annotations

import argparse
import re


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("visit", metavar="FILE|JOB", help="a visit file, or the name of a job in the store")
    parser.add_argument(
        "--uncertainty",
        action="store_true",
        help="also show where the uncertainty of each judged value comes from",
    )
    parser.add_argument(
        "--minutes",
        metavar="N",
        type=minutes,
        help="minutes left of this visit: next tests that take longer are listed apart",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object instead of words")


def minutes(text: str) -> float:
    """Minutes as a person types them: 20, 7.5 or 7,5.

    Raises:
        ArgumentTypeError: it is not a number of minutes.
    """
    if not re.fullmatch(r"[0-9]{1,4}([.,][0-9])?", text.strip()):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of minutes; write one, e.g. 20.")
    return float(text.strip().replace(",", "."))


def run(args: argparse.Namespace) -> int:
    from ..desk.check import look
    from .command import is_file, shop_folder

    seen = look(
        args.visit, is_file=is_file(args.visit), folder=shop_folder(args.shop), minutes_left=args.minutes
    )
    if args.json:
        from ..desk.assessment_data import as_data
        from ..output import as_json

        print(as_json(as_data(seen)))
    else:
        from ..desk.assessment_text import as_words
        from ..desk.shown_units import in_units_of

        with in_units_of(seen.plugins):
            print(as_words(seen, uncertainty=args.uncertainty))
    return 0
