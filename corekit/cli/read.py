"""Make a draft of a logger's file, or of the vehicle's own data: what happened in it, the readings and
records that the installed systems take from it, and what it can and cannot show.

Nothing is saved by it. With --into its rows are written into a visit file, after you have looked at them.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

TYPE_CHECKING = False
if TYPE_CHECKING:
    from ..desk.log_drafts import LogDraft, Told
    from ..plugin.host import Plugins

MOST_SECONDS = 3600.0


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", nargs="?", help="a logger's file")
    parser.add_argument(
        "--car",
        metavar="CHANNEL",
        help="read the car's own data over this channel of an adapter, e.g. can0; nothing is cleared or set",
    )
    parser.add_argument(
        "--interface", default="socketcan", help="the adapter, by python-can's name for it; else socketcan"
    )
    parser.add_argument("--bitrate", type=int, default=0, help="of the bus, where the adapter has to be told")
    parser.add_argument(
        "--seconds",
        type=float,
        default=10.0,
        help="how long live values are read; else 10, 0 for none",
    )
    parser.add_argument("--into", metavar="VISIT", help="write the draft into this visit file")
    parser.add_argument("--rows", metavar="1,2,5", help="of the draft these rows alone; all if left out")
    parser.add_argument("--yes", action="store_true", help="with --into: the draft was looked at before")
    parser.add_argument(
        "--column",
        metavar="TITLE=CHANNEL",
        action="append",
        default=[],
        help="what a column is that is not known by its title; may be given several times",
    )
    parser.add_argument(
        "--unit",
        metavar="TITLE=UNIT",
        action="append",
        default=[],
        help="the unit of a column that does not say it; may be given several times",
    )
    parser.add_argument("--time", metavar="UNIT", default="", help="what the time is in: s, ms, min, h …")
    parser.add_argument("--decimal", choices=(".", ","), default="", help="the decimal mark")


def run(args: argparse.Namespace) -> int:
    from ..desk.log_drafts import as_words
    from ..plugin.host import load

    plugins = load()
    draft = _draft(args, plugins)
    print(as_words(draft))
    if not args.into:
        if draft.rows:
            print("\nInto a visit file: the same command with --into visit.toml")
        return 0
    return _write(args, draft, plugins)


def _draft(args: argparse.Namespace, plugins: Plugins) -> LogDraft:
    from ..desk.log_drafts import draft_from_car, draft_from_file
    from ..errors import InputError

    if bool(args.file) == bool(args.car):
        raise InputError("Name a logger's file, or --car with a channel: corekit read log.csv")
    if args.car:
        if not 0 <= args.seconds <= MOST_SECONDS:
            raise InputError(f"--seconds: 0 to {MOST_SECONDS:g}; got {args.seconds:g}.")
        return draft_from_car(plugins, args.car, args.interface, bitrate=args.bitrate, seconds=args.seconds)
    path = Path(args.file)
    return draft_from_file(plugins, path.name, path.read_bytes(), _told_of(args))


def _told_of(args: argparse.Namespace) -> Told:
    from ..desk.log_drafts import Told

    return Told(
        columns=dict(_pair(text, "--column") for text in args.column),
        units=dict(_pair(text, "--unit") for text in args.unit),
        time=args.time,
        decimal=args.decimal,
    )


def _pair(text: str, option: str) -> tuple[str, str]:
    from ..errors import InputError

    title, mark, told = text.rpartition("=")
    if not (mark and title and told):
        raise InputError(
            f'{option}: write TITLE=…, e.g. {option} "Sensor 3=coolant_temperature"; got {text!r}.'
        )
    return title, told


def _write(args: argparse.Namespace, draft: LogDraft, plugins: Plugins) -> int:
    from ..desk.log_drafts import declared_here, write_into
    from ..errors import InputError
    from .command import shop_folder, sure

    rows = [draft.rows[n] for n in _numbers(args.rows, len(draft.rows))]
    if not rows:
        raise InputError("There is nothing to write.")
    path = Path(args.into)
    if not path.is_file():
        raise InputError(f"There is no visit file {args.into}; begin it first, a draft is added to its end.")
    if not args.yes and not sure(f"\nWrite {len(rows)} of these rows into {path.name}?"):
        print("Nothing was written.", file=sys.stderr)
        return 1
    for remark in write_into(path, rows, declared_here(plugins, shop_folder(args.shop))):
        print(remark)
    print(f"Written: {len(rows)} rows, at the end of {path}.\nNext:    corekit check {args.into}")
    return 0


def _numbers(text: str | None, count: int) -> list[int]:
    """Places of the rows that were chosen, from 0."""
    from ..errors import InputError

    if text is None:
        return list(range(count))
    found = []
    for part in text.split(","):
        if not part.strip().isdecimal() or not 1 <= int(part) <= count:
            raise InputError(f"--rows: the draft has rows 1 to {count}; got {part.strip()!r}.")
        found.append(int(part) - 1)
    return list(dict.fromkeys(found))
