"""The command line: one thin module per verb, each loaded only when it is used."""

import sys

#: Verbs that run no plugin's code: nobody need look on.
_WITHOUT_PLUGINS = ("init", "serve", "verify", "restored", "help", "--help", "-h")

#: Verbs that print at once what they know.
_WITHOUT_CLASSES = ("help", "--help", "-h")


def main(argv: "list[str] | None" = None) -> int:
    """Run one command; gives the exit code (0 done, 1 refused, 2 not understood).

    Without `argv` it is this process's own command, and what a plugin does to it costs that plugin's system
    alone. With `argv` the command runs in the caller's process, without a supervisor.
    """
    words = sys.argv[1:] if argv is None else argv
    if words in (["--version"], ["-V"]):
        from .._version import __version__

        sys.stdout.write(f"corekit {__version__}\n")
        return 0
    if argv is None and words and words[0] not in _WITHOUT_PLUGINS:
        from ..isolation.supervisor import supervise

        return supervise(words, run_verb)
    return run_verb(words, "")


def run_verb(words: "list[str]", request: str) -> int:
    """Run one command in this process, as `command.run` says."""
    if not words or words[0] in _WITHOUT_CLASSES:
        from .command import run

        return run(words, request)
    from ..kept_classes import kept_classes

    with kept_classes():
        from .command import run

        return run(words, request)
