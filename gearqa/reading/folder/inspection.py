"""The gears of an inspection folder that was read, put together one after the other, as often as wanted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import field
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from gearqa.arrays import Array
from gearqa.core.pitch import index_from_single_pitches
from gearqa.errors import Notice
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import (
    GearKey,
    GearMeasurement,
    GrinderEvent,
    InputFile,
    PitchReadings,
    Production,
    RunoutReadings,
    SizeReading,
    Trace,
)
from gearqa.model.part import Part
from gearqa.reading.folder.canonical import HELIX, INDEX, PROFILE, SINGLE_PITCH
from gearqa.reading.folder.series_store import Series, SeriesStore
from gearqa.reading.folder.text_rows import TextRows
from gearqa.symbols import FLANKS, Flank, TraceKind


@dataclass(eq=False)
class Inspection:
    """The measurements of one folder.

    Iterating yields a `GearMeasurement` per serial and measurement, serials in the order first met, and may
    be repeated. Numbers
    of large folders lie in a temporary file until `close` is called or the object goes out of use.
    """

    folder: Path
    part: Part
    inputs: tuple[InputFile, ...]
    """Every file that was read, with its digest, and every file left out, with the reason."""
    notices: tuple[Notice, ...]
    """What was noticed about the folder as a whole; notices about one gear are with that gear."""
    simulated: bool
    """Whether a table says that it was simulated."""
    gears: tuple[GearKey, ...]
    """What can be graded, serial by serial in the order first met, each with its first measurement first."""
    events: tuple[GrinderEvent, ...]
    _store: SeriesStore = field(repr=False)
    _texts: TextRows = field(repr=False)
    _gear_notices: Mapping[GearKey, Sequence[Notice]] = field(repr=False)
    _tables: Sequence[str] = field(default=(), repr=False)
    """Names of the tables, by the number that the store knows them by."""

    def __len__(self) -> int:
        return len(self.gears)

    @property
    def serials(self) -> tuple[str, ...]:
        """Serials with something to grade, in the order first met."""
        return tuple(dict.fromkeys(gear.serial for gear in self.gears))

    @property
    def other_production(self) -> tuple[Production, ...]:
        """Production rows of serials that are not among the gears: others of the same lot."""
        return tuple(self.production_of_others.values())

    @property
    def production_of_others(self) -> dict[str, Production]:
        """The same by serial."""
        own = set(self.serials)
        others = dict.fromkeys(gear.serial for gear in self._texts.production if gear.serial not in own)
        found = ((serial, self._texts.production_of(GearKey(serial))) for serial in others)
        return {serial: row for serial, row in found if row is not None}

    def files_of(self, gear: GearKey) -> tuple[str, ...]:
        """Files that a gear rests on: tables with rows of it, and those that hold no gears."""
        numbers = self._store.files_of(self._store.gears[gear])
        own = {*(self._tables[number] for number in numbers), *self._texts.files.get(gear, ())}
        read = (file.file for file in self.inputs if file.left_out is None)
        return tuple(name for name in read if name in own or name not in self._tables)

    def __iter__(self) -> Iterator[GearMeasurement]:
        return self.some(range(len(self.gears)))

    def some(self, places: range) -> Iterator[GearMeasurement]:
        """The gears at some places."""
        for gear in self.gears[places.start : places.stop]:
            yield assemble(
                gear,
                self._store.series_of(self._store.gears[gear]),
                files=self.files_of(gear),
                teeth=self.part.gear.teeth,
                sizes=self._texts.sizes.get(gear, ()),
                production=self._texts.production_of(gear),
                notices=self._gear_notices.get(gear, ()),
            )

    @property
    def on_disk(self) -> bool:
        """Whether the numbers were too many for memory and lie in a temporary file."""
        return self._store.on_disk

    def close(self) -> None:
        """Free memory and temporary file; the gears cannot be read any more."""
        self._store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


_TRACE_KINDS: dict[int, TraceKind] = {PROFILE: "profile", HELIX: "helix"}


def assemble(
    gear: GearKey,
    series: Iterable[Series],
    *,
    files: tuple[str, ...] = (),
    teeth: int,
    sizes: Sequence[SizeReading],
    production: Production | None,
    notices: Sequence[Notice],
) -> GearMeasurement:
    """Everything measured on one gear."""
    traces: list[Trace] = []
    pitch: dict[Flank, PitchReadings] = {}
    runout: RunoutReadings | None = None
    for one in series:
        kind = _TRACE_KINDS.get(one.series)
        flank = FLANKS[one.flank]
        if kind is not None:
            traces.append(Trace(kind, flank, one.tooth, one.position, one.value, one.label_mm, one.copy_of))
        elif one.series == INDEX:
            pitch[flank] = PitchReadings(flank, _by_number(one, teeth), copy_of=one.copy_of)
        elif one.series == SINGLE_PITCH:
            index, closure = index_from_single_pitches(_by_number(one, teeth))
            pitch[flank] = PitchReadings(flank, index, closure, one.copy_of)
        else:
            runout = RunoutReadings(_by_number(one, teeth), one.copy_of)
    return GearMeasurement(
        gear.serial, tuple(traces), pitch, runout, tuple(sizes), production, tuple(notices), files,
        gear.measurement,
    )  # fmt: skip


def _by_number(series: Series, teeth: int) -> Array:
    """Values by tooth or space, NaN where there is none."""
    values = np.full(teeth, np.nan)
    values[series.position.astype(np.int64) - 1] = series.value
    values.setflags(write=False)
    return values
