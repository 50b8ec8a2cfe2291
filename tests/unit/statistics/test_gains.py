"""Gains of changes: weighted least squares and mean, against statsmodels and numpy."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gearqa.statistics.gains import common_gain, joint_gains


@pytest.mark.independent
@pytest.mark.parametrize("misfit", [0.02, 1.0])
def test_changes_together_are_weighted_least_squares(misfit):
    """Widened where the effects fit worse than their uncertainty allows, never narrowed."""
    import statsmodels.api as sm

    meant = np.array([[2.0, 1.0], [2.0, 0.0], [0.0, 3.0], [1.0, -1.0]])
    u = np.array([0.2, 0.3, 0.4, 0.25])
    found = meant @ [0.6, 1.4] + misfit * np.array([0.3, -0.5, 0.4, 0.6])
    fit = sm.WLS(found, meant, weights=4 / u**2).fit()
    errors = np.sqrt(np.diag(fit.normalized_cov_params) * max(1.0, fit.scale))
    assert (fit.scale > 1) == (misfit == 1.0)
    for (gain, width), expected, error in zip(joint_gains(meant, found, u), fit.params, errors, strict=True):
        assert gain == pytest.approx(expected, rel=1e-9)
        assert width == pytest.approx(2 * error, rel=1e-9)


@pytest.mark.independent
def test_mean_gain_and_when_it_is_given_up():
    """Weights from numpy; two gains of U 0.2 (sigma 0.1) differ at 1 % from 2.576 sqrt(2) sigma = 0.364 on
    (two-sided point of the normal distribution, from memory)."""
    gain, u, of = common_gain([(0.5, 0.1), (0.6, 0.3)])
    assert gain == pytest.approx(np.average([0.5, 0.6], weights=[1 / 0.1**2, 1 / 0.3**2]))
    assert (u, of) == (pytest.approx(1 / math.sqrt(1 / 0.1**2 + 1 / 0.3**2)), 2)
    assert common_gain([(0.5, 0.2), (0.862, 0.2)])[2] == 2
    assert common_gain([(0.5, 0.2), (0.866, 0.2)]) == (0.866, 0.2, 1)
