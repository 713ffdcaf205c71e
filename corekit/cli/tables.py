"""Write the tables of all jobs as Parquet files, for `corekit ask`, `corekit learn` or any program that reads
Parquet. Their columns are a closed list without persons; it is written beside them, in tables.toml.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from ..fleet.tables import Written


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder", metavar="FOLDER", nargs="?", help="where to; tables in the shop if left out"
    )
    parser.add_argument(
        "--hub", metavar="ADDRESS", help="of the jobs of all vans, from their hub's database: postgresql://…"
    )
    parser.add_argument(
        "--key", metavar="FILE", default="hub.key", help="with --hub: the key of the texts (%(default)s)"
    )
    parser.add_argument("--by-month", action="store_true", help="a folder for the jobs of each month")
    parser.add_argument("--to", metavar="ADDRESS", help="a database that is to hold them too: postgresql://…")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.shop import open_shop
    from ..fleet.tables import write_tables
    from .command import shop_folder

    if args.hub:
        folder = Path(args.folder or "tables")
        written = _of_all_vans(args.hub, Path(args.key), folder, args.by_month)
    else:
        with open_shop(shop_folder(args.shop)) as shop:
            folder = Path(args.folder) if args.folder else shop.context.folder / "tables"
            written = write_tables(shop.context, folder, by_month=args.by_month)
    for name, count in written.rows.items():
        left = written.left_out[name]
        print(f"{name}: {count} rows" + (f"; {left} more did not fit its columns" if left else ""))
    print(folder)
    if args.to:
        from ..fleet.engines import load_postgres

        load_postgres(args.to, folder)
        print("The database holds them now.")
    return 0


def _of_all_vans(address: str, key: Path, folder: Path, by_month: bool) -> Written:
    """The tables of the jobs of all vans, as the plugins that are installed here assess them."""
    from functools import partial

    from ..assess.assessment import assess
    from ..errors import InputError
    from ..fleet.tables import write_tables_of
    from ..plugin.host import load
    from .command import require_hub

    require_hub()
    from ..hub.app import is_demo, open_hub
    from ..hub.jobs import HubJobs
    from ..hub.sealing import hub_key

    if not key.is_file():
        raise InputError(f"{key}: there is no key of a hub; name its file with --key.")
    hub = open_hub(address, hub_key(key), demo=None)
    try:
        plugins = load()
        made = partial(assess, plugins=plugins)
        return write_tables_of(
            HubJobs(hub), folder, plugins, made, demo=is_demo(hub), now=hub.clock(), by_month=by_month
        )
    finally:
        hub.database.close()
