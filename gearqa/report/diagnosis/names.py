"""Names of components and of what was taken out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
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

PLUS: Final = {
    "pressure_angle": "more material at the tip (the angle is too small)",
    "profile_slope": "more material at the tip",
    "profile_asymmetry": "more material at the tip of the right flank",
    "lead": "the helix angle is too large (spur gear: right-hand)",
    "helix_slope": "more material away from the datum face",
    "taper": "more material away from the datum face",
    "profile_crowning": "more convex",
    "helix_crowning": "more convex",
    "profile_crowning_asymmetry": "the right flank more convex",
    "helix_crowning_asymmetry": "the right flank more convex",
    "s_shape": "rises towards the tip",
    "helix_s_shape": "rises away from the datum face",
    "twist": "larger profile slope away from the datum face",
    "overtravel": "more material at that end",
    "tip_end": "more material at that end",
    "root_end": "more material at that end",
    "one_tooth": "displaced clockwise",
}
"""Key of a component with a sign -> what plus means."""
AT: Final = {
    "eccentricity": "the toothing lies farthest from the axis",
    "lobes": "the toothing lies farthest from the axis",
    "radial_order": "the toothing lies farthest from the axis",
    "tilt": "the far end lies farthest from the axis",
    "tangential": "teeth are most clockwise",
    "pitch_order": "teeth are most clockwise",
    "wheel_thread": "teeth are most clockwise",
    "pitch_ramp": "the index, rising clockwise where plus, steps back",
    "ripple": "there is most material",
}
"""Key of a component with a direction -> what is there."""

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


def directions_notes(shown: Sequence[Component]) -> list[str]:
    """What the signs and directions of components mean."""
    notes = []
    plus = _by_meaning(PLUS, (one for one in shown if one.phase_deg is None))
    if plus:
        notes.append(f"Plus: {plus}.")
    at = _by_meaning(AT, (one for one in shown if one.phase_deg is not None))
    if at:
        notes.append(f"At: clockwise from the centre of tooth 1, seen onto the datum face; {at}.")
    return notes


def _by_meaning(meanings: Mapping[str, str], shown: Iterable[Component]) -> str:
    """Meanings with the components that have them, each once."""
    alike: dict[str, list[str]] = {}
    for key in dict.fromkeys(one.key for one in shown if one.key in meanings):
        alike.setdefault(meanings[key], []).append(NAMES[key])
    return "; ".join(f"{listed(names)}: {meaning}" for meaning, names in alike.items())


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
