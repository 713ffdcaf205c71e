"""Which system's tests come first, where several were read."""

from __future__ import annotations

from corekit.reference import data_path
from corekit.testing.visits import assessed


def test_a_system_that_the_complaint_does_not_concern_and_that_is_in_order_is_not_tested_on() -> None:
    """In the demo's fifth job the ignition misfires, and the battery was read only as the supply."""
    text = (data_path("demo") / "jobs" / "5-second-fault.toml").read_text("utf-8")
    order = [test.system for test in assessed(text).next_tests]
    assert set(order) == {"ignition"}
