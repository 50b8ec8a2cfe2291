"""What the measurements of a gear cannot tell, each with the measurement that could."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from gearqa.diagnosis.alike import unseen_waves
from gearqa.diagnosis.decomposition import Decomposition, periods
from gearqa.diagnosis.effects import HALVES
from gearqa.diagnosis.ends import FEWEST_TEETH
from gearqa.diagnosis.fine_shapes import END_KEYS, FineShape
from gearqa.diagnosis.observations import Layout
from gearqa.diagnosis.ripple import FEWEST_TO_NAME, RippleFound
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import NotIdentifiable
from gearqa.symbols import FLANKS, Flank, TraceKind
from gearqa.wording.numbers import count_text, fixed_text, um_text
from gearqa.wording.sentences import listed

SPLIT: Final = {key: kind for kind, keys in HALVES.items() for key in keys}
"""What both flanks share or differ by, and the traces that tell it."""
OF_ONE_FLANK: Final[dict[str, TraceKind]] = {"s_shape": "profile", "helix_s_shape": "helix"}
FEWEST_FREE: Final = 3.0
"""Degrees of freedom below which Student's t lets large components pass as chance."""
PITCH: Final = "pitch of all teeth of both flanks"
BALLS: Final = f"{PITCH}, or ball readings of all spaces"
PLACES: Final = "profiles at three face positions, or helices at three diameters, on one tooth or more"
ROUND: Final = "helices of four teeth evenly round the gear, both flanks"


def not_identifiable(
    fit: Decomposition, fine: Sequence[FineShape], setup: PartSetup
) -> tuple[NotIdentifiable, ...]:
    """What the measurements of a gear cannot tell, one entry a key."""
    found: dict[str, NotIdentifiable] = {}
    unsure = [one.effect.key for one in fit.found if not np.isfinite(one.covariance).all()]
    unknown = "the scatter between teeth is not known", "traces of at least three teeth a flank"
    for one in (
        *_of_shapes(fit),
        *_of_pitch(fit, setup),
        *_of_axis(fit),
        *_of_ends(fit.layout),
        *(NotIdentifiable(key, *unknown) for key in unsure),
        *_of_few_teeth(fit),
        *_of_ripple(fit, fine, setup),
    ):
        found.setdefault(one.key, one)
    return tuple(found.values())


def _of_few_teeth(fit: Decomposition) -> Iterator[NotIdentifiable]:
    """Beyond twice its uncertainty, and yet within chance: too few teeth to know the scatter."""
    for one in fit.found:
        size, known = float(np.linalg.norm(one.amplitudes[:2])), np.isfinite(one.covariance).all()
        if (
            not one.significant
            and known
            and one.freedom < FEWEST_FREE
            and (size > 2 * float(np.sqrt(np.diag(one.covariance).max())))
        ):
            reason = f"{um_text(size)} found, but too few teeth tell whether that is chance"
            yield NotIdentifiable(one.effect.key, reason, "traces of six teeth a flank or more")


def _of_shapes(fit: Decomposition) -> Iterator[NotIdentifiable]:
    for key in dict.fromkeys(effect.key for effect in fit.not_identifiable):
        if key == "twist":
            yield NotIdentifiable(key, "each flank was measured at one place only", PLACES)
        elif (kind := SPLIT.get(key) or OF_ONE_FLANK.get(key)) is not None:
            lacking = _without_teeth(fit.layout, kind, 1)
            reason = f"no {kind} traces"
            if len(lacking) == 1:
                reason += f" of the {lacking[0]} flank"
                if key in SPLIT:
                    reason += ": what the flanks share and what they differ by look alike"
            yield NotIdentifiable(key, reason, f"{kind} traces of four teeth, both flanks")


def _of_pitch(fit: Decomposition, setup: PartSetup) -> Iterator[NotIdentifiable]:
    layout = fit.layout
    if not layout.pitch:
        keys = ["tangential", "pitch_order", "pitch_ramp", "one_tooth"]
        if periods(setup.geometry.z, None):
            keys.append("wheel_thread")
        for key in keys:
            yield NotIdentifiable(key, "no pitch", PITCH)
    if len(layout.pitch) < len(FLANKS) and not len(layout.spaces):
        reason = "pitch of one flank only, no ball readings" if layout.pitch else "no pitch, no ball readings"
        reason = "; ".join((reason, *unseen_waves(fit)))
        for key in ("lobes", "radial_order"):
            yield NotIdentifiable(key, reason, BALLS)


