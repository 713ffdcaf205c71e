"""Retested visits, as the tables tell of them: the complaint, what was shown before the work, and the work
after which the complaint was gone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import attrs

from ..plugin.faults import FaultTable

if TYPE_CHECKING:
    from .questions import Tables


@attrs.frozen(kw_only=True)
class Visit:
    """One of them.

    Attributes:
        told, works: Symptom, and operation, each with its share. fitted: Trait → answer, in order.
        shown: (system, test, the weight of each outcome), of what was shown first and before the work.
    """

    job: str
    vehicle: str
    told: tuple[tuple[str, float], ...]
    works: tuple[tuple[str, float], ...]
    shown: tuple[tuple[str, str, tuple[float, ...]], ...] = ()
    fitted: tuple[tuple[str, str], ...] = ()


def retested_visits(tables: Tables, faults: Mapping[str, FaultTable]) -> list[Visit]:
    """Every job whose complaint was gone after work, looked at again; in the order of their ids. What shows
    now and then only is left out: that it is gone says little.
    """
    causes, told = tables["causes"], tables["complaints"]
    causes = causes.filter(causes.shown_by == "complaint")
    works, symptoms = _by_job(_rows(causes)), _by_job(_rows(told.filter(told.shows >= 1.0)))
    shown = tables["tests"]
    first = shown.group_by("job", "test").aggregate(first=shown.stage.min())
    shown = shown.join(first, ["job", "test"])
    done = causes.group_by("job").aggregate(done=causes.stage.min())
    shown = shown.join(done, "job")
    shown = shown.filter((shown.stage == shown.first) & (shown.stage < shown.done))
    tests = _by_job(_rows(shown.select("job", "system", "test", "outcome", "weight")))
    fitted = _by_job(_rows(tables["fitted"]))
    return [
        Visit(
            job=job,
            vehicle=rows[0]["vehicle"],
            told=tuple(sorted((row["symptom"], row["share"]) for row in symptoms[job])),
            works=tuple(sorted((row["operation"], row["share"]) for row in rows)),
            shown=tuple(sorted(_shown(tests.get(job, ()), faults))),
            fitted=tuple(sorted((row["trait"], row["answer"]) for row in fitted.get(job, ()))),
        )
        for job, rows in sorted(works.items())
        if job in symptoms
    ]


def _rows(table: Any) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = table.to_pyarrow().to_pylist()
    return rows


def _by_job(rows: Iterable[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    found: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        found.setdefault(row["job"], []).append(row)
    return found


def _shown(
    rows: Iterable[Mapping[str, Any]], faults: Mapping[str, FaultTable]
) -> Iterable[tuple[str, str, tuple[float, ...]]]:
    """What the tests showed whose outcomes today's tables still have."""
    found: dict[tuple[str, str], dict[str, float]] = {}
    for row in rows:
        found.setdefault((row["system"], row["test"]), {})[row["outcome"]] = row["weight"]
    for (system, full), weights in found.items():
        table = faults.get(system)
        test = table.tests.get(full.partition(".")[2]) if table is not None else None
        if test is not None and weights.keys() <= set(test.outcomes):
            yield system, test.key, tuple(weights.get(outcome, 0.0) for outcome in test.outcomes)
