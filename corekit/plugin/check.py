"""A check: a generator of findings whose signature declares what it needs."""

from __future__ import annotations

import inspect
import types
from collections.abc import Callable, Iterable, Iterator
from enum import Enum, StrEnum
from functools import partial
from typing import (
    Annotated,
    Any,
    Concatenate,
    Generic,
    ParamSpec,
    TypeAlias,
    Union,
    get_args,
    get_origin,
)

import attrs

from .. import units
from ..model.finding import Finding, Gap, Reason, Urgency, Verdict
from ..model.measurand import Measurand, Observation, Setting, Trait, ruled_out_by
from ..model.sampling import Sampling
from ..model.value import Value
from .annotations import read_annotations
from .case import Case, Missing
from .guard import line_words
from .limit_words import limit_words
from .reading import Reading, Series
from .record import Record
from .setting import setting_value

P = ParamSpec("P")
#: A generator of findings and gaps that takes the case first.
Checker: TypeAlias = Callable[Concatenate[Case, P], Iterator[Finding | Gap]]


class Form(StrEnum):
    """What a parameter of a check receives."""

    ONE = "one reading"
    EVERY = "every place"
    SERIES = "every condition"
    EVERY_SERIES = "every condition, every place"
    ANSWER = "closed answer"
    VALUE = "value of a trait"
    RECORD = "record"


@attrs.frozen(kw_only=True)
class Parameter:
    name: str
    form: Form
    of: Measurand | Sampling | Observation | Trait | Setting
    needed: bool


@attrs.frozen(kw_only=True)
class Check(Generic[P]):
    """A declared check; calling it calls the function itself, so a test needs no host.

    Attributes:
        worse_with, better_with: Of these a larger reading never makes a verdict better, or never worse; the
            conformance kit holds the check to it.
        not_while: Codes of findings; while one of them fails this check means nothing.
        plugin: Name of the plugin that adds it to another's system; empty for the system's own.
    """

    title: str
    function: Checker[P]
    _parameters: tuple[Parameter, ...] | Callable[[], tuple[Parameter, ...]] = attrs.field(eq=False)
    worse_with: tuple[Measurand, ...] = ()
    better_with: tuple[Measurand, ...] = ()
    not_while: tuple[str, ...] = ()
    plugin: str = ""

    def __call__(self, case: Case, *args: P.args, **named: P.kwargs) -> Iterator[Finding | Gap]:
        return self.function(case, *args, **named)

    @property
    def key(self) -> str:
        return self.function.__name__

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """What it takes; of a check that was found right at an earlier start, read when somebody asks."""
        known = self._parameters
        if not isinstance(known, tuple):
            known = known()
            object.__setattr__(self, "_parameters", known)
        return known

    @property
    def where(self) -> str:
        """File and line at which it begins; empty for what was not written in Python."""
        code = getattr(self.function, "__code__", None)
        return line_words(code.co_filename, code.co_firstlineno) if code is not None else ""

    def arguments(self, case: Case) -> dict[str, Any]:
        """What the case has for each parameter, as `arguments_for` says.

        Raises:
            Missing: a need is not there.
        """
        return self.arguments_for(self.parameters, case)

    @classmethod
    def arguments_for(cls, parameters: Iterable[Parameter], case: Case) -> dict[str, Any]:
        """What the case has for each of these.

        A measurand is looked for among what the readings bound before it were taken with (a load test's own
        temperature), then among the stage's readings, then among what any other reading of the stage was
        taken with; what outlasts a repair may come from an earlier stage when this one has none.

        Raises:
            Missing: a need is not there.
        """
        given: dict[str, Any] = {}
        bound: list[Reading] = []
        for parameter in parameters:
            found = cls._find(case, parameter, bound)
            if not found and parameter.needed and not isinstance(parameter.of, Setting):
                raise Missing(parameter.of)
            several = parameter.form in (Form.EVERY, Form.EVERY_SERIES)
            given[parameter.name] = found if found or several else None
            for one in found if isinstance(found, list) else (found,):
                if isinstance(one, (Reading, Series)):
                    bound.append(one.latest if isinstance(one, Series) else one)
        return given

    @staticmethod
    def _find(case: Case, parameter: Parameter, bound: list[Reading]) -> Any:
        of = parameter.of
        if isinstance(of, Setting):
            return setting_value(of, case.settings)
        if isinstance(of, Sampling):
            return case.records_everywhere(of) if parameter.form is Form.EVERY else case.record(of)
        if isinstance(of, Trait):
            return case.fitted.get(of.key)
        if isinstance(of, Observation):
            return case.seen_everywhere(of) if parameter.form is Form.EVERY else case.seen(of)
        if parameter.form is Form.EVERY:
            return case.everywhere(of)
        if parameter.form is Form.EVERY_SERIES:
            return [Series.of(reading) for reading in case.everywhere(of)]
        if parameter.form is Form.SERIES:
            return case.series(of)
        found = case.reading(of)
        here = [reading for reading in case.readings.values() if reading.stage == case.stage]
        of_this_stage = found if found is not None and found.stage == case.stage else None
        return _taken_with(of, bound) or of_this_stage or _taken_with(of, here) or found


