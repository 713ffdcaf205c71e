"""Make a shop from a backup, in an empty folder or beside the settings that are there. The record is verified
first, and goes on under letters of its own, so that no invoice number is used twice.
"""

from __future__ import annotations

import argparse
from pathlib import Path


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("backup", metavar="BACKUP", help="the folder that `corekit backup` made")


def run(args: argparse.Namespace) -> int:
    from ..desk.backup import restore
    from .command import shop_folder

    made = restore(Path(args.backup), shop_folder(args.shop))
    print(f"{made.folder}: {made.jobs} job{'s' if made.jobs != 1 else ''} restored, and everything verifies.")
    if made.kept:
        print(f"Kept as they were there: {', '.join(made.kept)}.")
    print(f"Invoices of this copy are numbered with {made.letters} from now on, so no number is used twice.")
    return 0
