"""Serve the page that the codes open, from what was published. On this machine only, unless you say otherwise."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (%(default)s)")
    parser.add_argument("--port", type=int, default=8741, help="port to listen on (%(default)s)")


def run(args: argparse.Namespace) -> int:
    from ..desk.serving import serve_shop
    from .command import shop_folder

    serve_shop(shop_folder(args.shop), host=args.host, port=args.port)
    return 0
