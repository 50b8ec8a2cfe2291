"""Study of a measuring instrument: crossed analysis of variance, calibrated gear, certificate."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, fdtrc, stdtr, stdtrit

from gearqa.arrays import Array
from gearqa.statistics.agreement import en_number
from gearqa.statistics.location import mean_interval

POOL_ABOVE = 0.25
"""The interaction is pooled with the repeatability if the p of its F test is larger."""


@dataclass(frozen=True, slots=True)
class SumsOfSquares:
    item: float
    operator: float
    interaction: float
    repeatability: float
    total: float


@dataclass(frozen=True, slots=True)
class VarianceComponents:
    """Clipped at 0; `unclipped` of the study keeps what came out."""

    repeatability: float
    operator: float
    interaction: float
    item: float
    gauge: float


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """Result of a crossed study of items, operators (set-ups, days) and trials."""

    items: int
    operators: int
    trials: int
    sum_of_squares: SumsOfSquares | None
    """None for an incomplete study, which has none."""
    interaction_p: float | None
    """p of the F test of the interaction; None for one operator or one trial."""
    interaction_pooled: bool
    variance: VarianceComponents
    variance_unclipped: VarianceComponents
    gauge_sd: float
    gauge_sd_interval: tuple[float, float]
    """Modified large sample."""
    percent_of_total_variation: float | None
    percent_of_tolerance: float | None
    distinct_categories: int | None


@dataclass(frozen=True, slots=True)
class ReferenceGearStudy:
    """Repeated measurement of one calibrated gear."""

    n: int
    mean: float
    bias: float
    bias_interval: tuple[float, float]
    bias_significant: bool
    sd: float
    Cg: float | None
    Cgk: float | None
    U: float | None
    """Expanded uncertainty, k = 2; None without the uncertainty of the reference."""
    few: bool
    """Fewer than 25 measurements."""


@dataclass(frozen=True, slots=True)
class LinearityStudy:
    """Whether the bias changes with the size of what is measured, from several calibrated gears."""

    gears: int
    slope: float
    """Bias per unit of the reference."""
    slope_interval: tuple[float, float]
    intercept: float
    p: float


@dataclass(frozen=True, slots=True)
class CertificateComparison:
    """Bias and spread against a calibration certificate and the uncertainty stated for the instrument."""

    en: float | None
    """None if one of the uncertainties is unknown."""
    agrees: bool | None
    spread_within: bool | None
    """Whether 2 sd stays within the stated uncertainty."""


def gauge_study(
    values: Array,
    *,
    limits: tuple[float | None, float] | None = None,
    pool_above: float = POOL_ABOVE,
    confidence: float = 0.95,
) -> GaugeStudy:
    r"""Crossed study by two-way analysis of variance with interaction.

    AIAG, Measurement Systems Analysis, 4th edition, chapter III B (from memory); interval: Burdick,
    Borror and Montgomery, Design and Analysis of Gauge R&R Studies (2005), modified large sample
    (from memory).

    .. math::
        \sigma_O^2 = \frac{MS_O - MS_{OP}}{pr},\; \sigma_{OP}^2 = \frac{MS_{OP} - MS_E}{r},\;
        \sigma_P^2 = \frac{MS_P - MS_{OP}}{or}

    Parameters
    ----------
    values : ndarray, shape (items, operators, trials)
        Values of a complete study. [um]
    limits : tuple of float, or None
        Lower (None: upper limit only) and upper limit of the drawing. [um]
    pool_above : float
        The interaction is pooled if its p is larger. [-]
    confidence : float
        Of the interval of the gauge standard deviation. [-]

    Returns
    -------
    GaugeStudy
        Sums of squares, variances, gauge standard deviation and what it means. [um^2, um, %]

    Raises
    ------
    ValueError
        If the study is not complete (NaN) or has fewer than two items or, for one operator, trials.

    Notes
    -----
    The interval uses the mean squares before pooling. One operator: repeatability only.

    Examples
    --------
    >>> values = np.array([[[1.0, 1.2], [1.1, 1.0]], [[3.0, 3.1], [3.2, 3.0]], [[5.1, 5.0], [5.0, 5.2]]])
    >>> study = gauge_study(values, limits=(None, 8.0))
    >>> round(study.gauge_sd, 4), study.distinct_categories
    (0.101, 27)
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 3 or not np.all(np.isfinite(x)):
        raise ValueError("the study must be complete: one value for every item, operator and trial")
    p, o, r = x.shape
    if p < 2 or (o < 2 and r < 2):
        raise ValueError(f"{p} items, {o} operators, {r} trials: at least two items and two values of each")
    grand = float(x.mean())
    by_item, by_operator, cell = x.mean(axis=(1, 2)), x.mean(axis=(0, 2)), x.mean(axis=2)
    ss = SumsOfSquares(
        item=float(o * r * np.sum((by_item - grand) ** 2)),
        operator=float(p * r * np.sum((by_operator - grand) ** 2)),
        interaction=float(r * np.sum((cell - by_item[:, None] - by_operator[None, :] + grand) ** 2)),
        repeatability=float(np.sum((x - cell[:, :, None]) ** 2)),
        total=float(np.sum((x - grand) ** 2)),
    )
    df_O, df_OP, df_E = o - 1, (p - 1) * (o - 1), p * o * (r - 1)
    MS_P = ss.item / (p - 1)
    MS_O = ss.operator / df_O if df_O else 0.0
    MS_OP = ss.interaction / df_OP if df_OP else 0.0
    MS_E = ss.repeatability / df_E if df_E else 0.0
    p_value: float | None = None
    if df_OP and df_E:
        p_value = float(fdtrc(df_OP, df_E, MS_OP / MS_E)) if MS_E > 0 else (0.0 if MS_OP > 0 else 1.0)
    pooled = df_OP > 0 and (p_value is None or p_value > pool_above)
    if df_OP == 0:
        raw = VarianceComponents(MS_E, 0.0, 0.0, (MS_P - MS_E) / r, MS_E)
    elif pooled:
        MS = (ss.interaction + ss.repeatability) / (df_OP + df_E)
        operator = (MS_O - MS) / (p * r)
        raw = VarianceComponents(MS, operator, 0.0, (MS_P - MS) / (o * r), MS + operator)
    else:
        operator, interaction = (MS_O - MS_OP) / (p * r), (MS_OP - MS_E) / r
        gauge = MS_E + operator + interaction
        raw = VarianceComponents(MS_E, operator, interaction, (MS_P - MS_OP) / (o * r), gauge)
    operator, interaction, item = (max(0.0, v) for v in (raw.operator, raw.interaction, raw.item))
    clipped = VarianceComponents(
        raw.repeatability, operator, interaction, item, raw.repeatability + operator + interaction
    )
    sd, of_total, of_tolerance, categories = gauge_meaning(clipped, limits)
    interval = _gauge_interval((MS_O, MS_OP, MS_E), (df_O, df_OP, df_E), (p, r), (1 - confidence) / 2)
    return GaugeStudy(
        items=p,
        operators=o,
        trials=r,
        sum_of_squares=ss,
        interaction_p=p_value,
        interaction_pooled=pooled,
        variance=clipped,
        variance_unclipped=raw,
        gauge_sd=sd,
        gauge_sd_interval=interval,
        percent_of_total_variation=of_total,
        percent_of_tolerance=of_tolerance,
        distinct_categories=categories,
    )


