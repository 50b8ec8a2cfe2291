"""The job `incoming`: a supplier's report against our measurement."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from gearqa.errors import ArgumentError
from gearqa.evaluation.evaluate import evaluate, grade_header
from gearqa.incoming.compare import compare_report
from gearqa.incoming.conclude import conclude
from gearqa.incoming.sides import MeasuredGears
from gearqa.incoming.theirs import reported_gears, with_reported_uncertainty
from gearqa.jobs.folders import input_file, open_folder
from gearqa.jobs.parameters import COUNT, require_within
from gearqa.jobs.progress import UNSEEN, Progress
from gearqa.model.incoming import DecideOn, IncomingResult, ReportedTable, Side
from gearqa.model.lot import LotResult
from gearqa.model.measurement import InputFile, Seen, first_measurements
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.settings.toml_file import load_toml
from gearqa.reading.values.reported import read_reported
from gearqa.signoff.lot import sign_off


def check_report(
    report: str | Path,
    folder: str | Path | None = None,
    *,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    serial: Sequence[str] | None = None,
    their_folder: str | Path | None = None,
    their_part: str | Path | None = None,
    their_columns: str | Path | None = None,
    supplier: str = "",
    plan: str | Path | None = None,
    lot_size: int | None = None,
    decide_on: DecideOn | None = None,
    progress: Progress = UNSEEN,
) -> IncomingResult:
    """Check a supplier's report against our measurement, and explain the difference.

    Parameters
    ----------
    report : path
        Table of reported values: serial, parameter, value_um and more.
    folder : path, optional
        Our inspection folder; without it the reported values alone are checked.
    part : path, optional
        Part file; by default that of the folder.
    columns : path, optional
        Column map for the report and for our tables.
    serial : sequence of str, optional
        Only these gears of ours.
    their_folder : path, optional
        Inspection folder of the supplier's raw traces.
    their_part : path, optional
        Part file to read their tables with; by default that of their folder, else ours.
    their_columns : path, optional
        Column map for their tables.
    supplier : str
        Who made the report.
    plan : path, optional
        Decision rule and sampling plan.
    lot_size : int, optional
        Gears in the lot.
    decide_on : {"ours", "theirs", "both"}, optional
        Whose values decide the lot; ours if we measured, else theirs.
    progress : Progress
        Shows the grading of gears.

    Returns
    -------
    IncomingResult
        Rows, agreement, explanation, claims and the lot decision.

    Raises
    ------
    ArgumentError
        If the arguments do not go together.
    InputError
        If an input is at fault, with all problems.
    LotError
        If the lot cannot be decided as asked.

    Examples
    --------
    >>> import gearqa
    >>> report = "sample_measurements/supplier_report/report.csv"
    >>> result = gearqa.check_report(report, "sample_measurements/ring_conforming", lot_size=12)
    >>> result.decision, result.claims["confirmed"], result.claims["not confirmed"]
    ('release', 203, 1)
    >>> [(change.setting, change.to) for change in result.explanation.explanations[0].changes]
    [('slope_span', 'evaluation'), ('flanks', 'left and right swapped')]
    """
    report = Path(report)
    if folder is None and part is None and their_part is None and not _has_part(their_folder):
        message = "the drawing is missing: give our folder, or a part file to check reported values alone"
        raise ArgumentError("part", message)
    if folder is None and decide_on in {"ours", "both"}:
        raise ArgumentError("decide_on", "nothing was measured by us; give our folder")
    for name, value in (("their_part", their_part), ("their_columns", their_columns)):
        if value is not None and their_folder is None:
            raise ArgumentError(name, "needs the folder of their raw traces")
    if their_folder is not None and not Path(their_folder).is_dir():
        raise ArgumentError("their_folder", f"'{their_folder}' is no folder")
    require_within("lot_size", lot_size, COUNT)
    drawing: Part | None = None
    ours = theirs = None
    files: tuple[InputFile, ...] = ()
    if folder is not None:
        drawing, ours = _measured(folder, part, columns, progress, serial=serial)
    elif part is not None:
        drawing, files = read_part(part), (input_file(part),)
    if their_folder is not None:
        reading = their_part or (None if _has_part(their_folder) else drawing)
        their_drawing, theirs = _measured(their_folder, reading, their_columns, progress, drawing=drawing)
        drawing = drawing or their_drawing
    assert drawing is not None
    table = read_reported(report, teeth=drawing.gear.teeth, columns=columns, name=report.name)
    rules: Plan | None = None
    if plan is not None:
        rules, files = load_toml(plan, Plan), (*files, input_file(plan))
    return check_table(
        table, drawing, ours=ours, theirs=theirs, supplier=supplier, inputs=files, decide_on=decide_on,
        plan=rules, lot_size=lot_size, lot_id=report.stem,
    )  # fmt: skip


def check_table(
    report: ReportedTable,
    part: Part,
    *,
    ours: MeasuredGears | None = None,
    theirs: MeasuredGears | None = None,
    supplier: str = "",
    inputs: Sequence[InputFile] = (),
    decide_on: DecideOn | None = None,
    plan: Plan | None = None,
    lot_size: int | None = None,
    lot_id: str = "",
) -> IncomingResult:
    """Check a table that was read, against gears that were graded: compare, decide, conclude."""
    comparison = compare_report(report, part, ours=ours, theirs=theirs)
    decided_on: DecideOn = decide_on or ("theirs" if ours is None else "ours")

    def decide(drawing: Part, side: MeasuredGears) -> LotResult:
        header = grade_header(drawing, side.inputs, side.simulated, side.notices)
        return sign_off(header, drawing, (*side.results, *side.again), plan, lot_size=lot_size, lot_id=lot_id)

    lots: dict[Side, LotResult] = {}
    if ours is not None and decided_on != "theirs":
        lots["ours"] = decide(part, ours)
    if not lots or decided_on == "both":
        drawing = with_reported_uncertainty(part, report.values)
        gears = reported_gears(report.values, drawing, comparison.unsigned)
        reported = MeasuredGears((), gears, (report.file,), report.simulated, report.notices)
        lots["theirs"] = decide(drawing, reported)
    return conclude(comparison, lots, decided_on=decided_on, supplier=supplier, inputs=inputs)


def _has_part(folder: str | Path | None) -> bool:
    return folder is not None and (Path(folder) / "part.toml").is_file()


def _measured(
    folder: str | Path,
    part: str | Path | Part | None,
    columns: str | Path | None,
    progress: Progress,
    *,
    serial: Sequence[str] | None = None,
    drawing: Part | None = None,
) -> tuple[Part, MeasuredGears]:
    """Read and grade a folder; by another drawing than the one it is read with where that is given."""
    with open_folder(folder, part=part, columns=columns, serials=serial) as inspection:
        wanted = drawing or inspection.part
        every = tuple(inspection)
        results = tuple(evaluate(progress.over(every, "grading", "gears"), wanted))
        seen = Seen()
        again = tuple(one for one in results if seen.again(one))
        return wanted, MeasuredGears(
            tuple(first_measurements(every)), tuple(first_measurements(results)), inspection.inputs,
            inspection.simulated, inspection.notices, again,
        )  # fmt: skip
