"""Diagnosis against formulas and tools that are not the program's own."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from oracle_file import load
from unit.diagnosis.made import part, setup
from unit.simulate import make

from gearqa.core.flank_frame import flank_angle
from gearqa.core.geometry import roll_length
from gearqa.core.pitch import F_p, F_pk, f_p, f_u, first_harmonic
from gearqa.diagnosis.analysis import diagnose_gears
from gearqa.diagnosis.effects import eccentricity, tangential_order
from gearqa.diagnosis.observations import index_of, radial_of
from gearqa.diagnosis.points import FLANK_SIGN, flank_points, pitch_points
from gearqa.diagnosis.removal import deviation
from gearqa.diagnosis.ripple import find_ripple, ripple_basis
from gearqa.evaluation.part_setup import setup_of
from gearqa.model.measurement import GearMeasurement, PitchReadings
from gearqa.statistics.grouped_fit import grouped_fit
from gearqa.symbols import FLANKS


def reference_ring():
    """Internal ring of 80 teeth, 20 degrees right-hand."""
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


VECTOR = {row["quantity"]: row for row in load("simulate_two_flank_vector").rows}
SPLIT = {row["quantity"]: row for row in load("two_flank_split").rows}


class TestTwoFlankVector:
    """Every row of the vector of an eccentric ring with a table error (exact geometry, computed), which
    counts spaces and angles counter-clockwise: its angle phi is 2.25 degrees - phi here."""

    known = setup_of(make.part())
    e, T = (8.0, math.radians(2.25 - 30)), (4.0, math.radians(82.25))
    errors = (
        (eccentricity(), np.array([e[0] * math.cos(e[1]), e[0] * math.sin(e[1])])),
        (tangential_order(1), np.array([T[0] * math.cos(T[1]), T[0] * math.sin(T[1])])),
    )

    @staticmethod
    def tooth(i, flank):
        space = (-i) % 80 + 1
        return space if flank == "left" else space % 80 + 1

    def printed(self, quantity, flank):
        return np.array([float(value) for value in VECTOR[quantity][flank].split()])

    @pytest.mark.independent
    @pytest.mark.parametrize("flank", ["left", "right"])
    def test_index(self, flank):
        index = index_of(deviation(pitch_points(self.known, measured=True), self.errors), self.known)
        index = index[FLANKS.index(flank)]
        got = [-(index - index.mean())[self.tooth(i, flank) - 1] for i in range(0, 80, 10)]
        # half a printed digit, and what exact geometry departs from the first order
        assert np.abs(np.array(got) - self.printed("index", flank)).max() < 0.005 + 0.003
        found = {"F_p": F_p(index), "f_p": f_p(index), "f_u": f_u(index), "F_pz8": F_pk(index, 10)}
        for key, worst in found.items():
            departs = 0.003 if key.startswith("F") else 0.001
            half = 0.5 * 10 ** -int(VECTOR[key]["decimals"])
            assert abs(worst.value - float(VECTOR[key][flank])) < half + departs, key
        A, psi = first_harmonic(index)
        assert round(A, 3) == float(SPLIT["modulus"][flank])
        # the vector counts angles and index counter-clockwise from space 0, the flank by its own angle
        first = float(flank_angle(self.known.geometry, np.array(FLANK_SIGN[flank]), np.array(1)))
        argument = math.degrees(psi + first) + 180 - 2.25
        assert round(argument % 360, 2) == float(SPLIT["argument_deg"][flank])

    @pytest.mark.independent
    @pytest.mark.parametrize("flank", ["left", "right"])
    @pytest.mark.parametrize(("kind", "sign"), [("profile_slope", 1), ("helix_slope", -1)])
    def test_slopes(self, flank, kind, sign):
        """Of the eccentricity alone; the vector's z points to the viewer."""
        spec, f = self.known.specs[kind.split("_")[0]], FLANK_SIGN[flank]
        teeth = [self.tooth(i, flank) for i in (0, 20, 40, 60)]
        along = np.linspace(spec.start, spec.end, 201)
        middle = roll_length(self.known.geometry.d, self.known.geometry.d_b), 15.0
        L, face = (along, middle[1]) if kind == "profile_slope" else (middle[0], along)
        points = flank_points(self.known, f, np.array(teeth)[:, None], L, face)
        y = deviation(points, self.errors[:1])
        slopes = np.polynomial.polynomial.polyfit(np.linspace(0, 1, 201), y.T, 1)[1]
        assert np.abs(sign * slopes - self.printed(kind, flank)).max() < 0.0005 + 0.0003

    @pytest.mark.independent
    def test_eight_printed_values_a_flank_give_both_errors_back(self):
        pitch = {}
        for flank in FLANKS:
            index = np.full(80, np.nan)
            for i, value in zip(range(0, 80, 10), self.printed("index", flank), strict=True):
                index[self.tooth(i, flank) - 1] = -value
            pitch[flank] = PitchReadings(flank, index)
        (found,), _ = diagnose_gears([GearMeasurement("1", pitch=pitch)], self.known)
        by_key = {one.key: one for one in found.components}
        for key, (size, angle) in (("eccentricity", self.e), ("tangential", self.T)):
            assert by_key[key].amplitude_um == pytest.approx(size, abs=0.01)
            assert math.radians(by_key[key].phase_deg) == pytest.approx(angle % (2 * math.pi), abs=0.002)
            assert by_key[key].significant

    @pytest.mark.independent
    def test_short_form_of_the_runout(self):
        """15.56 um from pitch by the short form E / (2 tan alpha_t), which is not used: 16 um it is."""
        index = index_of(deviation(pitch_points(self.known, measured=True), self.errors), self.known)
        g = self.known.geometry
        widening = index[1][np.r_[1:80, 0]] - index[0]
        assert round(float(np.ptp(widening)) / (2 * math.tan(g.alpha_t)), 2) == 15.56
        radial = radial_of(deviation(pitch_points(self.known, measured=False), self.errors[:1]), self.known)
        assert round(float(np.ptp(radial)), 1) == 16.0


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


