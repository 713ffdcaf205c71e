"""How much exhaust is in what the engine draws in: three definitions that must not be mixed."""

from __future__ import annotations

from typing import Annotated

import corekit as ck

from .declarations import egr


@egr.calculation(source="egr-rate-mass")
def rate_of_total(
    air: Annotated[float, ck.Input("kg/s", "Air mass flow", above=0)],
    fuel: Annotated[float, ck.Input("kg/s", "Fuel mass flow", 0)],
    exhaust: Annotated[float, ck.Input("kg/s", "Exhaust mass flow led back", 0)],
) -> Annotated[float, ck.Output("1", "EGR rate of the whole charge")]:
    """Exhaust led back as a share of air, fuel and exhaust together.

    >>> round(rate_of_total.si(10.0, 0.684931507, 1.2), 6)
    0.100968
    """
    return exhaust / (air + fuel + exhaust)


@egr.calculation(source="egr-rate-mass")
def rate_without_fuel(
    air: Annotated[float, ck.Input("kg/s", "Air mass flow", above=0)],
    exhaust: Annotated[float, ck.Input("kg/s", "Exhaust mass flow led back", 0)],
) -> Annotated[float, ck.Output("1", "EGR rate without fuel")]:
    """Exhaust led back as a share of air and exhaust alone: the same engine reads higher than with the fuel
    counted.

    >>> round(rate_without_fuel.si(10.0, 1.2), 6)
    0.107143
    """
    return exhaust / (air + exhaust)


@egr.calculation(source="egr-rate-co2")
def rate_by_co2(
    intake: Annotated[float, ck.Input("1", "CO₂ in the intake manifold", 0, 1)],
    exhaust: Annotated[float, ck.Input("1", "CO₂ in the exhaust", 0, 1)],
    ambient: Annotated[float, ck.Input("1", "CO₂ in the ambient air", 0, 1)],
) -> Annotated[float, ck.Output("1", "EGR rate")]:
    """Share of exhaust by carbon dioxide before the cylinder, behind it and in the air; all three dry, or all
    three wet.

    >>> round(rate_by_co2.si(0.0160, 0.146, 0.00042), 6)
    0.10702

    Raises:
        ValueError: the exhaust holds no more carbon dioxide than the air.
    """
    if exhaust <= ambient:
        raise ValueError(
            "The exhaust must hold more carbon dioxide than the air; check which probe was where."
        )
    return (intake - ambient) / (exhaust - ambient)
