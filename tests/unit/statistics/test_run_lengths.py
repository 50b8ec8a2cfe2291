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
    elif row["chart"] == "ewma":
        value = rl.ewma_run_length(float(row["weight"]), float(row["factor"]), shift)
    else:
        head = float(row["head_start"] or 0)
        two_sided = row["chart"] == "cusum"
        value = rl.cusum_run_length(
            float(row["weight"]), float(row["limit"]), shift, head, two_sided=two_sided
        )
    assert as_printed(value, row["arl"]) == same(row["arl"])


@pytest.mark.parametrize("row", load("drift_run_lengths").params())
def test_run_lengths_under_linear_drift(row: dict[str, str]) -> None:
    drift = float(row["drift"])
    if row["chart"] == "ewma":
        value = rl.ewma_drift_run_length(0.2, 2.8593, drift)
    else:
        value = rl.shewhart_drift_run_length(drift)
    assert as_printed(value, row["arl"]) == same(row["arl"])


@pytest.mark.independent
def test_limits_for_a_chosen_run_length() -> None:
    """R package spc 0.6.7: xewma.crit and xcusum.crit."""
    for weight, printed in ((0.05, "2.490146"), (0.1, "2.701461"), (0.2, "2.859338"), (0.25, "2.898024")):
        assert f"{rl.ewma_factor(weight, 370.4):.6f}" == printed
    for weight, printed in ((0.1, "2.814310"), (0.2, "2.962178"), (0.3, "3.023025")):
        assert f"{rl.ewma_factor(weight, 500.0):.6f}" == printed
    assert f"{rl.cusum_limit(0.5, 370.4):.5f}" == "4.77490"
    assert f"{rl.cusum_limit(0.5, 500.0):.5f}" == "5.07070"


@pytest.mark.published
@pytest.mark.parametrize(
    ("k", "h", "arl"),
    [
        (0.25, 8.01, "370.3"),
        (0.5, 4.77, "368.6"),
        (0.75, 3.34, "370.6"),
        (1, 2.52, "372.8"),
        (1.25, 1.99, "373.5"),
        (1.5, 1.61, "376.3"),
    ],
)
def test_hawkins_table_of_cusum_limits(k: float, h: float, arl: str) -> None:
    """k and h from Hawkins (1993) (from memory), run length by R package spc 0.6.7."""
    assert f"{rl.cusum_run_length(float(k), h):.1f}" == arl


@pytest.mark.independent
def test_quantile_and_mean_by_simulation() -> None:
    rng = np.random.default_rng(11)
    x = rng.standard_normal((20_000, 150)) + 1.0
    factor = rl.ewma_factor(0.2, 370.4)
    half = factor * np.sqrt(0.2 / 1.8)
    run = np.argmax(np.abs(np.array([ewma(row, 0.2, 0.0) for row in x])) > half, axis=1) + 1
    q = rl.ewma_run_length_quantile(0.2, factor, 1.0)
    assert np.mean(run <= q) > 0.95 - 0.006
    assert np.mean(run <= q - 1) < 0.95 + 0.006
    assert abs(run.mean() - rl.ewma_run_length(0.2, factor, 1.0)) < 4 * run.std() / np.sqrt(len(run))
    # Individuals chart: geometric, closed form.
    q = rl.ewma_run_length_quantile(1.0, 3.0, 1.0)
    silent = 1 - 1 / rl.shewhart_run_length(1.0)
    assert 1 - silent**q >= 0.95 > 1 - silent ** (q - 1)


def test_a_drift_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="use ewma_run_length"):
        rl.ewma_drift_run_length(0.2, 2.86, 0.0)
    with pytest.raises(ValueError, match="use shewhart_run_length"):
        rl.shewhart_drift_run_length(0.0)


def test_family_and_series_rates_invert_each_other() -> None:
    # 16 series at 0.27 %: 4.2 % of gears alarm by chance.
    assert f"{rl.family_rate(0.0027, 16):.3f}" == "0.042"
    assert rl.family_rate(rl.per_series_rate(0.01, 23), 23) == pytest.approx(0.01, rel=1e-12)
