"""Benches for a check: what it asks for, over and beyond what is usual, drawn by chance."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from enum import Enum

import attrs

from ... import units
from ...model.limit import Span
from ...model.measurand import Measurand, Observation, Setting, Trait, answers_of
from ...model.sampling import Sampling
from ...model.value import exact
from ...plugin.case import Case, CodeSet, Sighting, own_limit
from ...plugin.check import Check, Form
from ...plugin.record import Record
from ...plugin.system import System
from ..bench import Bench

_SOMETIMES, _OFTEN = 0.2, 0.7
_NEAR = 0.05  # how far a like reading lies from another where they lie near each other, as a share
_FAR = 100.0  # how far a span goes whose end is open
_MOST_POINTS = 8


@attrs.frozen(kw_only=True)
class Laid:
    """What lies before one check, and how to say it."""

    bench: Bench
    codes: Mapping[str, CodeSet] = attrs.field(factory=dict)

    def case(self, check: Check[...]) -> Case:
        """What the check is given; without what follows from other readings where a derivation fails, which
        is told where it is driven itself.
        """
        lists = {"stored": "codes-stored"} if self.codes else {}
        try:
            case = self.bench.case(check.title)
        except Exception:
            case = self.bench.bare_case(check.title)
        return attrs.evolve(case, codes=self.codes, code_lists=lists)

    @property
    def entries(self) -> frozenset[str]:
        """Ids of everything that lies there."""
        bench = self.bench
        found = {entry for one in bench.readings.values() for entry in _entries_of(one.with_series)}
        found |= {record.entry for record in bench.records.values()}
        found |= {sighting.entry for sighting in bench.sightings.values()}
        found |= {f"fitted-{key.split('.', 1)[1]}" for key in bench.fitted}
        found |= {f"specified-{key.split('.', 1)[1]}" for key in bench.specified}
        return frozenset(found | {"codes-stored"})

    @property
    def words(self) -> str:
        """Everything that lies there, as somebody would type it."""
        bench = self.bench
        parts = [f"{_at(*at)} = {one.typed}" for at, one in bench.readings.items()]
        parts += [f"record {_at(*at)}, {one.count} samples" for at, one in bench.records.items()]
        parts += [
            f"{_at(*at)}: {one.answer.value if one.answer else one.cannot}"
            for at, one in bench.sightings.items()
        ]
        for key, fitted in bench.fitted.items():
            said = fitted.value if isinstance(fitted, Enum) else f"{fitted.number:g}"
            parts.append(f"{key}: {said}")
        parts += [f"{key} set to {text}" for key, text in bench.settings.items()]
        parts += [f"{key} specified" for key in bench.specified]
        parts += sorted(self.codes)
        return "; ".join(parts) or "nothing"


def _entries_of(readings: tuple[object, ...]) -> set[str]:
    found: set[str] = set()
    for one in readings:
        found |= one.value.rests_on  # type: ignore[attr-defined]
        found |= {entry for other in one.others for entry in other.rests_on}  # type: ignore[attr-defined]
        found |= _entries_of(tuple(one.setup.values()))  # type: ignore[attr-defined]
    return found


def _at(key: str, place: str) -> str:
    return f"{key}, {place}" if place else key


def bench_for(
    system: System,
    check: Check[...],
    chance: random.Random,
    *,
    foreign: Mapping[str, Measurand],
    without: str = "",
    calm: bool = False,
    full: bool = False,
) -> Laid:
    """Everything that a check needs, most of what it wants, and some of what else the system declares.

    Args:
        foreign: What other systems that are installed declare, for what the check wants of them.
        without: Key of what is left out.
        calm: Nothing but usual readings, each once, on a vehicle without figures or repairs of its own.
        full: All that the check wants is there.
    """
    bench = Bench(system)
    rest = random.Random(chance.randrange(2**16))  # what the check does not ask for need not be small
    asked = {parameter.of.key for parameter in check.parameters}
    for trait in system.traits.values():
        own = chance if trait.key in asked else rest
        if trait.key != without and (trait.key in asked or rest.random() < _OFTEN):
            bench.fitted[trait.key] = _trait_answer(trait, own)
    for parameter in check.parameters:
        of = parameter.of
        if isinstance(of, Trait) and not (parameter.needed or full) and chance.random() < _SOMETIMES:
            bench.fitted.pop(of.key, None)
        if isinstance(of, Setting) and not calm and chance.random() < _OFTEN:
            bench.settings[of.key] = _setting_text(of, chance)
        if isinstance(of, (Trait, Setting)) or of.key == without:
            continue
        if not (parameter.needed or full) and chance.random() > _OFTEN:
            continue
        if isinstance(of, Observation):
            _see(bench, of, chance, needed=parameter.needed)
        elif isinstance(of, Sampling):
            _record(bench, of, chance)
        else:
            several = parameter.form in (Form.SERIES, Form.EVERY_SERIES)
            stand_in = foreign.get(of.key, of)
            _add_reading(
                bench,
                attrs.evolve(stand_in, possible=stand_in.usual) if calm else stand_in,
                chance,
                several=several,
            )
    if calm:
        return Laid(bench=bench)
    if rest.random() < _SOMETIMES:
        _specify(bench, rest)
    if system.operations and rest.random() < _SOMETIMES:
        bench.repaired(rest.choice(sorted(system.operations)).split(".", 1)[1])
    codes = {}
    if system.faults is not None and system.faults.codes and rest.random() < _SOMETIMES:
        codes = {rest.choice(sorted(system.faults.codes)): CodeSet(("stored",), ("codes-stored",))}
    return Laid(bench=bench, codes=codes)


def _setting_text(setting: Setting, chance: random.Random) -> str:
    if setting.answers is not None:
        return str(chance.choice(list(setting.answers)).value)
    unit = setting.units[0]
    number = number_in(setting.possible, setting.possible, chance)
    return units.show(exact(units.unit(unit).kind, number), unit, uncertainty=False)


def _trait_answer(trait: Trait, chance: random.Random) -> object:
    if trait.answers is not None:
        return chance.choice(list(trait.answers))
    unit = chance.choice(trait.units)
    number = number_in(trait.possible, trait.possible, chance)
    if units.unit(unit).kind == "count":
        number = float(round(number))
    return exact(units.unit(unit).kind, number, [f"fitted-{trait.key.split('.', 1)[1]}"])


def _see(bench: Bench, seen: Observation, chance: random.Random, *, needed: bool) -> None:
    short = seen.key.split(".", 1)[1]
    answers = sorted(answers_of(seen.answers))
    least = chance.randrange(len(seen.places)) if seen.places else 0
    for n, place in enumerate(seen.places or ("",)):
        if (needed and n == least) or chance.random() < _OFTEN:
            bench.see(short, chance.choice(answers), place)
        elif place and chance.random() < _SOMETIMES:
            entry = f"seen-{short}-{place}"
            bench.sightings[seen.key, place] = Sighting(None, entry, cannot="rusted in")


def _add_reading(bench: Bench, of: Measurand, chance: random.Random, *, several: bool) -> None:
    least = chance.randrange(len(of.places)) if of.places else 0
    everywhere = chance.random() < _OFTEN
    for n, place in enumerate(of.places or ("",)):
        if n != least and not everywhere and chance.random() > _OFTEN:
            continue
        near = [one.value.number for one in bench.readings.values() if one.measurand.kind == of.kind]
        typed = typed_in(of, chance, near)
        bench.read(of, typed, place=place, setup=_setup(bench.system, of, chance))
        for _ in range(chance.randint(0, 3) if several else int(chance.random() < _SOMETIMES)):
            again = typed_in(of, chance, [*near, bench.readings[of.key, place].value.number])
            bench.read_also(of, again, place=place, setup=_setup(bench.system, of, chance))


def _setup(system: System, of: Measurand, chance: random.Random) -> dict[str, str]:
    conditions = [system.measurands[key] for key in of.conditions if key in system.measurands]
    return {
        condition.key.split(".", 1)[1]: typed_in(condition, chance)
        for condition in conditions
        if chance.random() < _OFTEN
    }


def _record(bench: Bench, of: Sampling, chance: random.Random) -> None:
    longest = of.over_possible.high
    start = of.over_possible.low or 0.0
    step = ((longest - start) if longest is not None else _FAR * 10 ** chance.randint(0, 3)) / _MOST_POINTS
    for place in of.places or ("",):
        count = chance.randint(2, _MOST_POINTS)
        bench.records[of.key, place] = Record(
            sampling=of,
            over=tuple(start + n * step for n in range(count)),
            samples=tuple(number_in(of.of.usual, of.of.possible, chance) for _ in range(count)),
            place=place,
            stage=max(bench.repairs.values(), default=0),
            entry=f"{of.key.split('.', 1)[1]}-{place or 'here'}",
        )


def _specify(bench: Bench, chance: random.Random) -> None:
    """This vehicle's own figures, for something that was read or for one of the system's limits."""
    known = sorted({key for key, _ in bench.readings} | set(bench.system.limits))
    own = [key for key in known if key in bench.system.measurands]
    if own:
        key = chance.choice(own)
        of = bench.system.measurands[key]
        low, high = sorted(number_in(of.usual, of.possible, chance) for _ in range(2))
        entry = f"specified-{key.split('.', 1)[1]}"
        bottom, top = (exact(of.kind, end, [entry]) for end in (low, high))
        bench.specified[key] = own_limit(key, bottom, top, "label under the bonnet", entry)


def bench_with_figures(before: Laid, check: Check[...], chance: random.Random) -> Laid:
    """The same bench, and this vehicle's own figure of everything that the check reads: about what was read,
    below it or above it.
    """
    figures = {}
    for (key, _), reading in before.bench.readings.items():
        of = before.bench.system.measurands.get(key)
        if of is None or of not in [parameter.of for parameter in check.parameters]:
            continue
        low, high = span_ends(of.possible)
        at = reading.value.number * chance.choice((0.5, 1.0, 1.0, 1.0, 2.0))
        half = max(abs(at) * chance.choice((0.1, 0.3)), 6 * reading.value.u)
        entry = f"specified-{key.split('.', 1)[1]}"
        bottom, top = (exact(of.kind, min(max(end, low), high), [entry]) for end in (at - half, at + half))
        figures[key] = own_limit(key, bottom, top, "label under the bonnet", entry)
    return attrs.evolve(before, bench=attrs.evolve(before.bench, specified=figures))


def bench_in_camps(before: Laid, check: Check[...], chance: random.Random) -> Laid:
    """The same bench, with readings at every place of the vehicle that fall into two camps: one place
    against the others, two, a half, every second, or all alike.
    """
    bench = before.bench
    readings = dict(bench.readings)
    case = before.case(check)
    for parameter in check.parameters:
        of = parameter.of
        if not isinstance(of, Measurand) or not of.places or of.key not in bench.system.measurands:
            continue
        places = case.places(of)
        kept = next((one for (key, _), one in bench.readings.items() if key == of.key), None)
        readings = {at: one for at, one in readings.items() if at[0] != of.key}
        camp = chance.choice(
            (
                places,
                places[:1],
                places[: len(places) // 2],
                places[::2],
                chance.sample(places, len(places))[:2],
            )
        )
        typed = typed_in(of, chance), typed_in(of, chance)
        for place in places:
            one = bench.reading(of, typed[place in camp], place=place)
            readings[of.key, place] = one if kept is None else attrs.evolve(one, setup=kept.setup)
    return attrs.evolve(before, bench=attrs.evolve(bench, readings=readings))


def bench_with_codes(before: Laid, chance: random.Random) -> Laid:
    """The same bench, and one to six of the trouble codes that the system's table knows."""
    table = before.bench.system.faults
    known = sorted(table.codes) if table is not None else []
    if not known:
        return before
    chosen = chance.sample(known, min(chance.choice((1, 2, 2, 3, 6)), len(known)))
    return attrs.evolve(before, codes={code: CodeSet(("stored",), ("codes-stored",)) for code in chosen})


