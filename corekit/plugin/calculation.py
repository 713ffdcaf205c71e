"""Calculations: plain float functions in coherent units, declared with unit, range and source."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Annotated, Any, Generic, ParamSpec, get_args, get_origin, get_type_hints

import attrs

from .. import units
from ..model.value import Value, propagate
from .reading import Reading

P = ParamSpec("P")


@attrs.frozen
class Within:
    """The range in which a calculation holds, in the coherent unit.

    `above` and `below` exclude the end itself.

    >>> Within(0, 1500).fault(1600)
    'must be at least 0 and at most 1500'
    """

    low: float | None = None
    high: float | None = None
    above: float | None = attrs.field(default=None, kw_only=True)
    below: float | None = attrs.field(default=None, kw_only=True)

    def fault(self, number: float) -> str:
        """What must hold, when it does not; else empty."""
        broken = (
            (self.low is not None and number < self.low)
            or (self.high is not None and number > self.high)
            or (self.above is not None and number <= self.above)
            or (self.below is not None and number >= self.below)
        )
        return f"must be {self.words}" if broken else ""

    @property
    def words(self) -> str:
        ends = [
            (self.low, "at least {:g}"),
            (self.high, "at most {:g}"),
            (self.above, "above {:g}"),
            (self.below, "below {:g}"),
        ]
        return " and ".join(text.format(end) for end, text in ends if end is not None)


@attrs.frozen(kw_only=True)
class Input:
    name: str
    unit: str
    kind: str
    within: Within


class Calculation(Generic[P]):
    """A declared calculation.

    Call it with `Value`s, `Reading`s or pint quantities and the uncertainty travels along; `.si` is the bare
    function of floats in coherent units.
    """

    def __init__(self, function: Callable[P, float], key: str, source: str) -> None:
        self.si: Callable[P, float] = function
        self.key = key
        self.source = source
        self.title = (inspect.getdoc(function) or key).split("\n", 1)[0]
        self.__doc__ = function.__doc__
        self.__name__ = function.__name__
        self.__wrapped__ = function
        self.inputs, self.unit = _declared(function)
        self.kind = units.unit(self.unit).kind

    def __repr__(self) -> str:
        return f"<calculation {self.key}>"

    def __call__(self, *args: Any, **named: Any) -> Value:
        """The result with its uncertainty.

        Raises:
            TypeError: an input is missing, surplus or not a quantity.
            ValueError: an input is of another kind or outside its range; the text says which and in which
                unit.
        """
        values = self._values(args, named)
        for declared, value in zip(self.inputs, values, strict=True):
            fault = declared.within.fault(value.number)
            if fault:
                raise ValueError(
                    f"{self.key}: {declared.name} {fault} {declared.unit}; got {value.number:g}"
                    f" {declared.unit}."
                )
        return propagate(self._guarded, values, self.kind)

    def _guarded(self, *numbers: float) -> float:
        for declared, number in zip(self.inputs, numbers, strict=True):
            if declared.within.fault(number):
                raise ValueError(declared.name)
        return self.si(*numbers)  # type: ignore[arg-type, call-arg]

    def _values(self, args: tuple[Any, ...], named: dict[str, Any]) -> list[Value]:
        names = [declared.name for declared in self.inputs]
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
        for declared in self.inputs:
            if declared.name not in given:
                raise TypeError(f"{self.key} needs {declared.name} in {declared.unit}.")
            values.append(self._value(declared, given[declared.name]))
        return values

    def _value(self, declared: Input, given: Any) -> Value:
        if isinstance(given, Reading):
            given = given.value
        if not isinstance(given, Value):
            if not hasattr(given, "m_as"):
                raise TypeError(
                    f"{self.key}: {declared.name} must be a Value, a Reading or a quantity with a unit; got"
                    f" {given!r}. Use .si for bare floats."
                )
            given = units.from_quantity(given, declared.unit)
        assert isinstance(given, Value)
        if given.kind != declared.kind:
            raise ValueError(
                f"{self.key}: {declared.name} must be a {declared.kind} in {declared.unit}; got a"
                f" {given.kind}."
            )
        return given


def _declared(function: Callable[..., float]) -> tuple[tuple[Input, ...], str]:
    """Read unit and range off the annotations, refusing at import what is not declared."""
    try:
        hints = get_type_hints(function, include_extras=True)
    except NameError as error:
        raise TypeError(
            f"{function.__name__}: {error}. Declare what annotations name at module level, and import it"
            " outside TYPE_CHECKING."
        ) from error
    inputs = []
    for name, parameter in inspect.signature(function).parameters.items():
        if (
            parameter.kind not in (parameter.POSITIONAL_ONLY, parameter.POSITIONAL_OR_KEYWORD)
            or parameter.default is not parameter.empty
        ):
            raise TypeError(
                f"{function.__name__}: {name} must be an ordinary parameter without a default; a calculation"
                " states every quantity it uses."
            )
        unit, within = _unit_and_range(function.__name__, name, hints.get(name))
        inputs.append(Input(name=name, unit=unit, kind=units.unit(unit).kind, within=within))
    unit, _ = _unit_and_range(function.__name__, "the result", hints.get("return"))
    return tuple(inputs), unit


def _unit_and_range(function: str, name: str, hint: Any) -> tuple[str, Within]:
    if get_origin(hint) is not Annotated or get_args(hint)[0] is not float:
        raise TypeError(
            f'{function}: {name} must be declared as Annotated[float, "unit"]; plain numbers have no unit.'
        )
    extras = get_args(hint)[1:]
    texts = [extra for extra in extras if isinstance(extra, str)]
    ranges = [extra for extra in extras if isinstance(extra, Within)]
    if len(texts) != 1 or len(ranges) > 1 or len(texts) + len(ranges) != len(extras):
        raise TypeError(f"{function}: {name} must carry one unit and at most one Within(…).")
    found = units.unit(texts[0])
    if found.factor != 1.0 or found.offset != 0.0:
        raise TypeError(
            f"{function}: {name} is declared in {texts[0]}; a calculation works in coherent units, here"
            f" {units.kinds()[found.kind].unit}."
        )
    return texts[0], ranges[0] if ranges else Within()
