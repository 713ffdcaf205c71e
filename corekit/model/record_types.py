"""Whether what a statement's body holds is of the kind that its record says: looked at where entries come in
that another program wrote.
"""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping, Sequence
from typing import Any

import attrs

from .personal import KeptWords, Personal


def misfit(record: Any) -> str:
    """The first field of a record that holds something of another kind than the record says, or out of its
    bounds, and what came; empty where each fits.
    """
    hints = _hints(type(record))
    for field in attrs.fields(type(record)):
        value = getattr(record, field.name)
        said = value.said if isinstance(value, KeptWords) and "public" in field.metadata else value
        is_kept = isinstance(said, Personal) and "public" in field.metadata
        if not _fits(said, Personal if is_kept else hints[field.name]):
            return f"{field.name} cannot be {value!r:.40}"
    return ""


_HINTS: dict[type, dict[str, Any]] = {}


def _hints(record: type) -> dict[str, Any]:
    if record not in _HINTS:
        _HINTS[record] = typing.get_type_hints(record, include_extras=True)
    return _HINTS[record]


def _fits(value: Any, hint: Any) -> bool:
    if hint is Any:
        return True
    if typing.get_origin(hint) is typing.Annotated:
        kind, *bounds = typing.get_args(hint)
        return _fits(value, kind) and all(bound.holds(value) for bound in bounds)
    if hint in (str, bool, int, types.NoneType):
        return type(value) is hint
    if hint is float:
        return type(value) in (int, float)
    if hint is Personal:
        return isinstance(value, Personal) and type(value.kind) is type(value.hash) is str
    origin, inner = typing.get_origin(hint), typing.get_args(hint)
    if origin in (typing.Union, types.UnionType):
        return any(_fits(value, one) for one in inner)
    if origin in (dict, Mapping):
        return isinstance(value, Mapping) and all(
            type(key) is str and _fits(item, inner[1]) for key, item in value.items()
        )
    if origin in (list, Sequence):
        return isinstance(value, (list, tuple)) and all(_fits(item, inner[0]) for item in value)
    return isinstance(value, origin or hint)
