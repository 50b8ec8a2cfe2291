"""Gaussian regression filter as an operator, made once per sampling pattern.

The operator is banded: each filtered value is a weighted sum over a window of samples. For many
traces the band is cut into blocks of rows; each block is a small dense matrix that touches only
the columns its windows reach, so that applying it is a handful of dense products.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from gearqa.arrays import Array
from gearqa.late_dataclass import dataclass

REACH: Final = 1.4
"""The kernel is kept to this many cutoffs either side; there it is below 1e-12 of its height."""
ROWS_PER_BLOCK: Final = 32
FEW_PRODUCTS: Final = 2**18
"""From this many products on dense blocks are faster."""
KERNEL_VALUES: Final = 2**20
"""Kernel values worked out at once; bounds memory for traces of very many points."""
A_SQUARED: Final = math.log(2) / math.pi
"""Square of the kernel's width constant: half amplitude at the cutoff (ISO 16610-21)."""


class Block(NamedTuple):
    """Some rows of a banded operator over the columns they touch, transposed."""

    rows: slice
    columns: slice
    matrix: Array
    """shape (columns, rows)"""


@dataclass(frozen=True, eq=False)
class BandedOperator:
    """A linear map from samples to filtered values, both along the last axis of traces."""

    first_column: NDArray[np.intp]
    """Column where the window of each row begins, shape (rows,)."""
    weights: Array
    """Weights of the samples in each window, shape (rows, window)."""

    @cached_property
    def blocks(self) -> tuple[Block, ...]:
        """The band as dense blocks."""
        count, window = self.weights.shape
        blocks = []
        for start in range(0, count, ROWS_PER_BLOCK):
            rows = slice(start, min(start + ROWS_PER_BLOCK, count))
            first = self.first_column[rows]
            columns = slice(int(first.min()), int(first.max()) + window)
            matrix = np.zeros((rows.stop - rows.start, columns.stop - columns.start))
            places = (first - columns.start)[:, None] + np.arange(window)
            np.put_along_axis(matrix, places, self.weights[rows], axis=1)
            blocks.append(Block(rows, columns, np.ascontiguousarray(matrix.T)))
        return tuple(blocks)

    def apply(self, traces: Array, out: Array) -> None:
        """Filter `traces`, shape (traces, points), into `out`, shape (traces, rows)."""
        if len(traces) * self.weights.size < FEW_PRODUCTS:
            windows = sliding_window_view(traces, self.weights.shape[1], axis=1)
            np.einsum("trw,rw->tr", windows[:, self.first_column], self.weights, out=out)
            return
        for block in self.blocks:
            np.matmul(traces[:, block.columns], block.matrix, out=out[:, block.rows])


def share_of_length(x: Array) -> Array:
    """Length that each point stands for: half the distance between its neighbours.

    Elementary (trapezoidal rule); at both ends half the one adjoining step.

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
    centres = x[first:last]
    reach = REACH * cutoff
    first_column = np.searchsorted(x, centres - reach)
    window = int((np.searchsorted(x, centres + reach, "right") - first_column).max())
    first_column = np.minimum(first_column, len(x) - window)
    windows = sliding_window_view(x, window)
    share = sliding_window_view(share_of_length(x), window)
    weights = np.empty((len(centres), window))
    rows_at_once = max(1, KERNEL_VALUES // window)
    for start in range(0, len(centres), rows_at_once):
        rows = slice(start, start + rows_at_once)
        distance = windows[first_column[rows]] - centres[rows, None]
        kernel = np.exp(distance**2 * (-math.pi / (A_SQUARED * cutoff**2)))
        weights[rows] = _local_line_weights(distance, kernel * share[first_column[rows]], cutoff)
    return BandedOperator(first_column, weights)


def _local_line_weights(distance: Array, weight: Array, cutoff: float) -> Array:
    """Weights of the samples in the value at distance 0 of the straight line fitted to each row."""
    weight /= weight.sum(axis=1)[:, None]
    mean = np.einsum("ij,ij->i", weight, distance)[:, None]
    distance = distance - mean
    spread = np.einsum("ij,ij,ij->i", weight, distance, distance)[:, None]
    # A point with no neighbour in reach keeps its own value: no line can be laid through it.
    alone = spread <= 1e-30 * cutoff**2
    slope = np.where(alone, 0.0, mean / np.where(alone, 1.0, spread))
    return np.asarray(weight * (1 - slope * distance))
