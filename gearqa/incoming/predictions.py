"""What a laboratory with another setup would have reported, for every value that was reported."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, BoolArray
from gearqa.core.runout import F_r, radial_positions
from gearqa.core.slopes import helix_slope_by_angle
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.incoming.reevaluation import WHATS, TraceBatch, What
from gearqa.incoming.settings import Numbering, Setup
from gearqa.model.incoming import TRACE_KIND, Basis
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.symbols import FLANKS, Flank

_TURNED: Final = frozenset({"slope", "slope_full"})
"""Deviations that have a direction: reversing the axis reverses them."""
MEAN_FITS_BETTER: Final = 0.5
"""A basis that was not stated is the mean only where the mean leaves at most this share of the difference."""


@dataclass(frozen=True, slots=True)
class Target:
    """A value to predict."""

    gear: int
    """Place of the gear among the measured ones."""
    parameter: str
    flank: Flank | None
    tooth: int | None
    basis: Basis | None
    reported_um: float
    digit_um: float
    by_magnitude: bool = False


@dataclass(frozen=True, eq=False, slots=True)
class Prediction:
    """Predicted values, each of shape (values,), NaN where there is none. [um]"""

    worst: Array
    mean: Array
    flank: Array
    """Mean over the flank: the best guess for a tooth that was not measured."""

    @property
    def known(self) -> BoolArray:
        """Where there is a prediction."""
        return np.isfinite(self.worst)

    def with_guesses(self, wanted: BoolArray) -> Prediction:
        """The same with the flank's mean for wanted teeth that were not measured."""
        gaps = wanted & ~self.known
        worst, mean = (np.where(gaps, self.flank, values) for values in (self.worst, self.mean))
        return Prediction(worst, mean, self.flank)


@dataclass(eq=False)
class Predictor:
    """Predicts reported values from raw data under any setup."""

    part: Part
    gears: Sequence[GearMeasurement]
    results: Sequence[GearResult]
    targets: Sequence[Target]
    batch: TraceBatch = field(init=False)
    _segments: dict[
        tuple[bool, bool, int, bool], tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]
    ] = field(default_factory=dict, init=False, repr=False)

    def __post_init__(self) -> None:
        self.batch = TraceBatch.of(self.gears, self.part)
        self._from_traces = np.array([w.parameter in TRACE_KIND for w in self.targets], dtype=np.bool_)
        self._digits = np.array([w.digit_um for w in self.targets], dtype=np.float64)
        self._teeth_named = any(w.tooth is not None for w in self.targets)
        self._magnitude = np.array([w.by_magnitude for w in self.targets], dtype=np.bool_)
        geometry = part_geometry(self.part)
        sides = np.array([-1, 1])[self.batch.flank] if len(self.batch.flank) else np.zeros(0)
        self._by_angle = np.array(
            [helix_slope_by_angle(1.0, geometry.s, int(f), geometry.H or 1) for f in sides]
        )
        self._cos_beta_b = float(np.cos(geometry.beta_b))

    # --- one setup ------------------------------------------------------------------------------------

    def predict(self, setup: Setup) -> Prediction:
        """Values under a setup, worst and mean over the traces of each."""
        worst, mean, guess = (np.full(len(self.targets), np.nan) for _ in range(3))
        if self._from_traces.any() and len(self.batch.gear):
            self._predict_traces(setup, (worst, mean), by_tooth=True)
            if self._teeth_named:
                self._predict_traces(setup, (np.full(len(guess), np.nan), guess), by_tooth=False)
        for place, one in enumerate(self.targets):
            if not self._from_traces[place]:
                worst[place], mean[place] = self._other(one, setup)
        if setup.rounding_um is not None:
            coarse = self._digits < setup.rounding_um - 1e-9
            for values in (worst, mean, guess):
                values[coarse] = rounded(values[coarse], setup.rounding_um)
        for values in (worst, mean, guess):
            values[self._magnitude] = np.abs(values[self._magnitude])
        return Prediction(worst, mean, guess)

    def _predict_traces(self, setup: Setup, out: tuple[Array, Array], *, by_tooth: bool) -> None:
        worst, mean = out
        values = self.batch.values(setup)
        turned = self._directions(setup)
        scale = {"transverse": 1.0, "normal": self._cos_beta_b}.get(setup.plane, 1 / self._cos_beta_b)
        rows, starts, traces = self._segments_of(setup, by_tooth)
        if not len(rows):
            return
        table = np.stack([scale * values[what] * (turned if what in _TURNED else 1.0) for what in WHATS])
        which = np.array([WHATS.index(_column(self.targets[row].parameter, setup)) for row in rows.tolist()])
        lengths = np.diff(np.append(starts, len(traces)))
        found = table[np.repeat(which, lengths), traces]
        high, low = np.maximum.reduceat(found, starts), np.minimum.reduceat(found, starts)
        worst[rows] = np.where(np.abs(low) > high + 1e-12, low, high)
        mean[rows] = np.add.reduceat(found, starts) / lengths

    def _directions(self, setup: Setup) -> Array:
        """+1 or -1 for the slope of every trace."""
        turned = np.ones(len(self.batch.gear))
        helix = self.batch.kind == 1
        if setup.profile_sign == "plus towards the root":
            turned[~helix] = -1
        if setup.helix_sign == "plus towards the datum face":
            turned[helix] = -1
        elif setup.helix_sign == "by helix angle":
            turned[helix] = self._by_angle[helix]
        return turned

    def _segments_of(
        self, setup: Setup, by_tooth: bool
    ) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
        """Values that have traces, where the traces of each begin, and the traces one after the other."""
        key = (setup.swapped, setup.reversed, setup.shift, by_tooth)
        if key in self._segments:
            return self._segments[key]
        by_place: dict[tuple[int, int, int | None, int | None], list[int]] = {}
        columns = (self.batch.gear, self.batch.kind, self.batch.flank, self.batch.tooth)
        for trace, (gear, kind, flank, tooth) in enumerate(zip(*(c.tolist() for c in columns), strict=True)):
            for some_flank in (flank, None):
                for some_tooth in (tooth, None):
                    by_place.setdefault((gear, kind, some_flank, some_tooth), []).append(trace)
        rows: list[int] = []
        starts: list[int] = []
        traces: list[int] = []
        for row, one in enumerate(self.targets):
            if one.parameter not in TRACE_KIND:
                continue
            kind = int(TRACE_KIND[one.parameter] == "helix")
            flank = None if one.flank is None else FLANKS.index(setup.numbering.our_flank(one.flank))
            tooth = None
            if one.tooth is not None and by_tooth:
                tooth = setup.numbering.our_tooth(one.tooth, self.part.gear.teeth)
            members = by_place.get((one.gear, kind, flank, tooth))
            if members:
                rows.append(row)
                starts.append(len(traces))
                traces += members
        self._segments[key] = tuple(np.array(some, dtype=np.intp) for some in (rows, starts, traces))  # type: ignore[assignment]
        return self._segments[key]

    def _other(self, one: Target, setup: Setup) -> tuple[float, float]:
        """Pitch, runout and thickness: worst and mean over flanks."""
        result = self.results[one.gear].parameters.get(one.parameter)
        if one.parameter == "runout" and setup.runout == "pitch":
            value = runout_from_pitch(self.gears[one.gear], self.part)
            return (np.nan, np.nan) if value is None else (value, value)
        if result is None:
            return np.nan, np.nan
        if one.flank is None:
            flanks = [flank.value_um for flank in result.flanks.values()] or [result.value_um]
            return max(flanks, key=abs), float(np.mean(flanks))
        found = result.flanks.get(setup.numbering.our_flank(one.flank))
        return (np.nan, np.nan) if found is None else (found.value_um, found.value_um)

    # --- whole tooth numbers --------------------------------------------------------------------------

    def tooth_shifts(self, *, reverse: bool = False) -> tuple[int, ...]:
        """Starts of counting under which every reported tooth is one that was measured."""
        named = [
            (one.tooth, (one.gear, int(TRACE_KIND[one.parameter] == "helix")))
            for one in self.targets
            if one.tooth is not None and one.parameter in TRACE_KIND
        ]
        if not named:
            return ()
        measured: dict[tuple[int, int], set[int]] = defaultdict(set)
        columns = (self.batch.gear.tolist(), self.batch.kind.tolist(), self.batch.tooth.tolist())
        for gear, kind, tooth in zip(*columns, strict=True):
            measured[gear, kind].add(tooth)
        z = self.part.gear.teeth
        first, place = named[0]
        start = 2 - first if reverse else first
        shifts = sorted({(tooth - start) % z for tooth in measured[place]} - {0})

        def fits(shift: int) -> bool:
            numbering = Numbering(reversed=reverse, shift=shift)
            return all(numbering.our_tooth(tooth, z) in measured[place] for tooth, place in named)

        return tuple(shift for shift in shifts if fits(shift))


