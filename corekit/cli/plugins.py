"""List the systems that are installed, what each brings, and every plugin that failed to load, with what that costs."""

from __future__ import annotations

import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    del parser


def run(args: argparse.Namespace) -> int:
    from ..plugin.host import load

    plugins = load()
    for system in plugins.systems.values():
        counts = (
            (len(system.measurands), "measurands"), (len(system.observations), "observations"), (len(system.traits), "traits"),
            (len(system.calculations), "calculations"), (len(system.checks), "checks"), (len(system.operations), "operations"),
        )  # fmt: skip
        print(f"{system.key}  {system.title}, version {plugins.versions.get(system.key, 'unknown')}")
        print("  " + ", ".join(f"{count} {what}" for count, what in counts))
    for failure in plugins.failures:
        print(f"failed: {failure}")
    if not plugins.systems:
        print("No system is installed, so no reading can be judged.")
    return 1 if plugins.failures else 0
