"""A scenario file made into an inspection folder that appears whole or not at all."""

from __future__ import annotations

import math
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from gearqa.errors import PartFileError, Problem, Reason, ReportError
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.model.part import PART_FILE, Part
from gearqa.reading.settings.toml_file import load_toml
from gearqa.results.outputs import umask
from gearqa.simulate.made_gears import simulate_gears
from gearqa.simulate.process import measured_count, simulate_events
from gearqa.simulate.scenario import Scenario
from gearqa.simulate.table_rows import gear_table, write_events

Progress = Callable[[int, int], None]
"""Called with the number of gears written and the number to write."""
_BUFFER = 1 << 20


def load_scenario(path: Path | str) -> tuple[Scenario, Part]:
    """Read a scenario file and the part file that it names; a `PartFileError` has all their problems."""
    path = Path(path)
    scenario = load_toml(path, Scenario)
    return scenario, load_toml(part_path(path, scenario), Part)


def part_path(scenario_path: Path, scenario: Scenario) -> Path:
    """The part file of a scenario; its path is relative to the scenario file."""
    path = scenario_path.parent / scenario.part
    if not path.is_file():
        problem = Problem(
            Reason.FILE_NOT_FOUND, scenario_path.name, f"'{scenario.part}'",
            "a part file, relative to the scenario file", key="part",
        )  # fmt: skip
        raise PartFileError([problem])
    return path


@contextmanager
def _within_the_calendar() -> Iterator[None]:
    try:
        yield
    except OverflowError:
        hint = "look at started_at, cycle_time_s, dress_time_s, hours_per_day and the delays"
        raise ReportError("the times of the scenario leave the calendar", hint=hint) from None


@_within_the_calendar()
def write_folder(
    folder: Path | str, scenario_path: Path | str, seed: int | None = None, progress: Progress | None = None
) -> list[Path]:
    """Write the inspection folder of a scenario: part.toml and the tables, whose paths are returned.

    The folder must be new or empty. `seed` replaces the scenario's own; `progress` is called after each
    gear with the number written and the number to write.

    Raises
    ------
    ReportError
        If the folder is not empty or cannot be written.
    PartFileError
        With all problems of scenario and part file.
    """
    folder, scenario_path = Path(folder), Path(scenario_path)
    refuse_unless_empty(folder)
    scenario, part = load_scenario(scenario_path)
    gears = simulate_gears(scenario, part, seed)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise ReportError(f"cannot write {folder}: {error.strerror or error}") from error
    try:
        shutil.copyfile(part_path(scenario_path, scenario), draft / PART_FILE)
        geometry = part_geometry(part)
        normal = math.cos(geometry.beta_b) if part.evaluation.deviation_plane == "normal" else 1.0
        circle = (part.evaluation.pitch.measuring_diameter_mm or geometry.d) / geometry.d
        with ExitStack() as stack:
            names = [n for n in scenario.measuring.tables if n != "events"]
            streams = [stack.enter_context((draft / f"{n}.csv").open("wb", buffering=_BUFFER)) for n in names]
            tables = [
                gear_table(name, stream, scenario, normal_factor=normal, pitch_factor=circle)
                for name, stream in zip(names, streams, strict=True)
            ]
            total = measured_count(scenario) if progress is not None else 0
            for count, gear in enumerate(gears, start=1):
                for table in tables:
                    table.write(gear)
                if progress is not None:
                    progress(count, total)
        if "events" in scenario.measuring.tables and (events := simulate_events(scenario)):
            with (draft / "events.csv").open("wb") as stream:
                write_events(stream, events)
        written = sorted(path.name for path in draft.iterdir())
        draft.chmod(0o777 & ~umask())
        if folder.exists():
            folder.rmdir()
        draft.rename(folder)
    except OSError as error:
        raise ReportError(f"cannot write {folder}: {error.strerror or error}") from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return [folder / name for name in written]


def refuse_unless_empty(folder: Path) -> None:
    """Raise if the folder cannot be written."""
    if folder.exists() and not folder.is_dir():
        raise ReportError(f"{folder} is a file", hint="name a folder that does not exist yet")
    if folder.is_dir() and any(folder.iterdir()):
        raise ReportError(f"{folder} is not empty", hint="name a folder that does not exist yet or is empty")
