"""The form of a visit file as records, and its structuring through cattrs.

Every field may be absent here: which ones must be given depends on the row, and the row's own reader says so.
A field that has the wrong type is reported and then treated as absent, so that everything else is still
looked at.
"""

from __future__ import annotations

import copy
import datetime
from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import Any, NewType, get_args, get_origin

import attrs
import cattrs
from cattrs.errors import BaseValidationError, ForbiddenExtraKeysError, IterableValidationNote
from cattrs.gen import make_dict_structure_fn, override

from .fault import Faults, Place, any_of, near, quoted

#: When it was read, RFC 3339 in UTC. A calendar day, YYYY-MM-DD. A number with its unit, as typed.
Moment = NewType("Moment", str)
Day = NewType("Day", str)
Quantity = NewType("Quantity", str)


@attrs.define(kw_only=True)
class CustomerRow:
    name: str | None = None
    phone: str | None = None
    address: str | None = None


@attrs.define(kw_only=True)
class VehicleRow:
    plate: str | None = None
    vin: str | None = None
    told: str | None = None
    odometer: Quantity | None = None
    no_vin: str | None = None


@attrs.define(kw_only=True)
class InstrumentRow:
    kind: str | None = None
    accuracy: Quantity | None = None
    ranges: dict[str, Quantity | None] | None = None
    step: Quantity | None = None
    calibrated: Day | None = None
    interval: str | None = None
    for_: list[str | None] | None = None


@attrs.define(kw_only=True)
class SpecificationRow:
    of: str | None = None
    low: Quantity | None = None
    high: Quantity | None = None
    from_: str | None = None
    confirmed: bool | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class SetupValue:
    """A setup value that needs more than its text."""

    is_: Quantity | None = None
    with_: str | None = None
    range_: str | None = None
    confirmed: bool | None = None


@attrs.define(kw_only=True)
class ReadingRow:
    of: str | None = None
    place: str | None = None
    is_: Quantity | None = None
    with_: str | None = None
    range_: str | None = None
    confirmed: bool | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class SeenRow:
    of: str | None = None
    place: str | None = None
    is_: str | None = None
    cannot: str | None = None
    words: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class CodesRow:
    """Trouble codes by the list that the control unit gave them in; an empty list says that it was read and
    holds none.
    """

    stored: list[str | None] | None = None
    pending: list[str | None] | None = None
    permanent: list[str | None] | None = None
    cannot: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class WantedStep:
    operation: str | None = None
    ground: str | None = None
    because: str | None = None
    of: str | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class RemarkedStep:
    words: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class CameStep:
    odometer: Quantity | None = None
    same_drive_as: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class LeftStep:
    because: str | None = None
    back: Day | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class StartedStep:
    of: str | None = None
    place: str | None = None
    wait: Quantity | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class WaivedStep:
    operation: str | None = None
    charge: str | None = None
    because: str | None = None
    of: str | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class EndedStep:
    how: str | None = None
    because: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class AgreedStep:
    offer: str | None = None
    total: str | None = None
    by: str | None = None
    how: str | None = None
    declined: list[str | None] | None = None
    taken: Moment | None = None


@attrs.define(kw_only=True)
class PaidStep:
    amount: str | None = None
    how: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@attrs.define(kw_only=True)
class StepRow:
    came: CameStep | None = None
    remarked: RemarkedStep | None = None
    agreed: AgreedStep | None = None
    setup: dict[str, SetupValue | None] | None = None
    readings: list[ReadingRow | None] | None = None
    seen: list[SeenRow | None] | None = None
    codes: CodesRow | None = None
    wanted: WantedStep | None = None
    started: StartedStep | None = None
    repaired: dict[str, Quantity | None] | None = None
    waived: WaivedStep | None = None
    paid: PaidStep | None = None
    left: LeftStep | None = None
    ended: EndedStep | None = None


