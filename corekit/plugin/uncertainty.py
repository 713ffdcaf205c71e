"""Where the uncertainty of a value comes from, in plain words."""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..model.value import Value
from .reading import Reading

_OF_A_READING = {
    "gain": "the percentage in its instrument's accuracy",
    "rest": "the digits or the fixed amount in its instrument's accuracy",
    "step": "what the display rounds away",
    "typed": "how loosely it was typed",
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


def shares(value: Value, readings: Iterable[Reading]) -> list[UncertaintyShare]:
    """The budget of a value, largest share first.

    Args:
        readings: Those it may rest on, with what was read beside them; they give the sources their words.
    """
    whole = value.u**2
    if whole == 0.0:
        return []
    own = _owners(readings)
    rows = [
        UncertaintyShare(source=source, words=_words(source, own), u=abs(part), part=part**2 / whole)
        for source, part in value.budget.items()
        if part
    ]
    return sorted(rows, key=lambda row: (-row.part, row.source))


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


def _owners(readings: Iterable[Reading]) -> dict[str, Reading]:
    """The beginning of a source's name → the reading it belongs to: an entry's id, for what was read beside
    with its measurand.
    """
    found: dict[str, Reading] = {}
    for reading in (one for latest in readings for one in latest.with_series):
        for key, beside in reading.setup.items():
            found[f"{beside.entry}.{key}"] = beside
        found[reading.entry] = reading
    return found


def _words(source: str, own: dict[str, Reading]) -> str:
    owner, _, what = source.rpartition(".")
    for name in sorted(own, key=len, reverse=True):
        if source.startswith(f"{name}."):
            what = source.removeprefix(f"{name}.")
            place = f" ({own[name].place})" if own[name].place else ""
            return (
                f"{own[name].measurand.title}{place}, {own[name].typed.strip()}:"
                f" {_OF_A_READING.get(what, what)}"
            )
    if what == "gain":
        instrument, _, span = owner.rpartition("-")
        return f"{instrument} ({span}): the percentage in its accuracy, shared by all readings so taken"
    return f"of the calculation: {source}"
