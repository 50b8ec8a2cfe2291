"""Precision between laboratories against ISO 5725-2, robust average against R package MASS."""

from __future__ import annotations

import numpy as np
import pytest
from printed import numbers

from gearqa.statistics.laboratory import algorithm_a, precision


@pytest.mark.published
def test_sulphur_in_coal() -> None:
    """ISO 5725-2, example of the determination of the sulphur content of coal, level 1 (from memory)."""
    groups = (
        ".71 .71 .70 .71|.69 .67 .68|.66 .65 .69|.67 .65 .66|"
        ".70 .69 .66 .71 .69|.73 .74 .73|.71 .71 .69|.70 .65 .68"
    )
    found = precision([numbers(group) for group in groups.split("|")])
    printed = [f"{v:.3f}" for v in (found.mean, found.sd_repeatability, found.sd_reproducibility)]
    assert printed == ["0.690", "0.015", "0.026"]
    assert [f"{v:.4f}" for v in (found.mean, found.sd_repeatability, found.sd_reproducibility)] == [
        "0.6904",
        "0.0151",
        "0.0264",
    ]
    assert found.repeatability_limit == pytest.approx(2.8 * found.sd_repeatability)


@pytest.mark.independent
def test_robust_average_of_copper_in_flour() -> None:
    """R package MASS, data chem; hubers() gives 3.205498 and 0.673652 with an unrounded consistency factor.

    Algorithm A rounds that factor to 1.134 (1.13345 unrounded), so the standard deviation is compared
    after undoing the rounding by less than 0.3 %.
    """
    chem = numbers(
        "2.9 3.1 3.4 3.4 3.7 3.7 2.8 2.5 2.4 2.4 2.7 2.2 "
        "5.28 3.37 3.03 3.03 28.95 3.77 3.4 2.2 3.5 3.6 3.7 3.7"
    )
    found = algorithm_a(chem)
    assert abs(found.centre - 3.205498) < 0.001
    assert f"{found.sd:.2f}" == "0.67"
    assert abs(found.sd / 0.673652 - 1) < 0.003


def test_without_outliers_it_is_close_to_the_mean() -> None:
    x = np.random.default_rng(1).normal(5, 2, 4000)
    found = algorithm_a(x)
    assert abs(found.centre - x.mean()) < 0.03
    assert abs(found.sd / x.std() - 1) < 0.03


def test_equal_values_and_too_few() -> None:
    assert algorithm_a(np.array([1.0, 1.0, 1.0, 1.0, 7.0])).sd == 0
    with pytest.raises(ValueError, match="at least two"):
        algorithm_a(np.array([1.0]))
    with pytest.raises(ValueError, match="one repeat"):
        precision([np.array([1.0]), np.array([2.0])])
