"""The gears of a folder in words, gathered one by one in bounded memory."""

from __future__ import annotations

import heapq
import math
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from gearqa.model.measurement import Seen, measured_name
from gearqa.model.results import GearResult, GradeHeader, LotSummary, State
from gearqa.report.blocks.document import (
    Answer,
    Block,
    Bullets,
    Cell,
    Column,
    Table,
    Text,
    Verdict,
    join,
)
from gearqa.report.blocks.explained import ASK, with_code
from gearqa.report.blocks.verdicts import STATUS, conformity_cell, master_quality_cell
from gearqa.report.grading.notes import decision_line, other_span_matters
from gearqa.report.grading.values import INCOMPLETE_NOTE, WorstValue, gear_class, worst_of
from gearqa.report.grading.words import NO_CLASS, closing, criterion_text, gear_blocks, opening
from gearqa.symbols import PARAMETERS, symbol_of
from gearqa.wording.numbers import DASH, count_text, percent_text
from gearqa.wording.sentences import place_text, some_of
from gearqa.wording.verdicts import MASTER_QUALITY, NOT_PROVEN, conform_text, conformity_text
from gearqa.wording.visible import clip

ALL_ROWS_UP_TO = 40
"""Gears of a lot that are all listed; of a larger lot only the worst are."""
WORST_ROWS = 20
MOST_NAMED = 6
"""Gears that the decision line names."""
MOST_PARAMETERS = 4
"""Parameters that a verdict names."""


class GearRow(NamedTuple):
    """One line of the lot table."""

    place: int
    serial: str
    grade: str
    worst: WorstValue | None
    conforms: bool | None
    master_quality: bool | None
    state: State | None = None
    again: bool = False
    """A further measurement of a gear: shown, not counted."""

    @property
    def badness(self) -> tuple[int, float, int]:
        """Sorts the worst gears to the end; of equals the later one."""
        order = {True: 0, None: 1, False: 2}[self.conforms]
        return (order, self.worst.rank if self.worst else -math.inf, -self.place)


class GearNotes(NamedTuple):
    """What the words about a lot need of one gear."""

    serial: str
    measurement: str
    grade: str
    worst: WorstValue | None
    conforms: bool | None
    master_quality: bool | None
    state: State | None
    master_state: State | None
    near_limit: int | None
    failing: tuple[str, ...]
    missing: tuple[str, ...]
    """Parameters that were not assessed."""
    deciding: tuple[str, ...]
    """Parameters for which master quality is not reached, or not decidable."""
    other_span: tuple[str, ...]
    """Slopes that would have another class over the other span."""
    apart_failing: tuple[str, ...]
    """Limit curves and zones."""
    size_fails: bool
    warnings: tuple[tuple[str, str], ...]
    alone: GearResult | None
    """The whole result, where it is the only gear."""


def noted(gear: GearResult, *, alone: bool = False) -> GearNotes:
    """What the words about a lot need of one gear; `alone`: it is the only one."""
    apart = [
        *(f"{curve.kind}_curve" for curve in gear.limit_curves if curve.conforms is False),
        *(zone.key for zone in gear.required_zones if zone.conforms is False),
    ]
    return GearNotes(
        serial=gear.serial,
        measurement=gear.measurement,
        grade=gear_class(gear),
        worst=worst_of(gear),
        conforms=gear.conforms,
        master_quality=gear.master_quality,
        state=gear.state,
        master_state=gear.master_state,
        near_limit=gear.near_limit,
        failing=tuple(key for key, one in gear.parameters.items() if one.conforms is False),
        missing=tuple({one.parameter: None for one in gear.not_assessed}),
        deciding=gear.master_deciding,
        other_span=tuple(key for key, one in gear.parameters.items() if other_span_matters(one)),
        apart_failing=tuple(dict.fromkeys(apart)),
        size_fails=any(size.conforms is False for size in gear.size),
        warnings=tuple((notice.code, notice.message) for notice in gear.warnings),
        alone=gear if alone else None,
    )


