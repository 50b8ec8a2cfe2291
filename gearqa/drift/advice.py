"""What to do: dress interval per grinder, centring, level changes, sampling, quarantine."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gearqa.drift import words
from gearqa.drift.series import AnalysedSeries
from gearqa.model.drift import DriftSeries, DriftSettings, Sentence
from gearqa.statistics.detection import PlanPower, parts_per_measurement, plan_power
from gearqa.wording.safety import GEOMETRY_ONLY, SETTER, WHO_DECIDES

MOST_PER_CYCLE = 5
"""Plans with more measured parts per cycle are not proposed."""


def advise(analysed: Sequence[AnalysedSeries], settings: DriftSettings) -> tuple[Sentence, ...]:
    """Advice over all series, the most urgent first."""
    groups: dict[tuple[str, str], list[AnalysedSeries]] = {}
    for one in analysed:
        groups.setdefault((one.series.part, one.series.grinder), []).append(one)
    urgent: list[Sentence] = []
    rest: list[Sentence] = []
    for (part, grinder), members in groups.items():
        where = f"{part} on {grinder}"
        urgent += _urgent(where, members)
        rest += _dressing(where, members, settings)
        for one in members:
            rest += _levels(one.series)
        rest += _sampling(where, members, settings)
    found = urgent + rest
    if any(s.code in ("centre_cycle", "level_change", "level_trend") for s in found):
        found.append(Sentence("setter", SETTER))
    if found:
        found += [Sentence("geometry_only", GEOMETRY_ONLY), Sentence("who_decides", WHO_DECIDES)]
    return tuple(found)


def _name(series: DriftSeries) -> str:
    return words.series_name(series.parameter, series.flank)


def _urgent(where: str, members: Sequence[AnalysedSeries]) -> list[Sentence]:
    found = []
    holds: dict[tuple[str | None, str, int], list[str]] = {}
    for one in members:
        hold = one.series.quarantine
        if hold is not None:
            place = (hold.after_serial, hold.to_serial, len(hold.measured))
            holds.setdefault(place, []).append(_name(one.series))
    for (after, last, measured), names in holds.items():
        start = f"after {after}" if after else "from the beginning of the history"
        found.append(
            Sentence(
                "quarantine",
                f"{where}, {' and '.join(names)}: signal; hold every gear made {start} up to {last} and "
                f"measure it ({measured} of them measured so far)",
            )
        )
    for one in members:
        series = one.series
        if series.limit_within_interval and series.parts_to_limit is not None:
            found.append(
                Sentence(
                    "limit_ahead",
                    f"{where}, {_name(series)}: the limit is reached after "
                    f"{words.count(series.parts_to_limit.expected)} of this cycle, before the usual dress "
                    f"after {words.count(series.current_dress_interval_parts or 0)}",
                )
            )
    return found


def _dressing(where: str, members: Sequence[AnalysedSeries], settings: DriftSettings) -> list[Sentence]:
    known = [one.series for one in members if one.series.dress_interval_parts is not None]
    found: list[Sentence] = []
    if known:
        first = min(known, key=lambda s: s.dress_interval_parts or 0)
        parts, usual = first.dress_interval_parts or 0, first.current_dress_interval_parts
        low, high = first.wear_interval_um_per_part or (math.nan, math.nan)
        found.append(
            Sentence(
                "dress_interval",
                f"{where}: {words.dress_clause(parts, first.dress_interval_at_least, settings.risk)}; "
                f"{_name(first)} decides (wear {low:+.3f} to {high:+.3f} um per part, standard deviation "
                f"of a part {words.micrometres(first.sd_um or 0.0, 2)}); for gears as in this history",
            )
        )
        if usual is not None and usual < parts:
            found.append(
                Sentence(
                    "dress_early",
                    f"{where}: dressing after {words.count(usual)} gives away {words.count(parts - usual)} "
                    "per dress",
                )
            )
        elif usual is not None and usual > parts:
            found.append(
                Sentence(
                    "dress_late",
                    f"{where}: dressing after {words.count(usual)} does not keep the risk of "
                    f"{100 * settings.risk:.3g} %",
                )
            )
    for one in members:
        series = one.series
        offset, centred = series.centring_offset_um, series.dress_interval_centred_parts
        present = series.dress_interval_parts or 0
        if offset is None or centred is None or abs(offset) < 0.05 or centred <= present:
            continue
        found.append(
            Sentence(
                "centre_cycle",
                f"{where}, {_name(series)}: start the cycle {words.micrometres(abs(offset))} towards "
                f"{words.direction(series.parameter, offset)}; the interval then is {words.count(centred)}",
            )
        )
    return found


def _levels(series: DriftSeries) -> list[Sentence]:
    where = f"{series.part} on {series.grinder}, {_name(series)}"
    found = []
    for step in series.steps:
        wide = step.cycle_low < step.cycle_high
        place = f" ({step.cycle_low} to {step.cycle_high})" if wide else ""
        cause = f"recorded within one cycle: {step.event}" if step.event else "no event is recorded near it"
        found.append(
            Sentence(
                "level_change",
                f"{where}: level change of {step.size_um:+.1f} um at cycle {step.cycle}{place}; {cause}",
            )
        )
    if series.trend_matters and series.level_trend_um_per_cycle is not None and series.trend_interval:
        low, high = series.trend_interval
        found.append(
            Sentence(
                "level_trend",
                f"{where}: the level after dress moves by {series.level_trend_um_per_cycle:+.2g} um "
                f"per cycle ({low:+.2g} to {high:+.2g}); dressing does not reset it, look at the dresser "
                "and the set-up",
            )
        )
    return found


def _sampling(where: str, members: Sequence[AnalysedSeries], settings: DriftSettings) -> list[Sentence]:
    """Which parts of a cycle to measure so that the nearest trouble is seen before parts escape."""
    driving = [
        one
        for one in members
        if one.series.sd_part_um is not None
        and one.series.sd_cycle_um is not None
        and (one.series.current_dress_interval_parts or 0) > 1
        and one.side is not None
    ]
    if not driving:
        return []
    one = min(driving, key=lambda a: math.inf if a.advice.slack_um is None else a.advice.slack_um)
    series, cycle = one.series, one.series.current_dress_interval_parts or 1
    sd_part, sd_cycle = series.sd_part_um or 0.0, series.sd_cycle_um or 0.0
    shift = one.advice.slack_um
    if shift is None or shift < math.hypot(sd_part, sd_cycle):  # hardly any room: nothing could see it
        shift, meaning = 3 * math.hypot(sd_part, sd_cycle), "three standard deviations of a part"
    else:
        meaning = "what the usual last part has in hand at the chosen risk"
    most, backlog, clock = MOST_PER_CYCLE, 0.0, ""
    if settings.cycle_time_s and settings.measuring_time_s:
        apart = parts_per_measurement(settings.measuring_time_s, settings.cycle_time_s)
        most, backlog = max(1, min(most, cycle // apart)), float(apart)
        clock = f"; the gauge keeps up with one gear in {apart} at the most"
    allowed = cycle if settings.escaped_parts is None else settings.escaped_parts
    plans = [
        plan_power(
            cycle,
            m,
            shift,
            sd_part=sd_part,
            sd_cycle=sd_cycle,
            rate=series.false_alarm.per_series,
            backlog=backlog,
        )
        for m in range(1 if not series.identifiable.wear else min(2, most), most + 1)
    ]
    fitting = [plan for plan in plans if plan.bound_parts <= allowed]
    best = fitting[0] if fitting else min(plans, key=lambda plan: plan.bound_parts)
    outcome = _outcome(best, allowed, kept=bool(fitting))
    places = ", ".join(map(str, best.positions))
    return [
        Sentence(
            "sampling_plan",
            f"{where}: measure parts {places} of every cycle of {cycle}; {outcome}, for a lasting change of "
            f"{_name(series)} by {words.micrometres(shift, 1 if shift >= 1 else 2)} ({meaning}){clock}",
        )
    ]


def _outcome(plan: PlanPower, allowed: int, *, kept: bool) -> str:
    text = f"in 95 of 100 cases it is seen within {plan.bound_parts} parts, on average {plan.mean_parts:.0f}"
    return text if kept else f"{text}; no plan keeps the {allowed} parts that may escape"
