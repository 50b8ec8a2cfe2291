"""What a laboratory with another setup would have reported, for every value that was reported."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
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
from gearqa.symbols import FLANKS, PARAMETERS, Flank

_TURNED: Final = frozenset({"slope", "slope_full"})
"""Deviations that have a direction: reversing the axis reverses them."""
NEARLY_TIED: Final = 2.0
"""Times the combined uncertainty by which plus and minus end may differ and still change places."""
TIE_UM: Final = 1.0
"""The same where no uncertainty is known. [um]"""


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
    tie_um: float = TIE_UM
    """So far apart plus and minus end may be and still change places in a second measurement."""


@dataclass(frozen=True, eq=False, slots=True)
class Prediction:
    """Predicted values, each of shape (values,), NaN where there is none. [um]"""

    worst: Array
    mean: Array
    flank: Array
    """Mean over the flank: the best guess for a tooth that was not measured."""
    other: Array
    """The end of the other sign; the worst value itself where there is none."""

    @property
    def known(self) -> BoolArray:
        """Where there is a prediction."""
        return np.isfinite(self.worst)

    def with_guesses(self, wanted: BoolArray) -> Prediction:
        """The same with the flank's mean for wanted teeth that were not measured."""
        gaps = wanted & ~self.known
        worst, mean, other = (
            np.where(gaps, self.flank, values) for values in (self.worst, self.mean, self.other)
        )
        return Prediction(worst, mean, self.flank, other)


@dataclass(eq=False)
class Predictor:
    """Predicts reported values from raw data under any setup."""

    part: Part
    gears: Sequence[GearMeasurement]
    results: Sequence[GearResult]
    targets: Sequence[Target]
    batch: TraceBatch = field(init=False)
    _others: dict[tuple[bool, str | None], tuple[Array, Array]] = field(
        default_factory=dict, init=False, repr=False
    )
    _segments: dict[tuple[object, ...], tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]] = field(
        default_factory=dict, init=False, repr=False
    )

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
        worst, mean = (values.copy() for values in self._no_traces(setup))
        guess, other = np.full(len(worst), np.nan), worst.copy()
        if self._from_traces.any() and len(self.batch.gear):
            self._predict_traces(setup, (worst, mean, other), by_tooth=True)
            if self._teeth_named:
                nowhere = np.full(len(guess), np.nan)
                self._predict_traces(setup, (nowhere, guess, nowhere.copy()), by_tooth=False)
        all_four = (worst, mean, guess, other)
        if setup.rounding_um is not None:
            coarse = self._digits < setup.rounding_um - 1e-9
            for values in all_four:
                values[coarse] = rounded(values[coarse], setup.rounding_um)
        for values in (worst, mean, guess):
            values[self._magnitude] = np.abs(values[self._magnitude])
        other[self._magnitude] = worst[self._magnitude]
        return Prediction(worst, mean, guess, other)

    def _no_traces(self, setup: Setup) -> tuple[Array, Array]:
        """Worst and mean of what does not come from traces, NaN elsewhere."""
        key = (setup.swapped, setup.runout)
        if key not in self._others:
            worst, mean = (np.full(len(self.targets), np.nan) for _ in range(2))
            for place, one in enumerate(self.targets):
                if not self._from_traces[place]:
                    worst[place], mean[place] = self._other(one, setup)
            self._others[key] = worst, mean
        return self._others[key]

    def _predict_traces(self, setup: Setup, out: tuple[Array, Array, Array], *, by_tooth: bool) -> None:
        worst, mean, other = out
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
        below = np.abs(low) > high + 1e-12
        worst[rows] = np.where(below, low, high)
        other[rows] = np.where(low * high < 0, np.where(below, high, low), worst[rows])
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
        key = (setup.numbering, setup.in_order, by_tooth)
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
                tooth = self.our_tooth(setup, one)
                if tooth is None:
                    continue
            members = by_place.get((one.gear, kind, flank, tooth))
            if members:
                rows.append(row)
                starts.append(len(traces))
                traces += members
        self._segments[key] = tuple(np.array(some, dtype=np.intp) for some in (rows, starts, traces))  # type: ignore[assignment]
        return self._segments[key]

    def traced(self, gear: int, parameter: str) -> tuple[int, ...]:
        """Teeth of a gear that were traced, in their order."""
        own = (self.batch.gear == gear) & (self.batch.kind == (TRACE_KIND[parameter] == "helix"))
        return tuple(np.unique(self.batch.tooth[own]).tolist())

    def our_tooth(self, setup: Setup, one: Target) -> int | None:
        """Our number of the tooth that a value names; None where its order names none."""
        assert one.tooth is not None
        number = one.tooth
        if setup.in_order:
            teeth = self.traced(one.gear, one.parameter)
            if number > len(teeth):
                return None
            number = teeth[number - 1]
        return setup.numbering.our_tooth(number, self.part.gear.teeth)

    def may_be_in_order(self) -> bool:
        """Whether the teeth named may be the traced ones, numbered in their order."""
        named = [one for one in self.targets if one.tooth is not None and one.parameter in TRACE_KIND]
        teeth = {(one.gear, one.parameter): self.traced(one.gear, one.parameter) for one in named}
        fits = all((one.tooth or 0) <= len(teeth[one.gear, one.parameter]) for one in named)
        return fits and any(teeth[key] != tuple(range(1, len(teeth[key]) + 1)) for key in teeth)

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


def possible_bases(prediction: Prediction, targets: Sequence[Target]) -> list[dict[str, Basis]]:
    """Bases that the values may have: by parameter, those that were stated or make no difference left out.

    A laboratory takes slopes alike, and totals and forms alike: worst or mean over the traces.
    """
    differs = prediction.known & (prediction.worst != prediction.mean)
    open_ = {
        one.parameter
        for one, moves in zip(targets, differs.tolist(), strict=True)
        if moves and one.parameter in TRACE_KIND and one.basis is None and one.tooth is None
    }
    groups = [{key for key in open_ if PARAMETERS[key].signed is signed} for signed in (True, False)]
    choices: list[dict[str, Basis]] = [{}]
    for group in filter(None, groups):
        both: tuple[Basis, ...] = ("worst", "mean")
        choices = [one | dict.fromkeys(sorted(group), basis) for one in choices for basis in both]
    return choices


def chosen(
    prediction: Prediction, targets: Sequence[Target], reported: Array, bases: Mapping[str, Basis]
) -> Array:
    """One predicted value each: by the stated basis, else by the one given for the parameter.

    Where plus and minus end of a worst value are nearly tied, the end that was reported counts: which of
    both is the larger changes from one measurement to the next.
    """
    tied = np.abs(np.abs(prediction.worst) - np.abs(prediction.other)) <= [one.tie_um for one in targets]
    nearer = np.abs(reported - prediction.other) < np.abs(reported - prediction.worst)
    ends = np.where(tied & nearer, prediction.other, prediction.worst)
    by_tooth = [one.tooth is not None for one in targets]
    basis = [one.basis or bases.get(one.parameter) for one in targets]
    means = np.array([one == "mean" for one in basis], dtype=np.bool_)
    return np.where(means & ~np.array(by_tooth, dtype=np.bool_), prediction.mean, ends)


def rms(differences: Array) -> float | None:
    """Root mean square; None of nothing."""
    return float(np.sqrt(np.mean(differences**2))) if len(differences) else None
