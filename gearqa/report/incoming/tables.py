"""Tables of an incoming comparison: values, explanations, agreement, gears laid over each other."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from gearqa.model.incoming import Agreement, ComparedValue, IncomingResult, flank_of
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.verdicts import STATUS
from gearqa.report.incoming.words import (
    LONGEST_SERIAL,
    claim_cell,
    claimed_text,
    en_text,
    found_text,
    reported_text,
    signed,
    where_text,
)
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import DASH, count_text, fixed_text, interval_text, percent_text, value_text
from gearqa.wording.verdicts import YES_NO
from gearqa.wording.visible import clip

EXPLANATIONS_SHOWN = 5
WIDEST_SLOPE = 1.0
"""Width of the interval of a line's slope beyond which the slope means nothing."""
EN_NOTE = "En allows for what is explained; up to 1 in magnitude both sides agree within their uncertainties."


Cells = Callable[[ComparedValue], doc.Cell | doc.Text]
CLASSES: tuple[tuple[doc.Column, Cells], ...] = (
    (doc.Column("En"), en_text),
    (doc.Column("claimed"), claimed_text),
    (doc.Column("found"), found_text),
    (doc.Column("claim", "left"), claim_cell),
)
SERIAL: tuple[doc.Column, Cells] = (
    doc.Column("serial", "left"),
    lambda row: clip(row.serial, LONGEST_SERIAL),
)
REPORTED: tuple[doc.Column, Cells] = (doc.Column("reported"), reported_text)
EXPLAINED: tuple[doc.Column, Cells] = (
    doc.Column("explained"),
    lambda row: _um(row.explained_um, signed(row)),
)


def open_table(caption: str, rows: Sequence[ComparedValue], *, explained: bool) -> doc.Table:
    """Values to take up: reported, ours, and what became of the claim."""
    columns: list[tuple[doc.Column, Cells]] = [
        SERIAL,
        (
            doc.Column("value", "left"),
            lambda row: doc.join(doc.symbol(row.parameter), f" {where_text(row, meant=True)}"),
        ),
        REPORTED,
        *([EXPLAINED] if explained else []),
        (doc.Column("ours"), lambda row: _um(row.judged_um, PARAMETERS[row.parameter].signed)),
        *CLASSES,
    ]
    notes = ["Values in µm; ours: the worst trace, evaluated as the drawing says."]
    if explained:
        notes.append("Explained: what our data give under the supplier's settings.")
    return _values_table(caption, columns, rows, notes)


def all_table(caption: str, rows: Sequence[ComparedValue], *, explained: bool) -> doc.Table:
    """Every reported value and what was found under the same name."""
    columns: list[tuple[doc.Column, Cells]] = [
        SERIAL,
        (doc.Column("parameter", "left"), lambda row: doc.symbol(row.parameter)),
        (doc.Column("place", "left"), where_text),
        REPORTED,
        (doc.Column("ours"), lambda row: _um(row.found_um, signed(row))),
        *([EXPLAINED] if explained else []),
        (doc.Column("difference"), lambda row: _um(row.difference_um, signed=True)),
        *CLASSES,
    ]
    notes = ["Values in µm; ours and difference: under the same flank name, evaluated as the drawing says."]
    return _values_table(caption, columns, rows, notes, dense=True)


def _values_table(
    caption: str,
    columns: Sequence[tuple[doc.Column, Cells]],
    rows: Sequence[ComparedValue],
    notes: Sequence[str],
    *,
    dense: bool = False,
) -> doc.Table:
    en = [EN_NOTE] if any(row.en is not None for row in rows) else []
    lines = tuple(tuple(cell(row) for _, cell in columns) for row in rows)
    return doc.Table(caption, tuple(column for column, _ in columns), lines, (*notes, *en), dense=dense)


def _um(value: float | None, signed: bool) -> str:
    return DASH if value is None else value_text(value, signed=signed)


def explanations_table(result: IncomingResult) -> doc.Table | None:
    """The explanations that fit best."""
    some = result.explanation.explanations[:EXPLANATIONS_SHOWN]
    if not some:
        return None
    lines: list[tuple[doc.Cell | doc.Text, ...]] = [
        ("no change", value_text(some[0].rms_before_um), ""),
    ]
    for place, one in enumerate(some):
        if place == 0:
            word = "this one" if result.explanation.explained else "fits best"
        else:
            word = "same figures" if one.same_predictions else "fits alike" if one.equivalent else ""
        lines.append((one.sentence, value_text(one.rms_after_um), word))
    whose = "the supplier's traces" if result.explanation.data == "theirs" else "our traces"
    return doc.Table(
        f"What would make {whose} give the reported values",
        (doc.Column("if", "left", weight=1.0), doc.Column("rms left µm"), doc.Column("", "left")),
        tuple(lines),
        (
            f"{count_text(result.explanation.tried, 'change or pair', 'changes and pairs')} of settings "
            f"tried on {count_text(result.explanation.n, 'value')}.",
        ),
    )


