"""What charts of a diagnosis show: the index of each flank, and what its first order makes of it."""

from __future__ import annotations

from collections.abc import Sequence

from gearqa.diagnosis.components import Piece
from gearqa.diagnosis.observations import index_of
from gearqa.diagnosis.points import pitch_points
from gearqa.diagnosis.removal import deviation
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import GearViews
from gearqa.model.measurement import GearMeasurement
from gearqa.symbols import FLANKS

FIRST_ORDER = ("eccentricity", "tangential")


def views_of(gear: GearMeasurement, pieces: Sequence[Piece], setup: PartSetup) -> GearViews:
    """Curves of a gear."""
    first = [(one.effect, one.amplitudes) for one in pieces if one.component.key in FIRST_ORDER]
    index = index_of(deviation(pitch_points(setup, measured=True), first), setup)
    whole = {
        flank: gear.pitch[flank].index_um
        for flank in FLANKS
        if flank in gear.pitch and not gear.pitch[flank].missing_teeth
    }
    return GearViews(
        {flank: values - values.mean() for flank, values in whole.items()},
        {flank: index[FLANKS.index(flank)] for flank in whole},
    )
