"""How full the battery is, by its open-circuit voltage: always a band, because the acid decides what a
voltage means.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any

import attrs

import corekit as ck

from .acid import CELLS, EMF_SLOPE, open_circuit_voltage_at_25
from .answers import (
    BatteryType,
    FullAcid,
    SurfaceCharge,
)
from .charge_history import ChargeEnd, charge_end, known_full_charge
from .charge_scales import KNOWN, UNKNOWN, UNRESTED, WEAK, scale_for
from .dangers import barred
from .declarations import (
    battery,
    battery_type,
    charge,
    full_acid,
    full_voltage,
    open_circuit_voltage,
    rest_time,
    surface_charge,
    temperature,
)
from .lithium import ask_for_the_type, by_lithium_voltage, may_be_lithium

REST_AGM, REST_FLOODED = 3 * 3600.0, 4 * 3600.0  # s; source: rest-agm, source: rest-flooded
PROBABLY, SURE = 0.5, 0.95
# V: no full lead-acid block of six cells rests higher (gel 12.90 V); an estimate of ours with a meter's
# uncertainty added
ABOVE_ANY, ABOVE_AGM = 13.0, 13.1  # a wound AGM rests at up to 13.1 V
UNSEEN_KELVIN = (
    20.0  # how far from 25 °C a battery may be when nobody took its temperature; an estimate of ours
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
            "remarks": self.remarked("So it is too soon to say."),
        }

    def remarked(self, where_flattered: str) -> str:
        """The remarks, and what follows where a charge or a drive may flatter the voltage."""
        follows = (*self.remarks, where_flattered) if self.flattered else self.remarks
        return "".join(f" {remark}" for remark in follows)


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
    """State of charge from an open-circuit voltage and whatever else is known; of a lithium battery, whose
    voltage tells next to nothing, anything from empty to full.
    """
    if kind is BatteryType.LITHIUM:
        unknown = {f"{rest.entry}.a voltage that does not tell the charge": 0.5 / math.sqrt(3)}
        return Charge(
            share=ck.Value("ratio", 0.5, unknown, rest.value.rests_on),
            limit=WEAK,
            remarks=("The voltage of a lithium battery does not tell its charge.",),
            flattered=True,
        )
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
                    f"{how_long}; a recent charge or drive makes a battery look better charged than it is."
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
        limit=WEAK if full is not None and scale.limit == WEAK else scale.limit,
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


def judged_charge(case: ck.Case, rest: ck.Reading, found: Charge) -> ck.Finding:
    """Is there charge enough for a load test? The finding's probability is what the load test
    is barred by.

    It calls for a charge only where nothing that was seen forbids one and none has just been done.
    """
    charged = known_full_charge(case)
    # what stopped a charge, or took none, stops the next one as well
    stopped = case.seen(charge_end) in (ChargeEnd.STOPPED, ChargeEnd.REFUSED)
    may_charge = charged is None and not stopped and not barred(case)
    low = (
        ": it needs charging."
        if may_charge
        else f": too little for a load test, and that after {charged.words}."
        if charged is not None
        else ": too little for a load test."
    )
    perhaps = (
        ": perhaps too discharged for a load test to mean anything, so it is charged first."
        if may_charge
        else ": perhaps too discharged for a load test to mean anything."
    )
    enough = "Charged to about {share} ({band}) by its open-circuit voltage of {rest}"

    def judged(undecided: str, plainly: str) -> ck.Finding:
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
                fails=enough + low + "{remarks}",
                undecided=enough + undecided + "{remarks}",
            ),
            ck.Tells(
                passes="The battery is charged enough to be tested.",
                fails=(
                    "The battery needs charging before it can be tested, and what discharged it has to be"
                    " found."
                    if may_charge
                    else "The battery holds too little charge to be tested."
                ),
                undecided=plainly,
            ),
            values={
                **found.words,
                "rest": ck.show(rest.value, "V", uncertainty=False),
                "remarks": found.remarked("Even so it is low."),
            },
        )

    finding = judged(perhaps, "The battery may hold too little charge to be tested.")
    if found.flattered or not PROBABLY <= (finding.probability or 0.0) < SURE:
        return finding
    probably = judged(
        ": probably enough. A load test decides only once it is charged.",
        "The battery is probably charged well enough.",
    )
    return attrs.evolve(probably, urgency=ck.Urgency.NOTHING, calls_for="")


def _surface_charge(
    case: ck.Case, rest: ck.Reading, values: list[ck.Value], kind: BatteryType | None
) -> ck.Finding:
    """Above what any full lead-acid block rests at."""
    low, high = min(value.number for value in values), max(value.number for value in values)
    return case.inconclusive(
        ck.Claim(
            "battery.surface_charge",
            of=open_circuit_voltage,
            evidence=[rest],
            next_test=open_circuit_voltage,
        ),
        (
            "It stands at {read}, above the open-circuit voltage of any fully charged lead-acid battery: a"
            " surface charge is left from the charger{or_lithium}, and this says nothing about the state of"
            " charge. Wait half a day, or remove it with the headlamps, then read again."
        ),
        rest,
        tells="The battery's voltage still shows its last charge, so how full it is cannot be told yet.",
        values={
            "read": (
                ck.show(rest.value, "V", uncertainty=False)
                if len(values) == 1
                else f"{low:.2f} to {high:.2f} V"
            ),
            "or_lithium": ", or it is a lithium battery" if kind is None else "",
        },
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
) -> Iterator[ck.Finding | ck.Gap]:
    """State of charge as a band, and whether a load test would mean anything.

    A damaged, frozen or dry battery is not sent to be charged.
    """
    if kind is BatteryType.LITHIUM:
        yield from by_lithium_voltage(case, rest)
        return
    values = [rest.value, *rest.others]
    above = ABOVE_AGM if kind is BatteryType.AGM else ABOVE_ANY
    if min(value.number for value in values) > above:
        yield _surface_charge(case, rest, values, kind)
        if kind is None:
            yield ask_for_the_type(case)
        return
    if kind is None and full is None and may_be_lithium(rest):
        yield ask_for_the_type(case)
        yield case.inconclusive(
            ck.Claim(
                "battery.charge_state",
                of=open_circuit_voltage,
                evidence=[rest],
                next_test=open_circuit_voltage,
            ),
            (
                "Its open-circuit voltage of {read} is that of a full lead-acid battery and of a lithium"
                " battery a fifth full: its type comes first, before anything is read from the voltage.{how}"
            ),
            rest,
            tells="What the battery's voltage means depends on its type, which is not known yet.",
            values={
                "read": ck.show(rest.value, "V", uncertainty=False),
                "how": "" if rested is not None else " How long it had rested is not recorded either.",
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
            tells="The readings of the battery's voltage disagree; it is read again.",
            values={"count": str(rest.count)},
        )
        return
    found = how_full(rest, rested=rested, warmth=warmth, surface=surface, kind=kind, acid=acid, full=full)
    judged = judged_charge(case, rest, found)
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
            tells="How full the battery is cannot be told yet: it was charged or driven too recently.",
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
            passes="",
            fails="The battery was found so deeply discharged that it may not recover fully.",
            undecided="The battery was found nearly so deeply discharged that it may not recover fully.",
        ),
        values={"read": ck.show(rest.value, "V", uncertainty=False)},
    )
    if (floor.probability or 0.0) < 0.95:
        yield floor
