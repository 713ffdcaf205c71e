"""Which readings come from a log or from the vehicle's own data, and when."""

from __future__ import annotations

from .declarations import engine_speed, ignition, misfires, revolutions

ignition.from_channel(engine_speed, "engine_speed")
ignition.from_channel(revolutions, "engine_speed", take="turns")
ignition.from_channel(
    misfires,
    "misfires",
    during="running",
    take="rise",
    note="By how much the counter rose while the engine ran; other counters begin anew with every start.",
)
