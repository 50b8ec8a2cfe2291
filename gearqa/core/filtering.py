"""Gaussian regression filter as an operator, made once per sampling pattern.

The operator is banded. It is cut into blocks of rows; each block is a small dense matrix that
touches only the columns its band reaches, so that applying it is a handful of dense products.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

REACH: Final = 1.4
"""The kernel is kept to this many cutoffs either side; there it is below 1e-12 of its height."""
ROWS_PER_BLOCK: Final = 32
A_SQUARED: Final = math.log(2) / math.pi
"""Square of the kernel's width constant: half amplitude at the cutoff (ISO 16610-21)."""


@dataclass(frozen=True, eq=False, slots=True)
class Block:
    """Rows `first_row`.. of a banded operator over the columns from `first_column`, transposed."""

    first_row: int
    first_column: int
    matrix: Array
    """shape (columns, rows)"""


@dataclass(frozen=True, eq=False, slots=True)
class BandedOperator:
    """A linear map from sampled traces to filtered values at `size` of their samples."""

    blocks: tuple[Block, ...]
    size: int

    def apply(self, traces: Array, out: Array) -> None:
        """Filter `traces`, shape (traces, points), into `out`, shape (traces, size)."""
        for block in self.blocks:
            columns, rows = block.matrix.shape
            np.matmul(
                traces[:, block.first_column : block.first_column + columns],
                block.matrix,
                out=out[:, block.first_row : block.first_row + rows],
            )


def share_of_length(x: Array) -> Array:
    """Length that each point stands for: half the distance between its neighbours.

    Trapezoidal rule; at both ends half the one adjoining step.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions, rising. [mm]

    Returns
    -------
    ndarray, shape (n,)
        Shares; they add up to the length. [mm]

    Examples
    --------
    >>> share_of_length(np.array([0.0, 1.0, 3.0, 4.0])).tolist()
    [0.5, 1.5, 1.5, 0.5]
    """
    half_steps = np.diff(x) / 2
    return np.concatenate((half_steps, [0.0])) + np.concatenate(([0.0], half_steps))


def gaussian_operator(x: Array, cutoff: float, first: int = 0, last: int | None = None) -> BandedOperator:
    r"""Gaussian regression filter of first order for traces sampled at given positions.

    ISO 16610-21 (kernel, half amplitude at the cutoff) in the regression form of ISO 16610-28:
    at each point a straight line is fitted with the kernel times the share of length as weights,
    so that a straight line comes through unchanged up to the ends of the trace.

    .. math:: s(x) = \exp\left(-\pi\left(\frac{x}{a\lambda}\right)^2\right),\; a = \sqrt{\ln 2/\pi}

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions, rising. [mm]
    cutoff : float
        Cutoff wavelength. [mm]
    first : int
        First sample whose filtered value is wanted. [-]
    last : int, optional
        End (exclusive) of the wanted samples; default all. [-]

    Returns
    -------
    BandedOperator
        Apply it to traces of shape (traces, n). [-]

    Examples
    --------
    >>> x = np.linspace(0.0, 10.0, 201)
    >>> out = np.empty((1, 201))
    >>> gaussian_operator(x, cutoff=1.0).apply((3 * x + 1)[None], out)
    >>> bool(np.allclose(out[0], 3 * x + 1, rtol=0, atol=1e-12))
    True
    """
    last = len(x) if last is None else last
    share = share_of_length(x)
    starts = range(first, last, ROWS_PER_BLOCK)
    reach = REACH * cutoff
    window_start = np.searchsorted(x, x[list(starts)] - reach)
    window_end = np.searchsorted(x, x[[min(s + ROWS_PER_BLOCK, last) - 1 for s in starts]] + reach, "right")
    blocks = []
    for start, low, high in zip(starts, window_start.tolist(), window_end.tolist(), strict=True):
        centres = x[start : min(start + ROWS_PER_BLOCK, last)]
        matrix = _local_line_weights(x[low:high], share[low:high], centres, cutoff)
        blocks.append(Block(start - first, low, matrix))
    return BandedOperator(tuple(blocks), last - first)


def _local_line_weights(x: Array, share: Array, centres: Array, cutoff: float) -> Array:
    """Weights of the samples x in the value at each centre of the local straight line, (x, centres)."""
    distance = x[:, None] - centres
    weight = np.exp(distance**2 * (-math.pi / (A_SQUARED * cutoff**2))) * share[:, None]
    weight /= weight.sum(axis=0)
    mean = np.einsum("ij,ij->j", weight, distance)
    distance -= mean
    spread = np.einsum("ij,ij,ij->j", weight, distance, distance)
    # A point with no neighbour in reach keeps its own value: no line can be laid through it.
    alone = spread <= 1e-30 * cutoff**2
    slope = np.where(alone, 0.0, mean / np.where(alone, 1.0, spread))
    return np.asarray(weight * (1 - slope * distance))


def gaussian_filter(x: Array, y: Array, cutoff: float) -> Array:
    """Filter traces at all their samples.

    ISO 16610-21 and ISO 16610-28, see `gaussian_operator`.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Positions, rising. [mm]
    y : ndarray, shape (traces, n)
        Traces sampled at x. [um]
    cutoff : float
        Cutoff wavelength. [mm]

    Returns
    -------
    ndarray, shape (traces, n)
        Filtered traces. [um]

    Examples
    --------
    A wave of the cutoff wavelength keeps half its amplitude.

    >>> x = np.linspace(0.0, 20.0, 2001)
    >>> round(float(gaussian_filter(x, np.cos(2 * np.pi * x)[None], cutoff=1.0)[0, 1000]), 6)
    0.5
    """
    out = np.empty_like(y)
    gaussian_operator(x, cutoff).apply(y, out)
    return out
