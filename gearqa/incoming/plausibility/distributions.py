"""What a column of figures looks like as a whole: last digits, an edge at a limit, a lot without its tail."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.evaluation.criteria import Criteria
from gearqa.incoming.plausibility.figures import Figures
from gearqa.model.plausibility import Check
from gearqa.statistics.figure_patterns import pile_up_p, trimmed_p, uneven_digits_p
from gearqa.symbols import PARAMETERS, Flank

FEWEST_DIGITS: Final = 50
"""Five of every digit are expected: what the chi-square tail needs (common practice, no source)."""
WIDE_STEPS: Final = 6.0
"""Steps that one standard deviation must span, or last digits are not evenly spread by themselves."""
FROM_ZERO: Final = 2.0
"""Standard deviations that a column must stay away from zero, where widths end and digits crowd."""
FEWEST_GEARS: Final = 20
"""Gears from which the shape of a distribution can be looked at."""
STRIP: Final = 0.05
"""Strip below a limit, as a share of the limit, in which values pile up."""
STRIP_OF_SPREAD: Final = 0.4
"""The same as a share of the spread, so that neighbouring strips of an honest column hold about as many."""
STRIP_STEPS: Final = 2


@dataclass(frozen=True, slots=True)
class Oddness:
    """A column that looks odd."""

    check: Check
    parameters: tuple[str, ...]
    flank: Flank | None
    values: int
    probability: float
    """Over all columns that were looked at."""
    limit_um: float | None = None
    near: int = 0
    """Values in the strip below the limit."""
    often: tuple[int, ...] = ()
    """Digits that were typed most and least often."""


def last_digits(figures: Figures) -> Oddness | None:
    """How evenly last digits fall, over all columns that spread over many steps; None with too few."""
    counts = figures.counts
    digits: list[Array] = []
    parameters = []
    for key, columns in _finest(figures).items():
        if figures.digit[key] != 10.0 ** round(np.log10(figures.digit[key])):
            continue
        own = counts[:, columns]
        spread = np.nanstd(own, axis=0) if len(own) >= 5 else np.zeros(len(columns))
        level = np.abs(np.nanmean(own, axis=0)) if len(own) else spread
        wide = own[:, (spread >= WIDE_STEPS) & (level >= FROM_ZERO * spread)]
        if wide.size:
            digits.append(np.abs(wide[np.isfinite(wide)]) % 10)
            parameters.append(key)
    if not digits:
        return None
    number = np.bincount(np.concatenate(digits).astype(np.int64), minlength=10)
    # Some programs leave out a trailing zero and some round it away: zeros say nothing then.
    mixed = len({value.decimals for value in figures.values}) > 1
    looked = number[1:] if mixed else number
    order = np.argsort(looked) + (1 if mixed else 0)
    if looked.sum() < FEWEST_DIGITS:
        return None
    often = (int(order[-1]), int(order[0]))
    p = uneven_digits_p(looked.astype(np.float64))
    return Oddness("last_digits", tuple(parameters), None, int(looked.sum()), p, often=often)


def edges(figures: Figures, criteria: Criteria) -> tuple[list[Oddness], bool]:
    """Columns that pile up below the drawing's limit or end there, and whether there was any to look at."""
    looked = [
        (key, flank, values, limit)
        for key, columns in _finest(figures).items()
        for flank, values in _by_flank(figures, columns).items()
        if len(values) >= FEWEST_GEARS
        for limit in _limits(criteria, key, flank)
    ]
    found = []
    for key, flank, values, limit in looked:
        step = figures.digit[key]
        width = min(STRIP * limit, STRIP_OF_SPREAD * float(values.std()))
        near = int(((values > limit - width) & (values <= limit + 1e-9)).sum())
        p = {"pile_up": pile_up_p(values, limit + step / 2, width) if width >= STRIP_STEPS * step else 1.0}
        # Only a column that reaches its limit can have been cut there.
        if near and step < 0.5 * values.std():
            p["trimmed"] = trimmed_p(np.maximum(values, step / 2), limit + step / 2)
        for check, one in p.items():
            odd = Oddness(
                "pile_up" if check == "pile_up" else "trimmed", (key,), flank, len(values),
                min(1.0, one * len(looked)), limit, near,
            )  # fmt: skip
            found.append(odd)
    return found, bool(looked)


def _finest(figures: Figures) -> dict[str, list[int]]:
    """Columns of every parameter: single teeth where they are reported, else flanks; never both."""
    found: dict[str, list[int]] = {}
    for key in dict.fromkeys(place.parameter for place in figures.places):
        columns = figures.columns(key)
        teeth = [n for n in columns if figures.places[n].tooth is not None]
        worst = [n for n in columns if figures.places[n].basis != "mean"]
        found[key] = teeth or worst or columns
    return found


def _by_flank(figures: Figures, columns: list[int]) -> dict[Flank | None, Array]:
    """The worst value of every gear, by flank."""
    groups: dict[Flank | None, list[int]] = defaultdict(list)
    for number in columns:
        groups[figures.places[number].flank].append(number)
    found = {}
    for flank, own in groups.items():
        block = np.abs(figures.um[:, own])
        block = block[np.isfinite(block).any(axis=1)]
        found[flank] = np.nanmax(block, axis=1) if len(block) else np.array([])
    return found


def _limits(criteria: Criteria, key: str, flank: Flank | None) -> list[float]:
    """Upper limits of the magnitude; unlike limits of a signed value are left alone."""
    found = set()
    for lower, upper in criteria.drawing_limits(key, flank):
        if not PARAMETERS[key].signed or lower == -upper:
            found.add(upper)
    return sorted(found)
