"""Settings of a laboratory in words, and how it differs from ours."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gearqa.incoming.settings import Setup, changed_fields
from gearqa.model.incoming import SettingChange
from gearqa.wording.numbers import share_text, short_text

NAMES: Final[Mapping[str, str]] = {
    "share": "profile_range", "cutoff": "filter", "axis": "profile_axis", "swapped": "flanks",
    "reversed": "tooth_direction", "shift": "tooth_start", "in_order": "tooth_numbers",
    "runout": "runout_from", "rounding_um": "rounding",
}  # fmt: skip
"""Field of a Setup -> name of the setting in results, where it has another there."""

_PHRASES: Final[Mapping[str, Mapping[object, str]]] = {
    "slope_span": {
        "evaluation": "slopes are taken over the evaluation range, as ISO 1328-1:1995 does, not over the "
        "full span",
        "full": "slopes are taken over the full span (control to tip diameter, whole face width), as "
        "ISO 1328-1:2013 does, not over the evaluation range",
    },
    "cutoff": {None: "the traces are not filtered", 1.0: "the traces are filtered"},
    "tip_zone": {
        False: "plus material between the evaluation range and the tip form diameter is not counted"
    },
    "axis": {"diameter": "the profile is evaluated over the diameter, not over the length of roll"},
    "helix_range": {
        "whole face width": "the helix is evaluated over the whole face width",
        "5 % less at each end": "the helix is evaluated over the face width less 5 % at each end",
        "10 % less at each end": "the helix is evaluated over the face width less 10 % at each end",
        "one module less at each end": "the helix is evaluated over the face width less one module at each "
        "end",
    },
    "in_order": {True: "the traced teeth are numbered 1, 2, 3 and so on, in their order"},
    "plane": {
        "normal": "profile and helix deviations are given in the normal plane, not in the transverse plane",
        "transverse, from tables in the normal plane": "the traces hold deviations in the normal plane, the "
        "report gives them in the transverse plane",
    },
    "profile_sign": {
        "plus towards the root": "profile slopes carry the opposite sign: plus towards the root"
    },
    "helix_sign": {
        "plus towards the datum face": "helix slopes carry the opposite sign: plus towards the datum face",
        "by helix angle": "helix slopes are signed by the helix angle: plus is a larger angle",
    },
    "swapped": {True: "left and right flank change places"},
    "reversed": {True: "teeth are numbered the other way round"},
    "runout": {"pitch": "runout follows from the pitch of both flanks, not from ball readings"},
}
"""Field of a Setup -> value -> what a laboratory does that has it so."""


def setting_changes(base: Setup, other: Setup) -> tuple[SettingChange, ...]:
    """What differs between two setups, each setting by its name and its values in words."""
    changes = []
    for field in changed_fields(base, other):
        ours, theirs = (setting_text(field, getattr(setup, field)) for setup in (base, other))
        changes.append(SettingChange(NAMES.get(field, field), ours, theirs))
    return tuple(changes)


def changes_text(base: Setup, other: Setup) -> str:
    """What differs, as something that the supplier does; without a full stop.

    >>> from dataclasses import replace
    >>> changes_text(Setup(), replace(Setup(), cutoff=2.0, swapped=True))
    'the traces are filtered with 2 times our cutoff, and left and right flank change places'
    """
    return ", and ".join(_phrase(field, base, other) for field in changed_fields(base, other))


def _phrase(field: str, base: Setup, other: Setup) -> str:
    value = getattr(other, field)
    match field, value:
        case "share", float(share):
            ours = setting_text(field, base.share)
            return f"the profile is evaluated over {share_text(share)} of the length of roll, not over {ours}"
        case "cutoff", float(factor) if factor != 1:
            return f"the traces are filtered with {short_text(factor)} times our cutoff"
        case "shift", int():
            return f"counting starts elsewhere: {setting_text(field, value)}"
        case "rounding_um", float():
            return f"values are rounded {setting_text(field, value)}"
    return _PHRASES[field][value]


def setting_text(field: str, value: object) -> str:
    """A setting's value in words.

    >>> setting_text("share", 0.92), setting_text("cutoff", None), setting_text("swapped", True)
    ('92 %', 'off', 'left and right swapped')
    """
    match field, value:
        case "share", float(share):
            return share_text(share)
        case "cutoff", None:
            return "off"
        case "cutoff", float(factor):
            return "as drawn" if factor == 1 else f"cutoff x {short_text(factor)}"
        case "tip_zone", _:
            return "counted" if value else "not counted"
        case "in_order", _:
            return "1, 2, 3 in their order" if value else "as given"
        case "swapped", _:
            return "left and right swapped" if value else "as given"
        case "reversed", _:
            return "the other way round" if value else "as given"
        case "shift", int(shift):
            return "as given" if shift == 0 else f"tooth 1 of theirs is tooth {shift + 1} of ours"
        case "rounding_um", None:
            return "none"
        case "rounding_um", float(step):
            return f"to {short_text(step)} µm before grading"
        case _, None:
            return "no choice"
    return str(value)
