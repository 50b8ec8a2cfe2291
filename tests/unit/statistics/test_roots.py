"""Roots of functions against scipy's, which are the same numbers."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from gearqa.statistics.roots import root

FUNCTIONS = {
    "cubic": lambda a, b, x: a * x**3 - b,
    "exponential": lambda a, b, x: math.exp(a * x) - 2 * abs(b),
    "flat at the ends": lambda a, b, x: math.atan(20 * a * x + b),
}


@pytest.mark.independent
@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_same_root_as_a_general_library(name):
    """scipy.optimize.brentq, bit for bit: another order of steps would change digits of control limits."""
    rng = np.random.default_rng(1)
    found = 0
    for _ in range(400):
        a, b = rng.normal(size=2).tolist()
        low, high = sorted(rng.uniform(-4, 4, 2).tolist())
        xtol = float(10.0 ** rng.integers(-13, -3))

        def f(x, a=a, b=b):
            return FUNCTIONS[name](a, b, x)

        if f(low) * f(high) < 0:
            found += 1
            assert root(f, low, high, xtol) == brentq(f, low, high, xtol=xtol)
    assert found > 50


def test_a_root_at_an_end():
    assert root(lambda x: x - 1, 1.0, 2.0, 1e-10) == 1.0
    assert root(lambda x: x - 2, 1.0, 2.0, 1e-10) == 2.0


def test_one_sign_at_both_ends_is_refused():
    with pytest.raises(ValueError, match="one sign"):
        root(lambda x: x * x + 1, -1.0, 1.0, 1e-10)