def gauge_meaning(
    variance: VarianceComponents, limits: tuple[float | None, float] | None
) -> tuple[float, float | None, float | None, int | None]:
    r"""What variance components mean against the tolerance and against the items.

    AIAG, Measurement Systems Analysis, 4th edition, chapter III B (from memory).

    .. math:: 600\,\sigma_g/(U - L),\quad \lfloor 1.41\,\sigma_P/\sigma_g \rfloor

    Parameters
    ----------
    variance : VarianceComponents
        None below 0. [um^2]
    limits : tuple of float, or None
        Lower (None: upper limit only) and upper limit of the drawing. [um]

    Returns
    -------
    tuple
        Gauge standard deviation, per cent of the total variation, per cent of the tolerance, distinct
        categories. [um, %, %, -]

    Examples
    --------
    By hand: 600 x 0.1 / 4 = 15.

    >>> gauge_meaning(VarianceComponents(0.01, 0.0, 0.0, 1.0, 0.01), (-2.0, 2.0))[2:]
    (15.0, 14)
    """
    sd, total = math.sqrt(variance.gauge), math.sqrt(variance.gauge + variance.item)
    of_tolerance = None
    if limits is not None:
        lower, upper = limits
        of_tolerance = 600 * sd / (upper if lower is None else upper - lower)
    categories = max(1, math.floor(1.41 * math.sqrt(variance.item) / sd)) if sd > 0 else None
    return sd, 100 * sd / total if total > 0 else None, of_tolerance, categories


