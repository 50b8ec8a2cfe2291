"""Figures of the wrong size: a unit mixed up in the whole report, in one parameter or in one gear."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.evaluation.criteria import Criteria
from gearqa.incoming.editions import Edition, edition_claimed
from gearqa.incoming.plausibility.figures import Figures
from gearqa.model.incoming import ReportedValue
from gearqa.symbols import PARAMETERS

FACTORS: Final[Mapping[float, str]] = {
    1e-3: "they would fit as millimetres",
    1e3: "they would fit as nanometres",
    1 / 25.4: "they would fit as thousandths of an inch",
    25.4: "they would fit divided by 25.4",
    1 / 25400: "they would fit as inches",
}
LARGE, SMALL = 12.0, 1 / 30
"""Median over the tolerance, or over the other values, beyond which a unit is likelier than a gear."""
LARGE_REPORT: Final = 8.0
"""The same of a whole report over the tolerance: gears as bad as that are eight classes off."""
WITHIN: Final = 4.0
"""Factor within which a unit counts as fitting."""
USUAL_SHARE: Final = 0.5
"""Of a tolerance that values usually take."""
RESOLVED: Final = 2.0
"""Steps that a small value must have: of coarse figures some are typed as nothing."""
FEWEST, FEWEST_SLOPES = 3, 8
"""Values from which their size means something; a few slopes may all happen to be near zero."""


@dataclass(frozen=True, slots=True)
class WrongSize:
    """Values whose size is that of another unit."""

    serials: tuple[str, ...]
    parameters: tuple[str, ...]
    values: int
    ratio: float
    """Median over the tolerance (whole report) or over what the others give."""
    against: str
    fits: str
    """The unit that they would fit; empty where none does."""


def wrong_sizes(figures: Figures, criteria: Criteria) -> Iterator[WrongSize]:
    """The whole report, one parameter or one gear in another unit."""
    shares = _shares(figures, criteria)
    keys = [place.parameter for place in figures.places]
    known = shares[np.isfinite(shares)]
    if len(known) >= FEWEST:
        middle = float(np.median(known))
        resolved = np.nanmedian(np.abs(figures.counts)) >= RESOLVED
        widths = not all(PARAMETERS[key].signed for key in keys)
        enough = resolved and (widths or len(known) >= FEWEST_SLOPES)
        if middle > LARGE_REPORT or (middle < SMALL and enough):
            fits = _fits(middle / USUAL_SHARE)
            yield WrongSize(
                figures.serials, tuple(dict.fromkeys(keys)), len(known), middle, "tolerance", fits
            )
            return
    yield from _parameters(figures, shares)
    yield from _gears(figures)


def _parameters(figures: Figures, shares: Array) -> Iterator[WrongSize]:
    for key in dict.fromkeys(place.parameter for place in figures.places):
        mask = np.array([place.parameter == key for place in figures.places])
        own, others = shares[:, mask], shares[:, ~mask]
        own, others = own[np.isfinite(own)], others[np.isfinite(others)]
        if len(others) < FEWEST or len(own) < (FEWEST_SLOPES if PARAMETERS[key].signed else FEWEST):
            continue
        ratio = float(np.median(own) / max(np.median(others), 1e-12))
        steps = np.abs(figures.counts)
        resolved = np.nanmedian(steps[:, mask]) >= RESOLVED and np.nanmedian(steps[:, ~mask]) >= RESOLVED
        if resolved and not SMALL * 2 <= ratio <= LARGE:
            yield WrongSize(figures.serials, (key,), len(own), ratio, "other parameters", _fits(ratio))


def _gears(figures: Figures) -> Iterator[WrongSize]:
    size = np.abs(figures.um)
    if len(size) < FEWEST + 1:
        return
    for row, serial in enumerate(figures.serials):
        others = np.delete(size, row, axis=0)
        usable = np.isfinite(size[row]) & (np.isfinite(others).sum(axis=0) >= FEWEST)
        usable &= np.array([not PARAMETERS[place.parameter].signed for place in figures.places])
        if usable.sum() < FEWEST:
            continue
        usual = np.nanmedian(others[:, usable], axis=0)
        ratio = float(np.median(size[row, usable] / np.maximum(usual, 1e-12)))
        resolved = (
            min(np.median(one / figures.steps[usable]) for one in (size[row, usable], usual)) >= RESOLVED
        )
        if resolved and not SMALL * 2 <= ratio <= LARGE:
            parameters = dict.fromkeys(
                p.parameter for p, one in zip(figures.places, usable, strict=True) if one
            )
            yield WrongSize(
                (serial,), tuple(parameters), int(usable.sum()), ratio, "other gears", _fits(ratio)
            )


def _shares(figures: Figures, criteria: Criteria) -> Array:
    """Magnitudes over the tolerance claimed, or over the drawing's; NaN where there is none."""
    shares = np.full(figures.um.shape, np.nan)
    row = {serial: number for number, serial in enumerate(figures.serials)}
    column = {place: number for number, place in enumerate(figures.places)}
    for value in figures.values:
        tolerance = _tolerance(value, figures.editions, criteria)
        if tolerance:
            place = column[value.parameter, value.flank, value.tooth, value.basis]  # type: ignore[index]
            shares[row[value.serial], place] = abs(value.value_um) / tolerance
    return shares


def _tolerance(value: ReportedValue, editions: Mapping[str, Edition], criteria: Criteria) -> float | None:
    edition = editions.get(edition_claimed(value.standard, editions) or "")
    if edition is not None and value.class_ is not None:
        claimed = edition.tolerance(value.parameter, value.class_)
        if claimed is not None:
            return claimed
    limits = criteria.drawing_limits(value.parameter, value.flank)
    return max((max(abs(lower or 0.0), upper) for lower, upper in limits), default=None)


def _fits(ratio: float) -> str:
    factor = min(FACTORS, key=lambda one: abs(math.log(ratio / one))) if ratio > 0 else 1.0
    return FACTORS[factor] if ratio > 0 and abs(math.log(ratio / factor)) < math.log(WITHIN) else ""
