"""Practise on an invented car: the usual screens in a folder of their own, with hidden faults in the car.

*Read it on the car* fills in what the meter shows or the eye sees; type your own guess first, and it is
counted. Trials and repairs change the car. At the end it says what was wrong and how large. Everything says
PRACTICE, and every paper stays a draft.
"""

from __future__ import annotations

import argparse

from ..errors import InputError


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--out", metavar="DIR", default="practise-out", help="folder of the practice cars (%(default)s)"
    )
    parser.add_argument("--seed", type=int, help="this very car again; without it another one")
    parser.add_argument("--system", default="", help="faults of the system of this key alone")
    parser.add_argument(
        "--hard", action="store_true", help="two faults as a rule, and some that show now and then alone"
    )
    parser.add_argument("--hotspot", action="store_true", help="as for `corekit work`: on a paired phone")
    parser.add_argument("--pair", action="store_true", help="as for `corekit work`: pair a phone")
    parser.add_argument("--port", type=int, default=8742, help="port to listen on (%(default)s)")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from ..desk.shop import open_shop
    from ..plugin.host import load
    from ..practice.declared import practices
    from ..practice.folder import PracticeFolder, Wish, drawn_seed, set_up
    from ..screens.serve import serve_here, serve_on_hotspot
    from ..web.passcode import has_passcode
    from .work import make_authority, new_passcode, say

    folder, plugins = Path(args.out), load()
    if args.system:
        practices(plugins, [args.system])  # says which can be practised, before anything is written
    seed = drawn_seed() if args.seed is None else args.seed
    if seed < 0:
        raise InputError(f"--seed: {seed} is below 0.")
    set_up(folder, plugins)
    with open_shop(folder, plugins=plugins) as shop:
        PracticeFolder(shop.context).begin(Wish(seed=seed, system=args.system, hard=args.hard))
    kind = "".join([f" --system {args.system}" if args.system else "", " --hard" if args.hard else ""])
    say(f"A practice car stands in the driveway. The same one again: corekit practise --seed {seed}{kind}")
    if not has_passcode(folder):
        new_passcode(folder)
    if args.hotspot or args.pair:
        if args.pair:
            make_authority(folder)
        serve_on_hotspot(folder, port=args.port, pair=args.pair, say=say)
    else:
        serve_here(folder, port=args.port, say=say)
    return 0
