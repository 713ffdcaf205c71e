"""What a screen asks, from a declaration and what the job says already.

Nothing here knows a system, and nothing here knows a page: a measurand becomes a field with its unit keys,
what it must be read with and the instruments that fit; an observation becomes its answers; a trait its
answers or a value. A new plugin needs no screen code.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime

import attrs

from .. import units
from ..account.noted import seen_words
from ..assess.stage import standing_traits
from ..desk.next_step import begins_at, places_here
from ..model.job import Job
from ..model.measurand import DONT_KNOW, Measurand, Observation, Trait, answers_of
from ..model.records import Arrived, Measured, Seen, Setup, Started
from ..plugin.host import Plugins
from ..plugin.system import System
from .instruments import InstrumentChoice, Instruments, instrument_at_hand, instruments_for
from .unit_keys import number_and_unit, shop_first, unit_keys

NO_TOOL = "no tool for it here"
#: Why something cannot be had; own words are always possible. Each is read after "could not be reached, …".
CANNOT = (
    "no access without taking more apart",
    NO_TOOL,
    "seized, or would break",
    "not fitted on this vehicle",
    "not possible in this weather or place",
    "too dangerous here",
    "nobody here knows",
)

#: As many characters of instructions take the room of one field, of a long caution, and of what is left on
#: the screen for all of them. Measured on a screen of 360 × 740.
_FIELD_WORDS, _LONG_CAUTION, _CROWDED = 110, 350, 600
_TOGETHER = 4  # fields on one screen: more would push what they mean off it

_SENTENCE_END = re.compile(r"(?<=[.!?])\s+")


@attrs.frozen(kw_only=True)
class PlaceState:
    """One of the places that something is read at, with what was last said of it in this stage (empty:
    nothing yet).
    """

    name: str
    recorded: str = ""


@attrs.frozen(kw_only=True)
class Companion:
    """What a reading must be taken with.

    Attributes:
        value, pressed: The number and the unit key as last given in this stage.
        carried: They stand from another reading; whoever reads now sees that beside the field.
        before: As it was in an earlier stage, when nothing is said of it in this one; a time that was said
            with an earlier reading of the same thing (`repeated`), for meanwhile time has passed.
    """

    key: str
    title: str
    hint: str
    units: tuple[str, ...]
    value: str = ""
    pressed: str = ""
    carried: bool = False
    before: str = ""
    repeated: bool = False

    @property
    def row(self) -> str:
        """Where it stands in the rows; its field is `is` of it."""
        return f'step[0].setup."{self.key}"'


@attrs.frozen(kw_only=True)
class Question:
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
        apart: Its places are read at different times, so a screen holds one of them.
        recorded: What was last said of it at this place in this stage.
        waits: Minutes that it has been waiting since it was started; None when it was not started.
    """

    key: str
    title: str
    system: str
    where: str = ""
    how: str = ""
    hazard: str = ""
    unread: bool = False
    places: tuple[PlaceState, ...] = ()
    place: str = ""
    units: tuple[str, ...] = ()
    pressed: str = ""
    answers: tuple[str, ...] = ()
    beside: tuple[Companion, ...] = ()
    tools: tuple[InstrumentChoice, ...] = ()
    tool: str = ""
    apart: bool = False
    recorded: str = ""
    waits: float | None = None

    @property
    def measured(self) -> bool:
        return bool(self.units)

    @property
    def next_place(self) -> str:
        """The place to ask about after this one, in the declared order and round again; empty when every
        other has been spoken of.
        """
        return next(iter(self._open_places), "")

    @property
    def place_after(self) -> str:
        """The place to ask about after those that are read together; empty when no other is left."""
        later = self._open_places[len(self.together) - 1 :]
        return next(iter(later), "")

    @property
    def together(self) -> tuple[str, ...]:
        """Places that are read one after another on one screen, the asked one first: those after it that
        nobody spoke of yet.
        """
        if not self.measured or not self.place or self.recorded or self.apart:
            return (self.place,)
        fields = max(2, _TOGETHER - len(self.beside))
        return (self.place, *self._open_places[: fields - 1])

    @property
    def is_crowded(self) -> bool:
        """True where the words before the field, and the fields, would need more than a screen and a third:
        where the probe goes and how is folded then.
        """
        words = len(self.where) + len(self.how)
        caution = len(self.hazard) if self.unread else 0
        fields = _FIELD_WORDS * (len(self.together) + len(self.beside) + bool(self.tools) + len(self.answers))
        return words + (caution if caution > _LONG_CAUTION else fields) > _CROWDED

    @property
    def _open_places(self) -> list[str]:
        names = [place.name for place in self.places]
        at = names.index(self.place) if self.place in names else -1
        later = [*self.places[at + 1 :], *self.places[: max(at, 0)]]
        return [place.name for place in later if not place.recorded and place.name != self.place]


