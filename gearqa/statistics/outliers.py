"""Grubbs' test for one outlier; it flags, it never removes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from gearqa.statistics.control_charts import reference_factor


def grubbs_statistic(values: ArrayLike) -> tuple[float, int]:
    """Largest distance from the mean in standard deviations, and whose it is.

    Grubbs, Technometrics 11 (1969) 1; NIST/SEMATECH e-Handbook 1.3.5.17.1 (from memory).

    Parameters
    ----------
    values : array_like, shape (n,)
        Values, n >= 3, not all equal. [any]

    Returns
    -------
    tuple of (float, int)
        G, and the index of the value. [-]

    Examples
    --------
    >>> g, index = grubbs_statistic([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    >>> round(g, 5), index
    (2.46876, 7)
    """
    x = np.asarray(values, dtype=np.float64)
    distance = np.abs(x - x.mean()) / x.std(ddof=1)
    index = int(np.argmax(distance))
    return float(distance[index]), index


def grubbs_critical(n: int, significance: float, *, two_sided: bool = True) -> float:
    """Value of G beyond which the farthest value counts as an outlier.

    Grubbs, Technometrics 11 (1969) 1; NIST/SEMATECH e-Handbook 1.3.5.17.1 (from memory).

    Parameters
    ----------
    n : int
        Values, n >= 3. [-]
    significance : float
        Probability of a false flag in normal values. [-]
    two_sided : bool
        Outliers on either side. [-]

    Returns
    -------
    float
        Critical value. [-]

    Examples
    --------
    >>> round(grubbs_critical(8, 0.05, two_sided=False), 3)
    2.032
    """
    return reference_factor(n, significance / (n if two_sided else n / 2))
