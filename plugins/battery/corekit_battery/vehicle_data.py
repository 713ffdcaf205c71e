"""Which readings come from a log or from the vehicle's own data, and when."""

from __future__ import annotations

from .declarations import (
    battery,
    charging_voltage,
    drain_log,
    engine_speed,
    logged_minimum,
    sample_interval,
)

#: Voltage drop on the way to a module (ECU) or a connector, and what it rounds; an estimate of ours.
ACCURACY = "0.3 V"
NOTE = "Read at a module (ECU) or a connector, not at the posts: it shows less, by the voltage drop up to it."

battery.from_channel(engine_speed, "engine_speed")
for channel in ("battery_voltage", "module_voltage"):
    battery.from_channel(sample_interval, channel, take="interval")
    battery.from_channel(charging_voltage, channel, during="running", accuracy=ACCURACY, note=NOTE)
    battery.from_channel(
        logged_minimum, channel, during="cranking", take="lowest", accuracy=ACCURACY, note=NOTE
    )
battery.from_channel(drain_log, "battery_current", during="standing")
