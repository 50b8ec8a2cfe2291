"""What was measured on one gear, in the one convention of this house.

Transverse plane, micrometres, plus = more material; looking onto the datum face, teeth numbered
clockwise and plus pitch or index = displaced clockwise. Readers turn everything into this.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import field, replace
from datetime import datetime, time
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, Final, NamedTuple, Protocol, TypeVar

from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.declared import IS_SHA256, KNOWN
from gearqa.symbols import Flank, TraceKind

if TYPE_CHECKING:
    from gearqa.arrays import Array

FIRST_MEASUREMENT: Final = "1"
"""Label of a measurement that has none."""


class GearKey(NamedTuple):
    """One measurement of one gear."""

    serial: str
    measurement: str = FIRST_MEASUREMENT

    @property
    def name(self) -> str:
        """The gear, with a measurement after the first, as a page shows it."""
        return measured_name(self.serial, self.measurement)

    @property
    def quoted(self) -> str:
        """The same as a message shows it."""
        again = "" if self.measurement == FIRST_MEASUREMENT else f" (measurement '{self.measurement}')"
        return f"'{self.serial}'{again}"


class HasKey(Protocol):
    """What was measured on a gear, or what came out of it."""

    @property
    def serial(self) -> str:
        """Serial of the gear."""

    @property
    def measurement(self) -> str:
        """Label of the measurement."""


Keyed = TypeVar("Keyed", bound=HasKey)


class Seen:
    """Tells measured gears that come one after another from further measurements of the same serial."""

    def __init__(self) -> None:
        self._first: GearKey | None = None

    def again(self, gear: HasKey) -> bool:
        """Whether this is a further measurement of the serial that came last."""
        key = GearKey(gear.serial, gear.measurement)
        first = self._first
        if first is not None and key.serial == first.serial and key.measurement != first.measurement:
            return True
        self._first = key
        return False


def first_measurements(gears: Iterable[Keyed]) -> Iterator[Keyed]:
    """The gears, each with its first measurement alone; those of one serial follow each other."""
    seen = Seen()
    return (gear for gear in gears if not seen.again(gear))


def measured_name(serial: str, measurement: str) -> str:
    """A gear, with a measurement after the first, as a page shows it.

    >>> measured_name("OT-1", "1"), measured_name("OT-1", "after cleaning")
    ('OT-1', 'OT-1 (after cleaning)')
    """
    return serial if measurement == FIRST_MEASUREMENT else f"{serial} ({measurement})"


def frozen_array(values: Array) -> Array:
    """Return `values` as a read-only float64 array (not copied when it already is one)."""
    import numpy as np  # lists of gears and pages of help do without

    if type(values) is np.ndarray and not values.flags.writeable and values.dtype == np.float64:
        return values
    array = np.asarray(values, dtype=np.float64)
    if array.flags.writeable:
        array = array.copy()
        array.setflags(write=False)
    return array


def _lacking(values: Array) -> tuple[int, ...]:
    """Numbers, from 1, of teeth or spaces without a value."""
    import numpy as np

    return tuple((np.flatnonzero(np.isnan(values)) + 1).tolist())


@dataclass(frozen=True, eq=False, slots=True)
class Trace:
    """One profile or helix trace, sorted by position.

    Traces sampled alike should share one `position_mm` array: they are evaluated together.
    """

    kind: TraceKind
    flank: Flank
    tooth: int
    position_mm: Array
    """Length of roll from the base circle (profile) or face position (helix), rising. [mm], shape (n,)"""
    deviation_um: Array
    """Deviation from the unmodified involute or helix. [um], shape (n,)"""
    label_mm: float | None = None
    """Face position of a profile trace, diameter of a helix trace, where given. [mm]"""
    copy_of: str = ""
    """The trace that this one repeats value for value, as a sentence calls it; found by the reader."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_mm", frozen_array(self.position_mm))
        object.__setattr__(self, "deviation_um", frozen_array(self.deviation_um))
        if self.position_mm.shape != self.deviation_um.shape or self.position_mm.ndim != 1:
            raise ValueError("position_mm and deviation_um must be one-dimensional and of equal length")


