"""Small made-up gears for tests of reports: measured by formula, graded by the program."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from io import BytesIO
from typing import Any

import numpy as np

from gearqa.evaluation.curves import gear_curves
from gearqa.evaluation.evaluate import LotCounter, evaluate_with, grade_header
from gearqa.evaluation.part_setup import setup_of
from gearqa.model.curves import GearCurves
from gearqa.model.measurement import (
    GearMeasurement,
    InputFile,
    PitchReadings,
    Production,
    RunoutReadings,
    Trace,
)
from gearqa.model.part import Part
from gearqa.model.results import GearResult, GradeHeader
from gearqa.report.blocks.document import Document
from gearqa.report.grading.page import SheetBuilder
from gearqa.report.render.html import write_html
from gearqa.report.render.pdf import pdf_bytes

TEETH = 31
MEASURED = (1, 9, 17, 25)


def part_of(
    *, kind: str = "internal", number: str = "OT-9", name: str = "Planet ring", **changes: Any
) -> Part:
    """A drawing; `changes` replace whole tables."""
    internal = kind == "internal"
    data: dict[str, Any] = {
        "schema": "gearqa.part/1",
        "part": {"number": number, "name": name, "revision": "B"},
        "gear": {
            "kind": kind, "teeth": TEETH, "normal_module_mm": 2.0, "normal_pressure_angle_deg": 20.0,
            "helix_angle_deg": 15.0, "helix_hand": "right", "face_width_mm": 20.0,
            "tip_diameter_mm": 60.4 if internal else 68.0,
        },
        "evaluation": {
            "profile": {
                "control_diameter_mm": 67.0 if internal else 62.5,
                "tip_form_diameter_mm": 60.8 if internal else 67.6,
            }
        },
        "design": {"helix": {"crowning_um": 2.0}},
        "tolerance": {"standard": "ISO 1328-1:2013", "class": 6},
    }  # fmt: skip
    return Part.model_validate(data | changes)


def measured(
    serial: str = "S-1",
    *,
    size: float = 1.0,
    seed: int = 0,
    part: Part | None = None,
    readings: bool = True,
    production: Production | None = None,
) -> GearMeasurement:
    """A gear with slopes, waves and an eccentricity, all `size` times as large."""
    rng = np.random.default_rng(seed)
    internal = part is None or part.gear.kind == "internal"
    roll = np.linspace(4.4, 15.4, 240) if internal else np.linspace(7.5, 15.9, 240)
    face = np.linspace(0.2, 19.8, 240)
    traces = []
    for tooth in MEASURED:
        for flank, side in (("left", 1.0), ("right", -1.0)):
            wave = np.sin(roll * 2 + tooth) + 0.1 * rng.normal(size=roll.size)
            traces.append(Trace("profile", flank, tooth, roll, size * (wave + 0.3 * side * (roll - 11))))
            wave = np.sin(face / 2 + tooth) + 0.1 * rng.normal(size=face.size)
            traces.append(Trace("helix", flank, tooth, face, size * (wave + 0.1 * side * (face - 10))))
    turn = 2 * np.pi * np.arange(TEETH) / TEETH
    pitch = {
        "left": PitchReadings("left", size * (5 * np.cos(turn) + rng.normal(size=TEETH))),
        "right": PitchReadings("right", size * (5 * np.cos(turn - 1) + rng.normal(size=TEETH))),
    }
    runout = RunoutReadings(size * (6 * np.cos(turn) + rng.normal(size=TEETH))) if readings else None
    return GearMeasurement(serial, tuple(traces), pitch, runout, production=production or made())


def made(**changes: Any) -> Production:
    """Where and when a gear was made."""
    data: dict[str, Any] = {
        "finished_at": datetime(2025, 3, 4, 6, 5), "grinder": "GR-1", "wheel": "W-17", "dress": "D001",
        "parts_since_dress": 3, "instrument": "GM-1", "measured_at": datetime(2025, 3, 4, 7, 0),
        "operator": "Inspector B",
    }  # fmt: skip
    return Production(**(data | changes))


def header_of(part: Part, *, simulated: bool = False) -> GradeHeader:
    """Header of an inspection of two files."""
    files = (InputFile("profile.csv", "ab" * 32), InputFile("notes.csv", None, "ignored by part.toml"))
    return grade_header(part, files, simulated)


def graded(
    gears: Iterable[GearMeasurement], part: Part, lot: LotCounter
) -> Iterator[tuple[GearResult, GearCurves]]:
    """Gears, graded and ready to draw."""
    setup = setup_of(part)
    for gear, result in evaluate_with(gears, setup, batch_gears=1):
        lot.add(result)
        yield result, gear_curves(gear, result, setup)


def document_of(
    gears: Iterable[GearMeasurement] | None = None,
    part: Part | None = None,
    *,
    simulated: bool = False,
    **options: Any,
) -> Document:
    """The report of some gears, one by default."""
    part = part or part_of()
    lot = LotCounter()
    builder = SheetBuilder(header_of(part, simulated=simulated), part=part, **options)
    for gear in graded([measured()] if gears is None else gears, part, lot):
        builder.add(*gear)
    return builder.document(lot.summary())


def html_of(document: Document) -> str:
    """The document as HTML text."""
    stream = BytesIO()
    write_html(stream, document)
    return stream.getvalue().decode()


__all__ = ["document_of", "graded", "header_of", "html_of", "made", "measured", "part_of", "pdf_bytes"]
