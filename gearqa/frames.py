"""Grading results as pandas frames, for notebooks: one row a gear, a parameter or a trace."""

from __future__ import annotations

from collections.abc import Iterable
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from gearqa.model.results import FlankResult, GearResult, GradeResult, ParameterResult, TraceResult
from gearqa.results.entries import key_of, names_of
from gearqa.symbols import PARAMETERS

if TYPE_CHECKING:
    import pandas as pd

NESTED = ("not_assessed", "warnings", "parameters", "traces", "pitch", "size", "limit_curves", "production")
GEAR_FIELDS = names_of(GearResult, *NESTED)
TRACE_FIELDS = names_of(TraceResult)
GRADED_FIELDS = (
    "value_um", "min_um", "max_um", "tooth", "class_", "class_exact", "beyond", "required_class",
    "tolerance_um", "conforms", "master_quality",
)  # fmt: skip
PARAMETER_FIELDS = (
    "serial", "measurement", "parameter", "symbol", "flank", *GRADED_FIELDS, "lower_limit_um",
    "upper_limit_um", "mean_um",
)  # fmt: skip
INTEGERS = ("class", "required_class", "tooth", "points", "near_limit")
ANSWERS = ("conforms", "master_quality", "beyond")


def _gears(result: GradeResult | Iterable[GearResult]) -> Iterable[GearResult]:
    return result.gears if isinstance(result, GradeResult) else result


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
    """One row a gear: class, conformity, master quality.

    Parameters
    ----------
    result : GradeResult or iterable of GearResult
        What `gearqa.grade` or `gearqa.evaluation.evaluate` returned.
    """
    return _frame(map(attrgetter(*GEAR_FIELDS), _gears(result)), GEAR_FIELDS)


def parameters_frame(result: GradeResult | Iterable[GearResult]) -> pd.DataFrame:
    """One row a gear, parameter and flank; runout and thickness variation have no flank.

    Parameters
    ----------
    result : GradeResult or iterable of GearResult
        What `gearqa.grade` or `gearqa.evaluation.evaluate` returned.
    """
    return _frame(_parameter_rows(_gears(result)), PARAMETER_FIELDS)


def _parameter_rows(gears: Iterable[GearResult]) -> Iterable[tuple[Any, ...]]:
    graded = attrgetter(*GRADED_FIELDS)
    for gear in gears:
        for key, parameter in gear.parameters.items():
            sides: Iterable[tuple[str | None, ParameterResult | FlankResult]] = parameter.flanks.items()
            for flank, one in sides if parameter.flanks else [(None, parameter)]:
                known = gear.serial, gear.measurement, key, PARAMETERS[key].symbol, flank, *graded(one)
                yield *known, *(one.limits_um or (None, None)), getattr(one, "mean_um", None)


def traces_frame(result: GradeResult | Iterable[GearResult]) -> pd.DataFrame:
    """One row a profile or helix trace.

    Parameters
    ----------
    result : GradeResult or iterable of GearResult
        What `gearqa.grade` or `gearqa.evaluation.evaluate` returned.
    """
    values = attrgetter(*TRACE_FIELDS)
    rows = (
        (gear.serial, gear.measurement, *values(trace)) for gear in _gears(result) for trace in gear.traces
    )
    return _frame(rows, ("serial", "measurement", *TRACE_FIELDS))
