"""What the author of a plugin does about its failure: a sentence for each way of failing."""

from __future__ import annotations

#: How a failure begins, or what stands in it, and what to do. Where nothing fits the failure says it itself.
_CURES: tuple[tuple[tuple[str, ...], str], ...] = (
    (
        ("ended its process", "SystemExit"),
        "Never end the process (sys.exit, os._exit): at import raise an error, in a check yield case.gap(…).",
    ),
    (
        ("broke its process",),
        "Find what crashes there (ctypes, a compiled module, a signal) with python -X faulthandler.",
    ),
    (
        ("gave no answer",),
        "Bound every loop and every wait; an `except BaseException:` or a bare `except:` swallows the alarm.",
    ),
    (
        ("Overrun", "it took longer than"),
        "At import only declare, and in a check only compute: end the loop, bound it, and wait for nothing.",
    ),
    (("MemoryError",), "Take less: a plugin gets 512 MiB, and a check needs a few readings."),
    (("RecursionError",), "End the recursion, or write it as a loop."),
    (
        ("SyntaxError", "IndentationError", "TabError"),
        "Correct that line; python -m compileall finds others.",
    ),
    (
        ("ModuleNotFoundError", "ImportError"),
        "Install what it imports and name it under dependencies in its pyproject.toml; of corekit import only"
        " `import corekit as ck`.",
    ),
    (
        ("KeyboardInterrupt", "CriedError"),
        "Raise an error of your own: KeyboardInterrupt is the person's alone.",
    ),
    (
        ("AlteredError", "it changed what is not its own"),
        "Change nothing of corekit, of Python or of another plugin: work on copies. What adds to a system of"
        " another package is a ck.Addition.",
    ),
    (
        ("its name is taken",),
        "Give yours another key and its entry point that name, or uninstall one of the two.",
    ),
    (
        ("There is no unit",),
        "Write a unit that the table has, or declare it: system.unit(…, kind=…, title=…).",
    ),
    (("is declared twice",), "Give one of the two another name."),
    (("no source ",), "Correct the key, or describe the source in sources.toml beside the module."),
    (
        ("it adds nothing", "must return a System"),
        "Mark a function corekit_system with @ck.hookimpl and let it return the one finished ck.System.",
    ),
)
#: Errors of ours, which say what to write.
_SAY_THEMSELVES = (
    "TypeError",
    "ValueError",
    "ApiError",
    "DataFileError",
    "PluginValidationError",
    "SymptomError",
    "UnitError",
)
_MEND = "Mend that line; with COREKIT_TRACE=1 the traceback is printed."


def cure_of(failure: str) -> str:
    """What to do about a failure in words; empty where these say it themselves.

    >>> cure_of("RecursionError: maximum recursion depth exceeded, at corekit_horn/__init__.py line 7")
    'End the recursion, or write it as a loop.'
    >>> cure_of("TypeError: pitch: a bare bar is three things; write bar gauge")
    ''
    """
    for signs, cure in _CURES:
        if any(sign in failure for sign in signs):
            return cure
    return _MEND if " line " in failure and not failure.startswith(_SAY_THEMSELVES) else ""
