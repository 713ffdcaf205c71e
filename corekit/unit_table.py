"""The closed table of units: kinds of quantity with one coherent unit each, and every unit that can be typed.

It stands in `shared/units.toml`; while a system is installed, the units that it declares belong to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any

import attrs

from .datafile import read_toml
from .errors import CorekitError
from .fault import DataFault, DataFileError, quotation
from .kept import kept
from .reference import data_path

_DEFINITION = "si-brochure"  # the source of every row that names none


class UnitError(CorekitError, ValueError):
    """A unit was declared that the table does not have, or that leaves its kind open."""


@attrs.frozen
class Kind:
    """A kind of quantity.

    `unit` is its coherent unit, in which every number inside is; `title` is what paper calls it.

    `mark` ends the declared text of its units (`gauge`). `strict`: people must type the mark as well.
    `shown`: paper prints it.
    """

    name: str
    unit: str
    title: str
    mark: str = ""
    tails: tuple[str, ...] = ()
    strict: bool = False
    shown: bool = False


@attrs.frozen
class Unit:
    """One way to write quantities of one kind: coherent number = number · factor + offset.

    `text` is the declared text (`bar gauge`), `bare` the same without the mark (`bar`), `also` what else
    people type for it. `factor_exact` and `offset_exact` are the same numbers as fractions; `pint` is the
    unit's name in pint's registry; `source` is a key of `shared/sources.toml`.
    """

    text: str
    kind: str
    factor: float
    offset: float
    bare: str = attrs.field(repr=False)
    also: tuple[str, ...] = attrs.field(repr=False)
    factor_exact: Fraction = attrs.field(repr=False)
    offset_exact: Fraction = attrs.field(repr=False)
    pint: str = attrs.field(repr=False)
    define: str = attrs.field(repr=False, default="")
    note: str = attrs.field(repr=False, default="")
    source: str = attrs.field(repr=False, default=_DEFINITION)


@attrs.frozen(eq=False)
class Table:
    kinds: Mapping[str, Kind]
    units: tuple[Unit, ...]
    declared: Mapping[str, Unit]  # exact declared text → unit
    spelled: Mapping[str, tuple[Unit, ...]]  # any spelling → the units it may mean
    typed: Mapping[str, Mapping[str, Unit]]  # kind → spelling → unit, as a person may type it for that kind
    unmarked: Mapping[str, Mapping[str, Unit]]  # strict kind → spelling without its mark → unit
    of_kind: Mapping[str, tuple[Unit, ...]]


@attrs.frozen
class OwnUnit:
    """A unit that a system declares for itself, and the kind that it belongs to."""

    system: str
    kind: Kind
    unit: Unit

    @property
    def words(self) -> str:
        """What it means, to be held against another's."""
        own = self.kind.unit
        return f"1 {self.unit.text} = {self.unit.factor_exact} {own} of {self.kind.name} ({self.kind.title})"


@attrs.define
class _Added:
    """What the installed systems have added, and the table with it once somebody asked."""

    own: tuple[OwnUnit, ...] = ()
    table: Table | None = None


_ADDED = _Added()


def table() -> Table:
    """The closed table, with what the installed systems add."""
    if _ADDED.table is None:
        shared = _shared_table()
        _ADDED.table = (
            _table_of(
                {**shared.kinds, **{own.kind.name: own.kind for own in _ADDED.own}},
                (*shared.units, *dict.fromkeys(own.unit for own in _ADDED.own)),
            )
            if _ADDED.own
            else shared
        )
    return _ADDED.table


def own_units() -> tuple[OwnUnit, ...]:
    """What the systems of this process have declared for themselves."""
    return _ADDED.own


def set_own_units(own: Iterable[OwnUnit]) -> None:
    """From now on the table has these besides its own: what the host does when plugins come and go.

    Raises:
        UnitError: two of them, or one and the table, disagree on what a unit or a kind means.
    """
    wanted = tuple(dict.fromkeys(own))
    if wanted == _ADDED.own:
        return
    shared = _shared_table()
    kinds, units = shared.kinds, shared.units
    known: dict[str, Unit] = {
        key_of(spelling): one for one in units for spelling in (one.text, one.bare, *one.also)
    }
    said: dict[str, OwnUnit] = {}
    for mine in wanted:
        if kinds.get(mine.kind.name, mine.kind) != mine.kind:
            raise UnitError(
                f"{mine.system} declares the kind {mine.kind.name!r}, which the table has already, in"
                f" {kinds[mine.kind.name].unit}."
            )
        for spelling in (mine.unit.text, *mine.unit.also):
            taken = known.get(key_of(spelling))
            if taken is not None:
                raise UnitError(
                    f"{mine.system} declares the unit {spelling!r}, which already is a unit of {taken.kind}"
                    f" ({taken.text}); choose another spelling, or use that one."
                )
        for name in (f"kind {mine.kind.name}", *map(key_of, (mine.unit.text, *mine.unit.also))):
            other = said.setdefault(name, mine)
            same = other.kind == mine.kind and (name.startswith("kind ") or other.unit == mine.unit)
            if not same:
                raise UnitError(
                    f"{other.system} and {mine.system} disagree on {name!r}: {other.system} says"
                    f" {other.words}, {mine.system} says {mine.words}. One unit has one meaning: change"
                    " one of the two, or install only one."
                )
    _ADDED.own, _ADDED.table = wanted, None


@lru_cache(maxsize=1)
def _shared_table() -> Table:
    """Kinds and units of shared/units.toml."""
    path = data_path("shared/units.toml")
    return kept("units", [path], lambda: _read_shared(path))


