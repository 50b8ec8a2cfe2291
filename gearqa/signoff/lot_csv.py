"""A lot result as CSV: one row a gear, parameter and flank."""

from __future__ import annotations

import csv
import io
from typing import Any, Literal

from gearqa.io.csvio import SIMULATED_MARK
from gearqa.io.recognition import RESULT_MARK
from gearqa.model.lot import LotResult

COLUMNS = (
    "serial", "parameter", "flank", "value_um", "lower_limit_um", "upper_limit_um", "u_um",
    "probability_of_conformity", "state", "counts_as", "class_indicated", "class_proven", "gear_state",
    "gear_master_quality",
)  # fmt: skip


def lot_csv(result: LotResult, style: Literal["comma", "semicolon"] = "comma") -> bytes:
    """Text of the table; `semicolon` is for spreadsheets of countries with a decimal comma."""
    comma = style == "semicolon"
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=";" if comma else ",", lineterminator="\n")
    writer.writerow(COLUMNS)
    for gear in result.gears:
        for value in gear.values:
            row = (
                gear.serial, value.parameter, value.flank, value.value_um, value.lower_limit_um,
                value.upper_limit_um, value.u_um, value.probability_of_conformity, value.state,
                value.counts_as, value.class_indicated, value.class_proven, gear.state, gear.master_quality,
            )  # fmt: skip
            writer.writerow([_cell(one, comma) for one in row])
    mark = RESULT_MARK + (SIMULATED_MARK if result.simulated else "")
    return f"{mark}\n{text.getvalue()}".encode("utf-8-sig" if comma else "utf-8")


def _cell(value: Any, comma: bool) -> Any:
    if value is None:
        return ""
    if isinstance(value, float):
        return repr(value).replace(".", ",") if comma else repr(value)
    return value
