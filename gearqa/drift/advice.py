"""What to do: gears to hold, grinder, dress interval, sampling."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from gearqa.drift import phrases
from gearqa.drift.control import CHARTS
from gearqa.drift.level_advice import Advice, correction_advice, label_advice, level_advice, signal_advice
from gearqa.drift.outlook import Outlook
from gearqa.model.drift import (
    LEAST_OFFSET_UM,
    DressDecision,
    DriftSeries,
    DriftSettings,
    Hold,
    HoldRange,
    Sentence,
)
from gearqa.statistics.detection import parts_per_measurement, plan_power
from gearqa.wording.numbers import chance_text, count_text, share_text, signed_text, um_text
from gearqa.wording.safety import GEOMETRY_ONLY, SETTER, WHO_DECIDES
from gearqa.wording.sentences import sentence, some_of

ALARM_CODES = ("quarantine", "beyond_limit", "correction", "signal", "limit_ahead")
"""Advice that is the reason of an alarm."""
CORRECTING_CODES = (
    "centre_cycle", "level_change", "level_trend", "correction", "level_moved", "dress_interval",
)  # fmt: skip
"""Advice that may lead to a correction of the grinder or to another dress interval."""
MOST_PER_CYCLE = 5
"""Plans with more measured parts per cycle are not proposed."""
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
        holds = chain(_holds(series, ranges), correction_advice(series, alarm=True), signal_advice(series))
        urgent += _placed(where, chain(holds, _limits_ahead(series)))
        interval = _dress_interval(series, decided.get((part, grinder)), settings)
        levels = chain(level_advice(series, settings), _centring(series, decided.get((part, grinder))))
        seen = chain(correction_advice(series, alarm=False), label_advice(series))
        rest += _placed(where, chain(interval, levels, _sampling(members, settings), seen))
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


def _holds(members: Sequence[DriftSeries], ranges: Sequence[HoldRange]) -> Iterator[Advice]:
    asking = [one for one in members if one.quarantine is not None]
    if not asking:
        return
    if ranges:
        count = sum(one.parts for one in ranges)
        worst = max(ranges, key=lambda one: one.largest_p)
        text = (
            f"hold {count_text(count, 'part')} that {'was' if count == 1 else 'were'} made and not measured: "
            f"{phrases.held_ranges(ranges, RANGES_SHOWN)}; measure part {worst.measure_first} of "
            f"{phrases.cycles_place([worst])} first; each has more than 1 % chance to lie beyond a limit"
        )
        yield "quarantine", "", text
    failing = dict.fromkeys(
        serial for one in asking if one.quarantine is not None for serial in one.quarantine.failing
    )
    if failing:
        shown = some_of(list(failing), SERIALS_SHOWN)
        yield "beyond_limit", "", f"measured beyond a limit: {shown}; hold them"
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


def _limits_ahead(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    for series in members:
        if series.limit_within_interval and series.parts_to_limit is not None:
            expected = count_text(series.parts_to_limit.expected, "part")
            usual = count_text(series.current_dress_interval_parts or 0, "part")
            text = (
                f"the limit is reached after {expected} of this cycle, before the usual dress after {usual}"
            )
            yield "limit_ahead", phrases.name_of(series), text


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
        subject = "" if alike else phrases.name_of(first)
        yield "dress_unknown", subject, f"no dress interval: {decision.reason}"
        return
    if parts == 0:
        text = f"not even the first part after a dress keeps the risk of {share_text(settings.risk)}"
        yield "dress_none", phrases.name_of(first), text
        return
    low, high = first.wear_interval_um_per_part or (math.nan, math.nan)
    decides = ""
    if not decision.at_least:  # else none sets it: what was measured ends there
        decides = (
            f"{phrases.name_of(first)} decides (wear {signed_text(low, 3)} to {signed_text(high, 3)} µm per "
            f"part, standard deviation of a part {um_text(first.sd_um or 0.0)}); "
        )
    yield (
        "dress_interval",
        "",
        f"{phrases.dress_clause(parts, decision.at_least, settings.risk)}; {decides}"
        f"{phrases.from_now_clause(decision)}",
    )
    if decision.holds_cycles is not None:
        holds = count_text(decision.holds_cycles, "coming cycle")
        yield "dress_holds", "", f"under the trend the interval holds for {holds}, then look again"
    more = next((one for one in decision.choices if one.risk == settings.risk), None)
    if more is not None and not decision.at_least:
        floor = "at least " if more.one_more_at_least else ""
        gain = f"{floor}{count_text(more.one_more_parts, 'part')} per dress instead of {parts}"
        if more.one_more_parts == parts:
            gain = "the same interval"
        yield "one_more_gear", "", f"one more gear measured in every cycle: {gain}"
    if first.gap is not None and first.if_straight_parts is not None:
        text = (
            f"its wear is not straight: measure between part {first.gap[0]} and part {first.gap[1]}; if it "
            f"is straight there, {count_text(first.if_straight_parts, 'part')}"
        )
        yield "measure_gap", phrases.name_of(first), text
    elif first.gap is not None:
        text = f"two measured positions cannot show straight wear: measure between parts {first.gap[0]} and "
        yield "measure_gap", "" if decision.at_least else phrases.name_of(first), f"{text}{first.gap[1]} too"
    dressing = f"dressing after {count_text(usual or 0, 'part')}"
    if usual is not None and usual < parts:
        yield "dress_early", "", f"{dressing} gives away {count_text(parts - usual, 'part')} per dress"
    elif usual is not None and usual > parts and not decision.at_least:
        text = f"{dressing} does not keep the risk of {share_text(settings.risk)}"
        if decision.usual_risk is not None:
            text += f": the last one lies beyond the limit with {share_text(decision.usual_risk, 2)}"
        yield "dress_late", "", text


def _centring(members: Sequence[DriftSeries], decision: DressDecision | None) -> Iterator[Advice]:
    for series in members:
        offset, centred = series.centring_offset_um, series.dress_interval_centred_parts
        own = series.dress_interval_parts or 0
        if offset is None or centred is None or abs(offset) < LEAST_OFFSET_UM or centred <= own:
            continue
        towards = phrases.direction(series.parameter, offset)
        start = f"start the cycle {um_text(abs(offset), 1)} towards {towards}"
        gain = f"this series then allows {count_text(centred, 'part')} per dress instead of {own}"
        wait = ""
        if series.correction_alarm:
            wait = "; first find out what became of the last correction"
        elif series.just_moved:
            wait = "; the level change may be one odd cycle: measure the next one first"
        yield "centre_cycle", phrases.name_of(series), f"{start}; {gain}{wait}"
    if decision is not None and decision.centred_parts is not None:
        gained = count_text(decision.centred_parts - (decision.parts or 0), "gear")
        parts = count_text(decision.centred_parts, "part")
        text = f"centring gains {gained} per dress: {parts} for all series together"
        yield "centring_gain", "", text


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
    between = series.gap is not None and series.if_straight_parts is None
    fewest = 3 if between else 2  # two places cannot show how the wear goes
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
        for measured in range(min(fewest, most), most + 1)
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
        f"measure parts {places} of every cycle of {cycle}: if {phrases.name_of(series)} moves by "
        f"{um_text(shift, 1 if shift >= 1 else 2)} and stays there ({meaning}), the chart of levels, with "
        f"limits from {count_text(reference, 'cycle')}, {outcome}{clock}",
    )
