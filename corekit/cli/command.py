"""Find the verb, read its words, run it, and say in one clear text what went wrong."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from pathlib import Path

from ..errors import CorekitError, InputError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from decimal import Decimal
    from typing import NoReturn

    from ..model.money import Money

#: Columns of what help prints.
WIDTH = 90

#: Verb → what it does, in the order of a visit.
VERBS = {
    "demo": "show the whole job on invented cars, in ./demo-out",
    "init": "set up your shop: name, prices, where invoices are numbered",
    "sync": "bring this van together with the shop's other vans, over their hub",
    "hand": "hand a job to another van",
    "hub": "run the hub of several vans, on PostgreSQL; its devices, people and prices",
    "work": "open the screens: a whole visit in the browser of a phone",
    "practise": "practise a visit on an invented car with hidden faults",
    "check": "say what a visit file or a job shows, and which test comes next",
    "read": "make a draft of a logger's file or of the car's own data, to look at",
    "add": "save a visit file in the store, or what has changed in it",
    "estimate": "make an estimate and save it; the customer approves exactly this",
    "approve": "record the customer's approval of an estimate",
    "change": "say what approved work really took, and what more was approved",
    "answers": "fetch what customers answered to estimates on the page",
    "invoice": "take a number and issue the invoice",
    "pay": "record a payment for a job",
    "refund": "record money given back for a job",
    "credit": "issue a credit note on an invoice, whole or in part",
    "writeoff": "ask no more for some of an issued invoice",
    "books": "the money of a day, month or year, and what is open; as CSV too",
    "remind": "write a reminder of an invoice that is overdue",
    "drawer": "the cash drawer: counted, put in, taken out, and what should lie in it",
    "tables": "write the tables of all jobs as Parquet files, without persons",
    "ask": "ask a question over all jobs: causes, tests, comebacks, prices, readings",
    "learn": "propose what retested jobs say of the fault tables",
    "export": "write an issued invoice in another form, such as an e-invoice",
    "receipt": "print the receipt for a payment that the invoice does not show",
    "publish": "send issued invoices' pages to where their codes lead",
    "links": "list an invoice's links, make another one, or take one down",
    "withdraw": "take the page of an invoice down, for good",
    "page": "write the page that opens codes without a server; print or renew its key",
    "serve": "serve the page that the codes open, on this machine",
    "customers": "take in the customers you had before, from a CSV",
    "person": "write all that is kept of one customer, when they ask for it",
    "forget": "destroy a customer's name, plate and words after retention",
    "backup": "copy the shop into a folder, verified, while others work",
    "restore": "make a shop from a backup",
    "verify": "check that nothing in the store was changed or lost",
    "open": "open a paper somebody brings: does it print what it carries?",
    "restored": "say that this store is a restored copy, before you continue in it",
    "calculate": "run a calculation of an installed system",
    "plugins": "list the systems that are installed and the words for a visit file",
    "new-plugin": "write a complete plugin for a system of your own, to change",
}

#: Verbs that look at no shop, or name its folder by themselves; they take --shop without showing it.
_WITHOUT_SHOP = ("demo", "hub", "init", "new-plugin", "plugins", "practise")

#: Verbs that know --json.
_WITH_JSON = ("check",)

_INTRO = """corekit takes one driveway visit from the complaint to an invoice the customer can check.

