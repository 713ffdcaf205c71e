"""An orifice is narrower than its pipe; two diameters that were exchanged are refused in words."""

from __future__ import annotations

import pytest
from corekit_egr.orifice import discharge_coefficient, orifice_flow, pressure_for_flow

PIPE = 0.016
GAS = (573.15, 287.0, 2.98e-5, 1.34, 0.0, 0.0)


@pytest.mark.parametrize("bore", [PIPE, 0.02])
def test_a_bore_that_is_no_smaller_than_its_pipe_is_refused(bore: float) -> None:
    for call in (
        lambda: discharge_coefficient.si(PIPE, bore, 5000.0, 0.0, 0.0),
        lambda: orifice_flow.si(PIPE, bore, 103000.0, 5000.0, *GAS),
        lambda: pressure_for_flow.si(PIPE, bore, 103000.0, 2e-3, *GAS),
    ):
        with pytest.raises(ValueError, match=rf"got {bore * 1000:g} mm in a pipe of 16 mm"):
            call()


def test_a_bore_a_hair_smaller_is_computed() -> None:
    assert 0 < discharge_coefficient.si(PIPE, 0.75 * PIPE, 5000.0, 0.0, 0.0) < 1
    assert orifice_flow.si(PIPE, 0.999 * PIPE, 103000.0, 5000.0, *GAS) > 0
