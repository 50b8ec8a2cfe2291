"""What the grinder does to the gears: components now, what moved, which correction gains most."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from gearqa.model.diagnosis import Component, Correction, GrinderDiagnosis, MovedComponent
from gearqa.model.drift import DriftResult
from gearqa.report.blocks import document as doc
from gearqa.report.diagnosis.names import component_name, directions_notes
from gearqa.report.diagnosis.words import change_text, changes_list, expect_text, hidden_list, shares_text
from gearqa.report.drift import words
from gearqa.wording.numbers import DASH, count_text, fixed_text, percent_text, um_text
from gearqa.wording.sentences import listed, sentence
from gearqa.wording.visible import clip

TITLE: Final = "What the grinder does to the gears"
MOST_SHOWN: Final = 6
CENTRE: Final = ("centre_0_deg", "centre_90_deg")
LONGEST_CAUSE: Final = 60


def grinder_sections(result: DriftResult) -> Iterator[tuple[str, tuple[doc.Block, ...]]]:
    """Title and blocks for each part and grinder."""
    several = len(words.groups(result.series)) > 1
    for one in result.diagnosis:
        yield (f"{TITLE}: {one.part} on {one.grinder}" if several else TITLE), tuple(_blocks(one))


def _blocks(one: GrinderDiagnosis) -> Iterator[doc.Block]:
    real = [c for c in one.components if c.significant]
    if real:
        yield _table(one, real)
    lines = [*_telling(one, real), *_gains(one)]
    if not real:
        lines.insert(0, "No component beyond chance." if one.components else "No component can be told yet.")
    yield doc.Bullets(tuple(lines))
    yield from changes_list(one.changes)
    if one.not_identifiable:
        yield doc.Paragraph("Cannot be told from what is kept of the gears:")
        yield hidden_list(one.not_identifiable)


def _table(one: GrinderDiagnosis, real: Sequence[Component]) -> doc.Table:
    moved = {(m.key, m.flank, m.order): m for m in one.moved}
    rows = tuple(
        (
            component_name(c), um_text(c.amplitude_um, signed=c.phase_deg is None and c.order is None),
            DASH if c.u_um is None else um_text(c.u_um),
            DASH if c.phase_deg is None else f"{fixed_text(c.phase_deg, 0)}°", shares_text(c),
            _moved(moved.get((c.key, c.flank, c.order))),
        )
        for c in real[:MOST_SHOWN]
    )  # fmt: skip
    columns = (
        doc.Column("component", "left", weight=2), doc.Column("amplitude"), doc.Column("U"),
        doc.Column("at"), doc.Column("explains", "left", weight=2), doc.Column("moved", "left", weight=2),
    )  # fmt: skip
    notes = [
        "Means of the levels since each last moved, under a proven trend the end of its line; amid the usual "
        "dress cycle where wear is proven, else amid the parts measured. U: k = 2, from the scatter of the "
        "cycles and the rate of the wear. Explains: of the mean gear; shares need not add up.",
        *directions_notes(real[:MOST_SHOWN]),
    ]
    more, chance = len(real) - len(rows), len(one.components) - len(real)
    if more > 0:
        notes.append(f"{count_text(more, 'smaller component')}: see the JSON result.")
    if chance:
        notes.append(f"{count_text(chance, 'component')} within chance or not to be told not shown.")
    return doc.Table("", columns, rows, notes=tuple(notes), dense=True)


def _moved(one: MovedComponent | None) -> str:
    if one is None:
        return DASH
    towards = "" if one.direction_deg is None else f" towards {fixed_text(one.direction_deg, 0)}°"
    size = um_text(one.change_um, 1, signed=one.direction_deg is None)
    causes = f", {clip(listed(one.possible_causes), LONGEST_CAUSE)}" if one.possible_causes else ""
    return f"{size}{towards} at cycle {one.cycle}{causes}"


def _telling(one: GrinderDiagnosis, real: Sequence[Component]) -> Iterator[str]:
    """The component that uses up most, with its likeliest cause."""
    if not real or not one.causes or shares_text(real[0]) == DASH:
        return
    cause = one.causes[0]
    yield sentence(
        f"most of a tolerance goes with {component_name(real[0])} ({shares_text(real[0])}); likeliest cause: "
        f"{cause.causes[0]} ({cause.confidence} confidence, {cause.basis})"
    )


def _gains(one: GrinderDiagnosis) -> Iterator[str]:
    if one.gains_most is None:
        return
    alike = CENTRE if one.gains_most in CENTRE else (one.gains_most,)
    those = [c for c in one.corrections if c.quantity in alike and c.instead_of is None]
    those = those or [c for c in one.corrections if c.quantity in alike]
    yield sentence(f"the correction that gains most: {'; '.join(map(_change, those))}")
    bases = dict.fromkeys(c.basis for c in those)
    if len(bases) == 1:
        yield from map(sentence, bases)
    else:
        yield from (sentence(f"{change_text(c)[0]}: {c.basis}") for c in those)


def _change(one: Correction) -> str:
    name, change, u = change_text(one)
    whole = f"{name}, by {change}{'' if u == DASH else f' {u}'}"
    if not one.fraction:
        return f"{whole}, none of it yet"
    return f"{whole}, at first {percent_text(one.fraction)} of it: then {expect_text(one)}"
