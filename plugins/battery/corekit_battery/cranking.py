"""While cranking: the voltage at the posts, what is lost on the way to the clamps, and what
cables may lose.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any

import attrs

import corekit as ck

from .converter import not_cranked
from .cranking_current import CONNECTION_AT_MOST, allowed, certainly_allowed, ends_of_current, is_left_open
from .declarations import (
    battery,
    cable_drop,
    clean_contacts,
    cranking_voltage,
    starter_current,
    temperature,
)

#: K: battery and engine are warm from here on, and below freezing the usual figure decides nothing. source:
#: cranking-voltage
WARM, FROST = 293.15, 273.15
RHO_20 = 1 / 58e6  # Ω m, annealed copper at 20 °C; source: copper
#: Most that each element of a 12-V cranking circuit may lose, V. source: cranking-drop-elements
SHORT_CABLE, LONG_CABLE, SWITCH, SOLENOID, MAGNETIC = 0.1, 0.2, 0.1, 0.2, 0.3


battery.relation(
    "posts_and_clamps",
    "While cranking",
    (cranking_voltage, "posts"),
    (cranking_voltage, "clamps"),
    at_least=True,
    code="contact",
)


@battery.calculation(source="wire-gauge")
def wire_diameter(
    gauge: Annotated[float, ck.Input("1", "Wire gauge number", -3, 40)],
) -> Annotated[float, ck.Output("m", "Wire diameter")]:
    """Diameter of a wire by its gauge number; 1/0 is 0, 2/0 is -1 and so on.

    >>> round(wire_diameter.si(36) * 1000, 4)
    0.127
    """
    return float(0.127e-3 * 92 ** ((36 - gauge) / 39))


@battery.calculation(source="wire-gauge")
def wire_area(
    gauge: Annotated[float, ck.Input("1", "Wire gauge number", -3, 40)],
) -> Annotated[float, ck.Output("m²", "Cross-section")]:
    """Cross-section of a solid wire by its gauge number.

    >>> round(wire_area.si(12) * 1e6, 2)
    3.31
    """
    return math.pi / 4 * wire_diameter.si(gauge) ** 2


@battery.calculation(source="copper")
def cable_resistance(
    length: Annotated[float, ck.Input("m", "Length of cable, there and back", above=0)],
    area: Annotated[float, ck.Input("m²", "Cross-section", above=0)],
    temperature: Annotated[float, ck.Input("K", "Cable temperature", 223.15, 423.15)],
) -> Annotated[float, ck.Output("Ω", "Cable resistance")]:
    """Resistance of a copper cable; its length counts there and back.

    >>> round(cable_resistance.si(1.0, 25e-6, 293.15) * 1000, 4)
    0.6897
    """
    return RHO_20 * length / area * ck.copper_factor(temperature)


@battery.calculation(source="copper")
def cable_area_needed(
    current: Annotated[float, ck.Input("A", "Current", above=0)],
    length: Annotated[float, ck.Input("m", "Length of cable, there and back", above=0)],
    temperature: Annotated[float, ck.Input("K", "Cable temperature", 223.15, 423.15)],
    drop: Annotated[float, ck.Input("V", "Voltage drop allowed", above=0)],
) -> Annotated[float, ck.Output("m²", "Cross-section needed")]:
    """Cross-section of copper that loses no more voltage than is allowed; the length counts there and back.

    Lugs and stranding come on top.

    >>> round(cable_area_needed.si(200, 2.4384, 293.15, 0.2501) * 1e6, 1)
    33.6
    """
    return current * cable_resistance.si(length, 1.0, temperature) / drop


@battery.calculation(source="copper")
def gauge_of_area(
    area: Annotated[float, ck.Input("m²", "Cross-section", 4e-9, 110e-6)],
) -> Annotated[float, ck.Output("1", "Wire gauge number")]:
    """Gauge number of a cross-section, as a fraction; the next lower whole number is the cable to take. 1/0
    is 0, 2/0 is -1.

    >>> round(gauge_of_area.si(33.63e-6), 2)
    2.0
    """
    return 36 - 39 * math.log(math.sqrt(4 * area / math.pi) / 0.127e-3) / math.log(92)


@battery.calculation(source="ohm")
def loop_drop(
    current: Annotated[float, ck.Input("A", "Current", 0)],
    length: Annotated[float, ck.Input("m", "Length of cable, there and back", above=0)],
    area: Annotated[float, ck.Input("m²", "Cross-section", above=0)],
    temperature: Annotated[float, ck.Input("K", "Cable temperature", 223.15, 423.15)],
) -> Annotated[float, ck.Output("V", "Voltage drop")]:
    """Voltage drop along a copper cable there and back.

    >>> round(loop_drop.si(150, 3, 25e-6, 333.15), 4)
    0.3591
    """
    return current * cable_resistance.si(length, area, temperature)


@battery.calculation(source="ohm")
def path_resistance(
    lost: Annotated[float, ck.Input("V", "Voltage drop along the path", 0)],
    current: Annotated[float, ck.Input("A", "Current through it", above=0)],
) -> Annotated[float, ck.Output("Ω", "Resistance of the path")]:
    """Resistance of a path from what it loses and the current through it.

    >>> path_resistance.si(0.4, 200)
    0.002
    """
    return lost / current


@battery.calculation(source="ohm")
def voltage_lost(
    current: Annotated[float, ck.Input("A", "Current")],
    resistance: Annotated[float, ck.Input("Ω", "Resistance of the path", 0)],
) -> Annotated[float, ck.Output("V", "Voltage drop")]:
    """Voltage drop along a resistance.

    >>> voltage_lost.si(100, 0.002)
    0.2
    """
    return current * resistance


@battery.calculation(source="cranking-drop-rule")
def drop_allowed_by_current(
    current: Annotated[float, ck.Input("A", "Cranking current", 0)],
) -> Annotated[float, ck.Output("V", "Voltage drop allowed")]:
    """What a whole cranking cable path may lose: 0.20 V for every 100 A.

    >>> drop_allowed_by_current.si(200)
    0.4
    """
    return 0.002 * current


@battery.calculation(source="cranking-drop-elements")
def drop_allowed_by_elements(
    short_cables: Annotated[float, ck.Input("1", "Cables under 3 ft", 0, 20)],
    long_cables: Annotated[float, ck.Input("1", "Cables of 3 ft to 6 ft", 0, 20)],
    switches: Annotated[float, ck.Input("1", "Mechanical switches", 0, 20)],
    solenoids: Annotated[float, ck.Input("1", "Solenoids", 0, 20)],
    magnetic_switches: Annotated[float, ck.Input("1", "Magnetic switches", 0, 20)],
) -> Annotated[float, ck.Output("V", "Voltage drop allowed")]:
    """What a cranking path may lose by its elements: cables under 3 ft and of 3 to 6 ft, mechanical, solenoid
    and magnetic switches.

    Connections may lose nothing.

    >>> round(drop_allowed_by_elements.si(1, 0, 1, 0, 0), 1)
    0.2
    """
    return (
        SHORT_CABLE * short_cables
        + LONG_CABLE * long_cables
        + SWITCH * switches
        + SOLENOID * solenoids
        + MAGNETIC * magnetic_switches
    )


@battery.check("Voltage while cranking")
def cranking(
    case: ck.Case,
    volts: Annotated[list[ck.Reading] | None, cranking_voltage],
    warmth: Annotated[ck.Reading | None, temperature],
) -> Iterator[ck.Finding | ck.Gap]:
    """The voltage at the posts, and what is lost between posts and clamps."""
    if stop := not_cranked(case):
        yield case.does_not_apply(stop)
        return
    volts = volts or [case[cranking_voltage]]
    for reading in volts:
        if reading.place == "posts":
            yield _posts(case, reading, reading.condition(temperature) or warmth)
    for pair in case.pairs(volts, "posts", "clamps"):
        if isinstance(pair, ck.Gap):
            yield pair
        elif not case.is_contradicted(*pair):
            yield _contact(case, *pair)


def _least(case: ck.Case, warmth: ck.Reading | None) -> ck.Limit | ck.Possible[ck.Limit]:
    """What a sound battery keeps at its temperature: less in the cold, and in frost nobody knows it well
    enough to decide by it.
    """
    warm = case.limit(cranking_voltage)
    if case.is_specified(cranking_voltage):
        return warm
    known = [
        (at, case.limit(key).low)
        for at, key in ((253.15, "battery.cranking_at_minus_20"), (263.15, "battery.cranking_at_minus_10"))
    ]
    rows = [(at, end.number) for at, end in [*known, (WARM, warm.low)] if end is not None]
    widths = [(at, 2 * end.u) for at, end in [*known, (WARM, warm.low)] if end is not None]

    def at(battery_at: ck.Value) -> ck.Limit:
        if battery_at.number >= WARM:
            return warm
        least = ck.propagate(lambda kelvins: ck.interpolate_clamped(kelvins, rows), (battery_at,), "voltage")
        found = case.computed_limit(
            warm.key,
            warm.source.key,
            low=least,
            width=ck.interpolate_clamped(battery_at.number, widths),
            why=warm.why,
        )
        return attrs.evolve(found, only_advises=battery_at.number < FROST)

    return ck.for_each(at, case.ends(warmth, temperature))


def _posts(case: ck.Case, posts: ck.Reading, warmth: ck.Reading | None) -> ck.Finding:
    return case.judge(
        posts,
        _least(case, warmth),
        ck.Claim("battery.cranking", next_test=cranking_voltage),
        ck.Says(
            passes="Cranking voltage {read} at the posts; {limit} is usual.",
            fails=(
                "Cranking voltage drops to {read} at the posts; {limit} is usual. A weak or discharged"
                " battery, a stiff cold engine or a starter that draws too much current can cause that;"
                " which of them it is, this does not show."
            ),
            undecided="Cranking voltage {read} at the posts, close to the usual {limit}.",
        ),
        ck.Tells(
            passes="The battery keeps the usual voltage while the engine is cranked.",
            fails="The battery's voltage drops lower than usual while the engine is cranked.",
            undecided=(
                "The battery's voltage while the engine is cranked is close to the least that is usual."
            ),
        ),
        values={"read": ck.show(posts.value, "V", uncertainty=False)},
    )


_MUCH_OR_USUAL = (
    "Voltage drop from posts to clamps while cranking: {lost}. Much where the starter turns easily, usual"
    " where it stalls at 400 A: measure across each connection, with the current."
)
_NEAR_ZERO = (
    "Voltage drop from posts to clamps while cranking: about {lost}; these two readings cannot tell it from"
    " zero. Measure across each connection."
)


def _contact(case: ck.Case, posts: ck.Reading, clamps: ck.Reading) -> ck.Finding:
    lost = posts.value - clamps.value
    places: dict[str, Any] = {
        name: ck.show(value, "V", uncertainty=False)
        for name, value in (("posts", posts.value), ("clamps", clamps.value), ("lost", lost))
    }
    printed = case.limit("battery.contact")
    current = case.reading(starter_current)
    amps = ends_of_current(case, current, cranked=True)
    least = certainly_allowed(printed, amps[0], CONNECTION_AT_MOST)
    if is_left_open(case, lost, printed, amps, CONNECTION_AT_MOST):
        much = least.high is not None and lost.number > least.high.number
        return case.inconclusive(
            ck.Claim(
                "battery.contact",
                of=cranking_voltage,
                unit="V",
                evidence=[posts, clamps, *([current] if current is not None else [])],
                next_test=cable_drop,
            ),
            _MUCH_OR_USUAL if much else _NEAR_ZERO,
            lost,
            tells=(
                "What the connections lose depends on the current, so they are measured one by one with it."
                if much
                else "Whether the battery connections lose voltage could not be told apart from none."
            ),
            values=places,
        )
    return case.judge(
        lost,
        allowed(printed, amps[1], CONNECTION_AT_MOST),
        ck.Claim(
            "battery.contact",
            of=cranking_voltage,
            unit="V",
            calls_for=clean_contacts,
            next_test=cranking_voltage,
            name="Voltage drop at the connections",
        ),
        ck.Says(
            passes="Voltage drop from posts to clamps while cranking: {lost}; the connections are good.",
            fails=(
                "Voltage drop from posts to clamps while cranking: {lost}, where there should be next"
                " to none. Clean and tighten them, then read again."
            ),
            undecided=_NEAR_ZERO,
        ),
        ck.Tells(
            passes="The battery connections carry their current well.",
            fails="The battery connections lose voltage where they should lose next to none.",
            undecided="Whether the battery connections lose voltage could not be told apart from none.",
        ),
        values=places,
    )
