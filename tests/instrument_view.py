"""What an instrument writes about one known gear, by where it looks from and how it counts.

The gear is eccentric and its flanks are tapered and twisted. Angles grow in the instrument's own
clockwise sense, so an eccentricity at angle phi stands at -phi for one that looks from the other face;
nothing here turns a table back.

Formulas (derived for involute flanks of external and internal gears, common practice, no source):
index of the right flank e sin(phi - theta + alpha_t)/cos(alpha_t), of the left flank
e sin(phi - theta - alpha_t)/cos(alpha_t), ball e cos(theta - phi); theta the angle of flank or space.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from gearqa.evaluation.part_geometry import part_geometry
from gearqa.model.part import Part
from gearqa.reading.folder.sources import Convention

WAYS = [
    Convention(seen, counted)  # type: ignore[arg-type]
    for seen, counted in itertools.product(["datum_face", "opposite_face"], ["clockwise", "anticlockwise"])
]
ECCENTRICITY_UM, PHI = 9.0, 0.7


def part(kind: str, teeth: int = 31) -> Part:
    return Part.model_validate(
        {
            "schema": "gearqa.part/1",
            "part": {"number": "OT-1"},
            "gear": {
                "kind": kind, "teeth": teeth, "normal_module_mm": 2.0, "normal_pressure_angle_deg": 20.0,
                "helix_angle_deg": 15.0, "helix_hand": "left", "face_width_mm": 24.0,
                "profile_shift_coefficient": 0.3,
            },
            "tolerance": {"class": 6},
        }
    )  # fmt: skip


class View:
    """A gear as one instrument sees it: eccentric, with a tapered and twisted flank shape."""

    def __init__(self, drawing: Part, way: Convention) -> None:
        self.gear = part_geometry(drawing)
        self.way = way
        self.mirrored = way.seen_from == "opposite_face"
        self.phi = -PHI if self.mirrored else PHI
        # the instrument's tooth k stands at this angle of its own view; tooth 1 is the same tooth for all
        self.sense = 1 if way.numbering == "clockwise" else -1
        half = (math.pi / 2 + 2 * self.gear.x * math.tan(self.gear.alpha_n)) / self.gear.z
        self.half = {"right": self.gear.s * half, "left": -self.gear.s * half}

    def index(self, flank: str, number: int) -> float:
        theta = self.sense * 2 * math.pi * (number - 1) / self.gear.z + self.half[flank]
        side = 1 if flank == "right" else -1
        alpha = self.gear.alpha_t
        clockwise = ECCENTRICITY_UM * math.sin(self.phi - theta + side * alpha) / math.cos(alpha)
        return self.sense * clockwise  # plus in the direction of counting

    def radial(self, number: int) -> float:
        theta = self.sense * 2 * math.pi * (number - 0.5) / self.gear.z
        return ECCENTRICITY_UM * math.cos(theta - self.phi)

    def helix(self, flank: str, number: int, position: float) -> float:
        """Taper and twist, different from tooth to tooth: material at a place of the gear."""
        true_flank = {"left": "right", "right": "left"}[flank] if self.mirrored else flank
        from_datum = self.gear.b - position if self.mirrored else position
        turn = self.sense * (-1 if self.mirrored else 1)
        angle = turn * 2 * math.pi * (number - 1) / self.gear.z
        slope = 0.2 * math.cos(angle - 0.4) + (0.5 if true_flank == "left" else -0.1)
        return slope * from_datum + 0.01 * from_datum**2

    def tables(self) -> dict[str, dict[str, np.ndarray]]:
        teeth = range(1, self.gear.z + 1)
        both = [(flank, number) for flank in ("left", "right") for number in teeth]
        flank = np.array([f for f, _ in both])
        tooth = np.array([n for _, n in both])
        index = np.array([self.index(f, n) for f, n in both])
        pitch = np.array([self.index(f, n) - self.index(f, n - 1) for f, n in both])
        positions = np.array([0.0, 4.0, 9.0, 15.0, 20.0, 24.0])  # the same places from either face
        traces = [(f, n, p, self.helix(f, n, p)) for f, n in both for p in positions]
        return {
            "index": {"flank": flank, "tooth": tooth, "index_um": index},
            "pitch": {"flank": flank, "tooth": tooth, "pitch_um": pitch},
            "runout": {"space": np.array(teeth), "radial_um": np.array([self.radial(n) for n in teeth])},
            "helix": {
                "flank": np.array([t[0] for t in traces]), "tooth": np.array([t[1] for t in traces]),
                "face_position_mm": np.array([t[2] for t in traces]),
                "deviation_um": np.array([t[3] for t in traces]),
            },
        }  # fmt: skip
