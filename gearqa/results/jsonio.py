"""Results as JSON, streamed gear by gear: keys from the result models, numbers exact.

Key names and their order are the fields of `gearqa.model.results` (a trailing underscore is
dropped); what is rearranged or left out stands here, once, and the schema is made from it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from operator import attrgetter
from typing import Any, BinaryIO

import orjson

from gearqa.errors import Notice
from gearqa.model.measurement import InputFile, Production
from gearqa.model.results import (
    FlankResult,
    GearResult,
    GradeHeader,
    LotSummary,
    MasterCriterion,
    NotAssessed,
    ParameterResult,
    PitchResult,
    SizeResult,
    TraceResult,
)
from gearqa.symbols import PARAMETERS
from gearqa.version import __version__

RESULT_SCHEMA = "gearqa.result/1"
OPTIONS = orjson.OPT_SERIALIZE_NUMPY

# What a table of the result holds beyond or besides the fields of its model, in printing order.
GEAR_FIELDS = (
    "serial", "class_", "class_complete", "beyond", "governing", "conforms", "master_quality",
    "master_deciding", "near_limit", "not_assessed", "warnings", "parameters", "traces",
)  # fmt: skip
PLACE_FIELDS = ("tooth", "tooth_to", "space", "space_to", "method")
SLOPE_FIELDS = ("slope_other_span_um", "slope_other_span_class")
ANGLE_FIELDS = {
    "profile_slope": ("pressure_angle_deviation_arcmin", "base_radius_deviation_um"),
    "helix_slope": ("helix_angle_deviation_arcmin",),
}
TRACE_FIELDS = (
    "kind", "flank", "tooth", "total_um", "form_um", "slope_um", "slope_evaluation_um", "slope_full_um",
    "slope_by_helix_angle_um", "hand", "crowning_um", "points", "start_mm", "end_mm", "tip_zone_counted",
)  # fmt: skip
LABEL_KEYS = {"profile": "face_position_mm", "helix": "diameter_mm"}

TWO_TEETH = frozenset({"cumulative_pitch", "sector_pitch", "tooth_thickness_variation"})
"""Parameters whose place is a pair of teeth."""


def key_of(field_name: str) -> str:
    """JSON key of a field: the name without the underscore that avoids a Python keyword."""
    return field_name.removesuffix("_")


def place_fields(parameter: str) -> tuple[str, ...]:
    """Fields that tell where a value was found: the others do not apply and are left out."""
    if parameter == "runout":
        return ("space", "space_to", "method")
    return ("tooth", "tooth_to") if parameter in TWO_TEETH else ("tooth",)


def parameter_fields(parameter: str) -> tuple[str, ...]:
    """Fields of a ParameterResult that are printed for this parameter."""
    left_out = set(PLACE_FIELDS) - set(place_fields(parameter))
    if not PARAMETERS[parameter].signed or PARAMETERS[parameter].grading == "never":
        left_out |= set(SLOPE_FIELDS)
    return tuple(f.name for f in fields(ParameterResult) if f.name not in left_out)


def flank_fields(parameter: str) -> tuple[str, ...]:
    """Fields of a FlankResult that are printed for this parameter."""
    left_out = set(PLACE_FIELDS) - set(place_fields(parameter))
    left_out |= {name for key, names in ANGLE_FIELDS.items() if key != parameter for name in names}
    return tuple(f.name for f in fields(FlankResult) if f.name not in left_out)


def _table(names: Iterable[str]) -> Callable[[Any], dict[str, Any]]:
    """Return the function that turns an object into a dict of these fields, quickly."""
    names = tuple(names)
    keys = tuple(map(key_of, names))
    values = attrgetter(*names)
    return lambda thing: dict(zip(keys, values(thing), strict=True))


def _whole(model: type) -> Callable[[Any], dict[str, Any]]:
    return _table(f.name for f in fields(model))


_gear = _table(GEAR_FIELDS)
_parameter = {key: _table(parameter_fields(key)) for key in PARAMETERS}
_flank = {key: _table(flank_fields(key)) for key in PARAMETERS}
_trace_fields = tuple(f for f in TRACE_FIELDS if f not in {"slope_by_helix_angle_um", "hand"})
_profile_trace = _table(_trace_fields)
_helix_trace = _table(tuple(f for f in TRACE_FIELDS if f != "hand"))
_spur_helix_trace = _table(TRACE_FIELDS)
_pitch = _whole(PitchResult)
_not_assessed = _whole(NotAssessed)
_notice = _whole(Notice)
_size = _whole(SizeResult)
_lot = _whole(LotSummary)
_criterion = _whole(MasterCriterion)


def trace_table(trace: TraceResult) -> dict[str, Any]:
    """One profile or helix trace."""
    if trace.kind == "profile":
        table = _profile_trace(trace)
    elif trace.hand is not None:
        table = _spur_helix_trace(trace)
    else:
        table = _helix_trace(trace)
    if trace.label_mm is not None:
        table[LABEL_KEYS[trace.kind]] = trace.label_mm
    return table


def pitch_table(pitch: PitchResult) -> dict[str, Any]:
    """Pitch of one flank, as it stands among the traces."""
    return {"kind": "pitch", **_pitch(pitch)}


def parameter_table(key: str, result: ParameterResult) -> dict[str, Any]:
    """One parameter of a gear with its flanks."""
    if not math.isfinite(result.value_um):
        raise ArithmeticError(f"the value of {key} is {result.value_um}")
    table = _parameter[key](result)
    flank = _flank[key]
    table["flanks"] = {name: {"symbol": result.symbol, **flank(one)} for name, one in result.flanks.items()}
    return table


def gear_table(gear: GearResult) -> dict[str, Any]:
    """One gear, as it stands in `gears` of the result."""
    table = _gear(gear)
    table["not_assessed"] = [_not_assessed(one) for one in gear.not_assessed]
    table["warnings"] = [_notice(one) for one in gear.warnings]
    table["parameters"] = {key: parameter_table(key, one) for key, one in gear.parameters.items()}
    table["traces"] = [*map(trace_table, gear.traces), *map(pitch_table, gear.pitch)]
    if gear.size:
        table["size"] = [_size(one) for one in gear.size]
    if gear.production is not None:
        table["production"] = production_table(gear.production)
    return table


def production_table(production: Production) -> dict[str, Any]:
    """When and where a gear was made; only what is known."""
    values = ((f.name, getattr(production, f.name)) for f in fields(Production))
    return {name: value for name, value in values if value not in (None, {})}


def input_table(file: InputFile) -> dict[str, str | None]:
    """One input: with its digest, or left out with the reason."""
    table = {"file": file.file, "sha256": file.sha256}
    if file.left_out is not None:
        table["left_out"] = file.left_out
    return table


def software_table() -> dict[str, str]:
    """Which software made a result."""
    return {"name": "gearqa", "version": __version__}


def header_table(header: GradeHeader) -> dict[str, Any]:
    """Everything before `gears`."""
    return {
        "schema": RESULT_SCHEMA,
        "software": software_table(),
        "standard": header.standard,
        "part": dict(header.part),
        "inputs": [input_table(file) for file in header.inputs],
        "simulated": header.simulated,
        "decision_rule": header.decision_rule,
        "master_quality": _criterion(header.master_quality),
        "warnings": [_notice(one) for one in header.warnings],
    }


def lot_table(lot: LotSummary) -> dict[str, Any]:
    """The counts and answers for the whole job."""
    return _lot(lot)


def dumps(value: Mapping[str, Any], *, pretty: bool = False) -> bytes:
    """JSON text of a document, ended by a line feed."""
    layout = orjson.OPT_INDENT_2 if pretty else 0
    return orjson.dumps(value, option=OPTIONS | layout | orjson.OPT_APPEND_NEWLINE)


class GradeJsonWriter:
    """Writes a grading result to a binary stream while it is being made: one gear a line.

    Memory holds one gear at a time. Call `begin`, then `gear` for each one, then `end`.
    """

    def __init__(self, stream: BinaryIO) -> None:
        self._write = stream.write
        self._separator = b"\n"

    def begin(self, header: GradeHeader) -> None:
        """Write everything before the gears."""
        self._write(orjson.dumps(header_table(header), option=OPTIONS)[:-1])
        self._write(b',"gears":[')

    def gear(self, gear: GearResult) -> None:
        """Write one gear."""
        self._write(self._separator)
        self._write(orjson.dumps(gear_table(gear), option=OPTIONS))
        self._separator = b",\n"

    def end(self, lot: LotSummary) -> None:
        """Write the summary and close the document."""
        self._write(b'\n],"lot":')
        self._write(orjson.dumps(lot_table(lot), option=OPTIONS))
        self._write(b"}\n")
