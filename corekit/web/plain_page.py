"""What plain http gets on the hotspot, whatever it asks for: one page that says what is missing and how to
pair, and the certificate for it.

Nothing of the shop is on it, and nothing that comes in is looked at but the path. The fingerprint is not on
it either: whoever could change the certificate on its way could change that too, so it is compared with the
terminal.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterable
from typing import Any, ClassVar

import attrs
import jinja2
from markupsafe import Markup

from ..languages import ENGLISH
from ..reference import data_path
from ..report.tongue import in_tongue, tongue_of
from .pairing import VanCertificate
from .wsgi import ARMOUR

CERTIFICATE_PATH = "/van.crt"

_ARMOUR = [
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("X-Robots-Tag", "noindex, nofollow"),
]
_ALWAYS = [("Cache-Control", "no-store"), *_ARMOUR]


@attrs.frozen
class PlainPage:
    """The page, as an application of its own for a listener of its own.

    Attributes:
        certificate: The van's. port: Where the screens are, over TLS. plain_port: Where this page is.
        language: Of the screens.
    """

    certificate: VanCertificate
    port: int
    plain_port: int
    language: str = ENGLISH
    config: ClassVar[dict[str, Any]] = {
        ARMOUR: [*_ARMOUR, ("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")]
    }

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        is_read = environ.get("REQUEST_METHOD") in ("GET", "HEAD")
        if is_read and environ.get("PATH_INFO") == CERTIFICATE_PATH:
            data, status = self.certificate.der, "200 OK"
            # The one type that phones hand on to the part of them that keeps certificates; common practice,
            # no source.
            headers = [
                ("Content-Type", "application/x-x509-ca-cert"),
                ("Content-Disposition", 'attachment; filename="van.crt"'),
                *_ALWAYS,
            ]
        else:
            # Only the page itself is a success: what was meant for the screens must never pass for taken.
            status = "200 OK" if is_read and environ.get("PATH_INFO") in ("", "/") else "403 Forbidden"
            data, headers = self._page(_own_address(environ.get("HTTP_HOST", ""), self.certificate))
        start_response(status, [*headers, ("Content-Length", str(len(data)))])
        return [b"" if environ.get("REQUEST_METHOD") == "HEAD" else data]

    def answer(self, address: str) -> bytes:
        """The page as a whole HTTP answer, for plain http on the port of TLS."""
        data, headers = self._page(address)
        lines = [
            "HTTP/1.1 403 Forbidden",
            *(f"{name}: {value}" for name, value in headers),
            f"Content-Length: {len(data)}",
            "Connection: close",
            "",
            "",
        ]
        return "\r\n".join(lines).encode("ascii") + data

    def _page(self, address: str) -> tuple[bytes, list[tuple[str, str]]]:
        files = jinja2.Environment(
            loader=jinja2.FileSystemLoader(data_path("templates/screens")),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
        )
        style = (data_path("templates/screens") / "plain.css").read_text("utf-8")
        text = files.get_template("plain.html").render(
            style=Markup(style),
            title=self.certificate.title,
            screens=f"https://{address}:{self.port}/",
            certificate=f"http://{address}:{self.plain_port}{CERTIFICATE_PATH}",
        )
        tongue = tongue_of(self.language)
        text = in_tongue(text, tongue) if tongue is not None else text
        inside = re.search(r"(?s)<style>(.*?)</style>", text)
        digest = base64.b64encode(hashlib.sha256((inside[1] if inside else "").encode()).digest()).decode()
        policy = (
            f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none';"
            " frame-ancestors 'none'"
        )
        return text.encode(), [
            ("Content-Type", "text/html; charset=utf-8"),
            ("Content-Security-Policy", policy),
            *_ALWAYS,
        ]


def _own_address(host: str, certificate: VanCertificate) -> str:
    """The address that the browser has in its line, if it is one of ours; else our first.

    Nothing else that was sent comes back on the page.
    """
    name = host.partition(":")[0].lower()
    own = certificate.addresses()
    return name if name in own or name == certificate.host else next(iter(own), "127.0.0.1")
