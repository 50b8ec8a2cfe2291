"""What came of reading an inspection folder: its gears, one after the other, as often as wanted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Self

from gearqa.errors import Notice
from gearqa.model.measurement import GearMeasurement, GrinderEvent, InputFile, Production
from gearqa.model.part import Part
from gearqa.reading.folder.assembly import assemble
from gearqa.reading.folder.series_store import SeriesStore
from gearqa.reading.folder.text_rows import TextRows


@dataclass(eq=False)
class Inspection:
    """The measurements of one folder.

    Iterating yields a `GearMeasurement` per serial, in the order first met, and may be repeated. Numbers
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
    serials: tuple[str, ...]
    """Serials with something to grade, in the order first met."""
    events: tuple[GrinderEvent, ...]
    _store: SeriesStore = field(repr=False)
    _texts: TextRows = field(repr=False)
    _gear_notices: Mapping[str, Sequence[Notice]] = field(repr=False)

    def __len__(self) -> int:
        return len(self.serials)

    @property
    def other_production(self) -> tuple[Production, ...]:
        """Production rows of serials that are not among the gears: others of the same lot."""
        own = set(self.serials)
        return tuple(row for serial, row in self._texts.production.items() if serial not in own)

    def __iter__(self) -> Iterator[GearMeasurement]:
        for serial in self.serials:
            yield assemble(
                serial,
                self._store.series_of(self._store.serials[serial]),
                teeth=self.part.gear.teeth,
                sizes=self._texts.sizes.get(serial, ()),
                production=self._texts.production.get(serial),
                notices=self._gear_notices.get(serial, ()),
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
