"""Gains of a grinder: what it makes of the changes that were entered, learned from recorded ones."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.diagnosis.corrections import changes_per_um, expecting, infeed_per_um, rise_of
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Correction, RecordedChange
from gearqa.model.drift import DRIFT_PARAMETERS
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.gains import common_gain
from gearqa.symbols import FLANKS, PARAMETERS, Flank
from gearqa.wording.numbers import count_text, fixed_text, percent_text, short_text, unit_text

Followed = tuple[str, Flank | None]
LENGTHS: Final = {"": 1.0, "um": 1.0, "µm": 1.0, "μm": 1.0, "mm": 1000.0}
"""To micrometres."""
ANGLES: Final = {
    "arcmin": 1.0, "'": 1.0, "min": 1.0, "arcsec": 1 / 60, '"': 1 / 60, "deg": 60.0, "°": 60.0,
    "mrad": 60 * math.degrees(1e-3), "rad": 60 * math.degrees(1.0),
}  # fmt: skip
"""To minutes of arc."""
OF_QUANTITY: Final = {
    "profile_slope": "profile_slope", "pressure_angle": "profile_slope", "helix_slope": "helix_slope",
    "helix_angle": "helix_slope", "twist_over_face_width": "helix_slope", "infeed_far_end": "helix_slope",
    "profile_crowning": "profile_crowning", "helix_crowning": "helix_crowning",
    "infeed_ends": "helix_crowning", "infeed": "size", "centre_0_deg": "eccentricity_0_deg",
    "centre_90_deg": "eccentricity_90_deg",
}  # fmt: skip
"""What shows what a change of a quantity does."""
MOST: Final = 3.0
"""No change is suggested that is more than so many times that of a grinder of gain 1."""


@dataclass(frozen=True, slots=True)
class MeantEffect:
    """A recorded change, and what it would do to each followed parameter at a gain of 1. [um]"""

    event: GrinderEvent
    effects: Mapping[Followed, float]


def meant_effects(events: Sequence[GrinderEvent], setup: PartSetup) -> list[MeantEffect]:
    """Recorded changes with a size in a unit that goes with their quantity."""
    per_unit = _per_unit(setup)
    found = []
    for event in events:
        key = event.parameter or ""
        if key not in per_unit and key not in DRIFT_PARAMETERS and key not in PARAMETERS:
            continue
        angle, effects = per_unit.get(key, (False, _direct(key)))
        factor = (ANGLES if angle else LENGTHS).get((event.unit or "").strip().lower())
        if event.correction is None or factor is None:
            continue
        own = {
            (parameter, flank): event.correction * factor * per_um
            for (parameter, flank), per_um in effects.items()
            if event.flank in (None, flank) or flank is None
        }
        found.append(MeantEffect(event, own))
    return found


def as_parameters(meant: Sequence[MeantEffect]) -> list[GrinderEvent]:
    """Changes of quantities of the correction sheet as changes of the parameters that they act on."""
    return [
        replace(
            one.event, event=_words(one.event), parameter=parameter, flank=flank, correction=size, unit="um"
        )
        for one in meant
        if one.event.parameter not in {parameter for parameter, _ in one.effects}
        for (parameter, flank), size in one.effects.items()
    ]  # fmt: skip


def _words(event: GrinderEvent) -> str:
    quantity = (event.parameter or "").replace("_", " ")
    size = short_text(event.correction or 0.0, 4, signed=True)
    return f"{event.event} of {quantity} {size} {unit_text(event.unit or 'um')}, as"


def _direct(parameter: str) -> dict[Followed, float]:
    flanks: tuple[Flank | None, ...] = FLANKS if parameter.startswith(("profile", "helix")) else (None,)
    return {(parameter, flank): 1.0 for flank in flanks}


def _per_unit(setup: PartSetup) -> dict[str, tuple[bool, dict[Followed, float]]]:
    """Quantity -> whether it is an angle, and what one minute of arc or micrometre of it does. [um]"""
    hand = setup.geometry.s * (setup.geometry.H or 1)
    sides = {
        "pressure_angle": ("profile_slope", 1.0, 1.0), "lead": ("helix_slope", -hand, hand),
        "taper": ("helix_slope", 1.0, 1.0), "helix_crowning": ("helix_crowning", 1.0, 1.0),
    }  # fmt: skip
    found: dict[str, tuple[bool, dict[Followed, float]]] = {}
    for quantity, (component, change, unit) in changes_per_um(setup).items():
        parameter, left, right = sides[component]
        per_unit = -rise_of(quantity, setup) / change / (LENGTHS[unit] if unit in LENGTHS else ANGLES[unit])
        effects: dict[Followed, float] = {
            (parameter, "left"): left * per_unit,
            (parameter, "right"): right * per_unit,
        }
        found[quantity] = unit in ANGLES, effects
    for angle in (0, 90):
        found[f"centre_{angle}_deg"] = False, {(f"eccentricity_{angle}_deg", None): 1.0}
    infeed = infeed_per_um(setup)
    if infeed is not None:
        found["infeed"] = False, {("size", None): 1 / infeed}
    return found


def with_gains(suggested: Sequence[Correction], changes: Sequence[RecordedChange]) -> tuple[Correction, ...]:
    """Suggestions with the gain of the recorded changes of their kind, or with what those say."""
    return tuple(_with_gain(one, changes) for one in suggested)


def _with_gain(one: Correction, changes: Sequence[RecordedChange]) -> Correction:
    alike = _alike(one, changes)
    if not alike or len({c.grinder for c in alike}) != 1:
        return one
    gain, u, of = common_gain([(c.gain or 0.0, c.gain_u or 0.0) for c in alike], _shared_levels(alike))
    known = f"{fixed_text(gain)} ± {fixed_text(u)} (k = 2)"
    if abs(gain) + u < 1 / MOST:
        text = f"the recorded change hardly acted, gain {known}: find out whether it was made before another"
        return expecting(replace(one, basis=text, fraction=0.0))
    if gain + u < 0:
        text = f"the recorded change went the opposite way, gain {known}: find out why before another one"
        return expecting(replace(one, basis=text, fraction=0.0))
    if gain - u <= 0:
        text = f"trial step: what was recorded does not show the gain of this grinder, {known}"
        return replace(one, basis=text)
    spread = u / 2
    fraction = min(gain / (gain**2 + spread**2), MOST)
    from_ = "the last recorded change" if of == 1 else count_text(of, "recorded change")
    text = f"learned from {from_}: gain {known}, so apply {percent_text(fraction)}"
    if of < len(alike):
        text += "; earlier ones had another gain"
    return expecting(replace(one, basis=text, gain=gain, gain_u=u, fraction=fraction))


def _shared_levels(changes: Sequence[RecordedChange]) -> Array:
    """Correlation of the errors of gains: two changes back and forth, one after the other, are measured
    against the level between them, half of what either is unsure of; two of one sign are taken as
    independent, which is on the safe side."""
    found = np.eye(len(changes))
    before: dict[tuple[str, Flank | None], int] = {}
    for j, one in enumerate(changes):
        i = before.get((one.quantity, one.flank))
        if i is not None and changes[i].at != one.at and changes[i].size * one.size < 0:
            found[i, j] = found[j, i] = 0.5
        before[one.quantity, one.flank] = j
    return found


def _alike(one: Correction, changes: Sequence[RecordedChange]) -> list[RecordedChange]:
    """Changes of the same quantity whose gain is known, else of what acts on the same parameter."""
    known = [c for c in changes if c.gain is not None and _same(one.flank, c.flank)]
    own = [c for c in known if c.quantity == one.quantity]
    acts_on = OF_QUANTITY.get(one.quantity)
    return own or [c for c in known if acts_on is not None and OF_QUANTITY.get(c.quantity) == acts_on]


def _same(flank: Flank | None, other: Flank | None) -> bool:
    return flank is None or other is None or flank == other
