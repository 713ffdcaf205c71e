"""What a calculation takes reaches as far as its printed table, and no further."""

from __future__ import annotations

import pytest
from corekit_battery.acid import GRAVITY_80F, molality_of_gravity
from corekit_battery.capacity import cold_capacity_short
from corekit_battery.charging import time_to_one_percent

import corekit as ck

HOUR = 3600.0


def test_the_ends_of_a_table_are_taken_and_what_lies_beyond_is_refused_by_name() -> None:
    """IEEE 485 gives 1.52 at 25 °F, its coldest row: 100 Ah are 65.8 Ah."""
    coldest = (25 - 32) * 5 / 9 + 273.15
    assert cold_capacity_short.si(100 * HOUR, coldest) / HOUR == pytest.approx(65.8, abs=0.05)
    hundred = ck.exact("charge", 100 * HOUR)
    with pytest.raises(ValueError, match="temperature must be"):
        cold_capacity_short(hundred, ck.exact("temperature", coldest - 0.01))
    strongest = 1.318  # the table's last row is 1.3183
    assert GRAVITY_80F[-1][1] - 0.001 < strongest < GRAVITY_80F[-1][1]
    assert molality_of_gravity.si(strongest) > molality_of_gravity.si(strongest - 0.01)
    with pytest.raises(ValueError, match="gravity must be"):
        molality_of_gravity(ck.exact("ratio", strongest + 0.001))


@pytest.mark.parametrize("kelvin", [243.14, 333.16])
def test_the_air_of_a_room_is_as_warm_as_air_is(kelvin: float) -> None:
    room, current, cells = ck.exact("volume", 6.0), ck.exact("current", 10.0), ck.exact("ratio", 6.0)
    with pytest.raises(ValueError, match="temperature must be"):
        time_to_one_percent(room, current, cells, ck.exact("temperature", kelvin))
