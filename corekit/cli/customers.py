"""Take in the customers that you had before: a CSV with a first row of name, phone, email, address, plate and
vehicle. Typing one of them on a new job then fills in the rest.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the CSV, UTF-8, comma or semicolon")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.customers import CUSTOMER_FILE, LARGEST, take_in
    from ..desk.errors import DeskError
    from ..desk.settings import SHOP_FILE
    from .command import shop_folder

    folder, path = shop_folder(args.shop), Path(args.file)
    if not (folder / SHOP_FILE).is_file():
        raise DeskError(f"{folder} is not a shop. Set one up with `corekit init {folder}`.")
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except OSError as error:
        raise DeskError(f"{path} cannot be read: {error.strerror}.") from error
    count = take_in(folder, data, path.name)
    print(f"{count} customers are in {folder / CUSTOMER_FILE}.")
    return 0
