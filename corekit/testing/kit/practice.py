"""A plugin's practice car: whether it answers from sizes alone, is mended by its work, and is led right."""

from __future__ import annotations

import ast
import random
from collections.abc import Iterator
from typing import Any

from ...errors import CorekitError
from ...model.measurand import answers_of
from ...plugin.host import Plugins, load
from ...plugin.system import System
from ...practice.car import At, Car, invented
from ...practice.declared import MODULE, THIRD, Practice, PracticeError, practice_of
from ...practice.driving import counts, repaired_as_needed, visited
from .nonconformity import Nonconformity, error_words, line_of
from .simulated import wilson

#: Cars that are made and mended; fewer for each estimate that is moved.
CARS, MOVED = 200, 10
RIGHT, WRONG_PART, UNTRUE = 0.80, 0.03, 0.05
SEED = 1000
_BARRED = ("corekit.assess", "corekit.judge", "corekit.desk", "corekit.plugin", "corekit.practice.driving")
_BARRED_NAMES = frozenset({"faults", "limits", "checks"})


def nonconforming_practice(system: System, visits: int) -> Iterator[Nonconformity]:
    """What is wrong with a practice car; nothing for a plugin without one.

    Args:
        visits: So many are driven by the program's own next steps.
    """
    of = f"practice car of {system.key}"
    try:
        practice = practice_of(system)
    except Exception as error:
        yield Nonconformity(
            of=of,
            fault=f"its module fails while it is loaded: {error_words(error)}",
            cure="Mend the module `practice`.",
            at=line_of(error, system.folder),
        )
        return
    if practice is None or practice.system is not system:
        return
    yield from _declared(of, practice)
    yield from _barred(of, practice)
    try:
        yield from _cars(of, practice)
        yield from _moved(of, practice)
        yield from _driven(of, practice, visits)
    except Exception as error:
        yield Nonconformity(
            of=of,
            fault=f"it fails while a car is made, read or mended: {error_words(error)}",
            cure="It answers for every state that its faults and its work can make, or gives None.",
            at=line_of(error, system.folder),
        )


def _declared(of: str, practice: Practice[Any]) -> Iterator[Nonconformity]:
    system = practice.system
    for key, kind in sorted(practice.unanswered().items()):
        yield Nonconformity(
            of=of,
            fault=f"{key} is neither answered nor refused ({kind})",
            cure="Answer it from the state, or name it in refuses(…) with the reason.",
        )
    known = {
        *system.measurands,
        *system.observations,
        *system.records,
        *system.traits,
        *system.operations,
    }
    for key, why in practice.refused.items():
        if key not in known or not why.strip():
            yield Nonconformity(
                of=of,
                fault=f"{key} is refused and {'has no reason' if key in known else 'declared nowhere'}",
                cure="Refuse what is declared, with a reason that a mechanic can read.",
            )
    if practice.complaint is None or not practice.defects:
        yield Nonconformity(
            of=of,
            fault="it has no fault, or its driver notices nothing",
            cure="Declare fault(…) and tells(…).",
        )


def _barred(of: str, practice: Practice[Any]) -> Iterator[Nonconformity]:
    """It answers from sizes: what the program reasons with is none of its business."""
    path = practice.system.folder / f"{MODULE}.py"
    for line, name in barred_names(path.read_text("utf-8")):
        yield Nonconformity(
            of=of,
            fault=f"it uses {name}, with which the program reasons",
            cure="Answer from the state alone; it knows no chance, no limit, no check.",
            at=f"{path.name} line {line}",
        )


def barred_names(text: str) -> Iterator[tuple[int, str]]:
    """Lines of a module that name what the program reasons with, each with the name."""
    for node in ast.walk(ast.parse(text)):
        names: list[str] = []
        if isinstance(node, ast.ImportFrom):
            base = node.module or ""
            names = [base, *(f"{base}.{one.name}".strip(".") for one in node.names)]
        elif isinstance(node, ast.Import):
            names = [one.name for one in node.names]
        wrong = [
            name for name in names if name.startswith(_BARRED) or name.rpartition(".")[2] in _BARRED_NAMES
        ]
        if isinstance(node, ast.Attribute) and node.attr in _BARRED_NAMES:
            wrong = [node.attr]
        if wrong:
            yield getattr(node, "lineno", 0), wrong[0]