@attrs.define(kw_only=True)
class VisitForm:
    job: str | None = None
    demo: bool | None = None
    reason: str | None = None
    customer: CustomerRow | None = None
    vehicle: VehicleRow | None = None
    traits: dict[str, Quantity | None] | None = None
    instruments: dict[str, InstrumentRow | None] | None = None
    specification: list[SpecificationRow | None] | None = None
    step: list[StepRow | None] | None = None


class _Misfit(Exception):
    """A value of the wrong type, in the three parts of a fault."""

    def __init__(self, got: str, expected: str, write: str = "") -> None:
        self.got, self.expected, self.write = got, expected, write
        super().__init__(got)


def structured(data: dict[str, Any], faults: Faults) -> VisitForm:
    """The form in the data. What does not fit is added to `faults` and absent from the form."""
    rest = copy.deepcopy(data)
    converter = _converter()
    for _ in range(3):
        try:
            return converter.structure(rest, VisitForm)
        except BaseValidationError as group:
            for path, error in _leaves(group, ()):
                _report(path, error, rest, faults)
    raise AssertionError("A form that was cleared of its faults still has some.")  # pragma: no cover


def _leaves(group: BaseValidationError, path: Place) -> Iterator[tuple[Place, Exception]]:
    for error in group.exceptions:
        inner = path
        for note in getattr(error, "__notes__", ()):
            if isinstance(note, IterableValidationNote):
                inner = (*path, note.index)
                break
            name = getattr(note, "name", None)
            if name is not None:
                inner = (*path, name.rstrip("_"))
                break
        if isinstance(error, BaseValidationError):
            yield from _leaves(error, inner)
        elif isinstance(error, Exception):
            yield inner, error


def _report(path: Place, error: Exception, rest: Any, faults: Faults) -> None:
    if isinstance(error, ForbiddenExtraKeysError):
        names = [field.name.rstrip("_") for field in attrs.fields(error.cl)]
        owner = _item(rest, path)
        for key in [key for key in owner if key in error.extra_fields]:
            faults.add(
                (*path, key), "is not a key of the form", f"one of {', '.join(names)}", near(key, names)
            )
            del owner[key]
        return
    if not isinstance(
        error, _Misfit
    ):  # pragma: no cover - a converter hook that raises something else is a defect
        raise error
    faults.add(path, error.got, error.expected, error.write)
    _item(rest, path[:-1])[path[-1]] = None


def _item(data: Any, path: Place) -> Any:
    for part in path:
        data = data[part]
    return data


@lru_cache(maxsize=1)
def _converter() -> cattrs.Converter:
    converter = cattrs.Converter(forbid_extra_keys=True, detailed_validation=True)
    hooks: dict[Any, Callable[[Any, Any], Any]] = {
        str: _text,
        bool: _claim,
        Moment: _moment,
        Day: _day,
        Quantity: _quantity,
    }
    for kind, hook in hooks.items():
        converter.register_structure_hook(kind, hook)

    def record(kind: Any) -> Any:
        renamed: dict[str, Any] = {
            field.name: override(rename=field.name.rstrip("_"))
            for field in attrs.fields(kind)
            if field.name.endswith("_")
        }
        inner = make_dict_structure_fn(
            kind, converter, _cattrs_forbid_extra_keys=True, _cattrs_detailed_validation=True, **renamed
        )

        def structure(raw: Any, wanted: Any) -> Any:
            if kind is SetupValue and isinstance(raw, str):
                raw = {"is": raw}
            _must_be(raw, dict, "a table { … }")
            return inner(raw, wanted)

        return structure

    def container(kind: type, name: str) -> Any:
        def factory(wanted: Any, converter: Any) -> Any:
            inner = converter.get_structure_hook

            def structure(raw: Any, _: Any) -> Any:
                _must_be(raw, kind, name)
                item = get_args(wanted)[-1]
                pairs = list(raw.items() if kind is dict else enumerate(raw))
                done, problems = [], []
                for key, value in pairs:
                    try:
                        done.append((key, inner(item)(value, item)))
                    except Exception as error:
                        error.add_note(IterableValidationNote(f"at {key!r}", key, item))
                        problems.append(error)
                if problems:
                    raise cattrs.IterableValidationError(name, problems, kind)
                return dict(done) if kind is dict else [value for _, value in done]

            return structure

        return factory

    converter.register_structure_hook_factory(attrs.has, record)
    converter.register_structure_hook_factory(_is_a(list), container(list, "a list [ … ]"))
    converter.register_structure_hook_factory(_is_a(dict), container(dict, "a table { … }"))
    for one in (VisitForm, StepRow):
        attrs.resolve_types(one)
    return converter


