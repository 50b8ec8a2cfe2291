"""A graded gear on its way into the store: its row, and a spool for many of them."""

from __future__ import annotations

import os
import pickle
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import IO, Any, Final, NamedTuple, Self

import orjson

from gearqa.history.figures import figures_of
from gearqa.history.stored_texts import dumps, identity_text, packed, stored_text, utc_text
from gearqa.model.measurement import Production
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.results.grade_json import GRADE

BATCH: Final = 500
"""Gears that are looked up and written at once."""
CONDITIONS: Final = ("fixture", "operator", "temperature_degC", "labels")
"""Labels that drift analysis tests."""
TOGETHER: Final = 100
"""Drafts that are put aside at once: they share their texts."""
IN_MEMORY: Final = 16 << 20
"""Bytes of drafts held in memory before a temporary file takes over."""


class Draft(NamedTuple):
    """One gear: columns of its row that do not depend on the store."""

    serial: str
    measured_key: str
    digests: dict[str, str]
    row: dict[str, Any]


def draft_of(gear: GearResult, digests: Mapping[str, str], part: Part, *, simulated: bool) -> Draft:
    """Everything that is kept of a graded gear."""
    made = gear.production or Production()
    measured_key = identity_text(made.measured_at)
    return Draft(
        serial=gear.serial,
        measured_key=measured_key,
        digests=dict(digests),
        row={
            "part_number": part.part.number,
            "serial": gear.serial,
            "measured_key": measured_key,
            "measured_at": stored_text(made.measured_at),
            "finished_at": stored_text(made.finished_at),
            "finished_utc": None if made.finished_at is None else utc_text(made.finished_at),
            "produced": gear.production is not None,
            "grinder": made.grinder,
            "wheel": made.wheel,
            "dress": made.dress,
            "parts_since_dress": made.parts_since_dress,
            "instrument": made.instrument,
            "simulated": simulated,
            "class_": gear.class_,
            "class_complete": gear.class_complete,
            "beyond": gear.beyond,
            "conforms": gear.conforms,
            "master_quality": gear.master_quality,
            "digests": dumps(dict(digests)),
            "result": packed(GRADE.dumps(gear)),
            "figures": packed(orjson.dumps(figures_of(gear, part))),
            "measurement": gear.measurement,
            "conformity_state": gear.state,
            "conditions": conditions_text(made),
        },
    )


def conditions_text(made: Production) -> str | None:
    """What the production table says beside the columns of a gear; None where it says nothing more."""
    said = {name: value for name in CONDITIONS if (value := getattr(made, name)) not in (None, {})}
    return dumps(said) if said else None


def spool_file() -> IO[bytes]:
    """A file for drafts that lies in memory while it is small."""
    return tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)


class DraftSpool:
    """Drafts in their order, in memory or a temporary file: any number of them in bounded memory.

    Several spools may share a file, one filled after the other.
    """

    def __init__(self, file: IO[bytes] | None = None) -> None:
        self._own = file is None
        self._file = file if file is not None else spool_file()
        self._start = self._file.seek(0, os.SEEK_END)
        self.portions = 0
        self._waiting: list[Draft] = []

    def add(self, draft: Draft) -> None:
        """Put one more aside."""
        self._waiting.append(draft)
        if len(self._waiting) == TOGETHER:
            self.finish()

    def finish(self) -> None:
        """Put aside what waits; before another spool uses the file."""
        if self._waiting:
            pickle.dump(self._waiting, self._file, protocol=pickle.HIGHEST_PROTOCOL)
            self.portions += 1
            self._waiting = []

    def __iter__(self) -> Iterator[Draft]:
        self.finish()
        self._file.seek(self._start)
        for _ in range(self.portions):
            portion: list[Draft] = pickle.load(self._file)
            yield from portion
        self._file.seek(0, os.SEEK_END)

    def __reduce__(self) -> tuple[Any, ...]:
        """Sent to another process as the drafts themselves."""
        self.finish()
        self._file.seek(self._start)
        return _spool_of, (self._file.read(), self.portions)

    def close(self) -> None:
        """Forget them; a shared file stays."""
        if self._own:
            self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _spool_of(drafts: bytes, portions: int) -> DraftSpool:
    spool = DraftSpool()
    spool._file.write(drafts)
    spool.portions = portions
    return spool


def batches(drafts: Iterable[Draft], size: int = BATCH) -> Iterator[list[Draft]]:
    """Drafts in portions."""
    source = iter(drafts)
    while batch := list(islice(source, size)):
        yield batch
