"""Tables of an incoming comparison: values, explanations, agreement, gears laid over each other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from gearqa.model.incoming import Agreement, ComparedValue, GearAlignment, IncomingResult, PlaceKey, flank_of
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.verdicts import STATUS
from gearqa.report.incoming.words import (
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
from gearqa.wording.visible import LONGEST_IN_SENTENCE, clip

EXPLANATIONS_SHOWN = 5
WIDEST_SLOPE = 1.0
"""Width of the interval of a line's slope beyond which the slope means nothing."""
EN_NOTE = "En allows for what is explained; up to 1 in magnitude both sides agree within their uncertainties."
Columns = doc.Columns[ComparedValue]
SERIAL: Columns = [(doc.Column("serial", "left"), lambda row: clip(row.serial, LONGEST_IN_SENTENCE))]
REPORTED: Columns = [(doc.Column("reported"), reported_text)]
EXPLAINED: Columns = [(doc.Column("explained"), lambda row: _um(row.explained_um, signed(row)))]
CLASSES: Columns = [
    (doc.Column("En"), en_text),
    (doc.Column("claimed"), claimed_text),
    (doc.Column("found"), found_text),
]
CLAIM: Columns = [(doc.Column("claim", "left"), claim_cell)]
"""Beside the name of the value: seen on a small screen without moving the table."""


def open_table(caption: str, rows: Sequence[ComparedValue], *, explained: bool) -> doc.Table:
    """Values to take up: reported, ours, and what became of the claim."""
    columns: Columns = [
        *SERIAL,
        (doc.Column("value", "left"), _value_meant),
        *CLAIM,
        *REPORTED,
        *(EXPLAINED if explained else []),
        (doc.Column("ours"), lambda row: _um(row.judged_um, PARAMETERS[row.parameter].signed)),
        *CLASSES,
    ]
    notes = ["Values in µm; ours: the worst trace, evaluated as the drawing says."]
    if explained:
        notes.append("Explained: what our data give under the supplier's settings.")
    return doc.Table.by_column(caption, columns, rows, [*notes, *_en_notes(rows)])


def all_table(caption: str, rows: Sequence[ComparedValue], *, explained: bool) -> doc.Table:
    """Every reported value and what was found under the same name."""
    columns: Columns = [
        *SERIAL,
        (doc.Column("parameter", "left"), lambda row: doc.symbol(row.parameter)),
        (doc.Column("place", "left"), where_text),
        *CLAIM,
        *REPORTED,
        (doc.Column("ours"), lambda row: _um(row.found_um, signed(row))),
        *(EXPLAINED if explained else []),
        (doc.Column("difference"), lambda row: _um(row.difference_um, signed=True)),
        *CLASSES,
    ]
    note = "Values in µm; ours and difference: under the same flank name, evaluated as the drawing says."
    return doc.Table.by_column(caption, columns, rows, [note, *_en_notes(rows)], dense=True)


def _value_meant(row: ComparedValue) -> doc.Text:
    return doc.join(doc.symbol(row.parameter), f" {where_text(row, meant=True)}")


def _en_notes(rows: Sequence[ComparedValue]) -> list[str]:
    return [EN_NOTE] if any(row.en is not None for row in rows) else []


def _um(value: float | None, signed: bool) -> str:
    return DASH if value is None else value_text(value, signed=signed)


def explanations_table(result: IncomingResult) -> doc.Table | None:
    """The explanations that fit best."""
    some = result.explanation.explanations[:EXPLANATIONS_SHOWN]
    if not some:
        return None
    lines: list[tuple[doc.Cell | doc.Text, ...]] = [("no change", value_text(some[0].rms_before_um), "")]
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


class _Series(NamedTuple):
    """A parameter on one flank: agreement as the drawing says, and with the best explanation."""

    key: str
    place: PlaceKey
    plain: Agreement
    best: Agreement


def agreement_table(result: IncomingResult, *, wide: bool = True, full: bool = False) -> doc.Table | None:
    """Bias and limits of agreement per parameter and flank; all of it if `full`."""
    if not result.agreement:
        return None
    explained = result.agreement_explained
    rows = [
        _Series(key, place, one, explained.get(key, {}).get(place, one))
        for key, places in result.agreement.items()
        for place, one in places.items()
    ]
    columns: doc.Columns[_Series] = [
        (doc.Column("parameter", "left"), lambda row: doc.symbol(row.key)),
        (doc.Column("flank", "left"), lambda row: flank_of(row.place) or DASH),
        (doc.Column("gears"), lambda row: str(row.plain.n)),
        (doc.Column("bias"), lambda row: value_text(row.plain.bias_um, signed=True)),
    ]
    if explained:
        columns.append((doc.Column("bias explained"), lambda row: value_text(row.best.bias_um, signed=True)))
    if wide:
        columns.append((doc.Column("95 % interval"), lambda row: interval_text(row.best.bias_interval_um)))
    columns += [
        (doc.Column("limits of agreement"), lambda row: interval_text(row.best.limits_of_agreement_um)),
        (doc.Column("of tolerance"), lambda row: _share(row.best)),
    ]
    if full:
        columns.append((doc.Column("line slope"), lambda row: _slope(row.best)))
        columns.append((doc.Column("notes", "left", weight=1.0), lambda row: _agreement_notes(row.best)))
    notes = ["Reported less ours, µm, one pair a gear. Limits of agreement hold 95 % of such differences."]
    if explained:
        notes.append("All but the first bias: against what the explanation predicts.")
    if full and any(_slope(row.best) != DASH for row in rows):
        notes.append("Line slope: Deming regression, errors on both sides; 1 means no proportional error.")
    return doc.Table.by_column("Agreement", columns, rows, notes, dense=full)


def _share(one: Agreement) -> str:
    return DASH if one.share_of_tolerance is None else percent_text(one.share_of_tolerance)


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
    columns: doc.Columns[GearAlignment] = [
        (doc.Column("their serial", "left"), lambda one: clip(one.serial, LONGEST_IN_SENTENCE)),
        (doc.Column("ours", "left"), lambda one: clip(one.our_serial, LONGEST_IN_SENTENCE)),
        (doc.Column("same gear", "left"), lambda one: doc.Cell(YES_NO[one.same], STATUS[one.same])),
        (doc.Column("correlation"), lambda one: _fixed(one.correlation)),
        (doc.Column("by chance"), lambda one: _fixed(one.chance_correlation)),
        (doc.Column("pitch rms µm"), lambda one: _um(one.residual_um, signed=False)),
        (doc.Column("traces rms µm"), lambda one: _um(one.trace_residual_um, signed=False)),
        (doc.Column("aligned by", "left", weight=1.0), _aligned_by),
    ]
    notes = (
        "Correlation of the pitch curves of both flanks without their low orders, which mounting and machine "
        "make and gears of one lot share. By chance: what the best of all alignments of unlike gears reaches "
        "once in a thousand times.",
    )
    return doc.Table.by_column("Are they the same gears", columns, result.alignments, notes, dense=True)


def _aligned_by(one: GearAlignment) -> str:
    turned = ["flanks swapped"] if one.flanks_swapped else []
    turned += ["counted the other way"] if one.direction_reversed else []
    turned += [f"starts {one.tooth_shift} teeth on"] if one.tooth_shift else []
    better = [f"fits {one.best_match} better"] if one.best_match else []
    return "; ".join([*([", ".join(turned)] if turned else []), *better]) or DASH


def _fixed(value: float | None) -> str:
    return DASH if value is None else fixed_text(value)
