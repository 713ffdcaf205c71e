"""Which readings come from a log or from the vehicle's own data, and when."""

from __future__ import annotations

from .declarations import barometer, egr, engine_speed, manifold_open, manifold_shut
from .lamp import Monitor, monitor
from .live import NOTHING_ASKED, air_open, air_shut, commanded_opening, error_shown, intake_air

ASKED = (100 * NOTHING_ASKED, None)  # %; below it an error means nothing
WARM = (75, None)  # °C, as the reading by hand wants it
SHUT = {"commanded_egr": (None, 1), "coolant_temperature": WARM}
OPEN = {"commanded_egr": (20, None), "coolant_temperature": WARM}

egr.from_channel(barometer, "barometric_pressure")
egr.from_channel(engine_speed, "engine_speed")
egr.from_channel(intake_air, "intake_air_temperature")
egr.from_channel(commanded_opening, "commanded_egr", during="running", when={"commanded_egr": ASKED})
egr.from_channel(error_shown, "egr_error", during="running", when={"commanded_egr": ASKED})
# Pressure and air mass follow the throttle: only at idle are two stretches of one log alike.
for shut, opened, channel in (
    (manifold_shut, manifold_open, "manifold_pressure"),
    (air_shut, air_open, "air_mass"),
):
    egr.from_channel(shut, channel, during="idling", when=SHUT)
    egr.from_channel(opened, channel, during="idling", when=OPEN)
egr.from_monitor(
    monitor,
    "egr_monitor",
    {False: Monitor.NOT_RUN},
    note="That it is complete says neither passed nor failed: the codes and a drive do.",
)
