"""Colours: for paper and light screens, and for dark ones.

Line colours are from the palette of M. Okabe and K. Ito, "Color Universal Design" (2008), which
readers with any colour vision can tell apart. No meaning hangs on colour alone: lines differ in
width and dash too, verdicts carry a word and a mark.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Ink:
    """One role of a colour; `key` names its CSS class and variable."""

    key: str
    light: str
    dark: str


TEXT = Ink("tx", "#1a1a1a", "#e8e8e8")
MUTED = Ink("mu", "#555555", "#b0b0b0")
FRAME = Ink("fr", "#808080", "#808080")
GRID = Ink("gr", "#c9cfd3", "#4d5960")
SHADE = Ink("sh", "#efefef", "#242424")
"""Outside the evaluation range."""
BAND = Ink("bd", "#dcebf5", "#16344a")
"""What a tolerance allows."""
MEASURED = Ink("me", "#666666", "#a8a8a8")
FILTERED = Ink("fi", "#0072B2", "#56B4E9")
DESIGN = Ink("de", "#D55E00", "#E69F00")
MEAN = Ink("ml", "#000000", "#ffffff")
LIMIT = Ink("li", "#000000", "#ffffff")
GOOD = Ink("go", "#009E73", "#009E73")
BAD = Ink("ba", "#D55E00", "#E07B2E")
OPEN = Ink("op", "#CC79A7", "#CC79A7")
PAPER = Ink("pa", "#ffffff", "#121212")

INKS = (
    TEXT, MUTED, FRAME, GRID, SHADE, BAND, MEASURED, FILTERED, DESIGN, MEAN, LIMIT, GOOD, BAD, OPEN, PAPER,
)  # fmt: skip


def css_variables(theme: str) -> str:
    """The colours of one theme (`light`, `dark`) as CSS variables."""
    return "".join(f"--{ink.key}:{ink.light if theme == 'light' else ink.dark};" for ink in INKS)


def css_classes() -> str:
    """Classes that SVG elements carry besides their print colour: `sXX` for strokes, `fXX` for fills."""
    return "".join(
        f".s{ink.key}{{stroke:var(--{ink.key})}}.f{ink.key}{{fill:var(--{ink.key})}}" for ink in INKS
    )
