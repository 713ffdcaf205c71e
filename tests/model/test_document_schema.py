"""The published schema of what a paper carries."""

from __future__ import annotations

import json
from typing import Any

from corekit.model.document import to_data
from corekit.model.document_schema import document_schema
from corekit.model.mark import document_with_mark
from corekit.reference import data_path

from .test_document import FULL


def fits(data: Any, schema: dict[str, Any], top: dict[str, Any]) -> bool:
    """As much of JSON Schema 2020-12 as ours uses, read from the standard's words."""
    if "$ref" in schema:
        return fits(data, top["$defs"][schema["$ref"].removeprefix("#/$defs/")], top)
    if "anyOf" in schema:
        return any(fits(data, one, top) for one in schema["anyOf"])
    if "enum" in schema:
        return data in schema["enum"]
    if "const" in schema:
        return bool(data == schema["const"])
    kinds = {
        "string": str,
        "integer": int,
        "number": (int, float),
        "boolean": bool,
        "null": type(None),
        "array": (list, tuple),
        "object": dict,
    }
    if not isinstance(data, kinds[schema["type"]]):  # type: ignore[arg-type]
        return False
    if schema["type"] == "array":
        if "items" in schema:
            return all(fits(one, schema["items"], top) for one in data)
        pairs = zip(data, schema["prefixItems"], strict=False)
        return len(data) == schema["minItems"] and all(fits(one, part, top) for one, part in pairs)
    if schema["type"] == "object":
        known = schema["properties"]
        return (
            set(schema["required"]) <= set(data) <= set(known)
            and all(fits(data[name], known[name], top) for name in data)
        )  # fmt: skip
    return True


def test_the_published_schema_is_that_of_the_classes_and_takes_a_document_with_every_block() -> None:
    published = json.loads((data_path("shared") / "document.schema.json").read_text("utf-8"))
    assert published == document_schema()
    assert fits(to_data(FULL), published, published)
    assert fits(json.loads(json.dumps(to_data(document_with_mark(FULL, [])))), published, published)
    assert not fits({**to_data(FULL), "plate": "DEMO-1"}, published, published)
    assert not fits({**to_data(FULL), "total": 3.5}, published, published)
