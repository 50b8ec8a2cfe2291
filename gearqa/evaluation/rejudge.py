"""A graded gear judged anew from its own values: where only what the drawing asks for has changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.criteria import Criteria
from gearqa.evaluation.gaps import DOUBTS, Gap, gap_notices
from gearqa.evaluation.gear_result import Evaluated, judged_gear, sized
from gearqa.evaluation.part_setup import TRACE_KINDS, Measured, PartSetup, Where
from gearqa.evaluation.trace_sets import measured_traces
from gearqa.evaluation.trace_specs import CURVE_OF, ZoneSpec
from gearqa.model.measurement import SizeReading
from gearqa.model.part import Part
from gearqa.model.results import GearResult, NotAssessed
from gearqa.symbols import PARAMETERS, Family

_OF_GAPS: Final = frozenset({*DOUBTS, NoticeCode.NOT_ASSESSED})
"""Codes of the notices that repeat the gaps."""
NO_PARABOLA: Final = "an earlier version graded this gear without the mean parabola; grade it from its files"


def why_raw_data(old: Part, asked: Criteria, new: Part, wanted: Criteria) -> str | None:
    """Why values graded by `old` cannot be judged by `new` without the measured points; None: they can."""
    for name in ("gear", "evaluation", "design"):
        if getattr(old, name) != getattr(new, name):
            return f"[{name}] of the part data differs, so every trace is evaluated anew"
    if old.edition.evaluates_as != new.edition.evaluates_as:
        return f"{new.edition.title} evaluates traces in another way than {old.edition.title}"
    for kind in TRACE_KINDS:
        before, now = old.tolerance.curve.of_kind(kind), new.tolerance.curve.of_kind(kind)
        if now is not None and now != before:
            return f"the limit curves of the {kind} differ, so every trace is compared anew"
    if new.tolerance.zone and new.tolerance.zone != old.tolerance.zone:
        return "the zones differ, so every trace is compared anew"
    if more := {*wanted.graded_flanks} - {*asked.graded_flanks}:
        return f"the {' and '.join(sorted(more))} flanks were not graded before"
    if news := _families(wanted) - _families(asked):
        return f"{' and '.join(sorted(news))} was not asked for before"
    return None


def judged_anew(gear: GearResult, setup: PartSetup) -> GearResult:
    """Judge a gear's own values by another setup, for which `why_raw_data` found nothing."""
    gaps = tuple(_gaps(gear, setup))
    readings = [
        SizeReading(s.method, s.value_mm, s.pin_diameter_mm, s.teeth_spanned, s.position) for s in gear.size
    ]
    sizes, size_gaps = sized(readings, gear.production, setup)
    apart = (*size_gaps, *(one for one in gear.not_assessed if _asked_apart(one, setup)))
    evaluated = Evaluated(
        gear.serial,
        {**dict(_pitch_and_runout(gear)), **measured_traces(gear.traces, setup)},
        gaps,
        apart,
        _warnings(gear, (*gaps, *apart)),
        gear.traces,
        gear.pitch,
        sizes,
        {
            (one.kind, one.flank): one.traces
            for one in gear.limit_curves
            if any(CURVE_OF[one.kind] in spec.keys for spec in setup.apart.get((one.kind, one.flank), ()))
        },
        {
            (spec, one.flank, one.parameter): one.traces
            for one in gear.zones
            for spec in setup.apart.get((one.kind, one.flank), ())
            if isinstance(spec, ZoneSpec) and one.key in spec.keys
        },
        gear.production,
        gear.measurement,
        tuple(_still_told(gear)),
    )
    return replace(judged_gear(evaluated, setup), components=gear.components)


def _still_told(gear: GearResult) -> Iterator[NotAssessed]:
    """Zones for information that were evaluated in part; why is in the gear's notices."""
    for one in gear.zones:
        if not one.required and one.state == "not assessed":
            yield NotAssessed(one.key, one.flank, "", "not_evaluable")


def _asked_apart(gap: NotAssessed, setup: PartSetup) -> bool:
    """Whether limit curves or a zone that could not be judged are asked for now."""
    return any(
        gap.parameter in spec.keys and gap.flank in (None, flank)
        for (_, flank), specs in setup.apart.items()
        for spec in specs
    )


def _families(criteria: Criteria) -> set[Family]:
    return {PARAMETERS[key].family for key in criteria.asked}


def _pitch_and_runout(gear: GearResult) -> Iterator[tuple[Where, Measured]]:
    for key, result in gear.parameters.items():
        if PARAMETERS[key].family in TRACE_KINDS:
            continue
        for flank, one in result.flanks.items():
            place = (one.tooth or 0, one.tooth_to)
            yield (key, flank), Measured(one.value_um, one.min_um, one.max_um, one.mean_um, *place)
        if not result.flanks:
            spaces, teeth = (result.space, result.space_to), (result.tooth, result.tooth_to)
            first, second = spaces if key == "runout" else teeth
            value = (result.value_um, result.min_um, result.max_um, result.value_um)
            yield (key, None), Measured(*value, first or 0, second, result.method)


def _gaps(gear: GearResult, setup: PartSetup) -> Iterator[NotAssessed]:
    """What could not be assessed of what is asked for now: parameters of a family share their gaps."""
    criteria = setup.criteria
    for kind in TRACE_KINDS:
        key = f"{kind}_parabola_form"
        lacking = any(one.kind == kind and one.form_about_parabola_um is None for one in gear.traces)
        if key in criteria.asked and lacking:
            yield NotAssessed(key, None, NO_PARABOLA, "not_evaluable")
    by_family: dict[Family, dict[Gap, None]] = {}
    for one in gear.not_assessed:
        if one.parameter in PARAMETERS:
            same = by_family.setdefault(PARAMETERS[one.parameter].family, {})
            same[Gap(one.flank, one.reason, one.code)] = None
    for key in criteria.asked:
        for gap in by_family.get(PARAMETERS[key].family, ()):
            confirmed = setup.confirmation(gap.code, key, gear.serial) is not None
            if not confirmed and (gap.flank is None or gap.flank in criteria.graded_flanks):
                yield NotAssessed(key, gap.flank, gap.reason, gap.code)


def _warnings(gear: GearResult, gaps: tuple[NotAssessed, ...]) -> tuple[Notice, ...]:
    """The gear's own notices, with those about gaps as they are now, in their old place."""
    old = [notice.code in _OF_GAPS for notice in gear.warnings]
    place = old.index(True) if True in old else 0
    others = [notice for notice in gear.warnings if notice.code not in _OF_GAPS]
    return (*others[:place], *gap_notices(gaps), *others[place:])
