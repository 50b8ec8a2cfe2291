"""What to do: gears to hold, dress interval, centring, level changes, sampling."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from gearqa.drift import phrases
from gearqa.drift.outlook import Outlook
from gearqa.model.drift import DriftSeries, DriftSettings, Sentence, deciding_series
from gearqa.statistics.detection import parts_per_measurement, plan_power
from gearqa.wording.numbers import count_text, fixed_text, share_text, signed_text, um_text
from gearqa.wording.safety import GEOMETRY_ONLY, SETTER, WHO_DECIDES
from gearqa.wording.sentences import listed, sentence

ALARM_CODES = ("quarantine", "limit_ahead")
"""Advice that is the reason of an alarm."""
CORRECTING_CODES = ("centre_cycle", "level_change", "level_trend")
"""Advice that may lead to a correction of the grinder."""
Advice = tuple[str, str, str]
"""Code, the series that it is about (empty: all of the grinder), text."""
MOST_PER_CYCLE = 5
"""Plans with more measured parts per cycle are not proposed."""
LEAST_OFFSET_UM = 0.05
"""A smaller offset is not worth a correction."""


def advise(analysed: Sequence[tuple[DriftSeries, Outlook]], settings: DriftSettings) -> tuple[Sentence, ...]:
    """Advice over all series, the most urgent first; part and grinder are named where there are several."""
    groups: dict[tuple[str, str], list[tuple[DriftSeries, Outlook]]] = {}
    for pair in analysed:
        groups.setdefault((pair[0].part, pair[0].grinder), []).append(pair)
    urgent: list[Sentence] = []
    rest: list[Sentence] = []
    for (part, grinder), members in groups.items():
        where = f"{part} on {grinder}" if len(groups) > 1 else ""
        series = [one for one, _ in members]
        urgent += _placed(where, chain(_holds(series), _limits_ahead(series)))
        levels = chain(_centring(series), _levels(series))
        rest += _placed(where, chain(_dress_interval(series, settings), levels, _sampling(members, settings)))
    found = urgent + rest
    if any(one.code in CORRECTING_CODES for one in found):
        found.append(Sentence("setter", SETTER))
    if found:
        found += [Sentence("geometry_only", GEOMETRY_ONLY), Sentence("who_decides", WHO_DECIDES)]
    return tuple(found)


def _placed(where: str, found: Iterable[Advice]) -> Iterator[Sentence]:
    for code, subject, text in found:
        clause = ": ".join(filter(None, (", ".join(filter(None, (where, subject))), text)))
        yield Sentence(code, f"{clause}." if where else sentence(clause))  # a part number keeps its case


def _name(series: DriftSeries) -> str:
    return phrases.series_name(series.parameter, series.flank)


def _holds(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    holds: dict[tuple[str | None, str, int], list[str]] = {}
    for series in members:
        hold = series.quarantine
        if hold is not None:
            place = (hold.after_serial, hold.to_serial, len(hold.measured))
            holds.setdefault(place, []).append(_name(series))
    for (after, last, measured), names in holds.items():
        start = f"after {after}" if after else "from the beginning of the history"
        text = (
            f"signal; hold every gear made {start} up to {last} and measure it ({measured} measured so far)"
        )
        yield "quarantine", listed(names), text


def _limits_ahead(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    for series in members:
        if series.limit_within_interval and series.parts_to_limit is not None:
            expected = count_text(series.parts_to_limit.expected, "part")
            usual = count_text(series.current_dress_interval_parts or 0, "part")
            text = (
                f"the limit is reached after {expected} of this cycle, before the usual dress after {usual}"
            )
            yield "limit_ahead", _name(series), text


def _dress_interval(members: Sequence[DriftSeries], settings: DriftSettings) -> Iterator[Advice]:
    first = deciding_series(members)
    if first is None:
        return
    parts, usual = first.dress_interval_parts or 0, first.current_dress_interval_parts
    low, high = first.wear_interval_um_per_part or (math.nan, math.nan)
    yield (
        "dress_interval",
        "",
        f"{phrases.dress_clause(parts, first.dress_interval_at_least, settings.risk)}; {_name(first)} "
        f"decides (wear {signed_text(low, 3)} to {signed_text(high, 3)} µm per part, standard deviation of "
        f"a part {um_text(first.sd_um or 0.0)}); for gears as in this history",
    )
    dressing = f"dressing after {count_text(usual or 0, 'part')}"
    if usual is not None and usual < parts:
        yield "dress_early", "", f"{dressing} gives away {count_text(parts - usual, 'part')} per dress"
    elif usual is not None and usual > parts:
        yield "dress_late", "", f"{dressing} does not keep the risk of {share_text(settings.risk)}"


def _centring(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    for series in members:
        offset, centred = series.centring_offset_um, series.dress_interval_centred_parts
        if offset is None or centred is None or abs(offset) < LEAST_OFFSET_UM:
            continue
        if centred > (series.dress_interval_parts or 0):
            towards = phrases.direction(series.parameter, offset)
            start = f"start the cycle {um_text(abs(offset), 1)} towards {towards}"
            yield (
                "centre_cycle",
                _name(series),
                f"{start}; the interval then is {count_text(centred, 'part')}",
            )


def _levels(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    for series in members:
        for step in series.steps:
            wide = step.cycle_low < step.cycle_high
            place = f" ({step.cycle_low} to {step.cycle_high})" if wide else ""
            cause = (
                f"recorded within one cycle: {step.event}" if step.event else "no event is recorded near it"
            )
            size = um_text(step.size_um, 1, signed=True)
            text = f"level change of {size} at cycle {step.cycle}{place}; {cause}"
            yield "level_change", _name(series), text
        trend = series.level_trend_um_per_cycle
        if series.trend_matters and trend is not None and series.trend_interval:
            clause = phrases.trend_clause(trend, series.trend_interval)
            yield "level_trend", _name(series), f"{clause}; look at the dresser and the set-up"


def _sampling(members: Sequence[tuple[DriftSeries, Outlook]], settings: DriftSettings) -> Iterator[Advice]:
    """Which parts of a cycle to measure so that the nearest trouble is seen before parts escape."""
    driving = [
        (math.inf if outlook.dress.slack_um is None else outlook.dress.slack_um, series)
        for series, outlook in members
        if series.sd_um is not None
        and (series.current_dress_interval_parts or 0) > 1
        and outlook.side is not None
    ]
    if not driving:
        return
    shift, series = min(driving, key=lambda pair: pair[0])
    cycle, sd = series.current_dress_interval_parts or 1, series.sd_um or 0.0
    meaning = "what the usual last part has in hand at the chosen risk"
    if not sd <= shift < math.inf:  # hardly any room: nothing could see it
        shift, meaning = 3 * sd, "three standard deviations of a part"
    most, backlog, clock = MOST_PER_CYCLE, 0, ""
    if settings.cycle_time_s and settings.measuring_time_s:
        backlog = parts_per_measurement(settings.measuring_time_s, settings.cycle_time_s)
        most = max(1, min(most, cycle // backlog))
        clock = f"; the gauge keeps up with one gear in {backlog} at the most"
    plans = [
        plan_power(
            cycle,
            measured,
            shift,
            sd_part=series.sd_part_um or 0.0,
            sd_cycle=series.sd_cycle_um or 0.0,
            rate=series.false_alarm.per_series,
            backlog=float(backlog),
        )
        for measured in range(min(2, most), most + 1)
    ]
    allowed = cycle if settings.escaped_parts is None else settings.escaped_parts
    fitting = [plan for plan in plans if plan.bound_parts <= allowed]
    best = fitting[0] if fitting else min(plans, key=lambda plan: plan.bound_parts)
    outcome = (
        f"in 95 of 100 cases it is seen within {count_text(best.bound_parts, 'part')}, on average "
        f"{fixed_text(best.mean_parts, 0)}"
    )
    if not fitting:
        outcome += f"; no plan keeps the {count_text(allowed, 'part')} that may escape"
    places = ", ".join(map(str, best.positions))
    yield (
        "sampling_plan",
        "",
        f"measure parts {places} of every cycle of {cycle}; {outcome}, for a lasting change of "
        f"{_name(series)} by {um_text(shift, 1 if shift >= 1 else 2)} ({meaning}){clock}",
    )