def _of_axis(fit: Decomposition) -> Iterator[NotIdentifiable]:
    """Eccentricity, tilt, tangential: not told at all, or by traces that leave them open."""
    layout = fit.layout
    hidden = {effect.key for effect in fit.not_identifiable}
    open_ = {one.effect.key: one for one in fit.found if not one.significant}
    one_flank = len(layout.pitch) == 1 and not len(layout.spaces)
    alike = "pitch of one flank only: a shifted axis and a table error look alike"
    for key in ("eccentricity", "tangential"):
        if key in hidden and one_flank:
            yield NotIdentifiable(key, alike, BALLS if key == "eccentricity" else PITCH)
        elif key in hidden:
            yield NotIdentifiable(key, "no pitch of both flanks", PITCH)
        elif key == "eccentricity" and key in open_ and not layout.pitch and not len(layout.spaces):
            yield NotIdentifiable(key, "no pitch, no ball readings; the traces alone leave it open", BALLS)
    if "tilt" in hidden or ("tilt" in open_ and _without_teeth(layout, "helix", 1) == FLANKS):
        none = _without_teeth(layout, "helix", 1) == FLANKS
        yield NotIdentifiable("tilt", "no helix traces" if none else "too few helix traces", ROUND)


def _of_ends(layout: Layout) -> Iterator[NotIdentifiable]:
    for (kind, _), (key, _) in END_KEYS.items():
        lacking = _without_teeth(layout, kind, FEWEST_TEETH)
        if lacking:
            at = f"{listed(lacking)} flank"
            reason = f"fewer than {FEWEST_TEETH} teeth with {kind} traces on the {at}"
            yield NotIdentifiable(key, reason, f"{kind} traces of four teeth, both flanks")


def _teeth(layout: Layout, kind: TraceKind, flank: Flank) -> int:
    return len({t.tooth for t in layout.traces if (t.kind, t.flank) == (kind, flank)})


def _without_teeth(layout: Layout, kind: TraceKind, fewest: int) -> tuple[Flank, ...]:
    """Flanks with traces of fewer teeth than needed."""
    return tuple(flank for flank in FLANKS if _teeth(layout, kind, flank) < fewest)


def naming_plan(z: int) -> str:
    """Traces that tell the order of a wave."""
    return f"profiles of all {z} teeth of the flank, or of 20 teeth spread unevenly round the gear"


def _of_ripple(fit: Decomposition, fine: Sequence[FineShape], setup: PartSetup) -> Iterator[NotIdentifiable]:
    z = setup.geometry.z
    unnamed = [one.found for one in fine if isinstance(one.found, RippleFound) and not one.found.named]
    plan = naming_plan(z)
    if unnamed:
        wave = unnamed[0]
        teeth_text = count_text(wave.teeth, "tooth", "teeth")
        why = (
            f"{count_text(len(wave.alike), 'order')} fit alike on {teeth_text}"
            if len(wave.alike) > 1
            else f"{teeth_text} leave orders that fit by chance; {wave.order} fits best"
        )
        yield NotIdentifiable("ripple", f"{fixed_text(wave.waves, 1)} waves along a trace; {why}", plan)
        return
    kinds: tuple[TraceKind, ...] = ("profile", "helix") if setup.geometry.H else ("profile",)
    seen = {flank: max(_teeth(fit.layout, kind, flank) for kind in kinds) for flank in FLANKS}
    few = min(seen.values())
    if few == 0:
        lacking = tuple(flank for flank in FLANKS if not seen[flank])
        where = "" if lacking == FLANKS else f" of the {lacking[0]} flank"
        yield NotIdentifiable("ripple", f"no {' or '.join(kinds)} traces{where}", plan)
    elif few < FEWEST_TO_NAME:
        yield NotIdentifiable(
            "ripple", f"an order cannot be told from {count_text(few, 'tooth', 'teeth')}", plan
        )
