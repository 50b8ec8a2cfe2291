"""A lot result as CSV: one row a gear, parameter and flank."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from gearqa.model.lot import LotResult
from gearqa.results.csvio import Style, csv_table

COLUMNS = (
    "serial", "parameter", "flank", "value_um", "lower_limit_um", "upper_limit_um", "u_um",
    "probability_of_conformity", "state", "counts_as", "class_indicated", "class_proven", "gear_state",
    "gear_master_quality",
)  # fmt: skip


def lot_csv(result: LotResult, style: Style = "comma") -> bytes:
    """One row a gear, parameter and flank."""
    return csv_table(COLUMNS, _rows(result), simulated=result.simulated, style=style)


def _rows(result: LotResult) -> Iterator[tuple[Any, ...]]:
    for gear in result.gears:
        for value in gear.values:
            yield (
                gear.serial, value.parameter, value.flank, value.value_um, value.lower_limit_um,
                value.upper_limit_um, value.u_um, value.probability_of_conformity, value.state,
                value.counts_as, value.class_indicated, value.class_proven, gear.state, gear.master_quality,
            )  # fmt: skip
