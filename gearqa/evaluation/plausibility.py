"""Does a gear look as if a column carried another unit, or flanks or numbering were mixed up?

Deviations, index and radial readings in another unit are not assessed; of the rest a reader is warned. The
numbers do not show a flipped sign of a trace, so it is not looked for. Called for every gear, so the usual
case costs a few array operations; what looks odd there is examined closer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from gearqa.arrays import Array, BoolArray
from gearqa.core.geometry import GearGeometry, roll_length
from gearqa.core.pitch import single_pitches, without_first_harmonic
from gearqa.core.runout import radial_positions
from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import GearMeasurement, PitchReadings, Trace
from gearqa.model.part import Part
from gearqa.standards.iso1328_1_2013 import unrounded_class_5
from gearqa.symbols import Flank, TraceKind
from gearqa.wording.numbers import short_text, um_text

SMALL: Final = 1 / 20
"""Of the class 1 tolerance: no instrument repeats that well, millimetres read as micrometres do."""
LARGE: Final = 4.0
"""Times the class 11 tolerance; micrometres read as millimetres are beyond even for a fine gear."""
MIN_TEETH_SMOOTH, MIN_TEETH_ROUGH = 20, 60
"""Fewer teeth say nothing about how an index runs round the gear."""
MIN_SPACES: Final = 8
SMOOTH, ROUGH = 0.3, 2.75
"""Bounds of the von Neumann ratio: 2 for white noise, near 0 for a smooth run, 3 for its steps."""


@dataclass(frozen=True, slots=True)
class PlausibleRanges:
    """What is possible on one part: ranges of deviations and of positions."""

    geometry: GearGeometry
    evaluated: Mapping[TraceKind, tuple[float, float]]
    """Ends of the evaluation range, where the part gives one: beyond it flanks fall away."""
    deviation: dict[TraceKind, tuple[float, float]]
    index: tuple[float, float]
    runout: tuple[float, float]
    roll: tuple[float, float]


def plausibility_notices(gear: GearMeasurement, ranges: PlausibleRanges) -> tuple[Notice, ...]:
    """Warnings about one gear whose numbers look like a mix-up of positions, flanks or numbering.

    Parameters
    ----------
    gear : GearMeasurement
        In the convention of the model.
    ranges : PlausibleRanges
        What is possible on its part.

    Returns
    -------
    tuple of Notice
        Empty for a gear that looks as it should.
    """
    return (
        *_position_notices(gear, ranges), *_index_or_pitch(gear, ranges), *_runout_notices(gear, ranges)
    )  # fmt: skip


def trace_unit_doubts(
    gear: GearMeasurement, ranges: PlausibleRanges
) -> dict[tuple[TraceKind, Flank], str]:  # fmt: skip
    """Kinds and flanks whose traces look like another unit, each with what was found, as a sentence."""
    doubts: dict[tuple[TraceKind, Flank], str] = {}
    for trace in gear.traces:
        # a unit goes for a whole table: so the first live trace of each kind and flank is enough
        key = (trace.kind, trace.flank)
        if key not in doubts and (span := _range(_inside(trace, ranges))):
            doubts[key] = _deviation_doubt(gear, trace, span, ranges)
    return {key: text for key, text in doubts.items() if text}


def table_unit_doubts(gear: GearMeasurement, ranges: PlausibleRanges) -> dict[Flank | None, str]:
    """Flanks whose pitch looks like another unit, and None for the radial readings; what was found."""
    doubts: dict[Flank | None, str] = {}
    for flank, readings in gear.pitch.items():
        span, (low, high) = _range(readings.index_um), ranges.index
        if 0 < span < low or (span > high and not readings.closure_um):
            doubts[flank] = _unit_text(f"index of {flank} flanks spans", span, low, what="the values")
    if gear.runout is not None:
        span, (low, high) = _range(gear.runout.radial_um), ranges.runout
        if 0 < span < low or span > high:
            doubts[None] = _unit_text("radial readings span", span, low)
    return doubts


def plausible_ranges(
    part: Part, evaluated: Mapping[TraceKind, tuple[float, float]] | None = None
) -> PlausibleRanges:
    """What is possible on the gear of this drawing; `evaluated`: ends of its evaluation ranges."""
    geometry = part_geometry(part)
    class_5 = unrounded_class_5(geometry.z, geometry.m_n, geometry.d, geometry.b)

    def span(parameter: str) -> tuple[float, float]:
        return class_5[parameter] / 4 * SMALL, class_5[parameter] * 8 * LARGE

    centre = geometry.d + 2 * geometry.s * geometry.x * geometry.m_n
    ends = [centre - 5 * geometry.m_n, centre + 5 * geometry.m_n]
    ends += [d for d in (part.gear.tip_diameter_mm, part.gear.root_diameter_mm) if d is not None]
    low, high = min(ends), max(ends)
    return PlausibleRanges(
        geometry,
        evaluated or {},
        {"profile": span("profile_total"), "helix": span("helix_total")},
        span("cumulative_pitch"),
        span("runout"),
        (roll_length(low, geometry.d_b) if low > geometry.d_b else 0.0, roll_length(high, geometry.d_b)),
    )


# --- traces ----------------------------------------------------------------------------------------


def _position_notices(gear: GearMeasurement, ranges: PlausibleRanges) -> Iterator[Notice]:
    seen: set[tuple[TraceKind, str]] = set()
    positions: set[tuple[TraceKind, int]] = set()
    given: set[str] = set()
    for trace in gear.traces:
        key, place = (trace.kind, trace.flank), (trace.kind, id(trace.position_mm))
        if key in seen or not trace.position_mm.size:
            continue
        seen.add(key)
        if place in positions:
            continue
        positions.add(place)
        notice = _roll_notice(trace, ranges) if trace.kind == "profile" else _face_notice(trace, ranges)
        if notice is not None and notice.message not in given:
            given.add(notice.message)
            yield notice


def _inside(trace: Trace, ranges: PlausibleRanges) -> Array:
    """Deviations in the evaluation range; all of them where it is not known or nothing lies in it."""
    if trace.kind not in ranges.evaluated:
        return trace.deviation_um
    first, past = np.searchsorted(trace.position_mm, ranges.evaluated[trace.kind])
    return trace.deviation_um[first:past] if past > first else trace.deviation_um


def _deviation_doubt(gear: GearMeasurement, first: Trace, span: float, ranges: PlausibleRanges) -> str:
    low, high = ranges.deviation[first.kind]
    if low <= span <= high:
        return ""
    alike = [
        _inside(t, ranges) for t in gear.traces if t.kind == first.kind and t.flank == first.flank
    ]  # fmt: skip
    if span < low:
        span = max(_range(one) for one in alike)
        odd = span < low
    else:
        # steep ends reach far out: the middle half of the points decides
        quartiles = np.array([np.percentile(one, (25, 75)) for one in alike])
        odd = float(np.min(quartiles[:, 1] - quartiles[:, 0])) > high
    about = f"deviations of {first.flank} {first.kind} traces span"
    return _unit_text(about, span, low, most=" at most") if odd else ""


def next_to_nothing(spans: Array, kind: TraceKind, ranges: PlausibleRanges) -> BoolArray:
    """Which single traces span less than any measured one."""
    return np.asarray(spans < ranges.deviation[kind][0])


def small_trace_text(name: str, span: float) -> str:
    """Says that one trace spans far less than the smallest possible range, beside others that do not."""
    return (
        f"{name} spans {short_text(span, 2)} µm, far below class 1, others of the flank do not: a probe that "
        "stood still, or millimetres under a header that says µm?"
    )


def _roll_notice(trace: Trace, ranges: PlausibleRanges) -> Notice | None:
    first, last = float(trace.position_mm[0]), float(trace.position_mm[-1])
    low, high = ranges.roll
    slack = 0.1 * (high - low)
    if first >= low - slack and last <= high + slack:
        return None
    return Notice(
        NoticeCode.POSITION_DOUBTFUL,
        f"roll lengths of profile traces run from {short_text(first, 4)} to {short_text(last, 4)} mm, but a "
        f"tooth of this gear lies between {short_text(low, 4)} and {short_text(high, 4)} mm: are they roll "
        "angles, diameters or in another unit?",
    )


def _face_notice(trace: Trace, ranges: PlausibleRanges) -> Notice | None:
    first, last, width = float(trace.position_mm[0]), float(trace.position_mm[-1]), ranges.geometry.b
    outside = first < -0.2 * width - 1 or last > 1.2 * width + 1
    if not outside and last - first >= 0.15 * width:
        return None
    found = (
        f"face positions of helix traces run from {short_text(first, 4)} to {short_text(last, 4)} mm, "
        f"face width {short_text(width)} mm"
    )
    if not outside:
        return Notice(NoticeCode.POSITION_DOUBTFUL, f"{found}: are they in another unit?")
    if abs(first + last) < 0.1 * width:
        hint = f"do they count from mid-face? A column map adds offset = {short_text(width / 2)}"
    else:
        hint = "are they in another unit, or counted from another place than the datum face?"
    return Notice(NoticeCode.POSITION_DOUBTFUL, f"{found}: {hint}")


# --- pitch and runout --------------------------------------------------------------------------------


def _index_or_pitch(gear: GearMeasurement, ranges: PlausibleRanges) -> Iterator[Notice]:
    """Whether index was given as pitch, or pitch as index, on every flank."""
    readings = list(gear.pitch.values())
    if not readings or ranges.geometry.z < MIN_TEETH_SMOOTH:
        return
    class_9 = ranges.index[1] / LARGE / 2
    if all(_is_index_under_pitch(r, class_9) for r in readings):
        yield Notice(
            NoticeCode.INDEX_OR_PITCH_DOUBTFUL,
            "single pitch deviations run smoothly round the gear and do not add up to nothing: "
            "are they index deviations under a header that says pitch?",
        )
    elif (
        len(readings) > 1
        and ranges.geometry.z >= MIN_TEETH_ROUGH
        and all(map(_is_pitch_under_index, readings))
    ):
        yield Notice(
            NoticeCode.INDEX_OR_PITCH_DOUBTFUL,
            "index deviations jump from tooth to tooth like differences of an index and add up to nothing: "
            "are they single pitch deviations under a header that says index?",
        )


def _is_index_under_pitch(readings: PitchReadings, class_9: float) -> bool:
    # an eccentric gear's pitches run smoothly too, but do not add up to so much
    if not readings.closure_um or not _range(readings.index_um) > class_9:
        return False
    pitch = single_pitches(readings.index_um) + readings.closure_um / len(readings.index_um)
    return bool(
        abs(readings.closure_um) > 0.3 * float(np.abs(pitch).sum()) and _von_neumann_ratio(pitch) < SMOOTH
    )


def _is_pitch_under_index(readings: PitchReadings) -> bool:
    index = readings.index_um
    if readings.closure_um:
        return False
    steps = index - np.concatenate((index[-1:], index[:-1]))
    centred = index - index.sum() / len(index)
    ratio = float(steps @ steps), float(centred @ centred)
    # single pitches add up to nothing, which an index relative to some tooth does only by chance
    closed = abs(float(index.sum())) < 0.02 * float(np.abs(index).sum())
    return closed and ratio[0] > ROUGH * ratio[1]


def _von_neumann_ratio(values: Array) -> float:
    """Mean square of the steps round the gear over the variance."""
    steps = np.diff(values, append=values[0])
    variance = float(np.var(values))
    return float(np.mean(steps * steps)) / variance if variance > 0 else math.nan


def _runout_notices(gear: GearMeasurement, ranges: PlausibleRanges) -> Iterator[Notice]:
    if gear.runout is None:
        return
    radial = gear.runout.radial_um
    span, (low, high) = _range(radial), ranges.runout
    if low <= span <= high and len(radial) >= MIN_SPACES and "left" in gear.pitch and "right" in gear.pitch:
        left, right = gear.pitch["left"].index_um, gear.pitch["right"].index_um
        yield from _orientation_notices(radial, left, right, ranges.geometry)


def _orientation_notices(
    radial: Array, left: Array, right: Array, geometry: GearGeometry
) -> Iterator[Notice]:
    """Compare the readings with the ball positions that pitch gives, as named and otherwise named."""
    readings = radial - radial.sum() / len(radial)
    power = float(readings @ readings)
    as_named = radial_positions(left, right, geometry)
    misfit = _misfit(readings, as_named)
    if not misfit > 0.3 * power:  # also where a tooth is missing: NaN
        return
    swapped = radial_positions(right, left, geometry)
    # counted the other way round from tooth 1, space i is space -i
    mirrored = np.roll(readings[::-1], -1)
    candidates = {
        "left and right swapped in the pitch table (or its sign turned round)": (readings, swapped),
        "the runout table counted the other way round": (mirrored, as_named),
        "left and right swapped in the pitch table and the runout table counted the other way round": (
            mirrored, swapped,
        ),
    }  # fmt: skip
    what, (given, expected) = min(candidates.items(), key=lambda item: _misfit(*item[1]))
    best = _misfit(given, expected)
    if not (best < 0.2 * power and misfit > 4 * best):
        return
    if best >= 0.05 * power:
        # eccentricity alone fits by chance now and then: the finer run from tooth to tooth must agree too
        gain = _fine_correlation(given, expected) - _fine_correlation(readings, as_named)
        if gain < 4 / math.sqrt(len(radial)):
            return
    z = len(radial)
    yield Notice(
        NoticeCode.FLANKS_OR_NUMBERING_DOUBTFUL,
        f"radial readings miss the runout from pitch by {short_text(math.sqrt(misfit / z), 2)} µm (rms), "
        f"but only by {short_text(math.sqrt(best / z), 2)} µm with {what}",
    )


def _misfit(readings: Array, expected: Array) -> float:
    miss = readings - expected
    miss = miss - miss.sum() / len(miss)
    return float(miss @ miss)


def _fine_correlation(readings: Array, expected: Array) -> float:
    first, second = without_first_harmonic(readings), without_first_harmonic(expected)
    first, second = first - first.mean(), second - second.mean()
    power = float(first @ first) * float(second @ second)
    return float(first @ second) / math.sqrt(power) if power > 0 else 0.0


def _range(values: Array) -> float:
    """Largest less smallest; NaN where a reading is missing, which no comparison takes for odd."""
    return float(np.maximum.reduce(values) - np.minimum.reduce(values)) if values.size else 0.0


def _unit_text(found: str, span: float, low: float, *, what: str = "they", most: str = "") -> str:
    """Says that a span lies far below the smallest possible one, or far beyond the largest."""
    if span < low:
        text = f"{found} {short_text(span, 2)} µm{most}, far below class 1: are {what} millimetres under a "
        return f"{text}header that says µm?"
    text = f"{found} {um_text(span, 0)}, far beyond class 11: are {what} micrometres under a "
    return f"{text}header that says mm?"
