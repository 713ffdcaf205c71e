"""Calculate something outside any job: every calculation that an installed system declares, with its range
and its source.

Without arguments it lists them; with a calculation's name it says what that one takes; with the inputs too it
gives the result, with its uncertainty. In a shop, or for one, in the shop's units.
"""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

    from ..plugin.host import Plugins


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "calculation", metavar="NAME", nargs="?", help="a calculation, as listed: system.name"
    )
    parser.add_argument(
        "inputs",
        metavar="INPUT=VALUE",
        nargs="*",
        help='each input with its unit, e.g. temperature="15 °C"; a range or a ± is understood',
    )


def run(args: argparse.Namespace) -> int:
    from ..desk.settings import read_settings
    from ..desk.shown_units import shown_in
    from ..plugin.host import load
    from .command import shop_folder

    folder = shop_folder(args.shop)
    is_in_shop = bool(args.shop) or (folder / "shop.toml").is_file()
    settings = read_settings(folder, demo=True) if is_in_shop else None
    with shown_in(settings.units if settings is not None else ()):
        return _say(args, load(), settings.decimal if settings is not None else "")


def _say(args: argparse.Namespace, plugins: Plugins, decimal: str) -> int:
    from ..desk.calculating import work_out
    from ..desk.errors import DeskError

    if args.calculation is None:
        print("\n".join(_all(plugins)))
        return 0
    if not args.inputs:
        print("\n".join(_one(plugins, args.calculation)))
        return 0
    odd = [text for text in args.inputs if "=" not in text]
    if odd:
        raise DeskError(
            f'{odd[0]!r} names no input; write its name, = and the value in quotes, such as temperature="15'
            ' °C".'
        )
    result = work_out(plugins, args.calculation, dict(text.split("=", 1) for text in args.inputs), decimal)
    for label, shown in result.understood:
        print(f"{label}: {shown}")
    print(
        f"\n{result.label}: {result.shown}\n\n{result.source.named}. Basis: {result.source.basis}; how we"
        f" know it: {result.source.status}."
    )
    return 0


def _all(plugins: Plugins) -> Iterator[str]:
    for system in plugins.systems.values():
        if system.calculations:
            yield system.title
            width = max(map(len, system.calculations))
            yield from (
                f"  {key:<{width}}  {calculation.title}" for key, calculation in system.calculations.items()
            )
    yield "\nWhat one of them takes:  corekit calculate NAME"


def _one(plugins: Plugins, key: str) -> Iterator[str]:
    from ..desk.calculating import calculation_named, fields_of, source_of

    calculation = calculation_named(plugins, key)
    yield f"{calculation.key}: {calculation.title}"
    for field in fields_of(calculation, plugins):
        unit = ", ".join(one or "a plain number" for one in field.units) or "a plain number"
        yield f"  {field.name}=…  {field.label}, in {unit}" + (f"; {field.span}" if field.span else "")
    yield f"It gives: {calculation.output.label}"
    yield f"Source: {source_of(plugins, calculation).named}"
