"""gearqa: are ground gears good, how good, and what to do about it, told from measurements.

The names below are loaded when they are first used, so that importing a part of the package
(`gearqa.core`, say) does not load the rest.

Examples
--------
    import gearqa

    result = gearqa.grade("sample_measurements/ring_master")
    result.lot.reached_master_quality
    gearqa.frames.parameters_frame(result)
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from gearqa.version import __version__

if TYPE_CHECKING:
    from gearqa import frames, simulate
    from gearqa.errors import ArgumentError, GearqaError, InputError, Notice, Problem
    from gearqa.evaluation.curves import trace_curves
    from gearqa.evaluation.evaluate import evaluate
    from gearqa.jobs.archive import add_archive
    from gearqa.jobs.deliveries import check_deliveries
    from gearqa.jobs.drift import analyse_drift
    from gearqa.jobs.gauge import study_gauge
    from gearqa.jobs.grade import grade
    from gearqa.jobs.history import (
        add_to_history,
        check_history,
        export_history,
        freeze_reference,
        list_history,
        record_event,
        regrade_history,
        release_reference,
        remove_event,
        remove_from_history,
        stored_results,
    )
    from gearqa.jobs.incoming import check_report
    from gearqa.jobs.json_schemas import json_schema
    from gearqa.jobs.lot import DecidedLot, decide_lot, record_lot
    from gearqa.jobs.size import tooth_size
    from gearqa.jobs.start import start_folder
    from gearqa.jobs.suppliers import keep_delivery, remove_delivery, review_suppliers
    from gearqa.jobs.tolerances import compare_tolerances, tolerances
    from gearqa.jobs.verify import verify_record
    from gearqa.jobs.watch import watch_folder
    from gearqa.jobs.watch_signals import acknowledge_signals, undo_acknowledgement
    from gearqa.model.drift import DriftReport
    from gearqa.model.lot import LotResult
    from gearqa.model.measurement import GearMeasurement, Trace
    from gearqa.model.part import Part
    from gearqa.model.record import Verification
    from gearqa.model.results import GearResult, GradeResult, LotSummary, ParameterResult
    from gearqa.reading.folder.passes import read_folder
    from gearqa.reading.maps.columns_draft import draft_columns
    from gearqa.reading.settings.part_file import read_part
    from gearqa.signoff.key_files import load_private_key, make_keys
    from gearqa.signoff.record import load_record, write_record
    from gearqa.standards import tolerance_table

_PLACES = {
    "read_folder": "gearqa.reading.folder.passes",
    "read_part": "gearqa.reading.settings.part_file",
    "grade": "gearqa.jobs.grade",
    "evaluate": "gearqa.evaluation.evaluate",
    "start_folder": "gearqa.jobs.start",
    "draft_columns": "gearqa.reading.maps.columns_draft",
    "json_schema": "gearqa.jobs.json_schemas",
    "trace_curves": "gearqa.evaluation.curves",
    "decide_lot": "gearqa.jobs.lot",
    "record_lot": "gearqa.jobs.lot",
    "verify_record": "gearqa.jobs.verify",
    "load_record": "gearqa.signoff.record",
    "write_record": "gearqa.signoff.record",
    "make_keys": "gearqa.signoff.key_files",
    "load_private_key": "gearqa.signoff.key_files",
    "tolerances": "gearqa.jobs.tolerances",
    "compare_tolerances": "gearqa.jobs.tolerances",
    "tolerance_table": "gearqa.standards",
    "tooth_size": "gearqa.jobs.size",
    "check_report": "gearqa.jobs.incoming",
    "check_deliveries": "gearqa.jobs.deliveries",
    "study_gauge": "gearqa.jobs.gauge",
    "diagnose": "gearqa.jobs.diagnose",
    "analyse_drift": "gearqa.jobs.drift",
    "add_archive": "gearqa.jobs.archive",
    "add_to_history": "gearqa.jobs.history",
    "check_history": "gearqa.jobs.history",
    "export_history": "gearqa.jobs.history",
    "freeze_reference": "gearqa.jobs.history",
    "list_history": "gearqa.jobs.history",
    "record_event": "gearqa.jobs.history",
    "acknowledge_signals": "gearqa.jobs.watch_signals",
    "undo_acknowledgement": "gearqa.jobs.watch_signals",
    "regrade_history": "gearqa.jobs.history",
    "release_reference": "gearqa.jobs.history",
    "remove_event": "gearqa.jobs.history",
    "keep_delivery": "gearqa.jobs.suppliers",
    "review_suppliers": "gearqa.jobs.suppliers",
    "remove_delivery": "gearqa.jobs.suppliers",
    "remove_from_history": "gearqa.jobs.history",
    "stored_results": "gearqa.jobs.history",
    "watch_folder": "gearqa.jobs.watch",
    "simulate": "gearqa.simulate:",
    "frames": "gearqa.frames:",
    "GearMeasurement": "gearqa.model.measurement",
    "Trace": "gearqa.model.measurement",
    "Part": "gearqa.model.part",
    "GearResult": "gearqa.model.results",
    "GradeResult": "gearqa.model.results",
    "LotSummary": "gearqa.model.results",
    "DecidedLot": "gearqa.jobs.lot",
    "LotResult": "gearqa.model.lot",
    "DriftReport": "gearqa.model.drift",
    "Verification": "gearqa.model.record",
    "ParameterResult": "gearqa.model.results",
    "ArgumentError": "gearqa.errors",
    "GearqaError": "gearqa.errors",
    "InputError": "gearqa.errors",
    "Notice": "gearqa.errors",
    "Problem": "gearqa.errors",
}
"""Public name -> module, where the name there differs `module:name`; `module:` is the module itself."""

__all__ = [
    "ArgumentError",
    "DecidedLot",
    "DriftReport",
    "GearMeasurement",
    "GearResult",
    "GearqaError",
    "GradeResult",
    "InputError",
    "LotResult",
    "LotSummary",
    "Notice",
    "ParameterResult",
    "Part",
    "Problem",
    "Trace",
    "Verification",
    "__version__",
    "acknowledge_signals",
    "add_archive",
    "add_to_history",
    "analyse_drift",
    "check_deliveries",
    "check_history",
    "check_report",
    "compare_tolerances",
    "decide_lot",
    "diagnose",
    "draft_columns",
    "evaluate",
    "export_history",
    "frames",
    "freeze_reference",
    "grade",
    "json_schema",
    "keep_delivery",
    "list_history",
    "load_private_key",
    "load_record",
    "make_keys",
    "read_folder",
    "read_part",
    "record_event",
    "record_lot",
    "regrade_history",
    "release_reference",
    "remove_delivery",
    "remove_event",
    "remove_from_history",
    "review_suppliers",
    "simulate",
    "start_folder",
    "stored_results",
    "study_gauge",
    "tolerance_table",
    "tolerances",
    "tooth_size",
    "trace_curves",
    "undo_acknowledgement",
    "verify_record",
    "watch_folder",
    "write_record",
]


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"module 'gearqa' has no attribute {name!r}")
    module_name, colon, attribute = _PLACES[name].partition(":")
    module = importlib.import_module(module_name)
    value = module if colon and not attribute else getattr(module, attribute or name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
