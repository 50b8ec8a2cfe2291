"""What laboratories really set differently when they evaluate the same gear, as data.

Which settings differ between laboratories is common practice (no source); the numbers behind them are
those of the two editions of ISO 1328-1 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Final, Literal, get_args

from gearqa.core.traces import PROFILE_SHARE
from gearqa.evaluation.trace_specs import helix_spec
from gearqa.model.part import Part
from gearqa.symbols import FLANKS, Flank

Span = Literal["full", "evaluation"]
Plane = Literal["transverse", "normal", "transverse, from tables in the normal plane"]
Axis = Literal["length of roll", "diameter"]
ProfileSign = Literal["plus towards the tip", "plus towards the root"]
HelixSign = Literal["plus away from the datum face", "plus towards the datum face", "by helix angle"]
HelixRange = Literal["as drawn", "whole face width", "5 % less at each end", "10 % less at each end",
                     "one module less at each end"]  # fmt: skip

SHARES: Final = (0.92, PROFILE_SHARE, 1.0)
"""Of the length of roll up to the tip form diameter: of the editions of 1995 and 2013, and all of it."""
CUTOFF_FACTORS: Final = (None, 0.5, 2.0)
"""Filter off, and cutoffs that differ by a factor."""
ROUNDING_STEPS_UM: Final = (0.5, 1.0)
SAME_END_MM: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Numbering:
    """How their names of flanks and their tooth numbers become ours."""

    swapped: bool = False
    """Left and right change places."""
    reversed: bool = False
    """Teeth are counted the other way round; tooth 1 stays."""
    shift: int = 0
    """Added to a tooth number (after reversing) to get ours."""

    def our_flank(self, flank: Flank) -> Flank:
        """Our name of a flank of theirs; the other way round it is the same.

        >>> Numbering(swapped=True).our_flank("left"), Numbering(shift=3).our_flank("left")
        ('right', 'left')
        """
        return FLANKS[FLANKS.index(flank) ^ self.swapped]

    def our_tooth(self, tooth: int, z: int) -> int:
        """Our number of a tooth of theirs, on a gear of z teeth.

        >>> Numbering(shift=22).our_tooth(1, 87), Numbering(reversed=True).our_tooth(2, 87)
        (23, 87)
        """
        number = 2 - tooth if self.reversed else tooth
        return (number + self.shift - 1) % z + 1


@dataclass(frozen=True, slots=True)
class Setup:
    """How a laboratory evaluates and writes down."""

    slope_span: Span = "full"
    share: float | None = PROFILE_SHARE
    """None where explicit limits leave no choice."""
    cutoff: float | None = 1.0
    """Cutoff over the one of the drawing; None: no filter."""
    tip_zone: bool = True
    axis: Axis = "length of roll"
    helix_range: HelixRange = "as drawn"
    plane: Plane = "transverse"
    profile_sign: ProfileSign = "plus towards the tip"
    helix_sign: HelixSign = "plus away from the datum face"
    swapped: bool = False
    reversed: bool = False
    shift: int = 0
    """Added to a tooth number (after reversing) to get ours."""
    in_order: bool = False
    """Traced teeth are numbered 1, 2, 3 and so on, in their order."""
    runout: Literal["readings", "pitch"] | None = "readings"
    """None where there is no choice."""
    rounding_um: float | None = None

    @property
    def numbering(self) -> Numbering:
        """How flanks and teeth are named."""
        return Numbering(self.swapped, self.reversed, self.shift)


IDENTIFYING: Final = ("swapped", "reversed", "shift", "in_order", "profile_sign", "helix_sign")
"""Fields that say which flank, tooth and direction is meant; the others are settings of an evaluation."""


def changed_fields(base: Setup, other: Setup) -> tuple[str, ...]:
    """Names of the settings in which two setups differ."""
    return tuple(f.name for f in fields(Setup) if getattr(base, f.name) != getattr(other, f.name))


def base_setup(part: Part, *, readings: bool) -> Setup:
    """How our side evaluates: as the drawing says."""
    evaluation = part.evaluation
    limits = evaluation.profile
    by_rule = not limits.explicit and limits.control_diameter_mm and limits.tip_form_diameter_mm
    return Setup(
        slope_span=part.slope_span,
        share=PROFILE_SHARE if by_rule else None,
        cutoff=1.0 if evaluation.filter.enabled else None,
        tip_zone=bool(by_rule),
        runout="readings" if readings else None,
    )


def helix_ends(choice: HelixRange, b: float, m_n: float) -> tuple[float, float] | None:
    """Ends of a helix range; None where the drawing's own counts. [mm]

    >>> helix_ends("10 % less at each end", 30.0, 2.0), helix_ends("as drawn", 30.0, 2.0)
    ((3.0, 27.0), None)
    """
    less = {
        "whole face width": 0.0, "5 % less at each end": 0.05 * b, "10 % less at each end": 0.1 * b,
        "one module less at each end": m_n,
    }.get(choice)  # fmt: skip
    return None if less is None else (less, b - less)


def _helix_ranges(part: Part) -> Iterator[HelixRange]:
    """Helix ranges that differ from the drawing's and from each other."""
    spec, gear = helix_spec(part), part.gear
    seen = [(spec.start, spec.end)]
    for choice in get_args(HelixRange):
        ends = helix_ends(choice, gear.face_width_mm, gear.module_mm)
        if ends is not None and all(abs(ends[0] - a) + abs(ends[1] - b) > SAME_END_MM for a, b in seen):
            seen.append(ends)
            yield choice


def alternatives(
    base: Setup, part: Part, *, tooth_shifts: tuple[int, ...] = (), in_order: bool = False
) -> Iterator[Setup]:
    """Every single change that can make a difference on this part."""
    yield replace(base, slope_span="evaluation" if base.slope_span == "full" else "full")
    if base.share is not None:
        yield from (replace(base, share=share) for share in SHARES if share != base.share)
    if base.tip_zone:
        yield replace(base, tip_zone=False)
    for factor in CUTOFF_FACTORS if base.cutoff is not None else ():
        yield replace(base, cutoff=factor)
    if base.cutoff is None:
        yield replace(base, cutoff=1.0)
    yield replace(base, axis="diameter")
    yield from (replace(base, helix_range=choice) for choice in _helix_ranges(part))
    if part.gear.helix_angle_deg > 0:
        yield replace(base, plane="normal")
        if part.evaluation.deviation_plane == "transverse":
            yield replace(base, plane="transverse, from tables in the normal plane")
    yield replace(base, profile_sign="plus towards the root")
    yield replace(base, helix_sign="plus towards the datum face")
    yield replace(base, helix_sign="by helix angle")
    yield replace(base, swapped=True)
    yield replace(base, reversed=True)
    yield from (replace(base, shift=shift) for shift in tooth_shifts)
    if in_order:
        yield replace(base, in_order=True)
    if base.runout == "readings":
        yield replace(base, runout="pitch")
    yield from (replace(base, rounding_um=step) for step in ROUNDING_STEPS_UM)


def combined(base: Setup, one: Setup, other: Setup) -> Setup | None:
    """Both changes at once; None where they change the same setting."""
    more = {name: getattr(other, name) for name in changed_fields(base, other)}
    return None if set(more) & set(changed_fields(base, one)) else replace(one, **more)
