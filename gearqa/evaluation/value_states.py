"""State of a value under the measurement uncertainty, and how a decision rule counts it.

ISO 14253-1:2017 and JCGM 106:2012 (from memory), by `statistics.conformity`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from gearqa.evaluation.criteria import all_of
from gearqa.model.decision_rule import DecisionRuleName, DecisionTable
from gearqa.model.results import State
from gearqa.statistics import conformity

COVERAGE_FACTOR: Final = 2
"""U = 2 u, as the part file states its uncertainties."""
MEETS: Final[dict[State, bool | None]] = {
    "conforms": True, "does not conform": False, "not proven": None, "not assessed": None,
}  # fmt: skip
"""State as it counts -> verdict."""

_WORST_FIRST: Final[tuple[State, ...]] = ("does not conform", "not assessed", "not proven")

Limits = tuple[float | None, float | None]


def standard_uncertainty(expanded: float | None) -> float | None:
    """u from U."""
    return None if expanded is None else expanded / COVERAGE_FACTOR


def extremes(value: float, low: float, high: float, signed: bool) -> tuple[float, ...]:
    """The values that must all lie within the limits: both extreme traces of a signed quantity."""
    if not signed:
        return (value,)
    return (low, high) if low != high else (low,)


def symmetric(tolerance: float | None, signed: bool) -> Limits:
    """Limits that a class tolerance means."""
    if tolerance is None:
        return (None, None)
    return (-tolerance if signed else None, tolerance)


def worst_state(states: Iterable[State | None]) -> State:
    """State of a whole from those of its parts, None for nothing; missing parts count before open ones."""
    found = tuple(states)
    for state in _WORST_FIRST:
        if state in found:
            return state
    return "conforms"


def value_state(values: Sequence[float], u: float | None, limits: Limits, confidence: float) -> State:
    """State of one parameter and flank: every extreme value must conform."""
    return worst_state(conformity.state(y, u, *limits, confidence) for y in values)


def counted(state: State, values: Sequence[float], limits: Limits, rule: DecisionRuleName) -> State:
    """How the decision rule counts a state: it says only what becomes of "not proven"."""
    if state != "not proven" or rule == "guarded acceptance":
        return state
    if rule == "guarded rejection":
        return "conforms"
    return "conforms" if all(conformity.within(y, *limits) for y in values) else "does not conform"


def judged_apart(
    value: float, limits: Limits, expanded: float | None, decision: DecisionTable | None, *, open_: bool
) -> tuple[bool | None, State]:
    """Verdict and state of what has limits and no class; without a decision rule the verdict is by value.

    `open_`: whether some of it could not be assessed, which leaves open what does not fail already.
    """
    rule = decision or DecisionTable()
    state = value_state((value,), standard_uncertainty(expanded), limits, rule.confidence)
    conforms = conformity.within(value, *limits)
    verdict = conforms if decision is None else MEETS[counted(state, (value,), limits, rule.rule)]
    if open_:
        verdict = all_of([verdict, None])
        state = state if state == "does not conform" else "not assessed"
    return verdict, state
