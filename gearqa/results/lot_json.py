"""A lot sign-off as JSON, and as CSV rows, one a gear, parameter and flank."""

from __future__ import annotations

from typing import Final, get_args

from gearqa.model.lot import FlankKey, LotResult, ParameterStatistics
from gearqa.results.codec import Table
from gearqa.results.csvio import Style, csv_table
from gearqa.results.document import ResultDocument
from gearqa.symbols import QUANTITIES

LOT: Final = ResultDocument(
    "gearqa.lot/1", "gearqa lot sign-off", LotResult, definitions={ParameterStatistics: "series"}
)
COLUMNS: Final = (
    "serial=0.serial", "parameter=1.parameter", "flank=1.flank", "value_um=1.value_um",
    "lower_limit_um=1.lower_limit_um", "upper_limit_um=1.upper_limit_um", "u_um=1.u_um",
    "probability_of_conformity=1.probability_of_conformity", "state=1.state", "counts_as=1.counts_as",
    "class_indicated=1.class_indicated", "class_proven=1.class_proven", "gear_state=0.state",
    "gear_master_quality=0.master_quality", "standard=2.standard",
)  # fmt: skip
"""Of a gear, one of its values, and the whole result."""


def lot_csv(result: LotResult, style: Style = "comma") -> bytes:
    """One row a gear, parameter and flank."""
    rows = ((gear, value, result) for gear in result.gears for value in gear.all_values)
    return csv_table(COLUMNS, rows, simulated=result.simulated, style=style)


def lot_json_schema() -> Table:
    """Schema of `lot --json`, with the statistics by parameter and flank, and of the size."""
    from gearqa.results.json_schema import reference, some_of

    by_flank = some_of(dict.fromkeys(get_args(FlankKey), reference("series")))
    return LOT.json_schema(parameters=some_of(dict.fromkeys(QUANTITIES, by_flank)))
