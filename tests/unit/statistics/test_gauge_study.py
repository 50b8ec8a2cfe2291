"""Gauge study against the AIAG data set and its published results, and lme4."""

from __future__ import annotations

import math

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics.gauge_study import certificate_comparison, gauge_study, reference_gear_study


def aiag() -> np.ndarray:
    values = np.full((10, 3, 3), np.nan)
    for row in load("gauge_study").rows:
        values[int(row["item"]) - 1, "ABC".index(row["operator"]), int(row["trial"]) - 1] = float(
            row["value"]
        )
    return values


@pytest.mark.published
def test_aiag_pooled() -> None:
    """AIAG MSA 4th edition, analysis of variance of the example (from memory)."""
    study = gauge_study(aiag())
    ss = study.sum_of_squares
    assert [f"{v:.6f}" for v in (ss.operator, ss.item, ss.interaction, ss.repeatability, ss.total)] == [
        "3.167262",
        "88.361934",
        "0.358982",
        "2.758933",
        "94.647112",
    ]
    assert study.interaction_pooled
    assert f"{study.interaction_p:.3f}" == "0.974"
    v = study.variance
    sds = [math.sqrt(x) for x in (v.repeatability, v.operator, v.gauge, v.item, v.gauge + v.item)]
    assert [f"{x:.6f}" for x in sds] == ["0.199933", "0.226838", "0.302372", "1.042327", "1.085300"]
    assert v.interaction == 0
    assert f"{study.percent_of_total_variation:.2f}" == "27.86"
    assert study.distinct_categories == 4
    # R lme4 1.1-31: lmer(y ~ 1 + (1 | op) + (1 | part)), REML equals the analysis of variance here.
    assert [f"{x:.7f}" for x in (sds[3], sds[1], sds[0])] == ["1.0423275", "0.2268375", "0.1999332"]


@pytest.mark.independent
def test_aiag_not_pooled_and_interval() -> None:
    """Not pooled: negative interaction component goes to 0. Interval: modified large sample."""
    study = gauge_study(aiag(), pool_above=1.0)
    v = study.variance
    assert not study.interaction_pooled
    assert [f"{math.sqrt(x):.6f}" for x in (v.repeatability, v.operator, v.gauge, v.item)] == [
        "0.214435",
        "0.228304",
        "0.313217",
        "1.043395",
    ]
    raw = study.variance_unclipped
    assert raw.interaction < 0
    assert raw.gauge == pytest.approx(v.repeatability + v.operator + raw.interaction, rel=1e-12)
    low, high = study.gauge_sd_interval
    assert (f"{low:.5f}", f"{high:.5f}") == ("0.22343", "1.45661")


def test_share_of_the_tolerance() -> None:
    values = aiag()
    sd = gauge_study(values).gauge_sd
    assert gauge_study(values, limits=(-4.0, 4.0)).percent_of_tolerance == pytest.approx(600 * sd / 8)
    assert gauge_study(values, limits=(None, 5.0)).percent_of_tolerance == pytest.approx(600 * sd / 5)
    assert gauge_study(values).percent_of_tolerance is None


def test_distinct_categories_are_rounded_down() -> None:
    """AIAG MSA 4th edition: 1.41 times the ratio, rounded down, at least 1 (from memory)."""
    values = aiag()
    items = values.mean(axis=(1, 2), keepdims=True)
    found = []
    for scale in np.linspace(0.0, 2.5, 60):
        study = gauge_study(values + (scale - 1) * items)
        ratio = math.sqrt(study.variance.item) / study.gauge_sd
        assert study.distinct_categories == max(1, math.floor(1.41 * ratio))
        found.append(study.distinct_categories)
    assert found[0] == 1
    assert found[-1] == 12


def test_gauge_without_any_scatter() -> None:
    study = gauge_study(np.broadcast_to(np.arange(5.0)[:, None, None], (5, 2, 3)))
    assert study.gauge_sd == 0
    assert study.distinct_categories is None
    assert (study.interaction_p, study.interaction_pooled) == (1.0, True)


