"""The version of what a plugin may use: public names, hooks and forms of data files.

It is not corekit's own version, which also moves when a screen changes. The first number changes when
something that plugins use goes or means something else, the second when something is added.
"""

from __future__ import annotations

import re

from ..errors import CorekitError

API_VERSION = "1.0"

_VERSION = re.compile(r"(\d{1,4})\.(\d{1,4})")


class ApiError(CorekitError):
    """A plugin was written for another version of the API than this corekit has."""


def check_api(system: str, declared: str) -> str:
    """The version that a system declares, if this corekit has it; empty where it declares none.

    Raises:
        ApiError: it is no version, of another first number, or newer than this corekit.
    """
    if not declared:
        return ""
    found = _VERSION.fullmatch(declared)
    if found is None:
        raise ApiError(
            f'{system}: api={declared!r} is no version; write two numbers, such as "{API_VERSION}".'
        )
    wanted, here = (int(found[1]), int(found[2])), tuple(map(int, API_VERSION.split(".")))
    if wanted[0] != here[0]:
        older = "an older" if wanted[0] < here[0] else "a newer"
        raise ApiError(
            f"{system} was written for API {declared}, {older} one than this corekit has ({API_VERSION});"
            " install the plugin's release for this corekit, or the corekit that it was written for."
        )
    if wanted > here:
        raise ApiError(
            f"{system} needs API {declared}, and this corekit has {API_VERSION}: pip install -U corekit."
        )
    return declared
