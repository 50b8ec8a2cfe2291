"""Factors of statistical tolerance intervals: normal and distribution-free."""

from __future__ import annotations

import math

from scipy import special

from gearqa.statistics import noncentral_t


def one_sided_factor(n: int, coverage: float, confidence: float = 0.95) -> float:
    r"""Exact factor k1 of a one-sided tolerance limit of normal values.

    ISO 16269-6:2014, one-sided, both parameters unknown (from memory); NIST/SEMATECH 7.2.6.3.

    .. math:: k_1 = t'_{\gamma;\,n-1}(\sqrt n\,z_p)/\sqrt n

    Parameters
    ----------
    n : int
        Independent values. [-]
    coverage : float
        Share of the population to be covered. [-]
    confidence : float
        Confidence level. [-]

    Returns
    -------
    float
        k1: with the given confidence at least `coverage` lie below mean + k1 sd. [-]

    Examples
    --------
    >>> round(one_sided_factor(20, 0.99), 6)
    3.295157
    """
    root = math.sqrt(n)
    return noncentral_t.quantile(confidence, n - 1, root * float(special.ndtri(coverage))) / root


def distribution_free_sample_size(coverage: float, confidence: float = 0.95) -> int:
    """Smallest sample whose largest value is a tolerance limit, whatever the distribution.

    ISO 16269-6:2014, distribution-free (from memory); Wilks, Ann. Math. Statist. 12 (1941) 91.

    Parameters
    ----------
    coverage : float
        Share of the population to be covered. [-]
    confidence : float
        Confidence level. [-]

    Returns
    -------
    int
        Smallest n with 1 - coverage^n at least the confidence. [-]

    Examples
    --------
    >>> distribution_free_sample_size(0.99), distribution_free_sample_size(0.95)
    (299, 59)
    """
    n = max(1, math.ceil(math.log1p(-confidence) / math.log(coverage)) - 1)
    while 1 - coverage**n < confidence:
        n += 1
    return n


def distribution_free_coverage(n: int, confidence: float = 0.95) -> float:
    """Share of the population that lies below the largest of n values, with given confidence.

    ISO 16269-6:2014, distribution-free (from memory); Wilks, Ann. Math. Statist. 12 (1941) 91.

    Parameters
    ----------
    n : int
        Sample size. [-]
    confidence : float
        Confidence level. [-]

    Returns
    -------
    float
        (1 - confidence)^(1/n). [-]

    Examples
    --------
    >>> round(distribution_free_coverage(20), 4)
    0.8609
    """
    return float((1 - confidence) ** (1 / n))
