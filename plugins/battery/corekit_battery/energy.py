"""Energy life: the charge at which a battery settles when the car is driven as it is driven.

Each trip takes a start, gives what the alternator has left over and the battery accepts, and is followed by
hours in which the parked car draws. Week after week the charge moves to where both are equal. Where that is
low, no new battery helps for long.

The longer way of saying it: with s the share of charge, C the capacity, τ the acceptance time and η the share
of the ampere-hours that stays, ds/dt = min(surplus, (1 - s) C / τ) η / C while driving (less while idling,
and minus the loads where the surplus is negative), and ds/dt = -(drain / C + loss s) while parked.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from enum import Enum
from typing import Annotated, Any

import attrs

import corekit as ck

from .answers import (
    BatteryType,
)
from .answers import (
    Control as Managed,
)
from .capacity import capacity_known, reserve
from .charge import usual_acceptance_time
from .charge_state import charge_of
from .charging import HOUR
from .declarations import (
    alternator_rating,
    battery,
    battery_type,
    capacity,
    control,
    drain,
    open_circuit_voltage,
)
from .drain import DAY, LOSS, MONTH

WEEK = 7 * DAY
AH = 3600.0
# What a use is taken to be when nobody said; estimates of ours. source: energy-life
ALTERNATOR, OUT_DRIVING, OUT_IDLING = (
    110.0,
    0.65,
    0.35,
)  # A, and the share of its rating that a hot one gives at road speed and idling
LOADS = 30.0  # A while driving: engine, lamps, some heating
IDLING, STOPPED = (
    0.2,
    0.15,
)  # share of a trip spent idling, and of one with the engine stopped by a stop-start system
START, RESTART, AWAKE = (
    0.15 * AH,
    0.04 * AH,
    0.25 * AH,
)  # C for a start, for a restart, and for what stays awake after the key
USUAL_DRAIN = 0.02  # A; source: drain-limit
OUTSIDE = 283.15  # K
#: Share of the ampere-hours given that stays: one over the middle of the printed factors. source:
#: charge-factor
KEPT = {
    BatteryType.FLOODED: 1 / 1.15,
    BatteryType.EFB: 1 / 1.115,
    BatteryType.AGM: 1 / 1.065,
    BatteryType.GEL: 1 / 1.075,
}
KEPT_UNKNOWN = 1 / 1.15
QUICKER = (
    0.7  # acceptance time of an AGM battery beside a flooded one; an estimate of ours, source: energy-life
)
NIGHT, MAINTAINER, LARGER = (
    10 * HOUR,
    4.0,
    1.3,
)  # s and A of one night a week on a small charger; times the capacity of a larger battery
STEPS = 16  # of each phase of a trip


class StopStart(Enum):
    NONE = "none"
    WORKS = "works"
    RARELY = "rarely stops the engine"


# ---- how the car is used, as told

trip_time = battery.trait(
    "trip_time",
    "Length of a usual trip",
    units=("min", "h"),
    possible=(0.5, 600),
    how="As reported; door to door.",
)
trips_per_week = battery.trait(
    "trips_per_week", "Trips per week", units=("1",), possible=(1, 200), how="There and back count as two."
)
idle_share = battery.trait(
    "idle_share",
    "Share of a trip spent idling",
    units=("%",),
    possible=(0, 95),
    how="Town 20 to 40 %, country 5 %.",
    tells="how much of a trip the engine idles",
)
driving_loads = battery.trait(
    "driving_loads",
    "Electrical load while driving",
    units=("A",),
    possible=(0, 300),
    how="Current in the alternator lead less that in the battery lead.",
    tells="what is switched on while driving",
)
outside = battery.trait(
    "outside_temperature",
    "Usual outside temperature of the season",
    units=("°C",),
    possible=(-40, 50),
    how="Where the car is parked and driven.",
    tells="how warm it usually is outside",
)
stop_start = battery.trait(
    "stop_start",
    "Stop-start system",
    StopStart,
    how="A vehicle that rarely stops its engine may be short of charge.",
)
restarts = battery.trait(
    "restarts_per_trip",
    "Restarts per trip",
    units=("1",),
    possible=(0, 200),
    how="By the stop-start system.",
    tells="how often the engine starts again on a trip",
)


@attrs.frozen(kw_only=True)
class Use:
    """One way of driving, all in coherent units.

    Attributes:
        capacity: C. tau: s, the acceptance time. driving, idling: A left for the battery; negative where
            loads take more.
        idle: Share of a trip spent idling. trip, apart: s, a trip and from one start to the next.
        taken: C for each trip: the start, restarts, and what stays awake afterwards.
        drain: A. loss: 1/s by itself. kept: share of the ampere-hours given that stays.
    """

    capacity: float
    tau: float
    driving: float
    idling: float
    idle: float
    trip: float
    apart: float
    taken: float
    drain: float
    loss: float
    kept: float

    def on_the_road(self, share: float) -> float:
        """ds/dt while driving, 1/s: idling and driving mixed as they come."""
        takes = max(0.0, 1 - share) * self.capacity / self.tau
        gained = math.fsum(
            part * (min(left, takes) * self.kept if left > 0 else left)
            for part, left in ((1 - self.idle, self.driving), (self.idle, self.idling))
        )
        return gained / self.capacity

    def parked(self, share: float) -> float:
        """ds/dt while parked, 1/s."""
        return -(self.drain / self.capacity + self.loss * share)

    def after_a_trip(self, share: float) -> float:
        """Charge from one start to the next, 0 … 1; an empty battery stays empty until it is driven."""
        begun = max(0.0, share - self.taken / self.capacity)
        driven = _integral(self.on_the_road, begun, min(self.trip, self.apart), STEPS)
        return _integral(self.parked, driven, max(0.0, self.apart - self.trip), 4)

    def after_a_week(self, share: float, maintained: float = 0.0) -> float:
        """Charge at the end of a week that begins with one night on a small charger of that current."""
        if maintained:
            share = _integral(
                lambda s: (
                    min(maintained, max(0.0, 1 - s) * self.capacity / self.tau) * self.kept / self.capacity
                ),
                share,
                NIGHT,
                STEPS,
            )
        trips = max(1, math.floor(WEEK / self.apart + 1e-9))
        for _ in range(trips):
            share = self.after_a_trip(share)
        return _integral(self.parked, share, max(0.0, WEEK - trips * self.apart), 4)


def _integral(rate: Callable[[float], float], start: float, lasts: float, steps: int) -> float:
    """Fourth-order Runge-Kutta with a fixed step, kept within 0 and 1 after each."""
    if lasts <= 0:
        return start
    step, share = lasts / steps, start
    for _ in range(steps):
        a = rate(share)
        b = rate(share + step / 2 * a)
        c = rate(share + step / 2 * b)
        d = rate(share + step * c)
        share = min(1.0, max(0.0, share + step / 6 * (a + 2 * b + 2 * c + d)))
    return share


def _steady_charge(after: Callable[[float], float]) -> float:
    """Where a charge comes back to itself.

    What lies above sinks and what lies below rises, so halving finds the one place.
    """
    low, high = 0.0, 1.0
    if after(high) >= high:
        return 1.0
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if after(middle) > middle else (low, middle)
    return (low + high) / 2 if high > 1e-6 else 0.0


@battery.calculation(source="energy-life")
def settled_charge(
    capacity: Annotated[float, ck.Input("C", "20-hour capacity", above=0)],
    tau: Annotated[float, ck.Input("s", "Acceptance time of the battery", above=0)],
    driving: Annotated[float, ck.Input("A", "Current left for the battery at road speed", -300, 500)],
    idling: Annotated[float, ck.Input("A", "Current left for the battery idling", -300, 500)],
    idle: Annotated[float, ck.Input("1", "Share of a trip spent idling", 0, 1)],
    trip: Annotated[float, ck.Input("s", "Length of a trip", above=0)],
    apart: Annotated[float, ck.Input("s", "Time from one start to the next", above=0)],
    taken: Annotated[float, ck.Input("C", "Charge used each trip for starts and modules that stay awake", 0)],
    drain: Annotated[float, ck.Input("A", "Parasitic draw", 0)],
    monthly_loss: Annotated[float, ck.Input("1", "Self-discharge in 30 days", 0, 0.5)],
    kept: Annotated[float, ck.Input("1", "Share of the charge given that is stored", 0.5, 1)],
) -> Annotated[float, ck.Output("1", "State of charge at which it settles")]:
    """Charge at which a battery settles, at the start of a trip, when every trip and every stand is like the
    last.

    What is left for the battery is negative where loads take more than is made; `kept` is the share of the
    ampere-hours given that stays.

    >>> round(settled_charge.si(70 * 3600, 7200, 40, 10, 0.2, 3600, 43200, 1000, 0.02, 0.03, 0.9), 2)
    0.98
    """
    use = Use(
        capacity=capacity,
        tau=tau,
        driving=driving,
        idling=idling,
        idle=idle,
        trip=trip,
        apart=apart,
        taken=taken,
        drain=drain,
        loss=monthly_loss / MONTH,
        kept=kept,
    )
    return _steady_charge(use.after_a_trip)


@battery.calculation(source="energy-life")
def left_for_the_battery(
    rating: Annotated[float, ck.Input("A", "Rated alternator current", above=0)],
    share: Annotated[float, ck.Input("1", "Share of the rating given at this speed", 0, 1)],
    loads: Annotated[float, ck.Input("A", "Current of the consumers", 0)],
) -> Annotated[float, ck.Output("A", "Current left for the battery")]:
    """Current that an alternator has left for the battery: the share of its rating that it gives at this
    speed, less the loads.

    >>> left_for_the_battery.si(100, 0.65, 30)
    35.0
    """
    return rating * share - loads


@battery.calculation(source="energy-life")
def time_to_make_good(
    taken: Annotated[float, ck.Input("C", "Charge used each trip", 0)],
    current: Annotated[float, ck.Input("A", "Current the battery accepts", above=0)],
    kept: Annotated[float, ck.Input("1", "Share of the charge given that is stored", 0.5, 1)],
) -> Annotated[float, ck.Output("s", "Driving time needed")]:
    """Driving that puts back what one trip takes, at the current that the battery accepts.

    >>> round(time_to_make_good.si(0.4 * 3600, 2, 0.9) / 60, 1)
    13.3
    """
    return taken / (current * kept)


# ---- the check

_TOLD = 0.2  # what people tell of their driving is taken to be right within a fifth; an estimate of ours
_NAMES = [field.name for field in attrs.fields(Use)]


@attrs.frozen(kw_only=True)
class _Told:
    """A use with the uncertainty of each part; `guessed` names in words what nobody said."""

    parts: dict[str, ck.Value]
    guessed: tuple[str, ...]

    @property
    def use(self) -> Use:
        numbers = {name: value.number for name, value in self.parts.items()}
        return Use(**{**numbers, "loss": numbers["loss"] / MONTH})

    def settles_at(self) -> ck.Value:
        return settled_charge(*(self.parts[name] for name in _NAMES))


@battery.check("Driving pattern and charge")
def energy_life(
    case: ck.Case,
    *,
    trip: Annotated[ck.Value | None, trip_time],
    trips: Annotated[ck.Value | None, trips_per_week],
    holds: Annotated[ck.Value | None, capacity],
    minutes: Annotated[ck.Value | None, reserve],
    kind: Annotated[BatteryType | None, battery_type],
    drawn: Annotated[ck.Reading | None, drain],
    rest: Annotated[ck.Reading | None, open_circuit_voltage],
    ruled: Annotated[Managed | None, control],
) -> Iterator[ck.Finding | ck.Gap]:
    """Where the charge settles, and what would change it.

    Asked for by telling of the trips; advice, because its defaults are estimates.
    """
    if kind is BatteryType.LITHIUM:
        if trip is not None or trips is not None:
            yield case.does_not_apply("How driving recharges it is reckoned for lead-acid batteries only.")
        return
    if trip is None and trips is None:
        if (
            rest is not None
            and drawn is not None
            and case.stage == 0
            and _low_for_no_reason(case, rest, drawn)
        ):
            yield case.gap(
                trip_time,
                "It was found low and the parasitic draw is small; whether the driving recharges it"
                " depends on how long the trips are.",
            )
        return
    if trip is None or trips is None:
        wanted = trip_time if trip is None else trips_per_week
        yield case.gap(
            wanted,
            "Whether this driving recharges the battery depends on both the length and the number of trips.",
        )
        return
    holds = capacity_known(holds, minutes, kind)
    if holds is None:
        yield case.gap(
            capacity, "Whether this driving recharges the battery depends on its Ah, which are not known."
        )
        return
    if trip.number * trips.number > WEEK:
        yield case.gap(trip_time, "So many trips of that length do not fit into a week. Ask again.")
        return
    told = _habits(case, trip, trips, holds, kind, drawn)
    settled = told.settles_at()
    ways = _ways(told, kind)
    evidence = [reading for reading in (drawn,) if reading is not None]
    places: dict[str, Any] = {
        "settles": (
            f"settles at about {100 * settled.number:.0f} % ({_band(settled)})"
            if settled.number > 0.02
            else "runs down completely"
        ),
        "trips": f"{trips.number:g}",
        "trip": ck.show(trip, "min", uncertainty=False),
        "trip_told": f"{trip.number / 60:.0f} minutes",
        "ways": _in_words(ways),
        "guessed": _guess_words(told, ruled),
    }
    judged = case.judge(
        settled,
        case.limit("battery.settled_charge"),
        ck.Claim(
            "battery.energy_life",
            of=open_circuit_voltage,
            unit="%",
            evidence=evidence,
            urgency=ck.Urgency.PLAN_IT,
            figure=_picture(
                told, settled.number, charge_of(case, rest).share.number if rest is not None else 1.0, ways
            ),
        ),
        ck.Says(
            passes=(
                "Driven like this ({trips} trips of {trip} a week) the battery {settles}: it stays"
                " charged.{guessed}"
            ),
            fails=(
                "Driven like this ({trips} trips of {trip} a week) the battery {settles}: this driving"
                " never fully recharges it.{ways}{guessed}"
            ),
            undecided=(
                "Driven like this ({trips} trips of {trip} a week) the battery {settles}: this driving"
                " may never fully recharge it.{ways}{guessed}"
            ),
        ),
        ck.Tells(
            passes="By our estimate, {trips} trips of {trip_told} a week keep the battery charged.",
            fails="By our estimate, {trips} trips of {trip_told} a week never fully recharge the battery.",
            undecided="By our estimate, {trips} trips of {trip_told} a week may never fill the battery.",
        ),
        values=places,
    )
    yield attrs.evolve(judged, figure=None) if judged.urgency is ck.Urgency.NOTHING else judged


def _low_for_no_reason(case: ck.Case, rest: ck.Reading, drawn: ck.Reading) -> bool:
    """Low at rest although the parked car draws little: then how it is driven is the next question."""
    share, high = charge_of(case, rest).share, case.limit(drain).high
    return share.number + share.u < _kept_charged() and (high is None or drawn.number < high.number)


def _habits(
    case: ck.Case,
    trip: ck.Value,
    trips: ck.Value,
    holds: ck.Value,
    kind: BatteryType | None,
    drawn: ck.Reading | None,
) -> _Told:
    guessed: list[str] = []

    def told(trait: ck.Trait, usual: float, kinds: str, words: str, spread: float = 0.3) -> ck.Value:
        found = case.fitted.get(trait.key)
        if isinstance(found, ck.Value):
            return _loosely(found, trait.key)
        guessed.append(words)
        return ck.Value(kinds, usual, {f"{trait.key} not told": abs(usual) * spread / math.sqrt(3)})

    rating = told(alternator_rating, ALTERNATOR, "current", f"an alternator of {ALTERNATOR:.0f} A")
    loads = told(driving_loads, LOADS, "current", f"loads of {LOADS:.0f} A", 0.4)
    season = told(outside, OUTSIDE, "temperature", "10 °C", 0.0)
    stops = case.fitted.get(stop_start.key) is StopStart.WORKS
    idle = told(
        idle_share,
        STOPPED if stops else IDLING,
        "ratio",
        f"{100 * (STOPPED if stops else IDLING):.0f} % of a trip {'stopped' if stops else 'idling'}",
    )
    often = case.fitted.get(restarts.key)
    count = (often.number if isinstance(often, ck.Value) else round(trip.number / 240)) if stops else 0.0
    made = {
        speed: ck.exact("ratio", share) for speed, share in (("driving", OUT_DRIVING), ("idling", OUT_IDLING))
    }
    tau = ck.propagate(
        lambda kelvins: usual_acceptance_time.si(min(max(kelvins, 243.15), 333.15)), (season,), "time"
    )
    quick = QUICKER if kind is BatteryType.AGM else 1.0
    tau = ck.Value(
        "time",
        tau.number * quick,
        {**tau.budget, "this battery's acceptance time, a default": tau.number * quick / 3 / math.sqrt(3)},
        tau.rests_on,
    )
    parts = {
        "capacity": holds,
        "tau": tau,
        "driving": left_for_the_battery(rating, made["driving"], loads),
        # An engine that stops makes nothing, and the loads go on from the battery.
        "idling": (
            ck.propagate(lambda amps: -amps, (loads,), "current")
            if stops
            else left_for_the_battery(rating, made["idling"], loads)
        ),
        "idle": idle,
        "trip": _loosely(trip, trip_time.key),
        "apart": ck.propagate(lambda n: WEEK / n, (_loosely(trips, trips_per_week.key),), "time"),
        "taken": ck.Value(
            "charge",
            START + AWAKE + count * RESTART,
            {"what a start takes, an estimate": (START + AWAKE) / 3 / math.sqrt(3)},
        ),
        "drain": (
            drawn.value
            if drawn is not None
            else ck.Value("current", USUAL_DRAIN, {"parasitic draw not read": USUAL_DRAIN / 2 / math.sqrt(3)})
        ),
        "loss": ck.exact("ratio", LOSS[kind] if kind is not None else max(LOSS.values())),
        "kept": ck.exact("ratio", KEPT[kind] if kind is not None else KEPT_UNKNOWN),
    }
    if drawn is None:
        guessed.append(f"a parasitic draw of {1000 * USUAL_DRAIN:.0f} mA")
    parts["apart"] = parts["apart"] if parts["apart"].number >= trip.number else trip
    return _Told(parts=parts, guessed=tuple(guessed))


def _loosely(value: ck.Value, key: str) -> ck.Value:
    """What somebody tells of their driving, with its uncertainty.

    A temperature is not told within a fifth of its kelvins.
    """
    half = 5.0 if value.kind == "temperature" else abs(value.number) * _TOLD
    return ck.Value(
        value.kind, value.number, {**value.budget, f"{key} as told": half / math.sqrt(3)}, value.rests_on
    )


@attrs.frozen(kw_only=True)
class _Way:
    """One change, in words, and where the charge would then settle."""

    words: str
    settled: float


def _ways(told: _Told, kind: BatteryType | None) -> list[_Way]:
    """What would change it, each by itself."""
    use = told.use
    ways = []
    for minutes in (10, 15, 20, 30, 45, 60, 90):
        longer = attrs.evolve(use, trip=minutes * 60.0)
        if (
            minutes * 60.0 > use.trip * 1.2
            and minutes * 60.0 < use.apart
            and _steady_charge(longer.after_a_trip) >= _kept_charged()
        ):
            ways.append(_Way(words=f"trips of {minutes} min", settled=_steady_charge(longer.after_a_trip)))
            break
    else:
        ways.append(
            _Way(
                words="trips twice as long",
                settled=_steady_charge(attrs.evolve(use, trip=min(2 * use.trip, use.apart)).after_a_trip),
            )
        )
    ways.append(
        _Way(
            words="one night a week on a small charger",
            settled=_steady_charge(lambda share: use.after_a_week(share, MAINTAINER)),
        )
    )
    if use.drain > 2 * USUAL_DRAIN:
        ways.append(
            _Way(
                words="the parasitic draw repaired",
                settled=_steady_charge(attrs.evolve(use, drain=USUAL_DRAIN).after_a_trip),
            )
        )
    if kind in (None, BatteryType.FLOODED, BatteryType.EFB):
        agm = attrs.evolve(
            use, tau=use.tau * QUICKER, kept=KEPT[BatteryType.AGM], loss=LOSS[BatteryType.AGM] / MONTH
        )
        ways.append(
            _Way(
                words="an AGM battery of this size, where the vehicle's charging suits one",
                settled=_steady_charge(agm.after_a_trip),
            )
        )
    ways.append(
        _Way(
            words="a larger battery",
            settled=_steady_charge(attrs.evolve(use, capacity=LARGER * use.capacity).after_a_trip),
        )
    )
    return ways


def _kept_charged() -> float:
    limit = battery.limits["battery.settled_charge"].low
    assert limit is not None
    return limit.number


def _in_words(ways: list[_Way]) -> str:
    def named(some: list[_Way]) -> str:
        return "; ".join(
            f"{way.words} ({f'about {100 * way.settled:.0f} %' if way.settled > 0.02 else 'still runs down'})"
            for way in some
        )

    help_enough = [way for way in ways if way.settled >= _kept_charged()]
    too_little = [way for way in ways if way.settled < _kept_charged()]
    says = ""
    if help_enough:
        says += f" What would: {named(help_enough)}."
    if too_little:
        says += f" Not enough by itself: {named(too_little)}."
    return says


def _guess_words(told: _Told, ruled: Managed | None) -> str:
    says = f" Assumed, because not recorded: {', '.join(told.guessed)}." if told.guessed else ""
    return says + (
        " This vehicle keeps its battery below full charge on purpose (smart charging)."
        if ruled is Managed.MANAGED
        else ""
    )


def _band(settled: ck.Value) -> str:
    low, high = max(0.0, settled.number - 1.645 * settled.u), min(1.0, settled.number + 1.645 * settled.u)
    return f"between {100 * low:.0f} and {100 * high:.0f} %"


def _picture(told: _Told, settled: float, start: float, ways: list[_Way]) -> ck.Figure:
    """Charge at the start of a trip, week by week, as driven and with the change that helps most."""
    weeks = 16
    use = told.use
    start = min(1.0, max(0.0, start))

    def curve(after: Callable[[float], float]) -> list[tuple[float, float]]:
        share, points = start, [(0.0, 100 * start)]
        for week in range(1, weeks + 1):
            share = after(share)
            points.append((float(week), 100 * share))
        return points

    driven = curve(use.after_a_week)
    helped = curve(lambda share: use.after_a_week(share, MAINTAINER))
    chart = ck.Chart(x=(0.0, float(weeks)), y=(0.0, 100.0))
    end, better = driven[-1][1], helped[-1][1]
    apart = abs(better - end) > 8
    marks: list[ck.Polyline | ck.Dot | ck.Label] = [
        *chart.scales([0, 4, 8, 12, 16], [0, 25, 50, 75, 100], "weeks", "charge before a trip, %"),
        chart.line([(0.0, 50.0), (float(weeks), 50.0)], 0.5, dashed=True),
        chart.words(
            0.2 if start >= 0.6 else weeks - 0.2,
            50.0,
            "a start needs about this much",
            "start" if start >= 0.6 else "end",
            -4.5,
        ),
        chart.line(driven, 1.2),
        chart.words(
            weeks - 0.2,
            end,
            f"as driven: settles at {100 * settled:.0f} %",
            "end",
            -5.0 if end >= 90 or 25 < end < 50 else 2.0,
        ),
    ]
    told_words = (
        f"From about {100 * start:.0f} % the charge before a trip goes to about {end:.0f} % after {weeks}"
        f" weeks and settles at {100 * settled:.0f} %."
    )
    if apart:
        marks += [
            chart.line(helped, 0.8, dashed=True),
            chart.words(weeks - 0.2, better, "with one night a week on a small charger", "end", -5.0),
        ]
        told_words += f" With one night a week on a small charger it stays at about {better:.0f} %."
    return chart.figure(marks, "Charge, week by week, as this car is driven", told_words)
