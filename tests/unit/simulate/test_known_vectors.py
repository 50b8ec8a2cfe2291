"""Numbers that others worked out: eccentricity, tangential error, lobes, ripple."""

from __future__ import annotations

import math

import numpy as np
import pytest
from oracle_file import load
from unit.simulate import make
from unit.simulate.exact_gear import Displacement, ExactGear, clockwise, index_um

from gearqa.core import pitch, runout
from gearqa.core.flank_frame import base_tangent_angle
from gearqa.evaluation.part_geometry import part_geometry

PITCH_DEG = 360 / 80
HALF = PITCH_DEG / 2
VECTOR = {row["quantity"]: row for row in load("simulate_two_flank_vector").rows}


def _space(i: int) -> int:
    """Contract space of the vector's space i: it counts counter-clockwise from 0, at angle 0."""
    return (-i) % 80 + 1


def _tooth_of(i: int, flank: str) -> int:
    """Space j of an internal gear lies between left(j) and right(j + 1)."""
    j = _space(i)
    return j if flank == "left" else j % 80 + 1


def _ring(**more: object) -> object:
    # counter-clockwise angle phi of the vector = clockwise angle 2.25 deg - phi here
    mounting = {"eccentricity_um": 8.0, "eccentricity_deg": HALF - 30.0}
    return make.gear(make.part(), mounting=mounting, **more)


def _expected(quantity: str, flank: str) -> np.ndarray:
    return np.array([float(v) for v in VECTOR[quantity][flank].split()])


def _rounded(values: object, quantity: str) -> list[float]:
    return [round(float(v), int(VECTOR[quantity]["decimals"])) + 0.0 for v in np.atleast_1d(values)]


@pytest.mark.independent
@pytest.mark.parametrize("flank", ["left", "right"])
def test_pitch_of_the_two_flank_vector(flank: str) -> None:
    # T counter-clockwise plus at counter-clockwise angles; here clockwise plus: -4 cos(97.75 deg + theta)
    tangential = {"tangential_um": 4.0, "tangential_deg": 80.0 + HALF}
    index = _ring(pitch=tangential).pitch[flank].index_um
    # the displaced surface itself, cut with the reference circle, gives every printed digit
    exact = ExactGear(80, 1.5, 20.0, 20.0, 30.0, internal=True, hand=1)
    moved = Displacement(clockwise(8e-3, HALF - 30.0), np.zeros(3))
    teeth = range(1, 81)
    angles = np.array([-exact.phi(flank, tooth, exact.r, 0.0) for tooth in teeth])
    surface = np.array([index_um(exact, moved, flank, tooth) for tooth in teeth])
    surface += 4 * np.cos(angles - math.radians(80.0 + HALF))
    assert _rounded(pitch.F_p(surface).value, "F_p") == _expected("F_p", flank).tolist()
    assert _rounded(pitch.f_p(surface).value, "f_p") == _expected("f_p", flank).tolist()
    assert _rounded(pitch.f_u(surface).value, "f_u") == _expected("f_u", flank).tolist()
    assert _rounded(pitch.F_pk(surface, 10).value, "F_pz8") == _expected("F_pz8", flank).tolist()
    centred = -(surface - surface.mean())
    got = [centred[_tooth_of(i, flank) - 1] for i in range(0, 80, 10)]
    assert np.max(np.abs(np.array(got) - _expected("index", flank))) < 0.01
    # the simulated gear is the same but for the second order, e^2 / 2L
    second_order = 8.0**2 / (2 * 1000 * exact.r_b * math.tan(exact.alpha_t))
    difference = (index - index.mean()) - (surface - surface.mean())
    assert np.max(np.abs(difference)) < second_order


