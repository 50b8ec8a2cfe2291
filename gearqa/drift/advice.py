"""What to do: gears to hold, dress interval, centring, level changes, sampling."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from gearqa.drift import phrases
from gearqa.drift.control import CHARTS
from gearqa.drift.corrections import ALARMS, correction_clause
from gearqa.drift.outlook import Outlook
from gearqa.model.drift import DressDecision, DriftSeries, DriftSettings, Hold, HoldRange, Sentence
from gearqa.statistics.detection import parts_per_measurement, plan_power
from gearqa.wording.numbers import chance_text, count_text, share_text, signed_text, um_text
from gearqa.wording.safety import GEOMETRY_ONLY, SETTER, WHO_DECIDES
from gearqa.wording.sentences import listed, sentence

ALARM_CODES = ("quarantine", "beyond_limit", "correction", "signal", "limit_ahead")
"""Advice that is the reason of an alarm."""
CORRECTING_CODES = ("centre_cycle", "level_change", "level_trend", "correction", "level_moved")
"""Advice that may lead to a correction of the grinder."""
Advice = tuple[str, str, str]
"""Code, the series that it is about (empty: all of the grinder), text."""
MOST_PER_CYCLE = 5
"""Plans with more measured parts per cycle are not proposed."""
LEAST_OFFSET_UM = 0.05
"""A smaller offset is not worth a correction."""
RANGES_SHOWN = 6
SERIALS_SHOWN = 12
LONGEST = 20
"""Cycles behind which a change counts as missed by a plan."""


def advise(
    analysed: Sequence[tuple[DriftSeries, Outlook]],
    hold: Hold,
    dress: Sequence[DressDecision],
    settings: DriftSettings,
) -> tuple[Sentence, ...]:
    """Advice over all series, the most urgent first; part and grinder are named where there are several."""
    groups: dict[tuple[str, str], list[tuple[DriftSeries, Outlook]]] = {}
    for pair in analysed:
        groups.setdefault((pair[0].part, pair[0].grinder), []).append(pair)
    decided = {(one.part, one.grinder): one for one in dress}
    urgent: list[Sentence] = []
    rest: list[Sentence] = []
    for (part, grinder), members in groups.items():
        where = f"{part} on {grinder}" if len(groups) > 1 else ""
        series = [one for one, _ in members]
        ranges = [one for one in hold.ranges if (one.part, one.grinder) == (part, grinder)]
        holds = chain(_holds(series, ranges), _corrections(series, alarm=True), _signals(series))
        urgent += _placed(where, chain(holds, _limits_ahead(series)))
        interval = _dress_interval(series, decided.get((part, grinder)), settings)
        levels = chain(_centring(series), _levels(series), _corrections(series, alarm=False), _labels(series))
        rest += _placed(where, chain(interval, levels, _sampling(members, settings)))
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


def _holds(members: Sequence[DriftSeries], ranges: Sequence[HoldRange]) -> Iterator[Advice]:
    asking = [one for one in members if one.quarantine is not None]
    if not asking:
        return
    if ranges:
        count = sum(one.parts for one in ranges)
        worst = max(ranges, key=lambda one: one.largest_p)
        text = (
            f"hold {count_text(count, 'part')} that {'was' if count == 1 else 'were'} made and not measured: "
            f"{phrases.held_ranges(ranges, RANGES_SHOWN)}; measure part {worst.measure_first} of cycle "
            f"{worst.cycle} first; each has more than 1 % chance to lie beyond a limit"
        )
        yield "quarantine", "", text
    failing = dict.fromkeys(
        serial for one in asking if one.quarantine is not None for serial in one.quarantine.failing
    )
    if failing:
        shown = ", ".join(list(failing)[:SERIALS_SHOWN])
        more = f" and {len(failing) - SERIALS_SHOWN} more" if len(failing) > SERIALS_SHOWN else ""
        yield "beyond_limit", "", f"measured beyond a limit: {shown}{more}; hold them"
    if not ranges:
        known = [one.quarantine.largest_p for one in asking if one.quarantine is not None]
        chances = [p for p in known if p is not None]
        text = "which parts to hold cannot be computed without limits, wear and levels"
        if chances:
            text = (
                "no unmeasured part needs to be held: the largest chance of one to lie beyond a limit is "
                f"{chance_text(max(chances))}"
            )
        yield "nothing_to_hold", "", text


def _signals(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    """Signals that count, all charts and series of one cycle together."""
    signalling = [one for one in members if one.current_signals]
    if signalling:
        cycles = sorted({signal.cycle for one in signalling for signal in one.current_signals})
        text = f"beyond a control limit in {phrases.listed_cycles(cycles)}; look for what changed"
        yield "signal", listed([_name(one) for one in signalling]), text


def _corrections(members: Sequence[DriftSeries], *, alarm: bool) -> Iterator[Advice]:
    for series in members:
        for one in series.corrections:
            text = correction_clause(one)
            if one.alarm and alarm:
                left = um_text(one.remainder or 0.0, 1, signed=True)
                yield "correction", _name(series), f"{text}; {left} are left over"
            elif not one.alarm and not alarm:
                code = "correction_past" if one.verdict in ALARMS else "correction_seen"
                yield code, _name(series), text


def _labels(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    for series in members:
        for one in series.labels:
            if one.claimed:
                yield "label_effect", _name(series), phrases.label_clause(one)


def _limits_ahead(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    for series in members:
        if series.limit_within_interval and series.parts_to_limit is not None:
            expected = count_text(series.parts_to_limit.expected, "part")
            usual = count_text(series.current_dress_interval_parts or 0, "part")
            text = (
                f"the limit is reached after {expected} of this cycle, before the usual dress after {usual}"
            )
            yield "limit_ahead", _name(series), text


def _dress_interval(
    members: Sequence[DriftSeries], decision: DressDecision | None, settings: DriftSettings
) -> Iterator[Advice]:
    if decision is None:
        return
    first = next(one for one in members if (one.parameter, one.flank) == (decision.parameter, decision.flank))
    parts, usual = decision.parts, first.current_dress_interval_parts
    if parts is None:
        limited = [one for one in members if one.limit_kind != "none"]
        alike = all(one.dress_interval_reason == decision.reason for one in limited)
        subject = "" if alike else _name(first)
        yield "dress_unknown", subject, f"no dress interval: {decision.reason}"
        return
    if parts == 0:
        text = f"not even the first part after a dress keeps the risk of {share_text(settings.risk)}"
        yield "dress_none", _name(first), text
        return
    low, high = first.wear_interval_um_per_part or (math.nan, math.nan)
    yield (
        "dress_interval",
        "",
        f"{phrases.dress_clause(parts, decision.at_least, settings.risk)}; {_name(first)} "
        f"decides (wear {signed_text(low, 3)} to {signed_text(high, 3)} µm per part, standard deviation of "
        f"a part {um_text(first.sd_um or 0.0)}); for gears as in this history",
    )
    if first.gap is not None and first.if_straight_parts is not None:
        text = (
            f"its wear is not straight: measure between part {first.gap[0]} and part {first.gap[1]}; if it "
            f"is straight there, {count_text(first.if_straight_parts, 'part')}"
        )
        yield "measure_gap", _name(first), text
    elif first.gap is not None:
        text = f"two measured positions cannot show straight wear: measure between parts {first.gap[0]} and "
        yield "measure_gap", _name(first), f"{text}{first.gap[1]} too"
    dressing = f"dressing after {count_text(usual or 0, 'part')}"
    if usual is not None and usual < parts:
        yield "dress_early", "", f"{dressing} gives away {count_text(parts - usual, 'part')} per dress"
    elif usual is not None and usual > parts and not decision.at_least:
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
            place = phrases.cycle_place(step.cycle, step.dress, step.wheel, step.at)
            if step.cycle_low < step.cycle_high:
                place += f", it may have begun in cycles {step.cycle_low} to {step.cycle_high}"
            cause = "no event is recorded near it"
            if step.possible_causes:
                cause = f"possible cause, recorded near it: {listed(list(step.possible_causes))}"
            size = um_text(step.size_um, 1, signed=True)
            first = "provisional level change" if step.provisional else "level change"
            yield "level_change", _name(series), f"{first} of {size} at {place}; {cause}"
        trend = series.level_trend_um_per_cycle
        if trend is not None and series.trend_interval:
            clause = phrases.trend_clause(trend, series.trend_interval)
            yield "level_trend", _name(series), f"{clause}{_until_correction(series)}"
        if series.level_moved:
            text = "the level moved; level change or slow trend cannot be told apart yet"
            yield "level_moved", _name(series), text
        if series.suspected is not None:
            last = count_text(series.suspected.cycles, "cycle")
            size = um_text(series.suspected.size_um, 1, signed=True)
            text = f"the last {last} lie {size} off the level; no claim, the interval allows for it"
            yield "level_suspected", _name(series), text


def _until_correction(series: DriftSeries) -> str:
    """How long a trend leaves interval and level as they are."""
    ahead = series.cycles_to_correction
    text = "; look at the dresser and the set-up"
    if ahead is not None:
        high = "more" if ahead.high is None else str(ahead.high)
        when = f"in {count_text(ahead.expected, 'cycle')}" if ahead.expected else "now"
        text += f"; the level itself needs a correction {when} ({ahead.low} to {high} cycles)"
    if series.dress_interval_holds_cycles is not None:
        holds = count_text(series.dress_interval_holds_cycles, "more cycle")
        text += f"; the dress interval of this series holds for {holds}"
    return text


def _sampling(members: Sequence[tuple[DriftSeries, Outlook]], settings: DriftSettings) -> Iterator[Advice]:
    """Which parts of a cycle to measure so that the nearest trouble is seen before parts escape."""
    driving = [
        (outlook.dress.slack_um, series)
        for series, outlook in members
        if series.sd_um is not None
        and (series.current_dress_interval_parts or 0) > 1
        and outlook.dress.slack_um is not None
        and series.reference is not None
    ]
    if not driving:
        return
    shift, series = min(driving, key=lambda pair: pair[0])
    cycle, sd = series.current_dress_interval_parts or 1, series.sd_um or 0.0
    meaning = "what the usual last part has in hand at the chosen risk"
    if not sd <= shift < math.inf:  # hardly any room: nothing could see it
        shift, meaning = 3 * sd, "three standard deviations of a part"
    chosen = series.reference
    reference = max(3, 0 if chosen is None else chosen.to - chosen.from_ + 1)
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
            rate=series.false_alarm.per_series / CHARTS,
            reference=reference,
            backlog=float(backlog),
        )
        for measured in range(min(2, most), most + 1)
    ]
    allowed = cycle if settings.escaped_parts is None else settings.escaped_parts
    fitting = [plan for plan in plans if plan.bound_parts <= allowed]
    best = fitting[0] if fitting else min(plans, key=lambda plan: plan.bound_parts)
    if best.bound_parts <= LONGEST * cycle:
        outcome = f"shows it within {count_text(best.bound_parts, 'part')} in 95 of 100 cases"
        if best.half_parts < best.bound_parts:
            outcome += f", within {best.half_parts} in half of them"
        if not fitting:
            outcome += f"; no plan keeps the {count_text(allowed, 'part')} that may escape"
    else:
        half = count_text(best.half_parts, "part")
        outcome = (
            f"misses it for more than {LONGEST} cycles in 5 of 100 cases or more; half of them within {half}"
        )
    places = ", ".join(map(str, best.positions))
    yield (
        "sampling_plan",
        "",
        f"measure parts {places} of every cycle of {cycle}: if {_name(series)} moves by "
        f"{um_text(shift, 1 if shift >= 1 else 2)} and stays there ({meaning}), the chart of levels, with "
        f"limits from {count_text(reference, 'cycle')}, {outcome}{clock}",
    )
