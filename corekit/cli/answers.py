"""Fetch what customers answered to estimates on the page, and record each answer once.

An answer to an estimate that expired or was replaced is void.
"""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    """It takes nothing but the shop."""


def run(args: argparse.Namespace) -> int:
    from ..desk.answering import fetch_answers
    from ..desk.shop import open_shop
    from .command import shop_folder

    with open_shop(shop_folder(args.shop)) as shop:
        fetched = fetch_answers(shop.context)
        for one in fetched:
            print(f"{one.job}, estimate {one.estimate!r}: {one.words}.")
        if not fetched:
            print("No new answer.")
    return 0
