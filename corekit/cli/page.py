"""Write the static page: one file that opens carried codes with no server, also from disk.

Its address goes into shop.toml as carried = "https://…". The key it knows signs the codes; print the key once
with --key and keep the sheet where nobody else looks.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--static", metavar="FILE", help="write the page into this file")
    parser.add_argument("--key", action="store_true", help="print the signing key, to be kept on paper")
    parser.add_argument(
        "--new-key", action="store_true", help="sign with a new key from now on; keep the old public one"
    )


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.carrying import known_keys, replace_key, signing_key, titles
    from ..desk.settings import SIGNING_KEY_FILE
    from ..desk.shop import open_shop
    from ..files import write_over
    from ..languages import screen_language
    from ..web.static_page import static_page
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        context = shop.context
        if args.new_key:
            replace_key(context)
            print("A new key was drawn. Write the static page again and put it where the old one is.")
        name = signing_key(context).name
        if args.static:
            page = static_page(
                known_keys(context),
                titles(context),
                context.settings.issuer.name,
                language=screen_language(context.settings.language),
            )
            write_over(Path(args.static), page.encode())
            print(
                f"Written: {args.static}. Put it on your web space and its address into shop.toml: carried."
            )
        if args.key:
            print((context.folder / SIGNING_KEY_FILE).read_text("ascii").strip())
            print("Whoever has this line signs as you. Print it once, and keep it out of reach.")
        print(f"Codes are signed with the key {name}.")
    return 0
