"""Put the screens together and open them: for the browser of this device, or for a phone on the van's
hotspot.
"""

from __future__ import annotations

import contextlib
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import flask

from ..desk.context import ShopContext
from ..desk.settings import read_settings
from ..desk.setup import is_demo, is_shop
from ..desk.shop import open_shop
from ..desk.syncing import hub_of, sync
from ..errors import CorekitError
from ..isolation.worker import Worker
from ..languages import ENGLISH
from ..practice.folder import PracticeFolder
from ..web.auth import LOCK_AFTER, PasscodeAuth
from ..web.pairing import PairingError, VanCertificate, is_private, own_addresses, terminal_code
from ..web.plain_page import PlainPage
from ..web.server import PORT, serve, server_for
from .app import first_run_app, work_app
from .context import Van
from .shop import FirstRun

Say = Callable[[str], None]


def check_shop(folder: Path) -> None:
    """Return when the folder holds a shop that can be opened, before anybody is asked for a passcode.

    Raises:
        DeskError: it does not.
    """
    read_settings(folder, demo=is_demo(folder))


@contextlib.contextmanager
def opened(folder: Path, auth: PasscodeAuth, say: Say = print) -> Iterator[flask.Flask | FirstRun]:
    """The screens behind a sign-in, with a worker process of their own for checks and calculations; closed
    with the block. In a folder without a shop the first of them sets one up.
    """
    with contextlib.ExitStack() as stack:
        if is_shop(folder):
            yield stack.enter_context(_opened_screens(folder, auth, say))
        else:
            yield first_run_app(folder, auth, lambda: stack.enter_context(_opened_screens(folder, auth, say)))


@contextlib.contextmanager
def _opened_screens(folder: Path, auth: PasscodeAuth, say: Say) -> Iterator[flask.Flask]:
    with (
        Worker() as worker,
        open_shop(folder, assessor=worker) as shop,
        _daily_backups(folder, say),
        synced_by_itself(shop.context, say),
    ):
        cars = PracticeFolder(shop.context) if shop.context.practice else None
        van = Van(shop.context, calculator=worker.calculate, log_reader=worker.read_log, practice=cars)
        yield work_app(van, auth)


#: How often a van is brought together with its hub while the screens are open, [s].
SYNC_EVERY = 300.0


