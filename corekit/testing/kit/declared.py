"""Declarations, sources and words: what can be said of a system without running it."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Collection, Iterable, Iterator

from ..._version import DEPRECATED
from ...model.finding import Finding
from ...model.limit import Span
from ...plugin.api import API_VERSION
from ...plugin.check import run
from ...plugin.guard import Overrun, time_limit
from ...plugin.system import System
from ..bench import Bench
from ..examples import failing_docstrings
from ..jargon import MOST_WORDS, jargon_in, miss_of, written_in
from ..voices import Told, random_bench, told_by_checks, told_by_declarations
from .driving import MOST_SECONDS
from .nonconformity import Nonconformity
from .side_effects import watched

#: Benches over which sentences are read; the most wordings that one finding may have.
_BENCHES, _MOST_TEMPLATES = 40, 16


def nonconforming_declarations(system: System) -> Iterator[Nonconformity]:
    """What is declared and cannot be meant, or is asked of a mechanic for nothing."""
    for end in system.loose_ends():
        yield Nonconformity(of=f"system {system.key}", fault=end, cure="Declare it, or correct the key.")
    beside = {key for measurand in system.measurands.values() for key in measurand.conditions}
    yield from _version(system)
    for measurand in system.measurands.values():
        of = f"measurand {measurand.key}"
        if not measurand.how and not measurand.where and measurand.key not in beside:
            yield Nonconformity(
                of=of, fault="does not say how it is read", cure="Give it where= and how=, for the mechanic."
            )
        if not _lies_within(measurand.usual, measurand.possible):
            yield Nonconformity(
                of=of,
                fault="what is usual reaches beyond what is possible",
                cure="Widen possible=: outside it a reading is refused.",
            )
    for check in system.checks.values():
        taken = {parameter.of.key for parameter in check.parameters}
        strange = [one.key for one in (*check.worse_with, *check.better_with) if one.key not in taken]
        if strange:
            yield Nonconformity(
                of=f"check {check.key}",
                fault=f"worse_with and better_with name {', '.join(strange)}, which it does not take",
                cure="Name measurands among its parameters.",
            )
    yield from _for_nothing(system)


def _version(system: System) -> Iterator[Nonconformity]:
    """The API that it is written for, and names of it that go."""
    of = f"system {system.key}"
    if not system.api:
        yield Nonconformity(
            of=of,
            fault="declares no version of the API, so nobody is told when a corekit no longer fits it",
            cure=f'Write api="{API_VERSION}" where it is made.',
        )
    text = _source(system)
    for name, (instead, since) in DEPRECATED.items():
        if re.search(rf"\bck\.{name}\b|\bcorekit\.{name}\b", text):
            fault = f"writes ck.{name}, which is deprecated since API {since}"
            yield Nonconformity(
                of=of, fault=fault, cure=f"It goes with the API's next first number; write {instead}."
            )


def _lies_within(usual: Span, possible: Span) -> bool:
    below = possible.low is not None and (usual.low is None or usual.low < possible.low)
    above = possible.high is not None and (usual.high is None or usual.high > possible.high)
    return not below and not above


def _for_nothing(system: System) -> Iterator[Nonconformity]:
    """Limits, sources, observations and measurands that nothing uses."""
    text = _source(system)
    if not text:
        return
    asked = {parameter.of.key for check in system.checks.values() for parameter in check.parameters}
    asked |= {parameter.of.key for one in system.derived.values() for parameter in one.parameters}
    table = system.faults
    tests = table.tests.values() if table else ()
    asked |= {key for test in tests for key in (test.measurand, test.seen, test.trait, test.wants)}
    asked |= {key for test in tests for key in test.only}
    asked |= {key for fault in (table.faults.values() if table else ()) for key in fault.only}
    for one in system.measurands.values():
        asked |= {*one.conditions, one.places_by, *one.only}
    for seen in system.observations.values():
        asked |= {seen.places_by, *seen.only}
    asked |= {one.places_by for one in system.parts.values()}
    asked |= {work.shown_by for work in system.operations.values()}
    asked |= {record.of.key for record in system.records.values()}
    for relation in system.relations.values():
        asked |= {term.measurand.key for term in (relation.whole, *relation.parts)}
    for bar in table.not_while if table else ():
        asked |= set(bar.seen)
    named: dict[str, Collection[str]] = {
        "measurand": system.measurands,
        "observation": system.observations,
        "trait": system.traits,
        "record": system.records,
        "setting": system.settings,
    }
    for what, declared in named.items():
        for key in declared:
            if key not in asked and not _is_named(key, text):
                yield Nonconformity(
                    of=f"{what} {key}",
                    fault="is asked for and no check, test or condition takes it",
                    cure="Use it, or drop it: nobody should be asked for nothing.",
                )
    for key in system.symptoms:
        if table is None or not table.symptoms.get(key):
            yield Nonconformity(
                of=f"symptom {key}",
                fault="is offered to the customer and no fault of the table is told by it",
                cure=f'Give its chance under the faults that make it, [symptoms."{key}"], or drop it.',
            )
    taken = {one.channel for one in system.from_channels}
    taken |= {key for one in system.from_channels for key in one.when}
    for key in system.channels:
        if key not in taken:
            yield Nonconformity(
                of=f"channel {key}",
                fault="is declared and no reading comes from it",
                cure="Say which reading does, system.from_channel(…), or drop it.",
            )
    for key in system.limits:
        if key not in system.measurands and f'"{key}"' not in text:
            yield Nonconformity(
                of=f"limit {key}",
                fault="is the key of no measurand, and no code names it",
                cure=f'Judge by it, case.limit("{key}"), correct the key, or drop it.',
            )


def _is_named(key: str, text: str) -> bool:
    """Whether the code has the key, or the name that it was assigned to, more often than once."""
    return f'"{key}"' in text or text.count(key.split(".", 1)[1]) > 1


def _source(system: System) -> str:
    return "\n".join(path.read_text("utf-8") for path in sorted(system.folder.glob("*.py")))


def nonconforming_sources(system: System) -> Iterator[Nonconformity]:
    """Sources that nothing rests on, and docstrings of calculations without an example that comes out."""
    text = _source(system)
    used = {calculation.source for calculation in system.calculations.values()}
    used |= {limit.source.key for limit in system.limits.values()}
    for key in system.sources:
        if key not in used and f'"{key}"' not in text and f": {key}" not in text:
            yield Nonconformity(
                of=f"source {key}",
                fault="is named by nothing",
                cure="Correct the key where it should stand, or drop the source.",
            )
    for key in failing_docstrings(system):
        yield Nonconformity(
            of=f"calculation {key}",
            fault="has no example in its docstring that comes out",
            cure=">>> name.si(…) with its result; the figure comes from outside.",
        )


def nonconforming_words(system: System) -> Iterator[Nonconformity]:
    """What the customer reads: words of his own everywhere, few, and none that only the trade reads."""
    cure = (
        f"Write it for somebody without tools, in at most {MOST_WORDS} words: tells=, tells_each=, ck.Tells."
    )
    longest: dict[tuple[str, str, str], Told] = {}
    benches = [random_bench(system, seed) for seed in range(_BENCHES)]
    for told in (*told_by_declarations(system), *_told_by_checks(system, benches)):
        key = (told.kind, told.of, told.template or told.text)
        if key not in longest or told.words > longest[key].words:
            longest[key] = told
    for told in longest.values():
        if miss := miss_of(told):
            yield Nonconformity(of=f"{told.kind} {told.of}", fault=miss.split(": ", 1)[1], cure=cure)
    for path in sorted(system.folder.glob("*.py")):
        silent, words = written_in(path)
        for line in silent:
            name, number, what = line.split(":", 2)
            yield Nonconformity(of="statement", fault=what.strip(), cure=cure, at=f"{name} line {number}")
        for text in words:
            if wrong := jargon_in(text.replace("{", " ").replace("}", " ")):
                yield Nonconformity(
                    of="sentence", fault=f"{', '.join(wrong)}: {text}", cure=cure, at=path.name
                )
    yield from _not_templates(system)


def _told_by_checks(system: System, benches: Iterable[Bench]) -> list[Told]:
    """What the checks tell; nothing more after one that does not end, which is told where they are driven."""
    told: list[Told] = []
    with contextlib.suppress(Overrun, SystemExit):
        for bench in benches:
            with watched(), time_limit(MOST_SECONDS):
                told += told_by_checks(system, bench)
    return told


def _not_templates(system: System) -> Iterator[Nonconformity]:
    """A sentence that the plugin filled in itself is another each time, and nobody can translate it."""
    seen: dict[str, set[str]] = {}
    with contextlib.suppress(Overrun, SystemExit):
        for seed in range(_BENCHES):
            with watched(), time_limit(MOST_SECONDS):
                for finding in _findings(system, random_bench(system, seed)):
                    seen.setdefault(finding.code, set()).add(finding.text.template)
    for code, templates in seen.items():
        if len(templates) > _MOST_TEMPLATES:
            yield Nonconformity(
                of=f"finding {code}",
                fault=f"its sentence was another {len(templates)} times, so it cannot be translated",
                cure="Keep the sentence fixed and give what changes as values={…}, with places like {name}.",
            )


def _findings(system: System, bench: Bench) -> Iterator[Finding]:
    for check in system.checks.values():
        try:
            results = run(check, bench.case(check.title))
        except Exception:
            continue  # told where checks are driven
        yield from (result for result in results if isinstance(result, Finding))
