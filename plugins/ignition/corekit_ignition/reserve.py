"""What a plug gap asks for against what the coil can give: the reserve, by cylinder, by gap and by speed.

Both sides are known to a quarter or a third, so nothing here decides; cylinders are compared instead.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated

import attrs

import corekit as ck

from .answers import Kind
from .cautions import HOT, MOVING, OFF
from .current import stored_energy, time_to_current, with_uncertainty
from .declarations import (
    CYLINDERS,
    available_voltage,
    coil_resistance,
    compression_ratio,
    cylinders,
    ignition,
    inductance,
    kind,
    off_time,
    peak_current,
    plug_gap,
    spark_plugs,
    supply_running,
)
from .gaps import (
    pressure_at_spark,
    temperature_at_spark,
    voltage_demanded,
    voltage_from_energy,
    voltage_with_shunt,
)
from .speed import FASTEST, OFF_TIME, collapse_speed, firings_of

MODEL = 0.35  # relative uncertainty of what a gap asks for; source: gap-uncertainty
FULL_LOAD, WARM = 1e5, 330.0  # Pa abs and K when compression begins, throttle open; source: compression
RATIOS = (8.0, 12.0)  # compression ratios of petrol engines where nobody knows it; an estimate of ours
TRANSFER, CAPACITANCE = 0.65, 1.0e-10  # 1 and F, middle of what is usual; source: secondary-side
SECONDARY, STRUCK = 25.0, 0.07  # H and A, an ordinary secondary at switch-off; source: secondary-side
SUPPLY_UNCERTAINTY = 0.25  # relative uncertainty of a voltage worked out from energy; source: secondary-side
ORDINARY = (25e3, 40e3)  # V, what ordinary coils reach; source: available-usual

proposed_gap = ignition.trait(
    "proposed_gap",
    "Proposed plug gap",
    units=("mm",),
    possible=(0.2, 2.5),
    how="To compare; nothing is set.",
    tells="another gap",
)
intake_pressure = ignition.measurand(
    "intake_pressure",
    "kPa abs",
    "Intake pressure where it misfires",
    possible=(10, 400),
    usual=(20, 300),
    accuracy="2 kPa",
    where="Intake, behind throttle and turbocharger; absolute: boost plus the air around, about 100 kPa.",
    how="Scan tool, at the moment of the misfire.",
    hazard=f"{MOVING} On the road somebody else drives.",
    tells="the pressure in the engine's intake",
)
plug_insulation = ignition.measurand(
    "plug_insulation",
    "MΩ",
    "Insulation of the plug",
    possible=(0, 1e6),
    usual=(0.05, 1e5),
    accuracy="10 % + 0.01 MΩ",
    places=CYLINDERS,
    places_by=cylinders,
    part=spark_plugs,
    where="Centre electrode to thread, plug out.",
    how="Insulation tester: an ordinary ohmmeter's few volts do not show a deposit.",
    hazard=f"{OFF} {HOT} An insulation tester gives 500 V and more: hands off its probes.",
    tells="how clean the spark plugs are inside",
)


@ignition.calculation(source="circuit")
def current_for_voltage(
    voltage: Annotated[float, ck.Input("V", "Required voltage", 0)],
    inductance: Annotated[float, ck.Input("H", "Primary inductance", above=0)],
    transfer: Annotated[float, ck.Input("1", "Share of it that reaches the secondary", above=0, high=1)],
    capacitance: Annotated[float, ck.Input("F", "Capacitance of winding, lead and plug", above=0)],
) -> Annotated[float, ck.Output("A", "Primary current needed")]:
    """Primary current whose energy charges winding, lead and plug to a voltage.

    The way back from `voltage_from_energy` and `stored_energy`.

    >>> round(current_for_voltage.si(28982.753, 0.004, 0.7, 1e-10), 4)
    5.4772
    """
    return voltage * math.sqrt(capacitance / (transfer * inductance))


@ignition.calculation(source="circuit")
def share_past_deposit(
    inductance: Annotated[float, ck.Input("H", "Secondary inductance", above=0)],
    capacitance: Annotated[float, ck.Input("F", "Capacitance of winding, lead and plug", above=0)],
    shunt: Annotated[float, ck.Input("Ω", "Resistance across the fouled plug", above=0)],
) -> Annotated[float, ck.Output("1", "Share of the voltage left")]:
    """Share of a coil's voltage that a deposit across the plug leaves; not a resistive divider.

    >>> round(share_past_deposit.si(25.0, 1e-10, 1e6), 3)
    0.712
    """
    return voltage_with_shunt.si(inductance, capacitance, 1.0, shunt) / math.sqrt(inductance / capacitance)


@attrs.frozen(kw_only=True)
class Given:
    """What a coil can give: from its least to its most, in V, and the words for it."""

    low: float
    high: float
    words: str
    by: ck.Reading | None = None

    def past(self, deposit: ck.Reading | None) -> Given:
        """What is left of it where a deposit lies across the plug."""
        if deposit is None or deposit.number <= 0:
            return self
        left = share_past_deposit.si(SECONDARY, CAPACITANCE, deposit.number)
        words = (
            f"{self.words}, of which a deposit of {ck.show(deposit.value, 'MΩ', uncertainty=False)} leaves"
        )
        return attrs.evolve(
            self, low=self.low * left, high=self.high * left, words=f"{words} {100 * left:.0f} %"
        )


@ignition.check("Required voltage at the plug gap")
def demand(
    case: ck.Case,
    gaps: Annotated[list[ck.Reading], plug_gap],
    *,
    ratio: Annotated[ck.Value | None, compression_ratio],
    intake: Annotated[ck.Reading | None, intake_pressure],
    reached: Annotated[list[ck.Reading] | None, available_voltage],
    peaks: Annotated[list[ck.Reading] | None, peak_current],
    data: Annotated[ck.Value | None, inductance],
    deposits: Annotated[list[ck.Reading] | None, plug_insulation],
    how: Annotated[Kind | None, kind],
    other: Annotated[ck.Value | None, proposed_gap],
) -> Iterator[ck.Finding | ck.Gap]:
    """The gap at full load against what the coil can give: each cylinder where each has its own coil that was
    read, else the widest. source: available-usual
    """
    read = {reading.place.split()[-1]: reading for reading in reached or []}
    own = how is Kind.OWN_COIL and all(gap.place.split()[-1] in read for gap in gaps)
    by_place = {reading.place: reading for reading in deposits or []}
    for gap in gaps if own else [max(gaps, key=lambda gap: gap.number)]:
        if gap.number <= 0:
            yield case.gap(plug_gap, "At a gap of 0 mm the plug is closed and nothing has to be jumped.")
            continue
        given = _inputs([read[gap.place.split()[-1]]] if own else reached, peaks, data)
        yield _comparison(case, gap, given.past(by_place.get(gap.place)), ratio, intake, other)


def _inputs(reached: list[ck.Reading] | None, peaks: list[ck.Reading] | None, data: ck.Value | None) -> Given:
    if reached:
        weakest = min(reached, key=lambda reading: reading.number)
        volts = weakest.value
        return Given(
            low=volts.number - 2 * volts.u,
            high=volts.number + 2 * volts.u,
            words=f"{weakest.place} reached {ck.show(volts, 'kV', uncertainty=False)}",
            by=weakest,
        )
    if peaks and data is not None:
        weakest = min(peaks, key=lambda reading: reading.number)
        volts = voltage_from_energy(
            stored_energy(with_uncertainty(data), weakest),
            ck.exact("ratio", TRANSFER),
            ck.exact("capacitance", CAPACITANCE),
        )
        low, high = volts.number * (1 - SUPPLY_UNCERTAINTY), volts.number * (1 + SUPPLY_UNCERTAINTY)
        words = f"from its energy {weakest.place} has about {_kv(low, high)}"
        return Given(low=low, high=high, words=words, by=weakest)
    return Given(low=ORDINARY[0], high=ORDINARY[1], words=f"ordinary coils reach {_kv(*ORDINARY)}")


def asked_of(gap: ck.Value, ratio: ck.Value | None, intake: ck.Value | None) -> tuple[ck.Value, float, float]:
    """What a gap asks for in V, about and from its least to its most; over the usual ratios where it is not
    known.
    """
    start = intake if intake is not None else ck.exact("pressure absolute", FULL_LOAD)
    ratios = [ratio] if ratio is not None else [ck.exact("ratio", end) for end in RATIOS]
    found = [
        _uncertain(
            voltage_demanded(
                pressure_at_spark(start, one),
                temperature_at_spark(ck.exact("temperature", WARM), one),
                gap,
            ),
            MODEL,
            "ignition.gap.model",
        )
        for one in ratios
    ]
    return found[-1], found[0].number * (1 - MODEL), found[-1].number * (1 + MODEL)


def _comparison(
    case: ck.Case,
    gap: ck.Reading,
    given: Given,
    ratio: ck.Value | None,
    intake: ck.Reading | None,
    other: ck.Value | None,
) -> ck.Finding:
    boost = intake.value if intake is not None else None
    asked, low, high = asked_of(gap.value, ratio, boost)
    short, ample = low > given.high, high < given.low
    proposed = ""
    if other is not None:
        _, least, most = asked_of(other, ratio, boost)
        proposed = (
            f" With {ck.show(other, 'mm', uncertainty=False)} it would be about {_kv(least, most)}: less to"
            f" ask for,"
            " and a smaller spark at idle."
            if other.number < gap.number
            else f" With {ck.show(other, 'mm', uncertainty=False)} it would be about {_kv(least, most)}."
        )
    tight = (
        " That is more than is available: expect misfires under load."
        if short
        else ""
        if ample
        else " There may be no reserve under load: compare the cylinders, and replace nothing on this alone."
    )
    return case.advise(
        ck.Claim(
            "ignition.reserve",
            of=plug_gap,
            unit="kV",
            place=gap.place if given.by is not None and given.by.measurand is available_voltage else "",
            evidence=[one for one in (gap, given.by, intake) if one is not None],
            urgency=ck.Urgency.THIS_VISIT if short else ck.Urgency.NOTHING,
            figure=None if ample and not case.repairs else _picture((low, high), (given.low, given.high)),
        ),
        "Required voltage of {it} with a {gap} gap {when}: about {asked}; {words}.{unknown}{tight}{proposed}",
        asked,
        tells=(
            "When the engine works hard, the spark plug's gap asks for more voltage than the coil can give."
            if short
            else "The ignition coil has voltage to spare for this spark plug gap."
            if ample
            else "Working hard, the spark may have little to spare; nothing is replaced for that alone."
        ),
        values={
            "gap": ck.show(gap.value, "mm", uncertainty=False),
            "it": gap.place,
            "when": (
                "at full load"
                if intake is None
                else f"at {ck.show(intake.value, 'kPa abs', uncertainty=False)} in the intake"
            ),
            "asked": _kv(low, high),
            "words": given.words,
            "unknown": (
                ""
                if ratio is not None
                else f" The compression ratio is not known: {RATIOS[0]:g} to {RATIOS[1]:g} was taken."
            ),
            "tight": tight,
            "proposed": proposed,
        },
    )


@ignition.check("Speed from which misfires are to be expected")
def onset(
    case: ck.Case,
    gaps: Annotated[list[ck.Reading], plug_gap],
    volts: Annotated[ck.Reading, supply_running],
    how: Annotated[Kind, kind],
    fitted_l: Annotated[ck.Value, inductance],
    fitted_r: Annotated[ck.Value, coil_resistance],
    *,
    count: Annotated[ck.Value | None, cylinders],
    ratio: Annotated[ck.Value | None, compression_ratio],
    intake: Annotated[ck.Reading | None, intake_pressure],
    off: Annotated[ck.Value | None, off_time],
) -> Iterator[ck.Finding | ck.Gap]:
    """The speed at which the time left to charge no longer brings the voltage that the widest gap asks for,
    from the earliest to the latest that the two sides' uncertainty allows.
    """
    firings = firings_of(how, count)
    if firings is None:
        yield case.gap(cylinders, "How often the one coil fires depends on the number of cylinders.")
        return
    widest = max(gaps, key=lambda gap: gap.number)
    if widest.number <= 0 or volts.number <= 0:
        wanted = plug_gap if widest.number <= 0 else supply_running
        yield case.gap(wanted, "At a gap of 0 mm or a supply of 0 V no speed can be worked out.")
        return
    _, low, high = asked_of(widest.value, ratio, intake.value if intake is not None else None)
    pause = off.number if off is not None else OFF_TIME
    speeds = [
        _top_speed(asked, fitted_l.number, fitted_r.number, volts.number, firings, pause)
        for asked in (high * (1 + SUPPLY_UNCERTAINTY), low * (1 - SUPPLY_UNCERTAINTY))
    ]
    earliest, latest = speeds
    words = {
        "gap": ck.show(widest.value, "mm", uncertainty=False),
        "volts": ck.show(volts.value, "V", uncertainty=False),
    }
    claim = ck.Claim(
        "ignition.onset",
        of=plug_gap,  # of those plugs alone: with others it is another speed
        evidence=[widest, volts],
        # "Or not at all" asks for nothing by itself.
        urgency=ck.Urgency.NOTHING if latest > FASTEST else None,
    )
    if earliest > FASTEST:
        says = "At {volts} this coil charges long enough for a {gap} gap at any speed this engine runs at."
        tells = "The ignition coil has time enough for this spark plug gap at any speed."
    else:
        says = (
            "At {volts} and full load a {gap} gap may begin to misfire {band}. Where both sides are"
            " uncertain by a"
            " quarter to a third, that is a band and no limit: compare it with the speed of the complaint."
        )
        tells = "Under full load misfires may begin at higher engine speeds."
        words["band"] = _band(earliest, latest)
    yield case.advise(claim, says, tells=tells, values=words)


def _top_speed(
    asked: float, inductance: float, resistance: float, volts: float, firings: float, pause: float
) -> float:
    """Engine speed in rev/s up to which a coil reaches a voltage; 0 where it never does."""
    amperes = current_for_voltage.si(asked, inductance, TRANSFER, CAPACITANCE)
    if amperes * resistance >= volts:
        return 0.0
    needed = time_to_current.si(volts, resistance, inductance, amperes)
    return collapse_speed.si(firings, needed, pause)


def _band(earliest: float, latest: float) -> str:
    first, last = (f"{round(60 * speed, -2):.0f} rpm" for speed in (earliest, latest))
    if earliest <= 0:
        return f"at any speed, at the latest from {last}" if 0 < latest <= FASTEST else "at any speed"
    return f"between {first} and {last}" if latest <= FASTEST else f"from {first} on, or not at all"


def _uncertain(value: ck.Value, share: float, cause: str) -> ck.Value:
    return ck.Value(value.kind, value.number, {**value.budget, cause: share * value.number}, value.rests_on)


def _kv(low: float, high: float) -> str:
    return f"{low / 1000:.0f} to {high / 1000:.0f} kV"


def _picture(asked: tuple[float, float], given: tuple[float, float]) -> ck.Figure:
    """Two spans on one scale: what is asked for, what can be given."""
    ends = 10 * (int(max(asked[1], given[1]) / 10e3) + 1)
    chart = ck.Chart(x=(0.0, float(ends)), y=(0.0, 3.0))
    marks: list[ck.Polyline | ck.Band | ck.Label] = [
        *chart.scales([10 * n for n in range(ends // 10 + 1)], [], "kV", "")
    ]
    for row, (words, (low, high)) in enumerate((("available", given), ("required at full load", asked))):
        corners = chart.at(low / 1000, 0.6 + 1.3 * row), chart.at(high / 1000, 1.0 + 1.3 * row)
        marks += [
            ck.Band(*corners[0], *corners[1], 0.25 if row else 0.12),
            chart.words(low / 1000, 1.0 + 1.3 * row, words, "start", 1.5),
        ]
    if asked[0] > given[1]:
        apart = "Less is available than the gap requires."
    else:
        apart = "More is available than required." if asked[1] < given[0] else "The two ranges overlap."
    return chart.figure(
        marks,
        "Required and available voltage",
        f"The gap requires {_kv(*asked)} at full load; {_kv(*given)} is available. {apart}",
    )
