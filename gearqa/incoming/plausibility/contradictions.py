"""Figures that contradict each other by definition, whatever gear was measured.

Of a trace's total, form and slope over the evaluation length none exceeds the sum of the other two: each
is the largest rise of a curve, and the third curve is the sum or difference of the other two. Form above
total alone is no contradiction: where the end of a trace runs against its slope it happens, in 13 of 100
simulated traces. A least squares line rises by at most 1.5 times the range of what it is fitted to, and
the residuals span at most 2.5 times.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import tan
from typing import Final, get_args

from gearqa.evaluation.part_geometry import part_geometry
from gearqa.evaluation.trace_specs import trace_spec
from gearqa.incoming.plausibility.figures import Figures
from gearqa.model.incoming import Basis, ReportedValue
from gearqa.model.part import Part
from gearqa.symbols import FLANKS, Flank, TraceKind, symbol_of
from gearqa.wording.numbers import short_text
from gearqa.wording.sentences import place_text

STEEPEST_LINE: Final = 1.5
"""Rise of a least squares line over the range of its values: 12 int s x ds over [-1/2, 1/2], x = +-1/2."""
USUAL_SPAN: Final = 1.35
"""Full span over evaluation length where the drawing gives no limits (common practice, no source)."""
RADIAL_MARGIN: Final = 1.3
"""Runout that flank form may add to what pitch alone gives (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Contradiction:
    """One relation that reported figures do not keep."""

    serial: str
    parameters: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True)
class _Typed:
    """A value and how far rounding may have moved it. [um]"""

    um: float
    half: float

    @classmethod
    def of(cls, value: ReportedValue, step: float) -> _Typed:
        return cls(abs(value.value_um), 0.5 * max(10.0**-value.decimals, step) + 1e-9)


Group = Mapping[str, _Typed]


def contradictions(figures: Figures) -> Iterator[Contradiction]:
    """Relations that the figures of one gear do not keep, beyond rounding."""
    groups: dict[tuple[str, Flank | None, int | None, Basis | None], dict[str, _Typed]] = defaultdict(dict)
    for value in figures.values:
        place = (value.serial, value.flank, value.tooth, value.basis)
        groups[place][value.parameter] = _Typed.of(value, figures.digit[value.parameter])
    spans, teeth = {kind: _span(figures.part, kind) for kind in get_args(TraceKind)}, figures.part.gear.teeth
    for (serial, flank, tooth, basis), group in groups.items():
        exact = tooth is not None or basis == "worst"
        for found, text in (*_traces(group, exact, spans), *_pitch(group, teeth)):
            where = place_text(found[0], flank, f"tooth {tooth}" if tooth else None)
            yield Contradiction(serial, found, f"{where}: {text}")
    yield from _runout(groups, figures.part)
    yield from _mean_above_worst(groups)


Relation = tuple[tuple[str, ...], str]


def _span(part: Part, kind: TraceKind) -> float:
    """How much larger a slope over the full span is than over the evaluation length."""
    spec = trace_spec(part, kind)
    return USUAL_SPAN if spec is None else max(1.0, abs(spec.full_end - spec.full_start) / spec.length) + 1e-6


def _traces(group: Group, exact: bool, spans: Mapping[TraceKind, float]) -> Iterator[Relation]:
    for kind, span in spans.items():
        keys = (f"{kind}_total", f"{kind}_form", f"{kind}_slope")
        total, form, slope = (group.get(key) for key in keys)
        if total and form and slope:
            half = total.half + form.half + span * slope.half
            if slope.um / span > total.um + form.um + half:
                yield (keys[2], *keys[:2]), f"{_show(slope)} is more than total and form together allow"
            # Slopes are often reported as means, totals and forms as worst values.
            if exact and total.um > form.um + span * slope.um + half:
                yield keys, f"{_show(total)} is more than form and slope together allow"
            if exact and form.um > total.um + span * slope.um + half:
                yield (
                    (keys[1], keys[0], keys[2]),
                    f"{_show(form)} is more than total and slope together allow",
                )
                continue
        if total and slope and slope.um / span > STEEPEST_LINE * total.um + total.half * 2 + slope.half:
            yield (keys[2], keys[0]), f"{_show(slope)} is more than a total of {_show(total)} allows"
        if total and form and form.um > (1 + STEEPEST_LINE) * total.um + 3 * total.half + form.half:
            yield (keys[1], keys[0]), f"{_show(form)} is more than a total of {_show(total)} allows"


def _pitch(group: Group, teeth: int) -> Iterator[Relation]:
    """Every pitch figure is a difference of index deviations that span the total."""
    single, total = group.get("single_pitch"), group.get("cumulative_pitch")
    if total:
        for key in ("single_pitch", "sector_pitch"):
            part = group.get(key)
            if part and part.um > total.um + part.half + total.half:
                yield (key, "cumulative_pitch"), f"{_show(part)} exceeds {_named('cumulative_pitch', total)}"
    if single and total and total.um > teeth // 2 * (single.um + single.half) + total.half:
        text = f"{_show(total)} cannot be reached with {_named('single_pitch', single)} on {teeth} teeth"
        yield ("cumulative_pitch", "single_pitch"), text
    adjacent = group.get("adjacent_pitch")
    if single and adjacent and adjacent.um > 2 * (single.um + single.half) + adjacent.half:
        yield (
            ("adjacent_pitch", "single_pitch"),
            f"{_show(adjacent)} exceeds twice {_named('single_pitch', single)}",
        )


def _runout(
    groups: Mapping[tuple[str, Flank | None, int | None, Basis | None], Group], part: Part
) -> Iterator[Contradiction]:
    """Runout and tooth thickness follow from the index deviations of both flanks."""
    alpha = part_geometry(part).alpha_t
    pitch: dict[str, dict[Flank, _Typed]] = defaultdict(dict)
    for (serial, flank, tooth, _), group in groups.items():
        if flank is not None and tooth is None and "cumulative_pitch" in group:
            pitch[serial][flank] = group["cumulative_pitch"]
    for (serial, _, _, _), group in groups.items():
        if len(pitch[serial]) < len(FLANKS):
            continue
        both = sum(one.um + one.half for one in pitch[serial].values())
        reach = {"runout": RADIAL_MARGIN / (2 * tan(alpha)), "tooth_thickness_variation": 1.0}
        for key, factor in reach.items():
            found = group.get(key)
            if found and found.um > factor * both + found.half + (2.0 if key == "runout" else 0.0):
                total = symbol_of("cumulative_pitch")
                text = f"{symbol_of(key)}: {_show(found)} is more than {total} of both flanks allows"
                yield Contradiction(serial, (key, "cumulative_pitch"), text)


def _mean_above_worst(
    groups: Mapping[tuple[str, Flank | None, int | None, Basis | None], Group],
) -> Iterator[Contradiction]:
    """A mean or a single tooth's value lies within the worst one of its flank."""
    for (serial, flank, tooth, basis), group in groups.items():
        worst = groups.get((serial, flank, None, "worst"), {})
        if tooth is None and basis != "mean":
            continue
        for key, one in group.items():
            limit = worst.get(key)
            if limit and one.um > limit.um + one.half + limit.half:
                what = f"tooth {tooth}" if tooth else "the mean"
                where, most = place_text(key, flank), _show(limit)
                text = f"{where}: {what} with {_show(one)} exceeds the worst value {most}"
                yield Contradiction(serial, (key,), text)


def _show(value: _Typed) -> str:
    return f"{short_text(value.um)} µm"


def _named(key: str, value: _Typed) -> str:
    return f"{symbol_of(key)} {_show(value)}"
