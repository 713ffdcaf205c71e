"""What a paper's size is made of."""

from __future__ import annotations

import io

import pypdf


def parts_of(paper: bytes) -> dict[str, int]:
    """Bytes of a PDF by what they are for; together they are the whole file."""
    pdf = pypdf.PdfReader(io.BytesIO(paper))
    parts = dict.fromkeys(("faces", "pages", "attached files", "pictures"), 0)
    for number in range(1, int(pdf.trailer["/Size"])):
        thing = pdf.get_object(number)
        if not isinstance(thing, pypdf.generic.StreamObject):
            continue
        size = len(thing._data)
        if "/Length1" in thing:
            parts["faces"] += size
        elif thing.get("/Type") == "/EmbeddedFile":
            parts["attached files"] += size
        elif thing.get("/Subtype") == "/Image":
            parts["pictures"] += size
        elif thing.get("/Type") is None:
            parts["pages"] += size
    return {**parts, "the rest": len(paper) - sum(parts.values())}
