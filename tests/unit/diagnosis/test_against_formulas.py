"""Diagnosis against formulas and tools that are not the program's own."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from unit.diagnosis.made import part, setup

from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.diagnosis.ripple import find_ripple, ripple_basis
from gearqa.model.measurement import GearMeasurement, PitchReadings
from gearqa.statistics.grouped_fit import grouped_fit


def reference_ring():
    """Internal ring of the computed vectors: m 1.5, z 80, beta 20 degrees right-hand."""
    return part("internal", 20.0, "right", 80)


@pytest.mark.independent
def test_two_flank_split_of_the_first_harmonic():
    """Index of an eccentric gear with a table error: closed formulas of a displaced involute (derived by
    hand; Fp of 9.16 and 12.32 um there and here), e = 8 um at 30 degrees, T = 4 um at 100 degrees."""
    drawing = reference_ring()
    known = setup(drawing)
    g = known.geometry
    tooth = np.arange(g.z)
    half = math.pi / 2 / g.z
    e, phi, T, psi = 8.0, math.radians(30), 4.0, math.radians(100)
    pitch = {}
    for flank, f in (("left", -1), ("right", 1)):
        theta = 2 * math.pi * tooth / g.z + g.s * f * half
        index = e * np.sin(phi - theta + f * g.alpha_t) / math.cos(g.alpha_t) + T * np.cos(theta - psi)
        pitch[flank] = PitchReadings(flank, index)
    (found,), _ = diagnose_gears([GearMeasurement("1", pitch=pitch)], known)
    by_key = {one.key: one for one in found.components}
    assert round(by_key["eccentricity"].amplitude_um, 2) == 8.0
    assert round(by_key["eccentricity"].phase_deg, 1) == 30.0
    assert round(by_key["tangential"].amplitude_um, 2) == 4.0
    assert round(by_key["tangential"].phase_deg, 1) == 100.0


@pytest.mark.independent
def test_pitch_orders_equal_the_discrete_fourier_transform():
    """numpy.fft of the mean of both flanks, whose angles differ by half a tooth thickness."""
    drawing = part("external", 0.0, "", 40)
    known = setup(drawing)
    rng = np.random.default_rng(3)
    index = rng.normal(0, 1, 40)
    pitch = {flank: PitchReadings(flank, index) for flank in ("left", "right")}
    (found,), _ = diagnose_gears([GearMeasurement("1", pitch=pitch)], known)
    tangential = [one.amplitude_um for one in found.orders if one.kind == "tangential"]
    n = np.arange(1, 20)
    expected = 2 / 40 * np.abs(np.fft.fft(index))[1:20] * np.abs(np.cos(n * math.pi / 2 / 40))
    assert np.allclose(tangential, expected, rtol=0, atol=1e-12)


@pytest.mark.independent
def test_a_fit_of_one_kind_is_that_of_statsmodels():
    rng = np.random.default_rng(5)
    X = np.column_stack([np.ones(30), np.arange(30.0), rng.normal(0, 1, 30)])
    y = X @ [1.0, 0.2, -0.5] + rng.normal(0, 0.7, 30)
    fit, other = grouped_fit(y, X, np.zeros(30, dtype=np.int64), 1), sm.OLS(y, X).fit()
    assert np.allclose(fit.theta, other.params, rtol=1e-10)
    assert np.allclose(fit.covariance, other.cov_params(), rtol=1e-6)
    assert np.allclose(fit.freedom, 27)
    assert fit.block_p(slice(1, 3)) == pytest.approx(float(other.f_test(np.eye(3)[1:]).pvalue), rel=1e-6)


@pytest.mark.independent
@pytest.mark.parametrize("teeth", [range(80), range(0, 80, 4)])
def test_orders_of_a_wavy_flank(teeth):
    """Computed case: internal spur gear of 80 teeth, m 1.5; 1.0 cos(80 phi + 0.3) + 0.4 cos(87 phi + 1.1)
    + 0.3 cos(160 phi - 0.7) + 2 cos(9 phi + 0.2). Order 9 is no wave within a trace."""
    r_b = 60 * math.cos(math.radians(20))
    xi = np.linspace(math.sqrt(58.8**2 - r_b**2), math.sqrt(61.25**2 - r_b**2), 480) / r_b
    angles = [2 * math.pi * i / 80 + xi for i in teeth]
    waves = ((80, 1.0, 0.3), (87, 0.4, 1.1), (160, 0.3, -0.7), (9, 2.0, 0.2))
    rng = np.random.default_rng(2)
    y = [sum(A * np.cos(k * a + p) for k, A, p in waves) + rng.normal(0, 0.05, 480) for a in angles]
    basis = ripple_basis(angles, 80)
    found = {one.order: one for one in find_ripple(basis, y, 0.001, 80)}
    for order, amplitude, phase in waves[:3]:
        one = found[order]
        assert math.hypot(one.cos, one.sin) == pytest.approx(amplitude, abs=0.02)
        assert math.atan2(-one.sin, one.cos) == pytest.approx(phase, abs=0.05)
    assert set(found) <= {80, 87, 160, 9, *range(50, 80)}
    assert all(one.named for one in found.values() if one.order > 80)
