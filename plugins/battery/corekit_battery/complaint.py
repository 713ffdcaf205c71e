"""From what the vehicle does to what has to be read: how it cranks, what its lamp does, what the battery does
in use.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import corekit as ck

from .answers import (
    Cranks,
    Lamp,
    RippleMeter,
)
from .converter import has_converter, not_cranked
from .dangers import barred
from .declarations import (
    alternator_output,
    battery,
    cable_drop,
    charge_lamp,
    charging_voltage,
    cranking_voltage,
    cranks,
    ripple,
    ripple_meter,
    temperature,
)
from .starting import NO_COMMAND
from .starting_declarations import control_voltage
from .tables import Rows, kelvin

FREEZING = 273.15  # K
#: (°F, share of its cranking power at 80 °F that a full battery still gives). source: cranking-cold
CRANKING_POWER: Rows = tuple((kelvin(f), share) for f, share in ((-20, 0.2), (0, 0.4), (32, 0.65), (80, 1.0)))


@battery.calculation(source="cranking-cold")
def cranking_power_left(
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 223.15, 353.15)],
) -> Annotated[float, ck.Output("1", "Cranking power left")]:
    """Share of its cranking power at 27 °C that a full battery still gives when cold.

    Linear between the printed rows, held beyond them.

    >>> round(cranking_power_left.si(273.15), 2)
    0.65
    """
    return ck.interpolate_clamped(temperature, CRANKING_POWER)


@battery.check("Readings needed for a cranking complaint")
def cranks_badly(
    case: ck.Case,
    turns: Annotated[Cranks | None, cranks],
    *,
    volts: Annotated[list[ck.Reading] | None, cranking_voltage],
    drops: Annotated[list[ck.Reading] | None, cable_drop],
    warmth: Annotated[ck.Reading | None, temperature],
    command: Annotated[ck.Reading | None, control_voltage],
) -> Iterator[ck.Finding | ck.Gap]:
    """Battery, cables and starter cannot be told apart before the voltage is read while it cranks, at the
    posts and along the cables. Where no command reaches the starter nothing cranks, and neither is asked.
    """
    if turns in (None, Cranks.WELL):
        return
    if stop := not_cranked(case):
        yield case.does_not_apply(stop)
        return
    does = {
        Cranks.SLOWLY: "It cranks slowly",
        Cranks.RATTLES: "The solenoid rattles and it does not crank",
        Cranks.CLICKS: "It clicks once and does not crank",
        Cranks.SILENT_BRIGHT: "It stays silent, the lights stay bright",
        Cranks.SILENT_DIM: "It stays silent, the lights go dim",
        Cranks.NOT: "It does not crank",
        Cranks.SOMETIMES: "It fails to crank intermittently",
    }[turns]
    looked_at = case.noted(cranks)
    if command is not None and case.side(command, _command_limit(case)) is ck.Side.BELOW:
        return
    if turns is Cranks.SILENT_BRIGHT and command is None:
        yield case.inconclusive(
            ck.Claim(
                "battery.command_unread", of=control_voltage, evidence=looked_at, next_test=control_voltage
            ),
            (
                "It stays silent, the lights stay bright: nothing loads the battery. Read the starter's"
                " control terminal first: no voltage there means that no command arrives, 10 V and more that"
                " the starter does not answer it."
            ),
            tells="Whether the key's command reaches the starter was not read yet.",
        )
    places = {reading.place for reading in volts or []}
    if "posts" not in places:
        yield case.inconclusive(
            ck.Claim(
                "battery.cranking_unread", of=cranking_voltage, evidence=looked_at, next_test=cranking_voltage
            ),
            (
                "{does}, and the voltage while cranking was not read. Without it neither battery nor"
                " starter nor cables can be blamed or ruled out."
            ),
            tells=(
                "Battery, starter or cables cannot be told apart before the voltage is read while cranking."
            ),
            values={"does": does},
        )
    if not drops and not {"posts", "clamps"} <= places:
        yield case.inconclusive(
            ck.Claim("battery.cables_unread", of=cable_drop, evidence=looked_at, next_test=cable_drop),
            (
                "{does}, and the voltage drop of the cables was not read. Read both sides while"
                " cranking, with the current: post to starter stud, other post to starter body."
            ),
            tells="Whether the starter's wiring loses voltage was not read yet.",
            values={"does": does},
        )
    if warmth is not None and warmth.number < FREEZING:
        left = cranking_power_left(warmth.value)
        yield case.advise(
            ck.Claim("battery.cold", unit="%", evidence=[warmth, *looked_at], urgency=ck.Urgency.NOTHING),
            (
                "{does} at {cold}, and cold is a plain reason: a full battery gives about {left} of"
                " its cranking power then, while thick oil demands more."
            ),
            left,
            tells="In such cold any battery cranks slowly; that alone is no fault of it.",
            values={
                "does": does,
                "cold": ck.show(warmth.value, "°C", uncertainty=False),
                "left": f"{100 * left.number:.0f} %",
            },
        )


def _command_limit(case: ck.Case) -> ck.Limit:
    """Plainly below it no command arrives at the starter."""
    return case.computed_limit("battery.solenoid", "control-terminal", low=ck.exact("voltage", NO_COMMAND))


@battery.check("Charge warning light against charging voltage")
def lamp_and_voltage(
    case: ck.Case,
    *,
    lamp: Annotated[Lamp | None, charge_lamp],
    volts: Annotated[ck.Reading | None, charging_voltage],
    waves: Annotated[list[ck.Reading] | None, ripple],
    meter: Annotated[RippleMeter | None, ripple_meter],
) -> Iterator[ck.Finding | ck.Gap]:
    """A voltage within its span hides an open phase; warning light and ripple show it.

    The feed of the lamp itself fits as well.
    """
    if (lamp is None and not waves) or has_converter(case):
        return
    if stop := barred(case):
        yield case.does_not_apply(stop)
        return
    limit = case.limit(ripple)
    fit = (
        ""
        if meter is RippleMeter.FIT
        else " Only a true-RMS meter on its AC-coupled range reads ripple well, and none is recorded."
    )
    high = [
        case.judge(
            wave,
            limit,
            ck.Claim("battery.ripple"),
            _RIPPLE,
            _RIPPLE_PLAIN,
            values={"read": ck.show(wave.value, "V", uncertainty=False), "fit": fit},
        )
        for wave in waves or []
    ]
    yield from high
    rough = [finding for finding in high if (finding.probability or 0.0) <= 0.5]
    lit = lamp in (Lamp.ON, Lamp.FLICKERS)
    if not lit and not rough:
        return
    least = case.limit(charging_voltage).low
    if volts is None or least is None or volts.number < least.number:
        return
    signs = ([f"the charge warning light {lamp.value}"] if lit and lamp is not None else []) + (
        ["the AC ripple is high"] if rough else []
    )
    noted = case.noted(charge_lamp)
    feed = " The feed of the warning light is a possible cause as well." if lit else ""
    yield case.inconclusive(
        ck.Claim(
            "battery.lost_phase",
            of=charging_voltage,
            evidence=[*noted, *(waves or [])],
            next_test=ripple if not waves else alternator_output,
        ),
        ("Charging voltage {read}, but {signs}: a failed diode or an open phase is possible.{feed} {ask}"),
        volts,
        tells="The charging voltage is usual, but other signs say that the alternator may not charge fully.",
        values={
            "read": ck.show(volts.value, "V", uncertainty=False),
            "signs": " and ".join(signs),
            "feed": feed,
            "ask": (
                "Read the ripple at the posts with loads on, then the output with all loads on."
                if not waves
                else (
                    "Measure the output with all loads on against the rating, and the voltage drop on"
                    " both sides, before any part is named."
                )
            ),
        },
    )


_RIPPLE = ck.Says(
    passes=(
        "The ripple is {read}; {limit} is printed for the alternator's own terminal, and no standard sets a"
        " limit.{fit}"
    ),
    fails=(
        "The ripple is {read}, where {limit} is printed even for the alternator's own terminal; no standard"
        " sets a limit.{fit}"
    ),
    undecided=(
        "The ripple is {read}, close to what is printed for the alternator's own terminal ({limit}); no"
        " standard sets a limit.{fit}"
    ),
)


_RIPPLE_PLAIN = ck.Tells(
    passes="The charging current is smooth enough; no standard sets a limit for that.",
    fails="The charging current is rough; no standard sets a limit for that.",
    undecided="The charging current is nearly too rough; no standard sets a limit for that.",
)
