"""What charts of a diagnosis show: index and ball positions with their first order, flank surfaces."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.core.runout import radial_positions
from gearqa.core.traces import design_trace
from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.observations import in_range, index_of, radial_of, usable
from gearqa.diagnosis.points import pitch_points
from gearqa.diagnosis.removal import deviation
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import GearViews, SurfaceView
from gearqa.model.measurement import GearMeasurement, Trace
from gearqa.symbols import FLANKS, TraceKind

FIRST_ORDER: Final = ("eccentricity", "tangential")
ALONG: Final = 81
"""Places along a trace of a surface."""
KINDS: Final[tuple[TraceKind, ...]] = ("profile", "helix")


def views_of(gear: GearMeasurement, pieces: Sequence[Piece], setup: PartSetup) -> GearViews:
    """Curves of a gear."""
    first = [(one.effect, one.amplitudes) for one in pieces if one.component.key in FIRST_ORDER]
    index = index_of(deviation(pitch_points(setup, measured=True), first), setup)
    whole = {
        flank: gear.pitch[flank].index_um
        for flank in FLANKS
        if flank in gear.pitch and not gear.pitch[flank].missing_teeth
    }
    radial = gear.runout.radial_um if gear.runout is not None else None
    if radial is None and len(whole) == len(FLANKS):
        radial = radial_positions(whole["left"], whole["right"], setup.geometry)
    eccentric = [(one.effect, one.amplitudes) for one in pieces if one.component.key == "eccentricity"]
    known = radial is not None and bool(np.isfinite(radial).all())
    return GearViews(
        {flank: values - values.mean() for flank, values in whole.items()},
        {flank: index[FLANKS.index(flank)] for flank in whole},
        radial - radial.mean() if radial is not None and known else None,
        radial_of(deviation(pitch_points(setup, measured=False), eccentric), setup) if known else None,
        tuple(_surfaces(gear, setup)),
    )


def _surfaces(gear: GearMeasurement, setup: PartSetup) -> Iterator[SurfaceView]:
    for flank in FLANKS:
        for kind in KINDS:
            traces = [t for t in gear.traces if (t.kind, t.flank) == (kind, flank) and usable(t, setup)]
            places = sorted({t.label_mm for t in traces if t.label_mm is not None})
            if len(places) < 2:
                continue
            spec = setup.specs[kind]
            assert spec is not None
            along = np.linspace(spec.start, spec.end, ALONG)
            yield SurfaceView(
                flank,
                kind,
                tuple(places),
                along,
                np.stack([_mean([t for t in traces if t.label_mm == at], along, setup) for at in places]),
            )


def _mean(traces: Sequence[Trace], along: Array, setup: PartSetup) -> Array:
    """Mean over teeth of what is left of the design, about its own mean."""
    spec = setup.specs[traces[0].kind]
    assert spec is not None
    heights = []
    for trace in traces:
        inside = in_range(trace.position_mm, spec)
        x = trace.position_mm[inside]
        heights.append(np.interp(along, x, trace.deviation_um[inside] - design_trace(x, spec)))
    mean = np.mean(heights, axis=0)
    return np.asarray(mean - mean.mean())
