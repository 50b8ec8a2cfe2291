"""The whole analysis: observations to series, charts at a family-wise rate, advice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from gearqa.drift.advice import advise
from gearqa.drift.ordering import seconds
from gearqa.drift.series import analyse_series
from gearqa.drift.words import parameter_name
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import (
    DRIFT_PARAMETERS,
    DriftResult,
    DriftSettings,
    Observation,
    SeriesKey,
)
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.families import sidak


def analyse_drift(
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
    groups: dict[SeriesKey, list[Observation]] = {}
    simulated = False
    late = None if settings.until is None else seconds(settings.until)
    for o in observations:
        if o.parameter not in wanted:
            continue
        if late is not None and o.finished_at is not None and seconds(o.finished_at) > late:
            continue
        groups.setdefault((o.part, o.grinder, o.parameter, o.flank), []).append(o)
        simulated = simulated or o.simulated
    rate = sidak(settings.family_false_alarm, max(len(groups), 1))
    by_grinder: dict[str, list[GrinderEvent]] = {}
    for event in events:
        if late is None or seconds(event.at) <= late:
            by_grinder.setdefault(event.grinder, []).append(event)
    keys = sorted(groups, key=lambda key: (key[0], key[1], wanted.index(key[2]), key[3] or ""))
    analysed = [analyse_series(key, groups[key], by_grinder.get(key[1], ()), settings, rate) for key in keys]
    warnings: list[Notice] = []
    strangers = sorted(set(by_grinder) - {key[1] for key in groups})
    if strangers:
        warnings.append(
            Notice(
                NoticeCode.EVENTS_OF_OTHER_GRINDERS,
                f"events of grinders without gears: {', '.join(strangers)}",
            )
        )
    blind = sorted({one.series.parameter for one in analysed if one.series.limit_kind == "tolerance limit"})
    if blind:
        warnings.append(
            Notice(
                NoticeCode.UNCERTAINTY_UNKNOWN,
                f"no measurement uncertainty for {', '.join(map(parameter_name, blind))}: limits carry no "
                "guard, and scatter of the parts and of the gauge cannot be told apart",
            )
        )
    return DriftResult(
        series=tuple(one.series for one in analysed),
        advice=advise(analysed, settings),
        settings=settings,
        simulated=simulated,
        warnings=tuple(warnings),
    )
