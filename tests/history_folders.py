"""Inspection folders for tests of the history store: pitch tables with production data and events."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from made_folders import pitch_folder

COLUMNS = "serial,finished_at,grinder,wheel,dress,parts_since_dress,measured_at"


def made_folder(
    folder: Path,
    gears: Mapping[str, float] | Sequence[str] = ("G-1",),
    *,
    day: int = 1,
    grinder: str = "GR-1",
    measured_at: bool = True,
    zone: str = "+02:00",
    events: Sequence[str] = (),
    **options: object,
) -> Path:
    """A folder of gears made one a minute on one day of June, measured an hour later."""
    pitch_folder(folder, gears, **options)  # type: ignore[arg-type]
    rows = [COLUMNS if measured_at else COLUMNS.removesuffix(",measured_at")]
    for number, serial in enumerate(gears):
        at = f"2025-06-{day:02d}T{{}}:{number // 60:02d}:{number % 60:02d}{zone}"
        row = f"{serial},{at.format('06')},{grinder},W-1,D{day:02d},{number + 1}"
        rows.append(f"{row},{at.format('07')}" if measured_at else row)
    (folder / "production.csv").write_text("\n".join(rows) + "\n")
    if events:
        (folder / "events.csv").write_text("\n".join(["at,grinder,event,wheel", *events]) + "\n")
    return folder
