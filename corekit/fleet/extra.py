"""What the extra `fleet` brings."""

from __future__ import annotations

from importlib.util import find_spec

from ..errors import InputError


def needs(*modules: str) -> None:
    """Say plainly what to install, where something is not there.

    Raises:
        InputError: one of these modules is not installed.
    """
    if missing := [module for module in modules if find_spec(module) is None]:
        raise InputError(
            f"Questions over all jobs need {', '.join(missing)}, which is not installed. Install it with:"
            " pip install 'corekit[fleet]'"
        )
