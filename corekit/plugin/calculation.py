"""Calculations: plain float functions in coherent units, declared with unit, label, range and source."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from functools import cached_property, partial
from typing import (
    Annotated,
    Any,
    Concatenate,
    Generic,
    ParamSpec,
    Protocol,
    TypeAlias,
    TypeVar,
    get_args,
    get_origin,
    overload,
)

import attrs

from .. import units
from ..model.possible import Possible, for_each
from ..model.value import Value, propagate
from .annotations import read_annotations
from .reading import Reading

P = ParamSpec("P")


class Quantity(Protocol):
    """A number with a unit, as pint has it."""

    def m_as(self, units: Any) -> Any: ...


#: What a calculation is called with: a bare float is refused, for nobody knows its unit.
Known: TypeAlias = "Value | Reading | Quantity"
Given: TypeAlias = "Known | Possible[Value]"


@attrs.frozen
class Input:
    """What a calculation takes, as the annotation of its parameter: unit, label and range.

    `low` and `high` belong to the range, `above` and `below` do not; all four are in the unit, which is a
    coherent one. The label is what a person reads beside the field.

    >>> Input("Pa", "Pressure behind the hole", 0, 1500).fault(1600)
    'must be at least 0 and at most 1500'
    """

    unit: str
    label: str
    low: float | None = None
    high: float | None = None
    above: float | None = attrs.field(default=None, kw_only=True)
    below: float | None = attrs.field(default=None, kw_only=True)

    @property
    def kind(self) -> str:
        return units.unit(self.unit).kind

    def fault(self, number: float) -> str:
        """What must hold, when it does not; else empty."""
        broken = (
            (self.low is not None and number < self.low)
            or (self.high is not None and number > self.high)
            or (self.above is not None and number <= self.above)
            or (self.below is not None and number >= self.below)
        )
        return f"must be {self.range_words('{:g}'.format)}" if broken else ""

    def range_words(self, write: Callable[[float], str]) -> str:
        """The range in words, each end as `write` prints it; empty where everything is in range."""
        ends = [
            ("at least", self.low),
            ("above", self.above),
            ("at most", self.high),
            ("below", self.below),
        ]
        return " and ".join(f"{words} {write(end)}" for words, end in ends if end is not None)


@attrs.frozen
class Output:
    """What comes out of a calculation, as the annotation of its result."""

    unit: str
    label: str

    @property
    def kind(self) -> str:
        return units.unit(self.unit).kind


class Calculation(Generic[P]):
    """A declared calculation.

    Call it with `Value`s, `Reading`s or pint quantities and the uncertainty travels along; `.si` is the bare
    function of floats in coherent units.

    Args:
        read_before: Its annotations were found right at an earlier start (`found_right.py`), so they are read
            when somebody asks.

    Raises:
        TypeError: names what is not declared, and how to write it.
    """

    def __init__(self, function: Callable[P, float], key: str, source: str, *, read_before: bool) -> None:
        self.si: Callable[P, float] = function
        self.key = key
        self.source = source
        self.__doc__ = function.__doc__
        self.__name__ = function.__name__
        self.__wrapped__ = function
        if not read_before:
            _ = self._declared

    @cached_property
    def _declared(self) -> tuple[dict[str, Input], Output]:
        return annotations_of(self.si)

    @property
    def inputs(self) -> dict[str, Input]:
        """What it takes, by name."""
        return self._declared[0]

    @property
    def output(self) -> Output:
        """What comes out."""
        return self._declared[1]

    @cached_property
    def title(self) -> str:
        """The first sentence of its docstring."""
        return " ".join((inspect.getdoc(self.si) or self.key).partition("\n\n")[0].split())

    def __repr__(self) -> str:
        return f"<calculation {self.key}>"

    # How many quantities there are is what a type checker can see: `self` says how many floats the function
    # takes. A call by name is checked when it runs; no type says the names of one function over the
    # types of another (PEP 612 carries both along or neither).
    @overload
    def __call__(self: Calculation[[float]], a: Known, /) -> Value: ...

    @overload
    def __call__(self: Calculation[[float, float]], a: Known, b: Known, /) -> Value: ...

    @overload
    def __call__(self: Calculation[[float, float, float]], a: Known, b: Known, c: Known, /) -> Value: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float]], a: Known, b: Known, c: Known, d: Known, /
    ) -> Value: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float, float]],
        a: Known,
        b: Known,
        c: Known,
        d: Known,
        e: Known,
        /,
    ) -> Value: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float, float, float]],
        a: Known,
        b: Known,
        c: Known,
        d: Known,
        e: Known,
        f: Known,
        /,
    ) -> Value: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float, float, float, float]],
        a: Known,
        b: Known,
        c: Known,
        d: Known,
        e: Known,
        f: Known,
        g: Known,
        /,
    ) -> Value: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float, float, float, float, float]],
        a: Known,
        b: Known,
        c: Known,
        d: Known,
        e: Known,
        f: Known,
        g: Known,
        h: Known,
        /,
    ) -> Value: ...

    @overload
    def __call__(
        self: Calculation[Concatenate[float, float, float, float, float, float, float, float, float, ...]],
        *args: Known,
    ) -> Value: ...

    @overload
    def __call__(self: Calculation[[float]], a: Given, /) -> Value | Possible[Value]: ...

    @overload
    def __call__(self: Calculation[[float, float]], a: Given, b: Given, /) -> Value | Possible[Value]: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float]], a: Given, b: Given, c: Given, /
    ) -> Value | Possible[Value]: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float]], a: Given, b: Given, c: Given, d: Given, /
    ) -> Value | Possible[Value]: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float, float]],
        a: Given,
        b: Given,
        c: Given,
        d: Given,
        e: Given,
        /,
    ) -> Value | Possible[Value]: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float, float, float]],
        a: Given,
        b: Given,
        c: Given,
        d: Given,
        e: Given,
        f: Given,
        /,
    ) -> Value | Possible[Value]: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float, float, float, float]],
        a: Given,
        b: Given,
        c: Given,
        d: Given,
        e: Given,
        f: Given,
        g: Given,
        /,
    ) -> Value | Possible[Value]: ...

    @overload
    def __call__(
        self: Calculation[[float, float, float, float, float, float, float, float]],
        a: Given,
        b: Given,
        c: Given,
        d: Given,
        e: Given,
        f: Given,
        g: Given,
        h: Given,
        /,
    ) -> Value | Possible[Value]: ...

    @overload
    def __call__(
        self: Calculation[Concatenate[float, float, float, float, float, float, float, float, float, ...]],
        *args: Given,
    ) -> Value | Possible[Value]: ...

    def __call__(self, *args: Given, **named: Given) -> Value | Possible[Value]:
        """The result with its uncertainty; of what is only possible, one result for each candidate.

        Raises:
            TypeError: an input is missing, surplus or not a quantity.
            ValueError: an input is of another kind or outside its range; the text says which and in which
                unit.
        """
        return for_each(self._result, *self._values(args, named))

    def _result(self, *values: Value) -> Value:
        for (name, declared), value in zip(self.inputs.items(), values, strict=True):
            fault = declared.fault(value.number)
            if fault:
                raise ValueError(
                    f"{self.key}: {name} {fault} {declared.unit}; got {value.number:g} {declared.unit}."
                )
        return propagate(self._call_guarded, values, self.output.kind)

    def _call_guarded(self, *numbers: float) -> float:
        for (name, declared), number in zip(self.inputs.items(), numbers, strict=True):
            if declared.fault(number):
                raise ValueError(name)
        return self.si(*numbers)  # type: ignore[arg-type, call-arg]

    def _values(self, args: tuple[Any, ...], named: dict[str, Any]) -> list[Value | Possible[Value]]:
        names = list(self.inputs)
        unknown = sorted(set(named) - set(names))
        if unknown or len(args) > len(names):
            raise TypeError(
                f"{self.key} takes {', '.join(names)}; got {len(args)} in order and"
                f" {', '.join(unknown) or 'none'} by name."
            )
        twice = [name for name in names[: len(args)] if name in named]
        if twice:
            raise TypeError(f"{self.key} got {twice[0]} twice, in order and by name.")
        given = {**dict(zip(names, args, strict=False)), **named}
        values = []
        for name, declared in self.inputs.items():
            if name not in given:
                raise TypeError(f"{self.key} needs {name} in {declared.unit}.")
            values.append(for_each(partial(self._value, name, declared), given[name]))
        return values

    def _value(self, name: str, declared: Input, given: Any) -> Value:
        if isinstance(given, Reading):
            given = given.value
        if not isinstance(given, Value):
            if not hasattr(given, "m_as"):
                raise TypeError(
                    f"{self.key}: {name} must be a Value, a Reading or a quantity with a unit; got {given!r}."
                    " Use .si for bare floats."
                )
            given = units.from_quantity(given, declared.unit)
        assert isinstance(given, Value)
        if given.kind != declared.kind:
            raise ValueError(
                f"{self.key}: {name} must be a {declared.kind} in {declared.unit}; got a {given.kind}."
            )
        return given


def annotations_of(function: Callable[..., float]) -> tuple[dict[str, Input], Output]:
    """Read unit, label and range off the annotations, refusing at import what is not declared."""
    try:
        hints = read_annotations(function)
    except NameError as error:
        raise TypeError(
            f"{function.__name__}: {error}. Declare what annotations name at module level, and import it"
            " outside TYPE_CHECKING."
        ) from error
    inputs = {}
    for name, parameter in inspect.signature(function).parameters.items():
        if (
            parameter.kind not in (parameter.POSITIONAL_ONLY, parameter.POSITIONAL_OR_KEYWORD)
            or parameter.default is not parameter.empty
        ):
            raise TypeError(
                f"{function.__name__}: {name} must be an ordinary parameter without a default; a calculation"
                " states every quantity it uses."
            )
        inputs[name] = _declaration(function.__name__, name, hints.get(name), Input)
    return inputs, _declaration(function.__name__, "the result", hints.get("return"), Output)


D = TypeVar("D", Input, Output)


def _declaration(function: str, name: str, hint: Any, form: type[D]) -> D:
    example = (
        'ck.Input("K", "Winding temperature", 233.15, 423.15)'
        if form is Input
        else 'ck.Output("Ω", "Winding resistance at 20 °C")'
    )
    if get_origin(hint) is not Annotated or get_args(hint)[0] is not float:
        raise TypeError(
            f"{function}: {name} must be declared with its unit and label, as"
            f" Annotated[float, {example}]; a plain number has no unit."
        )
    extras = get_args(hint)[1:]
    if len(extras) != 1 or not isinstance(extras[0], form):
        raise TypeError(
            f"{function}: {name} must carry one ck.{form.__name__} and nothing else, such as {example}; got"
            f" {', '.join(map(repr, extras))}."
        )
    declared = extras[0]
    found = units.unit(declared.unit)
    if found.factor != 1.0 or found.offset != 0.0:
        raise TypeError(
            f"{function}: {name} is declared in {declared.unit}; a calculation works in coherent units, here"
            f" {units.kinds()[found.kind].unit}."
        )
    if not isinstance(declared.label, str) or not declared.label.strip() or declared.label == name:
        raise TypeError(
            f"{function}: {name} needs a label that a mechanic reads, such as {example}; got"
            f" {declared.label!r}."
        )
    return declared