def _column(parameter: str, setup: Setup) -> What:
    what: What = parameter.partition("_")[2]  # type: ignore[assignment]
    return "slope_full" if what == "slope" and setup.slope_span == "full" else what


def rounded(values: Array, step: float) -> Array:
    """Values rounded to a step, halves away from zero."""
    return np.asarray(np.sign(values) * np.floor(np.round(np.abs(values) / step, 9) + 0.5) * step)


def runout_from_pitch(gear: GearMeasurement, part: Part) -> float | None:
    """Runout as it follows from the pitch of both flanks; None without it. [um]"""
    if len(gear.pitch) < len(FLANKS) or any(p.missing_teeth for p in gear.pitch.values()):
        return None
    left, right = (gear.pitch[flank].index_um for flank in FLANKS)
    return float(F_r(radial_positions(left, right, part_geometry(part))).value)


def chosen(
    prediction: Prediction, targets: Sequence[Target], reported: Array
) -> tuple[Array, dict[str, Basis]]:
    """One predicted value each: by the stated basis, else by the one that fits the parameter's values.

    Returns the values and, for parameters whose basis was not stated but shows, that basis.
    """
    bases = np.array([one.basis == "mean" for one in targets], dtype=np.bool_)
    values = np.where(bases, prediction.mean, prediction.worst)
    settled: dict[str, Basis] = {}
    for key in dict.fromkeys(one.parameter for one in targets):
        if key not in TRACE_KIND:
            continue
        open_ = [one.parameter == key and one.basis is None and one.tooth is None for one in targets]
        own = np.array(open_, dtype=np.bool_) & prediction.known
        worst, mean = (rms(reported[own] - some[own]) for some in (prediction.worst, prediction.mean))
        if worst is None or mean is None or not np.any(prediction.worst[own] != prediction.mean[own]):
            continue
        if mean <= MEAN_FITS_BETTER * worst:
            values[own] = prediction.mean[own]
            settled[key] = "mean"
        elif worst <= MEAN_FITS_BETTER * mean:
            settled[key] = "worst"
    return values, settled


def rms(differences: Array) -> float | None:
    """Root mean square; None of nothing."""
    return float(np.sqrt(np.mean(differences**2))) if len(differences) else None
