"""Write all that is kept of one customer into a file, when they ask for it.

Name every job of theirs. The file holds names, words and pictures: hand it to nobody else, then delete it.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", nargs="+", help="the job's name, or the beginning of its id")
    parser.add_argument("--out", metavar="FILE", required=True, help="where to write it, as JSON")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.person import person_text
    from ..desk.shop import open_shop
    from ..files import write_over
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        out = Path(args.out)
        write_over(out, person_text(shop.context, args.job).encode("utf-8"))
        out.chmod(0o600)
        print(f"Written: {out}. It holds personal data; hand it over and delete it.")
    return 0
