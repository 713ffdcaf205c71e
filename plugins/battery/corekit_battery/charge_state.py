"""How full the battery is, by its open-circuit voltage: always a band, because the acid decides what a
voltage means.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Annotated, Any

import attrs

import corekit as ck

from .acid import CELLS, gravity_of_voltage
from .declarations import (
    BatteryType,
    Case,
    FullAcid,
    Level,
    SurfaceCharge,
    battery,
    battery_type,
    case_seen,
    charge,
    full_acid,
    full_voltage,
    level,
    open_circuit_voltage,
    rest_time,
    surface_charge,
    temperature,
)
from .tables import Rows

#: Gravity (80 °F against 60 °F) → state of charge. source: tm-5-4210-table-2
ACID_1265: Rows = ((1.120, 0.0), (1.155, 0.25), (1.190, 0.5), (1.225, 0.75), (1.265, 1.0))
#: source: tm-5-1185-table-2
ACID_1280: Rows = ((1.160, 0.0), (1.190, 0.25), (1.220, 0.5), (1.250, 0.75), (1.280, 1.0))
#: Open-circuit voltage of a 12-V block near 25 °C → state of charge. source: charge-by-type
EFB: Rows = ((11.80, 0.0), (12.00, 0.25), (12.25, 0.5), (12.50, 0.75), (12.75, 1.0))
AGM: Rows = ((11.80, 0.0), (12.00, 0.25), (12.30, 0.5), (12.60, 0.75), (12.85, 1.0))
GEL: Rows = ((11.80, 0.0), (12.05, 0.25), (12.35, 0.5), (12.65, 0.75), (12.90, 1.0))

KNOWN, UNKNOWN = (
    0.05,
    0.15,
)  # half-widths of the scale's uncertainty in shares of a full charge; source: charge-uncertainty
# more of it when the rest was short or nobody wrote it down; an estimate of ours, source: charge-uncertainty
UNRESTED = 0.10
EMF_SLOPE = 0.2e-3  # V/K and cell; source: emf-temperature
REST_AGM, REST_FLOODED = 3 * 3600.0, 4 * 3600.0  # s; source: rest-agm, source: rest-flooded
# V: no full lead-acid block of six cells rests higher (gel 12.90 V); an estimate of ours with a meter's
# uncertainty added
ABOVE_ANY = 13.0
UNSEEN_KELVIN = (
    20.0  # how far from 25 °C a battery may be when nobody took its temperature; an estimate of ours
)


@battery.calculation(source="emf-temperature")
def open_circuit_voltage_at_25(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage", 0, 16)],
    temperature: Annotated[float, ck.Input("K", "Battery temperature", 223.0, 353.2)],
) -> Annotated[float, ck.Output("V", "Open-circuit voltage at 25 °C")]:
    """What a rested 12-V block would show at 25 °C. A cold one shows a little less for the same charge.

    >>> round(open_circuit_voltage_at_25.si(12.60, 263.15), 3)
    12.642
    """
    return voltage + CELLS * EMF_SLOPE * (298.15 - temperature)


@battery.calculation(source="tm-5-4210-table-2")
def charge_1265(
    gravity: Annotated[float, ck.Input("1", "Specific gravity", 1.0, 1.35)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge by gravity, for a battery whose acid is 1.265 when full.

    >>> charge_1265.si(1.225)
    0.75
    """
    return ck.interpolate_clamped(gravity, ACID_1265)


