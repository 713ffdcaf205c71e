"""Write the tables of all jobs as Parquet files, for `corekit ask`, `corekit learn` or any program that reads
Parquet. Their columns are a closed list without persons; it is written beside them, in tables.toml.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder", metavar="FOLDER", nargs="?", help="where to; tables in the shop if left out"
    )
    parser.add_argument("--to", metavar="ADDRESS", help="a database that is to hold them too: postgresql://…")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.shop import open_shop
    from ..fleet.tables import write_tables
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        folder = Path(args.folder) if args.folder else shop.context.folder / "tables"
        written = write_tables(shop.context, folder)
    for name, count in written.rows.items():
        left = written.left_out[name]
        print(f"{name}: {count} rows" + (f"; {left} more did not fit its columns" if left else ""))
    print(folder)
    if args.to:
        from ..fleet.engines import load_postgres

        load_postgres(args.to, folder)
        print("The database holds them now.")
    return 0
