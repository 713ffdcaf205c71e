"""Show the whole job on invented cars: needs no network, no settings and no input.

It sets up an invented shop, takes its visit files through finding, estimate, approval, repair, retest,
payment and invoice, and leaves documents and store in the folder. Everything it makes says DEMO.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--out",
        metavar="DIR",
        default="demo-out",
        help="where to write (%(default)s); an earlier demo there is replaced",
    )


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.demo import run_demo

    for line in run_demo(Path(args.out)):
        print(line)
    return 0