WAVES = ((80, 1.0, 0.3), (87, 0.4, 1.1), (160, 0.3, -0.7), (9, 2.0, 0.2))
"""Computed case: internal spur gear of 80 teeth, m 1.5; order, amplitude, phase of A cos(k phi + phase)."""


def wavy_flank(teeth, noise, points=480):
    """Angles and deviations of its profiles."""
    r_b = 60 * math.cos(math.radians(20))
    xi = np.linspace(math.sqrt(58.8**2 - r_b**2), math.sqrt(61.25**2 - r_b**2), points) / r_b
    angles = [2 * math.pi * i / 80 + xi for i in teeth]
    rng = np.random.default_rng(2)
    y = [sum(A * np.cos(k * a + p) for k, A, p in WAVES) + rng.normal(0, noise, points) for a in angles]
    return angles, y


def waves_found(teeth, noise):
    angles, y = wavy_flank(teeth, noise)
    basis = ripple_basis(angles, 80)
    return {one.order: one for one in find_ripple(basis, y, 0.001, 80)}


@pytest.mark.independent
@pytest.mark.parametrize("teeth", [range(80), range(0, 80, 4)])
@pytest.mark.parametrize(("noise", "off"), [(0.0, 0.001), (0.2, 0.02)])
def test_orders_of_a_wavy_flank(teeth, noise, off):
    """Order 9 is no wave within a trace: the cubic of each trace takes up all but 0.001 um of it."""
    found = waves_found(teeth, noise)
    for order, amplitude, phase in WAVES[:3]:
        one = found[order]
        assert math.hypot(one.cos, one.sin) == pytest.approx(amplitude, abs=off)
        assert math.atan2(-one.sin, one.cos) == pytest.approx(phase, abs=2 * off / amplitude)
        assert one.named
    others = [one for order, one in found.items() if order not in (80, 87, 160)]
    assert all(math.hypot(one.cos, one.sin) < 0.002 for one in others)


@pytest.mark.independent
def test_low_orders_are_not_looked_for_in_traces():
    """Four equally spaced teeth make a false order 3 of 18 um where low orders are let in (computed)."""
    found = waves_found(range(0, 80, 20), 0.2)
    angles, _ = wavy_flank(range(0, 80, 20), 0.2)
    assert ripple_basis(angles, 80).orders[0] * np.ptp(angles[0]) / (2 * math.pi) >= 1.5
    assert not any(one.named for one in found.values())
    assert all(math.hypot(one.cos, one.sin) < 1.5 for one in found.values())


@pytest.mark.independent
@pytest.mark.parametrize(("points", "off"), [(96, 1e-9), (121, 1e-9), (288, 1e-4), (480, 1e-5)])
def test_waves_are_those_of_one_least_squares_fit_of_all_points(points, off):
    """numpy, every point of every trace, a cubic of each trace as unknowns beside the waves; beyond 160
    points a trace neighbours are averaged."""
    angles, y = wavy_flank(range(0, 80, 4), 0.0, points)
    found = {one.order: one for one in find_ripple(ripple_basis(angles, 80), y, 0.001, 80)}
    orders = sorted(found)
    assert {80, 87, 160} <= set(orders)
    theta = np.concatenate(angles)
    own = np.vander(np.linspace(-1, 1, points), 4)
    X = np.concatenate(
        [
            np.kron(np.eye(len(angles)), own),
            np.cos(np.outer(theta, orders)),
            np.sin(np.outer(theta, orders)),
        ],
        axis=1,
    )
    solved = np.linalg.lstsq(X, np.concatenate(y), rcond=None)[0][-2 * len(orders) :]
    got = [found[order].cos for order in orders] + [found[order].sin for order in orders]
    assert got == pytest.approx(solved, abs=off)
