"""The table of values of a sheet: a row a parameter, verdicts first, left flank beside right flank."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from gearqa.model.part import Part
from gearqa.model.results import GearResult, ParameterResult
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.verdicts import conformity_cell
from gearqa.report.grading.notes import value_notes
from gearqa.report.grading.values import (
    Value,
    allowed,
    by_flank,
    has_class,
    is_required,
    place_of,
    shown_value,
    verdict_cell,
)
from gearqa.symbols import FLANKS, PARAMETERS, Flank
from gearqa.wording.numbers import DASH, allowed_text, class_text, number_text


def value_table(gear: GearResult, part: Part, master_class: int) -> doc.Table:
    """Graded parameters, a row each: verdicts first, then values, classes and places of both flanks."""
    gaps: dict[str, list[Flank | None]] = {}
    for gap in gear.not_assessed:
        gaps.setdefault(gap.parameter, []).append(gap.flank)
    rows = []
    for key in (*PARAMETERS, *(key for key in gaps if key not in PARAMETERS)):
        parameter = gear.parameters.get(key)
        sides = dict(by_flank(parameter)) if parameter is not None else {}
        sides = {side: one for side, one in sides.items() if has_class(one)}
        if sides or key in gaps:
            rows.append(_ValueRow(key, parameter, sides, tuple(gaps.get(key, ())), part))
    same = {row.required for row in rows if row.parameter is not None}
    one_class = next(iter(same)) if len(same) == 1 else ""
    one_class = one_class if one_class.isdecimal() else ""
    known_u = any(row.parameter is not None and row.parameter.uncertainty_um is not None for row in rows)
    pairs: tuple[tuple[str, Callable[[_ValueRow, Flank | None], doc.Cell | str]], ...] = (
        ("drawing", _ValueRow.verdict), ("value µm", _ValueRow.value), ("class", _ValueRow.grade),
        ("place", _ValueRow.place),
    )  # fmt: skip
    columns = [doc.Column("", "left")]
    for group, _ in pairs:
        aligned: Literal["left", "right"] = "left" if group in {"drawing", "place"} else "right"
        wide = 1.0 if group == "drawing" else 0.6 if group == "place" else 0.0
        columns += [doc.Column(flank, aligned, group=group, weight=wide) for flank in FLANKS]
    columns.append(doc.Column(f"class {one_class}\nallows µm" if one_class else "allowed\nµm"))
    columns += [] if one_class else [doc.Column("class\nrequired")]
    columns += [doc.Column("U\nµm")] if known_u else []
    columns.append(doc.Column(f"class {master_class}\nallows µm"))
    body = []
    for row in rows:
        cells: list[doc.Cell | doc.Text] = [doc.symbol(row.key)]
        for _, show in pairs:
            if not row.per_flank:
                one = show(row, None)
                cell = one if isinstance(one, doc.Cell) else doc.Cell(one)
                cells.append(replace(cell, span=2))
            else:
                cells += [show(row, flank) for flank in FLANKS]
        cells.append(row.allowed)
        cells += [] if one_class else [row.required]
        cells += [row.uncertainty] if known_u else []
        body.append((*cells, row.master))
    return doc.Table(
        "", tuple(columns), tuple(body), notes=(" ".join(map(doc.plain, value_notes(gear))),), dense=True
    )


@dataclass(frozen=True, slots=True)
class _ValueRow:
    """One parameter in the table of values."""

    key: str
    parameter: ParameterResult | None
    sides: Mapping[Flank | None, Value]
    gaps: tuple[Flank | None, ...]
    part: Part

    @property
    def per_flank(self) -> bool:
        return self.key in PARAMETERS and PARAMETERS[self.key].per_flank

    def verdict(self, side: Flank | None) -> doc.Cell | str:
        one = self.sides.get(side)
        if one is not None and one.conforms is False:
            return verdict_cell(one)
        if side in self.gaps or (
            None in self.gaps and (not self.per_flank or side in self.part.tolerance.flanks)
        ):
            return conformity_cell(None)
        return DASH if one is None or not is_required(one) else verdict_cell(one)

    def value(self, side: Flank | None) -> str:
        one = self.sides.get(side)
        if one is None or self.parameter is None:
            return DASH
        return shown_value(self.key, one, self.parameter.master_tolerance_um)

    def grade(self, side: Flank | None) -> str:
        one = self.sides.get(side)
        return DASH if one is None else class_text(one.class_, one.beyond)

    def place(self, side: Flank | None) -> str:
        one = self.sides.get(side)
        return DASH if one is None else place_of(None, one)

    @property
    def allowed(self) -> str:
        return _each(allowed(self.key, one) for one in self.sides.values())

    @property
    def required(self) -> str:
        """Class that the drawing asks for, or that it states limits."""
        return _each(
            "limits" if one.limits_um is not None else class_text(one.required_class, None)
            for one in self.sides.values()
        )

    @property
    def uncertainty(self) -> str:
        known = None if self.parameter is None else self.parameter.uncertainty_um
        return DASH if known is None else number_text(known)

    @property
    def master(self) -> str:
        master = None if self.parameter is None else self.parameter.master_tolerance_um
        return allowed_text(self.key, master, None)


def _each(texts: Iterable[str]) -> str:
    """What is said of left and right flank, once where it is the same."""
    return "; ".join(dict.fromkeys(texts)) or DASH