@battery.calculation(source="tm-5-1185-table-2")
def charge_1280(
    gravity: Annotated[float, ck.Input("1", "Specific gravity", 1.0, 1.35)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge by gravity, for a battery whose acid is 1.280 when full.

    >>> charge_1280.si(1.22)
    0.5
    """
    return ck.interpolate_clamped(gravity, ACID_1280)


@battery.calculation(source="tm-5-4210-table-2")
def charge_by_voltage_1265(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge by open-circuit voltage at 25 °C, for a battery whose acid is 1.265 when full.

    >>> round(charge_by_voltage_1265.si(12.6), 1)
    0.9
    """
    return charge_1265.si(gravity_of_voltage.si(_in_table(voltage)))


@battery.calculation(source="tm-5-1185-table-2")
def charge_by_voltage_1280(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge by open-circuit voltage at 25 °C, for a battery whose acid is 1.280 when full.

    >>> round(charge_by_voltage_1280.si(12.6), 1)
    0.8
    """
    return charge_1280.si(gravity_of_voltage.si(_in_table(voltage)))


@battery.calculation(source="charge-uncertainty")
def charge_by_voltage_flooded(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of a flooded battery of unknown acid, by open-circuit voltage at 25 °C: midway
    between the scales of 1.265 and 1.280.

    >>> charge_by_voltage_flooded.si(13.0)
    1.0
    """
    return (charge_by_voltage_1265.si(voltage) + charge_by_voltage_1280.si(voltage)) / 2


@battery.calculation(source="charge-by-type")
def charge_by_voltage_efb(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of an enhanced flooded battery, by open-circuit voltage near 25 °C.

    >>> charge_by_voltage_efb.si(12.5)
    0.75
    """
    return ck.interpolate_clamped(voltage, EFB)


@battery.calculation(source="charge-by-type")
def charge_by_voltage_agm(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of a flat-plate AGM battery, by open-circuit voltage near 25 °C.

    >>> charge_by_voltage_agm.si(12.3)
    0.5
    """
    return ck.interpolate_clamped(voltage, AGM)


@battery.calculation(source="charge-by-type")
def charge_by_voltage_gel(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of a gel battery, by open-circuit voltage near 25 °C.

    >>> charge_by_voltage_gel.si(12.65)
    0.75
    """
    return ck.interpolate_clamped(voltage, GEL)


@battery.calculation(source="charge-uncertainty")
def charge_by_voltage_any(
    voltage: Annotated[float, ck.Input("V", "Open-circuit voltage at 25 °C", 0, 16)],
) -> Annotated[float, ck.Output("1", "State of charge")]:
    """State of charge of a battery of unknown type, by open-circuit voltage near 25 °C: midway between the
    scales that read highest and lowest.

    >>> charge_by_voltage_any.si(13.0)
    1.0
    """
    scales = [
        charge_by_voltage_1265.si(voltage),
        charge_by_voltage_1280.si(voltage),
        ck.interpolate_clamped(voltage, EFB),
        ck.interpolate_clamped(voltage, AGM),
        ck.interpolate_clamped(voltage, GEL),
    ]
    return (min(scales) + max(scales)) / 2


def _in_table(voltage: float) -> float:
    """Below the acid table a battery is empty and above it full; the ends stand for both."""
    return min(max(voltage, 11.35), 12.98)


@attrs.frozen(kw_only=True)
class Scale:
    """One way from open-circuit voltage to charge: how, where 100 % begins, which limit a charge read off
    it may be held against.
    """

    of: Callable[..., ck.Value]
    full: float
    limit: str
    half_width: float
    words: str


# Where each scale reaches 100 %: the voltage of its full acid (80 °F against 60 °F) for the first two.
_1265 = Scale(
    of=charge_by_voltage_1265,
    full=12.679,
    limit="battery.charge_for_load",
    half_width=KNOWN,
    words="acid 1.265 when full",
)
_1280 = Scale(
    of=charge_by_voltage_1280,
    full=12.766,
    limit="battery.charge_for_load",
    half_width=KNOWN,
    words="acid 1.280 when full",
)
_WEAK = "battery.charge_for_load_by_type"
_FLOODED = Scale(
    of=charge_by_voltage_flooded, full=12.72, limit=_WEAK, half_width=UNKNOWN, words="flooded, acid not known"
)
_BY_TYPE = {
    BatteryType.FLOODED: _FLOODED,
    BatteryType.EFB: Scale(
        of=charge_by_voltage_efb,
        full=EFB[-1][0],
        limit=_WEAK,
        half_width=UNKNOWN,
        words="EFB, acid not known",
    ),
    BatteryType.AGM: Scale(
        of=charge_by_voltage_agm,
        full=AGM[-1][0],
        limit=_WEAK,
        half_width=UNKNOWN,
        words="AGM, acid not known",
    ),
    BatteryType.GEL: Scale(
        of=charge_by_voltage_gel,
        full=GEL[-1][0],
        limit=_WEAK,
        half_width=UNKNOWN,
        words="gel, acid not known",
    ),
}
_ANY = Scale(
    of=charge_by_voltage_any, full=12.8, limit=_WEAK, half_width=UNKNOWN, words="type and acid not known"
)


def scale_for(kind: BatteryType | None, acid: FullAcid | None) -> Scale:
    """The printed scale of the acid if that is known, else the scale of the type.

    No printed scale is on file for AGM, gel or acid 1.300.
    """
    if kind in (None, BatteryType.FLOODED, BatteryType.EFB):
        if acid is FullAcid.G1265:
            return _1265
        if acid is FullAcid.G1280:
            return _1280
    if kind is None:
        return _BY_TYPE[BatteryType.AGM] if acid is FullAcid.G1300 else _ANY
    scale = _BY_TYPE[kind]
    return (
        attrs.evolve(scale, half_width=KNOWN, words=f"acid {acid.value} when full")
        if acid is not None
        else scale
    )


@attrs.frozen(kw_only=True)
class Charge:
    """A state of charge with all that qualifies it.

    Attributes:
        share: 0 … 1, with the uncertainty of voltage, temperature, scale and rest.
        limit: Key of the limit that it may be held against.
        remarks: What the reader must know, each a sentence.
        flattered: A charge left on the plates may make the voltage look better than the battery is; then only
            a low one means anything.
    """

    share: ck.Value
    limit: str
    remarks: tuple[str, ...]
    flattered: bool

    @property
    def words(self) -> dict[str, Any]:
        """Places for sentences: the share, its band (9 in 10), and the remarks."""
        low, high = (
            max(0.0, self.share.number - 1.645 * self.share.u),
            min(1.0, self.share.number + 1.645 * self.share.u),
        )
        return {
            "share": f"{100 * self.share.number:.0f} %",
            "band": f"between {100 * low:.0f} and {100 * high:.0f} %",
            "remarks": "".join(f" {remark}" for remark in self.remarks),
        }


def how_full(
    rest: ck.Reading,
    *,
    rested: ck.Reading | None = None,
    warmth: ck.Reading | None = None,
    surface: SurfaceCharge | None = None,
    kind: BatteryType | None = None,
    acid: FullAcid | None = None,
    full: ck.Value | None = None,
) -> Charge:
    """State of charge from an open-circuit voltage and whatever else is known."""
    scale = scale_for(kind, acid)
    uncertainties: dict[str, float] = {}
    remarks = []
    if warmth is not None:
        volts = open_circuit_voltage_at_25(rest, warmth)
    else:
        unseen = {f"{rest.entry}.temperature not taken": CELLS * EMF_SLOPE * UNSEEN_KELVIN / math.sqrt(3)}
        volts = ck.Value(rest.value.kind, rest.number, {**rest.value.budget, **unseen}, rest.value.rests_on)
    if full is not None:
        volts = ck.propagate(lambda now, then: now - then + scale.full, (volts, full), "voltage")
        uncertainties["scale"] = KNOWN
        remarks.append("Measured against this battery's own fully charged voltage.")
    else:
        uncertainties["scale"] = scale.half_width
        if scale.half_width == UNKNOWN:
            remarks.append(f"The scale is uncertain by 15 points ({scale.words}).")
    flattered = False
    needed = REST_AGM if kind in (BatteryType.AGM, BatteryType.GEL) else REST_FLOODED
    if rested is None or rested.number < needed:
        uncertainties["rest"] = UNRESTED
        how_long = "How long it had rested is not recorded"
        if rested is not None:
            how_long = (
                f"It had rested {ck.show(rested.value, 'h', uncertainty=False)} of the"
                f" {needed / 3600:.0f} h needed"
            )
        if surface is SurfaceCharge.TAKEN_OFF:  # source: surface-charge
            remarks.append(
                f"{how_long}; the headlamps removed the surface charge, so this counts for less than a"
                " rested reading."
            )
        else:
            flattered = rested is not None or surface is SurfaceCharge.LEFT
            if flattered:
                remarks.append(
                    f"{how_long}; a recent charge or drive makes a battery look better charged than it"
                    " is, so it is"
                    " too soon to say."
                )
            else:
                remarks.append(f"{how_long}, so this counts for less.")
    share = scale.of(
        attrs.evolve(volts, number=min(max(volts.number, 0.0), 16.0))
    )  # corrected or shifted past what can be read it is empty, or full
    budget = dict(share.budget) | {
        f"{rest.entry}.{name} of the charge": width / math.sqrt(3) for name, width in uncertainties.items()
    }
    return Charge(
        share=ck.Value(share.kind, share.number, budget, share.rests_on),
        limit=_WEAK if full is not None and scale.limit == _WEAK else scale.limit,
        remarks=tuple(remarks),
        flattered=flattered,
    )


def charge_of(case: ck.Case, rest: ck.Reading) -> Charge:
    """The same from a case, for checks to which the charge is only a question on the way."""
    kind, acid, full = (case.fitted.get(trait.key) for trait in (battery_type, full_acid, full_voltage))
    surface = case.seen(surface_charge)
    return how_full(
        rest,
        rested=rest.condition(rest_time) or case.reading(rest_time),
        warmth=rest.condition(temperature) or case.reading(temperature),
        surface=surface if isinstance(surface, SurfaceCharge) else None,
        kind=kind if isinstance(kind, BatteryType) else None,
        acid=acid if isinstance(acid, FullAcid) else None,
        full=full if isinstance(full, ck.Value) else None,
    )


def judged_charge(case: ck.Case, rest: ck.Reading, found: Charge, *, may_charge: bool = True) -> ck.Finding:
    """Is there charge enough for a load test? The finding's probability is what the load test
    is barred by.
    """
    enough = "Charged to about {share} ({band}) by its open-circuit voltage of {rest}"
    return case.judge(
        found.share,
        case.limit(found.limit),
        ck.Claim(
            "battery.charge_state",
            of=open_circuit_voltage,
            unit="%",
            evidence=[rest],
            calls_for=charge if may_charge else None,
        ),
        ck.Says(
            passes=enough + ": enough for a load test.{remarks}",
            fails=enough + ": it needs charging.{remarks}",
            undecided=enough
            + ": perhaps too discharged for a load test to mean anything, so it is charged first.{remarks}",
        ),
        ck.Tells(
            passes="The battery is charged enough to be tested.",
            fails="The battery needs charging before it can be tested.",
        ),
        values={**found.words, "rest": ck.show(rest.value, "V", uncertainty=False)},
    )


@battery.check("State of charge")
def charge_state(
    case: ck.Case,
    rest: Annotated[ck.Reading, open_circuit_voltage],
    *,
    rested: Annotated[ck.Reading | None, rest_time],
    warmth: Annotated[ck.Reading | None, temperature],
    surface: Annotated[SurfaceCharge | None, surface_charge],
    kind: Annotated[BatteryType | None, battery_type],
    acid: Annotated[FullAcid | None, full_acid],
    full: Annotated[ck.Value | None, full_voltage],
    body: Annotated[Case | None, case_seen],
    acid_level: Annotated[Level | None, level],
) -> Iterator[ck.Finding | ck.Gap]:
    """State of charge as a band, and whether a load test would mean anything.

    A damaged, frozen or dry battery is not sent to be charged.
    """
    values = [rest.value, *rest.others]
    if min(value.number for value in values) > ABOVE_ANY:
        low, high = min(value.number for value in values), max(value.number for value in values)
        yield case.inconclusive(
            ck.Claim(
                "battery.surface_charge",
                of=open_circuit_voltage,
                evidence=[rest],
                next_test=open_circuit_voltage,
            ),
            (
                "It stands at {read}, above the open-circuit voltage of any fully charged battery: a"
                " surface charge is left from the charger, and this says nothing about the state of"
                " charge. Wait half a day, or remove it with the headlamps, then read again."
            ),
            rest,
            values={
                "read": (
                    ck.show(rest.value, "V", uncertainty=False)
                    if len(values) == 1
                    else f"{low:.2f} to {high:.2f} V"
                )
            },
        )
        return
    if rest.disagrees:
        yield case.inconclusive(
            ck.Claim(
                "battery.charge_state",
                of=open_circuit_voltage,
                evidence=[rest],
                next_test=open_circuit_voltage,
            ),
            (
                "The {count} readings of the open-circuit voltage disagree by more than their"
                " uncertainty; read it again before anything is concluded."
            ),
            rest,
            values={"count": str(rest.count)},
        )
        return
    found = how_full(rest, rested=rested, warmth=warmth, surface=surface, kind=kind, acid=acid, full=full)
    judged = judged_charge(
        case, rest, found, may_charge=body in (None, Case.SOUND) and acid_level is not Level.BARE
    )
    if found.flattered and (judged.probability or 0.0) > 0.05:
        yield case.inconclusive(
            ck.Claim(
                "battery.charge_state",
                of=open_circuit_voltage,
                unit="%",
                evidence=[rest],
                next_test=open_circuit_voltage,
            ),
            (
                "Its open-circuit voltage is {rest}, which would mean charged to about {share}"
                " ({band}).{remarks}"
            ),
            found.share,
            limits=judged.limits,
            values={"rest": ck.show(rest.value, "V", uncertainty=False), **found.words},
        )
    else:
        yield judged
    floor = case.judge(
        rest,
        case.limit("battery.deep_discharge"),
        ck.Claim("battery.deep_discharge", urgency=ck.Urgency.PLAN_IT),
        ck.Says(
            passes="",
            fails=(
                "It was found at {read}. Below 10.5 V a battery is damaged: after charging its"
                " capacity may be reduced."
            ),
            undecided="It was found at {read}, about where deep discharge begins to damage a battery.",
        ),
        ck.Tells(
            passes="", fails="The battery was found so deeply discharged that it may not recover fully."
        ),
        values={"read": ck.show(rest.value, "V", uncertainty=False)},
    )
    if (floor.probability or 0.0) < 0.95:
        yield floor
