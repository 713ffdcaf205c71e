"""For pytest: says which systems it sees, so that a plugin's author knows what his tests ran against."""

from __future__ import annotations

from importlib.metadata import entry_points
from typing import Any


def pytest_report_header(config: Any) -> list[str]:
    """One line with every plugin of corekit that is installed here."""
    names = sorted({point.name for point in entry_points(group="corekit")})
    return [f"corekit plugins: {', '.join(names) or 'none'}"]
