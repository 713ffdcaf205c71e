"""Derived readings: what follows from other readings, and is then judged like one that was taken."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeAlias

import attrs

from .. import units
from ..model.finding import Gap, Reason
from ..model.measurand import Measurand, Observation, Trait
from ..model.sampling import Sampling
from ..model.value import Value
from .annotations import read_annotations
from .case import Case, Missing
from .check import Check, Parameter, missing_gap, parameters_of
from .guard import line_words
from .reading import Reading, Series

#: A value, one for each place of a measurand that has places, or None where nothing follows.
Derived: TypeAlias = "Value | Mapping[str, Value] | None"


_Read: TypeAlias = Measurand | Sampling | Observation | Trait


@attrs.frozen(kw_only=True)
class Derivation:
    """How a measurand follows from what its function takes, as a check takes it."""

    measurand: Measurand
    function: Callable[..., Derived]
    parameters: tuple[Parameter, ...]

    @property
    def where(self) -> str:
        """File and line at which it begins; empty for what was not written in Python."""
        code = getattr(self.function, "__code__", None)
        return line_words(code.co_filename, code.co_firstlineno) if code is not None else ""

    @property
    def read(self) -> list[_Read]:
        """What it takes of the vehicle; a setting is the shop's."""
        return [parameter.of for parameter in self.parameters if isinstance(parameter.of, _Read)]


def derivation(function: Callable[..., Derived], measurand: Measurand) -> Derivation:
    """Read the signature; whatever cannot be meant is refused here, at import.

    Raises:
        TypeError: names the function, the parameter and what to write.
    """
    name = function.__name__
    if inspect.isgeneratorfunction(function):
        raise TypeError(f"{name}: a derived reading is returned, not yielded; use `return value`.")
    parameters = parameters_of(function)
    if not any(isinstance(parameter.of, _Read) for parameter in parameters):
        raise TypeError(f"{name}: a derived reading follows from others; take them as parameters.")
    hints = read_annotations(function)
    wanted = "dict[str, ck.Value], by place" if measurand.places else "ck.Value | None"
    if "return" not in hints:
        raise TypeError(f"{name}: say what it returns, -> {wanted}.")
    return Derivation(measurand=measurand, function=function, parameters=parameters)


def derive(one: Derivation, case: Case) -> Iterator[Reading | Gap]:
    """The readings that follow from a case, and what keeps one from following.

    Nothing is said where nothing that it follows from was read. A reading that was taken counts instead.

    Raises:
        TypeError: the function gave something else than was declared.
    """
    measurand = one.measurand
    try:
        given = Check.arguments_for(one.parameters, case)
    except Missing:
        return
    read = [parameter for parameter in one.parameters if isinstance(parameter.of, _Read)]
    if all(given[parameter.name] is None or given[parameter.name] == [] for parameter in read):
        return
    for reading in _readings_in(given):
        if reading.disagrees:
            why = f"the readings of {reading.measurand.title} disagree; read it again."
            yield case.gap(reading.measurand, f"{measurand.title}: does not follow, for {why}")
            return
    made = one.function(**given)
    for place, value in _by_place(measurand, made):
        if (measurand.key, place) in case.readings:
            continue
        typed = units.show(value, measurand.unit)
        if not measurand.possible.holds(value.number):
            at = f", {place}" if place else ""
            inputs = ", ".join(dict.fromkeys(parameter.of.title for parameter in one.parameters))
            text = f"{measurand.title}{at}: comes to {typed}, which cannot be; read again: {inputs}."
            yield case.gap(one.read[0], text)
            continue
        sheet = "it follows from other readings"
        yield Reading(
            measurand=measurand, value=value, typed=typed, place=place, stage=case.stage, sheet=sheet
        )


def _readings_in(given: Mapping[str, Any]) -> Iterator[Reading]:
    for found in given.values():
        for one in found if isinstance(found, list) else (found,):
            if isinstance(one, Reading):
                yield one
            elif isinstance(one, Series):
                yield one.latest


def _by_place(measurand: Measurand, made: object) -> Iterator[tuple[str, Value]]:
    if made is None:
        return
    found = made if isinstance(made, Mapping) else {"": made}
    for place, value in found.items():
        if place not in (measurand.places or ("",)):
            places = ", ".join(measurand.places) or "no places"
            raise TypeError(f"{measurand.key} was derived at {place!r}; it has {places}")
        if not isinstance(value, Value) or value.kind != measurand.kind:
            got = value.kind if isinstance(value, Value) else type(value).__name__
            raise TypeError(f"{measurand.key} is a {measurand.kind}, and what was derived is {got}")
        yield place, value


def with_derived(case: Case, found: Mapping[tuple[str, str], Reading]) -> Case:
    """The case with these readings beside those that were taken."""
    return attrs.evolve(case, readings={**case.readings, **found}) if found else case


def not_derived(one: Derivation, case: Case) -> Gap:
    """Why a derived reading that somebody asks for is not there: the first of its needs that is missing."""
    missing = next((of for of in one.read if _lacks(one, of, case)), None)
    if missing is None:
        text = f"{one.measurand.title}: does not follow from what was read."
        return case.gap(one.read[0], text, Reason.NOT_MEASURED)
    gap = missing_gap(case, missing)
    return attrs.evolve(gap, text=f"{one.measurand.title}: follows from other readings. {gap.text}")


def _lacks(one: Derivation, of: _Read, case: Case) -> bool:
    wanted = next(parameter for parameter in one.parameters if parameter.of is of)
    return not Check.arguments_for((attrs.evolve(wanted, needed=False),), case)[wanted.name]