def agreement_table(result: IncomingResult, *, wide: bool = True, full: bool = False) -> doc.Table | None:
    """Bias and limits of agreement per parameter and flank; all of it if `full`."""
    if not result.agreement:
        return None
    explained = bool(result.agreement_explained)
    columns = [
        doc.Column("parameter", "left"), doc.Column("flank", "left"), doc.Column("gears"), doc.Column("bias"),
    ]  # fmt: skip
    if explained:
        columns.append(doc.Column("bias explained"))
    if wide:
        columns.append(doc.Column("95 % interval"))
    columns += [doc.Column("limits of agreement"), doc.Column("of tolerance")]
    if full:
        columns += [doc.Column("line slope"), doc.Column("notes", "left", weight=1.0)]
    lines = []
    for key, places in result.agreement.items():
        for place, one in places.items():
            shown = result.agreement_explained.get(key, {}).get(place) if explained else one
            shown = shown or one
            cells: list[doc.Cell | doc.Text] = [
                doc.symbol(key), flank_of(place) or DASH, str(one.n),
                value_text(one.bias_um, signed=True),
            ]  # fmt: skip
            if explained:
                cells.append(value_text(shown.bias_um, signed=True))
            if wide:
                cells.append(interval_text(shown.bias_interval_um))
            share = shown.share_of_tolerance
            cells += [
                interval_text(shown.limits_of_agreement_um),
                DASH if share is None else percent_text(share),
            ]
            if full:
                cells += [_slope(shown), _agreement_notes(shown)]
            lines.append(tuple(cells))
    notes = ["Reported less ours, µm, one pair a gear. Limits of agreement hold 95 % of such differences."]
    if explained:
        notes.append("All but the first bias: against what the explanation predicts.")
    if full and any(line[-2] != DASH for line in lines):
        notes.append("Line slope: Deming regression, errors on both sides; 1 means no proportional error.")
    return doc.Table("Agreement", tuple(columns), tuple(lines), tuple(notes), dense=full)


def _slope(one: Agreement) -> str:
    """Slope of the line with its interval; none where the gears are too much alike to give one."""
    if one.slope is None or one.slope_interval is None or not _varies(one):
        return DASH
    return f"{fixed_text(one.slope)} ({interval_text(one.slope_interval, signed=False)})"


def _varies(one: Agreement) -> bool:
    """Whether the gears differ enough for a line to mean something."""
    return one.slope_interval is None or one.slope_interval[1] - one.slope_interval[0] <= WIDEST_SLOPE


def _agreement_notes(one: Agreement) -> str:
    parts = []
    if one.outliers:
        parts.append(f"far from the others: {', '.join(clip(s, 20) for s in one.outliers)}")
    if one.trend_p is not None and one.trend_p < 0.01:
        parts.append(f"trend {value_text(one.trend_um_per_gear or 0.0, signed=True)} per gear")
    if not _varies(one):
        parts.append("the gears are too much alike for a line")
    return "; ".join(parts)


def alignments_table(result: IncomingResult) -> doc.Table:
    """Whether both sides measured the same gears, and how their curves were laid over each other."""
    lines = []
    for one in result.alignments:
        turned = [
            *(["flanks swapped"] if one.flanks_swapped else []),
            *(["counted the other way"] if one.direction_reversed else []),
            *([f"starts {one.tooth_shift} teeth on"] if one.tooth_shift else []),
        ]
        lines.append(
            (
                clip(one.serial, LONGEST_SERIAL), clip(one.our_serial, LONGEST_SERIAL),
                doc.Cell(YES_NO[one.same], STATUS[one.same]),
                _fixed(one.correlation),
                _fixed(one.chance_correlation),
                _um(one.residual_um, signed=False),
                _um(one.trace_residual_um, signed=False),
                ", ".join(turned) + (f"; fits {one.best_match} better" if one.best_match else ""),
            )
        )  # fmt: skip
    columns = (
        doc.Column("their serial", "left"), doc.Column("ours", "left"), doc.Column("same gear", "left"),
        doc.Column("correlation"), doc.Column("by chance"), doc.Column("pitch rms µm"),
        doc.Column("traces rms µm"), doc.Column("aligned by", "left", weight=1.0),
    )  # fmt: skip
    notes = (
        "Correlation of the pitch curves of both flanks without their low orders, which mounting and machine "
        "make and gears of one lot share. By chance: what the best of all alignments of unlike gears reaches "
        "once in a thousand times.",
    )
    return doc.Table("Are they the same gears", columns, tuple(lines), notes, dense=True)


def _fixed(value: float | None) -> str:
    return DASH if value is None else fixed_text(value)
