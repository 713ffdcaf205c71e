"""What a thing may be while something is not known."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from typing import Any, Generic, TypeAlias, TypeVar

import attrs

from .measurand import Measurand, Trait

T = TypeVar("T")
U = TypeVar("U")
#: What can be unknown: how the vehicle is fitted, or a condition that was not read.
Unknown: TypeAlias = Trait | Measurand


@attrs.frozen
class Possible(Generic[T]):
    """One candidate for each answer that is open, of one unknown or of several together.

    A value computed at both ends of a condition's usual span is such a thing, and so is a limit that depends
    on the kind of car. What is said by it has to hold for every candidate.

    Attributes:
        unknown: What is not known; what is named first is asked first.
        candidates: Key of the unknown → answer, with what holds under these answers. An unknown on which a
            candidate does not depend is not named there.
    """

    unknown: tuple[Unknown, ...]
    candidates: tuple[tuple[Mapping[str, Hashable], T], ...]


def possible(unknown: Unknown, candidates: Mapping[Any, T | Possible[T]]) -> Possible[T]:
    """What holds for each answer of one unknown, or at each end of it.

    A candidate that depends on more is taken apart.
    """
    return Possible(
        _once(unknown, *(other for one in candidates.values() for other in _unknown_of(one))),
        tuple(
            ({unknown.key: answer, **given}, candidate)
            for answer, one in candidates.items()
            for given, candidate in under(one)
        ),
    )


def for_each(function: Callable[..., U], *given: Any) -> U | Possible[U]:
    """The function's result; of what is only possible, one for each way in which all can hold together."""
    if not any(isinstance(one, Possible) for one in given):
        return function(*given)
    rows: list[tuple[dict[str, Hashable], tuple[Any, ...]]] = [({}, ())]
    for one in given:
        rows = [
            ({**known, **answers}, (*taken, candidate))
            for known, taken in rows
            for answers, candidate in under(one)
            if all(known.get(key, answer) == answer for key, answer in answers.items())
        ]
    unknown = _once(*(other for one in given for other in _unknown_of(one)))
    return Possible(unknown, tuple((known, function(*taken)) for known, taken in rows))


def under(one: T | Possible[T]) -> tuple[tuple[Mapping[str, Hashable], T], ...]:
    """The candidates with their answers; what is known is the only one, whatever the answers."""
    return one.candidates if isinstance(one, Possible) else (({}, one),)


def _unknown_of(one: object) -> tuple[Unknown, ...]:
    return one.unknown if isinstance(one, Possible) else ()


def _once(*unknown: Unknown) -> tuple[Unknown, ...]:
    return tuple({one.key: one for one in unknown}.values())