#: What a parameter receives by its type: the type itself, or what a list is of.
_FORMS: dict[tuple[Any, Any], Form] = {
    (Reading, None): Form.ONE,
    (Series, None): Form.SERIES,
    (None, (Reading,)): Form.EVERY,
    (None, (Series,)): Form.EVERY_SERIES,
}


def _taken_with(of: Measurand, readings: Iterable[Reading]) -> Reading | None:
    beside = (reading.setup[of.key] for reading in readings if of.key in reading.setup)
    return next((reading for reading in beside if reading.measurand.kind == of.kind), None)


def declare(
    function: Checker[P],
    title: str,
    *,
    read_before: bool = False,
    worse_with: tuple[Measurand, ...] = (),
    better_with: tuple[Measurand, ...] = (),
    not_while: tuple[str, ...] = (),
) -> Check[P]:
    """Read the signature; whatever cannot be meant is refused here, at import.

    Args:
        read_before: It was found right at an earlier start (`found_right.py`).

    Raises:
        TypeError: names the function, the parameter and what to write.
    """
    if not read_before and not inspect.isgeneratorfunction(function):
        raise TypeError(
            f"{function.__name__}: a check yields its findings; use `yield case.judge(…)`, not `return`."
        )
    read = partial(parameters_of, function, after_case=True)
    return Check(
        title=title,
        function=function,
        parameters=read if read_before else read(),
        worse_with=worse_with,
        better_with=better_with,
        not_while=not_while,
    )


def parameters_of(function: Callable[..., Any], *, after_case: bool = False) -> tuple[Parameter, ...]:
    """What a function takes, as its annotations declare it.

    Args:
        after_case: Its first parameter is the case.

    Raises:
        TypeError: names the function, the parameter and what to write.
    """
    where = function.__name__
    try:
        hints = read_annotations(function)
    except NameError as error:
        raise TypeError(
            f"{where}: {error}. Declare measurands, traits and answers at module level, and import names"
            " outside TYPE_CHECKING."
        ) from error
    names = list(inspect.signature(function).parameters)
    if after_case and (not names or hints.get(names[0]) is not Case):
        raise TypeError(f"{where}: the first parameter is `case: Case`.")
    return tuple(_parameter(where, name, hints.get(name)) for name in names[int(after_case) :])


def _parameter(where: str, name: str, hint: Any) -> Parameter:
    if get_origin(hint) is not Annotated or len(get_args(hint)) != 2:
        raise TypeError(
            f"{where}: {name} must be Annotated[type, what it is], e.g. Annotated[Reading, load_voltage]."
        )
    inner, of = get_args(hint)
    needed = True
    if get_origin(inner) in (Union, types.UnionType):
        parts = [part for part in get_args(inner) if part is not type(None)]
        if len(parts) != 1:
            raise TypeError(
                f"{where}: {name} has more than one type; write one, with `| None` when the check can do"
                " without."
            )
        inner, needed = parts[0], False
    if isinstance(of, Sampling):
        wanted = "list[Record]" if of.places else "Record"
        if inner is Record and not of.places:
            return Parameter(name=name, form=Form.RECORD, of=of, needed=needed)
        if of.places and get_origin(inner) is list and get_args(inner) == (Record,):
            return Parameter(name=name, form=Form.EVERY, of=of, needed=needed)
        at = f", which is taken at {', '.join(of.places)}" if of.places else ""
        raise TypeError(f"{where}: {name} is the record {of.key}{at}; its type is {wanted}, not {inner}.")
    if isinstance(of, Measurand):
        if inner in (Reading, Series) and of.places:
            raise TypeError(
                f"{where}: {of.key} is read at {', '.join(of.places)}; {name} must be"
                f" list[{inner.__name__}], every place of it."
            )
        one, every = (inner, None) if get_origin(inner) is not list else (None, get_args(inner))
        form = _FORMS.get((one, every))
        if form is not None:
            return Parameter(name=name, form=form, of=of, needed=needed)
        raise TypeError(
            f"{where}: {name} is a measurand; its type is Reading or list[Reading], or Series or"
            f" list[Series] for every condition, not {inner}."
        )
    if isinstance(of, Observation) and of.places and inner is of.answers:
        raise TypeError(
            f"{where}: {of.key} is looked at at {', '.join(of.places)}; {name} must be dict[str,"
            f" {inner.__name__}], by place."
        )
    if isinstance(of, Setting) and not needed:
        raise TypeError(
            f"{where}: {name} is the setting {of.key}, which always has a value; leave out `| None`."
        )
    if isinstance(of, (Observation, Trait, Setting)):
        if of.answers is not None and inner is of.answers:
            return Parameter(name=name, form=Form.ANSWER, of=of, needed=needed)
        if of.answers is None and inner is Value:
            return Parameter(name=name, form=Form.VALUE, of=of, needed=needed)
        if isinstance(of, Observation) and get_origin(inner) is dict and get_args(inner) == (str, of.answers):
            return Parameter(name=name, form=Form.EVERY, of=of, needed=needed)
        expected = of.answers.__name__ if of.answers else "Value"
        if isinstance(of, Observation) and of.places:
            expected += f" or dict[str, {expected}] by place"
        raise TypeError(f"{where}: {name} is {of.key}; its type is {expected}, not {inner}.")
    raise TypeError(
        f"{where}: {name} names {of!r}, which is neither a measurand, a record, an observation nor a trait,"
        " nor a setting."
    )


