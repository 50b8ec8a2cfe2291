"""Grading results as pandas frames, for notebooks: one row a gear, a parameter or a trace."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from gearqa.model.results import FlankResult, GearResult, GradeResult, ParameterResult, TraceResult
from gearqa.results.entries import key_of
from gearqa.symbols import PARAMETERS

if TYPE_CHECKING:
    import pandas as pd

NESTED = {"not_assessed", "warnings", "parameters", "traces", "pitch", "size", "production"}
GEAR_FIELDS = tuple(one.name for one in fields(GearResult) if one.name not in NESTED)
TRACE_FIELDS = tuple(one.name for one in fields(TraceResult))
GRADED_FIELDS = (
    "value_um", "min_um", "max_um", "tooth", "class_", "class_exact", "beyond", "required_class",
    "tolerance_um", "conforms", "master_quality",
)  # fmt: skip
INTEGERS = ("class", "required_class", "tooth", "points", "near_limit")
ANSWERS = ("conforms", "master_quality", "beyond")


def _gears(result: GradeResult | Iterable[GearResult]) -> Iterable[GearResult]:
    return result.gears if isinstance(result, GradeResult) else result


def _frame(rows: Iterable[Mapping[str, Any]], columns: Iterable[str]) -> pd.DataFrame:
    import pandas as pd

    frame = pd.DataFrame.from_records(list(rows), columns=list(columns))
    for name in frame.columns:
        if name in INTEGERS:
            frame[name] = frame[name].astype("Int64")
        elif name in ANSWERS:
            frame[name] = frame[name].astype("boolean")
        elif name.endswith(("_um", "_exact", "_mm")):
            frame[name] = frame[name].astype("float64")
    return frame


def gears_frame(result: GradeResult | Iterable[GearResult]) -> pd.DataFrame:
    """One row a gear: class, conformity, master quality.

    Parameters
    ----------
    result : GradeResult or iterable of GearResult
        What `gearqa.grade` or `gearqa.evaluation.evaluate` returned.
    """
    rows = ({key_of(name): getattr(gear, name) for name in GEAR_FIELDS} for gear in _gears(result))
    return _frame(rows, map(key_of, GEAR_FIELDS))


def parameters_frame(result: GradeResult | Iterable[GearResult]) -> pd.DataFrame:
    """One row a gear, parameter and flank; runout and thickness variation have no flank.

    Parameters
    ----------
    result : GradeResult or iterable of GearResult
        What `gearqa.grade` or `gearqa.evaluation.evaluate` returned.
    """
    graded = tuple(map(key_of, GRADED_FIELDS))
    columns = (
        "serial",
        "parameter",
        "symbol",
        "flank",
        *graded,
        "lower_limit_um",
        "upper_limit_um",
        "mean_um",
    )
    return _frame(_parameter_rows(_gears(result)), columns)


def _parameter_rows(gears: Iterable[GearResult]) -> Iterable[dict[str, Any]]:
    for gear in gears:
        for key, parameter in gear.parameters.items():
            sides: Iterable[tuple[str | None, ParameterResult | FlankResult]] = parameter.flanks.items()
            for flank, one in sides if parameter.flanks else [(None, parameter)]:
                low, high = one.limits_um if one.limits_um is not None else (None, None)
                yield {
                    "serial": gear.serial,
                    "parameter": key,
                    "symbol": PARAMETERS[key].symbol,
                    "flank": flank,
                    **{key_of(name): getattr(one, name) for name in GRADED_FIELDS},
                    "lower_limit_um": low,
                    "upper_limit_um": high,
                    "mean_um": getattr(one, "mean_um", None),
                }


def traces_frame(result: GradeResult | Iterable[GearResult]) -> pd.DataFrame:
    """One row a profile or helix trace.

    Parameters
    ----------
    result : GradeResult or iterable of GearResult
        What `gearqa.grade` or `gearqa.evaluation.evaluate` returned.
    """
    columns = ("serial", *TRACE_FIELDS)
    rows = (
        {"serial": gear.serial, **{name: getattr(trace, name) for name in TRACE_FIELDS}}
        for gear in _gears(result)
        for trace in gear.traces
    )
    return _frame(rows, columns)
