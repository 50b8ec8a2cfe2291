"""The gears that drift analysis looks at: of folders, graded as they stream by, or of the store."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from gearqa.diagnosis.alike import TracedPart, traced_teeth
from gearqa.diagnosis.followed import with_components
from gearqa.drift.reference_periods import Period
from gearqa.errors import EvaluationError, Notice, NoticeCode
from gearqa.evaluation.observations import UNKNOWN_GRINDER, observations_from_results
from gearqa.evaluation.part_setup import setup_of
from gearqa.jobs.folders import open_folder, require_folder
from gearqa.jobs.progress import Progress
from gearqa.jobs.times import parsed_time
from gearqa.model.drift import DriftHeader, MadePart, Observation
from gearqa.model.history import Acknowledgement
from gearqa.model.measurement import GrinderEvent, InputFile, Production
from gearqa.wording.numbers import count_text

if TYPE_CHECKING:
    from gearqa.jobs.stores import AnyStore


SERIALS_NAMED = 20


@dataclass(frozen=True, slots=True)
class Asked:
    """Which gears and parameters are asked for; None: all."""

    part_number: str | None = None
    grinder: str | None = None
    parameters: tuple[str, ...] | None = None

    def of_grinder(self, grinder: str) -> bool:
        """Whether a grinder is asked for."""
        return self.grinder in (None, grinder)

    def includes(self, one: Observation) -> bool:
        """Whether an observation is asked for."""
        return self.part_number in (None, one.part) and self.of_grinder(one.grinder)

    @property
    def words(self) -> str:
        """What is asked for, with a blank before it."""
        part = "" if self.part_number is None else f" of part {self.part_number}"
        grinder = "" if self.grinder is None else f" on grinder {self.grinder}"
        return part + grinder + (f" for {', '.join(self.parameters)}" if self.parameters else "")


@dataclass(frozen=True, slots=True)
class DriftGears:
    """What is analysed, and where it comes from."""

    header: DriftHeader
    observations: list[Observation]
    events: list[GrinderEvent]
    nothing: EvaluationError
    """To raise where nothing is left to analyse: why, and the way out."""
    frozen: dict[tuple[str, str], Period] = field(default_factory=dict)
    """Frozen references of the store, by part and grinder."""
    made: list[MadePart] = field(default_factory=list)
    """Parts of the production tables of which nothing was measured."""
    parts_per_dress: dict[str, int] = field(default_factory=dict)
    """Usual dress interval by grinder, where part data state it."""
    seen: list[Acknowledgement] = field(default_factory=list)
    """Signals of the store that somebody has seen."""
    traced: dict[str, TracedPart] = field(default_factory=dict)
    """By part number: the drawing of the last gear, and its traced teeth."""


def gears_of_folders(
    folders: Sequence[Path],
    asked: Asked,
    *,
    part: str | Path | None,
    columns: str | Path | None,
    serials: Sequence[str] | None,
    progress: Progress,
) -> DriftGears:
    """Grade folders, one after the other; only observations are kept, not the gears.

    Of a serial that was measured more than once the observations are in order of measuring, as in a store.
    """
    for folder in folders:
        require_folder(folder)
    found_at: list[tuple[datetime | None, Iterable[Observation]]] = []
    serials_met: set[tuple[str, str]] = set()
    repeated = False
    events: dict[GrinderEvent, None] = {}
    inputs: list[InputFile] = []
    notices: dict[Notice, None] = {}
    produced: set[tuple[str, str]] = set()
    unproduced: list[str] = []
    others: dict[tuple[str, str], MadePart] = {}
    standards: dict[str, None] = {}
    stated: dict[str, int] = {}
    traced: dict[str, TracedPart] = {}
    graded = 0
    for folder in folders:
        with open_folder(folder, part=part, columns=columns, serials=serials) as inspection:
            drawing = inspection.part
            standards[drawing.tolerance.standard] = None
            setup = setup_of(drawing)
            for _, gear in progress.over(with_components(inspection, setup), "grading", "gears"):
                graded += 1
                traced[drawing.part.number] = TracedPart(setup, traced_teeth(gear.traces))
                if gear.production is None:
                    unproduced.append(gear.serial)
                    continue
                made = gear.production
                if made.finished_at is not None:  # without a zone it is local, as in the store
                    made = replace(made, finished_at=parsed_time(made.finished_at))
                produced.add((drawing.part.number, made.grinder or UNKNOWN_GRINDER))
                found = observations_from_results(
                    [replace(gear, production=made)],
                    drawing,
                    parameters=asked.parameters,
                    simulated=inspection.simulated,
                )
                met = (drawing.part.number, gear.serial)
                repeated |= met in serials_met
                serials_met.add(met)
                at = None if made.measured_at is None else parsed_time(made.measured_at)
                found_at.append((at, list(filter(asked.includes, found))))
            for serial, row in inspection.production_of_others.items():
                one = _made(drawing.part.number, serial, row)
                if asked.of_grinder(one.grinder):
                    others[one.part, serial] = one
            for name, grinder in drawing.grinder.items():
                if grinder.parts_per_dress is not None:
                    stated[name] = grinder.parts_per_dress
            for event in inspection.events:
                if asked.of_grinder(event.grinder):
                    events[replace(event, at=parsed_time(event.at))] = None
            prefix = f"{folder.name}/" if len(folders) > 1 else ""
            inputs += (replace(file, file=prefix + file.file) for file in inspection.inputs)
            notices |= dict.fromkeys(inspection.notices)
    if unproduced and produced:
        notices[_no_production(unproduced, graded)] = None
    noun = "folder" if len(folders) == 1 else "folders"
    source = f"{noun} {', '.join(map(str, folders))}"
    return DriftGears(
        header=DriftHeader(source, tuple(inputs), tuple(notices), tuple(standards)),
        observations=_as_measured(found_at, repeated=repeated),
        events=list(events),
        nothing=_nothing_in_folders(source, asked, graded, produced),
        made=list(others.values()),
        parts_per_dress=stated,
        traced=traced,
    )


def _as_measured(
    found: Sequence[tuple[datetime | None, Iterable[Observation]]], *, repeated: bool
) -> list[Observation]:
    """Observations as they came; in order of measuring, those without a time first, where serials repeat."""
    if repeated:
        found = sorted(found, key=lambda pair: pair[0].timestamp() if pair[0] else -math.inf)
    return [one for _, own in found for one in own]


def _made(part: str, serial: str, row: Production) -> MadePart:
    """A part that was made and not measured."""
    at = None if row.finished_at is None else parsed_time(row.finished_at)
    grinder = row.grinder or UNKNOWN_GRINDER
    return MadePart(part, grinder, serial, row.wheel, row.dress, row.parts_since_dress, at)


def _no_production(serials: Sequence[str], graded: int) -> Notice:
    shown = ", ".join(serials[:SERIALS_NAMED])
    more = f" and {len(serials) - SERIALS_NAMED} more" if len(serials) > SERIALS_NAMED else ""
    text = (
        f"{len(serials)} of {count_text(graded, 'gear')} without a row in a production table are left out: "
        f"{shown}{more}"
    )
    return Notice(NoticeCode.NO_PRODUCTION_ROW, text)


def _nothing_in_folders(
    source: str, asked: Asked, graded: int, produced: set[tuple[str, str]]
) -> EvaluationError:
    if not graded:
        return _no_gears(source)
    if not produced:
        return EvaluationError(
            f"{source}: no gear has production data ({graded} graded), so their order is not known",
            hint="add a production table: serial and finished_at, grinder, wheel, dress, parts_since_dress "
            "(columns: gearqa explain files)",
        )
    there = ", ".join(f"{part} on {grinder}" for part, grinder in sorted(produced))
    return EvaluationError(f"{source}: nothing to analyse{asked.words}", hint=f"there are gears of {there}")


def _no_gears(source: str) -> EvaluationError:
    return EvaluationError(f"{source}: there are no gears", hint="add some with: gearqa history add FOLDER")


def gears_of_store(place: AnyStore, asked: Asked) -> DriftGears:
    """Observations, events and frozen references of the history store."""
    from gearqa.history.acknowledgements import load_acknowledgements
    from gearqa.history.observations import (
        load_events,
        load_inputs,
        load_observations,
        load_parts_per_dress,
        load_references,
        load_standards,
        load_traces,
        load_unproduced,
    )
    from gearqa.jobs.stores import opened

    part_number, grinder = asked.part_number, asked.grinder
    with opened(place) as store:
        source = f"history store {store.shown}"
        nothing = _no_gears(source)
        if store.gear_count():
            text = f"{source}: no gear with production data{asked.words}"
            nothing = EvaluationError(text, hint="look at: gearqa history list")
        unproduced = load_unproduced(store, part_number=part_number) if grinder is None else []
        warnings = (_no_production(unproduced, store.gear_count()),) if unproduced else ()
        references = load_references(store, part_number=part_number, grinder=grinder)
        loaded = load_observations(
            store, part_number=part_number, grinder=grinder, parameters=asked.parameters
        )
        return DriftGears(
            header=DriftHeader(
                source,
                load_inputs(store, part_number=part_number, grinder=grinder),
                warnings,
                load_standards(store, part_number=part_number),
            ),
            observations=list(loaded),
            events=load_events(store, grinder=grinder),
            nothing=nothing,
            parts_per_dress=load_parts_per_dress(store, part_number=part_number),
            frozen={(one.part_number, one.grinder): (one.from_at, one.to_at) for one in references},
            seen=load_acknowledgements(store, part_number=part_number, grinder=grinder),
            traced={
                number: TracedPart(setup_of(part), traced_teeth(traces))
                for number, (part, traces) in load_traces(store, part_number=part_number).items()
            },
        )