def run(check: Check[Any], case: Case, most: int = 1000) -> list[Finding | Gap]:
    """Drain a check for one case. Missing needs become a gap that names what to measure.

    Nothing of a check that fails half-way is kept: half a set of findings looks like a whole one.
    """
    found: list[Finding | Gap] = list(_left_out(check, case))
    try:
        for result in check.function(case, **check.arguments(case)):
            found.append(_usable(result, case))
            if len(found) > most:
                raise ValueError(f"it yielded more than {most} findings")
    except Missing as missing:
        return [*_left_out(check, case), _not_there(case, missing.wanted)]
    return found


def _left_out(check: Check[Any], case: Case) -> Iterator[Gap]:
    """What this check asks for and was read at a place that the vehicle does not have."""
    for parameter in check.parameters:
        of = parameter.of
        for key, place in case.left_out:
            if key == of.key and not isinstance(of, (Trait, Setting)):
                has = ", ".join(case.places(of.of if isinstance(of, Sampling) else of)) or "none"
                text = f"{of.title}, {place}: not judged, for this vehicle has {has}."
                yield case.gap(of, text, Reason.DOES_NOT_APPLY)


def _usable(result: object, case: Case) -> Finding | Gap:
    """The result, when whoever prints it and rules on it can rely on it; what is wrong shows here, while the
    plugin is still under guard.
    """
    if not isinstance(result, (Finding, Gap)):
        raise TypeError(f"it yielded {type(result).__name__} instead of a Finding or a Gap")
    if (result.system, result.stage) != (case.system.key, case.stage):
        raise ValueError(
            f"it speaks of {result.system!r} at stage {result.stage}, and was asked about {case.system.key!r}"
            f" at stage {case.stage}"
        )
    if isinstance(result, Gap):
        if not isinstance(result.reason, Reason):
            raise TypeError(f"it gave {result.reason!r} as the reason of a gap")
        return result
    case.system.checked_code(result.code)
    if not isinstance(result.verdict, Verdict) or not isinstance(result.urgency, Urgency):
        raise TypeError(
            f"{result.code} has the verdict {result.verdict!r} and the urgency {result.urgency!r}"
        )
    if result.calls_for and result.calls_for not in case.system.operations:
        raise ValueError(
            f"{result.code} calls for {result.calls_for!r}, which is no operation of {case.system.key}"
        )
    if result.probability is not None and not 0.0 <= result.probability <= 1.0:
        raise ValueError(f"{result.code} gives a probability of {result.probability!r}")
    try:
        str(result.text), str(result.for_customer)
    except (LookupError, ValueError, AttributeError) as error:
        raise ValueError(f"a sentence of {result.code} has a place that is not filled: {error}") from error
    if result.value is not None:
        units.show(result.value, result.unit)
    for limit in result.limits:
        limit_words(limit, result.unit)
    return result


def _not_there(case: Case, wanted: Measurand | Sampling | Observation | Trait) -> Gap:
    from .derived import not_derived

    derived = case.system.derived.get(wanted.key)
    return not_derived(derived, case) if derived is not None else missing_gap(case, wanted)


def missing_gap(case: Case, wanted: Measurand | Sampling | Observation | Trait) -> Gap:
    """What is missing, in words: not on this vehicle, out of reach, or not measured."""
    there = wanted.of if isinstance(wanted, Sampling) else wanted
    if not isinstance(there, Trait) and (by := ruled_out_by(there, case.fitted_words)):
        text = f"{wanted.title}: not on this vehicle ({case.fitted_words[by]})."
        return attrs.evolve(case.gap(wanted, text, Reason.DOES_NOT_APPLY), wants="", not_here=wanted.title)
    for (key, _), sighting in case.sightings.items():
        if key == wanted.key and sighting.cannot:
            return case.gap(
                wanted,
                f"{wanted.title}: could not be reached, {sighting.cannot}.",
                Reason.COULD_NOT_REACH,
                tells=f"Not checked: {wanted.for_customer} ({sighting.cannot}).",
            )
    missing = (
        "not known"
        if isinstance(wanted, Trait)
        else "not measured"
        if isinstance(wanted, Measurand)
        else "not recorded"
        if isinstance(wanted, Sampling)
        else "not looked at"
    )
    return attrs.evolve(case.gap(wanted, f"{wanted.title}: {missing}."), about=wanted.title)


def closed_list(answers: type[Enum]) -> type[Enum]:
    """Refuse what would not be a closed list of words."""
    if issubclass(answers, StrEnum) or not all(isinstance(member.value, str) for member in answers):
        raise TypeError(
            f"{answers.__name__}: answers are an Enum (not a StrEnum) whose values are the words people read."
        )
    return answers
