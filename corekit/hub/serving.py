"""What is asked of a hub from its own machine: serving it, its devices, its people, its prices, its trust."""

from __future__ import annotations

import argparse
import tomllib
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import attrs

from ..billing.price_file import read_price_book
from ..errors import InputError
from ..languages import name_of
from ..sync.message import LARGEST
from ..web.server import Limits, Server, check_line, serve, server_for
from . import devices, people, record
from .app import Hub, hub_app, open_hub, set_language, set_prices

#: Parcels with photos are large, and few of them come at one moment.
HUB = Limits(threads=100, lines=200, body_bytes=LARGEST, silent_seconds=30, held_bytes=LARGEST, at_once=8)


@attrs.frozen(kw_only=True)
class Told:
    """What is printed, and whether something is wrong."""

    lines: Sequence[str]
    is_wrong: bool = False


def said_of(hub: Hub, args: argparse.Namespace) -> Told | None:
    """What a word of the command line comes to; None where the hub is to be served.

    Raises:
        HubError, InputError: it cannot be.
    """
    if args.invite is not None:
        code = devices.invited(hub.database, args.invite, instead_of=args.instead_of)
        hours = devices.CODE_HOURS
        return Told(
            lines=[
                f"Code for {args.invite}: {code}  (once, within {hours} hours)",
                f"On the van:  corekit sync --hub ADDRESS --code {code}",
            ]
        )
    if args.revoke:
        devices.revoke(hub.database, args.revoke, datetime.now(UTC))
        with hub.database.line() as line:
            shut_out = people.mechanics_of(line, args.revoke)
        who = f" Its mechanics sign in no more: {', '.join(shut_out)}." if shut_out else ""
        return Told(lines=[f"{args.revoke} is let in no more. What it wrote stays.{who}"])
    if args.person:
        code = people.let_in(hub, args.person, args.role, args.van)
        return Told(
            lines=[
                f"{args.person} ({args.role}) signs in to the office with {code} within a day, and chooses a"
                " passcode there. It is not shown again."
            ]
        )
    if args.dismiss:
        people.dismiss(hub, args.dismiss)
        return Told(lines=[f"{args.dismiss} is let in no more, and signed out everywhere."])
    if args.prices:
        text = Path(args.prices).read_text("utf-8")
        try:
            read_price_book(tomllib.loads(text), args.prices)
        except tomllib.TOMLDecodeError as error:
            raise InputError(f"{args.prices} cannot be read: {error}") from error
        set_prices(hub, text)
        return Told(lines=["Every van pulls this price book when it syncs next."])
    if args.language:
        set_language(hub, args.language)
        return Told(lines=[f"The office's pages are in {name_of(args.language)} from now on."])
    if args.devices:
        with hub.database.line() as line:
            known = devices.devices(line)
        return Told(lines=[_device_words(one) for one in known])
    if args.verify:
        found = record.faults(hub.database, hub.key)
        return Told(
            lines=found or ["Every chain is whole, and the lists say what follows."], is_wrong=bool(found)
        )
    return None


def _device_words(one: devices.Device) -> str:
    state = f"revoked {one.revoked}" if one.revoked else f"last heard {one.synced or 'never'}"
    return f"{one.letters}  {one.name}, enrolled {one.enrolled}, {state}"


def hub_server(
    hub: Hub, *, host: str = "127.0.0.1", port: int = 0, names: Sequence[str] = (), proxy: str | None = None
) -> Server:
    """A server for a hub, bound but not yet running.

    Raises:
        ServeError: the address or port cannot be had, or strangers would be answered without TLS.
    """
    check_line(host, proxy)
    return server_for(hub_app(hub, hosts=names), host, port, limits=HUB, proxy=proxy)


def run_hub(hub: Hub, *, host: str, port: int, names: Sequence[str], proxy: str | None) -> None:
    """Serve until stopped."""
    server = hub_server(hub, host=host, port=port, names=names, proxy=proxy)
    print(f"The hub answers at http://{host}:{server.bind_addr[1]}/  (Ctrl-C stops it)", flush=True)
    serve(server)


__all__ = ["Hub", "open_hub"]
