"""Copy the shop into a new folder: the record, which is verified there, settings, prices and keys. Others may
work meanwhile. While the screens are open one is made every day by itself, in the shop's folder; one
on a memory stick or another machine outlives this device.
"""

from __future__ import annotations

import argparse
from pathlib import Path


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "to", metavar="DIR", nargs="?", help="below which folder (the shop's own backups, if you say nothing)"
    )

    parser.add_argument("--daily", action="store_true", help="only if none was made today")


def run(args: argparse.Namespace) -> int:
    from ..desk.backup import back_up, daily_backup
    from ..desk.shop import open_shop
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        if args.daily:
            today = daily_backup(shop.context)
            print(today.path if today else "There is one of today already, or nothing to back up.")
            return 0
        made = back_up(shop.context, Path(args.to) if args.to else None)
    jobs = f"{made.jobs} job{'s' if made.jobs != 1 else ''}"
    print(f"{made.path}\nA whole copy with {jobs}, verified. It holds names, plates and keys: keep it safe.")
    print(f"Back from it, into an empty folder:  corekit restore {made.path} --shop DIR")
    return 0
