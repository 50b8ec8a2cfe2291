"""From the columns of a table to the one convention of the model: flanks, numbering, signs, units.

Both readers bring their numbers here, so that a file gives the same bits on either path. What is
wrong comes back as faults by row; the reader knows lines and cells.

Looking at a gear from its other face mirrors it: what turned clockwise turns anticlockwise, the right
flank of a tooth (tip up) is called left, and face positions count from the other end. Each reading still
belongs to the same piece of surface, so profile and helix deviations (plus = more material) and radial
readings keep their sign, and the sign of a slope follows from the turned positions. An index is a
displacement in the direction of counting, so it changes sign where that direction does; a single pitch
is a distance (plus = too long) and does not, but it then belongs to the other tooth of its pair.

Tooth 1 stays tooth 1. A space lies ahead of its tooth in the direction of counting, for external and
internal gears alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gearqa.arrays import Array, BoolArray, IntArray
from gearqa.core.geometry import roll_length
from gearqa.errors import Reason
from gearqa.evaluation.part_geometry import part_geometry, plane_factors
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import GearKey
from gearqa.model.part import Part
from gearqa.reading.folder.sources import Convention, TableKind
from gearqa.reading.folder.table_kinds import GRADED_KINDS, LABEL_COLUMNS, LARGEST
from gearqa.wording.numbers import fixed_text, largest_text

Column = NDArray[Any]


def counts_backwards(convention: Convention) -> bool:
    """Whether teeth are counted anticlockwise, as seen from the datum face."""
    return (convention.seen_from == "opposite_face") != (convention.numbering == "anticlockwise")


def turned_words(convention: Convention, teeth: int) -> str:
    """How tables of a convention call what results name as seen from the datum face, clockwise.

    >>> turned_words(Convention("opposite_face", "clockwise"), 30)
    'tooth 2 here is tooth 30 of theirs, the left flank here their right flank'
    """
    words = [f"tooth 2 here is tooth {teeth} of theirs"] if counts_backwards(convention) else []
    if convention.seen_from == "opposite_face":
        words.append(f"the left flank here {'' if words else 'is '}their right flank")
    return ", ".join(words)


def turn_columns(
    kind: TableKind, columns: Mapping[str, Column], convention: Convention, part: Part
) -> dict[str, Column]:
    """Canonical columns as seen from the datum face and counted clockwise.

    `flank` holds words, or numbers 0 (left) and 1 (right). Teeth and spaces outside 1..z stay as they are,
    for the reader to complain about; so does what has nothing to turn.
    """
    turned = dict(columns)
    if kind not in GRADED_KINDS or convention == Convention():
        return turned
    z, width = part.gear.teeth, part.gear.face_width_mm
    if convention.seen_from == "opposite_face":
        if "flank" in turned:
            turned["flank"] = _other_flank(turned["flank"])
        if "face_position_mm" in turned:
            turned["face_position_mm"] = width - turned["face_position_mm"]
    if counts_backwards(convention):
        if "tooth" in turned:
            # a single pitch, between tooth - 1 and tooth, counted back lies between 3 - tooth and 2 - tooth
            mirror = 3 if "pitch_um" in turned else 2
            turned["tooth"] = _mirrored(turned["tooth"], mirror, z)
        if "space" in turned:
            turned["space"] = _mirrored(turned["space"], 1, z)
        if "index_um" in turned:
            turned["index_um"] = -turned["index_um"]
    return turned


def _mirrored(numbers: Column, total: int, z: int) -> Column:
    """`total - number`, counted round the gear, 1..z."""
    inside = (numbers >= 1) & (numbers <= z)
    return np.where(inside, (total - numbers - 1) % z + 1, numbers)


def _other_flank(flank: Column) -> Column:
    if flank.dtype.kind in "iub":
        return (1 - flank.astype(np.int8)).astype(flank.dtype)
    return np.where(flank == "left", "right", np.where(flank == "right", "left", flank)).astype(flank.dtype)


Codes = NDArray[np.integer]

# what one series of readings is; traces of the model, or the readings of all teeth of a flank
PROFILE, HELIX, INDEX, SINGLE_PITCH, RUNOUT = range(5)
SERIES_OF_KIND: Final[Mapping[TableKind, int]] = {"profile": PROFILE, "helix": HELIX, "runout": RUNOUT}
KIND_OF_SERIES: Final[tuple[TableKind, ...]] = ("profile", "helix", "pitch", "pitch", "runout")

BLANKS: Final = " \t\v\f\u00a0"
"""What both readers take off the ends of a cell of text."""
MAX_TEETH: Final = 65_535
"""A tooth number must fit its place in a series key; no standard goes beyond 1000."""
FLANK_SHIFT: Final = 16
SORT_SHIFT: Final = 17
SERIES_BITS: Final = 20
"""Series key: tooth in the lowest bits, then flank, then what the series is."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What the part file says about the numbers of the tables; without it, checks that need it rest."""

    part: Part | None
    teeth: int = MAX_TEETH
    base_diameter_mm: float | None = None
    flank_factor: float = 1.0
    """Of profile and helix deviations: normal to transverse plane."""
    pitch_factor: float = 1.0
    """Of pitch: measuring circle to reference circle."""

    @classmethod
    def of(cls, part: Part | None, teeth: int | None = None) -> Frame:
        """The frame of a part; of one that could not be read no more than its number of teeth, if known."""
        if part is None:
            return cls(None) if teeth is None else cls(None, teeth)
        geometry = part_geometry(part)
        return cls(part, min(geometry.z, MAX_TEETH), geometry.d_b, *plane_factors(part))