class LotCollector:
    """What the words about a lot need, gathered gear by gear in bounded memory."""

    def __init__(self) -> None:
        self.alone: GearResult | None = None
        """The only gear."""
        self.gears = 0
        self.rows: list[GearRow] = []
        """All gears in their order, while they are few; then empty."""
        self.worst: list[tuple[tuple[int, float, int], GearRow]] = []
        """The worst gears, as a heap."""
        self.classes: Counter[str] = Counter()
        self.failing: Counter[str] = Counter()
        self.missing: Counter[str] = Counter()
        self.master_failing: Counter[str] = Counter()
        self.master_open: Counter[str] = Counter()
        self.warnings: Counter[str] = Counter()
        self.warning_examples: dict[str, str] = {}
        self.other_span_class: Counter[str] = Counter()
        self.sizes_failing = 0
        self.apart_failing: Counter[str] = Counter()
        self.near_limit: int | None = None
        self.not_proven: list[str] = []
        """Gears that guarding would leave open: by serial."""
        self.open_by_rule = 0
        """Those of them that the decision rule leaves open."""
        self.master_not_proven = 0
        self.measured_again: list[str] = []
        """Serials of gears with more than one measurement."""
        self._seen = Seen()

    def add(self, gear: GearNotes) -> GearRow:
        """Take in one gear; returns its line."""
        self.gears += 1
        self.alone = gear.alone
        row = GearRow(
            self.gears, measured_name(gear.serial, gear.measurement), gear.grade, gear.worst, gear.conforms,
            gear.master_quality, gear.state, self._seen.again(gear),
        )  # fmt: skip
        if self.gears <= ALL_ROWS_UP_TO:
            self.rows.append(row)
        elif self.rows:
            self.rows = []
        heapq.heappush(self.worst, (row.badness, row))
        if len(self.worst) > WORST_ROWS:
            heapq.heappop(self.worst)
        if row.again:
            if gear.serial not in self.measured_again[-1:]:
                self.measured_again.append(gear.serial)
        else:
            self._count(gear)
        for code, message in gear.warnings:
            self.warnings[code] += 1
            self.warning_examples.setdefault(code, f"{row.serial}: {message}")
        return row

    def _count(self, gear: GearNotes) -> None:
        self.classes[gear.grade] += 1
        self.failing.update(gear.failing)
        self.missing.update(gear.missing)
        (self.master_failing if gear.master_quality is False else self.master_open).update(gear.deciding)
        self.other_span_class.update(gear.other_span)
        self.apart_failing.update(gear.apart_failing)
        self.sizes_failing += gear.size_fails
        if gear.state == NOT_PROVEN:
            self.not_proven.append(gear.serial)
            self.open_by_rule += gear.conforms is None
        self.master_not_proven += gear.master_state == NOT_PROVEN
        if gear.near_limit is not None:
            self.near_limit = (self.near_limit or 0) + gear.near_limit

    def listed(self) -> list[GearRow]:
        """The gears that the table lists: all of a small lot, else the worst, worst first."""
        if self.rows:
            return self.rows
        return [row for _, row in sorted(self.worst, key=lambda pair: pair[0], reverse=True)]

    def warning_lines(self) -> list[Text]:
        """The first warning of each kind, with the number of those alike."""
        return [
            join(
                with_code(self.warning_examples[code], code),
                f" (and {count_text(n - 1, 'more such warning')})" if n > 1 else "",
            )
            for code, n in self.warnings.items()
        ]


def lot_table(rows: Sequence[GearRow], total: int, *, wide: bool = False) -> Table:
    """Gears of a lot with the parameter that is nearest to its limit."""
    columns = (
        Column("gear", "left"), Column("class"), Column("worst", "left"), Column("value µm"),
        Column("allowed µm"), *([Column("used"), Column("place", "left")] if wide else []),
        Column("drawing", "left"), Column("master quality", "left"),
    )  # fmt: skip
    body = []
    for row in rows:
        worst = row.worst
        cells: tuple[Cell | str, ...] = (DASH,) * (5 if wide else 3)
        if worst is not None:
            name = place_text(worst.key, None if wide else worst.flank)
            used = DASH if worst.use is None else percent_text(worst.use)
            more = [used, worst.place] if wide else []
            cells = (name, worst.value, worst.allowed, *more)
        verdicts = conformity_cell(row.conforms, row.state), master_quality_cell(row.master_quality)
        body.append((row.serial, row.grade, *cells, *verdicts))
    notes = ["worst: the value that uses up most of what is allowed."]
    if any(row.worst is not None and row.worst.use is None for row in rows):
        notes = [
            "worst: of limit curves the smallest margin, which must not be below 0; else the value that "
            "uses up most of what is allowed."
        ]
    if len(rows) < total:
        notes.append(not_all_note(len(rows), total))
    if any(row.grade.endswith("*") for row in rows):
        notes.append(INCOMPLETE_NOTE)
    return Table("", columns, tuple(body), notes=tuple(notes))


def not_all_note(shown: int, total: int) -> str:
    """Says that a table shows only the worst gears.

    >>> not_all_note(20, 26)
    'The worst 20 of 26 gears; all of them: --json and --csv.'
    """
    return f"The worst {shown} of {count_text(total, 'gear')}; all of them: --json and --csv."


def _gears_by_parameter(counts: Counter[str]) -> str:
    """Parameters with the number of gears, the most frequent first: `Fp (8 gears), fHα (3)`."""
    order = [*PARAMETERS, *counts]
    ranked = sorted(counts.items(), key=lambda pair: (-pair[1], order.index(pair[0])))
    texts = [
        f"{symbol_of(key)} ({n if number else count_text(n, 'gear')})"
        for number, (key, n) in enumerate(ranked[:MOST_PARAMETERS])
    ]
    more = len(ranked) - MOST_PARAMETERS
    return ", ".join([*texts, *([count_text(more, "more parameter")] if more > 0 else [])])


