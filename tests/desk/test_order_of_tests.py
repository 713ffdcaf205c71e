"""Which system's tests come first, where several were read."""

from __future__ import annotations

from corekit.testing.visits import assessed

from ..visits.files import visit_file


def test_a_system_that_the_complaint_does_not_concern_and_that_is_in_order_is_not_tested_on() -> None:
    """The ignition misfires, and the battery was read only as the supply."""
    text = visit_file("second-fault").read_text("utf-8")
    order = [test.system for test in assessed(text).next_tests]
    assert set(order) == {"ignition"}
