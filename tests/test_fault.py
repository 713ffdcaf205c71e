"""Which key may have been meant, and which never."""

from __future__ import annotations

import pytest

from corekit.fault import near


@pytest.mark.parametrize(
    ("typed", "keys", "meant"),
    [
        ("vehicel", ["vehicle", "customer"], ("vehicle",)),
        ("calout", ["call_out", "labour"], ("call_out",)),
        ("call-out", ["call_out"], ("call_out",)),
        ("battery.open_circut_voltage", ["battery.open_circuit_voltage"], ("battery.open_circuit_voltage",)),
        ("xyzzy", ["vehicle"], ()),
        ("", ["vehicle"], ()),
        ("…", ["vehicle", "…"], ()),
    ],
)
def test_a_slip_of_the_pen_in_a_key_is_named(typed: str, keys: list[str], meant: tuple[str, ...]) -> None:
    assert near(typed, keys) == meant


@pytest.mark.parametrize(
    ("typed", "opposite"),
    [
        ("not_repaired", "repaired"),
        ("notrepaired", "repaired"),
        ("unpublish", "publish"),
        ("not clean and tight", "clean and tight"),
        ("went with the connector", "went with the coil"),
        ("drop_positive", "drop_negative"),
        ("gap_front", "gap_rear"),
        ("before_repair", "after_repair"),
        ("disconnected", "connected"),
        ("loaded", "unloaded"),
        ("increase", "decrease"),
        ("minimum", "maximum"),
        ("upstream", "downstream"),
        ("inlet", "outlet"),
    ],
)
def test_what_may_mean_the_opposite_is_never_named_as_meant(typed: str, opposite: str) -> None:
    assert near(typed, [opposite]) == ()
    assert near(opposite, [typed]) == ()