You write down the visit in a file, in the order it happens; `corekit check visit.toml` tells you what the
readings show and what to test next. See it all on invented cars first:  corekit demo"""

_OUTRO = """Each verb explains itself:  corekit estimate --help
A JOB is the name in the file (job = "…") or the beginning of its id. The shop is the folder you are in,
if it is one, else the one in COREKIT_SHOP, else ~/corekit; --shop names another."""


def run(words: list[str], request: str = "") -> int:
    """Run one command; nothing a person does wrong shows a traceback, and nothing printed steers a terminal.

    Args:
        request: Id of what it writes: said again under it, it writes nothing more. Empty where a command is
            run only once.
    """
    from contextlib import redirect_stderr, redirect_stdout

    from ..output import Output

    with redirect_stdout(Output(sys.stdout)), redirect_stderr(Output(sys.stderr)):
        return _run(words, request)


def _run(words: list[str], request: str) -> int:
    try:
        if not words or words[0] in ("-h", "--help", "help"):
            print(_overview())
            return 0
        if words[0] not in VERBS:
            return _refuse_verb(words[0])
        verb = importlib.import_module(f".{words[0].replace('-', '_')}", __package__)
        parser = _Parser(
            prog=f"corekit {words[0]}",
            description=_paragraphs(verb.__doc__ or ""),
            formatter_class=_Help,
            allow_abbrev=False,
        )
        needless = (
            argparse.SUPPRESS
            if words[0] in _WITHOUT_SHOP
            else "the shop's folder, if it is not the one you are in"
        )
        parser.add_argument("--shop", metavar="DIR", help=needless)
        parser.add_argument(
            "--without",
            metavar="NAME",
            action="append",
            default=[],
            help="start without this plugin; may be given several times",
        )
        verb.arguments(parser)
        args = parser.parse_args(words[1:])
        args.request = request
        _leave_out(args.without)
        return int(verb.run(args))
    except _UsageError as error:
        if _wants_json(words):
            print(_as_json(error))
        else:
            print(error.usage, end="", file=sys.stderr)
            print(f"corekit {words[0]}: error: {error}", file=sys.stderr)
        return 2
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 2
    except KeyboardInterrupt:
        print("\nStopped. Everything acknowledged is saved.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # Whoever read our words has gone (`| head`); that is no fault of anybody's.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        if os.environ.get("COREKIT_TRACE"):
            raise
        if _wants_json(words):
            print(_as_json(error))
        else:
            print(_in_words(error), file=sys.stderr)
        return 1


def _leave_out(names: list[str]) -> None:
    """Start without these plugins.

    Raises:
        InputError: none of that name is installed.
    """
    from ..plugin import set_aside

    for name in [one for one, why in set_aside.plugins.items() if why == set_aside.BY_WISH]:
        del set_aside.plugins[name]  # of an earlier command in this process
    if not names:
        return
    from importlib.metadata import entry_points

    installed = sorted({point.name for point in entry_points(group="corekit")})
    for name in names:
        if name not in installed:
            raise InputError(
                f"--without: no plugin {name!r} is installed; installed are {', '.join(installed) or 'none'}."
            )
        set_aside.plugins[name] = set_aside.BY_WISH


class _UsageError(Exception):
    """Words that a verb does not take, with its usage."""

    def __init__(self, text: str, usage: str) -> None:
        super().__init__(text)
        self.usage = usage


class _Parser(argparse.ArgumentParser):
    """Leaves it to `run` to say what is wrong: in words, or as JSON."""

    def error(self, message: str) -> NoReturn:
        raise _UsageError(message, self.format_usage())


def _wants_json(words: list[str]) -> bool:
    """True where the verb knows --json and was asked for it; whoever reads it gets refusals in it too."""
    return words[0] in _WITH_JSON and "--json" in words[1:]


def _as_json(error: Exception) -> str:
    """A refusal for programs: each fault with what is wrong, where, and what to do."""
    from ..fault import DataFault, DataFileError
    from ..output import as_json

    if isinstance(error, DataFileError):
        text, faults = str(error), error.faults
    elif isinstance(error, _UsageError):
        text = str(error)
        faults = (DataFault("command line", "", text, " ".join(error.usage.removeprefix("usage: ").split())),)
    else:
        text = _in_words(error)
        where = error.filename if isinstance(error, OSError) and isinstance(error.filename, str) else ""
        faults = (DataFault(where, "", text),)
    data = {"refused": True, "text": text, "faults": [fault.data for fault in faults]}
    return as_json(data)


class _Help(argparse.RawDescriptionHelpFormatter):
    """Wide enough that no explanation falls apart into words."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=28, width=WIDTH)


def _paragraphs(text: str) -> str:
    import textwrap

    return "\n\n".join(textwrap.fill(paragraph, WIDTH) for paragraph in text.strip().split("\n\n"))


def _overview() -> str:
    width = max(map(len, VERBS))
    rows = "\n".join(f"  corekit {verb:<{width}}  {what}" for verb, what in VERBS.items())
    return f"{_INTRO}\n\n{rows}\n\n{_OUTRO}"