def _is_a(kind: type) -> Callable[[Any], bool]:
    def holds(wanted: Any) -> bool:
        origin: Any = get_origin(wanted)
        return origin is kind

    return holds


def _must_be(raw: Any, kind: type, name: str) -> None:
    if not isinstance(raw, kind):
        raise _Misfit(f"is {_named(raw)}", name)


def _named(raw: Any) -> str:
    if isinstance(raw, bool):
        return f"{str(raw).lower()}, a yes or no"
    if isinstance(raw, (int, float)):
        return f"the number {raw}"
    if isinstance(raw, str):
        return f"the text {quoted(raw)}"
    if isinstance(raw, (datetime.date, datetime.time)):
        return f"the date {raw}"
    return "a list" if isinstance(raw, list) else "a table" if isinstance(raw, dict) else type(raw).__name__


def _text(raw: Any, _: Any) -> str:
    if isinstance(raw, str):
        return raw
    number = isinstance(raw, (int, float)) and not isinstance(raw, bool)
    raise _Misfit(f"is {_named(raw)}", "text in quotes", quoted(str(raw)) if number else "")


def _quantity(raw: Any, _: Any) -> Quantity:
    if isinstance(raw, str):
        return Quantity(raw)
    number = isinstance(raw, (int, float)) and not isinstance(raw, bool)
    raise _Misfit(
        f"is {_named(raw)}", "text in quotes", f'"{raw} …" in quotes and with its unit' if number else ""
    )


def _claim(raw: Any, _: Any) -> bool:
    if isinstance(raw, bool):
        return raw
    said = str(raw).casefold() if isinstance(raw, (str, int)) else ""
    write = (
        "true, without quotes"
        if said in ("true", "yes", "1")
        else "false, without quotes"
        if said in ("false", "no", "0")
        else ""
    )
    raise _Misfit(f"is {_named(raw)}", any_of(["true", "false"]), write)


_MOMENT = "date, time and offset, such as 2026-03-04T10:15:00+01:00"


def _moment(raw: Any, _: Any) -> Moment:
    read = raw
    if isinstance(raw, str):
        try:
            read = datetime.datetime.fromisoformat(raw)
        except ValueError as error:
            raise _Misfit(f"is {_named(raw)}", _MOMENT) from error
    if not isinstance(read, datetime.datetime):
        raise _Misfit(f"is {_named(raw)}", _MOMENT)
    if read.tzinfo is None:
        raise _Misfit(
            "says no offset from UTC",
            _MOMENT,
            f"{read.isoformat()}+01:00 with your own offset, or …Z for UTC",
        )
    try:
        there = read.astimezone(datetime.UTC)
    except OverflowError as error:
        raise _Misfit(f"is {_named(raw)}", _MOMENT) from error
    return Moment(there.isoformat().replace("+00:00", "Z"))


def _day(raw: Any, _: Any) -> Day:
    if isinstance(raw, datetime.date) and not isinstance(raw, datetime.datetime):
        return Day(raw.isoformat())
    if isinstance(raw, str):
        try:
            return Day(datetime.date.fromisoformat(raw).isoformat())
        except ValueError:
            pass
    raise _Misfit(f"is {_named(raw)}", "a day such as 2026-03-04")