@attrs.frozen(kw_only=True)
class TraitQuestion:
    """One trait of the vehicle.

    `answers` for a closed list, *don't know* among them; `units` for a value; `recorded`: what stands.
    """

    key: str
    title: str
    hint: str
    answers: tuple[str, ...]
    units: tuple[str, ...]
    recorded: str = ""

    @property
    def row(self) -> str:
        """Its field: where it stands in the rows."""
        return f'traits."{self.key}"'


# ---- one thing to read or to look at


def question_of(
    key: str,
    job: Job,
    plugins: Plugins,
    kit: Instruments,
    *,
    place: str = "",
    now: datetime,
    texts: Mapping[str, str] | None = None,
) -> Question | None:
    """What a screen asks about this measurand or observation at the job's present stage; None when nothing of
    that key is declared.

    Args:
        place: The place that is wanted; when it is none of the declared ones, the one that a trouble code
            names, else the first that was not spoken of yet.
        texts: As for `present_answers`.
    """
    declared = plugins.measurands.get(key) or plugins.observations.get(key)
    if declared is None:
        return None
    recorded = present_answers(job, plugins, texts)
    here = places_here(declared, job, plugins)
    places = tuple(PlaceState(name=name, recorded=recorded.get((key, name), "")) for name in here)
    if places and place not in here:
        open_ones = [one.name for one in places if not one.recorded] or [places[0].name]
        named = begins_at(key, job, plugins)
        place = named if named in open_ones else open_ones[0]
    common = Question(
        key=key,
        title=declared.title,
        system=_system_title(key, plugins),
        how=declared.how,
        hazard=declared.hazard,
        unread=not hazards_read(job, plugins).issuperset(_sentences(declared.hazard)),
        places=places,
        place=place if places else "",
        recorded=recorded.get((key, place if places else ""), ""),
        waits=_minutes_waited(job, key, now),
    )
    if isinstance(declared, Observation):
        return attrs.evolve(common, answers=tuple(answers_of(declared.answers)))
    keys = unit_keys(declared)
    tools = instruments_for(declared, kit)
    beside = [plugins.measurands[one] for one in declared.conditions if one in plugins.measurands]
    return attrs.evolve(
        common,
        where=declared.where,
        units=keys,
        pressed=_last_unit(job, key, keys),
        beside=tuple(_companion(one, job, common.waits, bool(common.recorded)) for one in beside),
        apart=any(one.kind == "time" for one in beside),
        tools=tools,
        tool=instrument_at_hand(job, declared, kit, {tool.name for tool in tools}),
    )


def present_answers(
    job: Job, plugins: Plugins, texts: Mapping[str, str] | None = None
) -> dict[tuple[str, str], str]:
    """(key, place) → all that was read or said of it in the present stage, in a few words and in the order in
    which it was; what outlasts a repair also from before.

    Args:
        texts: Hash → personal text, for what was noted in own words; without it they are only mentioned.
    """
    recorded: dict[tuple[str, str], dict[str, None]] = {}
    of_all: dict[tuple[str, str], str] = {}
    for noted in job.standing:
        record = noted.record
        if isinstance(record, Measured):
            measurand = plugins.measurands.get(record.of)
            if record.stage == job.stage or (measurand is not None and measurand.lasting):
                recorded.setdefault((record.of, record.place), {})[record.typed.strip()] = None
        elif isinstance(record, Seen) and record.stage == job.stage:
            said = seen_words(record, texts or {})
            recorded.setdefault((record.of, record.place), {})[said] = None
            if not record.place:  # said of the whole thing, where nothing is said of a place of it
                of_all |= {(record.of, place): said for place in places_of(record.of, job, plugins)}
    return of_all | {key: ", then ".join(said) for key, said in recorded.items()}


