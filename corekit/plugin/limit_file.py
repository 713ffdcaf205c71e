"""The limits of a system, as it writes them: limits.toml."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import attrs

from .. import units
from ..datafile import needed, read_toml, structured, table
from ..fault import Faults, Place, any_of, quoted
from ..model.limit import Limit
from ..model.source import Confidence, Source
from ..model.value import exact


@table
class LimitRow:
    key: str = needed("the name of the limit, system.name", default="")
    low: float | None = None
    high: float | None = None
    unit: str = needed("the unit of low and high", '"V"', default="")
    source: str = needed("a key of sources.toml", default="")
    confidence: Confidence = Confidence.HIGH
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
            got = f"there is no source {quoted(row.source)}"
            faults.add((*at, "source"), got, f"a key of sources.toml: {any_of(sources)}")
        if row.key and row.key in limits:
            faults.add((*at, "key"), f"there already is a limit {quoted(row.key)}", "each key once")
        if faults.below(at):
            continue
        try:
            kind = units.unit(row.unit).kind
        except units.UnitError as error:
            faults.add((*at, "unit"), str(error))
            continue
        low, high = (
            None if end is None else exact(kind, units.to_coherent(end, row.unit))
            for end in (row.low, row.high)
        )
        try:
            limits[row.key] = Limit(
                key=row.key,
                source=sources[row.source],
                low=low,
                high=high,
                confidence=row.confidence,
                note=row.note,
            )
        except ValueError as error:
            faults.add(at, str(error))
    faults.refuse(data, where)
    return limits
