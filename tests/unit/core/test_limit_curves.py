"""Best shift of a trace between limit curves: by hand, and against a general optimiser (SciPy)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog, minimize_scalar

from gearqa.arrays import Array
from gearqa.core.limit_curves import Points, fit_between
from gearqa.core.traces import TraceDesign, TraceSpec, evaluate_traces, trace_operator

X = np.linspace(0.0, 10.0, 201)


@pytest.mark.independent
@pytest.mark.parametrize(
    ("height", "upper", "lower", "margin", "shift", "places"),
    [
        # by hand: a level trace at 4 between level curves at 3 and -1 goes to the middle, 1
        (4 + 0 * X, ((0, 3), (10, 3)), ((0, -1), (10, -1)), 2.0, -3.0, (0.0, 0.0)),
        # a rise of 6 between curves 4 apart: 1 too much at each end
        (0.6 * X, ((0, 4), (10, 4)), ((0, 0), (10, 0)), -1.0, -1.0, (10.0, 0.0)),
        # a roof-shaped upper curve touches the level trace at its ends, the lower one anywhere
        (0 * X, ((0, 1), (5, 5), (10, 1)), ((0, -1), (10, -1)), 1.0, 0.0, (0.0, 0.0)),
        # a lower curve over the middle only: its corner at 6 lies highest
        (0 * X, ((0, 2), (10, 2)), ((4, -4), (6, 0)), 1.0, 1.0, (0.0, 6.0)),
    ],
)
def test_cases_by_hand(
    height: Array, upper: Points, lower: Points, margin: float, shift: float, places: tuple[float, float]
) -> None:
    fit = fit_between(X, height[None], upper, lower)
    found = [float(v[0]) for v in (fit.margin, fit.shift, fit.upper_at, fit.lower_at)]
    assert found == pytest.approx([margin, shift, *places], abs=1e-12)


@pytest.mark.independent
@pytest.mark.parametrize("seed", range(8))
def test_no_shift_does_better_by_a_general_optimiser(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 10, 60))
    y = np.cumsum(rng.normal(0, 1, (3, 60)), axis=1)
    corners = np.sort(rng.uniform(x[0], x[-1], 5))
    middle = rng.normal(0, 2, 5)
    upper = tuple(zip(corners, middle + rng.uniform(1, 6, 5), strict=True))
    lower = tuple(zip(corners, middle - rng.uniform(1, 6, 5), strict=True))
    fit = fit_between(x, y, upper, lower)
    # far denser than both: what lies between the points is seen too
    at = np.unique(np.concatenate((np.linspace(corners[0], corners[-1], 20_001), corners, x)))
    at = at[(at >= corners[0]) & (at <= corners[-1])]
    above, below = (np.interp(at, *np.array(points).T) for points in (upper, lower))
    for trace, margin, shift in zip(y, fit.margin, fit.shift, strict=True):
        seen = np.interp(at, x, trace)

        def smallest(c: float, seen: Array = seen) -> float:
            return float(np.minimum(above - seen - c, seen + c - below).min())

        best = minimize_scalar(lambda c: -smallest(c), bounds=(-60, 60), method="bounded",
                               options={"xatol": 1e-10})  # fmt: skip
        assert margin == pytest.approx(-best.fun, abs=1e-6)
        assert shift == pytest.approx(best.x, abs=1e-6)
        assert smallest(float(shift)) == pytest.approx(margin, abs=1e-12)
        # as a linear programme: largest m with m + c <= above - seen and m - c <= seen - below
        ones = np.ones_like(seen)
        program = linprog(
            [-1.0, 0.0], np.column_stack((np.tile(ones, 2), np.concatenate((ones, -ones)))),
            np.concatenate((above - seen, seen - below)), bounds=[(None, None)] * 2,
        )  # fmt: skip
        assert margin == pytest.approx(program.x[0], abs=1e-7)


@pytest.mark.independent
def test_a_corner_of_the_curve_between_two_samples_counts() -> None:
    # by hand: the upper curve dips to 1 at 5.0, between samples at 4 and 6 of a level trace
    x = np.array([0.0, 4.0, 6.0, 10.0])
    fit = fit_between(x, np.zeros((1, 4)), ((0, 3), (4.5, 3), (5, 1), (5.5, 3), (10, 3)), ((0, -1), (10, -1)))
    assert (float(fit.margin[0]), float(fit.upper_at[0])) == (1.0, 5.0)


@pytest.mark.independent
def test_design_by_points_takes_its_shape_off_the_trace() -> None:
    # by hand: a trace that is the design shape has no deviation; a straight line beside it is all slope
    points = ((0.0, -6.0), (3.0, 0.0), (7.0, 0.0), (10.0, -8.0))
    spec = TraceSpec(0.0, 10.0, 0.0, 10.0, None, None, TraceDesign(points=points))
    shape = np.interp(X, *np.array(points).T)
    values = evaluate_traces(trace_operator(X, spec), np.array([shape, shape + 0.3 * X]))
    np.testing.assert_allclose(values.total, [0.0, 3.0], atol=1e-12)
    np.testing.assert_allclose(values.slope, [0.0, 3.0], atol=1e-12)
    np.testing.assert_allclose(values.form, 0.0, atol=1e-12)


@pytest.mark.independent
def test_points_and_relief_that_say_the_same_give_the_same() -> None:
    from gearqa.core.traces import Relief

    rng = np.random.default_rng(3)
    trace = rng.normal(0, 2, (2, X.size))
    reliefs = TraceDesign(reliefs=(Relief(6.0, 7.0, 10.0), Relief(4.0, 2.0, 0.0)))
    points = TraceDesign(points=((0.0, -4.0), (2.0, 0.0), (7.0, 0.0), (10.0, -6.0)))
    found = [
        evaluate_traces(trace_operator(X, TraceSpec(0.0, 10.0, 0.0, 10.0, None, 0.3, design)), trace)
        for design in (reliefs, points)
    ]
    for name in ("total", "form", "slope", "crowning"):
        np.testing.assert_allclose(*(getattr(one, name) for one in found), atol=1e-12)
