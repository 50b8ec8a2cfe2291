"""How much of the next delivery to measure: an own rule, in the spirit of ISO 2859-1's switching rules.

ISO 2859-1:1999, 9.3 (from memory): from normal to tightened after 2 of 5 or fewer consecutive lots not
accepted, back after 5 accepted in a row, to reduced after about 10 accepted in a row, from reduced to normal
after a single one not accepted or where production is irregular. Here deliveries take the place of lots, and
the agreement of their reports that of acceptance; skipping is added. No plan of the standard is applied.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from gearqa.model.deliveries import (
    MANY,
    PAUSE,
    REDUCE,
    RELAX,
    SKIP,
    TIGHTEN,
    TIGHTEN_OF,
    InspectionReason,
    Level,
    NextInspection,
    Outcome,
)


@dataclass(slots=True)
class _State:
    level: Level = "normal"
    run: int = 0
    """Measured deliveries in a row that agreed, since the level became normal or tightened."""
    recent: tuple[Outcome, ...] = ()
    """Outcomes of measured deliveries under normal, since it began, the last few."""
    differed: int = 0
    """Deliveries that differed since tightened began."""
    skipped: bool = False
    """The last delivery was not measured, as advised."""
    reason: InspectionReason = field(
        default_factory=lambda: InspectionReason("too_few_deliveries", 0, REDUCE)
    )


def inspection_levels(
    outcomes: Sequence[Outcome],
    times: Sequence[datetime],
    *,
    as_of: datetime | None = None,
    trending: int = 0,
    series: int = 0,
) -> tuple[tuple[Level, ...], NextInspection]:
    """The level under which each delivery came, and what is advised for the next one.

    `outcomes` and `times` in the order of delivery; `trending` of `series` biases move over the deliveries.
    """
    state, levels = _State(), []
    for number, (outcome, time) in enumerate(zip(outcomes, times, strict=True)):
        if number:
            _after_pause(state, time - times[number - 1])
        levels.append(_asked(state))
        _follow(state, outcome)
    if times and as_of is not None:
        _after_pause(state, as_of - times[-1])
    reasons = [state.reason]
    level = _asked(state)
    if trending and level in ("reduced", "skip"):
        level = "normal"
        reasons.insert(0, InspectionReason("bias_trend", trending, series))
    elif state.level == "skip" and state.skipped:
        reasons.insert(0, InspectionReason("skipped_last", 1, 1))
    if state.level == "tightened" and state.differed >= MANY:
        reasons.insert(0, InspectionReason("many_differed", state.differed, MANY))
    return tuple(levels), NextInspection(level, state.run, tuple(reasons))


def _asked(state: _State) -> Level:
    """Of two deliveries one is measured where measuring may be skipped."""
    return "reduced" if state.level == "skip" and state.skipped else state.level


def _after_pause(state: _State, gap: timedelta) -> None:
    if gap > PAUSE and state.level in ("reduced", "skip"):
        _begin_normal(state, InspectionReason("pause", gap.days, PAUSE.days))


def _begin_normal(state: _State, reason: InspectionReason, recent: tuple[Outcome, ...] = ()) -> None:
    state.level, state.run, state.recent, state.skipped = "normal", 0, recent, False
    state.reason = reason


def _follow(state: _State, outcome: Outcome) -> None:
    """What a delivery changes."""
    if outcome == "not measured":
        state.skipped = state.level == "skip"
        return
    state.skipped = False
    if outcome == "differs":
        _differed(state)
    elif outcome == "open":
        _left_open(state)
    else:
        _agreed(state)


def _differed(state: _State) -> None:
    state.run = 0
    if state.level == "tightened":
        state.differed += 1
        state.reason = InspectionReason("tightened_until", 0, RELAX)
        return
    if state.level != "normal":
        _begin_normal(state, InspectionReason("differed", 1, 1))
    state.recent = (*state.recent, "differs")[-TIGHTEN_OF:]
    bad = state.recent.count("differs")
    state.reason = InspectionReason("differed", bad, len(state.recent))
    if bad >= TIGHTEN:
        state.level, state.differed = "tightened", 0


def _left_open(state: _State) -> None:
    reason = InspectionReason("open_delivery", 1, 1)
    if state.level == "tightened":
        state.run = 0
        state.reason = InspectionReason("tightened_until", 0, RELAX)
        return
    _begin_normal(state, reason, (*state.recent, "open")[-TIGHTEN_OF:] if state.level == "normal" else ())


def _agreed(state: _State) -> None:
    state.run += 1
    if state.level == "tightened":
        if state.run < RELAX:
            state.reason = InspectionReason("tightened_until", state.run, RELAX)
        else:
            _begin_normal(state, InspectionReason("agreed_in_a_row", RELAX, RELAX))
        return
    state.recent = (*state.recent, "agrees")[-TIGHTEN_OF:]
    if state.run >= SKIP:
        state.level = "skip"
    elif state.run >= REDUCE:
        state.level = "reduced"
    if state.level == "normal":
        bad = state.recent.count("differs")
        state.reason = (
            InspectionReason("differed", bad, len(state.recent))
            if bad
            else InspectionReason("too_few_deliveries", state.run, REDUCE)
        )
    else:
        state.reason = InspectionReason(
            "agreed_in_a_row", state.run, SKIP if state.level == "skip" else REDUCE
        )
