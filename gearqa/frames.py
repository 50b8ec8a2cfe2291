"""Grading results as pandas frames, for notebooks: one row a gear, a parameter or a trace."""

from __future__ import annotations

from collections.abc import Iterable
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gearqa.model.results import FlankResult, GearResult, GradeResult, ParameterResult, TraceResult
from gearqa.results.entries import key_of, names_of
from gearqa.results.trace_columns import APART, NONE, columns_apart, place_of
from gearqa.symbols import PARAMETERS, symbol_of

if TYPE_CHECKING:
    import pandas as pd

    from gearqa.results.parquet_files import CellType

NESTED = (
    "not_assessed", "warnings", "parameters", "traces", "pitch", "size", "limit_curves", "zones",
    "production",
)  # fmt: skip
GEAR_FIELDS = names_of(GearResult, *NESTED)
TRACE_FIELDS = names_of(TraceResult)
GRADED_FIELDS = (
    "value_um", "min_um", "max_um", "tooth", "class_", "class_exact", "beyond", "required_class",
    "tolerance_um", "conforms", "master_quality",
)  # fmt: skip
PARAMETER_FIELDS = (
    "serial", "measurement", "parameter", "symbol", "flank", *GRADED_FIELDS, "lower_limit_um",
    "upper_limit_um", "mean_um", "standard",
)  # fmt: skip
INTEGERS = ("class", "required_class", "tooth", "points", "near_limit")
ANSWERS = ("conforms", "master_quality", "beyond")


def _gears(result: GradeResult | Iterable[GearResult]) -> Iterable[GearResult]:
    return result.gears if isinstance(result, GradeResult) else result


def _standard(result: GradeResult | Iterable[GearResult]) -> str | None:
    """Tolerance system of the classes; gears alone do not know it."""
    return result.header.standard if isinstance(result, GradeResult) else None


def _frame(rows: Iterable[tuple[Any, ...]], fields: Iterable[str]) -> pd.DataFrame:
    import pandas as pd

    frame = pd.DataFrame.from_records(list(rows), columns=list(map(key_of, fields)))
    for name in frame.columns:
        if name in INTEGERS:
            frame[name] = frame[name].astype("Int64")
        elif name in ANSWERS:
            frame[name] = frame[name].astype("boolean")
        elif name.endswith(("_um", "_exact", "_mm")):
            frame[name] = frame[name].astype("float64")
    return frame


def gears_frame(result: GradeResult | Iterable[GearResult]) -> pd.DataFrame:
    """One row a gear: class and the tolerance system it belongs to, conformity, master quality.

    Parameters
    ----------
    result : GradeResult or iterable of GearResult
        What `gearqa.grade` or `gearqa.evaluation.evaluate` returned; gears alone do not know the system.
    """
    values, standard = attrgetter(*GEAR_FIELDS), _standard(result)
    rows = ((*values(gear), standard) for gear in _gears(result))
    return _frame(rows, (*GEAR_FIELDS, "standard"))


def parameters_frame(result: GradeResult | Iterable[GearResult]) -> pd.DataFrame:
    """One row a gear, parameter and flank; runout and thickness variation have no flank.

    Limit curves (`profile_curve`: the margin) and zones (`profile_total_zone_1`) follow the parameters.

    Parameters
    ----------
    result : GradeResult or iterable of GearResult
        What `gearqa.grade` or `gearqa.evaluation.evaluate` returned.
    """
    standard = _standard(result)
    return _frame(((*row, standard) for row in _parameter_rows(_gears(result))), PARAMETER_FIELDS)


def write_parquet(frame: pd.DataFrame, path: str | Path, *, simulated: bool) -> None:
    """Write one of these frames as a Parquet table, which gearqa never reads as a measurement; of several
    texts in a cell (`governing`) it makes one, with commas.

    Parameters
    ----------
    frame : DataFrame
        What one of the functions above returned.
    path : str or Path
        Where; a file of another kind is not replaced.
    simulated : bool
        Whether the result is of simulated data (`result.header.simulated`), which the file says then.
    """
    from gearqa.results.csvio import result_mark
    from gearqa.results.outputs import Outputs
    from gearqa.results.parquet_files import write_parquet_rows

    types: dict[str, CellType] = {
        "float64": "number", "Int64": "whole", "int64": "whole", "boolean": "answer", "bool": "answer",
    }  # fmt: skip
    columns = {name: types.get(str(frame[name].dtype), "text") for name in frame.columns}
    cells = frame.astype(object).where(frame.notna(), None)
    rows = (
        [",".join(one) if isinstance(one, tuple) else one for one in row]
        for row in cells.itertuples(index=False, name=None)
    )
    with Outputs() as outputs:
        stream = outputs.open(str(path), "Parquet result")
        write_parquet_rows(stream, columns, rows, result_mark(simulated))


def _parameter_rows(gears: Iterable[GearResult]) -> Iterable[tuple[Any, ...]]:
    graded = attrgetter(*GRADED_FIELDS)
    for gear in gears:
        for key, parameter in gear.parameters.items():
            sides: Iterable[tuple[str | None, ParameterResult | FlankResult]] = parameter.flanks.items()
            for flank, one in sides if parameter.flanks else [(None, parameter)]:
                known = gear.serial, gear.measurement, key, PARAMETERS[key].symbol, flank, *graded(one)
                yield *known, *(one.limits_um or (None, None)), getattr(one, "mean_um", None)
        for curve in gear.limit_curves:
            yield _row_apart(gear, f"{curve.kind}_curve", curve.flank, {
                "value_um": curve.margin_um, "tooth": curve.tooth, "conforms": curve.conforms,
                "lower_limit_um": 0.0,
            })  # fmt: skip
        for zone in gear.zones:
            yield _row_apart(gear, zone.key, zone.flank, {
                "value_um": zone.value_um, "tooth": zone.tooth, "upper_limit_um": zone.tolerance_um,
                "conforms": zone.conforms if zone.required else None,
            })  # fmt: skip


def _row_apart(gear: GearResult, key: str, flank: str, known: dict[str, Any]) -> tuple[Any, ...]:
    """A row of what has limits and no class."""
    values = map(known.get, (*GRADED_FIELDS, "lower_limit_um", "upper_limit_um", "mean_um"))
    return gear.serial, gear.measurement, key, symbol_of(key), flank, *values


def traces_frame(result: GradeResult | Iterable[GearResult]) -> pd.DataFrame:
    """One row a profile or helix trace, with its margin to limit curves and the zone that it uses up most.

    Parameters
    ----------
    result : GradeResult or iterable of GearResult
        What `gearqa.grade` or `gearqa.evaluation.evaluate` returned.
    """
    values = attrgetter(*TRACE_FIELDS)
    rows = (
        (gear.serial, gear.measurement, *values(trace), *apart.get(place_of(trace), NONE))
        for gear in _gears(result)
        for apart in (columns_apart(gear),)
        for trace in gear.traces
    )
    return _frame(rows, ("serial", "measurement", *TRACE_FIELDS, *APART))
