"""Control charts against the NIST/SEMATECH e-Handbook and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from printed import numbers

from gearqa.statistics.control_charts import (
    ewma,
    ewma_half_width,
    future_factor,
    moving_range_factor,
    reference_factor,
)


@pytest.mark.published
def test_ewma_example_of_the_handbook() -> None:
    """NIST/SEMATECH 6.3.2.4 (from memory): limits are those that the chart comes to."""
    x = numbers(
        "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
    )
    printed = numbers(
        "50.6000 49.5200 50.5640 50.1848 50.1594 49.2116 49.7481 49.8537 50.2576 50.3303 "
        "50.1112 49.3578 49.5205 50.0543 49.3780 49.9246 50.7272 51.2291 51.9403 51.9882"
    )
    assert ewma(x, 0.3, 50.0).round(4).tolist() == printed.tolist()
    half = float(2.0539 * ewma_half_width(100, 0.3, 3.0)[-1])
    # The handbook prints 52.5884 and 47.4115; 3 sqrt(0.3/1.7) 2.0539 = 2.58843.
    assert f"{50 + half:.4f}" == "52.5884"
    assert abs(50 - half - 47.4115) < 1e-4
    # R package qcc 2.7, ewma(): time-varying limits at the first two points.
    growing = 2.0539 * ewma_half_width(20, 0.3, 3.0)
    assert (f"{50 - growing[0]:.5f}", f"{50 + growing[0]:.5f}") == ("48.15149", "51.84851")
    assert (f"{50 - growing[1]:.6f}", f"{50 + growing[1]:.6f}") == ("47.743606", "52.256394")


@pytest.mark.independent
def test_factors_for_few_values_keep_their_rate() -> None:
    """Simulated: new value, member of the reference, moving ranges inside and outside."""
    rng = np.random.default_rng(20)
    m, rate, n = 8, 0.02, 200_000
    x = rng.standard_normal((n, m + 2))
    own, new = x[:, :m], x[:, m:]
    mean, sd = own.mean(axis=1), own.std(axis=1, ddof=1)
    found = {
        "future": np.mean(np.abs(new[:, 0] - mean) > future_factor(m, rate) * sd),
        "reference": np.mean(np.abs(own[:, 3] - mean) > reference_factor(m, rate) * sd),
        "range, new": np.mean(
            np.abs(new[:, 1] - new[:, 0]) > moving_range_factor(m, rate, inside=False) * sd
        ),
        "range, inside": np.mean(
            np.abs(own[:, 5] - own[:, 4]) > moving_range_factor(m, rate, inside=True) * sd
        ),
    }
    four_se = 4 * np.sqrt(rate * (1 - rate) / n)
    for name, value in found.items():
        assert abs(value - rate) < four_se, name