def _gauge_interval(
    mean_squares: tuple[float, float, float],
    freedom: tuple[int, int, int],
    size: tuple[int, int],
    tail: float,
) -> tuple[float, float]:
    """Modified large sample interval of the gauge standard deviation, from the unpooled mean squares."""
    p, r = size
    MS, df = np.array(mean_squares), np.array(freedom, dtype=np.float64)
    present = df > 0
    weight = np.array([1.0, p - 1.0, p * (r - 1.0)])
    if not present[0]:
        weight = np.array([0.0, 0.0, float(p * r)])
    terms, df = (weight * MS)[present], df[present]
    centre = float(terms.sum())
    below = 1 - df / chdtri(df, tail)
    above = df / chdtri(df, 1 - tail) - 1
    low = centre - math.sqrt(float(np.sum((below * terms) ** 2)))
    high = centre + math.sqrt(float(np.sum((above * terms) ** 2)))
    return math.sqrt(max(low, 0.0) / (p * r)), math.sqrt(high / (p * r))


def reference_gear_study(
    values: Array,
    reference: float,
    reference_uncertainty: float | None = None,
    *,
    limits: tuple[float, float] | None = None,
) -> ReferenceGearStudy:
    r"""Bias, spread and indices of an instrument on a gear with a calibrated value.

    Cg and Cgk: common practice (from memory); uncertainty in the manner of ISO 18653:2003 and
    ISO 15530-3:2011 (from memory).

    .. math::
        C_g = \frac{0.2\,T}{6 s},\quad C_{gk} = \frac{0.1\,T - |bias|}{3 s},\quad
        U = 2\sqrt{s^2 + u_n^2 + u_w^2} + |bias|

    Parameters
    ----------
    values : ndarray, shape (n,)
        Repeated values. [um]
    reference : float
        Calibrated value. [um]
    reference_uncertainty : float or None
        Its expanded uncertainty, k = 2. [um]
    limits : tuple of float, or None
        Lower and upper limit of the drawing, for Cg and Cgk; None for a one-sided limit. [um]

    Returns
    -------
    ReferenceGearStudy
        Bias with its 95 % interval, spread, indices, expanded uncertainty. [um, -]

    Raises
    ------
    ValueError
        If there are fewer than two values.

    Notes
    -----
    The bias is not corrected, so it is added in full.

    Examples
    --------
    >>> study = reference_gear_study(np.array([2.1, 2.3, 2.2, 2.0, 2.4]), 2.0, 0.4, limits=(-8.0, 8.0))
    >>> round(study.bias, 3), round(study.Cg, 3), round(study.U, 3)
    (0.2, 3.373, 0.71)
    """
    x = np.asarray(values, dtype=np.float64)
    n = len(x)
    if n < 2:
        raise ValueError(f"{n} value: a spread needs at least two")
    mean, sd = float(x.mean()), float((x - x[0]).std(ddof=1))  # 0 where no value differs
    bias = mean - reference
    low, high = mean_interval(bias, sd, n)
    Cg = Cgk = None
    if limits is not None and sd > 0:
        T = limits[1] - limits[0]
        Cg, Cgk = 0.2 * T / (6 * sd), (0.1 * T - abs(bias)) / (3 * sd)
    U = None
    if reference_uncertainty is not None:
        U = 2 * math.sqrt(sd**2 + (reference_uncertainty / 2) ** 2) + abs(bias)
    return ReferenceGearStudy(n, mean, bias, (low, high), not low <= 0 <= high, sd, Cg, Cgk, U, n < 25)


