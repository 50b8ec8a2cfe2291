"""Where a series leads: forecast of the running cycle, dress interval, cycles until a correction.

All go by the worst trace at each limit.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from gearqa.arrays import Array
from gearqa.drift import phrases
from gearqa.drift.between_cycles import trend_interval
from gearqa.drift.claims import SeriesModel
from gearqa.drift.made import MadeParts
from gearqa.drift.sides import ActionLimits, Side, SideModel, action_limits, side_model, side_models
from gearqa.drift.within_cycles import no_wear_reason
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import CyclesToCorrection, DriftSettings, ForecastBand, PartsToLimit
from gearqa.statistics.containment import own_level
from gearqa.statistics.dress_interval import (
    free_level,
    guarded,
    kept_parts,
    part_bounds,
    part_risk,
    part_variance,
    unsure_between,
    with_one_more_measured,
)
from gearqa.statistics.wear import WearFit, fit_wear
from gearqa.wording.numbers import count_text

CYCLES_FOR_INTERVAL = 6
RISKS = (0.001, 0.005, 0.01, 0.02, 0.05)
"""Risks for which the parts per dress are told beside the chosen one."""
LEVEL_FREEDOM = 3
FARTHEST = 20
"""A limit farther away than so many times the parts measured in a cycle is not forecast."""
BAND_REACH = 4.0
"""How far the band for the chart goes on towards the limit, as a multiple of its usual horizon."""
MOST_CYCLES_AHEAD = 200
MOST_PARTS = 20_000
"""Longer cycles are looked at up to here."""
FAR = 1.5
"""A limit farther away than so many times the parts measured is told to lie far."""


@dataclass(frozen=True, eq=False, slots=True)
class Forecast:
    """Parts of the running cycle to the limit, or the reason that there are none."""

    parts: PartsToLimit | None
    reason: str | None
    band: ForecastBand | None = None


@dataclass(frozen=True, slots=True)
class Centred:
    """Dress interval with the level moved by `offset` so that the cycle lies amid its limits."""

    parts: int
    offset: float


@dataclass(frozen=True, slots=True)
class KeptParts:
    """Parts per dress that a risk allows, and that it would with one more gear measured per cycle."""

    risk: float
    parts: int
    one_more: int


@dataclass(frozen=True, eq=False, slots=True)
class DressAdvice:
    """Dress interval from the present level, and with the level moved; or the reason for none."""

    parts: int | None = None
    at_least: bool = False
    reason: str | None = None
    if_straight: int | None = None
    gap: tuple[int, int] | None = None
    centred: Centred | None = None
    slack_um: float | None = None
    """Room that the usual last part leaves to the limit at the chosen risk."""
    risk: tuple[Array, Array] | None = None
    """Parts per dress, and the chance that the last one lies beyond a limit."""
    kept: tuple[KeptParts, ...] = ()
    usual_risk: tuple[float, float] | None = None
    """Risk of the last part of the usual interval, and with one more gear measured per cycle."""
    holds_cycles: int | None = None
    """Coming cycles of a trend for which the interval, or the usual one if it is shorter, keeps its risk."""


@dataclass(frozen=True, eq=False, slots=True)
class Outlook:
    """What is ahead of a series."""

    limits: ActionLimits
    sides: tuple[SideModel, ...]
    side: Side | None
    """Of the limit that a proven wear moves to."""
    forecast: Forecast
    dress: DressAdvice
    to_correction: CyclesToCorrection | None


def look_ahead(one: SeriesModel, made: MadeParts, settings: DriftSettings) -> Outlook:
    """Forecast for a proven wear, dress interval with or without, cycles to a correction under a trend."""
    newest = one.gears.order.observations[-1]
    limits = action_limits(newest.limit_low, newest.limit_high, newest.U)
    sides = side_models(one, limits)
    side: Side | None = None
    if one.wear_claimed:
        side = "upper" if one.fits.mean.slope > 0 else "lower"
        forecast = forecast_cycle(one, side, limits.of(side), made, settings.confidence)
    else:
        forecast = Forecast(None, no_wear_reason(one.gears, one.fits.mean))
    dress = _dress_advice(one, limits, sides, made.usual, settings.risk)
    correction = _cycles_to_correction(one, sides, made.usual, settings.confidence)
    return Outlook(limits, sides, side, forecast, dress, correction)


# --- forecast -----------------------------------------------------------------------------------


def forecast_cycle(
    one: SeriesModel, side: Side, limit: float | None, made: MadeParts, confidence: float
) -> Forecast:
    """Parts of the running cycle until the worst trace reaches the limit, with a band for a chart.

    The interval: a part made at `low` lies beyond with (1 - confidence)/2, at `high` with the rest.
    """
    gears, sign = one.gears, 1 if side == "upper" else -1
    values = gears.high if side == "upper" else gears.low
    fit: WearFit = one.fits.high if side == "upper" else one.fits.low
    curved = fit.curved
    if not curved:
        fit = fit_wear(gears.cycle, gears.s, values, confidence, gears.order.sound, straight=True)
    model = side_model(one, side, limit or 0.0, fit)
    if model is None or model.levels.dof < 1:
        return Forecast(None, "too few dress cycles to show the level")
    measured = int(fit.s_max) + 1
    usual = min(max(made.usual or 0, round(1.5 * measured)), MOST_PARTS)
    if limit is None:
        return Forecast(None, f"no {side} limit is known", _band(model, usual, confidence))
    mean, half = _path(model, min(FARTHEST * measured, 2 * MOST_PARTS), confidence)
    beyond = sign * (mean - limit)
    expected, low = kept_parts(beyond <= 0), kept_parts(beyond + half <= 0)
    high = kept_parts(beyond - half <= 0)
    if fit.slope * sign <= 0 or (curved and expected >= measured):
        reason = "the wear is not straight, and the limit lies beyond the parts measured"
        if not curved:
            reason = "the wear of the worst trace is not proven, so no crossing can be shown"
        return Forecast(None, reason, _band(model, usual, confidence))
    if expected == len(mean):
        reason = f"the limit is more than {len(mean)} parts away"
        return Forecast(None, reason, _band(model, usual, confidence))
    if high == len(mean):
        reason = "the wear is not proven well enough, so no crossing can be shown"
        return Forecast(None, reason, _band(model, usual, confidence))
    now = int(made.last[-1]) if len(made.last) else 0
    parts = PartsToLimit(expected, low, high, max(0, expected - now))
    reach = min(max(usual, math.ceil(1.05 * high)), round(BAND_REACH * usual))
    return Forecast(parts, None, _band(model, reach, confidence))


def _path(model: SideModel, parts: int, confidence: float) -> tuple[Array, Array]:
    """Expected course of the running cycle, and half the interval of a single part."""
    s = np.arange(parts, dtype=np.float64)
    level, variance = own_level(model.made())
    curve = model.curve
    dof = min(model.levels.dof, curve.within_dof)
    spread = variance[-1] + curve.within * (1 + curve.leverage(s)) + curve.slope_variance * s**2
    half = float(stdtrit(dof, (1 + confidence) / 2)) * np.sqrt(spread)
    return level[-1] + curve.at(s), half


def _band(model: SideModel, parts: int, confidence: float) -> ForecastBand:
    mean, half = _path(model, max(parts, 2), confidence)
    return ForecastBand(np.arange(1.0, len(mean) + 1), mean, mean - half, mean + half)


# --- dress interval -----------------------------------------------------------------------------


def _no_interval(one: SeriesModel, limits: ActionLimits, sides: Sequence[SideModel]) -> str | None:
    """Why there is no dress interval; None: there is one."""
    fit = one.fits.mean
    if limits.kind == "none":
        return "no limit is known"
    if one.gears.order.doubt is not None or not fit.identifiable or not one.gears.has_positions:
        return no_wear_reason(one.gears, fit)
    cycles = one.gears.order.cycles
    if cycles < CYCLES_FOR_INTERVAL:
        return f"{count_text(cycles, 'dress cycle')}; {CYCLES_FOR_INTERVAL} are needed for a dress interval"
    if not sides or min(side.levels.dof for side in sides) < LEVEL_FREEDOM:
        return "too few dress cycles for the level changes and corrections among them"
    return None


def _dress_advice(
    one: SeriesModel, limits: ActionLimits, sides: Sequence[SideModel], usual: int | None, risk: float
) -> DressAdvice:
    """Most parts for which every bound of the next cycle keeps its limit."""
    reason = _no_interval(one, limits, sides)
    if reason is not None:
        return DressAdvice(reason=reason)
    last = min(int(one.fits.mean.s_max), MOST_PARTS)
    parts = interval_parts(one, sides, risk, last)
    straight = interval_parts(one, sides, risk, last, straight=True)
    gap = _open_gap(sides, parts) if straight > parts else None
    wear = one.fits.mean
    if wear.p_curve is None and wear.curve is not None:
        gap = int(wear.curve.knots[0]) + 1, int(wear.curve.knots[-1]) + 1
    centred, slack = None, None
    models = [side.next_cycle(one) for side in sides]
    if len(sides) == 2:
        upper, lower = (part_bounds(model, last, risk) for model in models)
        free = free_level((upper, lower), sides[0].limit - sides[1].limit)
        if free:
            high, low = float(upper.high[:free].max()), float(lower.low[:free].min())
            centred = Centred(free, (sides[0].limit - high + sides[1].limit - low) / 2)
    if usual is not None:
        place = min(usual - 1, last)
        bounds = [part_bounds(model, place, risk) for model in models]
        slack = min(
            side.sign * (side.limit - float((b.high if side.sign > 0 else b.low)[-1]))
            for side, b in zip(sides, bounds, strict=True)
        )
    chances = sum(
        part_risk(model, last, side.limit, side.sign) for model, side in zip(models, sides, strict=True)
    )
    curve = np.arange(1.0, last + 2), np.minimum(np.asarray(chances, dtype=np.float64), 1.0)
    now, more = _worst_chances(one, sides, last)
    known = usual is not None and usual <= last + 1
    return DressAdvice(
        parts=parts,
        at_least=parts == last + 1,
        if_straight=straight if straight > parts else None,
        gap=gap,
        centred=centred,
        slack_um=slack,
        risk=curve,
        kept=tuple(
            KeptParts(each, kept_parts(now <= each), kept_parts(more <= each))
            for each in sorted({*RISKS, risk})
        ),
        usual_risk=(float(now[usual - 1]), float(more[usual - 1])) if known and usual else None,
        holds_cycles=_cycles_that_hold(one, sides, risk, last, min(parts, usual or parts)),
    )


def _worst_chances(one: SeriesModel, sides: Sequence[SideModel], last: int) -> tuple[Array, Array]:
    """Chance of each part of the next cycle to lie beyond its nearer limit; the second had one more gear been
    measured in every cycle."""
    now, more = np.zeros(last + 1), np.zeros(last + 1)
    for side in sides:
        model = side.next_cycle(one)
        for found, own in ((now, model), (more, with_one_more_measured(model))):
            chance = part_risk(own, last, side.limit, side.sign)
            np.maximum(found, side.sign * guarded(side.sign * chance, own, side.sign), out=found)
    return now, more


def interval_parts(
    one: SeriesModel,
    sides: Sequence[SideModel],
    risk: float,
    last: int,
    *,
    straight: bool = False,
    ahead: int = 1,
) -> int:
    """Parts of a coming cycle that keep both limits; `straight`: inside gaps between measured parts too."""
    found = last + 1
    for side in sides:
        model = side.next_cycle(one, ahead)
        bounds = part_bounds(model, last, risk)
        bound = bounds.high if side.sign > 0 else bounds.low
        if not straight:
            bound = guarded(bound, model, side.sign)
        found = min(found, kept_parts(side.sign * (bound - side.limit) <= 0))
    return found


def _open_gap(sides: Sequence[SideModel], parts: int) -> tuple[int, int] | None:
    """Parts between which to measure: the unsure gap that ends the interval."""
    for side in sides:
        if side.fit.curved:
            for first, last in unsure_between(side.curve, side.sign):
                if first < parts < last:
                    return first + 1, last + 1
    return None


# --- trend --------------------------------------------------------------------------------------


def _cycles_that_hold(
    one: SeriesModel, sides: Sequence[SideModel], risk: float, last: int, parts: int
) -> int | None:
    """Coming cycles that keep the interval under a claimed trend."""
    if not one.levels.movement.trend_claimed:
        return None
    for ahead in range(1, MOST_CYCLES_AHEAD + 1):
        if interval_parts(one, sides, risk, last, ahead=ahead) < parts:
            return ahead - 1
    return None


def _cycles_to_correction(
    one: SeriesModel, sides: Sequence[SideModel], usual: int | None, confidence: float
) -> CyclesToCorrection | None:
    """Cycles until a claimed trend brings a part of the usual cycle to its limit."""
    trend = trend_interval(one.levels, confidence)
    if trend is None:
        return None
    for side in sides:
        if trend[0] * side.sign <= 0 or side.levels.dof < 1:
            continue
        last = min((usual or 1) - 1, int(one.fits.mean.s_max))
        model = side.next_cycle(one)
        wear = side.sign * side.curve.at(np.arange(last + 1, dtype=np.float64))
        worst = np.array([float(np.argmax(wear))])
        mean, half = [], []
        for ahead in range(1, MOST_CYCLES_AHEAD + 1):
            level, leverage = side.levels.ahead(one.levels.row(ahead))
            variance, dof = part_variance(model, leverage, worst)
            mean.append(side.sign * (level - side.limit) + float(wear.max()))
            half.append(float(stdtrit(dof[0], (1 + confidence) / 2)) * math.sqrt(float(variance[0])))
        beyond, wide = np.array(mean), np.array(half)
        counts = [kept_parts(v <= 0) for v in (beyond, beyond + wide, beyond - wide)]
        if counts[0] < MOST_CYCLES_AHEAD:
            return CyclesToCorrection(counts[0], counts[1], counts[2] if counts[2] < len(mean) else None)
    return None


# --- in words -----------------------------------------------------------------------------------


def outlook_notices(one: SeriesModel, outlook: Outlook) -> Iterator[Notice]:
    """What makes forecast or dress interval doubtful."""
    fit, parts, dress = one.fits.mean, outlook.forecast.parts, outlook.dress
    if parts is not None and parts.expected > FAR * (fit.s_max + 1):
        yield Notice(
            NoticeCode.FORECAST_FAR,
            "the limit lies beyond everything measured "
            f"({count_text(round(fit.s_max + 1), 'part')} since dress): the forecast takes the wear as "
            "straight, and its interval is too short if the wear rate differs from cycle to cycle",
        )
    if dress.parts is not None and fit.identifiable and not fit.slope_variation_known:
        yield Notice(
            NoticeCode.SLOPE_VARIATION_UNKNOWN,
            "fewer than three parts per cycle: the dress interval does not allow for a wear rate that "
            "differs from cycle to cycle",
        )
    if dress.gap is not None and dress.if_straight is None:
        yield Notice(
            NoticeCode.CURVED_WEAR,
            f"wear between part {dress.gap[0]} and part {dress.gap[1]} is taken as straight, which two "
            "positions cannot show; wear that is fast at first would be missed: measure in between",
        )
    if dress.gap is not None and dress.if_straight is not None:
        yield Notice(
            NoticeCode.CURVED_WEAR,
            f"the wear is not straight: measure between part {dress.gap[0]} and part {dress.gap[1]}; if it "
            f"is straight there, the interval is {count_text(dress.if_straight, 'part')}",
        )


def outlook_clauses(one: SeriesModel, outlook: Outlook, risk: float) -> list[str]:
    """Wear, limit and dress interval in words."""
    forecast, dress, fit = outlook.forecast, outlook.dress, one.fits.mean
    clauses = []
    if outlook.side is not None:
        clauses.append(phrases.wear_clause(*one.gears.key[2:], fit.slope, (fit.low, fit.high)))
        if forecast.parts is not None:
            clauses.append(phrases.limit_clause(outlook.side, forecast.parts))
    if forecast.reason is not None:
        clauses.append(forecast.reason)
    if dress.parts is not None:
        clauses.append(phrases.dress_clause(dress.parts, dress.at_least, risk))
    elif dress.reason and dress.reason != forecast.reason:
        clauses.append(f"no dress interval: {dress.reason}")
    return clauses
