"""The keys for a unit beside a number: which a screen offers, and what was typed taken apart again."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from .. import units
from ..model.limit import Span
from ..model.measurand import Measurand

_MOST_UNITS = 6
# A unit makes sense where the largest usual value is a handy number in it. In a decimal multiple of the own
# unit that number begins at 1 (nobody says 0.09 cm for a gap); in any other it may be smaller (0.035 in).
_LEAST_DECIMAL, _LEAST, _MOST = 1.0, 0.02, 2000.0
_TIMES = 61.0  # a time is said in the next unit as well, 40 min for something that is usually hours
# Coherent units of the inside that no instrument in a van shows.
_NEVER_TYPED = frozenset({"K", "rev/s", "rad", "C", "Pa", "V/K"})
_NUMBER = re.compile(r"(?P<number>[+−-]?[0-9]+(?:[.,][0-9]+)?)\s*(?P<unit>\D.*)?")


def unit_keys(measurand: Measurand) -> tuple[str, ...]:
    """Units to tap, as people type them: the shop's or the measurand's own first, then those of its kind in
    which its usual values are handy numbers.

    A kind that is typed without a unit has the one key "". Whatever is left out can be typed all the same.

    >>> from corekit.model.measurand import Accuracy
    >>> spans = {"possible": Span(0, 30), "usual": Span(0.001, 3)}
    >>> unit_keys(Measurand(key="x.y", unit="mA", kind="current", title="", accuracy=Accuracy(), **spans))
    ('mA', 'A')
    """
    own, shops = units.unit(measurand.unit), units.unit(units.shown_unit(measurand.unit))
    first = key_text(shops.text)
    if own.text in units.BARE or own.kind == "ratio":
        return (first,)
    found = {first: shops.factor, key_text(own.text): own.factor}
    handy = [
        unit
        for unit in units.units()
        if unit.kind == own.kind and unit.text not in _NEVER_TYPED and unit.bare not in _NEVER_TYPED
    ]
    handy = [unit for unit in handy if _is_handy(unit, own, measurand.usual)]
    for other in sorted(handy, key=lambda unit: _largest(unit, measurand.usual) < 1):
        if other.factor not in found.values():  # hPa and mbar are one key
            found[key_text(other.text)] = other.factor
    return tuple(found)[:_MOST_UNITS]


def shop_first(texts: Iterable[str]) -> tuple[str, ...]:
    """Declared units as people type them, the shop's first where it wants one that is among them."""
    keys = tuple(map(key_text, texts))
    wanted = key_text(units.shown_unit(next(iter(texts)))) if keys else ""
    return tuple(sorted(keys, key=lambda key: key != wanted)) if wanted in keys else keys


def _is_handy(unit: units.Unit, own: units.Unit, usual: Span) -> bool:
    ratio = unit.factor / own.factor
    if own.kind == "time":  # nobody says 0.06 years for 500 h
        return 1 / _TIMES <= ratio <= _TIMES or _LEAST_DECIMAL <= _largest(unit, usual) <= _MOST
    decimal = unit.offset == own.offset and abs(math.log10(ratio) - round(math.log10(ratio))) < 1e-9
    return (_LEAST_DECIMAL if decimal else _LEAST) <= _largest(unit, usual) <= _MOST


def _largest(unit: units.Unit, usual: Span) -> float:
    return max(
        (abs((end - unit.offset) / unit.factor) for end in (usual.low, usual.high) if end is not None),
        default=0.0,
    )


def key_text(unit: str) -> str:
    one = units.unit(unit)
    return "" if one.text in units.BARE else units.declared_text(unit)


def number_and_unit(typed: str, keys: Iterable[str]) -> tuple[str, str]:
    """What was typed, as a number and one of the unit keys; the whole text and "" when it is anything else.

    >>> apart("4 °C", ["°C", "°F"]), apart("about 9 h", ["h"])
    (('4', '°C'), ('about 9 h', ''))
    """
    match = _NUMBER.fullmatch(typed.strip())
    unit = (match["unit"] or "").strip() if match else ""
    return (match["number"], unit) if match and unit in tuple(keys) else (typed.strip(), "")
