"""Waves of the generating rotation on flanks: which order, how large, and whether it can be named.

Unfiltered traces of one flank, placed by the angle of their base tangents, are compared with waves of
every order (least squares; a spectrum needs an unbroken circle, which a few traces are not). Straight
line, crowning and S-shape of each trace are projected out of the traces and of the waves alike. A wave is
believed when it has the same amplitude and phase on all teeth; its order is named only when no other order
explains the traces as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, IntArray

DEGREE: Final = 3
"""Polynomial of each trace that belongs to other components."""
FEWEST_WAVES: Final = 1.5
"""Waves a trace needs, or the polynomial takes them up."""
POINTS_PER_WAVE: Final = 5
HIGHEST_ORDER: Final = 1000
MOST_TOOTH_NUMBERS: Final = 8
"""Orders up to so many times the number of teeth are looked at."""
FEWEST_TEETH: Final = 4
"""Teeth without which agreement between teeth is no evidence."""
FEWEST_TO_NAME: Final = 8
"""Teeth without which an order is not named: fewer leave orders that fit by chance."""
MOST_WAVES: Final = 4
"""Of teeth too few to name an order only one: a second would make up for the wrong order of the first."""
POINTS: Final = 16000
FEWEST_BINS, MOST_BINS = 96, 160
"""Samples are averaged so that all traces together have about so many, a trace between these."""
NEAR_CHANCE: Final = 1e-4
"""Chance at which an order that fits worse is ruled out."""
NOTHING_LEFT: Final = 1e-3
"""Share of an order that others must leave over, or it is one of them."""
WELL_APART: Final = 0.1
"""The same for waves that are fitted together: closer ones only make up for each other."""


@dataclass(frozen=True, eq=False, slots=True)
class RippleFound:
    """A wave: cos and sin amplitude of the order that fits best, and the orders that fit alike."""

    order: int
    cos: float
    sin: float
    se: float
    freedom: float
    p: float
    alike: tuple[int, ...]
    """Orders that explain the traces as well, the best among them; one alone is a name."""
    teeth: int
    waves: float
    """Waves along a trace."""

    @property
    def named(self) -> bool:
        """Whether the order can be told."""
        return len(self.alike) == 1 and self.teeth >= FEWEST_TO_NAME


@dataclass(frozen=True, eq=False)
class RippleBasis:
    """Waves of every order at the points of the traces, less what polynomials take up."""

    bins: tuple[int, ...]
    """Averaged samples of each trace."""
    traces: tuple[tuple[slice, Array], ...]
    """Place of each trace, and its polynomials, orthonormal."""
    orders: IntArray
    cos: Array
    sin: Array
    """[-], shape (points, orders)"""
    products: tuple[Array, Array, Array]
    """cos cos, cos sin, sin sin of each order."""
    span: float
    """Angle that a trace covers. [rad]"""

    def averaged(self, values: Sequence[Array]) -> Array:
        """Values of all traces, averaged and freed of their polynomials. shape (points,)"""
        y = np.concatenate([binned(one, n) for one, n in zip(values, self.bins, strict=True)])
        for where, Q in self.traces:
            y[where] -= Q @ (Q.T @ y[where])
        return y


def binned(values: Array, n: int) -> Array:
    """Means of n groups of neighbours, as equal as can be."""
    edges = np.linspace(0, len(values), n + 1).round().astype(int)
    return np.asarray(np.add.reduceat(values, edges[:-1]) / np.diff(edges))


def ripple_basis(angles: Sequence[Array], z: int) -> RippleBasis | None:
    """Waves for traces at these angles; None if there are too few or no order is within reach."""
    if len(angles) < FEWEST_TEETH:
        return None
    most = int(np.clip(POINTS // len(angles), FEWEST_BINS, MOST_BINS))
    bins = tuple(min(len(theta), most) for theta in angles)
    span = float(min(np.ptp(theta) for theta in angles))
    a_wave = 2 * math.pi / span
    lowest = math.ceil(FEWEST_WAVES * a_wave)
    highest = min(HIGHEST_ORDER, MOST_TOOTH_NUMBERS * z, int(min(bins) / POINTS_PER_WAVE * a_wave))
    if highest < lowest:
        return None
    orders = np.arange(lowest, highest + 1, dtype=np.int64)
    parts, traces, first = [], [], 0
    for theta, n in zip(angles, bins, strict=True):
        middle = binned(theta, n)
        Q = np.linalg.qr(np.polynomial.legendre.legvander(np.linspace(-1, 1, n), DEGREE))[0]
        lost = _averaging_loss(orders, float(np.ptp(theta)) / (len(theta) - 1), len(theta) / n)
        wave = np.exp(1j * np.outer(middle, orders)) * lost
        parts.append(wave - Q @ (Q.T @ wave))
        traces.append((slice(first, first + n), Q))
        first += n
    waves = np.concatenate(parts)
    cos, sin = waves.real.copy(), waves.imag.copy()
    products = tuple(np.einsum("ij,ij->j", a, b) for a, b in ((cos, cos), (cos, sin), (sin, sin)))
    return RippleBasis(bins, tuple(traces), orders, cos, sin, products, span)


def _averaging_loss(orders: IntArray, step: float, together: float) -> Array:
    """What the mean of so many samples leaves of a wave."""
    half = orders * step / 2
    return np.asarray(np.sin(together * half) / (together * np.sin(half)))


def find_ripple(basis: RippleBasis, deviations: Sequence[Array], risk: float, z: int) -> list[RippleFound]:
    """Waves on one flank, the strongest first.

    `risk` is the chance of naming one where there is none. The waves that take out most are gathered one
    after another, then those go on whose amplitude and phase teeth do not agree.
    """
    y = basis.averaged(deviations)
    taken: list[int] = []
    while len(taken) < (MOST_WAVES if len(basis.traces) >= FEWEST_TO_NAME else 1):
        energy = _energy(basis, y, taken, WELL_APART)
        energy[taken] = -1.0
        taken.append(int(np.argmax(energy)))
    while taken:
        fit = _fit(basis, y, taken)
        p = [_agreement(_of_each_trace(basis, fit, number)) for number in range(len(taken))]
        worst = int(np.argmax(p))
        if p[worst] <= risk / len(basis.orders):
            break
        del taken[worst]
    return [_described(basis, y, fit, number, p[number], z) for number in range(len(taken))]


@dataclass(frozen=True, eq=False, slots=True)
class _JointFit:
    """Least squares fit of some waves together."""

    taken: tuple[int, ...]
    columns: Array
    """All cosines, then all sines."""
    theta: Array
    rest: Array

    def cos_sin(self, number: int) -> tuple[float, float]:
        return float(self.theta[number]), float(self.theta[len(self.taken) + number])

    def with_rest(self, number: int) -> Array:
        """One of the waves and what the fit leaves."""
        own = [number, len(self.taken) + number]
        return np.asarray(self.rest + self.columns[:, own] @ self.theta[own])


def _fit(basis: RippleBasis, y: Array, taken: Sequence[int]) -> _JointFit:
    columns = np.concatenate([basis.cos[:, taken], basis.sin[:, taken]], axis=1)
    theta = np.linalg.lstsq(columns, y, rcond=None)[0]
    return _JointFit(tuple(taken), columns, theta, y - columns @ theta)


def _energy(basis: RippleBasis, y: Array, beside: Sequence[int], least: float = NOTHING_LEFT) -> Array:
    """Sum of squares that each order takes out beside some waves that are fitted with it; 0 where these leave
    less than a share of it. shape (orders,)"""
    Q = np.linalg.qr(np.concatenate([basis.cos[:, beside], basis.sin[:, beside]], axis=1))[0]
    y = y - Q @ (Q.T @ y)
    in_cos, in_sin = Q.T @ basis.cos, Q.T @ basis.sin
    cc, cs, ss = (
        whole - np.einsum("ij,ij->j", one, other)
        for whole, one, other in zip(
            basis.products, (in_cos, in_cos, in_sin), (in_cos, in_sin, in_sin), strict=True
        )
    )
    c, s = basis.cos.T @ y, basis.sin.T @ y
    area = cc * ss - cs * cs
    told = area > least**2 * basis.products[0] * basis.products[2]
    energy = np.zeros(len(basis.orders))
    np.divide(ss * c * c - 2 * cs * c * s + cc * s * s, area, out=energy, where=told)
    return energy


def _of_each_trace(basis: RippleBasis, fit: _JointFit, number: int) -> NDArray[np.complex128]:
    """Amplitude of a wave on each trace by itself, cosine and sine as real and imaginary part."""
    y, place = fit.with_rest(number), fit.taken[number]
    found = np.empty(len(basis.traces), dtype=np.complex128)
    for one, (where, _) in enumerate(basis.traces):
        columns = np.stack([basis.cos[where, place], basis.sin[where, place]], axis=1)
        cos, sin = np.linalg.lstsq(columns, y[where], rcond=None)[0]
        found[one] = complex(cos, sin)
    return found


def _agreement(each: NDArray[np.complex128]) -> float:
    """Chance that amplitudes and phases agree so well between teeth: F test of a mean vector."""
    from scipy import special

    n = len(each)
    F = n * abs(each.mean()) ** 2 / (2 * max(_scatter(each) ** 2, 1e-12))
    return float(special.fdtrc(2, 2 * (n - 1), F))


def _scatter(each: NDArray[np.complex128]) -> float:
    """Standard deviation of a part of the amplitude from tooth to tooth."""
    return math.sqrt(float(np.sum(np.abs(each - each.mean()) ** 2)) / (2 * (len(each) - 1)))


def _described(basis: RippleBasis, y: Array, fit: _JointFit, number: int, p: float, z: int) -> RippleFound:
    place = fit.taken[number]
    cos, sin = fit.cos_sin(number)
    each = _of_each_trace(basis, fit, number)
    return RippleFound(
        order=int(basis.orders[place]),
        cos=cos,
        sin=sin,
        se=_scatter(each) / math.sqrt(len(each)),
        freedom=2 * (len(each) - 1),
        p=p,
        alike=_alike(basis, y, fit, number, z),
        teeth=len(each),
        waves=float(basis.orders[place]) * basis.span / (2 * math.pi),
    )


def _alike(basis: RippleBasis, y: Array, fit: _JointFit, number: int, z: int) -> tuple[int, ...]:
    """Orders that, in place of a wave, leave no more than chance would: likelihood ratio, for noise that is
    not white."""
    from scipy import special

    place, rest = fit.taken[number], fit.rest
    energy = _energy(basis, y, [*fit.taken[:number], *fit.taken[number + 1 :]])
    lost = energy[place] - energy
    variance = float(rest @ rest) / max(1, len(rest) - 2 - (DEGREE + 1) * len(basis.traces))
    allowed = 2 * special.chdtri(2, NEAR_CHANCE) * variance * _correlation(basis, rest)
    near = np.flatnonzero(lost <= max(allowed, 1e-9))
    return tuple(int(basis.orders[i]) for i in sorted(near, key=lambda i: (lost[i], basis.orders[i] % z)))


def _correlation(basis: RippleBasis, rest: Array) -> float:
    """How many samples of what is left count as one."""
    total, lags = 1.0, min(60, min(where.stop - where.start for where, _ in basis.traces) // 4)
    square = float(rest @ rest)
    if square <= 0:
        return 1.0
    for lag in range(1, lags):
        product = sum(float(rest[w][lag:] @ rest[w][:-lag]) for w, _ in basis.traces)
        if product <= 0:
            break
        total += 2 * product / square
    return total
