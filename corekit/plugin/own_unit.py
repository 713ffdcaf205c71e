"""A unit that a system declares for itself, because the shared table has none for what it measures."""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction

from .. import units
from ..unit_table import Kind, OwnUnit, Unit, UnitError, key_of, kinds, own_units, set_own_units

_KIND = re.compile(r"[a-z][a-z ]{1,38}[a-z]")
_TEXT = re.compile(r"[A-Za-zµΩ°%](?:[A-Za-z0-9µΩ°%²³·/^ -]{0,18}[A-Za-z0-9µΩ°%²³])?")
_LEAST, _MOST = Fraction(1, 10**24), Fraction(10**24)


def declare_unit(
    system: str, text: str, kind: str, title: str, factor: int | float | str | Fraction, also: Iterable[str]
) -> OwnUnit:
    """Checks a unit, adds it to the table of this process, and gives it back.

    Raises:
        UnitError: it cannot be meant, is taken, or another system says something else of it.
    """
    where = f"{system}: the unit {text!r}"
    spellings = (text, *also)
    for spelling in spellings:
        if not isinstance(spelling, str) or not _TEXT.fullmatch(spelling) or key_of(spelling) != spelling:
            raise UnitError(
                f"{where} has the spelling {spelling!r}; write up to 20 letters, digits and signs of units,"
                ' beginning with a letter, such as "lx" or "kg/h".'
            )
    exact = _factor(where, factor)
    own = _kind(where, system, kind, title, text, exact)
    unit = Unit(
        text=text,
        kind=own.name,
        factor=float(exact),
        offset=0.0,
        bare=text,
        also=tuple(also),
        factor_exact=exact,
        offset_exact=Fraction(0),
        pint=_dimension(own.name),
        define=f"{_dimension(own.name)} = [{_dimension(own.name)}]" if own.unit == text else "",
        source="",
    )
    declared = OwnUnit(system, own, unit)
    before = own_units()
    set_own_units((*before, declared))
    try:
        for spelling in spellings:
            _read_back(where, spelling, unit)
    except UnitError:
        set_own_units(before)
        raise
    return declared


def _factor(where: str, factor: int | float | str | Fraction) -> Fraction:
    try:
        exact = Fraction(str(factor))
    except (ValueError, ZeroDivisionError):
        exact = Fraction(0)
    if not _LEAST <= exact <= _MOST:
        raise UnitError(
            f"{where} has the factor {factor!r}; write how many coherent units it is: a positive number,"
            ' or "1/60".'
        )
    return exact


def _kind(where: str, system: str, name: str, title: str, text: str, factor: Fraction) -> Kind:
    """The kind that the unit belongs to; a new one where neither the table nor this system has it."""
    mine = {own.kind.name: own.kind for own in own_units() if own.system == system}
    known = {
        name: kind for name, kind in kinds().items() if all(name != own.kind.name for own in own_units())
    }
    there = mine.get(name) or known.get(name)
    if there is not None:
        if there.mark or there.strict:
            raise UnitError(f"{where} is of {name}, whose units stand in the shared table alone.")
        if title and title != there.title:
            raise UnitError(f"{where} is of {name}, which is called {there.title!r} and not {title!r}.")
        return there
    if not _KIND.fullmatch(name):
        raise UnitError(
            f"{where} names the kind {name!r}; write a few words in small letters, such as illuminance."
        )
    if not title.strip() or factor != 1:
        raise UnitError(
            f"{where} is the first of the kind {name!r}, so it is the coherent one: give the kind a title and"
            " no factor, and declare other units of it after this one."
        )
    return Kind(name, text, title)


def _dimension(kind: str) -> str:
    """A name that nobody typed: what pint calls the kind."""
    return f"corekit_{kind.replace(' ', '_')}"


def _read_back(where: str, spelling: str, unit: Unit) -> None:
    """What people will type has to come back as what is meant."""
    for typed in (f"2 {spelling}", f"2{spelling}"):
        try:
            read = units.read_quantity(typed, [unit.text])
        except units.TypedError as error:
            raise UnitError(f"{where} cannot be told from a number in {typed!r}: {error}.") from error
        if (read.unit, read.number) != (unit.text, float(2 * unit.factor_exact)):
            raise UnitError(f"{where} is read as {read.number:g} {read.unit} in {typed!r}; choose another.")
