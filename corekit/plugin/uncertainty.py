"""Where the uncertainty of a value comes from, in plain words."""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..model.value import Value
from .reading import Reading
from .record import Record

_OF_A_READING = {
    "gain": "the percentage in its instrument's accuracy",
    "rest": "the digits or the fixed amount in its instrument's accuracy",
    "step": "what the display rounds away",
    "typed": "how loosely it was typed",
    "scatter": "how far its samples scatter",
    "between": "what lay between two samples",
    "place": "how well the place of a sample is known",
    "began": "the step in which it began",
}


@attrs.frozen(kw_only=True)
class UncertaintyShare:
    """What one source of error adds.

    Attributes:
        source: Its name in the budget. words: The same for people.
        u: Its standard uncertainty, in the value's coherent unit.
        part: Its share of the whole uncertainty, 0 … 1; the shares of a budget add up to one, because squares
            do.
    """

    source: str
    words: str
    u: float
    part: float


def shares(
    value: Value, readings: Iterable[Reading], records: Iterable[Record] = ()
) -> list[UncertaintyShare]:
    """The budget of a value, largest share first, alike ones by their words.

    Args:
        readings: Those it may rest on, with what was read beside them; they give the sources their words, as
            do the `records`.
    """
    whole = value.u**2
    if whole == 0.0:
        return []
    own = _owners(readings, records)
    rows = [
        UncertaintyShare(source=source, words=_words(source, own), u=abs(part), part=part**2 / whole)
        for source, part in value.budget.items()
        if part
    ]
    return sorted(rows, key=lambda row: (-row.part, row.words, row.source))


def overdue(evidence: Iterable[str], readings: Iterable[Reading]) -> list[str]:
    """Instruments whose calibration had run out when what the evidence names was read, each once and in
    words.
    """
    named = set(evidence)
    taken = [
        one
        for latest in readings
        for reading in latest.with_series
        for one in (reading, *reading.setup.values())
    ]
    return list(dict.fromkeys(one.overdue for one in taken if one.overdue and one.entry in named))


def _owners(readings: Iterable[Reading], records: Iterable[Record]) -> dict[str, str]:
    """The beginning of a source's name → what it belongs to, in words: an entry's id, for what was read
    beside with its measurand.
    """
    found: dict[str, str] = {}
    for reading in (one for latest in readings for one in latest.with_series):
        for key, beside in reading.setup.items():
            found[f"{beside.entry}.{key}"] = _reading_words(beside)
        found[reading.entry] = _reading_words(reading)
    for record in records:
        place = f" ({record.place})" if record.place else ""
        found[record.entry] = f"{record.sampling.title}{place}"
    return found


def _reading_words(reading: Reading) -> str:
    place = f" ({reading.place})" if reading.place else ""
    return f"{reading.measurand.title}{place}, {reading.typed.strip()}"


def _words(source: str, own: dict[str, str]) -> str:
    owner, _, what = source.rpartition(".")
    for name in sorted(own, key=len, reverse=True):
        if source.startswith(f"{name}."):
            what = source.removeprefix(f"{name}.")
            return f"{own[name]}: {_OF_A_READING.get(what, what)}"
    if what == "gain":
        instrument, _, span = owner.rpartition("-")
        return f"{instrument} ({span}): the percentage in its accuracy, shared by all readings so taken"
    return f"of the calculation: {source}"
