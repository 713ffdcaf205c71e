"""The JSON Schema (draft 2020-12) of a Document as data: what a paper carries and a page is made of."""

from __future__ import annotations

import types
import typing
from enum import Enum
from typing import Any

import attrs

from .document import PARTS, Document
from .personal import PERSONAL_KINDS, Personal

_SIMPLE: dict[Any, dict[str, Any]] = {
    str: {"type": "string"},
    int: {"type": "integer"},
    float: {"type": "number"},
    bool: {"type": "boolean"},
    type(None): {"type": "null"},
}
_PERSONAL = {
    "type": "object",
    "description": "Personal text: its kind and the salted hash under which the shop keeps it.",
    "properties": {
        "personal": {"enum": list(PERSONAL_KINDS)},
        "hash": {"type": "string"},
    },
    "required": ["hash", "personal"],
    "additionalProperties": False,
}


def document_schema() -> dict[str, Any]:
    """The schema, every class once under `$defs`."""
    shown: dict[str, Any] = {}
    top = _object(Document, shown, tagged=False)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A document of corekit, masked",
        **top,
        "$defs": {name: shown[name] for name in sorted(shown)},
    }


def _object(kind: type, shown: dict[str, Any], *, tagged: bool) -> dict[str, Any]:
    attrs.resolve_types(kind)
    properties: dict[str, Any] = {"is": {"const": kind.__name__}} if tagged else {}
    required = ["is"] if tagged else []
    for field in attrs.fields(kind):
        properties[field.name] = _of(field.type, shown)
        if not field.metadata.get("later"):
            required.append(field.name)
    doc = " ".join((kind.__doc__ or "").split("\n\n")[0].split())
    return {
        "type": "object",
        "description": doc,
        "properties": properties,
        "required": sorted(required),
        "additionalProperties": False,
    }


def _of(kind: Any, shown: dict[str, Any]) -> dict[str, Any]:
    if kind in _SIMPLE:
        return _SIMPLE[kind]
    if kind is Personal:
        return _PERSONAL
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return {"anyOf": [_of(one, shown) for one in arguments]}
    if origin is tuple:
        if len(arguments) == 2 and arguments[1] is Ellipsis:
            return {"type": "array", "items": _of(arguments[0], shown)}
        items = [_of(one, shown) for one in arguments]
        return {"type": "array", "prefixItems": items, "minItems": len(items), "maxItems": len(items)}
    if isinstance(kind, type) and issubclass(kind, Enum):
        return {"enum": [one.value for one in kind]}
    if isinstance(kind, type) and attrs.has(kind):
        if kind.__name__ not in shown:
            shown[kind.__name__] = {}  # a class that holds itself is met again while it is worked out
            shown[kind.__name__] = _object(kind, shown, tagged=kind.__name__ in PARTS)
        return {"$ref": f"#/$defs/{kind.__name__}"}
    raise TypeError(f"{kind!r} has no place in a document's schema")