def test_interaction_without_scatter_of_the_trials_is_certain() -> None:
    cells = np.array([[0.0, 1.0], [3.0, 3.0], [5.0, 4.0]])
    study = gauge_study(np.repeat(cells[:, :, None], 2, axis=2))
    assert (study.interaction_p, study.interaction_pooled) == (0.0, False)


@pytest.mark.parametrize("shape", [(1, 2, 3), (5, 1, 1)])
def test_one_item_or_one_value_of_each_is_no_study(shape: tuple[int, int, int]) -> None:
    with pytest.raises(ValueError, match="at least two items and two values of each"):
        gauge_study(np.arange(float(np.prod(shape))).reshape(shape))


def test_one_operator_gives_repeatability_only() -> None:
    values = aiag()[:, :1, :]
    study = gauge_study(values)
    pooled = math.sqrt(float(values[:, 0, :].var(axis=1, ddof=1).mean()))
    assert study.gauge_sd == pytest.approx(pooled)
    assert study.interaction_p is None
    low, high = study.gauge_sd_interval
    assert low < pooled < high


def test_a_missing_cell_is_an_error() -> None:
    values = aiag()
    values[3, 1, 2] = np.nan
    with pytest.raises(ValueError, match="must be complete"):
        gauge_study(values)


@pytest.mark.independent
@pytest.mark.parametrize("operators", [3, 8])
def test_interval_covers_in_simulation(operators: int) -> None:
    """Nominal 95 %; the modified large sample interval is known to stay near or above it."""
    rng = np.random.default_rng(operators)
    truth = math.sqrt(0.2**2 + 0.1**2 + 0.3**2)
    hits = 0
    for _ in range(1500):
        values = (
            rng.normal(0, 1, (10, 1, 1))
            + rng.normal(0, 0.2, (1, operators, 1))
            + rng.normal(0, 0.1, (10, operators, 1))
            + rng.normal(0, 0.3, (10, operators, 3))
        )
        low, high = gauge_study(values).gauge_sd_interval
        hits += low <= truth <= high
    assert 0.94 < hits / 1500 < 0.985


def test_reference_gear() -> None:
    """Cg and Cgk: common practice (from memory), recomputed by hand for T = 16, s = 0.5, bias 0.4."""
    offsets = np.array([-1.0, 1.0] * 13)
    x = 3.4 + offsets * 0.5 / offsets.std(ddof=1)
    study = reference_gear_study(x, 3.0, 0.6, limits=(-8.0, 8.0))
    assert study.Cg == pytest.approx(0.2 * 16 / 3.0)
    assert study.Cgk == pytest.approx((1.6 - 0.4) / 1.5)
    assert abs(study.U - (2 * math.hypot(0.5, 0.3) + 0.4)) < 1e-12
    assert study.bias_significant
    assert not study.few
    assert reference_gear_study(x[:24], 3.0).few
    assert reference_gear_study(x, 3.0).U is None
    assert reference_gear_study(x, 3.0, 0.6).Cg is None


def test_certificate() -> None:
    study = reference_gear_study(np.array([1.0, 1.4] * 13), 1.0, 0.3)
    found = certificate_comparison(study, 0.3, 0.4)
    assert found.en == pytest.approx(0.2 / 0.5)
    assert found.agrees is True
    assert 2 * study.sd > 0.4
    assert found.spread_within is False
    unknown = certificate_comparison(study, None, None)
    assert (unknown.en, unknown.agrees, unknown.spread_within) == (None, None, None)


def test_spread_that_just_fits_the_stated_uncertainty() -> None:
    study = reference_gear_study(np.array([1.0, 2.0, 3.0]), 2.0)
    assert study.sd == 1.0
    fits = [certificate_comparison(study, None, U).spread_within for U in (2.0, 1.999)]
    assert fits == [True, False]
