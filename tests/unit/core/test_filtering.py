"""Gaussian regression filter against ISO 16610-21, scipy and plain loops."""

from __future__ import annotations

import math

import numpy as np
import pytest
from filtered_traces import gaussian_filter
from oracle_file import load
from scipy.ndimage import gaussian_filter1d

from gearqa.core import filtering
from gearqa.core.filtering import gaussian_operator, share_of_length

CUTOFF = 0.8


def irregular(seed: int, n: int, length: float = 20.0) -> np.ndarray:
    """Positions with steps that differ by up to a factor of ten."""
    steps = np.random.default_rng(seed).uniform(0.1, 1.0, n - 1)
    return np.concatenate(([0.0], np.cumsum(steps) * length / steps.sum()))


def plain_loops(x, y, cutoff):
    """The definition, point by point: straight line by weighted normal equations, whole trace as window."""
    a = math.sqrt(math.log(2) / math.pi)
    filtered = []
    for i in range(len(x)):
        S0 = S1 = S2 = T0 = T1 = 0.0
        for j in range(len(x)):
            left = x[j] - x[j - 1] if j > 0 else 0.0
            right = x[j + 1] - x[j] if j < len(x) - 1 else 0.0
            w = math.exp(-math.pi * ((x[j] - x[i]) / (a * cutoff)) ** 2) * (left + right) / 2
            d = x[j] - x[i]
            S0, S1, S2 = S0 + w, S1 + w * d, S2 + w * d * d
            T0, T1 = T0 + w * y[j], T1 + w * d * y[j]
        filtered.append((T0 * S2 - T1 * S1) / (S0 * S2 - S1 * S1))
    return np.array(filtered)


@pytest.mark.parametrize("row", load("gaussian_transmission").params())
def test_transmission(row):
    """ISO 16610-21: amplitude of a sine of so many cutoffs, in the middle of a long trace."""
    wavelength = float(row["wavelength_per_cutoff"]) * CUTOFF
    x = np.linspace(0.0, 40.0, 8001)
    wave = np.cos(2 * np.pi * (x - 20.0) / wavelength)
    kept = gaussian_filter(x, wave[None], CUTOFF)[0, 4000]
    assert f"{kept:.4f}" == f"{float(row['transmission']):.4f}"
    formula = math.exp(-math.log(2) * (CUTOFF / wavelength) ** 2)
    assert kept == pytest.approx(formula, rel=0, abs=1e-10)


def test_inside_it_is_the_gaussian_of_scipy():
    """scipy.ndimage on an even grid; sigma = a cutoff / sqrt(2 pi). Near the ends they differ on purpose."""
    x = np.linspace(0.0, 30.0, 601)
    y = np.random.default_rng(3).normal(size=(12, 601))
    sigma = math.sqrt(math.log(2) / math.pi) * CUTOFF / math.sqrt(2 * math.pi)
    expected = gaussian_filter1d(y, sigma / (x[1] - x[0]), axis=1, truncate=9.0)
    inside = slice(40, -40)
    found = gaussian_filter(x, y, CUTOFF)
    assert np.abs(found[:, inside] - expected[:, inside]).max() < 1e-9
    assert np.abs(found[:, :3] - expected[:, :3]).max() > 1e-3


@pytest.mark.parametrize("seed", range(4))
def test_irregular_positions_against_plain_loops(seed):
    x = irregular(seed, 150)
    y = np.random.default_rng(seed).normal(size=(3, 150)) * 5
    found = gaussian_filter(x, y, CUTOFF)
    expected = np.array([plain_loops(x.tolist(), row, CUTOFF) for row in y.tolist()])
    assert np.abs(found - expected).max() < 1e-9


@pytest.mark.parametrize("n", [2, 3, 20, 333])
@pytest.mark.parametrize("cutoff", [1e-3, 0.5, 3.0, 1000.0])
def test_a_straight_line_comes_through_unchanged_to_the_ends(n, cutoff):
    x = irregular(n, n)
    line = -7.0 + 3.25 * x
    assert np.abs(gaussian_filter(x, line[None], cutoff)[0] - line).max() < 1e-10


def test_a_parabola_is_lifted_by_the_variance_of_the_kernel():
    """Closed form: the mean of x^2 about x is x^2 + a^2 cutoff^2 / (2 pi)."""
    x = np.linspace(-10.0, 10.0, 2001)
    lifted = gaussian_filter(x, (x**2)[None], CUTOFF)[0] - x**2
    assert lifted[200:-200] == pytest.approx(math.log(2) / math.pi * CUTOFF**2 / (2 * math.pi), rel=1e-9)


def test_points_without_a_neighbour_in_reach_keep_their_value():
    x = np.arange(12) * 10.0
    y = np.random.default_rng(0).normal(size=(1, 12))
    assert np.abs(gaussian_filter(x, y, 0.5) - y).max() < 1e-12


def test_few_and_many_traces_are_filtered_alike(monkeypatch):
    x = irregular(9, 700)
    y = np.random.default_rng(9).normal(size=(50, 700))
    operator = gaussian_operator(x, CUTOFF)
    many, one_by_one = np.empty((2, 50, 700))
    operator.apply(y, many)
    assert "blocks" in vars(operator)
    fresh = gaussian_operator(x, CUTOFF)
    for i in range(50):
        fresh.apply(y[i : i + 1], one_by_one[i : i + 1])
    assert "blocks" not in vars(fresh)
    assert np.abs(many - one_by_one).max() < 1e-12
    monkeypatch.setattr(filtering, "KERNEL_VALUES", 500)
    assert np.array_equal(gaussian_operator(x, CUTOFF).weights, operator.weights)


def test_only_the_wanted_samples_are_filtered():
    x = irregular(5, 200)
    y = np.random.default_rng(5).normal(size=(2, 200))
    out = np.empty((2, 61))
    gaussian_operator(x, CUTOFF, 70, 131).apply(y, out)
    assert np.abs(out - gaussian_filter(x, y, CUTOFF)[:, 70:131]).max() < 1e-13


def test_the_kernel_is_cut_where_it_changes_nothing():
    """Beyond the reach it is below 1e-12 of its height: at least one cutoff is asked for."""
    assert filtering.REACH >= 1.0
    assert math.exp(-math.pi * (filtering.REACH / 0.46971863934983) ** 2) < 1e-12


def test_shares_of_length_by_hand():
    assert share_of_length(np.array([1.0, 2.0, 5.0])).tolist() == [0.5, 2.0, 1.5]
