"""What billing can refuse."""

from __future__ import annotations

from ..errors import CorekitError


class ConsentError(CorekitError, ValueError):
    """Why this may not be invoiced, and what to do, in one text."""
