"""Whether one series is in control: reference cycles, signals of its charts, reasons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gearqa.drift import phrases
from gearqa.drift.between_cycles import Levels
from gearqa.drift.control_points import (
    MINIMUM_REFERENCE,
    SeriesCharts,
    chart_series,
    choose_reference,
)
from gearqa.drift.ordering import seconds
from gearqa.drift.series_gears import SeriesGears
from gearqa.model.drift import ChartName, DriftSettings, Reference, Sentence, Signal
from gearqa.statistics.wear import WearFit
from gearqa.wording.sentences import sentence


@dataclass(frozen=True, slots=True)
class Control:
    """What the control charts of a series say."""

    reference: Reference | None
    """Cycles that the limits come from, as they are reported."""
    charts: SeriesCharts | None
    signals: tuple[Signal, ...]
    in_control: bool | None
    why: tuple[tuple[str, str], ...]
    """Code and clause of each reason that `in_control` is false or None."""

    @property
    def reasons(self) -> tuple[Sentence, ...]:
        """The reasons in whole sentences."""
        return tuple(Sentence(code, sentence(clause)) for code, clause in self.why)


def control_of_series(
    gears: SeriesGears, fit: WearFit, levels: Levels, settings: DriftSettings, rate: float
) -> Control:
    """Chart a series and judge its control; `rate` false alarms per cycle, all charts."""
    reference, span = _reference(gears, levels, settings)
    if span is None:
        found = gears.order.cycles if gears.order.known else 0
        clause = f"fewer than {MINIMUM_REFERENCE} dress cycles for control limits ({found} in the history)"
        return Control(reference, None, (), None, (("few_cycles", clause),))
    charts = chart_series(gears.means, fit, span, rate, settings.ewma_weight)
    signals = _signals(charts, gears, settings)
    why = []
    if signals:
        cycles = phrases.listed_cycles(sorted({signal.cycle for signal in signals}))
        why.append(("beyond_limit", f"beyond a control limit in {cycles}"))
    why += [
        ("level_change", f"level change at cycle {gears.order.number(change)} without a recorded event")
        for change in levels.unexplained
        if change > span[0]
    ]
    return Control(reference, charts, signals, not why, tuple(why))


def _reference(
    gears: SeriesGears, levels: Levels, settings: DriftSettings
) -> tuple[Reference | None, tuple[int, int] | None]:
    """Reference as reported (cycles from 1) and as used (from 0, end exclusive)."""
    order = gears.order
    if not order.known:
        return None, None
    chosen = settings.references.get(gears.key, settings.reference)
    if chosen is not None:
        start = max(0, chosen.from_ - order.first_number)
        stop = min(order.cycles, chosen.to - order.first_number + 1)
        return chosen, (start, stop) if stop - start >= MINIMUM_REFERENCE else None
    first = levels.explained[-1] if levels.explained else 0
    span = choose_reference(order.cycles, first, tuple(c for c in levels.unexplained if c > first))
    if span is None:
        return None, None
    return Reference(order.number(span[0]), order.number(span[1] - 1), frozen=False), span


def _signals(charts: SeriesCharts, gears: SeriesGears, settings: DriftSettings) -> tuple[Signal, ...]:
    """First point of every cycle beyond a limit, chart by chart, in production order."""
    order = gears.order
    last = {int(c): i for i, c in enumerate(gears.cycle)}
    beyond = np.flatnonzero(charts.ewma_signals)
    first_beyond = beyond[np.unique(gears.cycle[beyond], return_index=True)[1]]
    places: dict[ChartName, list[int]] = {
        "levels": [last[int(c)] for c in np.flatnonzero(charts.level_signals)],
        "levels_moving_range": [last[int(c)] for c in np.flatnonzero(charts.moving_range_signals)],
        "residual_ewma": first_beyond.tolist(),
    }

    def signal(chart: ChartName, i: int) -> Signal:
        c = int(gears.cycle[i])
        at = order.start[c]
        recent = settings.since is not None and at is not None and seconds(at) >= seconds(settings.since)
        current = recent or c == order.cycles - 1
        return Signal(chart, "beyond_limit", gears.serial[i], order.number(c), order.dress[c], current)

    found = [(i, signal(chart, i)) for chart, where in places.items() for i in where]
    return tuple(one for _, one in sorted(found, key=lambda pair: pair[0]))