@pytest.mark.independent
@pytest.mark.parametrize("flank", ["left", "right"])
def test_slopes_of_the_two_flank_vector(flank: str) -> None:
    order = [_tooth_of(i, flank) for i in (0, 20, 40, 60)]
    measured = _ring(measuring={"teeth": order, "helix_diameters_mm": [127.7013]})
    for kind, quantity, sign in (("profile", "profile_slope", -1), ("helix", "helix_slope", -1)):
        x, y = make.traces(measured, kind, flank)
        if kind == "helix":
            inside = (x >= 1.5 - 1e-9) & (x <= 28.5 + 1e-9)
            x, y = x[inside], y[:, inside]
        length = 27.0 if kind == "helix" else x[-1] - x[0]
        # profile: roll length falls towards the tip; helix: the vector's z points to the viewer
        slopes = sign * np.polynomial.polynomial.polyfit(x, y.T, 1)[1] * length
        assert np.max(np.abs(slopes - _expected(quantity, flank))) < 0.0005 + 0.0003


@pytest.mark.independent
def test_eccentricity_worked_out_by_hand() -> None:
    """Sixteen teeth, e = 10 um: F = e (-sin theta + tan alpha cos theta), handbook form (computed)."""
    want = (
        "3.6397 -0.4642 -4.4974 -7.8459 -10 -10.6316 -9.6447 -7.1895 "
        "-3.6397 0.4642 4.4974 7.8459 10 10.6316 9.6447 7.1895"
    )
    drawing = make.part(kind="external", z=16, m_n=3.0, beta=0.0)
    # theta counts from the flank of tooth 1: the eccentricity points at that flank
    flank_deg = math.degrees(math.pi / 2 / 16)
    measured = make.gear(drawing, mounting={"eccentricity_um": 10.0, "eccentricity_deg": flank_deg})
    index = measured.pitch["right"].index_um
    expected = np.array([float(v) for v in want.split()])
    assert np.round(index - index.mean() + expected.mean(), 4) == pytest.approx(expected, abs=1e-9)
    assert round(float(pitch.F_p(index).value), 4) == 21.2633
    assert round(float(pitch.f_p(index).value), 5) == 4.10389
    # towards a space, a ball reads the whole of it
    towards_space = {"eccentricity_um": 10.0, "eccentricity_deg": 360 / 16 / 2}
    radial = make.gear(drawing, mounting=towards_space).runout
    assert radial is not None
    assert round(float(runout.F_r(radial.radial_um).value), 1) == 20.0


@pytest.mark.independent
@pytest.mark.parametrize("n", [1, 2, 3, 6])
@pytest.mark.parametrize("kind", ["internal", "external"])
def test_lobes_of_a_thin_ring(n: int, kind: str) -> None:
    """Thin inextensional ring (derived): Fp = 2A sqrt(1/n^2 + tan^2 alpha), Fr about 2A, slopes likewise."""
    drawing = make.part(kind=kind)
    geometry = part_geometry(drawing)
    lobes = [{"n": n, "amplitude_um": 10.0, "phase_deg": 33.0}]
    measured = make.gear(drawing, lobes=lobes, measuring={"teeth": list(range(1, 81))})
    amplitude = 10 * math.hypot(1 / n, math.tan(geometry.alpha_t))
    for readings in measured.pitch.values():
        wave = np.fft.rfft(readings.index_um - readings.index_um.mean()) * 2 / 80
        assert abs(wave[n]) == pytest.approx(amplitude, abs=1e-9)
        assert np.sort(np.abs(wave))[-2] < 1e-9
    assert measured.runout is not None
    # exact for a ball in the space of half angle eta
    eta, alpha = math.pi / 160, geometry.alpha_t
    s = geometry.s
    F_r = 20 * (math.sin(alpha) * math.cos(n * eta) + s * math.cos(alpha) * math.sin(n * eta) / n)
    F_r /= math.sin(alpha + s * eta)
    got = np.abs(np.fft.rfft(measured.runout.radial_um) * 2 / 80)[n]
    assert got == pytest.approx(F_r / 2, abs=2e-3)
    crest = np.angle(np.fft.rfft(measured.runout.radial_um)[n])
    # space i stands at 360 (i - 1/2) / 80 degrees, the crest at 33
    turn = n * math.radians(360 / 160) - crest - n * math.radians(33.0)
    assert math.remainder(turn, 2 * math.pi) == pytest.approx(0.0, abs=1e-3)
    x, y = make.traces(measured, "profile", "right")
    slopes = -s * -1 * np.polynomial.polynomial.polyfit(x, y.T, 1)[1]
    middle = abs(np.fft.rfft(slopes)[n]) * 2 / 80
    # at the reference circle A/r_b sqrt(cos^2 + n^2 sin^2); over the profile the mean differs in second order
    local = 10 / (geometry.d_b / 2) * math.hypot(math.cos(alpha), n * math.sin(alpha))
    assert middle == pytest.approx(local, rel=0.02)


