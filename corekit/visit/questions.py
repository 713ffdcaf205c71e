"""What a screen asks, from a declaration and what the job says already.

Nothing here knows a system, and nothing here knows a page: a measurand becomes a field with its unit keys,
what it must be read with and the instruments that fit; an observation becomes its answers; a trait its
answers or a value. A new plugin needs no screen code.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from datetime import datetime

import attrs

from .. import units
from ..model.job import Job, Noted
from ..model.limit import Span
from ..model.measurand import DONT_KNOW, Measurand, Observation, Trait, answers_of
from ..model.records import Came, Fitted, Instrument, Measured, Seen, Setup, Started
from ..plugin.host import Plugins
from ..plugin.system import System

#: Why something cannot be had; own words are always possible. Each is read after "could not be reached, …".
CANNOT = (
    "no access without taking more apart",
    "no tool for it here",
    "seized, or would break",
    "not fitted on this vehicle",
    "not possible in this weather or place",
    "too dangerous here",
    "nobody here knows",
)

_MOST_UNITS = 6
# A unit makes sense where the largest usual value is a handy number in it. In a decimal multiple of the own
# unit that number begins at 1 (nobody says 0.09 cm for a gap); in any other it may be smaller (0.035 in).
_LEAST_DECIMAL, _LEAST, _MOST = 1.0, 0.02, 2000.0
_TIMES = 61.0  # a time is said in the next unit as well, 40 min for something that is usually hours
# Coherent units of the inside that no instrument in a van shows.
_NEVER_TYPED = frozenset({"K", "rev/s", "rad", "C", "Pa", "V/K"})
_SENTENCE_END = re.compile(r"(?<=[.!?])\s+")
_NUMBER = re.compile(r"(?P<number>[+−-]?[0-9]+(?:[.,][0-9]+)?)\s*(?P<unit>\D.*)?")


@attrs.frozen(kw_only=True)
class Place:
    """One of the places that something is read at, with what was last said of it in this stage (empty:
    nothing yet).
    """

    name: str
    told: str = ""


@attrs.frozen(kw_only=True)
class Beside:
    """What a reading must be taken with.

    Attributes:
        value, pressed: The number and the unit key as last given in this stage.
        before: As it was in an earlier stage, when nothing is said of it in this one.
    """

    key: str
    title: str
    hint: str
    units: tuple[str, ...]
    value: str = ""
    pressed: str = ""
    before: str = ""

    @property
    def shown(self) -> str:
        return f"{self.value} {self.pressed}".strip()

    @property
    def row(self) -> str:
        """Where it stands in the rows; its field is `is` of it."""
        return f'step[0].setup."{self.key}"'


@attrs.frozen(kw_only=True)
class Tool:
    """An instrument of the shop that fits.

    `ranges`: those of its ranges that the reading can be taken on, when there is a choice.
    """

    name: str
    words: str
    ranges: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class Ask:
    """One thing to read or to look at.

    Attributes:
        key, title, system: What it is; `system` is the title of the system that asks.
        where, how, hazard: For the person with the probe. `unread`: its caution did not stand before anything
            answered in this visit yet.
        places: Every place of it; empty when there is one only. place: The one that is asked about now.
        units: Keys for the unit, the own one first; empty for an observation. pressed: The one last used for
            this measurand.
        answers: Of an observation.
        beside: What it must be read with. tools: Instruments that fit. tool: The one to take it for read
            with; empty: none named.
        told: What was last said of it at this place in this stage.
        waits: Minutes that it has been waiting since it was started; None when it was not started.
    """

    key: str
    title: str
    system: str
    where: str = ""
    how: str = ""
    hazard: str = ""
    unread: bool = False
    places: tuple[Place, ...] = ()
    place: str = ""
    units: tuple[str, ...] = ()
    pressed: str = ""
    answers: tuple[str, ...] = ()
    beside: tuple[Beside, ...] = ()
    tools: tuple[Tool, ...] = ()
    tool: str = ""
    told: str = ""
    waits: float | None = None

    @property
    def measured(self) -> bool:
        return bool(self.units)

    @property
    def next_place(self) -> str:
        """The place to ask about after this one, in the declared order and round again; empty when every
        other has been spoken of.
        """
        names = [place.name for place in self.places]
        at = names.index(self.place) if self.place in names else -1
        later = [*self.places[at + 1 :], *self.places[: max(at, 0)]]
        return next((place.name for place in later if not place.told and place.name != self.place), "")

    @property
    def known_beside(self) -> str:
        """What it is read with in a few words, once all of it has been said; else empty."""
        return (
            ", ".join(one.shown for one in self.beside)
            if self.beside and all(one.value for one in self.beside)
            else ""
        )


@attrs.frozen(kw_only=True)
class Fitting:
    """One trait of the vehicle.

    `answers` for a closed list, *don't know* among them; `units` for a value; `told`: what stands.
    """

    key: str
    title: str
    hint: str
    answers: tuple[str, ...]
    units: tuple[str, ...]
    told: str = ""

    @property
    def row(self) -> str:
        """Its field: where it stands in the rows."""
        return f'traits."{self.key}"'


@attrs.frozen(kw_only=True)
class Kit:
    """What the shop has to measure with: its instruments by name, and measurand → the usual one."""

    instruments: Mapping[str, Instrument] = attrs.field(factory=dict)
    usual: Mapping[str, str] = attrs.field(factory=dict)


# ---- one thing to read or to look at


def ask_of(key: str, job: Job, plugins: Plugins, kit: Kit, *, place: str = "", now: datetime) -> Ask | None:
    """What a screen asks about this measurand or observation at the job's present stage; None when nothing of
    that key is declared.

    Args:
        place: The place that is wanted; when it is none of the declared ones, the first that was not spoken
            of yet.
    """
    declared = plugins.measurands.get(key) or plugins.observations.get(key)
    if declared is None:
        return None
    told = told_now(job, plugins)
    places = tuple(Place(name=name, told=told.get((key, name), "")) for name in declared.places)
    if places and place not in declared.places:
        place = next((one.name for one in places if not one.told), places[0].name)
    common = Ask(
        key=key,
        title=declared.title,
        system=_system_title(key, plugins),
        how=declared.how,
        hazard=declared.hazard,
        unread=not hazards_read(job, plugins).issuperset(_sentences(declared.hazard)),
        places=places,
        place=place if places else "",
        told=told.get((key, place if places else ""), ""),
        waits=_waited(job, key, now),
    )
    if isinstance(declared, Observation):
        return attrs.evolve(common, answers=tuple(answers_of(declared.answers)))
    keys = unit_keys(declared)
    tools = tools_for(declared, kit)
    return attrs.evolve(
        common,
        where=declared.where,
        units=keys,
        pressed=_last_unit(job, key, keys),
        beside=tuple(
            _beside(plugins.measurands[one], job, common.waits)
            for one in declared.read_with
            if one in plugins.measurands
        ),
        tools=tools,
        tool=_last_tool(job, declared, kit, {tool.name for tool in tools}),
    )


def told_now(job: Job, plugins: Plugins) -> dict[tuple[str, str], str]:
    """(key, place) → what was last read or said of it in the present stage, in a few words; what outlasts a
    repair also from before.
    """
    told: dict[tuple[str, str], str] = {}
    for noted in job.standing:
        record = noted.record
        if isinstance(record, Measured):
            measurand = plugins.measurands.get(record.of)
            if record.stage == job.stage or (measurand is not None and measurand.lasting):
                told[record.of, record.place] = record.typed.strip()
        elif isinstance(record, Seen) and record.stage == job.stage:
            said = f"not obtained: {record.cannot}" if record.cannot else record.answer or "noted in words"
            places = [record.place] if record.place else [record.place, *places_of(record.of, plugins)]
            told |= {
                (record.of, place): said
                for place in places
                if place == record.place or (record.of, place) not in told
            }
    return told


def places_of(key: str, plugins: Plugins) -> tuple[str, ...]:
    declared = plugins.measurands.get(key) or plugins.observations.get(key)
    return declared.places if declared is not None else ()


def hazards_read(job: Job, plugins: Plugins) -> frozenset[str]:
    """Sentences of cautions that stood before something that was answered in this visit.

    Nothing else is kept of it: who answered had read it.
    """
    found: set[str] = set()
    for noted in job.standing:
        record = noted.record
        if isinstance(record, Came):
            found.clear()  # another day, another place: once more
        elif isinstance(record, (Measured, Started)) or (isinstance(record, Seen) and not record.cannot):
            declared = plugins.measurands.get(record.of) or plugins.observations.get(record.of)
            if declared is not None and declared.hazard:
                found |= _sentences(declared.hazard)
    return frozenset(found)


def _sentences(caution: str) -> frozenset[str]:
    """A caution may be several, and another test's the half of them.

    >>> sorted(_sentences("Goggles on. Wheels chocked."))
    ['Goggles on.', 'Wheels chocked.']
    """
    return frozenset(_SENTENCE_END.split(caution)) - {""}


def _system_title(key: str, plugins: Plugins) -> str:
    system = plugins.systems.get(key.partition(".")[0])
    return system.title if system is not None else ""


# ---- units


def unit_keys(measurand: Measurand) -> tuple[str, ...]:
    """Units to tap, as people type them: the measurand's own first, then those of its kind in which its usual
    values are handy numbers.

    A kind that is typed without a unit has the one key "". Whatever is left out can be typed all the same.

    >>> from corekit.model.measurand import Accuracy
    >>> unit_keys(Measurand(key="x.y", unit="mA", kind="current", title="", possible=Span(0, 30), usual=Span(0.001, 3), accuracy=Accuracy()))
    ('mA', 'A')
    """
    own = units.unit(measurand.unit)
    first = _as_typed(measurand.unit)
    if own.text in units.BARE or own.kind == "ratio":
        return (first,)
    found = {first: own.factor}
    handy = [
        unit
        for unit in units.units()
        if unit.kind == own.kind and unit.text not in _NEVER_TYPED and unit.bare not in _NEVER_TYPED
    ]
    handy = [unit for unit in handy if _is_handy(unit, own, measurand.usual)]
    for other in sorted(handy, key=lambda unit: _largest(unit, measurand.usual) < 1):
        if other.factor not in found.values():  # hPa and mbar are one key
            found[_as_typed(other.text)] = other.factor
    return tuple(found)[:_MOST_UNITS]


def _is_handy(unit: units.Unit, own: units.Unit, usual: Span) -> bool:
    ratio = unit.factor / own.factor
    if own.kind == "time" and 1 / _TIMES <= ratio <= _TIMES:
        return True
    decimal = unit.offset == own.offset and abs(math.log10(ratio) - round(math.log10(ratio))) < 1e-9
    return (_LEAST_DECIMAL if decimal else _LEAST) <= _largest(unit, usual) <= _MOST


def _largest(unit: units.Unit, usual: Span) -> float:
    return max(
        (abs((end - unit.offset) / unit.factor) for end in (usual.low, usual.high) if end is not None),
        default=0.0,
    )


def _as_typed(unit: str) -> str:
    one = units.unit(unit)
    return "" if one.text in units.BARE else units.declared_text(unit)


def apart(typed: str, keys: Iterable[str]) -> tuple[str, str]:
    """What was typed, as a number and one of the unit keys; the whole text and "" when it is anything else.

    >>> apart("4 °C", ["°C", "°F"]), apart("about 9 h", ["h"])
    (('4', '°C'), ('about 9 h', ''))
    """
    match = _NUMBER.fullmatch(typed.strip())
    unit = (match["unit"] or "").strip() if match else ""
    return (match["number"], unit) if match and unit in tuple(keys) else (typed.strip(), "")


def _last_unit(job: Job, key: str, keys: tuple[str, ...]) -> str:
    units_used = [apart(noted.record.typed, keys)[1] for noted in job.all(Measured) if noted.record.of == key]
    return next((unit for unit in reversed(units_used) if unit), "")


# ---- what it is read with


def _beside(measurand: Measurand, job: Job, waits: float | None) -> Beside:
    keys = unit_keys(measurand)
    value, pressed = apart(_said_beside(job, measurand), keys)
    if not value and waits is not None and measurand.kind == "time" and measurand.usual.holds(60 * waits):
        value, pressed = _waiting_time(waits, measurand, keys)
    hint = " ".join(part for part in (measurand.where, measurand.how) if part)
    before = "" if value else _said_beside(job, measurand, earlier=True)
    return Beside(
        key=measurand.key,
        title=measurand.title,
        hint=hint,
        units=keys,
        value=value,
        pressed=pressed,
        before=before,
    )


def _said_beside(job: Job, measurand: Measurand, *, earlier: bool = False) -> str:
    """What was last said of it in this stage, by itself or with another reading; what outlasts a repair, or
    all that is asked for, also before.
    """
    said = ""
    for noted in job.standing:
        record = noted.record
        if not isinstance(record, (Measured, Setup)) or (
            record.stage != job.stage and not measurand.lasting and not earlier
        ):
            continue
        if isinstance(record, Setup):
            said = str(record.values.get(measurand.key, {}).get("typed", said))
        elif record.of == measurand.key and not record.place:
            said = record.typed
    return said.strip()


def _waiting_time(minutes: float, measurand: Measurand, keys: tuple[str, ...]) -> tuple[str, str]:
    """The minutes since the test was started: in minutes where there is a key for them, else in the
    measurand's own unit.
    """
    if "min" in keys:
        return f"{minutes:.0f}", "min"
    return f"{units.from_coherent(60 * minutes, measurand.unit):.2g}", keys[0]


def _waited(job: Job, key: str, now: datetime) -> float | None:
    """Minutes since the waiting test was started; None when none of this key is running."""
    for noted in job.waiting:
        if noted.record.of == key:
            began = datetime.fromisoformat(noted.entry.taken or noted.entry.recorded)
            return max(0.0, (now - began).total_seconds() / 60)
    return None


# ---- instruments


def tools_for(measurand: Measurand, kit: Kit) -> tuple[Tool, ...]:
    """The shop's instruments that this can be read with, the usual one first.

    One fits when its sheet makes sense in the measurand's unit, and one of its ranges (or the step of its
    display) is of its kind.
    """
    found = [_tool(instrument, measurand) for instrument in kit.instruments.values()]
    usual = kit.usual.get(measurand.key, "")
    return tuple(sorted((tool for tool in found if tool is not None), key=lambda tool: tool.name != usual))


def _tool(instrument: Instrument, measurand: Measurand) -> Tool | None:
    try:
        units.parse_accuracy(instrument.accuracy, measurand.unit)
    except units.TypedError:
        return None
    ranges = tuple(label for label in instrument.ranges if _is_of(label, measurand))
    steps = not instrument.step or _is_of(instrument.step, measurand)
    if (instrument.ranges and not ranges) or not steps:
        return None
    return Tool(name=instrument.name, words=instrument.kind, ranges=ranges if len(ranges) > 1 else ())


def _is_of(text: str, measurand: Measurand) -> bool:
    """True when a range or step is a quantity of the measurand's kind."""
    try:
        units.read_quantity(text, [measurand.unit])
    except units.TypedError:
        return False
    return True


