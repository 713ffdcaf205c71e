"""Which system's tests come first, where several were read."""

from __future__ import annotations

from corekit.reference import data_path
from corekit.testing.visits import assessed


def test_a_system_that_shows_something_wrong_is_tested_on_before_one_that_was_read_beside_it() -> None:
    """In the demo's fifth job the ignition misfires, and the battery was read only as the supply: it loads
    first and is in order.
    """
    text = (data_path("demo") / "jobs" / "5-second-fault.toml").read_text("utf-8")
    order = [test.system for test in assessed(text).next_tests]
    assert set(order) == {"battery", "ignition"}
    assert order == sorted(order, reverse=True)
