"""Evaluation of one trace in plain loops, written from the definitions, sharing nothing with gearqa.

Slow and simple on purpose: it is what the vectorised evaluation is compared with.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field


@dataclass
class Case:
    """Range from `start` (root or datum side) to `end`; reliefs as (amount, from, to)."""

    start: float
    end: float
    full_start: float
    full_end: float
    zone_end: float | None = None
    cutoff: float | None = None
    crowning: float = 0.0
    slope: float = 0.0
    reliefs: list[tuple[float, float, float]] = field(default_factory=list)


def filtered(x: list[float], y: list[float], cutoff: float | None) -> list[float]:
    if cutoff is None:
        return list(y)
    a = math.sqrt(math.log(2) / math.pi)
    out = []
    for xi in x:
        rows = []
        for j, xj in enumerate(x):
            before = x[j - 1] if j > 0 else xj
            after = x[j + 1] if j + 1 < len(x) else xj
            weight = math.exp(-math.pi * ((xj - xi) / (a * cutoff)) ** 2) * (after - before) / 2
            rows.append((weight, xj - xi, y[j]))
        total = sum(w for w, _, _ in rows)
        d_mean = sum(w * d for w, d, _ in rows) / total
        y_mean = sum(w * v for w, _, v in rows) / total
        rise = sum(w * (d - d_mean) * (v - y_mean) for w, d, v in rows)
        rise /= sum(w * (d - d_mean) ** 2 for w, d, _ in rows)
        out.append(y_mean - rise * d_mean)
    return out


def design(case: Case, position: float) -> float:
    t = fraction(case, position)
    value = -case.crowning * (2 * t) ** 2 + case.slope * t
    for amount, begin, stop in case.reliefs:
        part = (position - begin) / (stop - begin)
        if part > 0:
            value -= amount * part
    return value


def fraction(case: Case, position: float) -> float:
    return (position - case.start) / (case.end - case.start) - 0.5


def interpolated(x: list[float], f: list[float], at: float) -> float:
    for j in range(len(x) - 1):
        if x[j] <= at <= x[j + 1]:
            return f[j] + (f[j + 1] - f[j]) * (at - x[j]) / (x[j + 1] - x[j])
    raise ValueError("outside the samples")


def points_between(
    case: Case, x: list[float], f: list[float], a: float, b: float
) -> list[tuple[float, float]]:
    """(t, u) of the samples between two positions and of both ends, ends cut to the samples."""
    low, high = max(min(a, b), x[0]), min(max(a, b), x[-1])
    if high <= low:
        return []
    positions = [low, *(v for v in x if low < v < high), high]
    return [(fraction(case, p), interpolated(x, f, p) - design(case, p)) for p in positions]


def solve(matrix: list[list[float]], right: list[float]) -> list[float]:
    """Gaussian elimination with pivoting."""
    n = len(right)
    rows = [[*matrix[i], right[i]] for i in range(n)]
    for i in range(n):
        pivot = max(range(i, n), key=lambda k: abs(rows[k][i]))
        rows[i], rows[pivot] = rows[pivot], rows[i]
        for k in range(i + 1, n):
            factor = rows[k][i] / rows[i][i]
            rows[k] = [v - factor * w for v, w in zip(rows[k], rows[i], strict=True)]
    out = [0.0] * n
    for i in reversed(range(n)):
        out[i] = (rows[i][n] - sum(rows[i][k] * out[k] for k in range(i + 1, n))) / rows[i][i]
    return out


def polynomial(points: list[tuple[float, float]], degree: int) -> list[float]:
    """Least squares polynomial, weighted by share of length."""
    ordered = sorted(points)
    weights = []
    for i, (t, _) in enumerate(ordered):
        before = ordered[i - 1][0] if i > 0 else t
        after = ordered[i + 1][0] if i + 1 < len(ordered) else t
        weights.append((after - before) / 2)
    size = range(degree + 1)
    matrix = [
        [sum(w * t ** (i + k) for w, (t, _) in zip(weights, ordered, strict=True)) for k in size]
        for i in size
    ]
    right = [sum(w * u * t**i for w, (t, u) in zip(weights, ordered, strict=True)) for i in size]
    return solve(matrix, right)


def evaluate(case: Case, x: list[float], y: list[float]) -> dict[str, float]:
    f = filtered(x, y, case.cutoff)
    points = points_between(case, x, f, case.start, case.end)
    zone = [] if case.zone_end is None else points_between(case, x, f, case.end, case.zone_end)
    u = [v for _, v in points]
    level, rise = polynomial(points, 1)
    parabola = polynomial(points, 2)
    bowed = [v - sum(c * t**i for i, c in enumerate(parabola)) for t, v in points]
    residual = [v - level - rise * t for t, v in points]
    zone_residual = [v - level - rise * t for t, v in zone]
    return {
        "total": max(u + [v for _, v in zone]) - min(u),
        "form": max(residual + zone_residual) - min(residual),
        "slope": rise,
        "slope_full": rise * (fraction(case, case.full_end) - fraction(case, case.full_start)),
        "crowning": case.crowning - parabola[2] / 4,
        "parabola_form": max(bowed) - min(bowed),
        "parabola_slope": parabola[1],
        "level": level,
        "tip_zone_counted": any(v > max(u) for _, v in zone) or any(v > max(residual) for v in zone_residual),
    }
