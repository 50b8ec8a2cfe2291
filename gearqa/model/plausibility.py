"""What in reported figures asks for a look, without any measurement. Field names are the JSON keys."""

from __future__ import annotations

from typing import Literal, get_args

from gearqa.late_dataclass import dataclass

Check = Literal[
    "contradiction",
    "form_above_total",
    "unit",
    "copied_gears",
    "copied_flanks",
    "digits_alike",
    "last_digits",
    "pile_up",
    "trimmed",
    "class_of_no_edition",
]
"""What is looked for."""
CHECKS: tuple[Check, ...] = get_args(Check)
Strength = Literal["cannot be", "unlikely"]


@dataclass(frozen=True, slots=True)
class FigureQuestion:
    """Something about reported figures that asks for a look; never more than a question."""

    check: Check
    strength: Strength
    """`cannot be`: against the definition; `unlikely`: honest figures show it rarely."""
    probability: float | None
    """How often honest reports would show as much, over all that was compared; None where a reason stands
    in its place."""
    serials: tuple[str, ...]
    parameters: tuple[str, ...]
    values: int
    """Reported values concerned."""
    sentence: str


@dataclass(frozen=True, slots=True)
class Plausibility:
    """What was looked for in the reported figures, and what asks for a look."""

    questions: tuple[FigureQuestion, ...]
    looked_for: tuple[Check, ...]
    not_looked_for: tuple[Check, ...]
    """The report holds too few values, or too coarse ones, for these."""
