"""Calculations outside a job: what each asks for, and its result with uncertainty and source.

The command and the screens use this and nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import attrs

from .. import units
from ..errors import InputError
from ..fault import any_of, near
from ..model.source import Source
from ..model.value import Value
from ..plugin.calculation import Calculation, Input
from ..plugin.guard import failure_words, guarded
from ..plugin.host import Plugins
from ..units import TypedError, Unit
from .errors import DeskError
from .shown_units import shown_unit

__all__ = [
    "Calculation",
    "CalculationError",
    "Field",
    "Result",
    "calculation_named",
    "fields_of",
    "source_of",
    "work_out",
]

#: So many units are offered as keys; any other can be typed. A ratio may be written without a unit.
KEYS, PLAIN = 5, ""
_SECONDS = 5.0


@attrs.frozen(kw_only=True)
class Field:
    """One input as a person is asked for it.

    Attributes:
        units: As people write them, the customary one first; `PLAIN` among them stands for a number without a
            unit. None where there is no other way.
        span: Where the calculation holds, in the customary unit; empty for everywhere.
    """

    name: str
    label: str
    units: tuple[str, ...]
    span: str


@attrs.frozen(kw_only=True)
class Result:
    """What came out, as printed, what each input was understood as, and on whose authority."""

    label: str
    shown: str
    understood: tuple[tuple[str, str], ...]
    source: Source


class CalculationError(DeskError):
    """Inputs that cannot be taken; `faults` maps the input's name to what is wrong with it ("" for all of
    them together).
    """

    def __init__(self, faults: Mapping[str, str]) -> None:
        super().__init__("\n".join(f"{name}: {fault}" if name else fault for name, fault in faults.items()))
        self.faults = dict(faults)


def calculation_named(plugins: Plugins, key: str) -> Calculation[Any]:
    """The calculation of this key, `system.name`.

    Raises:
        DeskError: no installed system declares it; those it may be a slip of the pen for are named.
    """
    if key in plugins.calculations:
        return plugins.calculations[key]
    meant = near(key, plugins.calculations) or [
        one for one in plugins.calculations if one.partition(".")[2] == key
    ]
    hint = f" Do you mean {any_of(meant)}?" if meant else ""
    raise DeskError(f"There is no calculation {key!r}.{hint} `corekit calculate` lists them all.")


def source_of(plugins: Plugins, calculation: Calculation[Any]) -> Source:
    return plugins.systems[calculation.key.partition(".")[0]].sources[calculation.source]


def fields_of(calculation: Calculation[Any], plugins: Plugins) -> tuple[Field, ...]:
    """What a calculation asks for, in its order."""
    return tuple(_field(name, declared, plugins) for name, declared in calculation.inputs.items())


#: Does a declared calculation with values by name, elsewhere than here. Errors: ValueError for what was
#: given, DeskError where it fails.
Calculator = Callable[[str, Mapping[str, Value]], Value]


def work_out(
    plugins: Plugins,
    key: str,
    typed: Mapping[str, str],
    decimal: str = "",
    *,
    calculator: Calculator | None = None,
) -> Result:
    """The result of a calculation from what somebody typed.

    A range, *about* and a ± are taken as they are for readings, and the uncertainty travels along; a plain
    number is taken as it stands.

    Args:
        typed: Input's name → text with its unit.
        decimal: The shop's decimal mark; empty when both are usual.
        calculator: Does it; without one this process does, where only the main thread can stop one that
            hangs.

    Raises:
        DeskError: there is no such calculation, or it fails.
        CalculationError: an input is missing, not understood, or outside the range; all of them at once.
    """
    calculation = calculation_named(plugins, key)
    faults = {
        name: f"is no input of {key}; it takes {', '.join(calculation.inputs)}"
        for name in typed
        if name not in calculation.inputs
    }
    values: dict[str, Value] = {}
    understood: list[tuple[str, str]] = []
    for name, declared in calculation.inputs.items():
        try:
            value, shown = _value(name, declared, typed.get(name, ""), plugins, decimal)
        except ValueError as error:
            faults[name] = str(error)
            continue
        values[name] = value
        understood.append((declared.label, shown))
    if faults:
        raise CalculationError(faults)
    try:
        if calculator is not None:
            result = calculator(key, values)
        else:
            with guarded(key.partition(".")[0], key, _SECONDS):
                result = calculation(**values)
    except ValueError as error:
        raise CalculationError({"": f"Nothing can be computed from these together ({error})."}) from error
    except (KeyboardInterrupt, DeskError):
        raise
    except BaseException as error:
        raise DeskError(
            f"The calculation {key} failed, and that is its plugin's fault ({failure_words(error)})."
        ) from error
    return Result(
        label=calculation.output.label,
        shown=_result_text(result, _customary(calculation.output.kind, "", plugins)[0]),
        understood=tuple(understood),
        source=source_of(plugins, calculation),
    )


def _result_text(result: Value, one: Unit) -> str:
    """As paper prints it; from numbers that claim no uncertainty, four digits and no more."""
    if result.u:
        return units.show(result, one.text)
    number = float(units.decimal_text(result.number, one.text, 4))
    return units.show(Value(result.kind, units.to_coherent(number, one.text)), one.text)


def _field(name: str, declared: Input, plugins: Plugins) -> Field:
    found = _customary(declared.kind, declared.unit, plugins)
    keys = [_typed_unit(one) if one.text != "1" else PLAIN for one in found[:KEYS]]
    return Field(
        name=name,
        label=declared.label,
        units=() if keys == [PLAIN] else tuple(keys),
        span=_span(declared, found[0]),
    )


def _typed_unit(one: Unit) -> str:
    """A unit as people have to write it."""
    return one.text if units.kinds()[one.kind].strict else one.bare


def _value(name: str, declared: Input, text: str, plugins: Plugins, decimal: str) -> tuple[Value, str]:
    """A typed input as a value, and how it was understood.

    Raises:
        ValueError: it is missing, is not understood, or lies outside the range.
    """
    first = _customary(declared.kind, declared.unit, plugins)[0]
    if not text.strip():
        raise InputError(
            "is missing; write"
            f" {'a number' if first.text == '1' else f'a number and its unit, such as {_typed_unit(first)}'}"
        )
    try:
        read = units.read_reading(text, [declared.unit], decimal)
    except TypedError as error:
        raise InputError(str(error)) from error
    if declared.fault(read.number):
        raise InputError(
            f'"{text.strip()}" is outside the range in which this holds ({_span(declared, first)})'
        )
    budget = {f"typed.{name}": read.half_width / math.sqrt(3)} if read.half_width else {}
    value = Value(read.kind, read.number, budget)
    return value, units.show(value, read.unit or first.text, uncertainty=bool(budget), as_typed=True)


def _span(declared: Input, one: Unit) -> str:
    """A range in words, in a unit that people use."""

    def end(number: float) -> str:
        return units.decimal_text(number, one.text, 4).replace("-", "−")

    words = declared.range_words(end)
    return f"{words} {_typed_unit(one)}".removesuffix(" 1") if words else ""


def _customary(kind: str, declared_in: str, plugins: Plugins) -> list[Unit]:
    """The units of a kind, those in which the installed systems declare readings of it first: nobody types
    kelvin. The unit that something is declared in comes before the others where anybody reads in it, and the
    shop's before the one in whose place it wants it.
    """
    declared = [
        units.unit(measurand.unit).text for measurand in plugins.measurands.values() if measurand.kind == kind
    ]
    counted = {text: declared.count(text) for text in declared}
    own = units.unit(declared_in).text if declared_in else ""
    found = sorted(
        units.units_of(kind),
        key=lambda one: (one.text != own or one.text not in counted, -counted.get(one.text, 0)),
    )
    shops = {one.text: units.unit(shown_unit(one.text)) for one in found}
    return list({one.text: one for own in found for one in (shops[own.text], own)}.values())
