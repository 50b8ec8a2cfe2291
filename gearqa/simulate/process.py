"""What the grinder does: the parts in production order, their shapes, dresses and events.

value = shape + level of the dress cycle + (rate of the cycle) x (parts since dress - 1)
        + trend x (cycle - 1) + steps + thermal drift + scatter of the part

Every cycle and every part has a random stream of its own (numpy Generator PCG64, SeedSequence with
a spawn key), so that more parts, other tables or another choice of measured parts change nothing
that was there before.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from gearqa.arrays import Array
from gearqa.model.measurement import GrinderEvent
from gearqa.simulate.scenario import Happening, MeasuredAgain, Measuring, Process, Scenario, Step

CYCLE, PART, MEASUREMENT = 0, 1, 2
"""Kinds of random streams: of a dress cycle, of a part itself, of its measurement."""


def stream(seed: int, kind: int, number: int, again: int = 0) -> np.random.Generator:
    """Random stream of a cycle, a part or a measurement (the first or a later one), independent of others."""
    key = (kind, number, again) if again else (kind, number)
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=key)))


@dataclass(frozen=True, eq=False, slots=True)
class SimulatedPart:
    """One part in production order."""

    number: int
    """From 1."""
    serial: str
    cycle: int
    """From 1."""
    since_dress: int
    """1 for the first part after dressing."""
    last_of_cycle: int
    """1 for the last part before dressing, 2 for the one before."""
    finished_at: datetime
    day: int
    wheel: str
    shape: Array
    """Shape coefficients of the left and the right flank. [um], shape (2, 8)"""


def parts_of_cycle(scenario: Scenario) -> Sequence[int]:
    """Parts since dress that are simulated in each cycle, from 1."""
    process = scenario.process
    return process.parts_of_cycle or range(1, (process.parts_per_dress or scenario.lot.parts) + 1)


def made_parts(scenario: Scenario, seed: int) -> Iterator[SimulatedPart]:
    """All parts of the lot in production order, measured or not."""
    process, lot, parts = scenario.process, scenario.lot, parts_of_cycle(scenario)
    per_dress = len(parts)
    base, trend = scenario.shape.array(), process.trend.array()
    steps = [(_first_part(step, per_dress), step.shift.array(), step.wheel) for step in process.step]
    wheel = process.wheel
    level = rate = base
    for number in range(1, lot.parts + 1):
        index, place = divmod(number - 1, per_dress)
        offset = parts[place] - 1
        if place == 0:
            rng = stream(seed, CYCLE, index + 1)
            level = process.level_scatter.draw(rng)
            rate = process.wear.array() + process.wear_scatter.draw(rng)
        finished, worked, day = _times(process, _ground(scenario, index, offset), index)
        shape = base + level + rate * offset + trend * index
        for first, shift, new_wheel in steps:
            if number >= first:
                shape = shape + shift
            if number == first and new_wheel is not None:
                wheel = new_wheel
        if process.thermal is not None:
            warmth = 1 - np.exp(-worked / 60 / process.thermal.time_constant_min)
            shape = shape + process.thermal.drift.array() * warmth
        shape = shape + process.part_scatter.draw(stream(seed, PART, number))
        in_cycle = min(per_dress, lot.parts - index * per_dress)
        yield SimulatedPart(
            number=number,
            serial=f"{lot.serial_prefix}{lot.first_number + number - 1:0{lot.serial_digits}d}",
            cycle=index + 1,
            since_dress=offset + 1,
            last_of_cycle=in_cycle - place,
            finished_at=finished,
            day=day,
            wheel=wheel,
            shape=shape,
        )


def measured_count(scenario: Scenario) -> int:
    """How many measurements the scenario makes."""
    measured = (m for m in made_parts(scenario, scenario.seed) if is_measured(scenario.measuring, m))
    return sum(1 + len(repeats_of(scenario, made)) for made in measured)


def repeats_of(scenario: Scenario, made: SimulatedPart) -> list[tuple[int, MeasuredAgain]]:
    """The further measurements of a part, with their numbers from 1."""
    all_of = enumerate(scenario.repeat, start=1)
    return [(number, one) for number, one in all_of if not one.serials or made.serial in one.serials]


def is_measured(measuring: Measuring, made: SimulatedPart) -> bool:
    """Whether the plan of the scenario measures this part."""
    first, last, every = measuring.first_of_cycle, measuring.last_of_cycle, measuring.every
    if not first and not last and every is None:
        return True
    return (
        made.since_dress <= first
        or made.last_of_cycle <= last
        or (every is not None and (made.since_dress - 1) % every == 0)
    )


def _ground(scenario: Scenario, cycles_before: int, offset: int) -> int:
    """How many parts were ground, simulated or not, up to this one."""
    return cycles_before * (scenario.process.parts_per_dress or 0) + offset + 1


def _first_part(step: Step, per_dress: int) -> int:
    if step.at_part is not None:
        return step.at_part
    assert step.at_cycle is not None
    return (step.at_cycle - 1) * per_dress + 1


def _times(process: Process, number: int, dresses_before: int) -> tuple[datetime, float, int]:
    """End of grinding, seconds worked since the start of the day, day from 0."""
    worked = number * process.cycle_time_s + (dresses_before + 1) * process.dress_time_s
    day, of_day = divmod(worked, process.hours_per_day * 3600)
    at = datetime.fromisoformat(process.started_at) + timedelta(days=day, seconds=round(of_day))
    return at, of_day, int(day)


def simulate_events(scenario: Scenario) -> list[GrinderEvent]:
    """Events of the scenario in order of time: dresses and recorded steps."""
    process, parts = scenario.process, parts_of_cycle(scenario)
    per_dress = len(parts)
    records: dict[int, list[Happening]] = {}
    for step in process.step:
        if step.record is not None and (first := _first_part(step, per_dress)) <= scenario.lot.parts:
            records.setdefault(first, []).append(step.record)
    wheels = {_first_part(step, per_dress): step.wheel for step in process.step if step.wheel is not None}
    events: list[GrinderEvent] = []
    wheel = process.wheel
    grinding, dressing = timedelta(seconds=process.cycle_time_s), timedelta(seconds=process.dress_time_s)
    for number in range(1, scenario.lot.parts + 1):
        index, place = divmod(number - 1, per_dress)
        offset = parts[place] - 1
        wheel = wheels.get(number, wheel)
        dressed = place == 0 and process.record_dresses
        if not dressed and number not in records:
            continue
        finished = _times(process, _ground(scenario, index, 0 if place == 0 else offset), index)[0]
        for record in records.get(number, ()):
            before = finished - grinding - (dressing if place == 0 else timedelta(0))
            at = before.replace(microsecond=0)
            events.append(GrinderEvent(at=at, grinder=process.grinder, wheel=wheel, **record.model_dump()))
        if dressed:
            at = (finished - grinding).replace(microsecond=0)
            events.append(GrinderEvent(at=at, event="dress", grinder=process.grinder, wheel=wheel))
    return events
