"""The limits of a system, as it writes them: limits.toml."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import attrs

from .. import units
from ..datafile import read_toml, required_field, structured, table
from ..fault import Faults, Place, any_of, quotation
from ..judge import passes_nothing
from ..model.limit import Limit, known_to
from ..model.source import Source
from ..model.value import Value, exact


@table
class LimitRow:
    key: str = required_field("the name of the limit, system.name", default="")
    low: float | None = None
    high: float | None = None
    unit: str = required_field("the unit of low and high", '"V"', default="")
    source: str = required_field("a key of sources.toml", default="")
    width: float | None = None
    width_low: float | None = None
    width_high: float | None = None
    why: str = ""
    only_advises: bool = False
    note: str = ""


@table
class LimitFile:
    limit: list[LimitRow | None] = attrs.field(factory=list)


def read_limits(path: Path, where: str, sources: Mapping[str, Source]) -> dict[str, Limit]:
    """Key → limit, from `[[limit]]` tables.

    Raises:
        DataFileError: everything that is wrong, at once.
    """
    faults = Faults()
    data = read_toml(path, where)
    limits: dict[str, Limit] = {}
    for n, row in enumerate(structured(data, LimitFile, faults).limit):
        if row is None:
            continue
        at: Place = ("limit", n)
        if row.source not in sources and not faults.at((*at, "source")):
            got = f"there is no source {quotation(row.source)}"
            faults.add((*at, "source"), got, f"a key of sources.toml: {any_of(sources)}")
        if row.key and row.key in limits:
            faults.add((*at, "key"), f"there already is a limit {quotation(row.key)}", "each key once")
        if faults.below(at):
            continue
        try:
            kind = units.unit(row.unit).kind
        except units.UnitError as error:
            faults.add((*at, "unit"), str(error))
            continue
        widths = _widths(row, sources[row.source], faults, at)
        if faults.below(at):
            continue
        low, high = (
            None if end is None else _end(kind, end, width, row)
            for end, width in zip((row.low, row.high), widths, strict=True)
        )
        try:
            limit = Limit(
                key=row.key,
                source=sources[row.source],
                low=low,
                high=high,
                why=row.why,
                only_advises=row.only_advises,
                note=row.note,
            )
        except ValueError as error:
            faults.add(at, str(error))
            continue
        if passes_nothing(limit):
            faults.add(
                at,
                f"with a width of {_width_words(row)} no reading could ever pass",
                "an end that leaves something inside it: a narrower width, or a wider limit",
            )
            continue
        limits[row.key] = limit
    faults.refuse(data, where)
    return limits


def _widths(row: LimitRow, source: Source, faults: Faults, at: Place) -> tuple[float, float]:
    """The width of the low and of the high end, in the row's unit; 0 where there is none."""
    if row.width is not None and (row.width_low is not None or row.width_high is not None):
        faults.add(
            (*at, "width"), "it stands beside width_low or width_high", "one width, or one for each end"
        )
    given = []
    for side, end in (("low", row.low), ("high", row.high)):
        own = row.width_low if side == "low" else row.width_high
        if own is not None and end is None:
            faults.add((*at, f"width_{side}"), f"the limit has no {side} end", f"{side}, or no width for it")
        width = row.width if own is None else own
        if width is not None and width < 0:
            faults.add(
                (*at, "width"), f"{width:g} is negative", "how far the limit can be off, to either side"
            )
        if end is not None:
            given.append(width)
    known = [width for width in given if width is not None]
    if known and len(known) < len(given):
        faults.add(at, "only one end has a width", "a width for the other end as well")
    if known and not row.why:
        faults.add(
            (*at, "why"),
            "the width has no reason",
            "how far sensible sources differ, or how well the figure is known",
        )
    if row.why and not known:
        faults.add(
            (*at, "why"), "there is no width that it could be the reason of", "width, in the limit's unit"
        )
    if not all(known) and not source.can_be_exact:
        faults.add(
            (*at, "width"),
            f"it is 0, and the source is {source.basis}, {source.status}",
            "how far the figure can be off; only what was read in a document can be exact",
        )
    return tuple((row.width if own is None else own) or 0.0 for own in (row.width_low, row.width_high))  # type: ignore[return-value]


def _end(kind: str, end: float, width: float, row: LimitRow) -> Value:
    at = units.to_coherent(end, row.unit)
    return known_to(exact(kind, at), abs(units.to_coherent(end + width, row.unit) - at), row.key)


def _width_words(row: LimitRow) -> str:
    if row.width is not None:
        return f"± {row.width:g} {row.unit}"
    return f"± {row.width_low or 0:g} and ± {row.width_high or 0:g} {row.unit}"
