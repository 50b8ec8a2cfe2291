"""A graded gear on its way into the store: the row, its key figures, and a spool for many of them."""

from __future__ import annotations

import os
import pickle
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice
from typing import IO, Any, Final, Self

from gearqa.evaluation.criteria import all_of
from gearqa.evaluation.observations import observations_from_results
from gearqa.evaluation.sizes import size_counted
from gearqa.history.stored_texts import dumps, identity_text, packed, stored_text, utc_text
from gearqa.model.drift import COMPONENTS
from gearqa.model.measurement import Production
from gearqa.model.part import Part
from gearqa.model.results import GearResult
from gearqa.results.grade_json import GRADE
from gearqa.symbols import QUANTITIES, SIZE

BATCH: Final = 500
"""Gears that are looked up and written at once."""
FIGURE_KEYS: Final = (*QUANTITIES, *COMPONENTS)
IN_MEMORY: Final = 16 << 20
"""Bytes of drafts held in memory before a temporary file takes over."""


@dataclass(slots=True)
class Draft:
    """One gear: columns of its row that do not depend on the store, and its key figures."""

    serial: str
    measured_key: str
    digests: dict[str, str]
    row: dict[str, Any]
    figures: list[dict[str, Any]]


def draft_of(gear: GearResult, digests: Mapping[str, str], part: Part, *, simulated: bool) -> Draft:
    """Everything that is kept of a graded gear."""
    made = gear.production or Production()
    return Draft(
        serial=gear.serial,
        measured_key=identity_text(made.measured_at),
        digests=dict(digests),
        row={
            "part_number": part.part.number,
            "serial": gear.serial,
            "measured_key": identity_text(made.measured_at),
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
        },
        figures=list(figures_of(gear, part)),
    )


def figures_of(gear: GearResult, part: Part) -> Iterator[dict[str, Any]]:
    """Key figures per parameter and flank: what drift analysis needs, and the verdict."""
    produced = gear if gear.production is not None else replace(gear, production=Production())
    for one in observations_from_results([produced], part, parameters=FIGURE_KEYS):
        if one.parameter == SIZE:
            sizes = size_counted(gear, part.tolerance.size)
            value, class_, conforms = one.mean_um, None, all_of([size.conforms for size in sizes])
        elif one.parameter in COMPONENTS:
            value, class_, conforms = one.mean_um, None, None
        else:
            whole = gear.parameters[one.parameter]
            result = whole if one.flank is None else whole.flanks[one.flank]
            value, class_, conforms = result.value_um, result.class_, result.conforms
        yield {
            "parameter": one.parameter,
            "flank": one.flank or "",
            "value_um": value,
            "mean_um": one.mean_um,
            "min_um": one.min_um,
            "max_um": one.max_um,
            "limit_low_um": one.limit_low,
            "limit_high_um": one.limit_high,
            "expanded_u_um": one.U,
            "class_": class_,
            "conforms": conforms,
        }


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
        self.count = 0

    def add(self, draft: Draft) -> None:
        """Put one more aside."""
        pickle.dump(draft, self._file, protocol=pickle.HIGHEST_PROTOCOL)
        self.count += 1

    def __iter__(self) -> Iterator[Draft]:
        self._file.seek(self._start)
        for _ in range(self.count):
            draft: Draft = pickle.load(self._file)
            yield draft
        self._file.seek(0, os.SEEK_END)

    def __reduce__(self) -> tuple[Any, ...]:
        """Sent to another process as the drafts themselves."""
        self._file.seek(self._start)
        return _spool_of, (self._file.read(), self.count)

    def close(self) -> None:
        """Forget them; a shared file stays."""
        if self._own:
            self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _spool_of(drafts: bytes, count: int) -> DraftSpool:
    spool = DraftSpool()
    spool._file.write(drafts)
    spool.count = count
    return spool


def batches(drafts: Iterable[Draft], size: int = BATCH) -> Iterator[list[Draft]]:
    """Drafts in portions."""
    source = iter(drafts)
    while batch := list(islice(source, size)):
        yield batch
