"""Whether ball readings and pitch were measured in the same mounting: the same eccentricity in both."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from gearqa.diagnosis.decomposition import Decomposition
from gearqa.diagnosis.observations import RUNOUT
from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.part_setup import PartSetup
from gearqa.symbols import FLANKS
from gearqa.wording.numbers import fixed_text, um_text

LEAST_UM: Final = 1.0
"""Differences that do not matter to anybody."""
MODEL_ERROR: Final = 0.05
"""Of the eccentricity: a ball touches elsewhere than on the reference circle."""
FEWEST_SPACES: Final = 8


def mounting_notice(fit: Decomposition, setup: PartSetup, risk: float) -> Notice | None:
    """A warning where ball readings have a first order that pitch and traces have not; `risk` of a false
    one. None without ball readings and the pitch of both flanks."""
    from scipy import special

    spaces = fit.layout.spaces
    n = len(spaces)
    if fit.layout.runout_less_pitch != FLANKS or n < FEWEST_SPACES:
        return None
    rest = fit.residual[fit.layout.groups == RUNOUT]
    g = setup.geometry
    angle = 2 * math.pi * (spaces + 0.5) / g.z
    X = np.stack([np.ones(n), np.cos(angle), np.sin(angle)], axis=1)
    theta, *_ = np.linalg.lstsq(X, rest, rcond=None)
    left = rest - X @ theta
    variance = max(float(left @ left) / (n - 3), 1e-12)
    p = float(special.fdtrc(2, n - 3, n * float(theta[1] ** 2 + theta[2] ** 2) / 4 / variance))
    pitch = next((one.amplitudes for one in fit.found if one.effect.key == "eccentricity"), np.zeros(2))
    size = math.hypot(theta[1], theta[2])
    if p > risk or size < max(LEAST_UM, MODEL_ERROR * math.hypot(*pitch)):
        return None
    balls = pitch + theta[1:]
    return Notice(
        NoticeCode.MOUNTINGS_DIFFER,
        f"ball readings show the toothing {_vector(*balls)}, pitch and traces {_vector(*pitch)}: measured in "
        "two mountings? Then the eccentricity found is that of pitch and traces, and Fr keeps the rest",
    )


def _vector(x: float, y: float) -> str:
    return f"{um_text(math.hypot(x, y))} off centre at {fixed_text(math.degrees(math.atan2(y, x)) % 360, 0)}°"