def _refuse_verb(word: str) -> int:
    from ..fault import any_of, near

    meant = near(word, VERBS)
    hint = f" Do you mean {any_of(meant)}?" if meant else ""
    print(f"There is no verb {word!r}.{hint} `corekit --help` lists them all.", file=sys.stderr)
    return 2


def _in_words(error: Exception) -> str:
    """Our own refusals speak for themselves; anything else is either the disk's word or a fault of ours."""
    if isinstance(error, CorekitError):
        return str(error)
    if isinstance(error, OSError):
        where = f" ({error.filename})" if error.filename else ""
        return f"The system refused{where}: {error.strerror or error}. Nothing acknowledged before is lost."
    return (
        f"corekit failed and this is its own fault, not yours ({type(error).__name__}: {error}). Nothing"
        " acknowledged is lost. Please report it; with COREKIT_TRACE=1 in the environment the same command"
        " prints the details to send along."
    )


def shop_folder(named: str | None) -> Path:
    """The shop's folder: as named, else the current one if it is a shop, else COREKIT_SHOP,
    else ~/corekit.
    """
    if named:
        return Path(named)
    if Path("shop.toml").is_file():
        return Path()
    return Path(os.environ.get("COREKIT_SHOP") or Path.home() / "corekit")


def same_shop(named: str | None) -> str:
    """What a command that is proposed next has to say of the shop: nothing, unless it was named by --shop."""
    import shlex

    return f" --shop {shlex.quote(named)}" if named else ""


def is_file(text: str) -> bool:
    """True when the word means a visit file and not a job."""
    return text.endswith((".toml", ".json")) or Path(text).is_file()


def money(text: str, currency: str) -> Money:
    """An amount as a person types it; nothing is rounded.

    Raises:
        ValueError: it is no amount, is negative, or has more decimals than the currency.
    """
    import re

    from ..model.money import Money, minor_digits

    digits = minor_digits(currency)
    if not re.fullmatch(r"[0-9]{1,9}" + (rf"([.,][0-9]{{1,{digits}}})?" if digits else ""), text.strip()):
        raise InputError(
            f"{text!r} is not an amount of money; write it like {Money(12000, currency)}, without currency"
            " and marks between thousands."
        )
    return Money.of(text.strip().replace(",", "."), currency)


def distance(text: str | None) -> Decimal | None:
    """Kilometres as a person types them.

    Raises:
        ValueError: it is no distance.
    """
    return quantity(text, "--km", "a distance in kilometres")


def quantity(text: str | None, option: str, what: str) -> Decimal | None:
    """A number as a person types it, of at most three decimals.

    Raises:
        ValueError: it is none.
    """
    if text is None:
        return None
    import re
    from decimal import Decimal

    if not re.fullmatch(r"[0-9]{1,5}([.,][0-9]{1,3})?", text.strip()):
        raise InputError(f"{option}: {text!r} is not {what}; write a number, e.g. 12.5.")
    return Decimal(text.strip().replace(",", "."))


def require_hub() -> None:
    """Return where the hub's extra is installed.

    Raises:
        InputError: it is not.
    """
    from importlib.util import find_spec

    if find_spec("psycopg") is None:
        raise InputError("The hub needs more than a van does. Install it with: pip install 'corekit[hub]'")


def sure(question: str) -> bool:
    """Ask before something that cannot be undone; no answer is a no."""
    try:
        print(f"{question} [y/N] ", end="", flush=True)  # input's own prompt goes past what cleans the output
        return input("").strip().lower() in ("y", "yes")
    except EOFError:
        return False


def only_with_draft(args: argparse.Namespace, *more: str) -> None:
    """Refuse what only a draft has.

    Raises:
        InputError: one of its options was given without --draft.
    """
    for name in ("out", "text", *more):
        if getattr(args, name):
            raise InputError(f"--{name} belongs to a draft; add --draft, or omit it. Nothing was written.")


def draft_path(args: argparse.Namespace) -> Path | None:
    """Where a draft is written, if somebody says where."""
    return Path(args.out) if args.out else None
