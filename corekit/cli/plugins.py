"""List the systems that are installed, what each brings, and every plugin that failed to load, with what that
costs.

With a system's name it lists the words that a visit file may use for it: what can be measured and seen, the
vehicle equipment, and the work. With --check it runs the conformance kit over the system and names each fault
with its cure; with --explain it says what each plugin adds, where it comes from and how long it takes to
load.
"""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from enum import Enum

    from ..plugin.system import System


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "system", metavar="SYSTEM", nargs="?", help="a system's name, as listed: the words for a visit file"
    )
    parser.add_argument(
        "--check", action="store_true", help="for its author: say what SYSTEM does not fulfil, and the cure"
    )
    parser.add_argument(
        "--explain", action="store_true", help="what each adds, its hooks, package and load time"
    )


def run(args: argparse.Namespace) -> int:
    from ..desk.errors import DeskError
    from ..plugin.host import load

    if args.check and args.system is None:
        raise DeskError("--check wants a system's name, as `corekit plugins` lists it.")
    if args.explain:
        from ..plugin.explained import explanation

        print("\n".join(explanation(args.system)))
        return 0
    plugins = load()
    if args.check:
        from ..testing.kit.printed import checked_lines

        faults, lines = checked_lines(args.system, plugins)
        print("\n".join(lines))
        return 1 if faults else 0
    if args.system is not None:
        if args.system not in plugins.systems:
            raise DeskError(
                f"There is no system {args.system!r}; installed are {', '.join(plugins.systems) or 'none'}."
            )
        print("\n".join(_words(plugins.systems[args.system])))
        return 0
    for system in plugins.systems.values():
        counts = (
            (len(system.parts), "parts"),
            (len(system.measurands), "measurands"),
            (len(system.records), "records"),
            (len(system.observations), "observations"),
            (len(system.traits), "traits"),
            (len(system.calculations), "calculations"),
            (len(system.checks), "checks"),
            (len(system.operations), "operations"),
        )
        origin = plugins.distributions.get(system.key)
        print(
            f"{system.key}  {system.title}, version {plugins.versions.get(system.key, 'unknown')}"
            + (f", from {origin}" if origin else "")
        )
        print("  " + ", ".join(f"{count} {what}" for count, what in counts))
    for name, more in plugins.additions.items():
        print(f"{name}  {more.title}, adds to {plugins.systems[more.key].title}")
    for failure in plugins.failures:
        print(f"{'left out' if failure.is_wished else 'failed'}: {failure.for_author}")
    if not plugins.systems:
        print("No system is installed, so no reading can be judged.")
    else:
        print(f"\nThe words for a visit file:  corekit plugins {next(iter(plugins.systems))}")
    return 0 if all(failure.is_wished for failure in plugins.failures) else 1


def _words(system: System) -> Iterator[str]:
    """Every key a person may type, with what it is called and what may stand behind it."""
    beside = {key for measurand in system.measurands.values() for key in measurand.conditions}
    yield (
        f"{system.title}\n\nreadings = [ {{ of = …, is = … }} ], and setup = {{ … }} for what they are read"
        " with"
    )
    for measurand in system.measurands.values():
        places = f"place = {_places(measurand.places)}" if measurand.places else ""
        setup = (
            f"with setup {', '.join(measurand.conditions)}"
            if measurand.conditions
            else "in setup"
            if measurand.key in beside
            else ""
        )
        yield from _row(measurand.key, f"{measurand.title}, {_unit(measurand.unit)}", places, setup)
    if system.records:
        yield '\nrecords = [ { of = …, file = … } ], or points = [ "…: …", … ] in place of the file'
    for record in system.records.values():
        places = f"place = {_places(record.places)}" if record.places else ""
        over = f"over {record.over_title.lower()} {_unit(record.over_unit)}"
        yield from _row(record.key, f"{record.title}, {_unit(record.unit)} {over}", places)
    yield "\nseen = [ { of = …, is = … } ]"
    for observation in system.observations.values():
        places = f"place = {_places(observation.places)}" if observation.places else ""
        yield from _row(observation.key, observation.title, places, f"is = {_answers(observation.answers)}")
    yield '\n[traits], each also "don\'t know"'
    for trait in system.traits.values():
        yield from _row(
            trait.key, trait.title, _answers(trait.answers) if trait.answers else _unit(*trait.units)
        )
    if system.symptoms:
        yield "\n[complaint] symptoms = [ … ], besides those that every vehicle has"
    for told in system.symptoms.values():
        yield from _row(told.symptom.key, told.symptom.words)
    if system.settings:
        yield f"\nin shop.toml, [plugins.{system.key}]"
    for setting in system.settings.values():
        what = _answers(setting.answers) if setting.answers else _unit(*setting.units)
        default = f'"{setting.default}" where nothing is said'
        yield from _row(setting.key.partition(".")[2], setting.title, what, default)
    yield "\nrequested = { operation = … }, repaired = { operation = … }, and the price book's [operations.…]"
    for operation in system.operations.values():
        yield from _row(operation.key, operation.title)


def _row(key: str, *parts: str) -> list[str]:
    import textwrap

    return textwrap.wrap(
        f'"{key}"  {"; ".join(filter(None, parts))}',
        100,
        initial_indent="  ",
        subsequent_indent="      ",
        break_on_hyphens=False,
    )


def _places(names: Sequence[str]) -> str:
    """Each place; a run that only counts (cylinder 1, cylinder 2, …) by its two ends."""
    heads = [name.removesuffix(f" {count}") for count, name in enumerate(names, 1)]
    run = next(
        (count for count, head in enumerate(heads) if head != heads[0] or head == names[count]), len(names)
    )
    return _any(names) if run < 3 else f'"{names[0]}" to {_any(names[run - 1 :])}'


def _unit(*texts: str) -> str:
    from .. import units

    return (
        "in " + " or ".join(dict.fromkeys(map(units.declared_text, texts)))
        if texts != ("1",)
        else "a plain number"
    )


def _answers(answers: type[Enum]) -> str:
    return _any(str(answer.value) for answer in answers)


def _any(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
