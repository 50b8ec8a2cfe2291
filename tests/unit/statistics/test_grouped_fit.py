"""The fit of several kinds of observation against certified data."""

from __future__ import annotations

import numpy as np
import pytest
from oracle_file import load

from gearqa.statistics.grouped_fit import grouped_fit

CERTIFIED = np.array(
    [
        [1.0510749193e01, 1.7488832467e-01],
        [3.0762128085e00, 2.4310052139e-01],
        [5.3280138227e-01, 2.4354686618e-01],
        [4.4311088700e01, 9.4408025976e-01],
        [-1.6231428586e00, 2.8078369611e-01],
        [5.2554493756e-01, 4.8073701119e-01],
        [2.6887614440e01, 4.1612939130e-01],
        [2.1232288488e-01, 5.1460022911e-01],
        [1.4966870418e00, 2.5434468893e-01],
    ]
)
"""b1 to b9 with standard deviations, NIST StRD ENSO; b4 and b7 are periods."""
RESIDUAL_SD, FREEDOM = 2.2269642403, 159


@pytest.mark.published
def test_waves_of_nist_enso():
    """Three waves in 168 months of air pressure, of 12 months and two certified periods; columns for a
    change of the periods make the standard deviations those of the certified nonlinear fit."""
    data = np.array([[float(row["x"]), float(row["y"])] for row in load("nist_enso").rows])
    x, y = data.T
    b = CERTIFIED[:, 0]
    turns = {period: 2 * np.pi * x / period for period in (12.0, b[3], b[6])}
    waves = {period: (np.cos(turn), np.sin(turn)) for period, turn in turns.items()}

    def change_of(period, cos, sin):
        c, s = waves[period]
        return turns[period] / period * (cos * s - sin * c)

    columns = [np.ones_like(x), *waves[12.0], change_of(b[3], b[4], b[5]), *waves[b[3]]]
    columns += [change_of(b[6], b[7], b[8]), *waves[b[6]]]
    X = np.stack(columns, axis=1)
    fit = grouped_fit(y, X, np.zeros(len(y), dtype=np.int64), 1)
    changes = np.isin(np.arange(9), (3, 6))
    assert fit.theta[~changes] == pytest.approx(b[~changes], rel=1e-7)
    # the certified periods are the best ones: no change of them
    assert np.abs(fit.theta[changes]) == pytest.approx(0.0, abs=1e-6)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(CERTIFIED[:, 1], rel=1e-7)
    assert float(fit.scatter[0]) == pytest.approx(RESIDUAL_SD, rel=1e-9)
    assert fit.group_freedom[0] == pytest.approx(FREEDOM)
