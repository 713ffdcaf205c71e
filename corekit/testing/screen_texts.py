"""What of a system, and of what all share, a screen may show, as it is declared: for a test that counts what
a language of the screens lacks.
"""

from __future__ import annotations

import ast
import html
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from .. import units
from ..complaints import symptoms, trials
from ..model.measurand import Measurand, Observation, Operation, Part, Setting, Trait, answers_of
from ..model.sampling import Sampling
from ..model.source import PUBLISHED
from ..plugin.calculation import Calculation
from ..plugin.system import System
from ..report.tongue import Tongue
from ..visit.unit_keys import key_text, unit_keys
from .translation import template

Place = tuple[str, str]


def lacking(texts: Iterable[Place], tongue: Tongue) -> dict[str, str]:
    """Text → where it is from, of what has no translation, each once and in this order."""
    found: dict[str, str] = {}
    for text, where in texts:
        if text not in found and not tongue.has(text):
            found[text] = where
    return found


def declared_texts(system: System) -> Iterator[Place]:
    """Each text of a system with where it is from: what is declared, in its order; the tables; then what
    stands in the source and is put together there ({names} are filled in).
    """
    yield system.title, "system"
    for part in system.parts.values():
        yield from _of_part(part)
    for trait in system.traits.values():
        yield from _of_trait(trait)
    for measurand in system.measurands.values():
        yield from _of_measurand(measurand)
    for sampling in system.records.values():
        yield from _of_sampling(sampling)
    for seen in system.observations.values():
        yield from _of_observation(seen)
    for work in system.operations.values():
        yield from _of_operation(work)
    for setting in system.settings.values():
        yield from _of_setting(setting)
    for own in system.symptoms.values():
        yield own.symptom.words, own.symptom.key
        yield from _text(own.symptom.first_step, f"{own.symptom.key}, first step")
    for channel in system.channels.values():
        yield channel.title, f"channel {channel.key}"
        yield from ((place, f"channel {channel.key}, place") for place in channel.places)
    for check in system.checks.values():
        yield check.title, "check"
    for relation in system.relations.values():
        yield relation.title, f"{relation.key}, relation"
    for calculation in system.calculations.values():
        yield from _of_calculation(calculation)
    yield from _of_faults(system)
    for limit in system.limits.values():
        yield from _text(limit.note, f"limit {limit.key}, note")
    for source in system.sources.values():
        if source.basis not in PUBLISHED:
            yield source.title, f"source {source.key}"
        yield from _text(source.where, f"source {source.key}, where")
        yield from _text(source.note, f"source {source.key}, note")
    for path in sorted(system.folder.glob("*.py")):
        yield from _of_errors(path)
    practice = system.folder / "practice.py"
    if practice.is_file():
        yield from _of_practice(practice)


def _of_errors(path: Path) -> Iterator[Place]:
    """What is said where something cannot be; whatever is computed in it stands as {text1}."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            name = getattr(node.exc.func, "id", "")
            first = next(iter(node.exc.args), None)
            if name not in ("ValueError", "InputError") or not isinstance(
                first, (ast.Constant, ast.JoinedStr)
            ):
                continue
            text = template(first) if isinstance(first, ast.JoinedStr) else str(first.value)
            yield text, f"{path.name}, error"


def _of_practice(path: Path) -> Iterator[Place]:
    """What a practice car had, as it is said in the end."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "fault" and len(node.args) > 1:
            said = node.args[1]
            if isinstance(said, ast.Constant):
                yield str(said.value), "practice car, at the end"


def _text(text: str, where: str) -> Iterator[Place]:
    if text.strip():
        yield text, where


def _places(of: Part | Measurand | Observation) -> Iterator[Place]:
    return ((place, f"{of.key}, place") for place in of.places)


def _of_part(part: Part) -> Iterator[Place]:
    yield part.title, f"{part.key}, part"
    yield from _places(part)


def _of_trait(trait: Trait) -> Iterator[Place]:
    yield trait.title, f"{trait.key}, trait"
    yield from _text(trait.how, f"{trait.key}, how")
    yield from _text(trait.tells, f"{trait.key}, to the customer")
    if trait.answers is not None:
        yield from ((word, f"{trait.key}, answer") for word in answers_of(trait.answers))
    yield from ((key_text(unit), f"{trait.key}, unit") for unit in trait.units if key_text(unit))


def _of_measurand(one: Measurand) -> Iterator[Place]:
    yield one.title, f"{one.key}, measurand"
    yield from _places(one)
    yield from _text(one.where, f"{one.key}, where")
    yield from _text(one.how, f"{one.key}, how")
    yield from _text(one.hazard, f"{one.key}, caution")
    yield from _text(one.tells, f"{one.key}, to the customer")
    yield from _text(one.accuracy.text, f"{one.key}, accuracy")
    yield from ((unit, f"{one.key}, unit key") for unit in unit_keys(one) if unit)


