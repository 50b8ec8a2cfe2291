"""Evidence of residuals against scipy, the share shown against generalised least squares."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal

from gearqa.statistics.paired_evidence import BIASES, SCATTERS_UM, UNLIKE, Scatter

KEYS = [("slope", "left"), ("slope", "right"), ("form", "left"), ("slope", "left"), ("runout", None)] * 3


def covariance(keys, sigma, bias, flank):
    same = np.array([[a == b for b in keys] for a in keys])
    return sigma**2 * np.eye(len(keys)) + flank**2 * same + bias**2


def by_hand(residual):
    """The whole mixture, one parameter's block after the other."""
    steps = np.log(SCATTERS_UM)
    total = np.zeros(len(SCATTERS_UM))
    for parameter in ("slope", "form", "runout"):
        own = [place for place, key in enumerate(KEYS) if key[0] == parameter]
        keys = [KEYS[place] for place in own]
        likely = np.array(
            [
                logsumexp(
                    [
                        np.log(share)
                        + multivariate_normal(cov=covariance(keys, sigma, b, f)).logpdf(residual[own])
                        for share, b, f in BIASES
                    ]
                )
                for sigma in SCATTERS_UM
            ]
        )
        prior = -((steps[:, None] - steps) ** 2) / (2 * UNLIKE**2)
        total += logsumexp(likely + prior, axis=1)
    return logsumexp(total)


@pytest.mark.independent
def test_evidence_is_that_of_the_normal_model():
    rng = np.random.default_rng(2)
    residuals = rng.normal(0, 0.3, (3, len(KEYS))) + np.array([[0.0], [0.4], [2.0]])
    found = Scatter.of(KEYS).log_evidence(residuals)
    expected = np.array([by_hand(one) for one in residuals])
    assert np.diff(found) == pytest.approx(np.diff(expected), rel=1e-9)


@pytest.mark.independent
def test_share_shown_is_that_of_generalised_least_squares():
    rng = np.random.default_rng(3)
    change = rng.normal(0, 1, len(KEYS))
    residual = 0.9 * change + rng.normal(0, 0.2, len(KEYS))
    scatter = Scatter.of(KEYS)
    sigma, kinds = np.array([0.2, 0.1, 0.4]), np.array([3, 0, 2])
    V = np.zeros((len(KEYS), len(KEYS)))
    for place, parameter in enumerate(("slope", "form", "runout")):
        own = [i for i, key in enumerate(KEYS) if key[0] == parameter]
        _, bias, flank = BIASES[kinds[place]]
        V[np.ix_(own, own)] = covariance([KEYS[i] for i in own], sigma[place], bias, flank)
    W = np.linalg.inv(V)
    share, error = scatter.share_shown(change, residual, (sigma, kinds))
    assert share == pytest.approx(change @ W @ residual / (change @ W @ change), rel=1e-9)
    assert error == pytest.approx((change @ W @ change) ** -0.5, rel=1e-9)


def test_a_change_that_moves_nothing_shows_nothing():
    scatter = Scatter.of(KEYS)
    zeros = np.zeros(len(KEYS))
    assert scatter.share_shown(zeros, zeros + 1, (np.full(3, 0.1), np.zeros(3, int))) == (0.0, float("inf"))
