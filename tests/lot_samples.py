"""The sample lots with their plans, as the README walks through them."""

from __future__ import annotations

from pathlib import Path

SAMPLES = Path(__file__).parents[1] / "sample_measurements"
PLANS = SAMPLES / "plans"

WALK = {
    "ring_master": ("one_lot", 0, "release", "accepted"),
    "ring_conforming": ("aql", 1, "hold", "too_few_measured"),
    "ring_faults": ("one_lot", 1, "reject", "rejected_by_plan"),
}
"""Folder -> plan, exit status, decision, code of the reason that decides."""

FORBIDDEN = (
    r"defect[- ]free", r"\bppm\b", r"\bcapab", r"to ISO 2859-1", r"released by", r"\buntouched\b",
    r"(?<!at least )\blot (conforms|is good|is defect)", r"probability that the lot",
    r"lot is (in order|fault)",
)  # fmt: skip
"""Never said of a lot."""


def words(folder: str, *more: object) -> list[str]:
    """Command line that signs off a sample lot of 96."""
    plan = WALK[folder][0]
    line = ["lot", SAMPLES / folder, "--lot-size", 96, "--lot-id", "L-7", "--plan", PLANS / f"{plan}.toml"]
    return [str(word) for word in (*line, *more)]
