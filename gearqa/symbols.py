"""The one table of parameters: key, symbols, name, kind, how it is graded.

Keys stand in results, columns and options; symbols in everything a person reads.
Signs, flank names and numbering are stated in DEVELOPERS.md ("Conventions").
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Flank = Literal["left", "right"]
FLANKS: tuple[Flank, Flank] = ("left", "right")

TraceKind = Literal["profile", "helix"]
Family = Literal["pitch", "runout", "thickness", "profile", "helix"]
Grading = Literal["default", "on_request", "never"]


@dataclass(frozen=True, slots=True)
class Parameter:
    """One measured quantity of a gear."""

    key: str
    symbol: str
    """Printed symbol with Greek letters, as on a terminal."""
    ascii_symbol: str
    """The same for a console without Greek letters."""
    letter: str
    """Head of the symbol, set upright before its subscript on paper."""
    subscript: str
    name: str
    family: Family
    grading: Grading
    signed: bool
    """Signed values are graded by magnitude."""
    per_flank: bool
    meaning: str


PARAMETERS: dict[str, Parameter] = {
    p.key: p
    for p in (
        Parameter(
            "single_pitch",
            "fp",
            "fp",
            "f",
            "p",
            "single pitch deviation",
            "pitch",
            "default",
            False,
            True,
            "largest magnitude of the individual single pitch deviations",
        ),
        Parameter(
            "cumulative_pitch",
            "Fp",
            "Fp",
            "F",
            "p",
            "total cumulative pitch deviation",
            "pitch",
            "default",
            False,
            True,
            "range of the index deviations",
        ),
        Parameter(
            "sector_pitch",
            "Fpz/8",
            "Fpz/8",
            "F",
            "pz/8",
            "sector pitch deviation",
            "pitch",
            "on_request",
            False,
            True,
            "largest cumulative pitch deviation over z/8 pitches",
        ),
        Parameter(
            "adjacent_pitch",
            "fu",
            "fu",
            "f",
            "u",
            "adjacent pitch difference",
            "pitch",
            "on_request",
            False,
            True,
            "largest difference of adjacent single pitches",
        ),
        Parameter(
            "runout",
            "Fr",
            "Fr",
            "F",
            "r",
            "runout",
            "runout",
            "default",
            False,
            False,
            "range of the radial ball position over all spaces",
        ),
        Parameter(
            "tooth_thickness_variation",
            "Rs",
            "Rs",
            "R",
            "s",
            "tooth thickness variation",
            "thickness",
            "never",
            False,
            False,
            "range of tooth thickness",
        ),
        Parameter(
            "profile_total",
            "Fα",
            "F-alpha",
            "F",
            "α",
            "total profile deviation",
            "profile",
            "default",
            False,
            True,
            "width of the trace about the design profile",
        ),
        Parameter(
            "profile_form",
            "ffα",
            "ff-alpha",
            "f",
            "fα",
            "profile form deviation",
            "profile",
            "default",
            False,
            True,
            "width of the trace about its mean line",
        ),
        Parameter(
            "profile_slope",
            "fHα",
            "fH-alpha",
            "f",
            "Hα",
            "profile slope deviation",
            "profile",
            "default",
            True,
            True,
            "rise of the mean line towards the tip",
        ),
        Parameter(
            "profile_crowning",
            "Cα",
            "C-alpha",
            "C",
            "α",
            "profile crowning",
            "profile",
            "never",
            True,
            True,
            "height of the middle over the chord",
        ),
        Parameter(
            "helix_total",
            "Fβ",
            "F-beta",
            "F",
            "β",
            "total helix deviation",
            "helix",
            "default",
            False,
            True,
            "width of the trace about the design helix",
        ),
        Parameter(
            "helix_form",
            "ffβ",
            "ff-beta",
            "f",
            "fβ",
            "helix form deviation",
            "helix",
            "default",
            False,
            True,
            "width of the trace about its mean line",
        ),
        Parameter(
            "helix_slope",
            "fHβ",
            "fH-beta",
            "f",
            "Hβ",
            "helix slope deviation",
            "helix",
            "default",
            True,
            True,
            "rise of the mean line away from the datum face",
        ),
        Parameter(
            "helix_crowning",
            "Cβ",
            "C-beta",
            "C",
            "β",
            "helix crowning",
            "helix",
            "never",
            True,
            True,
            "height of the middle over the chord",
        ),
    )
}

DEFAULT_GRADED: tuple[str, ...] = tuple(k for k, p in PARAMETERS.items() if p.grading == "default")
GRADABLE: tuple[str, ...] = tuple(k for k, p in PARAMETERS.items() if p.grading != "never")


def symbol_of(key: str) -> str:
    """Printed symbol of a parameter; the size of a gear has none and is named.

    Examples
    --------
    >>> symbol_of("single_pitch"), symbol_of("size")
    ('fp', 'size')
    """
    return PARAMETERS[key].symbol if key in PARAMETERS else key
