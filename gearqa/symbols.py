"""The one table of parameters: key, symbols, name, kind, how it is graded.

Results, columns and options use keys; everything that a person reads uses symbols.
Signs, flank names and numbering are stated in DEVELOPERS.md ("Conventions").
"""

from __future__ import annotations

from typing import Final, Literal

from gearqa.late_dataclass import dataclass

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
    name: str
    family: Family
    grading: Grading
    signed: bool
    """Signed values are graded by magnitude."""
    meaning: str

    @property
    def ascii_symbol(self) -> str:
        """The symbol for a console without Greek letters."""
        return self.symbol.replace("α", "-alpha").replace("β", "-beta")

    @property
    def letter(self) -> str:
        """Head of the symbol, set upright before its subscript on paper."""
        return self.symbol[0]

    @property
    def subscript(self) -> str:
        """What follows the head of the symbol."""
        return self.symbol[1:]

    @property
    def per_flank(self) -> bool:
        """Whether each flank has a value of its own."""
        return self.family not in ("runout", "thickness")


PARAMETERS: dict[str, Parameter] = {
    p.key: p
    for p in (
        Parameter(
            "single_pitch", "fp", "single pitch deviation", "pitch", "default", False,
            "largest magnitude of the individual single pitch deviations",
        ),
        Parameter(
            "cumulative_pitch", "Fp", "total cumulative pitch deviation", "pitch", "default", False,
            "range of the index deviations",
        ),
        Parameter(
            "sector_pitch", "Fpz/8", "sector pitch deviation", "pitch", "on_request", False,
            "largest cumulative pitch deviation over z/8 pitches",
        ),
        Parameter(
            "adjacent_pitch", "fu", "adjacent pitch difference", "pitch", "on_request", False,
            "largest difference of adjacent single pitches",
        ),
        Parameter(
            "runout", "Fr", "runout", "runout", "default", False,
            "range of the radial ball position over all spaces",
        ),
        Parameter(
            "tooth_thickness_variation", "Rs", "tooth thickness variation", "thickness", "never", False,
            "range of tooth thickness",
        ),
        Parameter(
            "profile_total", "Fα", "total profile deviation", "profile", "default", False,
            "width of the trace about the design profile",
        ),
        Parameter(
            "profile_form", "ffα", "profile form deviation", "profile", "default", False,
            "width of the trace about its mean line",
        ),
        Parameter(
            "profile_slope", "fHα", "profile slope deviation", "profile", "default", True,
            "rise of the mean line towards the tip",
        ),
        Parameter(
            "profile_crowning", "Cα", "profile crowning", "profile", "never", True,
            "height of the middle over the chord",
        ),
        Parameter(
            "profile_parabola_form", "f2α", "profile form deviation about the mean parabola", "profile",
            "never", False, "width of the trace about its mean parabola, where the drawing limits it",
        ),
        Parameter(
            "helix_total", "Fβ", "total helix deviation", "helix", "default", False,
            "width of the trace about the design helix",
        ),
        Parameter(
            "helix_form", "ffβ", "helix form deviation", "helix", "default", False,
            "width of the trace about its mean line",
        ),
        Parameter(
            "helix_slope", "fHβ", "helix slope deviation", "helix", "default", True,
            "rise of the mean line away from the datum face",
        ),
        Parameter(
            "helix_crowning", "Cβ", "helix crowning", "helix", "never", True,
            "height of the middle over the chord",
        ),
        Parameter(
            "helix_parabola_form", "f2β", "helix form deviation about the mean parabola", "helix",
            "never", False, "width of the trace about its mean parabola, where the drawing limits it",
        ),
    )
}  # fmt: skip

SIZE: Final = "size"
"""Key of the size of the teeth, which has limits and no class."""
SIZE_OF_TEETH: Final = Parameter(
    SIZE, SIZE, "size of the teeth", "thickness", "never", True,
    "dimension over or between balls, or span, less the middle of its limits",
)  # fmt: skip
"""The size as a quantity of its own beside the parameters."""
QUANTITIES: Final[tuple[str, ...]] = (*PARAMETERS, SIZE)
"""Keys of all that has a value for a gear."""

DEFAULT_GRADED: tuple[str, ...] = tuple(k for k, p in PARAMETERS.items() if p.grading == "default")
GRADABLE: tuple[str, ...] = tuple(k for k, p in PARAMETERS.items() if p.grading != "never")


def quantity_of(key: str) -> Parameter:
    """A parameter, or the size.

    Examples
    --------
    >>> quantity_of("single_pitch").symbol, quantity_of("size").name
    ('fp', 'size of the teeth')
    """
    return SIZE_OF_TEETH if key == SIZE else PARAMETERS[key]


def symbol_of(key: str) -> str:
    """Printed symbol of a parameter, also within a zone; size and limit curves have none and are named.

    Examples
    --------
    >>> symbol_of("single_pitch"), symbol_of("profile_total_zone_2"), symbol_of("size")
    ('fp', 'Fα zone 2', 'size')
    >>> symbol_of("profile_curve")
    'profile curve'
    """
    parameter, zone, number = key.partition("_zone_")
    if zone:
        return f"{symbol_of(parameter)} zone {number}"
    return PARAMETERS[key].symbol if key in PARAMETERS else key.replace("_", " ")
