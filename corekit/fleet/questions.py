"""The questions over all jobs, each one ibis expression over the published tables: the same on DuckDB, on
PostgreSQL and on Spark.

Each row has a count and a 95 % interval, and none speaks of fewer than five vehicles.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeAlias

import attrs
import ibis
from ibis.expr.types import Table

from .intervals import Z, bits, wilson

#: Nothing is shown of fewer vehicles than these.
LEAST_VEHICLES = 5
#: How long a repair held is told at these days.
HELD_AFTER = (30, 90, 365)

Tables: TypeAlias = Mapping[str, Table]


@attrs.frozen(kw_only=True)
class Question:
    """One question.

    Attributes:
        key: What it is asked by. asks: In words. columns: Of the answer, each with what it means.
        names: The columns that tell one row from another, in which rows are put in order.
        figure: The columns of the value and the ends of its interval that a figure draws, and their unit.
        answer: Gives the expression.
    """

    key: str
    asks: str
    columns: Mapping[str, str]
    names: tuple[str, ...]
    figure: tuple[str, str, str]
    unit: str
    answer: Callable[[Tables], Table]

    def expression(self, tables: Tables) -> Table:
        """The rows of the answer, in no order; none of too few vehicles may be shown."""
        return self.answer(tables).select(*dict.fromkeys(("vehicles", *self.columns)))


def _causes(tables: Tables, *by: str) -> Table:
    told, found = tables["complaints"], tables["causes"]
    both = told.join(found, "job").select("job", "vehicle", "symptom", *by, weight=told.share * found.share)
    rows = both.group_by("symptom", *by).aggregate(jobs=both.weight.sum(), vehicles=both.vehicle.nunique())
    whole = both.group_by("symptom").aggregate(of=both.weight.sum())
    rows = rows.join(whole, "symptom")
    low, high = wilson(rows.jobs, rows["of"])
    return rows.mutate(share=rows.jobs / rows["of"], low=low, high=high)


def _work_causes(tables: Tables) -> Table:
    return _causes(tables, "operation")


def _fault_causes(tables: Tables) -> Table:
    found = tables["causes"]
    return _causes({**tables, "causes": found.filter(found.fault.notnull())}, "fault")


def _first_tests(tables: Tables) -> Table:
    """Of every retested job what each test showed first, before the work that ended the complaint, with the
    symptom and that work, each row weighted.
    """
    shown, found, told = tables["tests"], tables["causes"], tables["complaints"]
    first = shown.group_by("job", "test").aggregate(first=shown.stage.min())
    shown = shown.join(first, ["job", "test"])
    shown = shown.filter(shown.stage == shown.first)
    rows = shown.join(found.select("job", "operation", part_of=found.share, done=found.stage), "job")
    rows = rows.filter(rows.stage < rows.done)
    rows = rows.join(told.select("job", "symptom", told_of=told.share), "job")
    return rows.select(
        "job",
        "vehicle",
        "test",
        "symptom",
        "operation",
        "outcome",
        "minutes",
        weight=rows.weight * rows.part_of * rows.told_of,
    )


def _tests(tables: Tables) -> Table:
    """Mutual information between a test's outcome and the work that ended the complaint, given the symptom:
    of counts, less the bias of small counts (G. A. Miller 1955, from memory).
    """
    rows = _first_tests(tables)
    cell = ["test", "symptom", "outcome", "operation"]
    counts = rows.group_by(cell).aggregate(n=rows.weight.sum())
    by_outcome = rows.group_by(cell[:3]).aggregate(n_outcome=rows.weight.sum())
    by_work = rows.group_by(["test", "symptom", "operation"]).aggregate(n_work=rows.weight.sum())
    by_symptom = rows.group_by(["test", "symptom"]).aggregate(
        n_symptom=rows.weight.sum(),
        free=(rows.outcome.nunique() - 1) * (rows.operation.nunique() - 1),
    )
    whole = rows.group_by("test").aggregate(
        jobs=rows.weight.sum(), vehicles=rows.vehicle.nunique(), minutes=rows.minutes.mean()
    )
    free = by_symptom.group_by("test").aggregate(free=by_symptom.free.sum())
    counts = (
        counts.join(by_outcome, cell[:3])
        .join(by_work, ["test", "symptom", "operation"])
        .join(by_symptom.drop("free"), ["test", "symptom"])
        .join(whole.select("test", "jobs"), "test")
    )
    gain = bits(counts.n * counts.n_symptom / (counts.n_outcome * counts.n_work))
    counts = counts.mutate(part=counts.n / counts.jobs * gain, square=counts.n / counts.jobs * gain * gain)
    sums = counts.group_by("test").aggregate(plain=counts.part.sum(), squares=counts.square.sum())
    found = sums.join(whole, "test").join(free, "test")
    bias = found.free / (2 * found.jobs * 0.6931471805599453)
    told = ibis.greatest(found.plain - bias, 0.0)
    spread = ibis.greatest(found.squares - found.plain * found.plain, 0.0) / found.jobs
    half = Z * (spread + bias * bias).sqrt()
    found = found.mutate(bits=told, low=ibis.greatest(told - half, 0.0), high=told + half)
    return found.mutate(per_minute=found.bits / ibis.greatest(found.minutes, 0.5))


def _comebacks(tables: Tables) -> Table:
    done = tables["repairs"]
    back = done.came_back != ""
    rows = done.group_by("operation", "part").aggregate(
        repairs=done.count(),
        vehicles=done.vehicle.nunique(),
        same_work=(done.came_back == "same work").sum().cast("int64"),
        same_complaint=(done.came_back == "same complaint").sum().cast("int64"),
        guarantee=(done.came_back == "guarantee").sum().cast("int64"),
        back=back.sum().cast("float64"),
    )
    low, high = wilson(rows.back, rows.repairs)
    return rows.mutate(share=rows.back / rows.repairs, low=low, high=high)


def _held(tables: Tables) -> Table:
    """The share of repairs that held so long, by the product-limit estimate (E. L. Kaplan and P. Meier 1958,
    from memory): who was not watched so long counts until then. Its interval is that of a share of as many
    as its variance (M. Greenwood 1926, from memory) stands for.
    """
    done = tables["repairs"]
    back = (done.came_back != "").ifelse(1, 0)
    days = done.group_by("operation", "days").aggregate(
        left=done.count().cast("float64"), back=back.sum().cast("float64")
    )
    onwards = ibis.window(group_by="operation", order_by=ibis.desc("days"), preceding=None, following=0)
    days = days.mutate(at_risk=days.left.sum().over(onwards))
    whole = done.group_by("operation").aggregate(repairs=done.count(), vehicles=done.vehicle.nunique())
    found = []
    for mark in HELD_AFTER:
        gone = days.filter((days.days <= mark) & (days.back > 0))
        some = gone.group_by("operation").aggregate(
            # None at all are left: the share is zero, and its logarithm is none.
            held_log=(1 - gone.back / ibis.greatest(gone.at_risk, gone.back + 1e-9)).ln().sum(),
            spread=(gone.back / (gone.at_risk * ibis.greatest(gone.at_risk - gone.back, 1.0))).sum(),
        )
        watched = done.group_by("operation").aggregate(watched=(done.days >= mark).sum().cast("int64"))
        rows = whole.join(watched, "operation").left_join(some, "operation", rname="{name}_")
        held = rows.held_log.fill_null(0.0).exp()
        spread = rows.spread.fill_null(0.0)
        # As many repairs watched to the end would tell as much; with no comeback those that were.
        telling = (spread > 0).ifelse(
            (1 - held) / (ibis.greatest(held, 1e-9) * ibis.greatest(spread, 1e-9)),
            rows.watched.cast("float64"),
        )
        telling = ibis.greatest(telling, 1e-9)
        low, high = wilson(held * telling, telling)
        found.append(
            rows.select(
                "operation",
                "repairs",
                "vehicles",
                "watched",
                days=ibis.literal(mark, "int64"),
                held=held,
                low=low,
                high=high,
            )
        )
    return ibis.union(*found)


def _prices(tables: Tables) -> Table:
    lines = tables["prices"]
    lines = lines.filter(lines.operation.notnull() & (lines.estimated > 0))
    lines = lines.mutate(off=(lines.invoiced - lines.estimated).cast("float64"))
    rows = lines.group_by("operation", "currency").aggregate(
        jobs=lines.job.nunique(),
        vehicles=lines.vehicle.nunique(),
        estimated=lines.estimated.cast("float64").mean(),
        invoiced=lines.invoiced.cast("float64").mean(),
        above=(lines.invoiced > lines.estimated).sum().cast("int64"),
        off=lines.off.mean(),
        squares=(lines.off * lines.off).mean(),
    )
    spread = ibis.greatest(rows.squares - rows.off * rows.off, 0.0)
    half = Z * (spread / ibis.greatest(rows.jobs - 1, 1)).sqrt()
    return rows.mutate(low=rows.off - half, high=rows.off + half)


def _readings(tables: Tables) -> Table:
    """The middle of the readings of sound vehicles, the last of each, with the span that holds 95 in 100 of
    them; the middle's interval by ranks, whatever the distribution (M. J. Campbell and M. J. Gardner
    1988, from memory).
    """
    read = tables["readings"]
    read = read.filter(read.sound).mutate(where=read.place.fill_null(""))
    latest = ibis.window(
        group_by=["vehicle", "measurand", "where"], order_by=[ibis.desc("job"), ibis.desc("stage")]
    )
    read = read.mutate(back=ibis.row_number().over(latest))
    read = read.filter(read.back == 0)
    of_thing = ibis.window(group_by=["measurand", "where"])
    ranked = read.mutate(
        rank=ibis.row_number().over(ibis.window(group_by=["measurand", "where"], order_by=["number", "job"]))
        + 1,
        n=read.count().over(of_thing).cast("float64"),
    )
    n = ranked.n

    def at(rank: ibis.expr.types.NumericValue) -> ibis.expr.types.NumericValue:
        """The reading of this rank, and of the last where it lies beyond."""
        wanted = ibis.greatest(ibis.least(rank, n), 1.0)
        return (ranked["rank"] == wanted.cast("int64")).ifelse(ranked.number, ibis.null("float64")).max()

    half = Z * n.sqrt() / 2
    return ranked.group_by("measurand", "where").aggregate(
        vehicles=ranked.vehicle.nunique(),
        low_end=at((0.025 * n + 0.5).floor()),
        median=at((n / 2 + 0.5).floor()),
        high_end=at((0.975 * n + 0.5).ceil()),
        low=at((n / 2 - half + 0.5).floor()),
        high=at((n / 2 + half + 1.5).floor()),
    )


_N = {"vehicles": "vehicles it is of"}
_ENDS = {"low": "95 % interval from", "high": "to"}

QUESTIONS: Mapping[str, Question] = {
    one.key: one
    for one in (
        Question(
            key="causes",
            asks="Which work ended which complaint, where the complaint was looked at again?",
            columns={
                "symptom": "complaint",
                "operation": "work",
                "jobs": "jobs",
                **_N,
                "share": "share of that complaint's",
                **_ENDS,
            },
            names=("symptom", "operation"),
            figure=("share", "low", "high"),
            unit="",
            answer=_work_causes,
        ),
        Question(
            key="faults",
            asks="Which fault stood behind which complaint, where one stood out before the work?",
            columns={
                "symptom": "complaint",
                "fault": "fault",
                "jobs": "jobs",
                **_N,
                "share": "share of that complaint's",
                **_ENDS,
            },
            names=("symptom", "fault"),
            figure=("share", "low", "high"),
            unit="",
            answer=_fault_causes,
        ),
        Question(
            key="tests",
            asks="What was each test worth: bits about the work that ended it, beyond the complaint?",
            columns={
                "test": "test",
                "jobs": "jobs",
                **_N,
                "bits": "bits",
                **_ENDS,
                "minutes": "hands-on minutes",
                "per_minute": "bits a minute",
            },
            names=("test",),
            figure=("bits", "low", "high"),
            unit="bit",
            answer=_tests,
        ),
        Question(
            key="held",
            asks="How long did repairs hold?",
            columns={
                "operation": "work",
                "days": "days",
                "repairs": "repairs",
                **_N,
                "watched": "watched so long",
                "held": "share that held",
                **_ENDS,
            },
            names=("operation", "days"),
            figure=("held", "low", "high"),
            unit="",
            answer=_held,
        ),
        Question(
            key="comebacks",
            asks="What came back, by work and part?",
            columns={
                "operation": "work",
                "part": "part",
                "repairs": "repairs",
                **_N,
                "same_work": "same work again",
                "same_complaint": "same complaint again",
                "guarantee": "on guarantee",
                "share": "share that came back",
                **_ENDS,
            },
            names=("operation", "part"),
            figure=("share", "low", "high"),
            unit="",
            answer=_comebacks,
        ),
        Question(
            key="prices",
            asks="What did invoices come to beside their estimates, net, in the currency's smallest unit?",
            columns={
                "operation": "work",
                "currency": "currency",
                "jobs": "jobs",
                **_N,
                "estimated": "estimated",
                "invoiced": "invoiced",
                "off": "above it",
                **_ENDS,
                "above": "jobs above it",
            },
            names=("operation", "currency"),
            figure=("off", "low", "high"),
            unit="",
            answer=_prices,
        ),
        Question(
            key="readings",
            asks="Where do readings of sound vehicles really lie, in the coherent unit?",
            columns={
                "measurand": "reading",
                "where": "place",
                **_N,
                "low_end": "95 in 100 from",
                "high_end": "to",
                "median": "half lie below",
                **_ENDS,
            },
            names=("measurand", "where"),
            figure=("median", "low_end", "high_end"),
            unit="",
            answer=_readings,
        ),
    )
}
