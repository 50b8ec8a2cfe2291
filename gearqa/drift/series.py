"""Analysis of one series: wear, levels, control and outlook, put together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gearqa.drift import phrases
from gearqa.drift.between_cycles import (
    CYCLES_FOR_TREND,
    Levels,
    cycle_levels,
    find_levels,
    level_notices,
)
from gearqa.drift.control import Control, control_of_series
from gearqa.drift.holds import gears_to_hold
from gearqa.drift.outlook import Outlook, look_ahead, outlook_clauses, outlook_notices
from gearqa.drift.series_gears import SeriesGears, gears_of_series
from gearqa.drift.within_cycles import wear_notices
from gearqa.model.drift import (
    ChartData,
    DriftSeries,
    DriftSettings,
    FalseAlarm,
    Identifiable,
    Observation,
    SeriesKey,
)
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.wear import WearFit, fit_wear
from gearqa.wording.sentences import sentence


@dataclass(frozen=True, eq=False, slots=True)
class AnalysedSeries:
    """A series with its outlook, which advice needs too."""

    series: DriftSeries
    outlook: Outlook


def analyse_series(
    key: SeriesKey,
    observations: Sequence[Observation],
    events: Sequence[GrinderEvent],
    settings: DriftSettings,
    rate: float,
) -> AnalysedSeries:
    """Analyse the observations of one series; `rate` is its share of false chart alarms per cycle."""
    gears = gears_of_series(key, observations, events, settings)
    fit = fit_wear(*gears.means, settings.confidence)
    levels = find_levels(gears, fit, events, settings)
    control = control_of_series(gears, fit, levels, settings, rate)
    outlook = look_ahead(gears, fit, levels, settings)
    return AnalysedSeries(_series(gears, fit, levels, control, outlook, settings, rate), outlook)


def _series(
    gears: SeriesGears,
    fit: WearFit,
    levels: Levels,
    control: Control,
    outlook: Outlook,
    settings: DriftSettings,
    rate: float,
) -> DriftSeries:
    part, grinder, parameter, flank = gears.key
    order, trend, dress, usual = gears.order, levels.trend, outlook.dress, outlook.usual
    wear_known, trend_known = fit.identifiable, trend.significant
    sd_part = fit.sd if math.isfinite(fit.sd) else None
    return DriftSeries(
        part=part,
        grinder=grinder,
        parameter=parameter,
        flank=flank,
        sentence=_sentence(gears, fit, control, outlook, settings.risk),
        gears=len(gears.serial),
        cycles=order.cycles if order.known else 0,
        current_cycle=order.number(order.cycles - 1),
        current_dress=order.dress[-1],
        in_control=control.in_control,
        reasons=control.reasons,
        wear_um_per_part=fit.slope if wear_known else None,
        wear_interval_um_per_part=(fit.low, fit.high) if wear_known else None,
        wear_confidence=settings.confidence,
        wear_significant=fit.significant if wear_known else None,
        wear_robust_um_per_part=fit.robust_slope if wear_known else None,
        wear_estimated=order.estimated,
        sd_um=None if sd_part is None or levels.sd is None else math.hypot(sd_part, levels.sd),
        sd_part_um=sd_part,
        sd_cycle_um=levels.sd,
        level_trend_um_per_cycle=trend.slope if trend_known else None,
        trend_interval=(trend.low, trend.high) if trend_known else None,
        cycle_levels_um=cycle_levels(order, fit),
        steps=levels.changes(order),
        segment_from_cycle=order.number(levels.segment),
        signals=control.signals,
        limit_um=(outlook.limits.low, outlook.limits.high),
        limit_kind=outlook.limits.kind,
        limit_revision=order.observations[-1].revision,
        parts_to_limit=outlook.forecast.parts,
        parts_to_limit_reason=outlook.forecast.reason,
        dress_interval_parts=dress.parts,
        dress_interval_at_least=dress.at_least,
        dress_interval_reason=dress.reason,
        dress_interval_centred_parts=dress.centred.parts if dress.centred else None,
        current_dress_interval_parts=usual,
        risk=settings.risk,
        centring_offset_um=dress.centred.offset if dress.centred else None,
        reference=control.reference,
        false_alarm=FalseAlarm(settings.family_false_alarm, rate, None if usual is None else usual / rate),
        identifiable=Identifiable(
            wear=wear_known,
            trend=order.known and order.cycles >= CYCLES_FOR_TREND,
            slope_variation=fit.slope_variance_identifiable,
        ),
        quarantine=gears_to_hold(gears, control.signals, outlook.limits),
        warnings=(
            *gears.warnings,
            *wear_notices(gears, fit),
            *level_notices(order, levels),
            *outlook_notices(fit, outlook),
        ),
        charts=_chart_data(gears, fit, levels, control, outlook),
    )


def _sentence(gears: SeriesGears, fit: WearFit, control: Control, outlook: Outlook, risk: float) -> str:
    """What matters first: a signal that counts before wear, limit and dress interval."""
    name = phrases.series_name(gears.key[2], gears.key[3])
    clauses = outlook_clauses(gears, fit, outlook, risk)
    if any(signal.current for signal in control.signals):
        why = "; ".join(clause for _, clause in control.why)
        return sentence("; ".join((f"{name} is out of control: {why}", *clauses)))
    text = "; ".join(clauses)
    return sentence(f"{name}: {text}" if outlook.side is None else text)


def _chart_data(
    gears: SeriesGears, fit: WearFit, levels: Levels, control: Control, outlook: Outlook
) -> ChartData:
    order, charts = gears.order, control.charts
    unknown = np.full(order.cycles, np.nan)
    wear = fit.slope if fit.identifiable else 0.0
    return ChartData(
        serial=gears.serial,
        finished_at=gears.finished_at,
        cycle=gears.cycle + order.first_number,
        parts_since_dress=gears.parts_since_dress,
        value_um=gears.mean,
        min_um=gears.low,
        max_um=gears.high,
        fitted_um=fit.levels[gears.cycle] + wear * gears.s,
        levels_centre_um=charts.centre if charts else None,
        levels_lower_um=charts.lower if charts else unknown,
        levels_upper_um=charts.upper if charts else unknown,
        moving_range_um=charts.moving_range if charts else unknown,
        moving_range_upper_um=charts.moving_range_upper if charts else unknown,
        ewma=charts.ewma if charts else np.full(len(gears.serial), np.nan),
        ewma_limit=charts.ewma_limit if charts else np.full(len(gears.serial), np.nan),
        forecast=outlook.forecast.band,
        events=tuple((order.number(event.cycle), event.words) for event in levels.events),
    )
