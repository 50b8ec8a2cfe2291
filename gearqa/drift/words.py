"""Sentences about drift in the words of the shop."""

from __future__ import annotations

from gearqa.model.drift import SIZE, PartsToLimit
from gearqa.symbols import PARAMETERS, Flank

TOWARDS: dict[str, tuple[str, str]] = {
    "profile_slope": ("more metal at the tip", "less metal at the tip"),
    "helix_slope": (
        "more metal at the face away from the datum face",
        "less metal at the face away from the datum face",
    ),
    "profile_crowning": (
        "more metal in the middle of the profile",
        "less metal in the middle of the profile",
    ),
    "helix_crowning": (
        "more metal in the middle of the face width",
        "less metal in the middle of the face width",
    ),
    SIZE: ("a larger dimension", "a smaller dimension"),
}


def parameter_name(parameter: str) -> str:
    """Name of a parameter without the word deviation."""
    if parameter == SIZE:
        return "size"
    return PARAMETERS[parameter].name.removesuffix(" deviation")


def series_name(parameter: str, flank: Flank | None) -> str:
    """Name of a series: flank and parameter."""
    return f"{flank} {parameter_name(parameter)}" if flank else parameter_name(parameter)


def direction(parameter: str, amount: float) -> str:
    """What a positive or negative amount means on the gear."""
    more, less = TOWARDS.get(parameter, ("a larger deviation", "a smaller deviation"))
    return more if amount > 0 else less


def micrometres(value: float, digits: int = 1) -> str:
    """A value with its unit; never a bare minus zero."""
    text = f"{value:.{digits}f}"
    return f"{text[1:] if float(text) == 0 and text.startswith('-') else text} um"


def rate(value: float) -> str:
    """The magnitude of a rate: to a nanometre, small ones with two significant digits."""
    return f"{abs(value):.3f}" if abs(value) >= 0.01 else f"{abs(value):.2g}"


def count(parts: int) -> str:
    """`1 part`, `7 parts`."""
    return f"{parts} part" if parts == 1 else f"{parts} parts"


def cycle_count(cycles: int) -> str:
    """`1 dress cycle`, `7 dress cycles`."""
    return f"{cycles} dress cycle" if cycles == 1 else f"{cycles} dress cycles"


def wear_clause(name: str, parameter: str, wear: float, interval: tuple[float, float]) -> str:
    """How much a series loses or gains per part."""
    verb = "gains" if wear > 0 else "loses"
    low, high = sorted(abs(v) for v in interval)
    return (
        f"{name} {verb} {rate(wear)} um per part ({rate(low)} to {rate(high)}; {direction(parameter, wear)})"
    )


def limit_clause(side: str, parts: PartsToLimit) -> str:
    """When the limit is reached."""
    if parts.expected == 0:
        return f"the {side} limit is already reached at the dress"
    return f"the {side} limit is reached after {count(parts.expected)} ({parts.low} to {parts.high})"


def dress_clause(parts: int, at_least: bool, risk: float) -> str:
    """How often to dress."""
    often = f"dress every {count(parts)}" + (
        " (at least: the history reaches no further)" if at_least else ""
    )
    return f"{often} for a risk of {100 * risk:.3g} %"