def linearity_study(references: Array, biases: Array) -> LinearityStudy:
    r"""Straight line of bias against calibrated value, one point a gear.

    Ordinary least squares; the gears are the independent ones, since all values of one gear share the
    error of its calibration. AIAG, Measurement Systems Analysis, 4th edition, chapter III A, takes every
    value for independent (from memory).

    .. math:: bias_i = a + b\,reference_i

    Parameters
    ----------
    references : ndarray, shape (n,)
        Calibrated values. [um]
    biases : ndarray, shape (n,)
        Mean measured less calibrated. [um]

    Returns
    -------
    LinearityStudy
        Slope, 95 % interval, intercept, p of the slope. [-, um]

    Raises
    ------
    ValueError
        If there are fewer than three gears or all are calibrated alike.

    Examples
    --------
    Computed by hand: slope 0.1, sum of squared residuals 0.

    >>> found = linearity_study(np.array([-5.0, 0.0, 5.0]), np.array([-0.4, 0.1, 0.6]))
    >>> round(found.slope, 12), round(found.intercept, 12)
    (0.1, 0.1)
    """
    x, y = np.asarray(references, dtype=np.float64), np.asarray(biases, dtype=np.float64)
    n, spread = len(x), float(np.sum((x - x.mean()) ** 2))
    if n < 3 or spread == 0:
        raise ValueError(f"{n} gears: a line needs three or more that differ")
    slope = float(np.sum((x - x.mean()) * y)) / spread
    intercept = float(y.mean()) - slope * float(x.mean())
    rest = y - intercept - slope * x
    error = math.sqrt(float(rest @ rest) / (n - 2) / spread)
    half = float(stdtrit(n - 2, 0.975)) * error
    p = 2 * float(stdtr(n - 2, -abs(slope) / error)) if error > 0 else (0.0 if slope else 1.0)
    return LinearityStudy(n, slope, (slope - half, slope + half), intercept, p)


def certificate_comparison(
    study: ReferenceGearStudy, reference_uncertainty: float | None, stated_uncertainty: float | None
) -> CertificateComparison:
    r"""Bias and spread against the certificate and the instrument's stated uncertainty.

    En number of ISO/IEC 17043 and ISO 13528:2022; ISO 18653:2003 for the task (from memory).

    .. math:: E_n = bias/\sqrt{U^2 + U_{ref}^2}

    Parameters
    ----------
    study : ReferenceGearStudy
        Study on the calibrated gear. [um]
    reference_uncertainty : float or None
        Expanded uncertainty of the certificate, k = 2. [um]
    stated_uncertainty : float or None
        Expanded uncertainty stated for the instrument, k = 2. [um]

    Returns
    -------
    CertificateComparison
        En, agreement, whether the spread fits. [-]

    Examples
    --------
    >>> study = reference_gear_study(np.array([2.1, 2.3, 2.2, 2.0, 2.4]), 2.0, 0.4)
    >>> found = certificate_comparison(study, 0.4, 0.7)
    >>> round(found.en, 3), found.agrees, found.spread_within
    (0.248, True, True)
    """
    en = None
    if reference_uncertainty is not None and stated_uncertainty is not None:
        en = en_number(study.bias, reference_uncertainty, stated_uncertainty)
    return CertificateComparison(
        en=en,
        agrees=None if en is None else abs(en) <= 1,
        spread_within=None if stated_uncertainty is None else 2 * study.sd <= stated_uncertainty,
    )