@dataclass(frozen=True, slots=True)
class Fault:
    """Cells of one column that cannot be used."""

    reason: Reason
    rows: NDArray[np.intp]
    column: str
    expected: str
    hint: str = ""


@dataclass(slots=True)
class NumberRows:
    """Numbers of some rows of a table that can be graded, in canonical columns."""

    kind: TableKind
    gears: Sequence[GearKey]
    """Distinct gears, by serial and measurement."""
    gear: Codes
    """Place of each row's gear in `gears`."""
    flank: NDArray[np.int8] | None
    """0 left, 1 right."""
    numbers: dict[str, Array]
    """Canonical column -> numbers, `tooth` and `space` among them."""


@dataclass(slots=True)
class SeriesRows:
    """Rows ready to be cut into series: which series, where, how much."""

    gears: Sequence[GearKey]
    gear: Codes
    series: IntArray
    """Series key within a gear, see `series_key`."""
    position: Array
    value: Array
    label: Array | None

    def take(self, rows: BoolArray | NDArray[np.intp]) -> SeriesRows:
        """Some of the rows."""
        label = None if self.label is None else self.label[rows]
        return SeriesRows(
            self.gears, self.gear[rows], self.series[rows], self.position[rows], self.value[rows], label
        )


def series_key(series: int, flank: int = 0, tooth: int = 0) -> int:
    """Series, flank and tooth in one number that sorts by them."""
    return (series << SORT_SHIFT) | (flank << FLANK_SHIFT) | tooth


def split_series_key(key: int) -> tuple[int, int, int]:
    """Series, flank and tooth of a key.

    >>> split_series_key(series_key(HELIX, 1, 45))
    (1, 1, 45)
    """
    return key >> SORT_SHIFT, (key >> FLANK_SHIFT) & 1, key & MAX_TEETH


def scaled(values: Array, factor: float, offset: float) -> Array:
    """`values * factor + offset`, untouched where that changes nothing."""
    if factor != 1.0:
        with np.errstate(over="ignore"):  # infinite: beyond every range
            values = values * factor
    return values + offset if offset != 0.0 else values


