"""Lays the raw data of two sides over each other, and says whether they are of the same gear.

Pitch curves identify a gear by what changes from tooth to tooth. Their low orders belong to mounting,
jaws and machine, which gears of one lot share, and are taken out first. Every way to name flanks, to
count teeth and to start counting is tried.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from gearqa.arrays import Array
from gearqa.incoming.settings import Numbering
from gearqa.model.incoming import AlignedCurves, GearAlignment
from gearqa.model.measurement import GearMeasurement, Trace
from gearqa.symbols import FLANKS, Flank, TraceKind

SAME_CORRELATION: Final = 0.7
"""From here on two pitch curves without low orders are of one gear (house rule)."""
CHANCE: Final = 1e-3
"""How rarely the best alignment of unlike gears may reach what counts as chance."""
IDENTICAL_UM: Final = 0.02
"""Root mean square below which two curves are the same numbers, but for rounding."""
FEWEST_TEETH: Final = 8
TEETH_PER_ORDER: Final = 8
CLEARLY: Final = 0.1
"""By so much the right gear must correlate better than every other one."""
GEARS_DRAWN: Final = 3
TEETH_DRAWN: Final = 2


@dataclass(frozen=True, slots=True)
class _Way:
    """How their curves come to lie over ours."""

    numbering: Numbering
    correlation: float
    residual: float


@dataclass(frozen=True, eq=False, slots=True)
class _LaidTrace:
    """A trace that both sides took of one tooth, theirs on our positions."""

    theirs: Trace
    ours: Trace
    position: Array
    ours_um: Array
    theirs_um: Array


def align(
    theirs: Mapping[str, GearMeasurement],
    ours: Mapping[str, GearMeasurement],
    partner: Mapping[str, str],
    z: int,
    face_width: float,
) -> tuple[tuple[GearAlignment, ...], tuple[AlignedCurves, ...]]:
    """Align every gear of theirs with the one of ours that it should be (`partner`: their serial -> ours)."""
    curves = {serial: _pitch_curves(gear, z) for serial, gear in ours.items()}
    alignments: list[GearAlignment] = []
    pairs: list[AlignedCurves] = []
    for serial, our_serial in partner.items():
        one, other = theirs[serial], ours[our_serial]
        mine = _pitch_curves(one, z)
        ways = {name: _best_way(mine, curve, z) for name, curve in curves.items()}
        way = ways[our_serial]
        numbering = way.numbering if way is not None else Numbering()
        laid = _laid_traces(one, other, numbering, z, face_width)
        if len(alignments) < GEARS_DRAWN:
            pairs += [*_pitch_pairs(serial, one, other, numbering, z), *_trace_pairs(serial, laid)]
        alignments.append(_alignment(serial, our_serial, laid, ways, chance_correlation(z)))
    return tuple(alignments), tuple(pairs)


def same_gears(alignments: Sequence[GearAlignment]) -> tuple[bool | None, str]:
    """Whether all gears are the same, and why, as a stable code."""
    if not alignments:
        return None, "no_raw_data"
    found = [one.same for one in alignments]
    if False in found:
        swapped = any(one.best_match for one in alignments if one.same is False)
        return False, "serials_mixed_up" if swapped else "curves_unlike"
    if None in found:
        no_pitch = all(one.correlation is None for one in alignments)
        return None, "no_pitch_curves" if no_pitch else "curves_too_unlike_to_tell"
    return True, "identical_data" if all(one.identical for one in alignments) else "curves_alike"


# --- pitch --------------------------------------------------------------------------------------------


def _pitch_curves(gear: GearMeasurement, z: int) -> Array | None:
    """Index of both flanks without its low orders, shape (2, z); None if not complete. [um]"""
    if z < FEWEST_TEETH or any(
        flank not in gear.pitch or gear.pitch[flank].missing_teeth for flank in FLANKS
    ):
        return None
    index = np.stack([gear.pitch[flank].index_um for flank in FLANKS])
    return without_low_orders(index)


def low_orders(z: int) -> int:
    """Highest order round the gear that is taken out."""
    return max(1, z // TEETH_PER_ORDER)


def without_low_orders(index: Array) -> Array:
    """Index deviations without constant and low orders, shape (..., z). [um]"""
    z = index.shape[-1]
    spectrum = np.fft.rfft(index, axis=-1)
    spectrum[..., : low_orders(z) + 1] = 0
    return np.asarray(np.fft.irfft(spectrum, n=z, axis=-1))


def _best_way(theirs: Array | None, ours: Array | None, z: int) -> _Way | None:
    """The alignment with the highest correlation over both flanks."""
    if theirs is None or ours is None:
        return None
    spectrum = np.fft.rfft(ours, axis=1)
    norm = math.sqrt(float(np.sum(theirs**2)) * float(np.sum(ours**2)))
    if norm == 0:
        return None
    best: _Way | None = None
    for swapped in (False, True):
        for backwards in (False, True):
            turned = turned_index(theirs[::-1] if swapped else theirs, backwards)
            # sum over teeth of ours[i + shift] * theirs[i], for every shift at once
            products = np.fft.irfft(spectrum * np.conj(np.fft.rfft(turned, axis=1)), n=z, axis=1).sum(axis=0)
            shift = int(np.argmax(products))
            correlation = float(products[shift]) / norm
            if best is None or correlation > best.correlation + 1e-12:
                residual = ours - np.roll(turned, shift, axis=1)
                numbering = Numbering(swapped, backwards, shift)
                best = _Way(numbering, correlation, float(np.sqrt(np.mean(residual**2))))
    return best


def turned_index(index: Array, backwards: bool) -> Array:
    """Index counted the other way round: tooth 1 stays, every displacement changes sign."""
    return np.asarray(-np.roll(index[..., ::-1], 1, axis=-1)) if backwards else index


def chance_correlation(z: int) -> float:
    """Correlation that the best alignment of unlike gears reaches once in a thousand times.

    Fisher's transformation over both flanks without their low orders, for 4 z ways to align them.

    >>> round(chance_correlation(87), 2), round(chance_correlation(20), 2)
    (0.38, 0.67)
    """
    n = 2 * (z - 1 - 2 * low_orders(z))
    return math.tanh(float(-ndtri(CHANCE / (4 * z))) / math.sqrt(max(n - 3, 1)))


# --- traces -------------------------------------------------------------------------------------------


def _alignment(
    serial: str, our_serial: str, laid: Sequence[_LaidTrace], ways: Mapping[str, _Way | None], chance: float
) -> GearAlignment:
    way = ways[our_serial]
    apart = [one.ours_um - one.ours_um.mean() - one.theirs_um + one.theirs_um.mean() for one in laid]
    residuals = [float(np.sqrt(np.mean(difference**2))) for difference in apart]
    residual = float(np.sqrt(np.mean(np.square(residuals)))) if residuals else None
    related = [r for one in laid if (r := _correlation(one.ours_um, one.theirs_um)) is not None]
    known = [r for r in (None if way is None else way.residual, residual) if r is not None]
    identical = bool(known) and max(known) <= IDENTICAL_UM
    same, best_match = (None, None) if way is None else _same(our_serial, way, ways, chance)
    return GearAlignment(
        serial=serial,
        our_serial=our_serial,
        same=True if identical else same,
        identical=identical,
        flanks_swapped=None if way is None else way.numbering.swapped,
        direction_reversed=None if way is None else way.numbering.reversed,
        tooth_shift=None if way is None else way.numbering.shift,
        correlation=None if way is None else way.correlation,
        chance_correlation=None if way is None else chance,
        residual_um=None if way is None else way.residual,
        trace_residual_um=residual,
        trace_correlation=float(np.mean(related)) if related else None,
        best_match=best_match,
    )


def _same(
    our_serial: str, way: _Way, ways: Mapping[str, _Way | None], chance: float
) -> tuple[bool | None, str | None]:
    """Whether the curves are of one gear, and which of ours fits better if they are not."""
    enough = max(SAME_CORRELATION, chance)
    others = {name: w.correlation for name, w in ways.items() if w is not None and name != our_serial}
    nearest = max(others, key=lambda name: others[name], default=None)
    rival = others[nearest] if nearest is not None else 0.0
    if way.correlation >= enough:
        return (True if way.correlation >= rival + CLEARLY else None), None
    if rival >= enough and rival >= way.correlation + CLEARLY:
        return False, nearest
    return (None if way.correlation > chance else False), None


def _laid_traces(
    theirs: GearMeasurement, ours: GearMeasurement, numbering: Numbering, z: int, face_width: float
) -> list[_LaidTrace]:
    found = []
    own = {(t.kind, t.flank, t.tooth): t for t in ours.traces}
    for trace in theirs.traces:
        place = (trace.kind, numbering.our_flank(trace.flank), numbering.our_tooth(trace.tooth, z))
        match = own.get(place)
        if match is None:
            continue
        x, y = trace.position_mm, trace.deviation_um
        if numbering.reversed and numbering.swapped and trace.kind == "helix":
            x, y = (face_width - x)[::-1], y[::-1]  # seen from the other face
        inside = (match.position_mm >= x[0]) & (match.position_mm <= x[-1])
        if inside.sum() > 1:
            position = match.position_mm[inside]
            on_ours = np.interp(position, x, y)
            found.append(_LaidTrace(trace, match, position, match.deviation_um[inside], on_ours))
    return found


def _correlation(one: Array, other: Array) -> float | None:
    a, b = one - one.mean(), other - other.mean()
    norm = math.sqrt(float(a @ a) * float(b @ b))
    return float(a @ b) / norm if norm else None


# --- curves to draw -----------------------------------------------------------------------------------


def _pitch_pairs(
    serial: str, theirs: GearMeasurement, ours: GearMeasurement, numbering: Numbering, z: int
) -> Iterator[AlignedCurves]:
    teeth = np.arange(1, z + 1, dtype=np.float64)
    for flank in FLANKS:
        source = numbering.our_flank(flank)
        if flank in ours.pitch and source in theirs.pitch:
            mine = ours.pitch[flank].index_um
            turned = np.roll(turned_index(theirs.pitch[source].index_um, numbering.reversed), numbering.shift)
            yield AlignedCurves("pitch", serial, flank, None, teeth, mine, turned + np.nanmean(mine - turned))


def _trace_pairs(serial: str, laid: Sequence[_LaidTrace]) -> Iterator[AlignedCurves]:
    drawn: Counter[tuple[TraceKind, Flank]] = Counter()
    for one in sorted(laid, key=lambda t: (t.theirs.kind == "helix", t.theirs.flank, t.theirs.tooth)):
        kind, flank, tooth = one.ours.kind, one.ours.flank, one.ours.tooth
        if drawn[kind, flank] < TEETH_DRAWN:
            drawn[kind, flank] += 1
            level = (one.ours_um - one.theirs_um).mean()
            yield AlignedCurves(kind, serial, flank, tooth, one.position, one.ours_um, one.theirs_um + level)
