"""One file that opens carried codes without a server: it decodes, verifies and shows them, also from disk."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping
from pathlib import Path

import jinja2
from markupsafe import Markup

from ..languages import ENGLISH
from ..model.canonical import canonical
from ..reference import data_path
from ..report.tongue import in_tongue, script_in_tongue, tongue_of
from .page_templates import data_text, element_text, policy_hash

_FACE = re.compile(r"@font-face \{[^}]*\}\s*")


def static_page(
    keys: Mapping[str, bytes],
    words: Mapping[str, str],
    shop: str = "",
    templates: Path | None = None,
    language: str = ENGLISH,
) -> str:
    """The page as HTML, nothing of it loaded from anywhere.

    Args:
        keys: Fingerprint → public key, the present one and all that were used before.
        words: Key of a measurand, operation or charge → its title; what is missing is shown by its key.
        shop: Whose keys they are, by name.
        templates: A folder with the shop's own files; corekit's own when left away.
        language: Of the page itself, by ISO 639; `words` come in it already.

    Raises:
        ServeError: a style or script would end its own element.
    """
    folder = templates or data_path("templates/open")
    style = element_text("style", _FACE.sub("", (folder / "open.css").read_text("utf-8")))
    scripts = ((folder / name).read_text("utf-8") for name in ("mark.js", "carried.js"))
    tongue, source = tongue_of(language), "".join(scripts)
    script = element_text("script", source if tongue is None else script_in_tongue(source, tongue))
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src {policy_hash(script)}",
            f"style-src {policy_hash(style)}",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    files = jinja2.Environment(
        loader=jinja2.FileSystemLoader(folder), autoescape=True, undefined=jinja2.StrictUndefined
    )
    encoded = {name: base64.b64encode(key).decode("ascii") for name, key in keys.items()}
    page = files.get_template("static.html").render(
        policy=Markup(policy),  # our own hashes, which hold no quotation mark
        style=Markup(style),
        script=Markup(script),
        names=sorted(keys),
        shop=shop,
        words=data_text(canonical(dict(words))),
        keys=data_text(canonical(encoded)),
    )
    return page if tongue is None else in_tongue(page, tongue)
