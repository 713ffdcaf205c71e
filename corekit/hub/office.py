"""placeholder"""

from __future__ import annotations

from typing import Any


def add_office(app: Any, hub: Any, clock: Any) -> None:
    """Nothing yet."""
