"""The gears that drift analysis looks at: of folders, graded as they stream by, or of the store."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from gearqa.model.drift import DriftHeader, DriftSettings, Observation
from gearqa.model.measurement import GrinderEvent, InputFile, Production

if TYPE_CHECKING:
    from gearqa.drift.reference_periods import Period
    from gearqa.errors import Notice
    from gearqa.model.results import GearResult

PRODUCTION_HINT = (
    "add a production table: serial and finished_at, grinder, wheel, dress, parts_since_dress (columns: "
    "gearqa explain files)"
)


@dataclass(frozen=True, slots=True)
class Gears:
    """What is analysed, and where it comes from."""

    header: DriftHeader
    observations: list[Observation]
    events: list[GrinderEvent]
    frozen: dict[tuple[str, str], Period]
    """Frozen references of the store, by part and grinder."""
    graded: int
    """Gears of the folders, or of the store."""
    of_store: bool = False
    produced: frozenset[tuple[str, str]] = frozenset()
    """Of folders: part and grinder of the gears with production data, whatever was asked for."""
    input_paths: tuple[Path, ...] = ()
    wanted: str = ""
    """What was asked for, in words."""

    def nothing(self) -> tuple[str, str]:
        """Why there is nothing to analyse, and the way out."""
        where = self.header.source
        if not self.graded:
            return f"{where}: there are no gears", "add some with: gearqa history add FOLDER"
        if self.of_store:
            return f"{where}: no gear with production data{self.wanted}", "look at: gearqa history list"
        if not self.produced:
            return (
                f"{where}: no gear has production data ({self.graded} were graded), so nothing is known of "
                "their order",
                PRODUCTION_HINT,
            )
        there = ", ".join(f"{part} on {grinder}" for part, grinder in sorted(self.produced))
        return f"{where}: nothing to analyse{self.wanted}", f"there are gears of {there}"


def from_folders(
    folders: Sequence[Path],
    *,
    part: Path | None,
    columns: Path | None,
    serials: Sequence[str] | None,
    part_number: str | None,
    grinder: str | None,
    parameters: tuple[str, ...] | None,
    quiet: bool,
) -> Gears:
    """Grade folders, one after the other; only observations are kept, not the gears."""
    from gearqa.cli.progress import Progress
    from gearqa.evaluation.evaluate import evaluate
    from gearqa.evaluation.observations import UNKNOWN_GRINDER, observations_from_results
    from gearqa.jobs.folders import open_folder, require_folder

    for folder in folders:
        require_folder(folder)
    observations: list[Observation] = []
    events: dict[GrinderEvent, None] = {}
    inputs: list[InputFile] = []
    notices: list[Notice] = []
    paths: list[Path] = []
    produced: set[tuple[str, str]] = set()
    graded = 0

    def counted(gears: Iterator[GearResult], number: str) -> Iterator[GearResult]:
        nonlocal graded
        for gear in gears:
            graded += 1
            if gear.production is not None:
                made = _with_zone(gear.production)
                produced.add((number, made.grinder or UNKNOWN_GRINDER))
                yield replace(gear, production=made)

    with Progress("grading", "gears", quiet=quiet) as progress:
        for folder in folders:
            with open_folder(folder, part=part, columns=columns, serials=serials) as inspection:
                drawing = inspection.part
                gears = counted(progress.over(evaluate(inspection, drawing)), drawing.part.number)
                found = observations_from_results(
                    gears, drawing, parameters=parameters, simulated=inspection.simulated
                )
                observations += (
                    one for one in found if part_number in (None, one.part) and grinder in (None, one.grinder)
                )
                events |= dict.fromkeys(
                    replace(event, at=_aware(event.at))
                    for event in inspection.events
                    if grinder in (None, event.grinder)
                )
                many = f"{folder.name}/" if len(folders) > 1 else ""
                inputs += (replace(file, file=many + file.file) for file in inspection.inputs)
                paths += (folder / file.file for file in inspection.inputs)
                notices += inspection.notices
    named = ", ".join(map(str, folders))
    return Gears(
        header=DriftHeader(
            f"folder{'s' if len(folders) > 1 else ''} {named}", tuple(inputs), tuple(dict.fromkeys(notices))
        ),
        observations=observations,
        events=list(events),
        frozen={},
        graded=graded,
        produced=frozenset(produced),
        input_paths=tuple(paths),
        wanted=_asked_for(part_number, grinder, parameters),
    )


def from_store(
    where: str | None,
    *,
    part_number: str | None,
    grinder: str | None,
    parameters: tuple[str, ...] | None,
) -> Gears:
    """Observations, events and frozen references of the history store."""
    from gearqa.cli.stores import open_store
    from gearqa.history.observations import (
        load_events,
        load_inputs,
        load_observations,
        load_references,
    )

    with open_store(where) as store:
        loaded = load_observations(store, part_number=part_number, grinder=grinder, parameters=parameters)
        references = load_references(store, part_number=part_number, grinder=grinder)
        return Gears(
            header=DriftHeader(
                f"history store {store.shown}", load_inputs(store, part_number=part_number, grinder=grinder)
            ),
            observations=list(loaded),
            events=load_events(store, grinder=grinder),
            frozen={(one.part_number, one.grinder): (one.from_at, one.to_at) for one in references},
            graded=store.gear_count(),
            of_store=True,
            wanted=_asked_for(part_number, grinder, parameters),
        )


def references_for(
    gears: Gears, settings: DriftSettings, chosen: str | None
) -> tuple[DriftSettings, DriftHeader]:
    """Settings with the reference cycles of every series: the chosen ones, else the frozen ones."""
    if chosen is None and not gears.frozen:
        return settings, gears.header
    from gearqa.drift.reference_periods import ReferencePeriodError, place_references

    period = None if chosen is None else _period(chosen)
    kept = [o for o in gears.observations if settings.until is None or _made_by(o, settings.until)]
    try:
        references, notices = place_references(
            kept,
            gears.events,
            lambda part, grinder: period or gears.frozen.get((part, grinder)),
            cycle_time_s=settings.cycle_time_s,
        )
    except ReferencePeriodError as error:
        if chosen is None:
            raise
        raise typer.BadParameter(str(error), param_hint="--reference") from error
    header = replace(gears.header, warnings=(*gears.header.warnings, *notices))
    return replace(settings, references=references), header


def _made_by(observation: Observation, until: datetime) -> bool:
    return observation.finished_at is None or observation.finished_at <= until


def _period(text: str) -> Period:
    """Both ends of `--reference`: times where they read as such, else dress labels or cycle numbers."""
    first, dots, last = text.partition("..")
    if not dots or not first.strip() or not last.strip():
        raise typer.BadParameter(
            f"found '{text}', expected FROM..TO, such as 5..24, D005..D024 or 2025-04-07..2025-04-11",
            param_hint="--reference",
        )
    return _end(first.strip(), closing=False), _end(last.strip(), closing=True)


def _end(text: str, *, closing: bool) -> str | datetime:
    from gearqa.cli.stores import moment

    if "-" not in text:  # fromisoformat takes 20250407 for a date, which may be a dress label
        return text
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return text
    at = moment(text, "--reference", end_of_day=closing)
    assert at is not None
    return at


def _with_zone(production: Production) -> Production:
    """Times without a zone are local, as in the store."""
    at = production.finished_at
    return production if at is None or at.tzinfo else replace(production, finished_at=_aware(at))


def _aware(at: datetime) -> datetime:
    return at if at.tzinfo is not None else at.astimezone()


def _asked_for(part_number: str | None, grinder: str | None, parameters: Sequence[str] | None) -> str:
    asked = [
        *([f"of part {part_number}"] if part_number is not None else []),
        *([f"on grinder {grinder}"] if grinder is not None else []),
        *([f"for {', '.join(parameters)}"] if parameters else []),
    ]
    return " ".join(["", *asked])