def lot_verdict(header: GradeHeader, lot: LotSummary, seen: LotCollector) -> Verdict:
    """Conformity, class and master quality of the whole job."""
    grade = "beyond every class" if lot.beyond else "none" if lot.class_ is None else str(lot.class_)
    if any(name.endswith("*") for name in seen.classes):
        grade += " (incomplete)"
    spread = ", ".join(
        f"class {name}: {n}"
        for name, n in sorted(seen.classes.items(), key=lambda pair: _class_order(pair[0]))
    )
    classed = lot.beyond or lot.class_ is not None or seen.missing
    reached = lot.reached_master_quality
    word = conformity_text(lot.conforms, NOT_PROVEN if lot.undecided == seen.open_by_rule else None)
    return Verdict(
        (
            Answer(
                "Conformity to the drawing", word, STATUS[lot.conforms],
                "; ".join(_counts(lot, seen)),
            ),
            Answer("Worst class", grade, "none", f"gears by {spread}" if classed else NO_CLASS),
            Answer(
                "Master quality of the job", MASTER_QUALITY[reached], STATUS[reached],
                "; ".join([*_master_counts(lot, seen), f"criterion: {criterion_text(header)}"]),
            ),
        )
    )  # fmt: skip


def _counts(lot: LotSummary, seen: LotCollector) -> list[str]:
    counts = [f"{lot.conforming} of {count_text(lot.gears, 'gear')} {conform_text(lot.conforming)}"]
    if lot.not_conforming:
        causes = [_gears_by_parameter(some) for some in (seen.failing, seen.apart_failing) if some]
        if seen.sizes_failing:
            causes.append(f"size ({count_text(seen.sizes_failing, 'gear')})")
        counts.append(f"{lot.not_conforming} not: {', '.join(causes)}")
    for undecided, state in (
        (lot.undecided - seen.open_by_rule, "not assessed"),
        (seen.open_by_rule, NOT_PROVEN),
    ):
        if undecided:
            counts.append(f"{undecided} {state}")
    if seen.missing:
        counts.append(f"missing: {_gears_by_parameter(seen.missing)}")
    return counts


def _master_counts(lot: LotSummary, seen: LotCollector) -> list[str]:
    counts = [f"reached by {lot.master_quality} of {count_text(lot.gears, 'gear')}"]
    if seen.master_failing:
        counts.append(f"decided by {_gears_by_parameter(seen.master_failing)}")
    if lot.master_quality_undecided:
        undecided = lot.master_quality_undecided
        open_for = f": {_gears_by_parameter(seen.master_open)}" if seen.master_open else ""
        counts.append(f"{undecided} not decidable{open_for}")
    return counts


def _class_order(name: str) -> tuple[int, str]:
    digits = name.rstrip("*")
    return (int(digits) if digits.isdigit() else 99, name)


def lot_blocks(
    header: GradeHeader, lot: LotSummary, seen: LotCollector, slope_span: str, *, wide: bool = False
) -> list[Block]:
    """A graded folder: one gear in full, or a lot as a table, then the verdict."""
    if seen.alone is not None:
        return gear_blocks(header, seen.alone, slope_span, wide=wide)
    blocks = [*opening(header), lot_table(seen.listed(), seen.gears, wide=wide)]
    if notes := [*again_lines(seen), *_other_span_note(seen, slope_span), *_warned(seen)]:
        blocks.append(Bullets(tuple(notes), "note"))
    rule = decision_line(header, seen.near_limit, guarded_lot(seen))
    return [*blocks, *closing(lot_verdict(header, lot, seen), rule)]


def _warned(seen: LotCollector) -> list[Text]:
    lines = seen.warning_lines()
    return [*lines, ASK] if lines else []


def again_lines(seen: LotCollector) -> list[str]:
    """Which gears were measured more than once, and what counts."""
    if not seen.measured_again:
        return []
    named = some_of([clip(serial, 48) for serial in seen.measured_again], MOST_NAMED)
    return [
        f"Measured more than once: {named}. The first measurement of a gear counts, the others are shown."
    ]


def guarded_lot(seen: LotCollector) -> str:
    """What guarded acceptance would say of gears that were judged simply, where it differs; else empty."""
    said = []
    if seen.not_proven:
        named = some_of([clip(serial, 48) for serial in seen.not_proven], MOST_NAMED)
        said.append(f"{NOT_PROVEN} of {count_text(len(seen.not_proven), 'gear')} ({named})")
    if seen.master_not_proven:
        said.append(f"master quality {NOT_PROVEN} of {count_text(seen.master_not_proven, 'gear')}")
    return "; ".join(said)


def _other_span_note(seen: LotCollector, slope_span: str) -> list[str]:
    if not seen.other_span_class:
        return []
    spans = "the full span", "the evaluation length"
    this, other = spans if slope_span == "full" else spans[::-1]
    return [
        f"Slopes are graded over {this}; over {other} they would have another class: "
        f"{_gears_by_parameter(seen.other_span_class)}."
    ]
