"""Graded values as people read them: digits, what is allowed, place, and the worst value of a gear."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from gearqa.model.results import FlankResult, GearResult, ParameterResult
from gearqa.report.blocks.document import Cell, plain
from gearqa.report.blocks.verdicts import conformity_cell
from gearqa.symbols import PARAMETERS, Flank
from gearqa.wording.numbers import (
    Limits,
    allowed_text,
    class_text,
    margin_text,
    number_text,
    tolerance_limits,
    use_of_tolerance,
    value_text,
    zone_value,
)
from gearqa.wording.verdicts import NOT_PROVEN

Value = ParameterResult | FlankResult
INCOMPLETE_NOTE = "* class of an incomplete set: something graded was not assessed."


def by_flank(parameter: ParameterResult) -> list[tuple[Flank | None, Value]]:
    """A parameter on each flank; whole, without a flank, where it has none."""
    return [*parameter.flanks.items()] or [(None, parameter)]


def values_of(gear: GearResult) -> Iterator[tuple[str, Flank | None, ParameterResult, Value]]:
    """Every parameter of a gear on each of its flanks."""
    for key, parameter in gear.parameters.items():
        for flank, one in by_flank(parameter):
            yield key, flank, parameter, one


def is_required(one: Value) -> bool:
    """Whether the drawing asks for the value: only then it has a verdict."""
    return one.tolerance_um is not None or one.limits_um is not None


def has_class(one: Value) -> bool:
    """Whether the value is graded: for the drawing, or for master quality alone."""
    return one.class_ is not None or one.beyond


def limits_of(key: str, one: Value) -> Limits | None:
    """Limits that the value must keep: the drawing's, or those of its tolerance."""
    return one.limits_um if one.limits_um is not None else tolerance_limits(key, one.tolerance_um)


def shown_value(key: str, one: Value, master_tolerance: float | None = None) -> str:
    """A value with digits that do not contradict its verdicts."""
    limits = [limits_of(key, one), tolerance_limits(key, master_tolerance)]
    return value_text(one.value_um, signed=PARAMETERS[key].signed, limits=limits)


def allowed(key: str, one: Value) -> str:
    """What is allowed for the value."""
    return allowed_text(key, one.tolerance_um, one.limits_um)


def verdict_cell(one: Value) -> Cell:
    """Verdict on a value; its state too where that is another."""
    cell = conformity_cell(one.conforms, one.state)
    if one.state == NOT_PROVEN != cell.text:
        return replace(cell, text=f"{plain(cell.text)}, {NOT_PROVEN}")
    return cell


def share_used(key: str, one: Value) -> float | None:
    """Share of the allowance that a value uses; None for what the drawing does not ask for."""
    return use_of_tolerance(key, one.value_um, one.tolerance_um, one.limits_um)


def place_of(flank: Flank | None, one: Value) -> str:
    """Where a value was found; two numbers are the places of the maximum and the minimum."""
    if isinstance(one, ParameterResult) and one.space is not None:
        return f"space {one.space}" if one.space_to is None else f"spaces {one.space}, {one.space_to}"
    tooth = "" if one.tooth is None else f"tooth {one.tooth}"
    if one.tooth_to is not None:
        tooth = f"teeth {one.tooth}, {one.tooth_to}"
    return " ".join(filter(None, (flank, tooth)))


def class_note(grade: int | None, beyond: bool) -> str:
    """The class of a value in brackets, after it."""
    if beyond:
        return " (beyond every class)"
    return "" if grade is None else f" (class {grade})"


def gear_class(gear: GearResult) -> str:
    """Class of a gear, with a star where it is incomplete."""
    return class_text(gear.class_, gear.beyond, complete=gear.class_complete)


class WorstValue(NamedTuple):
    """The value of a gear that is nearest to its limit, or furthest beyond it."""

    key: str
    flank: Flank | None
    value: str
    allowed: str
    use: float | None
    """Share of what is allowed; a margin to limit curves has none."""
    rank: float
    """Grows with how bad the value is."""
    place: str
    """Flank and teeth or spaces."""


def worst_of(gear: GearResult) -> WorstValue | None:
    """The value that uses up most of what the drawing allows; those that fail come first.

    The margin to limit curves stands here where they fail alone, or nothing else is limited.
    """
    ranked = [
        ((one.conforms is False, use), key, flank, parameter, one)
        for key, flank, parameter, one in values_of(gear)
        if (use := share_used(key, one)) is not None
    ]
    zone = max(gear.required_zones, key=lambda one: (one.conforms is False, one.share), default=None)
    if zone is not None and all((zone.conforms is False, zone.share) > entry[0] for entry in ranked):
        value, limit = zone_value(zone.value_um, zone.tolerance_um), number_text(zone.tolerance_um)
        place = f"{zone.flank}, tooth {zone.tooth}"
        if zone.conforms is False or all(one.conforms is not False for one in gear.limit_curves):
            return WorstValue(zone.key, zone.flank, value, limit, zone.share, zone.share, place)
    curve = min(gear.limit_curves, key=lambda one: one.margin_um, default=None)
    if curve is not None and (not ranked or (curve.conforms is False and not any(e[0][0] for e in ranked))):
        key, place = f"{curve.kind}_curve", f"{curve.flank}, tooth {curve.tooth}"
        return WorstValue(
            key, curve.flank, margin_text(curve.margin_um), "≥ 0", None, -curve.margin_um, place
        )  # fmt: skip
    if not ranked:
        return None
    (_, use), key, flank, parameter, one = max(ranked, key=lambda entry: entry[0])
    value = shown_value(key, one, parameter.master_tolerance_um)
    return WorstValue(key, flank, value, allowed(key, one), use, use, place_of(flank, one))
