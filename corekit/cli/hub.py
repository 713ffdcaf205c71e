"""Run the hub of several vans, on a PostgreSQL database that exists.

It serves vans and the office on this machine; a proxy in front ends TLS. Names and plates are encrypted in
the database with a key that lies in a file: back up both, apart from each other.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--database",
        metavar="ADDRESS",
        required=True,
        help="as PostgreSQL writes it, such as postgresql:///corekit",
    )
    parser.add_argument(
        "--key",
        metavar="FILE",
        default="hub.key",
        help="the key of the texts (%(default)s); drawn if there is none",
    )
    parser.add_argument(
        "--host",
        default="127.0.0.1",
        help="address to listen on (%(default)s); another asks for --behind-proxy",
    )
    parser.add_argument("--port", type=int, default=8743, help="port to listen on (%(default)s)")
    parser.add_argument(
        "--name", metavar="HOST", action="append", default=[], help="name it answers under, as vans type it"
    )
    parser.add_argument(
        "--behind-proxy",
        metavar="ADDRESS",
        help="address of the proxy in front, which ends TLS: the only other machine that is answered, and its"
        " word on who asks is believed (X-Forwarded-For)",
    )
    parser.add_argument("--invite", metavar="VAN", help="print a code that enrols one van of this name")
    parser.add_argument(
        "--instead-of", metavar="LETTERS", default="", help="with --invite: the lost van whose place it takes"
    )
    parser.add_argument("--devices", action="store_true", help="list the devices")
    parser.add_argument("--revoke", metavar="LETTERS", help="let a device in no more; what it wrote stays")
    parser.add_argument(
        "--person", metavar="NAME", help="let somebody into the office; prints a passcode for the first day"
    )
    parser.add_argument(
        "--role", choices=("office", "mechanic", "bookkeeper"), default="office", help="with --person"
    )
    parser.add_argument(
        "--van", metavar="LETTERS", default="", help="with --role mechanic: the van whose jobs are shown"
    )
    parser.add_argument("--dismiss", metavar="NAME", help="let somebody into the office no more")
    parser.add_argument("--prices", metavar="FILE", help="the price book that every van pulls")
    parser.add_argument("--language", metavar="CODE", help="of the office's pages, such as de")
    parser.add_argument("--verify", action="store_true", help="check every chain, text and list")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from .command import require_hub

    require_hub()
    from ..hub.sealing import hub_key
    from ..hub.serving import open_hub, run_hub, said_of

    hub = open_hub(args.database, hub_key(Path(args.key)))
    try:
        told = said_of(hub, args)
        if told is None:
            run_hub(hub, host=args.host, port=args.port, names=args.name, proxy=args.behind_proxy)
            return 0
        for line in told.lines:
            print(line)
        return 1 if told.is_wrong else 0
    finally:
        hub.database.close()
