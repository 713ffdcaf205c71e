"""One family of errors: whatever corekit refuses, it says in words for the person who asked."""

from __future__ import annotations


class CorekitError(Exception):
    """Something was refused. The text says what must hold, what came and what to do.

    Every error that corekit raises on purpose is of this family, so that a command, a screen or a caller
    catches one class and shows its text. Anything else that comes out is a fault of corekit or of a plugin.
    """


class InputError(CorekitError, ValueError):
    """What was typed or handed in cannot be taken: it is no number, out of reach, or contradicts itself."""