@dataclass(frozen=True, eq=False, slots=True)
class PitchReadings:
    """Index deviations of all teeth of one flank; NaN where a tooth was not measured."""

    flank: Flank
    index_um: Array
    """Index deviation of tooth 1..z, clockwise plus, any constant. [um], shape (z,)"""
    closure_um: float = 0.0
    """Sum of the single pitches before it was spread out; 0 where index was given. [um]"""
    copy_of: str = ""
    """The readings that these repeat value for value; found by the reader."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "index_um", frozen_array(self.index_um))

    @property
    def missing_teeth(self) -> tuple[int, ...]:
        """Teeth without a reading, numbered from 1."""
        return _lacking(self.index_um)


@dataclass(frozen=True, eq=False, slots=True)
class RunoutReadings:
    """Radial ball readings of all spaces, plus = away from the gear axis; NaN where missing."""

    radial_um: Array
    """[um], shape (z,), space i at index i - 1"""
    copy_of: str = ""
    """The readings that these repeat value for value; found by the reader."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "radial_um", frozen_array(self.radial_um))

    @property
    def missing_spaces(self) -> tuple[int, ...]:
        """Spaces without a reading, numbered from 1."""
        return _lacking(self.radial_um)


@dataclass(frozen=True, slots=True)
class SizeReading:
    """Dimension over or between balls (`balls`) or span (`span`). [mm]"""

    method: str
    value_mm: float
    pin_diameter_mm: float | None = None
    teeth_spanned: int | None = None
    position: str = ""


Time = Annotated[datetime | None, KNOWN]
Label = Annotated[str | None, KNOWN]


@dataclass(frozen=True, slots=True)
class Production:
    """When, on which grinder, wheel and dress a gear was made, and how it was measured."""

    finished_at: Time = None
    grinder: Label = None
    wheel: Label = None
    dress: Label = None
    parts_since_dress: Annotated[int | None, KNOWN] = None
    fixture: Label = None
    measured_at: Time = None
    instrument: Label = None
    operator: Label = None
    temperature_degC: Annotated[float | None, KNOWN] = None
    calibration_ref: Label = None
    calibration_due: Time = None
    remark: Label = None
    labels: Annotated[Mapping[str, str], KNOWN] = field(default_factory=dict)
    """Extra columns, kept as text."""

    def made_only(self) -> Production:
        """What is true of the gear, whenever it is measured: where, when and how it was made."""
        return replace(
            self, measured_at=None, instrument=None, operator=None, temperature_degC=None,
            calibration_ref=None, calibration_due=None, remark=None,
        )  # fmt: skip

    @property
    def calibration_overdue(self) -> bool:
        """Measured after the calibration was due: on a day until its end, at a time where both compare."""
        measured, due = self.measured_at, self.calibration_due
        if measured is None or due is None:
            return False
        if due.time() != time.min and (measured.tzinfo is None) == (due.tzinfo is None):
            return measured > due
        return measured.date() > due.date()


@lru_cache(maxsize=1 << 16)
def label_order(label: str | None) -> tuple[tuple[int, int, str], ...]:
    """Sort key of wheel and dress labels, in which D2 comes before D10."""
    words = re.split(r"(\d+)", label or "")
    return tuple((1, int(word), "") if word.isdecimal() else (0, 0, word.lower()) for word in words if word)


@dataclass(frozen=True, slots=True)
class GrinderEvent:
    """What was done to a grinder: a row of an events table."""

    at: datetime
    event: str
    grinder: str
    wheel: str | None = None
    parameter: str | None = None
    flank: Flank | None = None
    correction: float | None = None
    unit: str | None = None
    remark: str | None = None


@dataclass(frozen=True, eq=False, slots=True)
class GearMeasurement:
    """Everything measured on one serial, at one measurement of it."""

    serial: str
    traces: tuple[Trace, ...] = ()
    pitch: Mapping[Flank, PitchReadings] = field(default_factory=dict)
    runout: RunoutReadings | None = None
    sizes: tuple[SizeReading, ...] = ()
    production: Production | None = None
    notices: tuple[Notice, ...] = ()
    """What the reader noticed about this gear alone."""
    files: tuple[str, ...] = ()
    """Files that it rests on, where they are known."""
    measurement: str = FIRST_MEASUREMENT
    """Label that tells measurements of one serial apart."""


@dataclass(frozen=True, slots=True)
class InputFile:
    """A file that was read, with its digest, or one left out, with the reason."""

    file: str
    sha256: Annotated[str | None, IS_SHA256] = None
    left_out: Annotated[str | None, KNOWN] = None
