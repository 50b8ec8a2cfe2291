"""Run lengths against published tables, an independent program and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load
from printed import as_printed, same

from gearqa.statistics import run_lengths as rl
from gearqa.statistics.control_charts import ewma


@pytest.mark.parametrize("row", load("run_lengths").params())
def test_mean_run_lengths_as_printed(row: dict[str, str]) -> None:
    shift = float(row["shift"])
    if row["chart"] == "shewhart":
        value = rl.shewhart_run_length(shift, float(row["factor"]))
    else:
        value = rl.ewma_run_length(float(row["weight"]), float(row["factor"]), shift)
    assert as_printed(value, row["arl"]) == same(row["arl"])


@pytest.mark.independent
def test_limits_for_a_chosen_run_length() -> None:
    """R package spc 0.6.7: xewma.crit."""
    for weight, printed in ((0.05, "2.490146"), (0.1, "2.701461"), (0.2, "2.859338"), (0.25, "2.898024")):
        assert f"{rl.ewma_factor(weight, 370.4):.6f}" == printed
    for weight, printed in ((0.1, "2.814310"), (0.2, "2.962178"), (0.3, "3.023025")):
        assert f"{rl.ewma_factor(weight, 500.0):.6f}" == printed


@pytest.mark.independent
def test_mean_by_simulation() -> None:
    rng = np.random.default_rng(11)
    x = rng.standard_normal((20_000, 150)) + 1.0
    factor = rl.ewma_factor(0.2, 370.4)
    half = factor * np.sqrt(0.2 / 1.8)
    run = np.argmax(np.abs(np.array([ewma(row, 0.2, 0.0) for row in x])) > half, axis=1) + 1
    assert abs(run.mean() - rl.ewma_run_length(0.2, factor, 1.0)) < 4 * run.std() / np.sqrt(len(run))