def _cars(of: str, practice: Practice[Any]) -> Iterator[Nonconformity]:
    parts = {practice.system.key: practice}
    if _described(invented(parts, SEED)) != _described(invented(parts, SEED)):
        yield Nonconformity(
            of=of,
            fault="the same seed makes another car",
            cure="Draw from the generator that is given, and keep nothing between two cars.",
        )
    sound = [seed for seed in range(CARS) if _ails(invented(parts, seed, faults=0))]
    if sound:
        car = invented(parts, sound[0], faults=0)
        yield Nonconformity(
            of=of,
            fault=f"{len(sound)} of {CARS} cars without a fault are not sound: seed {sound[0]} needs"
            f" {', '.join(car.needed) or 'nothing'}, its driver tells"
            f" {', '.join(car.complaints) or 'nothing'}",
            cure="A state as `sound` makes it needs no work, stores no code and is noticed by nobody.",
        )
    for seed in range(SEED, SEED + CARS):
        car = invented(parts, seed)
        strange = _strange_answer(car, practice)
        if strange:
            yield Nonconformity(of=of, fault=f"seed {seed}: {strange}", cure="Give one of the answers.")
            break
        left = _left_over(car)
        if left:
            yield Nonconformity(of=of, fault=f"seed {seed}: {left}", cure=_MENDS)
            break


_MENDS = (
    "Work that a fault names in `mends` takes its size back to what is sound, in needs(…) and tells(…) too."
)


def _described(car: Car) -> tuple[str, ...]:
    return (*map(str, car.states.values()), *map(str, car.hidden))


def _ails(car: Car) -> bool:
    return bool(car.complaints or car.needed or car.codes)


def _left_over(car: Car) -> str:
    """What is left after all the work that is needed; empty where nothing is, or it is somebody else's."""
    if not all(one.defect.mends for one in car.hidden):
        return ""
    done = repaired_as_needed(car)
    if not (done.complaints or done.needed):
        return ""
    return (
        f"{'; '.join(map(str, car.hidden))} Repaired, it needs {', '.join(done.needed) or 'nothing'} and its"
        f" driver tells {', '.join(done.complaints) or 'nothing'}"
    )


def _strange_answer(car: Car, practice: Practice[Any]) -> str:
    """An answer that nobody declared."""
    system = practice.system
    for key in practice.sight:
        declared = system.observations[key]
        for place in declared.places or ("",):
            seen = car.seen(key, At(place))
            if seen is not None and seen not in answers_of(declared.answers):
                return f"{key} is seen as {seen!r}, which is none of its answers"
    for key in practice.fitting:
        answers, fitted = system.traits[key].answers, car.fitted(key)
        if answers is not None and fitted is not None and fitted not in answers_of(answers):
            return f"{key} is {fitted!r}, which is none of its answers"
    draw = random.Random(SEED)
    for key in practice.reading:
        measurand = system.measurands[key]
        for place in measurand.places or ("",):
            try:
                car.shown(measurand, At(place), draw)
            except CorekitError as error:
                return f"{key} cannot be shown: {error}"
    return ""


def _moved(of: str, practice: Practice[Any]) -> Iterator[Nonconformity]:
    """Each estimate moved by a third, up and down: sound cars stay sound, and are mended."""
    for name in practice.estimates:
        for factor in (THIRD, 1.0 / THIRD):
            parts = {practice.system.key: practice.with_estimate_moved(name, factor)}
            by = f"with {name} {'a third larger' if factor > 1.0 else 'a quarter smaller'}"
            try:
                ailing = [seed for seed in range(MOVED) if _ails(invented(parts, seed, faults=0))]
                left = next(filter(None, (_left_over(invented(parts, seed)) for seed in range(MOVED))), "")
            except PracticeError as error:
                ailing, left = [], str(error)
            if ailing or left:
                yield Nonconformity(
                    of=of,
                    fault=f"{by}, {f'seed {ailing[0]} without a fault is not sound' if ailing else left}",
                    cure="What follows from a practice car survives each estimate moved by a third.",
                )


def _driven(of: str, practice: Practice[Any], visits: int) -> Iterator[Nonconformity]:
    """Visits by the program's own next steps; what plainly misses its aim is told with a seed."""
    if not visits:
        return
    installed = load()
    system = practice.system
    plugins = (
        installed if installed.systems.get(system.key) is system else Plugins(systems={system.key: system})
    )
    parts = {system.key: practice}
    made = [visited(invented(parts, seed), plugins) for seed in range(SEED, SEED + visits)]
    found = counts(made)
    right = found["right"]
    if wilson(right, visits)[1] < RIGHT:
        seed = next(one.seed for one in made if one.how != "right")
        yield Nonconformity(
            of=of,
            fault=f"{right} of {visits} visits end right, where {RIGHT:.0%} are wanted; seed {seed} does not",
            cure="Look at it with corekit.testing.practice.drive: a test is missing, or a row is wrong.",
        )
    for what, most in (("wrong part", WRONG_PART), ("said something untrue", UNTRUE)):
        hits = found[what]
        if wilson(hits, visits)[0] > most:
            one = next(one for one in made if (one.wrong_parts if what == "wrong part" else one.untrue))
            words = ", ".join(one.wrong_parts) or "; ".join(map(str, one.untrue))
            yield Nonconformity(
                of=of,
                fault=f"{hits} of {visits} visits: {what}, where {most:.0%} are borne; {one.seed}: {words}",
                cure="Look at it with corekit.testing.practice.drive: a finding or a row says too much.",
            )