def _of_sampling(one: Sampling) -> Iterator[Place]:
    yield one.title, f"{one.key}, record"
    yield from _of_measurand(one.of)
    yield from _text(one.over_title, f"{one.key}, over")
    for name in ("where", "how", "hazard", "tells"):
        yield from _text(getattr(one, name), f"{one.key}, {name}")


def _of_observation(one: Observation) -> Iterator[Place]:
    yield one.title, f"{one.key}, observation"
    yield from _places(one)
    yield from _text(one.how, f"{one.key}, how")
    yield from _text(one.hazard, f"{one.key}, caution")
    yield from ((word, f"{one.key}, answer") for word in answers_of(one.answers))
    yield from _text(one.tells, f"{one.key}, to the customer")
    yield from ((text, f"{one.key}, to the customer") for text in one.tells_each.values())


def _of_operation(one: Operation) -> Iterator[Place]:
    yield one.title, f"{one.key}, operation"
    yield from _text(one.hazard, f"{one.key}, caution")
    yield from _text(one.tells, f"{one.key}, to the customer")


def _of_setting(one: Setting) -> Iterator[Place]:
    yield one.title, f"{one.key}, setting"
    yield from _text(one.how, f"{one.key}, how")
    if one.answers is not None:
        yield from ((word, f"{one.key}, answer") for word in answers_of(one.answers))


def _of_calculation(one: Calculation[...]) -> Iterator[Place]:
    yield one.title.rstrip(".").replace("`", ""), f"{one.key}, calculation"
    for field in one.inputs.values():
        yield field.label, f"{one.key}, input"
    yield one.output.label, f"{one.key}, output"


def _of_faults(system: System) -> Iterator[Place]:
    table = system.faults
    if table is None:
        return
    for fault in table.faults.values():
        yield fault.name, f"fault {fault.key}"
        for name, text in (
            ("cause", fault.cause),
            ("to the customer", fault.tells),
            ("goes to", fault.refer),
        ):
            yield from _text(text, f"fault {fault.key}, {name}")
    for test in table.tests.values():
        yield test.question, f"test {test.key}"
        yield from ((outcome, f"test {test.key}, outcome") for outcome in test.outcomes)


def shared_texts() -> Iterator[Place]:
    """What all systems share: symptoms, ways of trial, units."""
    told = symptoms()
    for group in told.groups:
        yield group.words, f"symptoms, heading {group.key}"
    for symptom in (one for one in told.symptoms.values() if "." not in one.key):  # a system has its own
        yield symptom.words, f"symptom {symptom.key}"
        yield from _text(symptom.first_step, f"symptom {symptom.key}, first step")
    for hazard in told.hazards:
        yield hazard.words, f"hazard {hazard.key}"
        yield hazard.do, f"hazard {hazard.key}, what to do"
    yield from ((words, f"circumstance {key}") for key, words in told.circumstances.items())
    yield from ((shows.words, f"shows {shows.key}") for shows in told.shows.values())
    ways = trials()
    for way in ways.ways.values():
        yield way.words, f"trial {way.key}"
        yield from _text(way.trap, f"trial {way.key}, trap")
    yield from ((words, f"result of a trial {key}") for key, words in ways.results.items())
    for unit in units.units():
        yield key_text(unit.text) or unit.text, f"unit of {unit.kind}"


_NO_TEXT = re.compile(r"<(style|code|script)\b.*?</\1>", re.DOTALL)
_NOTE = re.compile(r"\{#.*?#\}", re.DOTALL)
_CODE = re.compile(r"\{%.*?%\}", re.DOTALL)
_FILLED = re.compile(r"\{\{.*?\}\}", re.DOTALL)
_LABEL = re.compile(r"(?:aria-label|placeholder|alt|title)=\"([^\"{]*)\"")
_QUOTED = re.compile(r"\"([A-Z][^\"{}<>]*[a-z][^\"{}<>]*)\"")


def template_texts(source: str) -> Iterator[str]:
    """The whole texts and labels of a template; not those that something is filled into.

    >>> list(template_texts('<p title="Up">Go {{ on }}</p>{% if x %}Stay{% endif %}{{ "Leave it" }}'))
    ['Stay', 'Up', 'Leave it']
    """
    source = _NOTE.sub("", source)
    bare = _FILLED.sub("\x01", _CODE.sub("\x00", _NO_TEXT.sub("\x00", source)))
    for piece in re.split(r"<[^>]*>|\x00", bare):
        text = " ".join(html.unescape(piece).split())
        if "\x01" not in piece and re.search(r"[^\W\d_]{2}", text):
            yield text
    yield from _LABEL.findall(bare)
    for code in _FILLED.findall(source):
        yield from (text for text in _QUOTED.findall(code) if not text.endswith(" "))
