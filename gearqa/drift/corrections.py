"""Recorded corrections with a size: what they did to the level, against what was meant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gearqa.drift.between_cycles import Levels, effect_interval
from gearqa.drift.ordering import ProductionOrder
from gearqa.drift.phrases import cycles_place
from gearqa.errors import Notice, NoticeCode
from gearqa.model.diagnosis import CorrectionVerdict
from gearqa.model.drift import CorrectionEffect, Reference
from gearqa.statistics.levels import LevelFit, fit_levels
from gearqa.wording.numbers import um_text

ALARMS: tuple[CorrectionVerdict, ...] = ("opposite", "no effect", "smaller", "larger")
FALSE_VERDICTS = 0.05
"""Chance of any false verdict over all corrections of a report."""
NO_EFFECT = 1 / 3
"""Of what was meant: less than that against it is none."""
SURE_TREND = 0.99
"""Confidence with which an unclaimed trend beside corrections is not in doubt."""


def correction_effects(
    order: ProductionOrder, levels: Levels, corrections: int, confidence: float
) -> tuple[CorrectionEffect, ...]:
    """Effects of the corrections of a series; `corrections` are those of the whole report."""
    sized = [event for event in levels.events if event.size is not None]
    last = max((event.cycle for event in sized), default=0)
    fits = _fits(levels)
    found = []
    for cycle in sorted({event.cycle for event in sized}):
        here = [event for event in sized if event.cycle == cycle]
        intended = sum(event.size or 0.0 for event in here)
        column = 1 + levels.recorded.cycles.index(cycle) if cycle in levels.recorded.cycles else None
        effect: float | None = None
        low: float | None = None
        high: float | None = None
        verdict: CorrectionVerdict = "not decidable"
        if column is not None and levels.fit is not None:
            effect, low, high = _effect(fits, column, confidence)
            strict = _effect(fits, column, 1 - FALSE_VERDICTS / max(corrections, 1))
            verdict = verdict_of(intended, strict[1], strict[2])
        found.append(
            CorrectionEffect(
                cycle=order.number(cycle),
                dress=order.dress[cycle],
                wheel=order.wheel[cycle],
                at=order.start[cycle],
                words="; ".join(event.words for event in here),
                intended=intended,
                effect=effect,
                low=low,
                high=high,
                verdict=verdict,
                remainder=None if effect is None else effect - intended,
                alarm=verdict in ALARMS and cycle == last,
                recorded_at=tuple(event.at for event in here if event.at is not None),
            )
        )
    return tuple(found)


def carried_notices(reference: Reference | None, corrections: Sequence[CorrectionEffect]) -> Iterator[Notice]:
    """That frozen control limits go on over corrections that worked."""
    if reference is None or not reference.frozen:
        return
    for one in corrections:
        if one.verdict == "as intended" and one.cycle > reference.to:
            size = um_text(one.intended, 1, signed=True)
            yield Notice(
                NoticeCode.REFERENCE_CARRIED,
                f"the frozen control limits (cycles {reference.from_} to {reference.to}) are carried over "
                f"the correction before {cycles_place([one])}: from there on they lie {size} away",
            )


def _fits(levels: Levels) -> list[LevelFit]:
    """The model of the levels; where its trend is in doubt, the one without it too.

    A trend that is kept or dropped by its own p made intervals too narrow (91 to 94 of 100 for 95); both
    models together hold 95 to 96.
    """
    fit = levels.fit
    if fit is None or not levels.movement.trend or levels.movement.trend_claimed:
        return [] if fit is None else [fit]
    slope, low, high = effect_interval(fit, -1, SURE_TREND)
    sure = slope != 0 and low * high > 0
    return [fit] if sure else [fit, fit_levels(levels.x, levels.design[:, :-1])]


def _effect(fits: Sequence[LevelFit], column: int, confidence: float) -> tuple[float, float, float]:
    """Effect by the first model, interval over all of them."""
    found = [effect_interval(fit, column, confidence) for fit in fits]
    return found[0][0], min(low for _, low, _ in found), max(high for _, _, high in found)


def verdict_of(intended: float, low: float, high: float) -> CorrectionVerdict:
    """What an interval of the effect says about a correction.

    A little against it is no effect: one that was not made shows so by chance.

    >>> verdict_of(1.2, -1.6, -1.0), verdict_of(1.0, 0.4, 1.3), verdict_of(-1.0, -0.7, 0.2)
    ('opposite', 'as intended', 'no effect')
    >>> verdict_of(3.0, -0.5, -0.1), verdict_of(0.0, -0.5, -0.1), verdict_of(0.0, 0.1, 0.5)
    ('no effect', 'larger', 'larger')
    """
    if intended < 0 or (intended == 0 and high < 0):
        intended, low, high = -intended, -high, -low
    if high < 0:
        return "opposite" if low < -intended * NO_EFFECT else "no effect"
    if low <= 0:
        return "no effect" if high < intended else "not decidable"
    if high < intended:
        return "smaller"
    return "larger" if low > intended else "as intended"


def correction_clause(one: CorrectionEffect) -> str:
    """A correction and its effect in words."""
    text = f"{one.words} before {cycles_place([one])}"
    if one.effect is None or one.low is None or one.high is None:
        return f"{text}: effect not decidable, too few cycles"
    ends = f"{um_text(one.low, 1, signed=True).removesuffix(' µm')} to {um_text(one.high, 1, signed=True)}"
    return (
        f"{text}: {um_text(one.intended, 1, signed=True)} meant, {um_text(one.effect, 1, signed=True)} found "
        f"({ends}): {one.verdict}"
    )
