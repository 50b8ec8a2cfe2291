"""Turn tables of an instrument that looks from the other face or counts the other way round.

Looking at a gear from its other face mirrors it: what turned clockwise turns anticlockwise, the right
flank of a tooth (tip up) is called left, and face positions count from the other end. Each reading still
belongs to the same piece of surface, so profile and helix deviations (plus = more material) and radial
readings keep their sign, and the sign of a slope follows from the turned positions. An index is a
displacement in the direction of counting, so it changes sign where that direction does; a single pitch
is a distance (plus = too long) and does not, but it then belongs to the other tooth of its pair.

Tooth 1 stays tooth 1. A space lies ahead of its tooth in the direction of counting, for external and
internal gears alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearqa.model.part import Part
from gearqa.reading.folder.sources import Convention, TableKind

Column = NDArray[Any]

_MEASURED: frozenset[TableKind] = frozenset({"profile", "helix", "pitch", "runout"})


def counts_backwards(convention: Convention) -> bool:
    """Whether teeth are counted anticlockwise, as seen from the datum face."""
    return (convention.seen_from == "opposite_face") != (convention.numbering == "anticlockwise")


def turn_columns(
    kind: TableKind, columns: Mapping[str, Column], convention: Convention, part: Part
) -> dict[str, Column]:
    """Canonical columns as seen from the datum face and counted clockwise.

    Parameters
    ----------
    kind : str
        Kind of table; size, production and events have nothing to turn.
    columns : mapping of str to ndarray, each shape (n,)
        Canonical columns in canonical units. `flank` holds words, or numbers 0 (left) and 1 (right).
        Teeth and spaces outside 1..z are left as they are, for the reader to complain about.
    convention : Convention
        From where the table looks at the gear.
    part : Part
        Gives number of teeth and face width.

    Returns
    -------
    dict of str to ndarray
        New arrays where something turns, the given ones elsewhere.
    """
    turned = dict(columns)
    if kind not in _MEASURED or convention == Convention():
        return turned
    z, width = part.gear.teeth, part.gear.face_width_mm
    if convention.seen_from == "opposite_face":
        if "flank" in turned:
            turned["flank"] = _other_flank(turned["flank"])
        if "face_position_mm" in turned:
            turned["face_position_mm"] = width - turned["face_position_mm"]
    if counts_backwards(convention):
        if "tooth" in turned:
            # a single pitch, between tooth - 1 and tooth, counted back lies between 3 - tooth and 2 - tooth
            mirror = 3 if "pitch_um" in turned else 2
            turned["tooth"] = _mirrored(turned["tooth"], mirror, z)
        if "space" in turned:
            turned["space"] = _mirrored(turned["space"], 1, z)
        if "index_um" in turned:
            turned["index_um"] = -turned["index_um"]
    return turned


def _mirrored(numbers: Column, total: int, z: int) -> Column:
    """`total - number`, counted round the gear, 1..z."""
    inside = (numbers >= 1) & (numbers <= z)
    return np.where(inside, (total - numbers - 1) % z + 1, numbers)


def _other_flank(flank: Column) -> Column:
    if flank.dtype.kind in "iub":
        return (1 - flank.astype(np.int8)).astype(flank.dtype)
    return np.where(flank == "left", "right", np.where(flank == "right", "left", flank)).astype(flank.dtype)
