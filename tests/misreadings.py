"""Tables of known readings in every way that people and programs write numbers, for readers that must not
take them for other readings: a reader refuses a table, says its doubt, or gives the readings themselves.

Readings stay below a millimetre: a mark that groups thousands is no question then."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple
from unittest.mock import patch

import numpy as np
from inspection_folder import TEETH

from gearqa.errors import GearqaError, NoticeCode
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Part
from gearqa.reading.folder import passes
from gearqa.reading.folder.passes import read_folder

DOUBTS = {NoticeCode.DECIMALS_BESIDE, NoticeCode.NO_LINE_END}
HEADERS = {
    "pitch": ["serial", "flank", "tooth", "index_um"],
    "runout": ["serial", "space", "radial_um"],
    "profile": ["serial", "flank", "tooth", "roll_length_mm", "deviation_um"],
    "helix": ["serial", "flank", "tooth", "face_position_mm", "deviation_um"],
}
SPARE = ["", "note", "x", "class", "measurement", "remark", "point"]
NUMBERS: list[Callable[[str], str]] = [
    lambda text: text,
    lambda text: text.replace(".", ","),
    lambda text: text.replace(".", ","),
    lambda text: f'"{text}"',
    lambda text: f'"{text.replace(".", ",")}"',
    lambda text: text.replace("-", "\N{MINUS SIGN}"),
    lambda text: f" {text} ",
    lambda text: f"'{text}",
    lambda text: text + "0" if "." in text else text,
    lambda text: text.removesuffix(".0"),
    lambda text: f"{float(text):.3e}" if float(f"{float(text):.3e}") == float(text) else text,
    lambda text: f"{text} um",
]
"""How a number is written; each table writes all of its measured ones alike."""


@dataclass(frozen=True)
class Case:
    """A table as bytes and the readings that it holds, by position."""

    data: bytes
    readings: dict[float, float]


def case(dice: random.Random) -> Case:
    """A table in one way of writing."""
    kind = dice.choice(list(HEADERS))
    header, separator = list(HEADERS[kind]), dice.choice([",", ",", ",", ";", "\t"])
    write, decimals = dice.choice(NUMBERS), dice.choice([0, 1, 2, 3])
    scale = dice.choice([3.0, 30.0, 300.0])
    places = range(1, 1 + (TEETH if kind in ("pitch", "runout") else dice.randint(3, 9)))
    values = [round(dice.uniform(-scale, scale), decimals) + 0.0 for _ in places]
    spare = dice.sample(SPARE, dice.choice([0, 0, 1, 1, 2]))
    rows = []
    for place, value in zip(places, values, strict=True):
        number = write(f"{value:.{decimals}f}" if decimals else f"{value:.0f}")
        where = str(place) if dice.random() < 0.5 or kind in ("pitch", "runout") else f"{place}.0"
        rows.append(
            ["A", *(["left"] if kind != "runout" else []), *([] if len(header) < 5 else ["1"]), where, number]
        )
    if dice.random() < 0.3:
        order = dice.sample(range(len(header)), len(header))
        header, rows = [header[k] for k in order], [[row[k] for k in order] for row in rows]
    at = len(header) if dice.random() < 0.8 else dice.randrange(len(header))
    commas = sum(cell.count(",") for cell in rows[0] if not cell.startswith('"')) if separator == "," else 0
    fill = dice.choice(["", "", "ok", "1"])
    measured = next(k for k, name in enumerate(header) if name.endswith("_um"))
    ragged = at in (measured, measured + 1) or at == len(
        header
    )  # elsewhere a cell too few is told by its place
    filled = max(0, len(spare) - (commas if ragged and dice.random() < 0.7 else 0))
    header[at:at] = spare
    for row in rows:
        row[at:at] = [fill] * filled
    lines = [separator.join(row) for row in (header, *rows)]
    if dice.random() < 0.2:
        lines.insert(1, separator.join(["", *(["mm"] * (len(header) - 1))]))
    if dice.random() < 0.2:
        lines.insert(0, "# made by hand, " + "x" * dice.randrange(40))
    newline = dice.choice(["\n", "\r\n"])
    text = newline.join(lines) + (newline if dice.random() < 0.9 else "")
    encoding = dice.choice(["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le"])
    return Case(text.encode(encoding, "replace"), dict(zip(map(float, places), values, strict=True)))


class Told(NamedTuple):
    """What a reader made of a table: what it took it for that it is not; whether it read it right."""

    wrong: str = ""
    right: bool = False


def misread(one: Case, folder: Path, part: Part, fast: bool) -> Told:
    """Read a table by one of the two readers."""
    (folder / "t.csv").write_bytes(one.data)
    with patch.object(passes, "FAST_FROM_BYTES", 0 if fast else 1 << 60):
        try:
            with read_folder(folder, part=part) as inspection:
                doubts = {notice.code for notice in inspection.notices} & DOUBTS
                found = [_readings(gear) for gear in inspection]
        except GearqaError:
            return Told()
    right = all(_same(some, one.readings) for some in found)
    return Told("" if doubts or right else f"{found} instead of {one.readings}", right and not doubts)


def _readings(gear: GearMeasurement) -> dict[float, float]:
    found: dict[float, float] = {}
    for trace in gear.traces:
        found |= dict(zip(trace.position_mm.tolist(), trace.deviation_um.tolist(), strict=True))
    tables = [p.index_um for p in gear.pitch.values()] + (
        [] if gear.runout is None else [gear.runout.radial_um]
    )
    for table in tables:
        found |= {float(n): v for n, v in enumerate(table.tolist(), start=1) if not np.isnan(v)}
    return found


def _same(found: dict[float, float], wanted: dict[float, float]) -> bool:
    return set(found) == set(wanted) and all(abs(found[at] - wanted[at]) < 1e-9 for at in wanted)
