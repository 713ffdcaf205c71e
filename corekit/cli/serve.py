"""Serve the page that the codes open, from what was published.

On this machine only, unless you say otherwise.

A machine without the shop can be its page server: name with --published the folder for what shops send. Put
a proxy in front of it that terminates TLS.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--host",
        default="127.0.0.1",
        help="address to listen on (%(default)s); another asks for --behind-proxy",
    )
    parser.add_argument(
        "--behind-proxy",
        metavar="ADDRESS",
        help="address of the proxy in front, which ends TLS: the only other machine that is answered, and its"
        " word on who asks is believed (X-Forwarded-For)",
    )
    parser.add_argument("--port", type=int, default=8741, help="port to listen on (%(default)s)")
    parser.add_argument(
        "--published",
        metavar="DIR",
        help="be a page server of its own: take what shops publish into this folder, and show it",
    )
    parser.add_argument(
        "--page",
        default="",
        help="with --published: the page address that the shops' codes are printed with, https://…",
    )
    parser.add_argument(
        "--key",
        metavar="FILE",
        default="page.key",
        help="with --published: the key for publishing (%(default)s); drawn if there is none",
    )
    parser.add_argument(
        "--language",
        metavar="CODE",
        default="en",
        help="with --published: of the page where a browser asks for none that there is (%(default)s)",
    )


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..web.pages import serve_published, serve_shop
    from .command import shop_folder

    if args.published:
        serve_published(
            Path(args.published),
            page=args.page.rstrip("/"),
            key=Path(args.key),
            host=args.host,
            port=args.port,
            proxy=args.behind_proxy,
            language=args.language,
        )
    else:
        serve_shop(shop_folder(args.shop), host=args.host, port=args.port, proxy=args.behind_proxy)
    return 0