def _read_shared(path: Path) -> Table:
    data = read_toml(path)
    kinds = {row["name"]: _kind(row) for row in data["kind"]}
    return _table_of(kinds, tuple(_unit(row, kinds[name]) for row in data["unit"] for name in row["kinds"]))


def _refusal(*faults: str) -> DataFileError:
    return DataFileError([DataFault("unit", "", fault) for fault in faults], "shared/units.toml")


def _table_of(kinds: Mapping[str, Kind], units: tuple[Unit, ...]) -> Table:
    declared: dict[str, Unit] = {}
    spelled: dict[str, list[Unit]] = {}
    typed: dict[str, dict[str, Unit]] = {name: {} for name in kinds}
    unmarked: dict[str, dict[str, Unit]] = {}
    for one in units:
        if one.text in declared:
            raise _refusal(f"the unit {quotation(one.text)} is given twice")
        declared[one.text] = one
        kind = kinds[one.kind]
        bare = (one.bare, *one.also)
        marked = tuple(f"{name}{tail}" for name in bare for tail in _tails(kind))
        for spelling in marked if kind.strict else (*bare, *marked):
            if typed[one.kind].setdefault(key_of(spelling), one) is not one:
                raise _refusal(f"{quotation(spelling)} means two units of {one.kind}")
        if kind.strict:
            unmarked.setdefault(one.kind, {}).update({key_of(spelling): one for spelling in bare})
        for spelling in dict.fromkeys(map(key_of, (*bare, *marked))):
            spelled.setdefault(spelling, []).append(one)
    missing = [
        f"the coherent unit {quotation(kind.unit)} of {kind.name} has no row of factor 1"
        for kind in kinds.values()
        if not _is_coherent(kind, declared)
    ]
    if missing:
        raise _refusal(*missing)
    return Table(
        kinds,
        units,
        declared,
        {spelling: tuple(found) for spelling, found in spelled.items()},
        typed,
        unmarked,
        {name: tuple(one for one in units if one.kind == name) for name in kinds},
    )


def _kind(row: Mapping[str, Any]) -> Kind:
    strict = row.get("strict", False)
    return Kind(
        row["name"],
        row["unit"],
        row["title"],
        row.get("mark", ""),
        tuple(row.get("tails", ())),
        strict,
        row.get("shown", strict),
    )


def _unit(row: Mapping[str, Any], kind: Kind) -> Unit:
    factor, offset = Fraction(row["factor"]), Fraction(row.get("offset", "0"))
    text = f"{row['text']} {kind.mark}" if kind.mark else row["text"]
    also = tuple(row.get("also", ()))
    return Unit(
        text=text,
        kind=kind.name,
        factor=float(factor),
        offset=float(offset),
        bare=row["text"],
        also=also,
        factor_exact=factor,
        offset_exact=offset,
        pint=row["pint"],
        define=row.get("define", ""),
        note=row.get("note", ""),
        source=row.get("source", _DEFINITION),
    )


def _tails(kind: Kind) -> tuple[str, ...]:
    return (f" {kind.mark}", f" ({kind.mark})", f"({kind.mark})", *kind.tails) if kind.mark else ()


def _is_coherent(kind: Kind, declared: Mapping[str, Unit]) -> bool:
    own = declared.get(kind.unit)
    return own is not None and own.kind == kind.name and own.factor_exact == 1 and own.offset_exact == 0


# One sign, several code points: Greek mu for micro, the ohm sign, degree signs with their letter, spaces that
# do not break.
_SAME = str.maketrans(
    {
        "μ": "µ",
        "\u2126": "Ω",
        "℃": "°C",
        "℉": "°F",
        "\u00a0": " ",
        "\u202f": " ",
        "\u2009": " ",
        "º": "°",
        "⋅": "·",
        "−": "-",
    }
)


def key_of(spelling: str) -> str:
    """A spelling with one code point for each sign, and single spaces."""
    return " ".join(spelling.translate(_SAME).split())


def kinds() -> Mapping[str, Kind]:
    """Name → kind, the whole closed table."""
    return table().kinds


def units() -> tuple[Unit, ...]:
    """Every unit there is, in the table's order."""
    return table().units


def units_of(kind: str) -> tuple[Unit, ...]:
    """Every unit of one kind, in the table's order."""
    return table().of_kind.get(kind, ())


def unit(text: str) -> Unit:
    """The unit that a declaration names: `V`, `bar gauge`, `K diff`, `rev/s`, `A SAE`.

    Raises:
        UnitError: the table has no such unit (near matches are named), or the text leaves the kind open: a
            bare `bar` may be gauge, absolute or a difference.
    """
    there = table()
    key = key_of(text)
    if key in there.declared:
        return there.declared[key]
    found = there.spelled.get(key, ())
    if len(found) == 1:
        return found[0]
    if found:
        raise UnitError(
            f"The unit {text!r} leaves open what is meant; declare {any_of(one.text for one in found)}."
        )
    raise UnitError(f"There is no unit {text!r}{_near(key, there)}; the table is shared/units.toml.")


def _near(key: str, there: Table) -> str:
    import difflib  # only for what was mistyped

    near = [
        spelling for spelling in there.spelled if spelling.casefold() == key.casefold()
    ] or difflib.get_close_matches(key, there.spelled, n=3, cutoff=0.6)
    meant = dict.fromkeys(one.text for spelling in near for one in there.spelled[spelling])
    return f"; near to it: {', '.join(list(meant)[:6])}" if meant else ""


def any_of(names: Iterable[str]) -> str:
    """`V, mV or kV`."""
    listed = list(dict.fromkeys(names))
    return listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} or {listed[-1]}" if listed else ""
