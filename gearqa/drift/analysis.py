"""The whole analysis: observations to series, each through all stages, and advice over them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime

from gearqa.drift import phrases
from gearqa.drift.advice import ALARM_CODES, advise
from gearqa.drift.between_cycles import (
    CYCLES_FOR_TREND,
    cycle_levels,
    level_changes,
    level_notices,
    level_sd,
    trend_interval,
)
from gearqa.drift.cautions import cautions
from gearqa.drift.charts import chart_data
from gearqa.drift.claims import SeriesModel, model_series
from gearqa.drift.control import Control, control_of_series
from gearqa.drift.corrections import carried_notices, correction_effects
from gearqa.drift.dress_decisions import dress_decisions
from gearqa.drift.holds import SeriesHold, series_hold, suspicion_of, together
from gearqa.drift.labels import findings
from gearqa.drift.made import made_notices, made_parts
from gearqa.drift.ordering import Orders, by_series, gears_of_series, made_until, seconds
from gearqa.drift.outlook import Outlook, look_ahead, outlook_clauses, outlook_notices
from gearqa.drift.within_cycles import wear_notices
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import (
    COMPONENTS,
    DRIFT_PARAMETERS,
    DriftResult,
    DriftSeries,
    DriftSettings,
    FalseAlarm,
    Identifiable,
    MadePart,
    Observation,
    Sentence,
)
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.families import sidak
from gearqa.wording.sentences import sentence


def analyse_observations(
    observations: Iterable[Observation],
    events: Sequence[GrinderEvent] = (),
    settings: DriftSettings | None = None,
    made: Sequence[MadePart] = (),
    events_of_part: Mapping[str, Sequence[GrinderEvent]] | None = None,
) -> DriftResult:
    """Analyse a history: one series per part, grinder, parameter and flank.

    Order of the observations does not matter, except that of two of one serial the later wins; `made` are
    parts that were made and not measured. The rate of false chart alarms, and of false claims, is shared
    over all series that come out. `events_of_part` are changes of the grinder in terms of the parameters of
    a part.
    """
    settings = settings or DriftSettings()
    wanted = settings.parameters or DRIFT_PARAMETERS
    followed = frozenset(wanted)
    kept = [o for o in made_until(observations, settings.until) if o.parameter in followed]
    groups = by_series(kept)
    by_grinder = _by_grinder(events, settings.until)
    of_part = {part: _by_grinder(own, settings.until) for part, own in (events_of_part or {}).items()}
    rows: dict[tuple[str, str], list[MadePart]] = {}
    for one in made_until(made, settings.until):
        rows.setdefault((one.part, one.grinder), []).append(one)
    charted = sum(key[2] not in COMPONENTS for key in groups)
    rate = sidak(settings.family_false_alarm, max(charted, 1))
    orders = Orders(by_grinder, settings)
    keys = sorted(groups, key=lambda key: (key[0], key[1], wanted.index(key[2]), key[3] or ""))
    models = model_series(
        (
            (
                gears_of_series(key, groups[key], orders),
                [*by_grinder.get(key[1], ()), *of_part.get(key[0], {}).get(key[1], ())],
                rows.get(key[:2], ()),
            )
            for key in keys
        ),
        settings,
    )
    sized = sum(len({e.cycle for e in one.levels.events if e.size is not None}) for one in models)
    found = [_analysed(one, settings, rate, sized) for one in models]
    series = tuple(one for one, _, _ in found)
    holds = [(one.key[:2], hold) for one, _, hold in found if hold is not None]
    analysed = [(one, outlook) for one, outlook, _ in found]
    hold, dress = together(holds), tuple(dress_decisions(analysed))
    advice = advise(analysed, hold, dress, settings)
    alarms = tuple(one for one in advice if one.code in ALARM_CODES)
    return DriftResult(
        series=series,
        reasons=alarms if any(one.alarm for one in series) else phrases.no_alarm_reasons(series),
        advice=advice,
        settings=settings,
        simulated=any(o.simulated for o in kept),
        hold=hold,
        dress_intervals=dress,
        warnings=(*_warnings(series, by_grinder), *cautions(series)),
    )


def _by_grinder(events: Iterable[GrinderEvent], until: datetime | None) -> dict[str, list[GrinderEvent]]:
    found: dict[str, list[GrinderEvent]] = {}
    for event in events:
        if until is None or seconds(event.at) <= seconds(until):
            found.setdefault(event.grinder, []).append(event)
    return found


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


def _analysed(
    one: SeriesModel, settings: DriftSettings, rate: float, sized: int
) -> tuple[DriftSeries, Outlook, SeriesHold | None]:
    """One series through all stages behind its claims; `rate` is its share of false chart alarms per cycle,
    `sized` the corrections with a size of the whole report."""
    gears, fit, levels, order = one.gears, one.fits.mean, one.levels, one.gears.order
    made = made_parts(gears, one.made, settings)
    control = control_of_series(one, settings, rate)
    outlook = look_ahead(one, made, settings)
    corrections = correction_effects(order, levels, sized, settings.confidence)
    part, grinder, parameter, flank = gears.key
    hold = None  # a component has no limit that a part could lie beyond
    if parameter not in COMPONENTS:
        hold = series_hold(one, made, outlook.limits, outlook.sides, control.signals, corrections)
    dress, trend, sd_cycle = (
        outlook.dress,
        trend_interval(levels, settings.confidence),
        level_sd(levels, one.fits),
    )
    sd_part = fit.sd if math.isfinite(fit.sd) else None
    series = DriftSeries(
        part=part,
        grinder=grinder,
        parameter=parameter,
        flank=flank,
        sentence=_sentence(one, control, outlook, settings.risk),
        gears=len(gears.serial),
        cycles=order.cycles if order.known else 0,
        current_cycle=order.number(order.cycles - 1),
        current_dress=order.dress[-1],
        made_parts=int(made.last[-1]) or None,
        in_control=control.in_control,
        reasons=tuple(Sentence(why.code, sentence(why.sentence)) for why in control.why),
        wear_um_per_part=fit.slope if fit.identifiable else None,
        wear_interval_um_per_part=(fit.low, fit.high) if fit.identifiable else None,
        wear_confidence=settings.confidence,
        wear_significant=one.wear_claimed if fit.identifiable else None,
        wear_p=fit.p if fit.identifiable else None,
        curved=one.fits.mean.curved,
        wear_robust_um_per_part=fit.robust_slope if fit.identifiable else None,
        wear_estimated=order.estimated,
        sd_um=None if sd_part is None or sd_cycle is None else math.hypot(sd_part, sd_cycle),
        sd_part_um=sd_part,
        sd_cycle_um=sd_cycle,
        level_trend_um_per_cycle=None if trend is None else trend[0],
        trend_interval=None if trend is None else trend[1:],
        cycles_to_correction=outlook.to_correction,
        level_p=None if levels.evidence is None else levels.evidence.p,
        level_moved=levels.movement.moved_from is not None,
        rho=0.0 if levels.fit is None else levels.fit.rho,
        suspected=None if parameter in COMPONENTS else suspicion_of(one, made, outlook.sides),
        corrections=corrections,
        labels=findings(one.tests, one.claimed),
        cycle_levels_um=cycle_levels(order, one.fits),
        steps=level_changes(gears, levels, settings.confidence),
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
        dress_interval_holds_cycles=dress.holds_cycles,
        if_straight_parts=dress.if_straight,
        gap=dress.gap,
        dress_interval_centred_parts=dress.centred.parts if dress.centred else None,
        current_dress_interval_parts=made.usual,
        risk=settings.risk,
        centring_offset_um=dress.centred.offset if dress.centred else None,
        reference=control.reference,
        false_alarm=FalseAlarm(
            settings.family_false_alarm,
            rate,
            None if made.usual is None or parameter in COMPONENTS else made.usual / rate,
        ),
        identifiable=Identifiable(
            wear=fit.identifiable,
            trend=order.known and order.cycles >= CYCLES_FOR_TREND,
            slope_variation=fit.slope_variation_known,
        ),
        quarantine=None if hold is None else hold.quarantine,
        warnings=(
            *gears.warnings,
            *made_notices(gears, made),
            *carried_notices(control.reference, corrections),
            *wear_notices(gears, one.fits),
            *level_notices(order, levels, settings.confidence),
            *outlook_notices(one, outlook),
        ),
        charts=chart_data(one, control, outlook),
    )
    return series, outlook, hold


def _sentence(one: SeriesModel, control: Control, outlook: Outlook, risk: float) -> str:
    """What matters first: a signal that counts before wear, limit and dress interval."""
    name = phrases.series_name(*one.gears.key[2:])
    clauses = outlook_clauses(one, outlook, risk)
    if any(signal.current for signal in control.signals):
        why = "; ".join(reason.sentence for reason in control.why)
        return sentence("; ".join((f"{name} is out of control: {why}", *clauses)))
    text = "; ".join(clauses)
    return sentence(f"{name}: {text}" if outlook.side is None else text)