def places_of(key: str, job: Job, plugins: Plugins) -> tuple[str, ...]:
    """The places of it on this vehicle; none for what has one place only."""
    declared = plugins.measurands.get(key) or plugins.observations.get(key)
    return places_here(declared, job, plugins) if declared is not None else ()


def hazards_read(job: Job, plugins: Plugins) -> frozenset[str]:
    """Sentences of cautions that stood before something that was answered in this visit.

    Nothing else is kept of it: who answered had read it.
    """
    found: set[str] = set()
    for noted in job.standing:
        record = noted.record
        if isinstance(record, Arrived):
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


def _last_unit(job: Job, key: str, keys: tuple[str, ...]) -> str:
    units_used = [
        number_and_unit(noted.record.typed, keys)[1] for noted in job.all(Measured) if noted.record.of == key
    ]
    return next((unit for unit in reversed(units_used) if unit), "")


# ---- what it is read with


def _companion(measurand: Measurand, job: Job, waits: float | None, again: bool) -> Companion:
    """`again`: the reading itself was taken before in this stage, so a time that was said with it is over."""
    keys = unit_keys(measurand)
    said = _companion_text(job, measurand)
    repeated = again and measurand.kind == "time" and bool(said)
    value, pressed = number_and_unit("" if repeated else said, keys)
    carried = bool(value)
    if not value and waits is not None and measurand.kind == "time" and measurand.usual.holds(60 * waits):
        value, pressed = _waiting_time(waits, measurand, keys)
    hint = " ".join(part for part in (measurand.where, measurand.how) if part)
    before = "" if value else said if repeated else _companion_text(job, measurand, earlier=True)
    return Companion(
        key=measurand.key,
        title=measurand.title,
        hint=hint,
        units=keys,
        value=value,
        pressed=pressed,
        carried=carried,
        before=before,
        repeated=repeated and bool(before),
    )


def _companion_text(job: Job, measurand: Measurand, *, earlier: bool = False) -> str:
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
    return units.decimal_text(60 * minutes, measurand.unit, 2), keys[0]


def _minutes_waited(job: Job, key: str, now: datetime) -> float | None:
    """Minutes since the waiting test was started; None when none of this key is running."""
    for noted in job.waiting:
        if noted.record.of == key:
            began = datetime.fromisoformat(noted.entry.taken or noted.entry.recorded)
            return max(0.0, (now - began).total_seconds() / 60)
    return None


# ---- what is fitted


def trait_questions(system: System, job: Job, plugins: Plugins) -> tuple[TraitQuestion, ...]:
    """What the system asks of the vehicle, in the declared order: every closed answer, and the values that
    one of its checks wants.
    """
    wanted = {parameter.of.key for check in system.checks.values() for parameter in check.parameters}
    recorded = trait_texts(job, plugins)
    return tuple(
        trait_question(trait, recorded.get(trait.key, ""))
        for trait in system.traits.values()
        if trait.answers is not None or trait.key in wanted
    )


def trait_question(trait: Trait, recorded: str = "") -> TraitQuestion:
    """What is asked of one trait; `recorded` is what stands of it."""
    answers = (*answers_of(trait.answers), DONT_KNOW) if trait.answers is not None else ()
    return TraitQuestion(
        key=trait.key,
        title=trait.title,
        hint=trait.how,
        answers=answers,
        units=shop_first(trait.units),
        recorded=recorded,
    )


def trait_texts(job: Job, plugins: Plugins) -> dict[str, str]:
    """Trait → what stands of it, as it was typed."""
    return {key: noted.record.typed for key, noted in standing_traits(job, job.stage, plugins).items()}
