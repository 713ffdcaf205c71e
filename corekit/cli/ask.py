"""Ask a question over all jobs. Each row has its count and a 95 % interval; nothing is shown of fewer than
five vehicles, and no person is in what is asked.

The tables are written anew for each question, unless --tables names a folder of some (of several vans side by
side, in folders of their own) or --on another place that holds them.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "question", metavar="QUESTION", nargs="?", help="which one; without it, what there is"
    )
    parser.add_argument("--tables", metavar="FOLDER", help="of tables that `corekit tables` wrote")
    parser.add_argument(
        "--on", metavar="WHERE", default="duckdb", help="duckdb (usual), spark, or postgresql://…"
    )
    parser.add_argument("--csv", metavar="FILE", help="write the answer as CSV; - writes it here")
    parser.add_argument("--figure", metavar="FILE", help="draw it, as an SVG file")
    parser.add_argument("--keys", action="store_true", help="keys in place of titles")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.shop import open_shop
    from ..errors import InputError
    from ..files import write_over
    from ..fleet.answer import answer_of, as_csv, as_svg, as_text, headings, in_words
    from ..fleet.engines import tables_on
    from ..fleet.extra import needs
    from ..plugin.host import load
    from .command import shop_folder

    needs("ibis", "duckdb", "pyarrow")
    from ..fleet.questions import QUESTIONS

    if not args.question:
        print("\n".join(headings(QUESTIONS)))
        return 0
    if args.question not in QUESTIONS:
        raise InputError(f"There is no question {args.question!r}; there are {', '.join(QUESTIONS)}.")
    question = QUESTIONS[args.question]
    if args.tables or args.on.startswith("postgres"):
        plugins = load()
        with tables_on(args.on, Path(args.tables or ".")) as tables:
            answer = answer_of(question, tables)
    else:
        import tempfile

        from ..fleet.tables import write_tables

        with open_shop(shop_folder(args.shop)) as shop, tempfile.TemporaryDirectory() as folder:
            plugins = shop.context.plugins
            write_tables(shop.context, Path(folder, "tables"))
            with tables_on(args.on, Path(folder, "tables")) as tables:
                answer = answer_of(question, tables)
    shown = answer if args.keys else in_words(answer, plugins)
    if args.figure:
        write_over(Path(args.figure), as_svg(shown).encode("utf-8"))
        print(f"{args.figure}: drawn.")
    if args.csv == "-":
        print(as_csv(answer), end="")
    elif args.csv:
        write_over(Path(args.csv), as_csv(answer).encode("utf-8"))
        print(f"{args.csv}: {len(answer.rows)} rows.")
    else:
        print(as_text(shown), end="")
    return 0
