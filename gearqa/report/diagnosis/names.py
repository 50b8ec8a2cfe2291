"""Names of components and of what was taken out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gearqa.model.diagnosis import Component, Rung
from gearqa.wording.numbers import class_text
from gearqa.wording.sentences import listed

NAMES: Final = {
    "eccentricity": "eccentricity",
    "tilt": "tilt of the axis",
    "lobes": "lobes",
    "radial_order": "radial wave",
    "tangential": "tangential pitch error",
    "pitch_order": "pitch wave",
    "pitch_ramp": "pitch ramp with a step",
    "wheel_thread": "pattern of wheel threads",
    "one_tooth": "a tooth out of place",
    "pressure_angle": "pressure angle",
    "profile_slope": "profile slope",
    "helix_slope": "helix slope",
    "profile_asymmetry": "opposite profile slopes",
    "lead": "lead",
    "taper": "taper",
    "profile_crowning": "profile crowning",
    "profile_crowning_asymmetry": "opposite profile crownings",
    "helix_crowning": "helix crowning",
    "helix_crowning_asymmetry": "opposite helix crownings",
    "s_shape": "S-shaped profile",
    "helix_s_shape": "S-shaped helix",
    "twist": "twist",
    "overtravel": "end of the helix",
    "tip_end": "tip end of the profile",
    "root_end": "root end of the profile",
    "ripple": "ripple",
}
"""Key of a component -> name for people."""


ORIGINS: Final = {
    "mesh": "on all teeth alike", "wheel": "{} a turn of the wheel", "jaws": "as the jaws",
    "clamping": "another direction on every gear", "ghost": "ghost order",
}  # fmt: skip


def component_name(one: Component) -> str:
    """Name with order, flank and place."""
    words = [error_name(one.key, None, one.order)]
    if one.key == "ripple" and one.order is None:
        words.append("of unknown order")
    if one.tooth is not None and one.key == "one_tooth":
        words.append(f"{one.tooth}")
    if one.end is not None and one.key == "overtravel":
        words.append("at the datum face" if one.end == "datum" else "at the far face")
    if one.origin is not None:
        words.append(f"({ORIGINS[one.origin].format(one.wheel_turns)})")
    text = " ".join(words)
    return text if one.flank is None else f"{text}, {one.flank} flank"


def error_name(key: str, flank: str | None, order: int | None) -> str:
    """Name with order and flank."""
    name = NAMES.get(key, key)
    if order is not None and key not in ("eccentricity", "tilt", "tangential"):
        name += f" of order {order}"
    return name if flank is None else f"{name}, {flank} flank"


def keys_text(keys: Sequence[str]) -> str:
    """Names of components."""
    return listed(NAMES.get(key, key) for key in keys)


def rung_class(rung: Rung) -> str:
    """Class of a rung."""
    return class_text(rung.class_, rung.beyond)
