"""Words and tables about drift that terminal and report share."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from gearqa.errors import NoticeCode
from gearqa.model.drift import (
    COMPONENTS,
    DriftHeader,
    DriftResult,
    DriftSeries,
    HoldRange,
    LevelChange,
    SeenSignal,
    Signal,
)
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.explained import with_code
from gearqa.symbols import PARAMETERS, SIZE
from gearqa.wording.numbers import (
    DASH,
    MOST_DECIMALS,
    count_text,
    fixed_text,
    large_text,
    number_text,
    share_text,
    signed_text,
)
from gearqa.wording.sentences import listed, sentence
from gearqa.wording.visible import clip

CHART_NAMES = {
    "levels": "level after dress",
    "levels_moving_range": "change of the level from cycle to cycle",
    "residual_ewma": "smoothed residuals",
}
ORDER = "runout_order_"
LABEL = 48
"""Characters of a label or a name."""
SIGNALS_SHOWN = 20
"""Signals of one chart that are listed with their serials: the last ones."""
RULE_NAMES = {"beyond_limit": "beyond the control limit"}
CYCLES_NEEDED = (
    (6, "a dress interval"), (8, "level changes"), (10, "control limits"),
)  # fmt: skip
"""Dress cycles from which each is told."""
IN_SHORT = (
    "The numbers rest on wear that repeats from cycle to cycle and on a future like this history; "
    "more: gearqa explain drift."
)
CONTROL_LIMITS_ARE_NO_TOLERANCE = (
    "Control limits show what this process does when nothing changes; they are no tolerance limits, and no "
    "gear is good or bad by them."
)


def groups(series: Iterable[DriftSeries]) -> dict[tuple[str, str], list[DriftSeries]]:
    """Series by part and grinder, in their order."""
    found: dict[tuple[str, str], list[DriftSeries]] = {}
    for one in series:
        found.setdefault((one.part, one.grinder), []).append(one)
    return found


def split(series: Iterable[DriftSeries]) -> tuple[list[DriftSeries], list[DriftSeries]]:
    """Series that need attention, those with limits first, and the quiet ones."""
    found: tuple[list[DriftSeries], list[DriftSeries]] = ([], [])
    for one in sorted(series, key=lambda one: one.limit_kind == "none"):
        found[one.quiet].append(one)
    return found


def short_place(place: HoldRange | LevelChange) -> str:
    """A cycle with its label, where room is scarce."""
    if place.cycle is None:
        return f"dress {place.dress}" if place.dress else "a cycle without a measured gear"
    return f"cycle {place.cycle}" + (f" ({place.dress})" if place.dress else "")


def range_text(one: HoldRange) -> str:
    """Parts of a range to hold."""
    if one.from_part == one.to_part:
        return f"part {one.from_part}"
    return f"parts {one.from_part} to {one.to_part}"


def seen_text(one: SeenSignal) -> str:
    """Who has seen a signal, with cause and action."""
    label = f" ({clip(one.dress, LABEL)})" if one.dress else ""
    place = f"seen in cycle {one.cycle}{label} by {clip(one.by, LABEL)} on {one.at.date().isoformat()}"
    cause, action = (clip(text.strip().rstrip(".")) for text in (one.cause, one.action))
    return f"{place}; cause: {cause}; action: {action}"


def systems_text(header: DriftHeader) -> str:
    """Tolerance systems of the limits."""
    return f"Classes and their limits: {', '.join(header.standards)}." if header.standards else ""


def short_name(series: DriftSeries) -> doc.Text:
    """Symbol and flank."""
    name: doc.Text = COMPONENTS.get(series.parameter) or doc.symbol(series.parameter)
    return doc.join(name, (doc.Span(f" {series.flank}", "muted"),)) if series.flank else name


def long_name(series: DriftSeries) -> str:
    """Name and flank in words."""
    names = {SIZE: "size", **COMPONENTS}
    name = names.get(series.parameter) or PARAMETERS[series.parameter].name
    return f"{name}, {series.flank} flank" if series.flank else name


def decimals_of(half_width: float) -> int:
    """Decimals that show a half width to its first digit, between 2 and 4.

    >>> decimals_of(0.0032), decimals_of(0.00035), decimals_of(0.2)
    (3, 4, 2)
    """
    return 2 if not half_width > 0 else min(4, max(2, -math.floor(math.log10(half_width))))


def wear_texts(series: DriftSeries) -> tuple[str, str, str]:
    """Wear per part, half its interval, and both ends of it. [um]"""
    wear, interval = series.wear_um_per_part, series.wear_interval_um_per_part
    if wear is None or interval is None:
        return DASH, "", DASH
    half = (interval[1] - interval[0]) / 2
    digits = decimals_of(half)
    while (
        interval[0] * interval[1] > 0 and digits < MOST_DECIMALS and 0 in {round(v, digits) for v in interval}
    ):
        digits += 1  # an interval that leaves out 0 does not seem to reach it
    mark = " est." if series.wear_estimated else ""
    low, high = (signed_text(v, digits) for v in interval)
    return signed_text(wear, digits) + mark, f"±{fixed_text(half, digits)}", f"{low} to {high}"


def steps_text(series: DriftSeries, *, wide: bool = False) -> str:
    """Last level change and how many there are."""
    if not series.steps:
        return DASH
    last = series.steps[-1]
    text = f"{signed_text(last.size_um, 1)} at {last.cycle}"
    if wide and last.dress:
        text += f", {last.dress}"
    return text if len(series.steps) == 1 else f"{text} ({len(series.steps)})"


def signals_cell(series: DriftSeries) -> doc.Cell:
    """Whether control charts signal, now or earlier."""
    if series.in_control is None and not series.signals:
        return doc.Cell(DASH)
    if series.current_signals:
        return doc.Cell("now", "bad")
    return doc.Cell(f"{len(series.signals)} earlier" if series.signals else "none")


def parts_cell(series: DriftSeries) -> doc.Cell:
    """Parts of the running cycle until the limit is reached."""
    parts = series.parts_to_limit
    if parts is None:
        return doc.Cell(DASH)
    text = f"{parts.expected} ({parts.low} to {parts.high})"
    return doc.Cell(text, "bad" if series.limit_within_interval else None)


def parts_text(series: DriftSeries) -> str:
    """When the running cycle reaches the limit."""
    parts = series.parts_to_limit
    if parts is None:
        return DASH
    now = f", {parts.from_now} from now" if parts.from_now < parts.expected else ""
    return f"at part {parts.expected} ({parts.low} to {parts.high}){now}"


def interval_text(series: DriftSeries) -> str:
    """Advised dress interval."""
    if series.dress_interval_parts is None:
        return DASH
    return at_least_text(series.dress_interval_parts, series.dress_interval_at_least)


def at_least_text(parts: int, at_least: bool) -> str:
    """Parts per dress."""
    return f"{'≥ ' if at_least else ''}{parts}"


def limits_text(series: DriftSeries) -> str:
    """Action limits; of a one-sided limit with the side in words. [um]"""
    low, high = series.limit_um
    if low is None:
        return DASH if high is None else f"up to {number_text(round(high, 2))}"
    lower = number_text(round(low, 2), signed=True)
    return f"from {lower}" if high is None else f"{lower} to {number_text(round(high, 2), signed=True)}"


def sd_text(value: float | None) -> str:
    """A standard deviation. [um]"""
    return DASH if value is None else fixed_text(value)


def series_table(series: Sequence[DriftSeries], caption: doc.Text, *, wide: bool) -> doc.Table:
    """Series, one a row."""
    percent = share_text(series[0].wear_confidence)
    trends = wide and any(one.level_trend_um_per_cycle is not None for one in series)
    columns = [
        doc.Column("series", "left"), doc.Column("signals", "left"), doc.Column("parts\nto limit"),
        doc.Column("dress\nevery"), doc.Column("wear\nµm/part"),
        *([doc.Column(f"{percent}\ninterval"), doc.Column("sd\nµm")] if wide else []),
        *([doc.Column("trend\nµm/cycle")] if trends else []),
        doc.Column("level\nchange", "left"),
        *([doc.Column("limits\nµm")] if wide else []),
    ]  # fmt: skip
    rows = []
    for one in series:
        wear, half, interval = wear_texts(one)
        trend = one.level_trend_um_per_cycle
        more = [wear, interval, sd_text(one.sd_um)]
        if trends:
            more.append(DASH if trend is None else signed_text(trend, 3))
        row: list[doc.Cell | doc.Text] = [
            short_name(one), signals_cell(one), parts_cell(one), interval_text(one),
            *(more if wide else [f"{wear} {half}".strip()]), steps_text(one, wide=wide),
            *([limits_text(one)] if wide else []),
        ]  # fmt: skip
        rows.append(tuple(row))
    worn = any(one.wear_um_per_part is not None for one in series)
    notes = [
        *([f"Wear with its {percent} interval."] if worn and not wide else []),
        *(["Level change: µm, and the cycle it begins at."] if any(one.steps for one in series) else []),
        *(["est.: parts since dress were estimated from times."]
          if any(one.wear_estimated for one in series) else []),
        *(["sd: standard deviation of a part, cycles included."] if wide else []),
    ]  # fmt: skip
    return doc.Table(caption, tuple(columns), tuple(rows), notes=(" ".join(notes),) if notes else ())


def quiet_note(series: Sequence[DriftSeries]) -> doc.Text:
    """Quiet series, in one line."""
    graded = [one for one in series if not one.is_component]
    components = components_text([one for one in series if one.is_component])
    kinds = {
        "No wear proven, no level change, in control: ": [s for s in graded if s.in_control is not None],
        "No wear proven; dress cycles too few or unknown, so level and control are not judged: ":
            [s for s in graded if s.in_control is None],
    }  # fmt: skip
    parts = [part for words, some in kinds.items() if some for part in (words, names_text(some), ". ")]
    if components:
        parts += [f"No change found in {components}", ". "]
    return doc.join(*parts[:-1], ".")


def components_text(series: Sequence[DriftSeries]) -> str:
    """Components in a row, orders of runout and both parts of a vector together."""
    keys = list(dict.fromkeys(one.parameter for one in series))
    orders = [key.removeprefix(ORDER) for key in keys if key.startswith(ORDER)]
    names: list[str] = []
    for key in keys:
        vector, _, part = key.partition("_")
        if key.startswith(ORDER) and len(orders) > 1:
            names.append(f"orders {listed(orders)} of runout")
        elif part == "0_deg" and f"{vector}_90_deg" in keys:
            names.append(vector)
        elif not (part == "90_deg" and vector in names):
            names.append(COMPONENTS[key])
    return ", ".join(dict.fromkeys(names))


def names_text(series: Sequence[DriftSeries]) -> doc.Text:
    """Short names in a row."""
    return doc.join(*(part for one in series for part in (", ", short_name(one))))[1:]


def remarks(result: DriftResult, *, codes: bool = False) -> tuple[doc.Text, ...]:
    """Warnings of all series, the same one once; with `codes` each leads to what it means.

    A trend is among the advice.
    """
    by_text: dict[tuple[str, str], list[str]] = {}
    for one in result.ranked():
        for notice in one.warnings:
            if notice.code != NoticeCode.LEVEL_TREND:
                told = by_text.setdefault((notice.message, notice.code), [])
                told.append(doc.plain(short_name(one)))
    total = len(result.series)
    own = (
        (sentence(text if len(names) == total else f"{', '.join(dict.fromkeys(names))}: {text}"), code)
        for (text, code), names in by_text.items()
    )
    said = (*own, *((sentence(notice.message), notice.code) for notice in result.warnings))
    return tuple(with_code(text, code) if codes else text for text, code in said)


def signal_lines(signals: Sequence[Signal]) -> list[str]:
    """Signals by chart, with serial and cycle."""
    by_chart: dict[tuple[str, str], list[str]] = {}
    for one in signals:
        place = f"{one.serial} (cycle {one.cycle}{', counts' if one.current else ''})"
        by_chart.setdefault((one.chart, one.rule), []).append(place)
    return [
        f"{CHART_NAMES[chart]}, {RULE_NAMES.get(rule, rule)}: "
        + (f"{len(places) - SIGNALS_SHOWN} earlier and " if len(places) > SIGNALS_SHOWN else "")
        + ", ".join(places[-SIGNALS_SHOWN:])
        for (chart, rule), places in by_chart.items()
    ]


def false_alarms(result: DriftResult) -> str:
    """What chance alone does to the control charts."""
    charted = [one for one in result.series if not one.is_component]
    every = [one.false_alarm.in_control_run_length_parts for one in charted]
    lengths = [parts for parts in every if parts is not None]
    together = f" over the {len(every)} series together" if len(every) > 1 else ""
    share = share_text(result.settings.family_false_alarm)
    text = f"Control charts alarm falsely in {share} of dress cycles{together}"
    if lengths:
        text += f", one series about once in {large_text(min(lengths))} parts"
    return f"{text}. Control limits are no tolerance limits."


def cycles_text(series: DriftSeries) -> str:
    """Gears and cycles of a series."""
    gears = count_text(series.gears, "gear")
    cycles = count_text(series.cycles, "dress cycle") if series.cycles else "dress cycles unknown"
    return f"{gears}, {cycles}"
