"""What can go wrong with a hub."""

from __future__ import annotations

from ..errors import CorekitError


class HubError(CorekitError, ValueError):
    """The hub refuses, or cannot be used; the text says what must hold, what came and what to do."""


class UnknownDeviceError(HubError):
    """A request was signed by no device that the hub knows, or by one that was revoked."""


class DatabaseError(HubError):
    """The database under the hub cannot be reached or does not answer; its text is for the hub's own
    terminal.
    """
