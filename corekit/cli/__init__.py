"""The command line: one thin module per verb, each loaded only when it is used."""

import sys


def main(argv: "list[str] | None" = None) -> int:
    """Run one command; gives the exit code (0 done, 1 refused, 2 not understood)."""
    words = sys.argv[1:] if argv is None else argv
    if words in (["--version"], ["-V"]):
        from .._version import __version__

        sys.stdout.write(f"corekit {__version__}\n")
        return 0
    from .command import run

    return run(words)
