"""Do the reported figures agree with ours: the En rule value by value, over all values together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gearqa.model.incoming import ComparedValue, Verdict, VerdictReason
from gearqa.statistics.agreement import allowed_beyond, largest_en

TENTH: Final = 0.1
"""Share of the tolerance taken as each side's U where none is stated (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Agreed:
    """The verdict on the figures, and what it rests on."""

    verdict: Verdict
    reason: VerdictReason
    judged: int
    beyond: int
    """Values that differ by more than both uncertainties allow."""
    allowed: int
    """So many may, of so many values."""


def allowed_um(theirs: float | None, ours: float | None, tolerance: float | None) -> float | None:
    """What both uncertainties allow; one that is not stated is taken as the other. [um]

    >>> allowed_um(3.0, 4.0, None), allowed_um(None, None, 10.0), allowed_um(None, None, None)
    (5.0, 1.4142135623730951, None)
    """
    assumed = None if tolerance is None else TENTH * tolerance
    one, other = theirs or ours or assumed, ours or theirs or assumed
    return None if one is None or other is None else math.hypot(one, other)


def agreed(rows: Sequence[ComparedValue], *, measured: bool, same_gears: bool | None) -> Agreed:
    """Agree, differ, or not to be compared."""
    judged = [row for row in rows if row.within is not None]
    if not measured:
        return Agreed("not comparable", "nothing_measured", 0, 0, 0)
    if same_gears is False:
        return Agreed("not comparable", "not_the_same_gears", 0, 0, 0)
    if not judged:
        known = any(row.difference_um is not None for row in rows)
        return Agreed("not comparable", "no_uncertainty" if known else "nothing_in_common", 0, 0, 0)
    beyond, allowed = sum(row.within is False for row in judged), allowed_beyond(len(judged))
    far = max(row.share_of_allowed or 0.0 for row in judged) > largest_en(len(judged))
    differs = far or beyond > allowed
    reason: VerdictReason = "beyond_uncertainty" if differs else "within_uncertainty"
    return Agreed("differs" if differs else "agrees", reason, len(judged), beyond, allowed)
