"""Variance components of incomplete studies, against statsmodels and the analysis of variance."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load
from scipy import stats

from gearqa.statistics.gauge_study import gauge_study, linearity_study
from gearqa.statistics.mixed_model import components_by_reml, incomplete_gauge_study


def some_study(seed, *, items=10, operators=3, trials=3, sds=(2.0, 0.6, 0.5, 0.4)):
    rng = np.random.default_rng(seed)
    item, operator, both, rest = sds
    return (
        item * rng.normal(size=(items, 1, 1))
        + operator * rng.normal(size=(1, operators, 1))
        + both * rng.normal(size=(items, operators, 1))
        + rest * rng.normal(size=(items, operators, trials))
    )


@pytest.mark.independent
@pytest.mark.parametrize("seed", range(6))
def test_a_complete_study_gives_the_analysis_of_variance(seed):
    """Where no component of the two-way analysis of variance is below 0."""
    x = some_study(seed)
    by_anova = gauge_study(x, pool_above=0.0)
    raw = by_anova.variance_unclipped
    by_reml = incomplete_gauge_study(x, pool_above=0.0)
    if (
        by_anova.interaction_pooled != by_reml.interaction_pooled
        or min(raw.operator, raw.interaction, raw.item) < 0
    ):
        pytest.skip("a component came out below 0")
    for name in ("repeatability", "operator", "interaction", "item", "gauge"):
        assert getattr(by_reml.variance, name) == pytest.approx(getattr(raw, name), rel=1e-6), name
    assert by_reml.gauge_sd == pytest.approx(by_anova.gauge_sd, rel=1e-6)
    assert by_reml.percent_of_total_variation == pytest.approx(by_anova.percent_of_total_variation, rel=1e-6)


@pytest.mark.independent
@pytest.mark.parametrize("seed", [3, 11])
def test_an_incomplete_study_against_statsmodels(seed):
    """statsmodels MixedLM, crossed random effects as variance components of one group, REML."""
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    x = some_study(seed)
    rng = np.random.default_rng(seed)
    keep = rng.random(x.shape) < 0.8
    keep[0, 1] = False
    where, y = np.argwhere(keep), x[keep]
    cell = where[:, 0] * 3 + where[:, 1]
    design = [
        (group[:, None] == np.unique(group)[None, :]).astype(float)
        for group in (where[:, 0], where[:, 1], cell)
    ]
    names = ["item", "operator", "cell"]
    spec = VCSpec(names, [[[f"c{k}" for k in range(d.shape[1])]] for d in design], [[d] for d in design])
    model = MixedLM(y, np.ones((len(y), 1)), groups=np.zeros(len(y)), exog_vc=spec)
    fitted = model.fit(reml=True, method="lbfgs")
    ours = components_by_reml(y - y.mean(), (where[:, 0], where[:, 1], cell))
    theirs = [*fitted.vcomp, fitted.scale]
    assert ours.variances == pytest.approx(theirs, rel=5e-3, abs=5e-4)


@pytest.mark.independent
def test_no_better_likelihood_nearby():
    """The restricted likelihood, written out here, falls in every direction from what was found."""
    x = some_study(5)
    keep = np.random.default_rng(5).random(x.shape) < 0.7
    where, y = np.argwhere(keep), x[keep]
    groups = (where[:, 0], where[:, 1])
    found = components_by_reml(y, groups)

    def likelihood(theta):
        V = theta[-1] * np.eye(len(y))
        for t, group in zip(theta[:-1], groups, strict=True):
            V = V + t * (group[:, None] == group[None, :])
        inverse = np.linalg.inv(V)
        total = inverse.sum()
        rest = y - (inverse.sum(axis=0) @ y) / total
        return -0.5 * (np.linalg.slogdet(V)[1] + np.log(total) + rest @ inverse @ rest)

    best = likelihood(found.variances)
    assert found.log_likelihood == pytest.approx(best, abs=1e-8)
    for place in range(3):
        for factor in (0.98, 1.02):
            near = found.variances.copy()
            near[place] *= factor
            assert likelihood(near) < best


@pytest.mark.independent
def test_the_interval_holds_what_it_states():
    """60 incomplete studies, 10 items, 6 operators, 2 trials: the interval of 95 % holds in 53 or more."""
    truth = np.sqrt(0.3**2 + 0.4**2)
    held = 0
    for seed in range(60):
        x = some_study(seed, operators=6, trials=2, sds=(2.0, 0.3, 0.0, 0.4))
        x[np.random.default_rng(seed).random(x.shape) < 0.15] = np.nan
        low, high = incomplete_gauge_study(x).gauge_sd_interval
        held += low <= truth <= high
    assert held >= 53


def test_a_component_below_0_is_0_and_too_few_values_are_refused():
    x = some_study(1, sds=(2.0, 0.0, 0.0, 1.0))
    x[2, 1, 0] = np.nan
    assert min(incomplete_gauge_study(x).variance.operator, 0.0) == 0.0
    with pytest.raises(ValueError, match="too few"):
        incomplete_gauge_study(np.where(np.eye(3)[:, :, None] > 0, 1.0, np.nan))


@pytest.mark.independent
def test_linearity_against_scipy():
    """scipy.stats.linregress."""
    x, y = np.array([-6.0, -2.0, 1.0, 3.0, 8.0]), np.array([0.4, 0.1, -0.2, 0.1, -0.5])
    ours, theirs = linearity_study(x, y), stats.linregress(x, y)
    assert (ours.slope, ours.intercept, ours.p) == pytest.approx(
        (theirs.slope, theirs.intercept, theirs.pvalue)
    )
    half = stats.t.ppf(0.975, 3) * theirs.stderr
    assert ours.slope_interval == pytest.approx((theirs.slope - half, theirs.slope + half))
    with pytest.raises(ValueError, match="three or more"):
        linearity_study(x[:2], y[:2])


@pytest.mark.published
@pytest.mark.parametrize("component", ["group", "residual"])
@pytest.mark.parametrize(
    ("name", "between", "within", "size"),
    [("SiRstv", 1.27865654e-02, 1.08318280e-02, 5), ("SmLs01", 2.1e-01, 1.0e-02, 21)],
)
def test_components_on_one_way_layouts_of_nist(name, between, within, size, component):
    """NIST StRD; of equal groups the components are (between - within)/size and within, of the certified
    mean squares. Seven digits: the equations are repeated until they settle."""
    rows = [row for row in load("nist_one_way").rows if row["set"] == name]
    groups = np.array([int(row["group"]) for row in rows])
    found = components_by_reml(np.array([float(row["value"]) for row in rows]), (groups,)).variances
    value, certified = {
        "group": (found[0], (between - within) / size), "residual": (found[1], within),
    }[component]  # fmt: skip
    assert f"{value:.6e}" == f"{certified:.6e}"


@pytest.mark.published
@pytest.mark.parametrize("what", ["slope", "intercept", "spread of the slope"])
def test_the_line_of_linearity_on_nist_norris(what):
    """NIST StRD Norris, certified to 15 digits: coefficients, and the standard deviation of the slope."""
    data = np.array([[float(row["x"]), float(row["y"])] for row in load("nist_norris").rows])
    line = linearity_study(data[:, 0], data[:, 1])
    low, high = line.slope_interval
    found, certified = {
        "slope": (line.slope, 1.00211681802045e00),
        "intercept": (line.intercept, -0.262323073774029e00),
        "spread of the slope": ((high - low) / 2 / stats.t.ppf(0.975, 34), 0.429796848199937e-03),
    }[what]
    assert f"{found:.10e}" == f"{certified:.10e}"


@pytest.mark.independent
def test_a_small_study_whose_items_differ_much_settles():
    """5 values of 3 items: a whole step overshoots; likelihood on a grid, written out here."""
    y = np.array([-0.1622, 0.1504, 1.3507, 2.7792, 2.5310])
    item, operator = np.array([0, 0, 1, 2, 2]), np.array([0, 1, 0, 0, 1])

    def likelihood(a, b, e):
        V = a * (item[:, None] == item) + b * (operator[:, None] == operator) + e * np.eye(5)
        inverse = np.linalg.inv(V)
        total = inverse.sum()
        rest = y - (inverse.sum(axis=0) @ y) / total
        return -0.5 * (np.linalg.slogdet(V)[1] + np.log(total) + rest @ inverse @ rest)

    grid = [
        likelihood(a, b, e)
        for a in np.linspace(0.2, 4, 20)
        for b in (0.0, 0.01, 0.1)
        for e in np.geomspace(0.005, 1, 20)
    ]
    assert components_by_reml(y - y.mean(), (item, operator)).log_likelihood >= max(grid)
