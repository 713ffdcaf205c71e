"""While cranking: the voltage at the posts, what is lost on the way to the clamps, and what
cables may lose.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any

import corekit as ck

from .declarations import battery, clean_contacts, cranking_voltage

RHO_20 = 1 / 58e6  # Ω m, annealed copper at 20 °C; source: copper
#: Most that each element of a 12-V cranking circuit may lose, V. source: cranking-drop-elements
SHORT_CABLE, LONG_CABLE, SWITCH, SOLENOID, MAGNETIC = 0.1, 0.2, 0.1, 0.2, 0.3


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
    """Resistance of a copper cable; `length` is there and back.

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
    """Cross-section of copper that loses no more than `drop`; `length` is there and back.

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
    case: ck.Case, volts: Annotated[list[ck.Reading], cranking_voltage]
) -> Iterator[ck.Finding | ck.Gap]:
    """The voltage at the posts, and what is lost between posts and clamps.

    Advice: no citable limit is on file.
    """
    for reading in volts:
        if reading.place == "posts":
            yield _posts(case, reading)
    for pair in case.pairs(volts, "posts", "clamps"):
        yield pair if isinstance(pair, ck.Gap) else _contact(case, *pair)


def _posts(case: ck.Case, posts: ck.Reading) -> ck.Finding:
    return case.judge(
        posts,
        case.limit(cranking_voltage),
        ck.Claim("battery.cranking"),
        ck.Says(
            passes="Cranking voltage {read} at the posts; {limit} is usual.",
            fails=(
                "Cranking voltage drops to {read} at the posts; {limit} is usual with a warm engine. A"
                " weak or discharged battery, a stiff cold engine or a starter that draws too much"
                " current can cause that."
            ),
            undecided="Cranking voltage {read} at the posts, close to the usual {limit}.",
        ),
        ck.Tells(
            passes="The battery keeps the usual voltage while the engine is cranked.",
            fails="The battery's voltage drops lower than usual while the engine is cranked.",
        ),
        values={"read": ck.show(posts.value, "V", uncertainty=False)},
    )


def _contact(case: ck.Case, posts: ck.Reading, clamps: ck.Reading) -> ck.Finding:
    lost = posts.value - clamps.value
    places: dict[str, Any] = {
        name: ck.show(value, "V", uncertainty=False)
        for name, value in (("posts", posts.value), ("clamps", clamps.value), ("lost", lost))
    }
    if lost.number < -2 * lost.u:
        return case.inconclusive(
            ck.Claim(
                "battery.contact",
                of=cranking_voltage,
                unit="V",
                evidence=[posts, clamps],
                next_test=cranking_voltage,
            ),
            (
                "While cranking the clamps read {clamps}, more than the posts with {posts}, which"
                " cannot be. Were the two swapped? Read both again."
            ),
            lost,
            values=places,
        )
    return case.judge(
        lost,
        case.limit("battery.contact"),
        ck.Claim(
            "battery.contact",
            of=cranking_voltage,
            unit="V",
            calls_for=clean_contacts,
            next_test=cranking_voltage,
        ),
        ck.Says(
            passes="Voltage drop from posts to clamps while cranking: {lost}; the connections are good.",
            fails=(
                "Voltage drop from posts to clamps while cranking: {lost}, where there should be next"
                " to none. Clean and tighten them, then read again."
            ),
            undecided=(
                "Voltage drop from posts to clamps while cranking: about {lost}; these two readings"
                " cannot tell it from zero. Measure across each connection."
            ),
        ),
        ck.Tells(
            passes="The battery connections carry their current well.",
            fails="The battery connections lose voltage where they should lose next to none.",
        ),
        values=places,
    )
