"""The demo served once for all tests of the whole."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from corekit.complaints import own_symptoms, set_own_symptoms

from .chain import serving


@pytest.fixture(autouse=True, scope="module")
def symptoms_as_before() -> Iterator[None]:
    """What the example plugin adds to the list of symptoms is there for the tests that import it alone."""
    before = own_symptoms()
    yield
    set_own_symptoms(before)


@pytest.fixture(scope="session")
def demo_served(demo_out: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of `corekit serve` over the demo, in a process of its own."""
    shop = Path(shutil.copytree(demo_out, tmp_path_factory.mktemp("served") / "demo-out"))
    with serving(shop) as address:
        yield address
