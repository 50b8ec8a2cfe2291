"""Patterns that columns of typed figures show by chance: matches, last digits, an edge at a limit."""

from __future__ import annotations

import numpy as np
from scipy.special import bdtrc, chdtrc, log_ndtr, ndtr

from gearqa.arrays import Array


def tail_of_matches(probabilities: Array, matches: int) -> float:
    """Probability of so many matches or more among independent places, each with its own chance.

    Poisson binomial distribution, by convolution.

    Parameters
    ----------
    probabilities : ndarray, shape (n,)
        Chance of a match at every place. [-]
    matches : int
        Matches seen. [-]

    Returns
    -------
    float
        Upper tail. [-]

    Examples
    --------
    By hand, three places: 0.1 x 0.2 x 0.3.

    >>> round(tail_of_matches(np.array([0.1, 0.2, 0.3]), 3), 12)
    0.006
    """
    chance = np.zeros(len(probabilities) + 1)
    chance[0] = 1.0
    for p in probabilities:
        chance[1:] = chance[1:] * (1 - p) + chance[:-1] * p
        chance[0] *= 1 - p
    return float(min(1.0, chance[matches:].sum()))


def uneven_digits_p(counts: Array) -> float:
    """Chance that equally likely last digits fall as unevenly as these.

    Pearson's chi-square against equal shares.

    Parameters
    ----------
    counts : ndarray, shape (categories,)
        How often every digit was typed. [-]

    Returns
    -------
    float
        Upper tail. [-]

    Examples
    --------
    Computed by hand: expected 10 each, chi-square 2 x 25/10 = 5 with 9 degrees of freedom.

    >>> round(uneven_digits_p(np.array([15, 5, 10, 10, 10, 10, 10, 10, 10, 10.0])), 4)
    0.8343
    """
    expected = counts.sum() / len(counts)
    return float(chdtrc(len(counts) - 1, ((counts - expected) ** 2 / expected).sum()))


def pile_up_p(values: Array, limit: float, width: float) -> float:
    """Chance of as many values right below a limit, where neighbouring strips hold as many.

    Binomial, against the strip below and against the strip above the limit; the larger one counts.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Values. [any]
    limit : float
        The limit; a value on it lies below. [any]
    width : float
        Of a strip. [any]

    Returns
    -------
    float
        Upper tail. [-]

    Examples
    --------
    By hand: 8 values in the strip, none in its neighbours, 0.5 to the power of 8.

    >>> pile_up_p(np.full(8, 9.95), 10.0, 0.2)
    0.00390625
    """
    edge = limit + 1e-9
    strips = [
        int(((values > low) & (values <= low + width)).sum()) for low in edge + width * np.arange(-2, 1)
    ]
    below, at, above = strips
    if at == 0:
        return 1.0
    return float(max(bdtrc(at - 1, at + below, 0.5), bdtrc(at - 1, at + above, 0.5)))


def trimmed_p(values: Array, limit: float) -> float:
    r"""Chance of a distribution that ends at a limit as if everything beyond it were missing.

    Likelihood ratio of a normal distribution cut off at the limit against the best of three whole ones
    (normal, lognormal, Weibull), so that a skewed but whole distribution does not pass for a cut one;
    half of the chi-square tail with one degree of freedom, the cut lying on one side.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Values above 0, all below the limit. [any]
    limit : float
        Where the distribution may have been cut. [any]

    Returns
    -------
    float
        Upper tail; 1 where a value exceeds the limit. [-]

    Examples
    --------
    Computed: the whole of a symmetric sample is as likely as a cut one.

    >>> trimmed_p(np.linspace(4.0, 6.0, 21), 9.0)
    0.5
    """
    x = np.asarray(values, dtype=np.float64) / limit
    if x.max() > 1 + 1e-9 or x.min() <= 0 or x.std() == 0:
        return 1.0
    whole = max(_normal(x), _normal(np.log(x)) - float(np.log(x).sum()), _weibull(x))
    gain = 2 * (_cut_normal(x) - whole)
    return 0.5 if gain <= 0 else float(chdtrc(1, gain)) / 2


def _normal(x: Array) -> float:
    return float(-len(x) * (np.log(x.std()) + 0.5 * np.log(2 * np.pi) + 0.5))


def _weibull(x: Array) -> float:
    from scipy.stats import weibull_min  # the largest library of all

    shape, _, scale = weibull_min.fit(x, floc=0)
    return float(weibull_min.logpdf(x, shape, scale=scale).sum())


def _cut_normal(x: Array) -> float:
    from scipy.optimize import minimize

    def minus(theta: Array) -> float:
        mean, sd = theta[0], np.exp(theta[1])
        z = (x - mean) / sd
        whole = -0.5 * (z @ z) - len(x) * (theta[1] + 0.5 * np.log(2 * np.pi))
        return float(-(whole - len(x) * log_ndtr((1 - mean) / sd)))

    start = np.array([x.mean(), np.log(x.std())])
    # The mean stays within three widths of the sample: beyond it the cut normal is an exponential rise.
    bounds = [(x.min() - 1, 1 + 3 * x.std()), (start[1] - 1, start[1] + 1.5)]
    return -float(minimize(minus, start, bounds=bounds, method="L-BFGS-B").fun)


def coincidence(digit: float, sd: float) -> float:
    r"""Chance that two normal values of one spread are typed as the same figure.

    .. math:: 2\,\Phi\!\left(\frac{h}{2\sqrt 2\,\sigma}\right) - 1

    Derived: the chance that they differ by less than half a digit, about h over 2 sqrt(pi) sigma.

    Parameters
    ----------
    digit : float
        Last digit h. [any]
    sd : float
        Standard deviation of each value. [any]

    Returns
    -------
    float
        Chance. [-]

    Examples
    --------
    By hand for a fine digit: 0.01 / (2 sqrt(pi) 1) = 0.00282.

    >>> round(coincidence(0.01, 1.0), 5)
    0.00282
    """
    return 1.0 if sd == 0 else float(2 * ndtr(digit / (2 * np.sqrt(2) * sd)) - 1)