def _last_tool(job: Job, measurand: Measurand, kit: Kit, fitting: set[str]) -> str:
    """The instrument that was last used for this in this job, else the usual one, else the one last used for
    a reading of this kind.

    Else the only one that fits, if it was in somebody's hand in this job already.
    """
    own, kind = "", ""
    only = (
        "".join(fitting)
        if len(fitting) == 1 and any(noted.record.instrument in fitting for noted in job.all(Measured))
        else ""
    )
    for noted in job.all(Measured):
        record = noted.record
        own = record.instrument if record.of == measurand.key else own
        kind = record.instrument if record.kind == measurand.kind else kind
    return next((name for name in (own, kit.usual.get(measurand.key, ""), kind, only) if name in fitting), "")


# ---- what is fitted


def fittings(system: System, job: Job, plugins: Plugins) -> tuple[Fitting, ...]:
    """What the system asks of the vehicle, in the declared order: every closed answer, and the values that
    one of its checks wants.
    """
    wanted = {parameter.of.key for check in system.checks.values() for parameter in check.parameters}
    told = fitted_now(job, plugins)
    return tuple(
        fitting(trait, told.get(trait.key, ""))
        for trait in system.traits.values()
        if trait.answers is not None or trait.key in wanted
    )


def fitting(trait: Trait, told: str = "") -> Fitting:
    """What is asked of one trait; `told` is what stands of it."""
    answers = (*answers_of(trait.answers), DONT_KNOW) if trait.answers is not None else ()
    return Fitting(
        key=trait.key,
        title=trait.title,
        hint=trait.how,
        answers=answers,
        units=tuple(map(_as_typed, trait.units)),
        told=told,
    )


def fitted_now(job: Job, plugins: Plugins) -> dict[str, str]:
    """Trait → what stands of it; what was known of a part ended when the part was exchanged."""
    told: dict[str, str] = {}
    for key, noted in job.fitted(job.stage).items():
        trait = plugins.traits.get(key)
        if trait is not None and not _is_gone(noted, trait.part, job, plugins):
            told[key] = noted.record.typed
    return told


def _is_gone(noted: Noted[Fitted], part: str, job: Job, plugins: Plugins) -> bool:
    done = [(plugins.operations.get(repair.record.operation), repair.record.stage) for repair in job.repairs]
    return bool(part) and any(
        operation is not None and operation.replaces == part and stage > noted.record.stage
        for operation, stage in done
    )
