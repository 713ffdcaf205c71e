"""Show the whole job on invented cars: needs no network, no settings and no input.

It sets up an invented shop, takes its visit files through finding, estimate, approval, repair, retest,
payment and invoice, and leaves documents and store in the folder. Everything it makes says DEMO.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--vans",
        metavar="NUMBER",
        type=int,
        help="show several vans and their hub instead; PostgreSQL must be installed",
    )
    parser.add_argument(
        "--stay", action="store_true", help="with --vans: keep hub and office open, until Ctrl-C"
    )
    parser.add_argument(
        "--out",
        metavar="DIR",
        default="demo-out",
        help="where to write (%(default)s); an earlier demo there is replaced",
    )


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.demo import run_demo
    from ..errors import InputError
    from .command import require_hub

    if args.stay and args.vans is None:
        raise InputError("--stay belongs to --vans.")
    lines = run_demo(Path(args.out))
    if args.vans is not None:
        require_hub()
        from ..hub.demo import run_vans

        lines = run_vans(Path(args.out), args.vans, stay=args.stay)
    for line in lines:
        print(line)
    return 0