def benches_moved(before: Laid, steps: int) -> Iterator[Laid]:
    """The same bench with one of its readings moved over all that is possible, one after the other; of like
    ones the first.
    """
    moved_once: set[str] = set()
    for at, kept in before.bench.readings.items():
        of = before.bench.system.measurands.get(at[0])
        if of is None or at[0] in moved_once:
            continue
        moved_once.add(at[0])
        spans = [span_ends(of.usual if of.usual != Span() else of.possible), span_ends(of.possible)]
        for low, high in spans:
            for n in range(steps + 1):
                typed = units.show(exact(of.kind, low + (high - low) * n / steps), of.unit, uncertainty=False)
                if not of.possible.holds(units.read_quantity(typed, [of.unit]).number):
                    continue
                moved = before.bench.reading(of, typed, place=at[1])
                readings = {**before.bench.readings, at: attrs.evolve(moved, setup=kept.setup)}
                yield attrs.evolve(before, bench=attrs.evolve(before.bench, readings=readings))


def number_in(usual: Span, possible: Span, chance: random.Random) -> float:
    """A number of what is possible: often usual, often an end of either span, sometimes 0."""
    low, high = span_ends(possible)
    inner = Span(*span_ends(Span(usual.low, usual.high) if usual != Span() else possible))
    ends = [low, high, *(end for end in (inner.low, inner.high) if end is not None)]
    way = chance.randrange(6)
    if way == 0:
        number = chance.choice(ends)
    elif way == 1:
        number = 0.0
    elif way == 2:
        number = chance.uniform(low, high)
    else:
        number = chance.uniform(inner.low or 0.0, inner.high or 0.0)
    return min(max(number, low), high)


def span_ends(span: Span) -> tuple[float, float]:
    """Both ends of a span; an open one is taken to go so far."""
    if span.low is not None and span.high is not None:
        return span.low, span.high
    if span.low is not None:
        return span.low, span.low + _FAR
    return (0.0, _FAR) if span.high is None else (span.high - _FAR, span.high)


def typed_in(of: Measurand, chance: random.Random, near: Sequence[float] = ()) -> str:
    """A reading as somebody would type it; what is typed is possible, too. Often it is `near` another."""
    low, high = span_ends(of.possible)
    number = number_in(of.usual, of.possible, chance)
    if near and chance.random() < _OFTEN:
        like = chance.choice(near)
        number = min(max(like + like * chance.uniform(-_NEAR, _NEAR), low), high)
    for _ in range(6):
        typed = units.show(exact(of.kind, number), of.unit, uncertainty=False)
        if of.possible.holds(units.read_quantity(typed, [of.unit]).number):
            break
        number += (0.5 * (low + high) - number) * 0.02  # the last digit took it over the end
    return typed
