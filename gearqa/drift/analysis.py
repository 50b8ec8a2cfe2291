"""The whole analysis: observations to series, each through all stages, and advice over them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from gearqa.drift import phrases
from gearqa.drift.advice import ALARM_CODES, advise
from gearqa.drift.between_cycles import (
    CYCLES_FOR_TREND,
    Levels,
    cycle_levels,
    find_levels,
    level_changes,
    level_notices,
)
from gearqa.drift.control import Control, control_of_series
from gearqa.drift.ordering import SeriesGears, by_series, gears_of_series, made_until, seconds
from gearqa.drift.outlook import Outlook, gears_to_hold, look_ahead, outlook_clauses, outlook_notices
from gearqa.drift.within_cycles import wear_notices
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import (
    DRIFT_PARAMETERS,
    ChartData,
    DriftResult,
    DriftSeries,
    DriftSettings,
    FalseAlarm,
    Identifiable,
    Observation,
    Sentence,
    SeriesKey,
)
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.families import sidak
from gearqa.statistics.wear import WearFit, fit_wear
from gearqa.wording.sentences import sentence


def analyse_observations(
    observations: Iterable[Observation],
    events: Sequence[GrinderEvent] = (),
    settings: DriftSettings | None = None,
) -> DriftResult:
    """Analyse a history: one series per part, grinder, parameter and flank.

    Order of the observations does not matter, except that of two of one serial the later wins.
    The false-alarm rate of the charts is shared over all series that come out.
    """
    settings = settings or DriftSettings()
    wanted = settings.parameters or DRIFT_PARAMETERS
    kept = [o for o in made_until(observations, settings.until) if o.parameter in wanted]
    groups = by_series(kept)
    by_grinder: dict[str, list[GrinderEvent]] = {}
    for event in events:
        if settings.until is None or seconds(event.at) <= seconds(settings.until):
            by_grinder.setdefault(event.grinder, []).append(event)
    rate = sidak(settings.family_false_alarm, max(len(groups), 1))
    keys = sorted(groups, key=lambda key: (key[0], key[1], wanted.index(key[2]), key[3] or ""))
    analysed = [_analyse_series(key, groups[key], by_grinder.get(key[1], ()), settings, rate) for key in keys]
    series = tuple(one for one, _ in analysed)
    advice = advise(analysed, settings)
    alarms = tuple(one for one in advice if one.code in ALARM_CODES)
    return DriftResult(
        series=series,
        reasons=alarms if any(one.alarm for one in series) else phrases.no_alarm_reasons(series),
        advice=advice,
        settings=settings,
        simulated=any(o.simulated for o in kept),
        warnings=tuple(_warnings(series, by_grinder)),
    )


def _warnings(series: Sequence[DriftSeries], grinders: Iterable[str]) -> Iterator[Notice]:
    strangers = sorted(set(grinders) - {one.grinder for one in series})
    if strangers:
        text = f"events of grinders without gears: {', '.join(strangers)}"
        yield Notice(NoticeCode.EVENTS_OF_OTHER_GRINDERS, text)
    blind = sorted({one.parameter for one in series if one.limit_kind == "tolerance limit"})
    if blind:
        yield Notice(
            NoticeCode.UNCERTAINTY_UNKNOWN,
            f"no measurement uncertainty for {', '.join(map(phrases.parameter_name, blind))}: the limits "
            "carry no guard, and scatter of the parts cannot be told from scatter of the gauge",
        )


def _analyse_series(
    key: SeriesKey,
    observations: Sequence[Observation],
    events: Sequence[GrinderEvent],
    settings: DriftSettings,
    rate: float,
) -> tuple[DriftSeries, Outlook]:
    """One series through all stages; `rate` is its share of false chart alarms per cycle."""
    gears = gears_of_series(key, observations, events, settings)
    fit = fit_wear(*gears.placed(gears.mean), settings.confidence)
    levels = find_levels(gears, fit, events, settings)
    control = control_of_series(gears, fit, levels, settings, rate)
    outlook = look_ahead(gears, fit, levels, settings)
    part, grinder, parameter, flank = key
    order, trend, dress, usual = gears.order, levels.trend, outlook.dress, outlook.usual
    wear_known, trend_known = fit.identifiable, trend.significant
    sd_part = fit.sd if math.isfinite(fit.sd) else None
    series = DriftSeries(
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
        reasons=tuple(Sentence(why.code, sentence(why.sentence)) for why in control.why),
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
        steps=level_changes(order, levels),
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
    return series, outlook


def _sentence(gears: SeriesGears, fit: WearFit, control: Control, outlook: Outlook, risk: float) -> str:
    """What matters first: a signal that counts before wear, limit and dress interval."""
    name = phrases.series_name(*gears.key[2:])
    clauses = outlook_clauses(gears, fit, outlook, risk)
    if any(signal.current for signal in control.signals):
        why = "; ".join(one.sentence for one in control.why)
        return sentence("; ".join((f"{name} is out of control: {why}", *clauses)))
    text = "; ".join(clauses)
    return sentence(f"{name}: {text}" if outlook.side is None else text)


def _chart_data(
    gears: SeriesGears, fit: WearFit, levels: Levels, control: Control, outlook: Outlook
) -> ChartData:
    order, charts = gears.order, control.charts
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
        levels_centre_um=charts.centre,
        levels_lower_um=charts.lower,
        levels_upper_um=charts.upper,
        moving_range_um=charts.moving_range,
        moving_range_upper_um=charts.moving_range_upper,
        ewma=charts.ewma,
        ewma_limit=charts.ewma_limit,
        forecast=outlook.forecast.band,
        events=tuple((order.number(event.cycle), event.words) for event in levels.events),
    )