@contextlib.contextmanager
def synced_by_itself(shop: ShopContext, say: Say, every: float = SYNC_EVERY) -> Iterator[None]:
    """Sync again and again while the screens are open, where this van has a hub. Says what came and went, and
    once when the hub cannot be reached: there may be no network for hours.
    """
    over = threading.Event()

    def look() -> None:
        told = ""
        while not over.is_set():
            fault = ""
            try:
                if hub_of(shop):
                    report = sync(shop)
                    if report.is_news:
                        say(" ".join(report.sentences))
            except CorekitError as error:
                fault = str(error)
            if fault and fault != told:
                say(f"Not synced: {fault}")
            told = fault
            over.wait(every)

    thread = threading.Thread(target=look, name="sync", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(_LAST_SYNC)


#: A sync that is under way when the screens are closed has so long to end, [s]; what is cut goes next time.
_LAST_SYNC = 10.0


#: How often it is looked whether today's backup was made, [s].
_LOOK_EVERY = 3600.0
#: The command line by this very Python; -P: whatever lies in the folder one stands in is not imported.
_COREKIT = (sys.executable, "-P", "-m", "corekit")


@contextlib.contextmanager
def _daily_backups(folder: Path, say: Say) -> Iterator[None]:
    """Make a backup a day while the screens are open, in a process of its own: copying and verifying years of
    jobs takes a while, and no screen waits for it.
    """
    over = threading.Event()

    def look() -> None:
        while True:
            command = [*_COREKIT, "backup", "--daily", "--shop", str(folder.resolve())]
            try:
                made = subprocess.run(command, capture_output=True, text=True, check=False)
                fault = made.stderr.strip() if made.returncode else ""
            except OSError as error:
                fault = str(error)
            if fault:
                say(f"Today's backup was not made: {fault}")
            if over.wait(_LOOK_EVERY):
                return

    thread = threading.Thread(target=look, name="backups", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()


def serve_here(folder: Path, *, port: int = PORT, lock_after: float = LOCK_AFTER, say: Say = print) -> None:
    """Serve the screens to the browser of this device, in plain http that never leaves it, until stopped.

    Raises:
        DeskError, StoreError, PasscodeError: the shop or its passcode cannot be used.
        ServeError: the port is taken.
    """
    with opened(folder, PasscodeAuth(shop=folder, lock_after=lock_after), say) as app:
        server = server_for(app, port=port)
        say(f"The screens are open in the browser of this device:  http://127.0.0.1:{server.bind_addr[1]}/")
        say(_ending_words(lock_after))
        serve(server)


def serve_on_hotspot(
    folder: Path,
    *,
    port: int = PORT,
    lock_after: float = LOCK_AFTER,
    extra_addresses: tuple[str, ...] = (),
    pair: bool = False,
    coloured: bool = False,
    say: Say = print,
) -> None:
    """Serve the screens over TLS to devices in the machine's own private networks, until stopped; plain http
    gets one page on the port above.

    Args:
        extra_addresses: Addresses of this machine that it does not know by itself.
        pair: Say how a phone is paired, with a code to scan (`coloured`: see `terminal_code`).

    Raises:
        PairingError: there is no certificate yet, an address is no private one, or the machine is in no
            network.
        DeskError, StoreError, PasscodeError, ServeError: as `serve_here`.
    """
    refused = [address for address in extra_addresses if not is_private(address)]
    if refused:
        raise PairingError(
            f"--address: {refused[0]!r} is no private address, so the van's certificate cannot vouch for it;"
            " e.g. 192.168.4.1."
        )
    van = VanCertificate(folder, addresses=lambda: (*dict.fromkeys((*extra_addresses, *own_addresses())),))
    addresses = van.addresses()
    if not addresses:
        raise PairingError(
            "This machine is in no network just now. Switch the hotspot on (or join the phone's), or say its"
            " address with --address."
        )
    if van.clock_fault:
        say(van.clock_fault)
    auth = PasscodeAuth(shop=folder, lock_after=lock_after, hosts=van.names, tls=True)
    with opened(folder, auth, say) as app:
        screens = server_for(app, "0.0.0.0", port, tls=van, answers_at=is_private)
        try:
            port = screens.bind_addr[1]
            page = PlainPage(van, port, port + 1, _screen_language(folder))
            plain = server_for(page, "0.0.0.0", port + 1, answers_at=is_private)
        except BaseException:
            screens.stop()
            raise
        van.page = page.answer
        for address in addresses:
            say(f"The screens are open in this machine's network:  https://{address}:{port}/")
        link = f"http://{addresses[0]}:{port + 1}/"
        say(
            pairing_words(van, link, coloured=coloured)
            if pair
            else f"A phone that is not paired yet is told how at:  {link}"
        )
        say(_ending_words(lock_after))
        serve(screens, plain)


def _screen_language(folder: Path) -> str:
    """Of the shop's screens; of a folder without a shop the one that they begin in."""
    return read_settings(folder, demo=is_demo(folder)).screen_language if is_shop(folder) else ENGLISH


def _ending_words(lock_after: float) -> str:
    return (
        f"They lock after {lock_after:g} minutes without use. Ctrl-C ends them; everything acknowledged"
        " is saved."
    )


def pairing_words(van: VanCertificate, link: str, *, coloured: bool) -> str:
    """How a phone is paired, what it means, and how it is taken back; with the fingerprint to compare.

    What phones ask and where they keep it differs and changes; what is said of it is common practice, without
    a source.
    """
    return f"""
Pair a phone, once. It must be on the same network as this machine (the van's hotspot).

1. Scan this with its camera, or open  {link}

{terminal_code(link, coloured=coloured)}

2. Download the certificate from that page. The phone asks whether to install it, or stores it and says that
   it is waiting in the settings: look there for "install a certificate", "CA certificate" or a downloaded
   profile, usually under security, privacy or general. It is listed as  {van.title}
3. Compare before you install it: the phone shows the certificate's fingerprint (SHA-256) among its details.
   Every pair must be the same as here; if one differs, do not install it: somebody is intercepting.

      {van.fingerprint.replace(chr(10), chr(10) + "      ")}

4. Some phones have a second switch that trusts the certificate for web pages; turn it on.
5. Open the screens at the https address above. They ask for the passcode.

What it means: from now on the phone accepts this machine as what it says it is. The certificate can vouch
for private addresses and for {van.host}, and for no public page. Its key is
{van.shop / "keys" / "van-ca.key"}; anybody with a copy of that file could pose as the van on a network
where the phone is.
To undo it, remove {van.title} in the same place in the phone's settings. If this machine or a copy of its
keys was lost, do that on every phone, and run  corekit work --forget-pairing
"""
