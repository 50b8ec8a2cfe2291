"""How well predicted values agree with reported ones, scatter and constant biases allowed for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array

BIASES: Final = ((0.35, 0.0, 0.0), (0.25, 0.5, 0.0), (0.2, 1.5, 0.0), (0.2, 1.5, 0.5))
"""How often a parameter of two instruments has no bias, a small or a large one, one that differs by flank:
share, standard deviation of the bias and of what a flank adds (common practice, no source). [-], [um]"""
SCATTERS_UM: Final = 0.01 * 1.5 ** np.arange(17)
"""Scatters considered; below the first two programs evaluate the same points differently. [um]"""
UNLIKE: Final = 0.6
"""Standard deviation of the logarithm of a parameter's scatter about the common one."""


@dataclass(frozen=True, eq=False, slots=True)
class Scatter:
    """What differences of two sides look like: scatter and bias by parameter, bias by flank."""

    cell: NDArray[np.intp]
    """Cell (parameter and flank) of every value, shape (n,)."""
    owners: NDArray[np.intp]
    """Parameter of every cell, shape (cells,)."""

    @classmethod
    def of(cls, keys: Sequence[tuple[str, str | None]]) -> Scatter:
        """Of values whose parameter and flank are given."""
        cells = {key: place for place, key in enumerate(dict.fromkeys(keys))}
        parameters = {key: place for place, key in enumerate(dict.fromkeys(key for key, _ in cells))}
        owners = np.array([parameters[key] for key, _ in cells], dtype=np.intp)
        return cls(np.array([cells[key] for key in keys], dtype=np.intp), owners)

    def log_evidence(self, residual: Array, least: Array | float = 0.0) -> Array:
        r"""Logarithm of the marginal likelihood of residuals, less what all rows share.

        Normal random effects: bias by parameter, bias by flank, scatter by parameter about a common one;
        the scatters are summed out on a grid. Textbook marginal likelihood, no source.

        .. math:: e = b_p + b_{p,f} + \varepsilon,\quad \varepsilon \sim N(0, \sigma_p^2)

        Biases are of one of the kinds of `BIASES`, or none.

        Parameters
        ----------
        residual : ndarray, shape (explanations, n)
            Reported less predicted. [um]
        least : ndarray, shape (explanations,), or float
            Scatter below which none is believed: what rounding alone makes. [um]

        Returns
        -------
        ndarray, shape (explanations,)
            To be compared with each other. [-]

        Examples
        --------
        >>> scatter = Scatter.of([("a", "left"), ("a", "right")] * 4)
        >>> fits, not_ = scatter.log_evidence(np.array([[0.1, -0.1] * 4, [3.0, -3.0] * 4]))
        >>> bool(fits > not_ + 10)
        True
        """
        by_scatter = _log_sum(self._by_scatter(np.atleast_2d(residual)), axis=-1)
        too_small = np.atleast_1d(least)[:, None, None] > SCATTERS_UM
        by_scatter = np.where(too_small, -np.inf, by_scatter)
        return np.asarray(_log_sum(_common(by_scatter).sum(axis=1), axis=-1))

    def likely(self, residual: Array) -> tuple[Array, Array]:
        """Most likely scatter and kind of bias of every parameter; textbook maximum, no source.

        Parameters
        ----------
        residual : ndarray, shape (n,)
            Reported less predicted. [um]

        Returns
        -------
        tuple of ndarray, shape (parameters,)
            Scatter, and place in `BIASES`. [um], [-]

        Examples
        --------
        >>> scatter, bias = Scatter.of([("a", "left")] * 40).likely(np.array([2.5, 1.5] * 20))
        >>> float(scatter[0].round(1)), BIASES[int(bias[0])][1]
        (0.6, 1.5)
        """
        by_both = self._by_scatter(np.atleast_2d(residual))[0]
        by_scatter = np.asarray(_log_sum(by_both, axis=-1))
        common = int(np.argmax(_common(by_scatter[None]).sum(axis=1)[0]))
        best = np.argmax(by_scatter + _PRIOR[common], axis=-1)
        return SCATTERS_UM[best], np.argmax(by_both[np.arange(len(best)), best], axis=-1)

    def share_shown(self, change: Array, residual: Array, likely: tuple[Array, Array]) -> tuple[float, float]:
        r"""Share of a predicted change that shows in residuals, and its standard error.

        Generalised least squares with the biases as random effects. Textbook, no source.

        .. math:: \hat\lambda = v'V^{-1}e / v'V^{-1}v,\quad s = (v'V^{-1}v)^{-1/2}

        Parameters
        ----------
        change, residual : ndarray, shape (n,)
            What the change moves; reported less predicted without it. [um]
        likely : tuple of ndarray, shape (parameters,)
            Scatter and kind of bias. [um], [-]

        Returns
        -------
        tuple of float
            Share and standard error; 0 and infinity where the change moves nothing. [-]

        Examples
        --------
        >>> scatter = Scatter.of([("a", "left")] * 4)
        >>> change = np.array([-3.0, 3.0, -3.0, 3.0])
        >>> share, error = scatter.share_shown(change, change + 1.0, (np.array([0.1]), np.array([2])))
        >>> round(share, 6), round(error, 4)
        (1.0, 0.0167)
        """
        known = self._product(change, change, likely)
        if known <= 0:
            return 0.0, float("inf")
        return self._product(change, residual, likely) / known, float(known**-0.5)

    def _product(self, a: Array, b: Array, likely: tuple[Array, Array]) -> float:
        """a' V^-1 b."""
        sigma, kind = likely
        _, bias, flank = np.array(BIASES)[kind].T
        n = np.bincount(self.cell, minlength=len(self.owners))
        mean_a, mean_b = (np.bincount(self.cell, values, len(n)) / n for values in (a, b))
        products = (a - mean_a[self.cell]) * (b - mean_b[self.cell])
        within = float(np.sum(products / sigma[self.owners[self.cell]] ** 2))
        v = sigma[self.owners] ** 2 / n + flank[self.owners] ** 2
        of_a, of_b, weight = (np.bincount(self.owners, some) for some in (mean_a / v, mean_b / v, 1 / v))
        shared = float(np.sum(of_a * of_b * bias**2 / (1 + bias**2 * weight)))
        return within + float(np.sum(mean_a * mean_b / v)) - shared

    def _by_scatter(self, residual: Array) -> Array:
        """Log likelihood by scatter and kind of bias, shape (explanations, parameters, scatters, kinds)."""
        cells = len(self.owners)
        member = np.zeros((len(self.cell), cells))
        member[np.arange(len(self.cell)), self.cell] = 1.0
        n = member.sum(axis=0)
        mean = residual @ member / n
        squares = np.maximum(np.square(residual) @ member - n * mean**2, 0.0)
        shape = (len(residual), int(self.owners.max(initial=-1)) + 1, len(SCATTERS_UM), len(BIASES))
        out = np.zeros(shape)
        for parameter in range(shape[1]):
            own = self.owners == parameter
            within, m = squares[:, own].sum(axis=1), mean[:, own]
            freedom = n[own].sum() - own.sum()
            for place, sigma in enumerate(SCATTERS_UM):
                for kind, (share, bias, flank) in enumerate(BIASES):
                    v = sigma**2 / n[own] + flank**2
                    inflated = 1 + bias**2 * np.sum(1 / v)
                    between = np.sum(m**2 / v, axis=1) - np.sum(m / v, axis=1) ** 2 * bias**2 / inflated
                    constant = freedom * np.log(sigma) + (np.sum(np.log(v)) + np.log(inflated)) / 2
                    out[:, parameter, place, kind] = (
                        np.log(share) - constant - within / (2 * sigma**2) - between / 2
                    )
        return out


_STEPS = np.log(SCATTERS_UM)
_PRIOR: Final = -((_STEPS[:, None] - _STEPS) ** 2) / (2 * UNLIKE**2)
"""Of a parameter's scatter (column) given the common one (row); not normalised, the grid is even."""


def _common(by_scatter: Array) -> Array:
    """Log likelihood of every parameter given the common scatter."""
    return np.asarray(_log_sum(by_scatter[:, :, None, :] + _PRIOR, axis=-1))


def _log_sum(values: Array, axis: int) -> Array:
    top = values.max(axis=axis, keepdims=True)
    return np.asarray(np.log(np.exp(values - top).sum(axis=axis)) + top.squeeze(axis))
