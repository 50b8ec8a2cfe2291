"""Rows of a table that can be graded, from its columns as in the file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from gearqa.model.measurement import FIRST_MEASUREMENT, GearKey
from gearqa.reading.folder.canonical import BLANKS, NumberRows, scaled
from gearqa.reading.folder.plain_cells import Columns, Texts
from gearqa.reading.folder.sources import TableSource
from gearqa.reading.folder.table_kinds import MEASUREMENT, NUMBER_COLUMNS
from gearqa.symbols import FLANKS
from gearqa.wording.formulas import with_formula


def column_places(source: TableSource, names: Sequence[str]) -> dict[str, int] | None:
    """Canonical column -> place in the file; None where the header lacks one."""
    place = {name.casefold(): at for at, name in reversed(list(enumerate(names)))}
    places = {}
    for canonical, column in source.columns.items():
        at = place.get((column.column or "").strip().casefold())
        if at is None:
            return None
        places[canonical] = at
    return places


def frame_columns(frame: Any, places: Mapping[str, int]) -> Columns:
    """Columns of a data frame that are named by their place."""
    return Columns(
        {at: _distinct(frame[str(at)]) for name, at in places.items() if name not in NUMBER_COLUMNS},
        {at: frame[str(at)].to_numpy() for name, at in places.items() if name in NUMBER_COLUMNS},
    )


def number_rows(columns: Columns, places: Mapping[str, int], source: TableSource) -> NumberRows | None:
    """The rows of columns at their places, or None where a cell is not as it should be."""
    serials, serial = columns.texts[places["serial"]]
    trimmed = [text.strip(BLANKS) for text in serials]
    if source.simulated:
        trimmed = list(map(with_formula, trimmed))
    if "" in trimmed:
        return None
    flank = None
    if "flank" in places:
        words, codes = columns.texts[places["flank"]]
        folded = [word.strip(BLANKS).casefold() for word in words]
        if not set(folded) <= set(FLANKS):
            return None
        flank = np.array([FLANKS.index(word) for word in folded], dtype=np.int8)[codes]
    numbers = {
        name: scaled(columns.numbers[at], source.columns[name].factor, source.columns[name].offset)
        for name, at in places.items()
        if name in NUMBER_COLUMNS
    }
    gears = [GearKey(text) for text in trimmed]
    if MEASUREMENT in places:
        words, labels = columns.texts[places[MEASUREMENT]]
        both, serial = np.unique(
            serial.astype(np.int64) * len(words) + labels.astype(np.int64), return_inverse=True
        )
        gears = [
            GearKey(trimmed[code // len(words)], _label(words[code % len(words)], source))
            for code in both.tolist()
        ]
    distinct = {gear: place for place, gear in enumerate(dict.fromkeys(gears))}
    if len(distinct) < len(gears):
        serial = np.array([distinct[gear] for gear in gears])[serial]
    return NumberRows(source.kind, list(distinct), serial, flank, numbers)


def _label(text: str, source: TableSource) -> str:
    """The label of a measurement; blank is the first one's."""
    trimmed = text.strip(BLANKS)
    return (with_formula(trimmed) if source.simulated else trimmed) or FIRST_MEASUREMENT


def _distinct(column: Any) -> Texts:
    import polars as pl

    runs = column.rle()  # most rows have the text of the row before
    texts, lengths = runs.struct.field("value"), runs.struct.field("len").to_numpy()
    distinct = texts.unique(maintain_order=True)
    return distinct.to_list(), np.repeat(texts.cast(pl.Enum(distinct)).to_physical().to_numpy(), lengths)
