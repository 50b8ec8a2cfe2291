"""What drift analysis needs of a store: observations, events, frozen references."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import Any

import sqlalchemy as sa

from gearqa.evaluation.observations import UNKNOWN_GRINDER
from gearqa.history.figures import whole_lists
from gearqa.history.parts import part_from_text
from gearqa.history.queries import (
    Selection,
    in_portions,
    result_of,
    select_events,
    select_references,
    standards_of_parts,
)
from gearqa.history.sql_tables import FIGURES, GEAR, INTAKE, PART
from gearqa.history.store import HistoryStore
from gearqa.history.stored_texts import loads, stored_time, unpacked
from gearqa.model.drift import DRIFT_PARAMETERS, Observation
from gearqa.model.history import FrozenReference
from gearqa.model.measurement import GrinderEvent, InputFile
from gearqa.model.part import Part
from gearqa.model.results import TraceResult
from gearqa.symbols import FLANKS, Flank


def load_observations(
    store: HistoryStore,
    *,
    part_number: str | None = None,
    grinder: str | None = None,
    parameters: Sequence[str] | None = None,
    last_gears: int | None = None,
) -> Iterator[Observation]:
    """Yield the observations of the gears that count, in the order they were measured.

    Of the same gears and part data these are the ones of `observations_from_results`; times have a zone
    (times that were given without one are local to the station that added them). Gears without
    production data are left out. `last_gears`: only so many, the last ones made.
    """
    wanted = frozenset(DRIFT_PARAMETERS if parameters is None else parameters)
    which = _conditions(part_number, grinder)
    if last_gears is not None:
        newest = sa.select(GEAR.c.id).where(*which, GEAR.c.produced)
        newest = newest.order_by(sa.nulls_last(GEAR.c.finished_utc.desc()), GEAR.c.id.desc()).limit(
            last_gears
        )
        which.append(GEAR.c.id.in_(newest))
    query = (
        sa.select(
            GEAR.c.part_number, PART.c.revision, GEAR.c.serial, GEAR.c.grinder, GEAR.c.wheel, GEAR.c.dress,
            GEAR.c.parts_since_dress, GEAR.c.finished_at, GEAR.c.instrument, GEAR.c.simulated,
            GEAR.c.conditions, FIGURES.c.figures,
        )
        .join(PART, PART.c.id == GEAR.c.part_id)
        .join(FIGURES, FIGURES.c.gear_id == GEAR.c.id)
        .where(*which)
        .order_by(GEAR.c.measured_key, GEAR.c.id)
    )  # fmt: skip
    flanks: dict[str, Flank] = {flank: flank for flank in FLANKS}
    nothing: dict[str, Any] = {}
    with store.reading() as connection:
        rows: Iterator[Any] = in_portions(connection, query)
        for (
            part, revision, serial, made_on, wheel, dress, parts, finished, instrument, simulated, conditions,
            figures,
        ) in rows:  # fmt: skip
            said = nothing if conditions is None else loads(conditions)
            made = (part, made_on or UNKNOWN_GRINDER, wheel, dress, parts, stored_time(finished), serial)
            common = (
                bool(simulated), revision, said.get("fixture"), instrument, said.get("operator"),
                said.get("temperature_degC"),
            )  # fmt: skip
            for one in whole_lists(unpacked(figures)):
                key, flank, _, lower, upper, _, _, expanded, mean, low, high = one
                if key in wanted:
                    yield Observation._make(
                        (*made, key, flanks.get(flank), mean, low, high, lower, upper, expanded, *common)
                    )


def _conditions(part_number: str | None, grinder: str | None) -> list[sa.ColumnElement[bool]]:
    """Gears with production data; `UNKNOWN_GRINDER` are those that name no grinder."""
    named = None if grinder == UNKNOWN_GRINDER else grinder
    which = [*Selection(part_number, grinder=named).conditions(), GEAR.c.produced]
    return [*which, GEAR.c.grinder.is_(None)] if grinder == UNKNOWN_GRINDER else which


def load_inputs(
    store: HistoryStore, *, part_number: str | None = None, grinder: str | None = None
) -> tuple[InputFile, ...]:
    """Files that the gears of `load_observations` were read from, with the name of their folder."""
    adding = sa.select(GEAR.c.intake_id).where(*_conditions(part_number, grinder))
    query = sa.select(INTAKE.c.folder, INTAKE.c.inputs).where(INTAKE.c.id.in_(adding)).order_by(INTAKE.c.id)
    files: dict[InputFile, None] = {}
    with store.reading() as connection:
        for folder, inputs in connection.execute(query):
            name = re.split(r"[/\\]", folder)[-1]
            for one in loads(inputs):
                files.setdefault(InputFile(f"{name}/{one['file']}", one["sha256"], one.get("left_out")))
    return tuple(files)


def load_events(store: HistoryStore, *, grinder: str | None = None) -> list[GrinderEvent]:
    """Events that count, by time."""
    names = [one.name for one in fields(GrinderEvent)]
    with store.reading() as connection:
        found = select_events(connection, grinder=grinder)
    return [GrinderEvent(**{name: getattr(event, name) for name in names}) for event in found]


def load_references(
    store: HistoryStore, *, part_number: str | None = None, grinder: str | None = None
) -> list[FrozenReference]:
    """Frozen reference periods, one at most for a part and grinder."""
    with store.reading() as connection:
        return select_references(connection, part_number=part_number, grinder=grinder)


def load_parts_per_dress(store: HistoryStore, *, part_number: str | None = None) -> dict[str, int]:
    """Usual dress interval by grinder, as the newest part data state it."""
    which = [] if part_number is None else [PART.c.number == part_number]
    found: dict[str, int] = {}
    with store.reading() as connection:
        for (content,) in connection.execute(sa.select(PART.c.content).where(*which).order_by(PART.c.id)):
            for name, grinder in loads(content).get("grinder", {}).items():
                if grinder.get("parts_per_dress") is not None:
                    found[name] = grinder["parts_per_dress"]
    return found


def load_standards(store: HistoryStore, *, part_number: str | None = None) -> tuple[str, ...]:
    """Tolerance systems of the part data, each once, as they first came."""
    with store.reading() as connection:
        return tuple(dict.fromkeys(standards_of_parts(connection, part_number).values()))


def load_traces(
    store: HistoryStore, *, part_number: str | None = None
) -> dict[str, tuple[Part, tuple[TraceResult, ...]]]:
    """Drawing and traces of the last measured gear of each part."""
    which = _conditions(part_number, None)
    newest = sa.func.row_number().over(
        partition_by=GEAR.c.part_number, order_by=(GEAR.c.measured_key.desc(), GEAR.c.id.desc())
    )
    ranked = sa.select(GEAR.c.id, newest.label("place")).where(*which).subquery()
    query = (
        sa.select(GEAR.c.part_number, PART.c.content, GEAR.c.result)
        .join(PART, PART.c.id == GEAR.c.part_id)
        .join(ranked, ranked.c.id == GEAR.c.id)
        .where(ranked.c.place == 1)
    )
    with store.reading() as connection:
        return {
            number: (part_from_text(content), result_of(unpacked(result)).traces)
            for number, content, result in connection.execute(query)
        }


def load_unproduced(store: HistoryStore, *, part_number: str | None = None) -> list[str]:
    """Serials that count but have no production data, in the order they were measured."""
    which = [*Selection(part_number).conditions(), ~GEAR.c.produced]
    query = sa.select(GEAR.c.serial).where(*which).order_by(GEAR.c.measured_key, GEAR.c.id)
    with store.reading() as connection:
        return [serial for (serial,) in connection.execute(query)]
