"""Propose what retested jobs say of the fault tables: how often faults are there and make somebody tell each
complaint, and what tests show under them. What is proposed stands beside the table's number with the visits
behind it, was checked on visits that had no part in it, and holds once you accept it.

How surely a part must be known before it is called for, and that a test must show it, is not learned.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--tables", metavar="FOLDER", help="learn from these tables, of several vans or shops"
    )
    parser.add_argument(
        "--strength", metavar="VISITS", type=float, help="the tables' own numbers count as so many visits; 50"
    )
    parser.add_argument("--accept", action="store_true", help="take over what was proposed last")
    parser.add_argument("--yes", action="store_true", help="do not ask before that")


def run(args: argparse.Namespace) -> int:
    import tempfile
    from pathlib import Path

    from ..desk import learned as kept
    from ..desk.shop import open_shop
    from ..errors import InputError
    from ..fleet.extra import needs
    from .command import shop_folder, sure

    folder = shop_folder(args.shop)
    if args.accept:
        proposed = folder / kept.PROPOSED_FILE
        if not proposed.is_file():
            raise InputError("Nothing is proposed; `corekit learn` makes a proposal.")
        print(proposed.read_text("utf-8"), end="")
        if not args.yes and not sure("Reason with these numbers from now on?"):
            print("Nothing was changed.")
            return 1
        print(f"{kept.accept(folder)}: in use.")
        return 0
    if args.strength is not None and not 1 <= args.strength <= 1e6:
        raise InputError(f"--strength takes visits from 1 to 1000000, e.g. 50; got {args.strength:g}.")
    needs("ibis", "duckdb", "pyarrow")
    from ..fleet.engines import on_duckdb
    from ..fleet.learning import STRENGTH, learn
    from ..fleet.proposal import as_toml, as_words, learned_of
    from ..fleet.tables import write_tables
    from ..fleet.visits import retested_visits

    with open_shop(folder) as shop, tempfile.TemporaryDirectory() as made:
        plugins = shop.context.load_plugins()  # the tables' own numbers, whatever was learned before
        faults = {key: one.faults for key, one in plugins.systems.items() if one.faults is not None}
        if args.tables:
            tables = Path(args.tables)
        else:
            tables = Path(made, "tables")
            write_tables(shop.context, tables)
        with on_duckdb(tables) as asked:
            visits = retested_visits(asked, faults)
        learning = learn(visits, faults, args.strength or STRENGTH)
        learned = learned_of(learning, faults, shop.context.now.date().isoformat())
        print("\n".join(as_words(learning, learned, plugins)))
        if learned:
            path = kept.propose(shop.context.folder, as_toml(learned, faults))
            print(f"\n{path}\nTake it over with:  corekit learn --accept")
    return 0
