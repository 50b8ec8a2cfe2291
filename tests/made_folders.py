"""Small inspection folders for tests, with values that can be checked by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

TEETH = 8
INDEX_UM = (0.0, 1.0, 3.0, 2.0, 0.0, -1.0, -2.0, -1.0)
"""Index deviations of one flank. By hand: the steps are 1 1 2 -1 -2 -1 -1 1, so fp = 2 at tooth 3 (and 5:
the lower one is named), Fp = 3 - (-2) = 5 from tooth 7 to tooth 3."""
OF_NO_FIGURE = 8
"""A tooth that neither fp nor Fp rests on."""

PART = """schema = "gearqa.part/1"
[part]
number = "T-8"
name = "Test pinion"
revision = "A"
[gear]
kind = "external"
teeth = 8
normal_module_mm = 2.0
normal_pressure_angle_deg = 20.0
helix_angle_deg = 0.0
face_width_mm = 20.0
[tolerance]
class = {grade}
parameters = ["single_pitch", "cumulative_pitch"]
[master_quality]
class = {master}
"""


def pitch_folder(
    folder: Path,
    gears: Mapping[str, float] | Sequence[str] = ("G-1",),
    *,
    grade: int = 6,
    master: int = 4,
    extra: str = "",
    without: tuple[str, int] | None = None,
) -> Path:
    """Write a folder with a pitch table: `gears` gives the factor on the index of each serial."""
    factors = gears if isinstance(gears, Mapping) else dict.fromkeys(gears, 1.0)
    folder.mkdir(parents=True, exist_ok=True)
    part = PART.format(grade=grade, master=master) + extra
    (folder / "part.toml").write_text(part, encoding="utf-8")
    rows = ["serial,flank,tooth,index_um"]
    for number, (serial, factor) in enumerate(factors.items()):
        for flank in ("left", "right"):
            # no two tables are the same but for where they count from: those would be copies
            table = 2 * number + (flank == "right")
            for tooth, index in enumerate(INDEX_UM, start=1):
                if without != (flank, tooth):
                    own = table / 64 + (table * 7919 % 10007 / 2**19 if tooth == OF_NO_FIGURE else 0.0)
                    rows.append(f"{serial},{flank},{tooth},{index * factor + own}")
    (folder / "pitch.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder
