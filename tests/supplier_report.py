"""Makes the sample report of an invented supplier from the sample lot `ring_conforming`.

The supplier measured the same rings with an instrument of its own (normal scatter), took slopes over
the evaluation range as the edition of 1995 does, named left and right flank the other way round, typed
one decimal, claimed comfortable classes, and for one value a class that is too good.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from gearqa.evaluation.evaluate import evaluate
from gearqa.model.part import Part
from gearqa.reading.folder.passes import read_folder
from gearqa.standards import tolerance_table
from gearqa.symbols import FLANKS

SAMPLES = Path(__file__).parents[1] / "sample_measurements"
SCATTER_UM = 0.12
U = {"single_pitch": 0.6, "cumulative_pitch": 1.4, "runout": 1.6, "profile": 0.8, "helix": 0.9}
OPTIMISTIC = ("OT-0206", "helix_slope", "left", 2)
"""Serial, parameter, the supplier's flank, and the class claimed for it."""
HEADER = "serial,parameter,flank,value_um,class,standard,uncertainty_um"


def report_text(seed: int = 4473) -> str:
    """The table as the supplier would send it."""
    rng = np.random.default_rng(seed)
    with read_folder(SAMPLES / "ring_conforming") as inspection:
        part = inspection.part
        older = part.model_copy(
            update={"evaluation": part.evaluation.model_copy(update={"slope_span": "evaluation"})}
        )
        gears = list(evaluate(inspection, older))
    lines = ["# gearqa simulated", HEADER]
    tolerances = _tolerances(part)
    for gear in gears:
        for key in part.tolerance.required:
            result = gear.parameters[key]
            flanks = FLANKS if result.flanks else ("",)
            for flank in flanks:
                mine = FLANKS[1 - FLANKS.index(flank)] if flank else ""
                value = result.flanks[mine].value_um if flank else result.value_um
                typed = round(value + SCATTER_UM * rng.standard_normal(), 1) + 0.0
                grade = _comfortable_class(tolerances[key], abs(typed), U.get(key) or U[key.split("_")[0]])
                if (gear.serial, key, flank) == OPTIMISTIC[:3]:
                    grade = OPTIMISTIC[3]
                uncertainty = U.get(key) or U[key.split("_")[0]]
                lines.append(
                    f"{gear.serial},{key},{flank},{typed:.1f},{grade},ISO 1328-1:2013,{uncertainty:g}"
                )
    return "\n".join(lines) + "\n"


def _tolerances(part: Part) -> dict[str, list[float]]:
    gear = part.gear
    d = gear.teeth * gear.module_mm / np.cos(np.radians(gear.helix_angle_deg))
    table = tolerance_table(gear.teeth, gear.module_mm, d, gear.face_width_mm, gear.helix_angle_deg)
    return {key: [table[grade][key] for grade in sorted(table)] for key in table[1]}


def _comfortable_class(tolerances: list[float], value: float, uncertainty: float) -> int:
    """A class that the value meets with room for both uncertainties."""
    wanted = 1.12 * value + 2 * uncertainty
    return next(grade for grade, tolerance in enumerate(tolerances, 1) if wanted <= tolerance)


if __name__ == "__main__":
    folder = SAMPLES / "supplier_report"
    folder.mkdir(exist_ok=True)
    (folder / "report.csv").write_text(report_text(), encoding="utf-8", newline="\n")
