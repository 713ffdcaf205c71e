"""What a practice car shows, as the fields of the form that asks for it."""

from __future__ import annotations

import random
from collections.abc import Mapping

import attrs

from .. import units
from ..errors import CorekitError
from ..model.measurand import DONT_KNOW, Measurand, Observation
from ..plugin.host import Plugins
from .car import At, Car

WHERE = "Choose the place first."
NO_TOOL = "This car does not show it: {why}. Say that you cannot reach it."


@attrs.frozen(kw_only=True)
class Shown:
    """What was read on the car: the fields to fill in, and what to say beside them. `read`: the value or the
    answer itself, empty where there was none.
    """

    fields: Mapping[str, str]
    words: str
    read: str = ""


def reading(
    car: Car,
    measurand: Measurand,
    plugins: Plugins,
    place: str,
    typed: Mapping[str, str],
    draw: random.Random,
) -> Shown:
    """What the meter shows, and what stands beside it.

    Args:
        typed: Condition → what was typed for it already: the car is read under that.
    """
    if not _is_there(measurand, place):
        return Shown(fields={}, words=WHERE)
    numbers: dict[str, float] = {}
    found: dict[str, str] = {}
    for key in measurand.conditions:
        other = plugins.measurands.get(key)
        if other is None:
            continue
        number = _number(typed.get(key, ""), other)
        if number is None:
            text = car.shown(other, At(place, numbers), draw)
            number = car.number(other, At(place, numbers))
            if not text or number is None:
                continue
            found[f'step[0].setup."{key}".is'] = text
        numbers[key] = number
    shown = car.shown(measurand, At(place, numbers), draw)
    if not shown:
        return Shown(fields=found, words=NO_TOOL.format(why=_why(car, measurand.key)))
    found["step[0].readings[0].is"] = shown
    return Shown(fields=found, words=f"The meter shows {shown}.", read=shown)


def _number(text: str, measurand: Measurand) -> float | None:
    """A typed condition in the measurand's declared unit; None where nothing readable was typed."""
    if not text.strip():
        return None
    try:
        return units.from_coherent(units.read_quantity(text, [measurand.unit]).number, measurand.unit)
    except CorekitError:
        return None


def _is_there(declared: Measurand | Observation, place: str) -> bool:
    """Whether a thing is at this place; what is there once only needs none."""
    return not declared.places or place in declared.places


def look(car: Car, observation: Observation, place: str) -> Shown:
    """What is seen, heard or told: said, not filled in, because a tap answers."""
    if not _is_there(observation, place):
        return Shown(fields={}, words=WHERE)
    seen = car.seen(observation.key, At(place))
    if seen is None:
        return Shown(fields={}, words=NO_TOOL.format(why=_why(car, observation.key)))
    return Shown(fields={}, words=f"You find: {seen}.", read=seen)


def labels(car: Car, keys: list[str]) -> Shown:
    """What the vehicle is fitted with, of these traits."""
    found = {f'traits."{key}"': car.fitted(key) or DONT_KNOW for key in keys}
    return Shown(fields=found, words="; ".join(found.values()) if len(found) == 1 else "Read off the car.")


def codes(car: Car) -> Shown:
    """What the control units have stored."""
    stored = car.codes or ()
    fields = {f"step[0].codes.{state}|none": "yes" for state in ("pending", "permanent")}
    if stored:
        fields["step[0].codes.stored|list"] = " ".join(stored)
    else:
        fields["step[0].codes.stored|none"] = "yes"
    return Shown(fields=fields, words=f"Stored: {', '.join(stored) or 'none'}.")


def points(car: Car, key: str, plugins: Plugins, place: str) -> Shown:
    """What a logger kept, one point a line."""
    system = plugins.systems[key.partition(".")[0]]
    recorded = system.records[key]
    if not _is_there(recorded.of, place):
        return Shown(fields={}, words=WHERE)
    found = car.points(recorded, At(place))
    if not found:
        return Shown(fields={}, words=NO_TOOL.format(why=_why(car, key)))
    return Shown(fields={"points": "\n".join(f"{x}: {y}" for x, y in found)}, words="As the logger kept it.")


def complaint(car: Car, told: tuple[str, ...]) -> Shown:
    """Whether what the driver told is still there at this moment."""
    still = bool(set(told) & set(car.complaints))
    words = "You look for it: it is still there." if still else "You look for it: it does not show."
    return Shown(fields={}, words=words, read="stayed" if still else "gone")


def _why(car: Car, key: str) -> str:
    """Why it cannot be had."""
    practice = car.practices.get(key.partition(".")[0])
    if practice is None:
        return "its system is not practised"
    return practice.refused.get(key, "it is not fitted, or cannot be had as the car is now")


def is_near(guess: str, shown: str, measurand: Measurand | None, part: float) -> bool:
    """Whether a guess comes near what was read: the same answer, or a number within this part of it."""
    if measurand is None:
        return guess.strip().casefold() == shown.strip().casefold()
    one, other = _number(guess, measurand), _number(shown, measurand)
    return one is not None and other is not None and abs(one - other) <= part * abs(other)
