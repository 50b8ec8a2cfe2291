"""Apply the decision table to the facts of a lot."""

from __future__ import annotations

from gearqa.model.decision_table import TABLE, LotFacts
from gearqa.model.lot import LotDecision, LotReason


def decide(facts: LotFacts) -> tuple[LotDecision, tuple[LotReason, ...]]:
    """Decision and reasons: the first row that fits decides, every row that fits is a reason.

    Raises
    ------
    ValueError
        If an error row fits; callers check that first and say it in their own words.
    """
    fitting = [row for row in TABLE if row.fits(facts)]
    if not fitting:
        raise AssertionError("the decision table has a gap")
    decision: LotDecision | None = None
    reasons = []
    for row in fitting:
        if row.outcome == "error":
            raise ValueError(row.sentence(facts))
        decides = decision is None
        decision = decision or row.outcome
        reasons.append(LotReason(row.code, row.sentence(facts), row.number, row.outcome, decides))
    assert decision is not None
    return decision, tuple(reasons)