def to_series(rows: NumberRows, frame: Frame, convention: Convention) -> tuple[SeriesRows, list[Fault]]:
    """Bring rows into the convention of the model, and say what is wrong with them."""
    faults = _number_faults(rows, frame)
    numbers: dict[str, Column] = {**rows.numbers}
    if rows.flank is not None:
        numbers["flank"] = rows.flank
    if frame.part is not None:
        numbers = turn_columns(rows.kind, numbers, convention, frame.part)
    label: Array | None = None
    if rows.kind == "runout":
        key = np.full(len(rows.gear), series_key(RUNOUT), dtype=np.int64)
        position, value = numbers["space"], numbers["radial_um"]
        return SeriesRows(rows.gears, rows.gear, key, position, value, label), faults
    key = numbers["flank"].astype(np.int64) << FLANK_SHIFT
    if rows.kind == "pitch":
        single = "pitch_um" in numbers
        key = key + series_key(SINGLE_PITCH if single else INDEX)
        position = numbers["tooth"]
        value = scaled(numbers["pitch_um" if single else "index_um"], frame.pitch_factor, 0.0)
        return SeriesRows(rows.gears, rows.gear, key, position, value, label), faults
    if rows.kind == "profile":
        position, more = _roll_lengths(numbers, frame)
        faults += more
    else:
        position = numbers["face_position_mm"]
    label = numbers.get(LABEL_COLUMNS[rows.kind])
    tooth = numbers["tooth"]
    if not (len(tooth) and tooth.min() >= 0 and tooth.max() <= MAX_TEETH):  # NaN: a cell at fault
        tooth = np.clip(np.nan_to_num(tooth, nan=0.0, posinf=0.0, neginf=0.0), 0, MAX_TEETH)
    key += tooth.astype(np.int64)
    key += series_key(SERIES_OF_KIND[rows.kind])
    value = scaled(numbers["deviation_um"], frame.flank_factor, 0.0)
    return SeriesRows(rows.gears, rows.gear, key, position, value, label), faults


def _number_faults(rows: NumberRows, frame: Frame) -> list[Fault]:
    faults = []
    for column, values in rows.numbers.items():
        if _within_bounds(column, values, frame):
            continue
        finite = np.isfinite(values)
        if not finite.all():
            # NaN marks cells that the reader has found at fault already
            infinite = np.flatnonzero(np.isinf(values))
            faults.append(Fault(Reason.NOT_FINITE, infinite, column, "a finite number"))
        if (largest := LARGEST.get(column)) is not None:
            beyond = np.flatnonzero(finite & (np.abs(values) > largest))
            faults.append(Fault(Reason.OUT_OF_RANGE, beyond, column, largest_text(largest)))
        if column not in ("tooth", "space"):
            continue
        broken = finite & (values != np.floor(values))
        if broken.any():
            faults.append(Fault(Reason.NOT_A_WHOLE_NUMBER, np.flatnonzero(broken), column, "a whole number"))
        outside = finite & ~broken & ((values < 1) | (values > frame.teeth))
        if outside.any():
            expected = f"1 to {frame.teeth}" if frame.teeth < MAX_TEETH else "1 to the number of teeth"
            hint = "a column map can add an offset" if (values[outside] == 0).any() else ""
            faults.append(Fault(Reason.OUT_OF_RANGE, np.flatnonzero(outside), column, expected, hint))
    return [fault for fault in faults if len(fault.rows)]


def _within_bounds(column: str, values: Array, frame: Frame) -> bool:
    """Whether nothing is wrong with the numbers of a column; quick, as nearly always."""
    if not len(values):
        return True
    counts = column in ("tooth", "space")
    least, most = (1, frame.teeth) if counts else (-LARGEST.get(column, 0.0), LARGEST.get(column, 0.0))
    inside = bool(least <= values.min() and values.max() <= most)  # of NaN neither holds
    return inside and not (counts and (values != np.floor(values)).any())


def _roll_lengths(numbers: Mapping[str, Array], frame: Frame) -> tuple[Array, list[Fault]]:
    """Lengths of roll from whichever position column the table has."""
    base = frame.base_diameter_mm
    if "roll_length_mm" in numbers:
        column, roll = "roll_length_mm", numbers["roll_length_mm"]
    elif base is None:
        column = "roll_angle_deg" if "roll_angle_deg" in numbers else "diameter_mm"
        return numbers[column], []
    elif "roll_angle_deg" in numbers:
        column = "roll_angle_deg"
        roll = np.radians(numbers[column]) * (base / 2)
    else:
        column = "diameter_mm"
        roll = roll_length(numbers[column], base)
        below = np.flatnonzero(numbers[column] < base)
        expected = f"at least the base diameter {fixed_text(base, 4)} mm of this gear"
        hint = "check the column's unit and [gear] in part.toml"
        return roll, [Fault(Reason.BELOW_BASE_CIRCLE, below, column, expected, hint)] if len(below) else []
    if not len(roll) or roll.min() >= 0:
        return roll, []
    below = np.flatnonzero(roll < 0)
    expected = "0 at the base circle or more"
    return roll, [Fault(Reason.BELOW_BASE_CIRCLE, below, column, expected)] if len(below) else []
