"""Rows of tables that can be graded, from text, with every problem named by line and cell."""

from __future__ import annotations

from typing import Final

import numpy as np

from gearqa.reading.folder.canonical import Frame, NumberRows, SeriesRows, to_series
from gearqa.reading.folder.careful_reader import RawRows
from gearqa.reading.folder.cells import Cells
from gearqa.reading.folder.sources import TableSource
from gearqa.reading.folder.table_kinds import LABEL_COLUMNS, NUMBER_COLUMNS
from gearqa.reading.rows.problem_log import ProblemLog
from gearqa.symbols import FLANKS

FLANK_HINT: Final = (
    "`gearqa explain flanks` shows which is which; other words need a column map (`gearqa columns`)"
)


def careful_series(
    source: TableSource, raw: RawRows, frame: Frame, log: ProblemLog
) -> tuple[SeriesRows, list[int]]:
    """Rows in the convention of the model, those at fault left out, and the line of each."""
    cells = Cells.of(source, raw, log)
    serials, serial = cells.serials()
    flank = cells.words("flank", FLANKS, FLANK_HINT) if "flank" in raw.columns else None
    label = LABEL_COLUMNS.get(source.kind)
    numbers = {
        name: cells.numbers(name, blank=name == label) for name in raw.columns if name in NUMBER_COLUMNS
    }
    with np.errstate(over="ignore"):
        rows, faults = to_series(
            NumberRows(source.kind, serials, serial, flank, numbers), frame, source.convention
        )
    cells.faults(faults)
    if not cells.bad.any():
        return rows, raw.lines
    good = ~cells.bad
    return rows.take(good), [line for line, ok in zip(raw.lines, good.tolist(), strict=True) if ok]
