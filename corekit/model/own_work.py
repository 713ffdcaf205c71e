"""Work that no system declares: an oil change, a wiper, a bulb. The shop names it in its own words, and these
words are its key, so that it reads everywhere as it was typed.
"""

from __future__ import annotations

import re

from ..errors import InputError

#: How the key of a system's operation is written.
OPERATION_KEY = re.compile(r"[a-z0-9_]+(\.[a-z0-9_]+)+")
#: Characters of a name at most: a line of a bill.
LONGEST_NAME = 60
# A key, whole or in part: who forgets the system's name or the quotes meant an operation.
_KEY_LIKE = re.compile(r"[a-z0-9_.]+")


def is_own_work(key: str) -> bool:
    """True for work of the shop's own, false for the key of a system's operation, and for no work at all.

    >>> is_own_work("Oil change"), is_own_work("brakes.bleed"), is_own_work("")
    (True, False, False)
    """
    return bool(key) and _KEY_LIKE.fullmatch(key) is None


def own_work_name(text: str) -> str:
    """The name of own work as it is kept and printed.

    Raises:
        InputError: it cannot be a name.

    >>> own_work_name("  oil  change. ")
    'Oil change'
    """
    name = " ".join(text.split()).rstrip(". ")
    name = name if OPERATION_KEY.fullmatch(name) else name[:1].upper() + name[1:]
    if not name or not any(map(str.isalpha, name)):
        raise InputError(f"Own work has a name in words, such as Oil change; got {text!r}")
    if len(name) > LONGEST_NAME:
        raise InputError(f"The name of own work has at most {LONGEST_NAME} characters; it has {len(name)}")
    if not name.isprintable():
        raise InputError(f"The name of own work is one line of plain text; got {name!r}")
    if not is_own_work(name):
        raise InputError(
            f"{name!r} reads like the key of a system's operation; write own work in words: Oil change"
        )
    return name
