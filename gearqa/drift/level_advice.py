"""What to do about levels: signals, changes, trends, corrections, labels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from gearqa.drift import phrases
from gearqa.drift.corrections import ALARMS, correction_clause
from gearqa.drift.what_changed import OF_CLAMPING, driven_too, what_changed
from gearqa.model.drift import (
    CommonChange,
    DriftSeries,
    DriftSettings,
    LevelChange,
    Suspicion,
    WavesAsShapes,
    common_changes,
)
from gearqa.wording.numbers import chance_text, count_text, um_text
from gearqa.wording.sentences import listed

BOTH_FLANKS: Final = {
    "profile_slope": ("alike: the pressure angle", "opposite: the sides of the dresser"),
    "helix_slope": ("alike: a taper", "opposite: the lead"),
}
"""What a change of both flanks is that is alike, and one that is opposite, with plus as for a trace."""
CLEARLY: Final = 3.0
Advice = tuple[str, str, str]
"""Code, the series that it is about (empty: all of the grinder), text."""


def signal_advice(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    """Signals that count, all charts and series of one cycle together, and where to look."""
    signalling = [one for one in members if one.current_signals]
    if not signalling:
        return
    cycles = {signal.cycle for one in signalling for signal in one.current_signals}
    places = {one.cycle: one for series in signalling for one in series.cycle_levels_um}
    where = phrases.cycles_place([places[cycle] for cycle in sorted(cycles)])
    yield "signal", listed(map(phrases.name_of, signalling)), f"beyond a control limit in {where}"
    if not any(_explained(one) for one in signalling):
        yield "find_cause", "", f"look for what changed in or before {where}"


def _explained(one: DriftSeries) -> bool:
    """Whether other advice says what moved a series, and since when."""
    drifts = one.level_trend_um_per_cycle is not None
    return bool(one.steps) or one.level_moved or one.correction_alarm or drifts


def correction_advice(members: Sequence[DriftSeries], *, alarm: bool) -> Iterator[Advice]:
    """What recorded corrections did: those that alarm, or the others."""
    for series in members:
        for one in series.corrections:
            text, name = correction_clause(one), phrases.name_of(series)
            if one.alarm and alarm:
                left = um_text(one.remainder or 0.0, 1, signed=True)
                yield "correction", name, f"{text}; the level lies {left} off what was meant"
                check = f"check the correction before {phrases.cycles_place([one])}"
                yield "correct_again", name, f"{check}: value, sign, axis and flank, and that it was entered"
            elif not one.alarm and not alarm:
                code = "correction_past" if one.verdict in ALARMS else "correction_seen"
                yield code, name, text


def label_advice(members: Sequence[DriftSeries]) -> Iterator[Advice]:
    """Effects of labels that are claimed."""
    for series in members:
        for one in series.labels:
            if one.claimed:
                yield "label_effect", phrases.name_of(series), phrases.label_clause(one)


def level_advice(members: Sequence[DriftSeries], settings: DriftSettings) -> Iterator[Advice]:
    """Level changes, trends, and what is suspected."""
    waves = settings.waves_as_shapes.get(members[0].part, {}) if members else {}
    with_others: set[int] = set()
    for change in common_changes(members):
        driven = driven_too(change, members)
        with_others.update(id(one) for one in driven)
        yield from _change(change, driven, waves, members)
    for series in members:
        name = phrases.name_of(series)
        trend = series.level_trend_um_per_cycle
        if id(series) not in with_others and trend is not None and series.trend_interval:
            yield "level_trend", name, phrases.trend_clause(trend, series.trend_interval)
            clamping = series.parameter in OF_CLAMPING or _moving_wave(series.parameter, waves, members)
            where = "fixture, table" if clamping else "the dresser"
            yield "correct_level", name, f"look at {where} and the set-up{_until_correction(series)}"
        if id(series) not in with_others and series.level_moved:
            text = "the level moved; level change or slow trend cannot be told apart yet"
            yield "level_moved", name, text
        if series.suspected is not None:
            count = series.suspected.cycles
            last = "cycle lies" if count == 1 else f"{count} cycles lie"
            size = um_text(series.suspected.size_um, 1, signed=True)
            text = f"the last {last} {size} off the level; no claim, the interval allows for it"
            yield "level_suspected", name, text
            if series.suspected.matters:
                yield "measure_next", name, _measure_next(series, series.suspected)
        for step in series.steps[:-1]:
            size = um_text(step.size_um, 1, signed=True)
            causes = _cause(list(step.possible_causes))
            text = f"level change of {size} at {phrases.cycles_place([step])}; {causes}"
            yield "level_change_past", name, text


def _moving_wave(parameter: str, waves: WavesAsShapes, members: Sequence[DriftSeries]) -> bool:
    """Whether a wave that the traced teeth take for this slope moves too."""
    orders = {f"runout_order_{order}" for slope, order in waves if slope == parameter}
    return any(
        one.parameter in orders and (one.level_moved or one.level_trend_um_per_cycle is not None)
        for one in members
    )


def _change(
    change: CommonChange, driven: Sequence[DriftSeries], waves: WavesAsShapes, members: Sequence[DriftSeries]
) -> Iterator[Advice]:
    """The last level changes that may have begun at one cycle, as one."""
    steps = [step for _, step in change.changes]
    low, high = change.place.cycle_low, change.place.cycle_high
    where = phrases.cycles_place([change.place])
    place = where + (f", it may have begun in cycles {low} to {high}" if low < high else "")
    causes = list(change.possible_causes)
    first = "provisional level change" if all(step.provisional for step in steps) else "level change"
    too = [f"{listed(map(phrases.name_of, driven))} moved too"] if driven else []
    told = [*what_changed(change), *too, *_slopes(change.changes, waves, members), _cause(causes)]
    yield "level_change", "", f"{first} at {place}: {'; '.join(told)}"
    if not causes:
        yield "find_cause", "", f"look for what changed at {where}; nobody recorded it"
    elif any(series.current_signals for series, _ in change.changes):
        yield "check_cause", "", f"check what was recorded near {where}: {listed(causes)}"


def _slopes(
    together: Sequence[tuple[DriftSeries, LevelChange]], waves: WavesAsShapes, members: Sequence[DriftSeries]
) -> Iterator[str]:
    """What changed slopes are; where all traced teeth see a wave at the same place, it may be that wave."""
    sizes = {series.parameter: abs(step.size_um) for series, step in together}
    made: dict[str, int] = {}
    for series, step in together:
        for (parameter, order), per_um in waves.items():
            most = per_um * sizes.get(f"runout_order_{order}", 0.0)
            if parameter == series.parameter and 0.0 < abs(step.size_um) <= most:
                made.setdefault(parameter, order)
    for order in dict.fromkeys(made.values()):
        names = listed(phrases.parameter_name(one) for one, by in made.items() if by == order)
        yield (
            f"all traced teeth lie at the same place of order {order}: whether {names} changed or only that "
            "order cannot be told; trace another number of teeth evenly round the gear, such as one more"
        )
    told = [one for one in together if one[0].parameter not in made and (one[0].parameter, 1) not in waves]
    yield from _on_both_flanks(told)
    slopes = {series.parameter for series, _ in together}
    unseen = [order for parameter, order in waves if parameter in slopes]
    if unseen and not any(one.parameter.startswith("runout_order_") for one in members):
        yield (
            f"without pitch or balls of all teeth a wave of order {min(unseen)} looks the same on the traced "
            "teeth"
        )


def _on_both_flanks(together: Sequence[tuple[DriftSeries, LevelChange]]) -> Iterator[str]:
    """What changes of both flanks are together, where one part outweighs the other by far."""
    sizes = {(series.parameter, series.flank): step.size_um for series, step in together}
    for parameter, (alike, opposite) in BOTH_FLANKS.items():
        left, right = sizes.get((parameter, "left")), sizes.get((parameter, "right"))
        if left is None or right is None:
            continue
        common, apart = abs(left + right), abs(right - left)
        if max(common, apart) >= CLEARLY * min(common, apart):
            name = phrases.parameter_name(parameter)
            yield f"{name} of both flanks {alike if common > apart else opposite}"


def _cause(causes: list[str]) -> str:
    return f"possible cause, recorded near it: {listed(causes)}" if causes else "no event is recorded near it"


def _measure_next(series: DriftSeries, found: Suspicion) -> str:
    """Which part settles a suspicion."""
    places = {one.cycle: one for one in series.cycle_levels_um}
    where = phrases.cycles_place([places[found.measure_cycle or 0]])
    return (
        f"measure part {found.measure_part} of {where} next: of the parts made since the level may have "
        f"moved it is the likeliest to lie beyond a limit ({chance_text(found.measure_p or 0.0)})"
    )


def _until_correction(series: DriftSeries) -> str:
    """When a trend makes a correction due."""
    ahead = series.cycles_to_correction
    if ahead is None:
        return ""
    high = "more" if ahead.high is None else str(ahead.high)
    when = f"in {count_text(ahead.expected, 'cycle')}" if ahead.expected else "now"
    return f"; the level itself needs a correction {when} ({ahead.low} to {high} cycles)"
