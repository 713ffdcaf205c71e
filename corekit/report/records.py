"""Records as a paper, a page or a terminal shows them: one line and one picture each."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from .. import units
from ..model.figure import Figure, Mark
from ..model.job import Job, stage_name
from ..model.sampling import Sampling
from ..plugin.chart import Chart
from ..plugin.record import Record, record_words, records_at, time_unit

TYPE_CHECKING = False  # a command that prints no paper loads none of its blocks
if TYPE_CHECKING:
    from ..model.document import Picture

#: Columns in which a long record is drawn: more could not be told apart on paper.
COLUMNS = 150
_TICKS = 6
_NO_ROOM = 1e-12


def record_lines(job: Job, samplings: Mapping[str, Sampling]) -> list[tuple[str, str]]:
    """What was recorded, and how it went, in one line each."""
    return [(_title(record, job), record_words(record)) for record in records_of(job, samplings)]


def record_pictures(job: Job, samplings: Mapping[str, Sampling]) -> list[Picture]:
    """The picture of every record, with its line below it; before and after stand together."""
    from ..model.document import Picture

    records = records_of(job, samplings)
    order = list(dict.fromkeys((record.sampling.key, record.place) for record in records))
    records.sort(key=lambda record: (order.index((record.sampling.key, record.place)), record.stage))
    return [Picture(figure=record_figure(record, _title(record, job))) for record in records]


def records_of(job: Job, samplings: Mapping[str, Sampling]) -> list[Record]:
    """Every record that stands, stage by stage."""
    return [record for stage in job.stages for record in records_at(job, stage, samplings).values()]


def _title(record: Record, job: Job) -> str:
    title = record.sampling.title + (f", {record.place}" if record.place else "")
    return f"{title} ({stage_name(record.stage)})" if job.stage else title


def record_figure(record: Record, title: str) -> Figure:
    """The samples as a line over their scale, and dashed what they settled to."""
    sampling = record.sampling
    over_unit, unit = units.shown_unit(sampling.over_unit), units.shown_unit(sampling.unit)
    if sampling.over_kind == "time":
        over_unit = time_unit(max(abs(record.start), abs(record.end)))
    points = [
        (units.from_coherent(place, over_unit), units.from_coherent(sample, unit))
        for place, sample in thinned(record.over, record.samples)
    ]
    xs, ys = zip(*points, strict=True)
    x_ticks, y_ticks = ticks(min(xs), max(xs)), ticks(min(ys), max(ys))
    ends = (min(xs), max(xs)) if min(xs) < max(xs) else (x_ticks[0], x_ticks[-1])
    chart = Chart(x=ends, y=(y_ticks[0], y_ticks[-1]))
    marks: list[Mark] = [
        *chart.scales(
            [tick for tick in x_ticks if ends[0] <= tick <= ends[1]],
            y_ticks,
            f"{sampling.over_title.lower()}, {units.declared_text(over_unit)}",
            f"{sampling.of.title.lower()}, {units.declared_text(unit)}",
        ),
        chart.line(points),
    ]
    settled = record.settled
    if settled is not None:
        level = units.from_coherent(settled.value.number, unit)
        since = units.from_coherent(max(settled.since.number, record.start), over_unit)
        marks.append(chart.line([(since, level), (ends[1], level)], 1.6, dashed=True))
    return chart.figure(marks, title, record_words(record))


def thinned(
    over: Sequence[float], samples: Sequence[float], columns: int = COLUMNS
) -> list[tuple[float, float]]:
    """The samples that a picture needs: of each column of it the first, the lowest, the highest and the last,
    so that no peak is lost.
    """
    if len(over) <= 4 * columns:
        return list(zip(over, samples, strict=True))
    width = (over[-1] - over[0]) / columns
    kept: list[int] = []
    column: list[int] = []
    at = 0
    for n, place in enumerate(over):
        here = min(columns - 1, int((place - over[0]) / width))
        if here != at:
            kept += _telling_samples(column, samples)
            column, at = [], here
        column.append(n)
    kept += _telling_samples(column, samples)
    return [(over[n], samples[n]) for n in kept]


def _telling_samples(column: Sequence[int], samples: Sequence[float]) -> list[int]:
    if not column:
        return []
    ends = (column[0], min(column, key=samples.__getitem__), max(column, key=samples.__getitem__), column[-1])
    return sorted(set(ends))


def ticks(low: float, high: float) -> list[float]:
    """Round numbers from at most `low` to at least `high`, as people read them on a scale.

    >>> ticks(0.0, 47.0)
    [0.0, 10.0, 20.0, 30.0, 40.0, 50.0]
    """
    size, room = max(abs(low), abs(high)), high - low
    if room <= _NO_ROOM * max(size, 1.0):  # all alike, as far as anybody can tell
        room = size if size > _NO_ROOM else 1.0
    power = 10.0 ** math.floor(math.log10(room / _TICKS))
    step = next(power * factor for factor in (1, 2, 5, 10) if room / (power * factor) <= _TICKS)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    if first == last:
        last += 1
    return [float(f"{n * step:.12g}") for n in range(first, last + 1)]
