"""The rise of a coil's current as a curve: where it begins, what it climbs to, and its least-squares fit.

i(t) = (V/R) (1 − exp(−R (t − t0)/L)) is fitted by its slope at the start, V/L, and the rate at which it
bends, R/L: the slope is known well from any ramp, the bend only from a long one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import attrs

ZERO = 0.05  # share of the peak below which the coil is not switched on yet; an estimate of ours
FLAT = 0.03  # share within which the end counts as held by a limit; an estimate of ours
HELD = 0.12  # share of the ramp that the flat end has to last; an estimate of ours
STEP = 4.0  # times the ordinary rise from sample to sample that is a jump; an estimate of ours
JUMPED = 0.15  # share of the peak that the jump has to reach; an estimate of ours
UPWARDS = 1.2  # times the slope before from which it bends upwards; source: saturation-knee
LEAST = 4  # samples for a fit: two figures and something to judge it by
ROUNDS = 60
#: Student's t for 95 % by degrees of freedom, ISO/IEC Guide 98-3, table G.2 (from memory); beyond, 2.
STUDENT = {
    1: 12.71,
    2: 4.30,
    3: 3.18,
    4: 2.78,
    5: 2.57,
    6: 2.45,
    7: 2.36,
    8: 2.31,
    9: 2.26,
    10: 2.23,
    15: 2.13,
}


@attrs.frozen(kw_only=True)
class Shape:
    """What a ramp looks like.

    Attributes:
        times, currents: Samples up to where it begins to hold, to bend upwards, or ends; times from the last
            sample before it rises.
        length: From switching on to the peak. peak: Highest current.
        limit: Current at which it is held, None where it still rises at its end.
        held_from: Time at which that begins.
        jump: Current with which it starts at once; 0 without a jump.
        bends_at: Current from which it climbs faster; None where it does not.
    """

    times: tuple[float, ...]
    currents: tuple[float, ...]
    length: float
    peak: float
    limit: float | None = None
    held_from: float = 0.0
    jump: float = 0.0
    bends_at: float | None = None


@attrs.frozen(kw_only=True)
class Fit:
    """Slope at the start in A/s and bend in 1/s, each with its standard uncertainty, and how far samples
    scatter about the curve in A; `factor` widens an uncertainty to 95 %.
    """

    slope: float
    slope_u: float
    bend: float
    bend_u: float
    together: float
    scatter: float
    factor: float

    def current(self, time: float) -> float:
        return _curve(self.slope, self.bend, time)

    def time_to(self, current: float) -> float | None:
        """Time to a current; None where the curve never gets there."""
        share = current * self.bend / self.slope
        if abs(share) < 1e-9:
            return current / self.slope
        return -math.log1p(-share) / self.bend if share < 1 else None


def shape_of(over: Sequence[float], samples: Sequence[float]) -> Shape | None:
    """The one ramp of a record; None where there is none: fewer than four samples while it rises."""
    peak = max(samples)
    if peak <= 0:
        return None
    top = max(n for n, one in enumerate(samples) if one >= (1 - FLAT) * peak)  # then it is switched off
    first = max((n for n in range(top) if samples[n] <= ZERO * peak), default=0)
    times, currents = [over[n] - over[first] for n in range(first, top + 1)], list(samples[first : top + 1])
    before = [(over[n] - over[first], samples[n]) for n in range(first)]
    length = times[-1]
    if len(times) < LEAST or length <= 0:
        return None
    held = next(
        (n for n in range(1, len(times)) if all(one >= (1 - FLAT) * peak for one in currents[n:])), len(times)
    )
    limit, held_from, end = None, 0.0, len(times)
    if len(times) - held >= 3 and length - times[held] >= HELD * length:
        limit, held_from = math.fsum(currents[held:]) / (len(times) - held), times[held]
        end = held + 1
    jump = _jump(times[:end], currents[:end], peak)
    before = [] if jump else before
    start = 1 if jump else 0
    bend = None if jump else _bend(times[:end], currents[:end])
    if bend is not None:
        end = bend + 1
    return Shape(
        times=(*(time for time, _ in before), *times[start:end]),
        currents=(*(one for _, one in before), *currents[start:end]),
        length=length,
        peak=peak,
        limit=limit,
        held_from=held_from,
        jump=jump,
        bends_at=currents[bend] if bend is not None else None,
    )


def _jump(times: Sequence[float], currents: Sequence[float], peak: float) -> float:
    """The current with which it starts at once, beside which the rest climbs slowly."""
    if len(times) < LEAST + 1:
        return 0.0
    slopes = [(currents[n + 1] - currents[n]) / (times[n + 1] - times[n]) for n in range(1, len(times) - 1)]
    usual = sorted(slopes)[len(slopes) // 2]
    begin = (currents[1] - currents[0]) / (times[1] - times[0])
    rose = currents[1] - currents[0] - usual * (times[1] - times[0])
    return currents[1] if begin > STEP * max(usual, 0.0) and rose > JUMPED * peak else 0.0


def _bend(times: Sequence[float], currents: Sequence[float]) -> int | None:
    """The sample from which it climbs faster than before; thirds are compared, so that noise is averaged."""
    count = len(times)
    if count < 2 * LEAST:
        return None
    part = count // 4
    slopes = [_line(times[n : n + part + 1], currents[n : n + part + 1]) for n in range(count - part)]
    flattest = min(range(len(slopes)), key=slopes.__getitem__)
    steepest = max(slopes[flattest:])
    if slopes[flattest] <= 0 or steepest < UPWARDS * slopes[flattest] or flattest == len(slopes) - 1:
        return None
    return flattest + part // 2


def _line(times: Sequence[float], currents: Sequence[float]) -> float:
    x, y = math.fsum(times) / len(times), math.fsum(currents) / len(currents)
    spread = math.fsum((time - x) ** 2 for time in times)
    return math.fsum((t - x) * (i - y) for t, i in zip(times, currents, strict=True)) / spread


def _curve(slope: float, bend: float, time: float) -> float:
    x = bend * time
    return slope * time * (1 - x / 2 + x * x / 6) if abs(x) < 1e-5 else -slope / bend * math.expm1(-x)


def fit_of(shape: Shape) -> Fit | None:
    """The curve of least squares; None where the samples are too few, or none of its kind goes through them.

    Where there are samples enough, the moment of switching on is a third figure of it, and the samples from
    there on are fitted once more: taking them by their height would favour those that noise lifted.
    """
    rising = [(time, one) for time, one in zip(shape.times, shape.currents, strict=True) if time >= 0]
    first = _best_fit(rising)
    if first is None or len(rising) <= LEAST + 1:
        return first[0] if first else None
    on = first[1]
    since = [(time, one) for time, one in zip(shape.times, shape.currents, strict=True) if time >= on]
    again = _best_fit(since) if len(since) > LEAST + 1 else None
    return (again or first)[0]


def _best_fit(points: Sequence[tuple[float, float]]) -> tuple[Fit, float] | None:
    """The fit, and when it was switched on."""
    count = len(points)
    if count < LEAST:
        return None
    times, currents = [time for time, _ in points], [one for _, one in points]
    free = 3 if count > LEAST + 1 else 2
    length = times[-1] - times[0]
    p = [max((currents[-1] - currents[0]) / length, 1e-9), 0.2 / length, times[0]][:free]

    def on(p: Sequence[float]) -> float:
        return p[2] if free == 3 else times[0]

    def residuals(p: Sequence[float]) -> list[float]:
        return [i - _curve(p[0], p[1], t - on(p)) for t, i in zip(times, currents, strict=True)]

    def gradients(p: Sequence[float]) -> list[list[float]]:
        rows, step = [], 1e-6 / length
        for time in times:
            since = time - on(p)
            across = (_curve(p[0], p[1] + step, since) - _curve(p[0], p[1] - step, since)) / (2 * step)
            rows.append([_curve(1.0, p[1], since), across, -p[0] * math.exp(-p[1] * since)][:free])
        return rows

    found = residuals(p)
    best, damp = math.fsum(one * one for one in found), 1e-3
    for _ in range(ROUNDS):
        normal, right = _normal(gradients(p), found)
        damped = [[one * (1 + damp * (a == b)) for b, one in enumerate(row)] for a, row in enumerate(normal)]
        move = _solution(damped, right)
        if move is None:
            return None
        tried = [one + by for one, by in zip(p, move, strict=True)]
        errors = _safe(residuals, tried)
        now = math.fsum(one * one for one in errors)
        if not math.isfinite(now) or now > best:
            damp *= 8
            if damp > 1e12:
                break
            continue
        settled = best - now <= 1e-12 * best
        p, found, best, damp = tried, errors, now, max(damp / 8, 1e-12)
        if settled:
            break
    normal, _ = _normal(gradients(p), found)
    columns = [_solution(normal, [float(a == b) for b in range(free)]) for a in range(2)]
    if columns[0] is None or columns[1] is None or p[0] <= 0:
        return None
    variance = best / max(count - free, 1)
    return Fit(
        slope=p[0],
        slope_u=math.sqrt(max(columns[0][0], 0.0) * variance),
        bend=p[1],
        bend_u=math.sqrt(max(columns[1][1], 0.0) * variance),
        together=columns[0][1] * variance,
        scatter=math.sqrt(variance),
        factor=_student(count - free),
    ), on(p)


def _safe(residuals: Callable[[Sequence[float]], list[float]], p: Sequence[float]) -> list[float]:
    try:
        return residuals(p)
    except OverflowError:
        return [math.inf]


def _normal(
    rows: Sequence[Sequence[float]], errors: Sequence[float]
) -> tuple[list[list[float]], list[float]]:
    size = range(len(rows[0]))
    normal = [[math.fsum(row[a] * row[b] for row in rows) for b in size] for a in size]
    return normal, [math.fsum(row[a] * e for row, e in zip(rows, errors, strict=True)) for a in size]


def _student(freedom: int) -> float:
    return STUDENT[max(known for known in STUDENT if known <= max(freedom, 1))] if freedom <= 15 else 2.0


def _solution(matrix: Sequence[Sequence[float]], right: Sequence[float]) -> list[float] | None:
    """Gauss with the largest pivot; None where the matrix holds too little."""
    rows = [[*row, one] for row, one in zip(matrix, right, strict=True)]
    size = len(rows)
    for at in range(size):
        pivot = max(range(at, size), key=lambda n: abs(rows[n][at]))
        if rows[pivot][at] == 0 or not math.isfinite(rows[pivot][at]):
            return None
        rows[at], rows[pivot] = rows[pivot], rows[at]
        for n in range(at + 1, size):
            share = rows[n][at] / rows[at][at]
            rows[n] = [one - share * above for one, above in zip(rows[n], rows[at], strict=True)]
    found = [0.0] * size
    for at in range(size - 1, -1, -1):
        known = math.fsum(rows[at][n] * found[n] for n in range(at + 1, size))
        found[at] = (rows[at][size] - known) / rows[at][at]
    return found
