"""Signals of a watch: gears that do not conform, and drift, each told once."""

from __future__ import annotations

import os
import shlex
import subprocess
from collections.abc import Iterator
from typing import TYPE_CHECKING

from gearqa.cli.console import tell
from gearqa.model.history import IntakeReport, WatchSignal

if TYPE_CHECKING:
    from gearqa.history.store import HistoryStore
    from gearqa.model.drift import Reference, SeriesKey

COMMAND_SECONDS = 60
NAMED = 5


def signals_of(store: HistoryStore, report: IntakeReport) -> list[WatchSignal]:
    """Signals after a folder was added: new ones and those that are known."""
    return [*_failing(store, report), *drift_signals(store, report.part_number)]


def standing_signals(store: HistoryStore) -> set[str]:
    """Keys of the drift signals that the store shows already."""
    from gearqa.history.queries import part_numbers

    with store.reading() as connection:
        parts = part_numbers(connection)
    return {signal.key for part in parts for signal in drift_signals(store, part)}


def drift_signals(store: HistoryStore, part_number: str) -> Iterator[WatchSignal]:
    """Series of a part with a signal in their current cycle, or with the limit ahead."""
    from gearqa.drift import analyse_observations
    from gearqa.drift.reference_periods import ReferencePeriodError, place_references
    from gearqa.history.observations import (
        load_events,
        load_observations,
        load_references,
    )
    from gearqa.model.drift import DriftSettings

    observations = list(load_observations(store, part_number=part_number))
    if not observations:
        return
    events = load_events(store)
    frozen = {
        (one.part_number, one.grinder): (one.from_at, one.to_at)
        for one in load_references(store, part_number=part_number)
    }
    references: dict[SeriesKey, Reference] = {}
    try:
        references, _ = place_references(observations, events, lambda *where: frozen.get(where))
    except ReferencePeriodError as error:
        tell(f"the frozen reference is not used: {error}")
    settings = DriftSettings(references=references)
    for series in analyse_observations(observations, events, settings).series:
        name = "/".join(str(word) for word in series.key if word is not None)
        places = [
            f"{signal.chart}/{signal.rule}/{signal.cycle}" for signal in series.signals if signal.current
        ]
        places += [f"limit/{series.current_cycle}"] if series.limit_within_interval else []
        for where in places:
            yield WatchSignal(f"drift/{name}/{where}", part_number, series.grinder, series.sentence)


def _failing(store: HistoryStore, report: IntakeReport) -> Iterator[WatchSignal]:
    from gearqa.history.queries import Selection, select_gears

    if report.intake is None or not report.not_conforming:
        return
    with store.reading() as connection:
        gears = list(select_gears(connection, Selection(intake=report.intake, conforms=False)))
    if gears:
        serials = [gear.serial for gear in gears]
        more = f" and {len(serials) - NAMED} more" if len(serials) > NAMED else ""
        words = "does not conform" if len(serials) == 1 else "do not conform"
        sentence = f"{', '.join(serials[:NAMED])}{more} of part {report.part_number} {words}"
        yield WatchSignal(f"gears/{report.intake}", report.part_number, gears[0].grinder, sentence)


def run_command(command: str, signal: WatchSignal) -> None:
    """Run the command of --on-signal: no shell, the signal in its environment; its failure is told."""
    words = shlex.split(command)
    environment = {
        **os.environ,
        "GEARQA_SIGNAL": signal.sentence,
        "GEARQA_PART_NUMBER": signal.part_number,
        "GEARQA_GRINDER": signal.grinder or "",
    }
    try:
        done = subprocess.run(
            words, env=environment, stdin=subprocess.DEVNULL, timeout=COMMAND_SECONDS, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        tell(f"--on-signal: {words[0]} could not be run: {error}")
        return
    if done.returncode:
        tell(f"--on-signal: {words[0]} ended with exit status {done.returncode}")