@pytest.mark.independent
@pytest.mark.parametrize("n", [2, 3])
def test_lobes_turn_the_sections_about_the_neutral_fibre(n: int) -> None:
    """Off the neutral fibre R a section's turn A (n - 1/n) / R adds (r - R) times that to the pitch."""
    drawing = make.part()
    geometry = part_geometry(drawing)
    r, R = geometry.d / 2, 75.0
    lobes = [{"n": n, "amplitude_um": 10.0, "phase_deg": 0.0, "neutral_diameter_mm": 2 * R}]
    index = make.gear(drawing, lobes=lobes).pitch["left"].index_um
    tangential = -1 / n + (n - 1 / n) * (r - R) / R
    amplitude = 10 * math.hypot(tangential, math.tan(geometry.alpha_t))
    assert abs(np.fft.rfft(index)[n]) * 2 / 80 == pytest.approx(amplitude, abs=1e-9)


@pytest.mark.independent
def test_a_ring_of_one_lobe_is_an_eccentric_ring() -> None:
    lobes = [{"n": 1, "amplitude_um": 6.0, "phase_deg": 70.0, "neutral_diameter_mm": 150.0}]
    one = make.gear(make.part(), lobes=lobes)
    other = make.gear(make.part(), mounting={"eccentricity_um": 6.0, "eccentricity_deg": 70.0})
    for a, b in zip(one.traces, other.traces, strict=True):
        assert np.max(np.abs(a.deviation_um - b.deviation_um)) < 1e-12


def test_ripple_of_one_flank_leaves_the_other_alone() -> None:
    measured = make.gear(make.part(), ripple=[{"order": 87, "amplitude_um": 1.0, "flank": "right"}])
    highest = {
        f: max(np.max(t.deviation_um) for t in measured.traces if t.flank == f) for f in ("left", "right")
    }
    assert highest["left"] == 0.0
    assert highest["right"] == pytest.approx(1.0, abs=0.01)


@pytest.mark.independent
def test_ripple_comes_back_by_least_squares() -> None:
    """Spur ring of 80 teeth with four waves (deterministic case of an order analysis), all teeth."""
    waves = [(80, 1.0, 0.3), (87, 0.4, 1.1), (160, 0.3, -0.7), (9, 2.0, 0.2)]
    drawing = make.part(beta=0.0)
    ripple = [{"order": k, "amplitude_um": a, "phase_deg": math.degrees(p)} for k, a, p in waves]
    measured = make.gear(drawing, ripple=ripple, measuring={"teeth": list(range(1, 81))})
    geometry = part_geometry(drawing)
    L, y = make.traces(measured, "profile", "right")
    theta = base_tangent_angle(geometry, np.array(1.0), np.arange(1, 81)[:, None], L, np.array(15.0))
    columns = [f(k * theta.ravel()) for k, _, _ in waves for f in (np.cos, np.sin)]
    c = np.linalg.lstsq(np.stack(columns, axis=1), y.ravel(), rcond=None)[0].reshape(-1, 2)
    assert np.hypot(*c.T) == pytest.approx([a for _, a, _ in waves], abs=1e-9)
    assert np.arctan2(-c[:, 1], c[:, 0]) == pytest.approx([p for _, _, p in waves], abs=1e-9)
