"""Open the screens for a visit: in the browser of this device, or with --hotspot on a phone or tablet in the
van's own network.

They ask for a passcode, which you choose when you first open them. A phone on the hotspot is paired once,
with --pair.
"""

from __future__ import annotations

import argparse

from ..errors import InputError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--hotspot",
        action="store_true",
        help="let paired phones and tablets in, over TLS, at this machine's private addresses",
    )
    parser.add_argument(
        "--pair",
        action="store_true",
        help="the same, and say how a phone is paired: a code to scan and a fingerprint to compare",
    )
    parser.add_argument(
        "--set-up",
        action="store_true",
        help="begin with a folder that holds no shop yet: the first screen sets it up",
    )
    parser.add_argument(
        "--forget-pairing",
        action="store_true",
        help="make a new certificate, so that the old one opens nothing; phones must be paired again",
    )
    parser.add_argument(
        "--new-passcode",
        action="store_true",
        help="set another passcode, which asks for the old one; every device has to give it from then on",
    )
    parser.add_argument(
        "--reset-passcode",
        action="store_true",
        help="the same where the old one is forgotten: whoever may write into the shop's folder may do it",
    )
    parser.add_argument(
        "--port",
        type=int,
        default=8742,
        help="port to listen on (%(default)s); with --hotspot also the one above it, for pairing",
    )
    parser.add_argument(
        "--address",
        action="append",
        default=[],
        help="with --hotspot: a private address of this machine that it does not find by itself",
    )
    parser.add_argument(
        "--lock-after",
        type=float,
        default=15,
        metavar="MINUTES",
        help="lock after so many minutes without use (%(default)s)",
    )


def run(args: argparse.Namespace) -> int:
    from ..desk.setup import may_be_set_up
    from ..screens.serve import check_shop, serve_here, serve_on_hotspot
    from ..web.passcode import has_passcode
    from .command import shop_folder

    folder = shop_folder(args.shop)
    if not (args.set_up and may_be_set_up(folder)):
        check_shop(folder)
    if not 1 <= args.lock_after <= 240:
        raise InputError(f"--lock-after: {args.lock_after:g} is not from 1 to 240 minutes.")
    if args.forget_pairing:
        return _forget_pairing(folder)
    if args.new_passcode and has_passcode(folder):
        _ask_for_old_passcode(folder)
    if args.new_passcode or args.reset_passcode or not has_passcode(folder):
        new_passcode(folder)
        if args.new_passcode or args.reset_passcode:
            return 0
    if args.hotspot or args.pair:
        if args.pair:
            make_authority(folder)
        import sys

        serve_on_hotspot(
            folder,
            port=args.port,
            lock_after=args.lock_after,
            extra_addresses=tuple(args.address),
            pair=args.pair,
            coloured=sys.stdout.isatty(),
            say=say,
        )
    else:
        serve_here(folder, port=args.port, lock_after=args.lock_after, say=say)
    print("Stopped. Everything acknowledged is saved.")
    return 0


def say(text: str) -> None:
    print(text, flush=True)


def _ask_for_old_passcode(folder: Path) -> None:
    import getpass
    import sys

    from ..web.passcode import PasscodeError, read_passcode

    known = read_passcode(folder)
    if sys.stdin.isatty():
        for _ in range(3):
            if known.fits(getpass.getpass("The passcode until now: ")):
                return
            print("That is not the passcode.")
    raise PasscodeError(
        "Nothing was changed: --new-passcode asks at a terminal for the passcode until now. Where it is"
        " forgotten: corekit work --reset-passcode"
    )


def new_passcode(folder: Path) -> None:
    """Ask for a passcode twice, unseen; draw one where there is no terminal to ask at."""
    import getpass
    import sys
    import time

    from ..web.passcode import SHORTEST, PasscodeError, passcode_fault, random_passcode, set_passcode

    if not sys.stdin.isatty():
        code = random_passcode()
        set_passcode(folder, code, drawn=time.time())
        print(
            f"The passcode of the screens is {code}; it is shown this once. Within a day it opens them to"
            " choose your own.",
            flush=True,
        )
        return
    print(
        f"Choose the passcode of the screens: at least {SHORTEST} characters, digits are quickest. It"
        " does not show while you type."
    )
    for _ in range(3):
        code = getpass.getpass("Passcode: ")
        fault = passcode_fault(code)
        if fault is None and getpass.getpass("Once more: ") != code:
            fault = "The two were not the same."
        if fault is None:
            set_passcode(folder, code)
            print("The passcode is set. Every device has to give it from now on.")
            return
        print(fault)
    raise PasscodeError("No passcode was set; try again.")


def make_authority(folder: Path) -> None:
    from datetime import UTC, datetime

    from ..web.pairing import make_authority

    make_authority(folder, datetime.now(UTC))


def _forget_pairing(folder: Path) -> int:
    from ..web.pairing import VanCertificate, forget_authority, has_pairing
    from .command import sure

    if has_pairing(folder) and not sure(
        "The phones that are paired now will not reach the screens any more, until each is paired again."
        " Continue?"
    ):
        print("Nothing was changed.")
        return 1
    forget_authority(folder)
    make_authority(folder)
    van = VanCertificate(folder)
    print(
        f"There is a new certificate, {van.title}. Remove the old one from the settings of every phone, then:"
        " corekit work --pair"
    )
    print("Screens that are open on the hotspot right now keep the old one until they are stopped.")
    return 0
