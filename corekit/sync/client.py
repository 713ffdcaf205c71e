"""The van's side of the line."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from typing import Any
from urllib.parse import urlsplit

import attrs

from ..share.link import is_loopback
from ..share.signing import SigningKey
from .message import CONTENT_TYPE, LARGEST, SyncError, packed, signed_text, unpacked

#: Seconds that a van waits for an answer; a parcel with photos takes a while over a phone.
PATIENCE = 60.0


@attrs.frozen(kw_only=True)
class HubLine:
    """A line to the hub, as one device.

    Attributes:
        address: `https://…`; plain http on this machine alone.
        key: The device's own. letters: Those that the hub gave it.
    """

    address: str
    key: SigningKey
    letters: str = ""
    timeout: float = PATIENCE

    def ask(self, path: str, data: Any) -> Any:
        """What the hub answers to a signed question.

        Raises:
            SyncError: it cannot be reached, or refuses.
        """
        challenge = str(self._call("/sync/hello", packed({"letters": self.letters}), {})["challenge"])
        body = packed(data)
        signature = self.key.sign(signed_text("POST", path, self.letters, challenge, body))
        return self._call(
            path,
            body,
            {
                "X-Corekit-Device": self.letters,
                "X-Corekit-Challenge": challenge,
                "X-Corekit-Signature": signature.hex(),
            },
        )

    def enrol(self, data: Any) -> Any:
        """What the hub answers to a device that it does not know yet.

        Raises:
            SyncError: as `ask`.
        """
        return self._call("/sync/enrol", packed(data), {})

    def _call(self, path: str, body: bytes, headers: dict[str, str]) -> Any:
        request = urllib.request.Request(f"{self.address}{path}", data=body, method="POST")
        request.add_header("Content-Type", CONTENT_TYPE)
        for name, value in headers.items():
            request.add_header(name, value)
        try:
            with _opener(self.address).open(request, timeout=self.timeout) as answer:
                read = answer.read(LARGEST + 1)
        except urllib.error.HTTPError as error:
            with error:
                raise _refusal(self.address, error.code, error.read(20_000)) from error
        except Exception as error:  # http.client raises its own family when the other side speaks no HTTP
            reason = getattr(error, "reason", error) or type(error).__name__
            raise SyncError(
                f"The hub at {self.address} cannot be reached ({reason}). Everything is kept here and goes on"
                " its way next time.",
                later=True,
            ) from error
        return unpacked(read)


def hub_address(text: str) -> str:
    """The address of a hub as a person types it.

    Raises:
        SyncError: it is none, or plain http to another machine.
    """
    try:
        parts = urlsplit(text.strip())
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        parts, host = urlsplit(""), ""
    if (
        parts.scheme not in ("http", "https")
        or not host
        or parts.query
        or parts.fragment
        or "@" in parts.netloc
    ):
        raise SyncError(f'{text!r} is no address of a hub; write it like "https://hub.your-shop-name.com".')
    if parts.scheme == "http" and not is_loopback(host):
        raise SyncError(
            f"{text}: names and plates go over https only; write https:// (http is for this machine itself)."
        )
    return text.strip().rstrip("/")


def _opener(address: str) -> urllib.request.OpenerDirector:
    host = urlsplit(address).hostname or ""
    return urllib.request.build_opener(
        _NoRedirect, *([urllib.request.ProxyHandler({})] if is_loopback(host) else [])
    )


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """What a van signed for one address is sent to no other."""

    def redirect_request(self, *_: Any) -> None:
        return None


def _refusal(address: str, status: int, body: bytes) -> SyncError:
    try:
        text = json.loads(body)["detail"]
    except (ValueError, KeyError, TypeError):
        text = f"What answered at {address} is no hub of corekit, or it is in trouble (status {status})."
    return SyncError(str(text), later=status in (429, 500, 502, 503, 504))
