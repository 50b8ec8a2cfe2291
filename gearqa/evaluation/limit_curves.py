"""Traces between the limit curves of the drawing: margins trace by trace, then flank by flank, judged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.core.filtering import BandedOperator, gaussian_operator
from gearqa.core.limit_curves import fit_between
from gearqa.evaluation.trace_specs import CURVE_OF, CurveSpec
from gearqa.evaluation.value_states import counted, judged_apart, standard_uncertainty, value_state
from gearqa.model.decision_rule import DecisionTable
from gearqa.model.measurement import Trace
from gearqa.model.results import CurveTrace, LimitCurveResult, NotAssessed, State
from gearqa.statistics import conformity
from gearqa.symbols import FLANKS, Flank, TraceKind

INSIDE: Final = (0.0, None)
"""Limits of what is left between the curves."""


def fitted(x: Array, y: Array, spec: CurveSpec, traces: Sequence[Trace]) -> list[CurveTrace]:
    """Traces of one sampling pattern between their curves; y holds their deviations as measured."""
    fit = fit_between(x, filtered_traces(x, y, spec.span.cutoff), spec.upper, spec.lower)
    rows = zip(*(v.tolist() for v in (fit.margin, fit.shift, fit.upper_at, fit.lower_at)), strict=True)
    return [
        CurveTrace(
            kind=trace.kind, tooth=trace.tooth, label_mm=trace.label_mm, margin_um=margin, shift_um=shift,
            upper_at_mm=upper_at, lower_at_mm=lower_at,
        )
        for trace, (margin, shift, upper_at, lower_at) in zip(traces, rows, strict=True)
    ]  # fmt: skip


def filtered_traces(x: Array, y: Array, cutoff: float | None) -> Array:
    """Traces filtered over their whole length; as they are without a cutoff. [um]"""
    if cutoff is None or len(x) < 2:
        return y.copy()
    out = np.empty_like(y)
    _filter(x.tobytes(), cutoff).apply(y, out)
    return out


@lru_cache(maxsize=32)
def _filter(x: bytes, cutoff: float) -> BandedOperator:
    """The filter over a whole trace, kept for sampling patterns met again."""
    return gaussian_operator(np.frombuffer(x, dtype=np.float64), cutoff)


def curve_results(
    traces: Mapping[tuple[TraceKind, Flank], Sequence[CurveTrace]], gaps: Sequence[NotAssessed],
    uncertainty: Mapping[str, float], decision: DecisionTable | None,
) -> tuple[LimitCurveResult, ...]:  # fmt: skip
    """Each flank by its worst trace; a gap leaves open what does not fail already."""
    return tuple(
        _flank(kind, flank, traces[kind, flank], gaps, uncertainty.get(f"{kind}_total"), decision)
        for kind in CURVE_OF
        for flank in FLANKS
        if traces.get((kind, flank))
    )


def _flank(
    kind: TraceKind, flank: Flank, traces: Sequence[CurveTrace], gaps: Sequence[NotAssessed],
    expanded: float | None, decision: DecisionTable | None,
) -> LimitCurveResult:  # fmt: skip
    worst = min(traces, key=lambda one: round(one.margin_um, 9))
    open_ = any(gap.parameter == CURVE_OF[kind] and gap.flank in (None, flank) for gap in gaps)
    conforms, state = judged_apart(*room_of(worst.margin_um), INSIDE, expanded, decision, open_=open_)
    return LimitCurveResult(
        kind=kind, flank=flank, margin_um=worst.margin_um, shift_um=worst.shift_um, tooth=worst.tooth,
        upper_at_mm=worst.upper_at_mm, lower_at_mm=worst.lower_at_mm, conforms=conforms, state=state,
        traces=tuple(traces),
    )  # fmt: skip


def room_of(margin: float) -> tuple[float]:
    """What is left of the distance of level curves, which is limited as a total deviation is."""
    return (2 * margin,)


def curve_probability(margin: float, expanded: float | None) -> float | None:
    """Probability that a trace lies between its curves; None without uncertainty (JCGM 106, from memory)."""
    u = standard_uncertainty(expanded)
    return None if u is None else conformity.probability_of_conformity(*room_of(margin), u, *INSIDE)


def curve_states(margin: float, expanded: float | None, decision: DecisionTable) -> tuple[State, State]:
    """State of a trace under the uncertainty U of the total deviation, and how the decision rule counts it.

    Level curves leave twice the margin of the total deviation, so that much is compared with nothing left.
    """
    room = room_of(margin)
    state = value_state(room, standard_uncertainty(expanded), INSIDE, decision.confidence)
    return state, counted(state, room, INSIDE, decision.rule)
